//! TRC: tab-separated marker positions with a five-line header. An empty cell is a gap.

use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind, excerpt};
use super::layout::{Layout, SourceUnit};
use super::markers::Markers;
use super::raw::{Axes, Raw, Times, assumed, pick};
use super::subjects::{choose_subject, unique};
use super::text::{finite, number};
use crate::motion::{Capture, Dimensions};

pub(super) fn sniff(text: &str) -> bool {
    text.trim_start().starts_with("PathFileType")
}

/// What the header says.
#[derive(Default)]
struct Head {
    rate_hz: Option<f64>,
    frames: Option<f64>,
    markers: Option<f64>,
    unit: Option<SourceUnit>,
}

pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(n, line)| (n + 1, line))
        .filter(|(_, line)| !line.trim().is_empty());
    let mut next = |expected| {
        lines.next().ok_or_else(|| structure(FilePlace::Header, expected, "the end of the file"))
    };
    let (line, first) = next("a line PathFileType")?;
    if !first.trim_start().starts_with("PathFileType") {
        return Err(structure(FilePlace::Line(line), "PathFileType", first));
    }
    let (_, keys) = next("a line of header names")?;
    let (line, values) = next("a line of header values")?;
    let head = head(keys, values, line)?;
    let (line, names) = next("a line of marker names")?;
    let labels = labels(names, line, &head)?;
    unique(&labels)?;
    // The line X1 Y1 Z1 ... repeats what is known.
    next("a line X1 Y1 Z1")?;

    let width = labels.len();
    let mut points = Vec::new();
    let mut times_s: Vec<f64> = Vec::new();
    let mut assumptions = Vec::new();
    let mut rows = lines.peekable();
    while let Some((line, row)) = rows.next() {
        let row: Vec<&str> =
            row.trim_end_matches(['\r', '\n']).split('\t').map(str::trim).collect();
        // Some writers end every row with a tab; an empty marker at the end of a row is a gap.
        let found = row.iter().rposition(|field| !field.is_empty()).map_or(0, |last| last + 1);
        let expected = 2 + 3 * width;
        if found > expected || row.len() < expected {
            if options.trim && rows.peek().is_none() {
                assumptions.push(assumed("frames", "without the last row", "trimmed as asked"));
                break;
            }
            return Err(ReadErrorKind::RaggedRow {
                place: FilePlace::Line(line),
                expected,
                found: row.len(),
            });
        }
        let cell = |at: usize, column: &dyn Fn() -> String| {
            number(row[at], || FilePlace::Cell { line, column: column() })
        };
        times_s.push(cell(1, &|| "Time".to_owned())?);
        for (n, label) in labels.iter().enumerate() {
            let at = 2 + 3 * n;
            points.push(if row[at..at + 3].iter().all(|field| field.is_empty()) {
                [f64::NAN; 3]
            } else {
                let name = |axis: char| format!("{label} {axis}");
                [
                    cell(at, &|| name('x'))?,
                    cell(at + 1, &|| name('y'))?,
                    cell(at + 2, &|| name('z'))?,
                ]
            });
        }
    }
    let held = times_s.len() as u64;
    if held == 0 {
        return Err(ReadErrorKind::NoFrames);
    }
    match head.frames.map(|frames| frames as u64) {
        Some(promised) if promised > held && !options.trim => {
            return Err(ReadErrorKind::Truncated { layout: Layout::Trc, promised, held });
        }
        Some(promised) if promised != held => assumptions.push(assumed(
            "frames",
            format!("all {held} rows"),
            format!("the header says {promised}"),
        )),
        _ => {}
    }
    let (subject, chosen) = choose_subject(labels, &[], options, &mut assumptions)?;
    let kept: Vec<usize> = chosen.iter().map(|&(column, _)| column).collect();
    let joints = Markers {
        labels: chosen.into_iter().map(|(_, label)| label).collect(),
        points: pick(&points, width, &kept),
        confidence: None,
    }
    .into_joints(head.rate_hz)?;
    assumptions.extend(joints.assumptions);
    Ok(Raw {
        layout: Layout::Trc,
        format: Layout::Trc.name().to_owned(),
        joints: joints.joints,
        positions: joints.positions,
        confidence: None,
        times: Times::Each { times_s, stated_hz: head.rate_hz },
        dimensions: Dimensions::Three,
        unit: head.unit,
        axes: Axes::Open,
        capture: Capture::Markers,
        subject,
        unknown: joints.unknown,
        assumptions,
    })
}

fn structure(place: FilePlace, expected: &'static str, found: &str) -> ReadErrorKind {
    ReadErrorKind::Structure { layout: Layout::Trc, place, expected, found: excerpt(found) }
}

fn head(keys: &str, values: &str, line: usize) -> Result<Head, ReadErrorKind> {
    let mut head = Head::default();
    for (key, value) in keys.split('\t').zip(values.split('\t')) {
        let (key, value) = (key.trim(), value.trim());
        let parsed =
            || finite(value, || FilePlace::Cell { line, column: key.to_owned() }).map(Some);
        match key {
            "DataRate" => head.rate_hz = parsed()?,
            "NumFrames" => head.frames = parsed()?,
            "NumMarkers" => head.markers = parsed()?,
            "Units" => head.unit = SourceUnit::from_file(value),
            _ => {}
        }
    }
    Ok(head)
}

/// The marker names; every third column from the third on.
fn labels(names: &str, line: usize, head: &Head) -> Result<Vec<String>, ReadErrorKind> {
    let labels: Vec<String> = names
        .split('\t')
        .skip(2)
        .map(str::trim)
        .filter(|name| !name.is_empty())
        .map(str::to_owned)
        .collect();
    match head.markers {
        Some(promised) if promised != labels.len() as f64 => Err(structure(
            FilePlace::Line(line),
            "as many marker names as NumMarkers says",
            &format!("{} names, {promised} promised", labels.len()),
        )),
        _ if labels.is_empty() => Err(structure(FilePlace::Line(line), "marker names", "none")),
        _ => Ok(labels),
    }
}
