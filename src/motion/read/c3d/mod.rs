//! C3D: a 512-byte header, a parameter section, then per frame all points and the analog
//! samples between them, which are skipped. Layout after the public C3D file format guide.
//!
//! A point with a negative residual was not measured: a gap. So is a point at exactly
//! (0, 0, 0), or with three NaN, which some writers leave behind instead; NaN in one or two
//! coordinates is an error.

mod bytes;
mod params;

pub use bytes::Processor;

use self::params::Parameters;
use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind};
use super::layout::{Layout, SourceUnit};
use super::markers::Markers;
use super::raw::{Axes, Raw, Times, assumed, checked};
use super::subjects::{Columns, choose_subject, unique};
use crate::motion::{Assumption, Capture, Dimensions};

const BLOCK: usize = 512;

/// Does `bytes` look like C3D? The second byte is the key, and the parameter section it points
/// to names a processor.
pub(super) fn sniff(bytes: &[u8]) -> bool {
    let Some(&[block, key]) = bytes.first_chunk::<2>() else { return false };
    let processor = usize::from(block).checked_sub(1).and_then(|b| bytes.get(b * BLOCK + 3));
    key == 0x50 && processor.is_some_and(|&code| Processor::from_code(code).is_some())
}

/// The header and what the parameters say beside it.
struct Head {
    processor: Processor,
    points: usize,
    /// Analog numbers per frame, all channels and samples together.
    analog: usize,
    frames: u64,
    /// Byte at which the first frame starts.
    data_at: usize,
    /// Positive: stored as integers in this many units; negative: stored as floats.
    scale: f64,
    rate_hz: Option<f64>,
}

impl Head {
    fn number_bytes(&self) -> usize {
        if self.scale < 0.0 { 4 } else { 2 }
    }

    fn frame_bytes(&self) -> usize {
        (self.points * 4 + self.analog) * self.number_bytes()
    }
}

pub(super) fn read(bytes: &[u8], options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let structure = |place, expected, found: String| ReadErrorKind::Structure {
        layout: Layout::C3d,
        place,
        expected,
        found,
    };
    let past = |what, promised: usize| ReadErrorKind::PastTheEnd {
        layout: Layout::C3d,
        what,
        promised: promised as u64,
        held: bytes.len() as u64,
    };
    if bytes.len() < BLOCK {
        return Err(past("the header", BLOCK));
    }
    if bytes[1] != 0x50 {
        return Err(structure(FilePlace::Byte(1), "the key 80", bytes[1].to_string()));
    }
    let section = usize::from(bytes[0]).checked_sub(1).ok_or_else(|| {
        structure(FilePlace::Byte(0), "the number of the parameter block, from 1", "0".to_owned())
    })? * BLOCK;
    let code = *bytes.get(section + 3).ok_or_else(|| past("the parameter section", section + 4))?;
    let processor = Processor::from_code(code).ok_or_else(|| {
        structure(
            FilePlace::Byte(section as u64 + 3),
            "a processor of 84, 85 or 86",
            code.to_string(),
        )
    })?;
    let parameters = Parameters::read(bytes, section, processor)?;
    if !parameters.has_group("POINT") {
        return Err(structure(FilePlace::Header, "a group POINT", parameters.group_names()));
    }
    let mut assumptions = Vec::new();
    let head = head(bytes, processor, &parameters, options, &mut assumptions)?;
    let labels = labels(&parameters, head.points)?;
    let prefixes = parameters.long_texts("SUBJECTS", "LABEL_PREFIXES").unwrap_or_default();
    // As many subjects as a file can sensibly hold; every label is tried against each.
    let prefixes: Vec<String> = prefixes.into_iter().take(64).collect();
    let (subject, columns) = choose_subject(labels, &prefixes, options, &mut assumptions)?;
    let markers = points(bytes, &head, columns)?;
    let joints = markers.into_joints(head.rate_hz)?;
    assumptions.extend(joints.assumptions);
    let unit = parameters.texts("POINT", "UNITS").and_then(|texts| texts.first().cloned());
    Ok(Raw {
        layout: Layout::C3d,
        format: Layout::C3d.name().to_owned(),
        joints: joints.joints,
        positions: joints.positions,
        confidence: None,
        times: Times::Even(head.rate_hz),
        dimensions: Dimensions::Three,
        unit: unit.as_deref().and_then(SourceUnit::from_file),
        axes: Axes::Open,
        capture: Capture::Markers,
        subject,
        unknown: joints.unknown,
        assumptions,
    })
}

fn head(
    bytes: &[u8],
    processor: Processor,
    parameters: &Parameters<'_>,
    options: &ReadOptions,
    assumptions: &mut Vec<Assumption>,
) -> Result<Head, ReadErrorKind> {
    // Words count from 1 in the format's guide; the header's 512 bytes are there.
    let word = |n: usize| processor.u16([bytes[2 * n - 2], bytes[2 * n - 1]]);
    let float = |n: usize| {
        let at = 2 * n - 2;
        processor.f32([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
    };
    let points = parameters
        .count("POINT", "USED")
        .filter(|&used| used <= u64::from(u16::MAX))
        .map_or(usize::from(word(2)), |used| used as usize);
    let points_in_header = usize::from(word(2));
    if points_in_header > points {
        return Err(ReadErrorKind::Structure {
            layout: Layout::C3d,
            place: FilePlace::Header,
            expected: "no more points than POINT:USED counts",
            found: format!("{points_in_header} beside {points}"),
        });
    }
    if points_in_header < points {
        let why = format!("as POINT:USED counts; the header says {points_in_header}");
        assumptions.push(assumed("points", points.to_string(), why));
    }
    let scale = parameters.number("POINT", "SCALE").unwrap_or_else(|| f64::from(float(7)));
    if !scale.is_finite() || scale == 0.0 {
        return Err(ReadErrorKind::Structure {
            layout: Layout::C3d,
            place: FilePlace::Parameter("POINT:SCALE".to_owned()),
            expected: "a scale other than 0",
            found: scale.to_string(),
        });
    }
    let data_block = parameters
        .count("POINT", "DATA_START")
        .filter(|&block| block > 0)
        .unwrap_or_else(|| u64::from(word(9)));
    let rate_hz = parameters
        .number("POINT", "RATE")
        .filter(|&rate| rate > 0.0)
        .or_else(|| Some(f64::from(float(11))).filter(|&rate| rate > 0.0));
    let mut head = Head {
        processor,
        points,
        analog: usize::from(word(3)),
        frames: 0,
        data_at: usize::try_from(data_block.saturating_sub(1))
            .unwrap_or(usize::MAX / BLOCK)
            .saturating_mul(BLOCK),
        scale,
        rate_hz,
    };
    if points == 0 {
        return Err(ReadErrorKind::Structure {
            layout: Layout::C3d,
            place: FilePlace::Parameter("POINT:USED".to_owned()),
            expected: "at least one point",
            found: "0".to_owned(),
        });
    }
    if head.data_at < BLOCK || head.data_at > bytes.len() {
        return Err(ReadErrorKind::PastTheEnd {
            layout: Layout::C3d,
            what: "the start of the data",
            promised: head.data_at as u64,
            held: bytes.len() as u64,
        });
    }
    let held = ((bytes.len() - head.data_at) / head.frame_bytes()) as u64;
    let (first, last) = (u64::from(word(4)), u64::from(word(5)));
    let in_header = (last + 1).saturating_sub(first);
    let in_trial = match (
        parameters.wide_count("TRIAL", "ACTUAL_START_FIELD"),
        parameters.wide_count("TRIAL", "ACTUAL_END_FIELD"),
    ) {
        (Some(start), Some(end)) if end >= start && end > 0 => Some(end - start + 1),
        _ => None,
    };
    let long = parameters.count("POINT", "LONG_FRAMES").filter(|&frames| frames > 0);
    let short = parameters.count("POINT", "FRAMES").filter(|&frames| frames > 0);
    // The 16-bit counts saturate at 65535; then only the wide ones tell the length.
    let saturated = last == u64::from(u16::MAX) || short == Some(u64::from(u16::MAX));
    head.frames = match (in_trial.or(long), saturated) {
        (Some(wide), _) if wide <= held || saturated => wide,
        (None, true) => {
            assumptions.push(assumed(
                "frames",
                held.to_string(),
                "the header's 16-bit count is full and no wide count is given: all the file holds",
            ));
            held
        }
        _ => short.unwrap_or(in_header),
    };
    if head.frames == 0 {
        return Err(ReadErrorKind::NoFrames);
    }
    // The header may say less than the parameters (its 16 bits overflow), but a file that holds
    // less than its header promises was cut off, whatever the parameters say now.
    if in_header > held {
        head.frames = head.frames.max(in_header);
    }
    if head.frames > held {
        if !options.trim || held == 0 {
            return Err(ReadErrorKind::Truncated {
                layout: Layout::C3d,
                promised: head.frames,
                held,
            });
        }
        assumptions.push(assumed(
            "frames",
            format!("the {held} complete ones"),
            format!("trimmed as asked: the header promises {}", head.frames),
        ));
        head.frames = held;
    }
    if first > 1 {
        assumptions.push(assumed(
            "frames",
            "counted from 0",
            format!("the file's own count starts at {first}"),
        ));
    }
    Ok(head)
}

/// One label for each point; points beyond the list are unlabelled (empty).
fn labels(parameters: &Parameters<'_>, points: usize) -> Result<Vec<String>, ReadErrorKind> {
    let mut labels = parameters.long_texts("POINT", "LABELS").unwrap_or_default();
    labels.resize(points, String::new());
    unique(&labels)?;
    Ok(labels)
}

fn points(bytes: &[u8], head: &Head, columns: Columns) -> Result<Markers, ReadErrorKind> {
    let size = head.number_bytes();
    let frames = head.frames as usize;
    let mut points = Vec::with_capacity(frames * columns.len());
    let data = &bytes[head.data_at..];
    for (frame, row) in data.chunks_exact(head.frame_bytes()).take(frames).enumerate() {
        for (column, label) in &columns {
            let at = column * 4 * size;
            let place = || FilePlace::Point { frame, label: label.clone() };
            points.push(match point(&row[at..at + 4 * size], head) {
                Some([x, y, z]) => [checked(x, place)?, checked(y, place)?, checked(z, place)?],
                None => [f64::NAN; 3],
            });
        }
    }
    Ok(Markers {
        labels: columns.into_iter().map(|(_, label)| label).collect(),
        points,
        confidence: None,
    })
}

/// One point of four numbers; `None` if it was not measured.
fn point(bytes: &[u8], head: &Head) -> Option<[f64; 3]> {
    let xyz = if head.scale < 0.0 {
        let at = |i: usize| {
            head.processor.f32([bytes[4 * i], bytes[4 * i + 1], bytes[4 * i + 2], bytes[4 * i + 3]])
        };
        // A NaN residual says no more than a negative one: not measured.
        let residual = at(3);
        if residual.is_nan() || residual < 0.0 {
            return None;
        }
        [at(0), at(1), at(2)].map(f64::from)
    } else {
        let at = |i: usize| head.processor.i16([bytes[2 * i], bytes[2 * i + 1]]);
        if at(3) < 0 {
            return None;
        }
        [at(0), at(1), at(2)].map(|value| f64::from(value) * head.scale)
    };
    let missing = xyz == [0.0; 3] || xyz.iter().all(|x| x.is_nan());
    (!missing).then_some(xyz)
}
