//! Text tables, one row a frame.
//!
//! With a header: columns `<label>_x`, `<label>_y`, `<label>_z` (all joints or none), optional
//! `<label>_confidence`, optional `time` (`time_s`, or `time_ms`) and `frame`; a label is a joint
//! or marker name in any spelling the program knows. Without one: the joints in the order the
//! caller declares, each 2 (x y), 3 (x y z) or 4 (x y z confidence) numbers, with or without a
//! first column of time. Lines that start with `#` are comments; `# rate_hz: 240`, `# unit: m`
//! and `# up: z` among them are heeded. An empty cell is a gap.

use csv::StringRecord;

use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind, excerpt};
use super::layout::{Layout, SourceUnit, Up};
use super::markers::Markers;
use super::raw::{Axes, Raw, Times, assumed};
use super::subjects::{choose_subject, unique};
use super::text::number;
use crate::motion::{Capture, Dimensions};

/// What a column holds.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Column {
    /// Time, in units of which there are so many in a second.
    Time { per_second: u32 },
    /// Axis 0 to 2, or 3 for the confidence, of a label.
    Of { label: usize, axis: usize },
    /// Heeded by nobody.
    Other,
}

/// The meaning of all columns.
struct Columns {
    names: Vec<String>,
    columns: Vec<Column>,
    labels: Vec<String>,
    three: bool,
    sure: bool,
    unused: Vec<String>,
}

/// How the fields are told apart.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Between {
    Byte(u8),
    Blanks,
}

/// Filled lines that are no comments, with their numbers.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines()
        .enumerate()
        .map(|(n, line)| (n + 1, line))
        .filter(|(_, line)| !line.trim().is_empty() && !line.trim_start().starts_with('#'))
}

fn between(line: &str) -> Between {
    [b'\t', b';', b',']
        .into_iter()
        .find(|&byte| line.as_bytes().contains(&byte))
        .map_or(Between::Blanks, Between::Byte)
}

/// The fields of one line, trimmed; quotes are understood where a delimiter is.
pub(super) fn fields(line: &str, between: Between) -> StringRecord {
    match between {
        Between::Blanks => line.split_whitespace().collect(),
        // What a reader of quotes would make of it, for a tenth of the cost: it lays its tables anew for every
        // row.
        Between::Byte(delimiter) if !line.contains(['"', '\r', '\u{feff}']) => {
            line.split(char::from(delimiter)).map(str::trim).collect()
        }
        Between::Byte(delimiter) => {
            let mut record = StringRecord::new();
            let mut reader = csv::ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .buffer_capacity(line.len().max(64))
                .delimiter(delimiter)
                .trim(csv::Trim::All)
                .from_reader(line.as_bytes());
            // Reading UTF-8 text from memory with `flexible` has no way to fail.
            match reader.read_record(&mut record) {
                Ok(true) => record,
                Ok(false) | Err(_) => StringRecord::new(),
            }
        }
    }
}

/// Does the text look like a table: a first row that names coordinates, or rows of at least
/// four numbers?
pub(super) fn sniff(text: &str) -> bool {
    let Some((_, first)) = lines(text).next() else { return false };
    let first = fields(first, between(first));
    let names = |field: &str| split(field, &field.to_ascii_lowercase()).is_some();
    first.iter().any(names)
        || (first.len() >= 4
            && first.iter().all(|field| field.is_empty() || field.parse::<f64>().is_ok()))
}

pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let mut assumptions = Vec::new();
    let mut rows = lines(text).peekable();
    let Some(&(first_line, first)) = rows.peek() else { return Err(ReadErrorKind::NoFrames) };
    let between = between(first);
    let head = fields(first, between);
    let numeric = |field: &str| field.is_empty() || field.parse::<f64>().is_ok();
    let columns = if head.iter().all(numeric) {
        declared(head.len(), options)?
    } else {
        rows.next();
        named(&head, first_line)?
    };
    if !columns.unused.is_empty() {
        assumptions.push(assumed(
            "columns",
            format!("not used: {}", super::errors::shorten(&columns.unused, 12)),
            "neither time nor <joint>_x, _y, _z or _confidence",
        ));
    }
    unique(&columns.labels)?;
    let mut markers =
        Markers { labels: Vec::new(), points: Vec::new(), confidence: columns.sure.then(Vec::new) };
    let mut times_s = Vec::new();
    while let Some((line, row)) = rows.next() {
        let row = fields(row, between);
        if row.len() != columns.columns.len() {
            if options.trim && rows.peek().is_none() {
                assumptions.push(assumed("frames", "without the last row", "trimmed as asked"));
                break;
            }
            return Err(ReadErrorKind::RaggedRow {
                place: FilePlace::Line(line),
                expected: columns.columns.len(),
                found: row.len(),
            });
        }
        columns.take(&row, line, &mut markers, &mut times_s)?;
    }
    let frames = markers.points.len() / columns.labels.len().max(1);
    if frames == 0 {
        return Err(ReadErrorKind::NoFrames);
    }
    let (subject, chosen) = choose_subject(columns.labels.clone(), &[], options, &mut assumptions)?;
    let width = columns.labels.len();
    let kept: Vec<usize> = chosen.iter().map(|&(column, _)| column).collect();
    markers.points = super::raw::pick(&markers.points, width, &kept);
    markers.confidence = markers.confidence.map(|c| super::raw::pick(&c, width, &kept));
    markers.labels = chosen.into_iter().map(|(_, label)| label).collect();
    let stated_hz = comment(text, "rate_hz").and_then(|value| value.parse::<f64>().ok());
    let joints = markers.into_joints(stated_hz)?;
    assumptions.extend(joints.assumptions);
    let times = if times_s.is_empty() {
        Times::Even(stated_hz)
    } else {
        Times::Each { times_s, stated_hz }
    };
    let dimensions = if columns.three { Dimensions::Three } else { Dimensions::Two };
    Ok(Raw {
        layout: Layout::Table,
        format: Layout::Table.name().to_owned(),
        joints: joints.joints,
        positions: joints.positions,
        confidence: joints.confidence,
        times,
        dimensions,
        unit: comment(text, "unit").and_then(|value| value.parse::<SourceUnit>().ok()),
        axes: comment(text, "up")
            .and_then(|value| value.parse::<Up>().ok())
            .map_or(Axes::Open, Axes::Up),
        capture: if columns.three { Capture::Unknown } else { Capture::OneCameraFlat },
        subject,
        unknown: joints.unknown,
        assumptions,
    })
}

/// The value of the comment `# key: value` before the first row.
fn comment<'a>(text: &'a str, key: &str) -> Option<&'a str> {
    text.lines()
        .map(str::trim)
        .take_while(|line| line.is_empty() || line.starts_with('#'))
        .filter_map(|line| line.strip_prefix('#')?.split_once(':'))
        .find(|(name, _)| name.trim() == key)
        .map(|(_, value)| value.trim())
}

fn named(head: &StringRecord, line: usize) -> Result<Columns, ReadErrorKind> {
    let mut this = Columns {
        names: head.iter().map(str::to_owned).collect(),
        columns: Vec::new(),
        labels: Vec::new(),
        three: false,
        sure: false,
        unused: Vec::new(),
    };
    // For each label the columns seen: x, y, z, confidence.
    let mut seen: Vec<[bool; 4]> = Vec::new();
    // A header may name a hundred labels, not a million: look-ups go through a map all the same.
    let mut known = std::collections::HashMap::new();
    for name in head {
        let column = match name.to_ascii_lowercase().as_str() {
            "time" | "time_s" | "t" | "seconds" => Column::Time { per_second: 1 },
            "time_ms" | "timestamp_ms" => Column::Time { per_second: 1000 },
            "frame" | "frame#" | "" => Column::Other,
            lower => match split(name, lower) {
                None => {
                    this.unused.push(name.to_owned());
                    Column::Other
                }
                Some((label, axis)) => {
                    let label = *known.entry(label.to_owned()).or_insert_with(|| {
                        this.labels.push(label.to_owned());
                        seen.push([false; 4]);
                        this.labels.len() - 1
                    });
                    if std::mem::replace(&mut seen[label][axis], true) {
                        return Err(ReadErrorKind::DuplicateLabel { label: name.to_owned() });
                    }
                    Column::Of { label, axis }
                }
            },
        };
        let again = matches!(column, Column::Time { .. })
            && this.columns.iter().any(|held| matches!(held, Column::Time { .. }));
        if again {
            return Err(ReadErrorKind::DuplicateLabel { label: name.to_owned() });
        }
        this.columns.push(column);
    }
    this.three = seen.iter().any(|axes| axes[2]);
    this.sure = seen.iter().any(|axes| axes[3]);
    let needed = if this.three { 3 } else { 2 };
    for (label, axes) in this.labels.iter().zip(&seen) {
        if let Some(axis) = axes[..needed].iter().position(|there| !there) {
            let there = axes.iter().position(|there| *there).unwrap_or(0);
            let name = |axis: usize| format!("{label}_{}", ["x", "y", "z", "confidence"][axis]);
            return Err(ReadErrorKind::MissingColumn { column: name(axis), beside: name(there) });
        }
    }
    if this.labels.is_empty() {
        return Err(ReadErrorKind::Structure {
            layout: Layout::Table,
            place: FilePlace::Line(line),
            expected: "columns such as left_wrist_x",
            found: excerpt(&this.names.join(",")),
        });
    }
    Ok(this)
}

/// `left_wrist_x` -> (`left_wrist`, 0).
fn split<'a>(name: &'a str, lower: &str) -> Option<(&'a str, usize)> {
    let at = lower.rfind(['_', '.', ' ', '-'])?;
    let axis = match &lower[at + 1..] {
        "x" => 0,
        "y" => 1,
        "z" => 2,
        "confidence" | "score" | "visibility" | "likelihood" | "c" => 3,
        _ => return None,
    };
    // Lower-casing ASCII letters keeps every byte where it is.
    Some((&name[..at], axis)).filter(|(label, _)| !label.is_empty())
}

fn declared(columns: usize, options: &ReadOptions) -> Result<Columns, ReadErrorKind> {
    let order = options.joint_order.as_deref().ok_or(ReadErrorKind::NoHeader { columns })?;
    let joints = order.len();
    let misfit = ReadErrorKind::JointOrder { columns, joints };
    let per = |columns: usize| {
        (joints > 0 && columns.is_multiple_of(joints))
            .then(|| columns / joints)
            .filter(|n| (2..=4).contains(n))
    };
    let (time, per) = match (per(columns), per(columns.saturating_sub(1))) {
        (Some(per), _) => (false, per),
        (None, Some(per)) => (true, per),
        (None, None) => return Err(misfit),
    };
    let of = (0..joints).flat_map(|label| (0..per).map(move |axis| Column::Of { label, axis }));
    let columns: Vec<Column> =
        time.then_some(Column::Time { per_second: 1 }).into_iter().chain(of).collect();
    Ok(Columns {
        names: (1..=columns.len()).map(|n| n.to_string()).collect(),
        columns,
        labels: order.iter().map(|joint| joint.name().to_owned()).collect(),
        three: per >= 3,
        sure: per == 4,
        unused: Vec::new(),
    })
}

impl Columns {
    /// Appends one row: a point for each label, and the time where there is one.
    fn take(
        &self,
        row: &StringRecord,
        line: usize,
        markers: &mut Markers,
        times_s: &mut Vec<f64>,
    ) -> Result<(), ReadErrorKind> {
        let start = markers.points.len();
        let flat = if self.three { f64::NAN } else { 0.0 };
        markers.points.resize(start + self.labels.len(), [f64::NAN, f64::NAN, flat]);
        if let Some(confidence) = &mut markers.confidence {
            confidence.resize(start + self.labels.len(), 1.0);
        }
        for ((field, column), name) in row.iter().zip(&self.columns).zip(&self.names) {
            let value = || number(field, || FilePlace::Cell { line, column: name.clone() });
            match *column {
                Column::Other => {}
                Column::Time { per_second } => times_s.push(value()? / f64::from(per_second)),
                Column::Of { .. } if field.is_empty() => {}
                Column::Of { label, axis: 3 } => {
                    if let Some(confidence) = &mut markers.confidence {
                        confidence[start + label] = value()?.clamp(0.0, 1.0) as f32;
                    }
                }
                Column::Of { label, axis } => markers.points[start + label][axis] = value()?,
            }
        }
        for (label, point) in self.labels.iter().zip(&mut markers.points[start..]) {
            let empty = point.iter().filter(|x| x.is_nan()).count();
            let all = if self.three { 3 } else { 2 };
            if empty == all {
                *point = [f64::NAN; 3];
            } else if empty > 0 {
                return Err(ReadErrorKind::NotANumber {
                    place: FilePlace::Cell { line, column: label.clone() },
                    found: String::new(),
                });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a field is, is RFC 4180's: a delimiter within quotes divides nothing, a doubled quote is one.
    #[test]
    fn a_row_is_the_same_fields_with_and_without_quotes() {
        let comma = |line| fields(line, Between::Byte(b','));
        assert_eq!(comma("0, left wrist_x ,,-1.5"), ["0", "left wrist_x", "", "-1.5"].to_vec());
        assert_eq!(comma("\"0\",\"left wrist_x\",\"\",-1.5"), comma("0, left wrist_x ,,-1.5"));
        assert_eq!(comma("\"a,b\",\"c\"\"d\","), ["a,b", "c\"d", ""].to_vec());
        assert_eq!(fields("1\t\t 2", Between::Byte(b'\t')), ["1", "", "2"].to_vec());
        // A row that old Macs ended, and the mark some programs begin every text with.
        assert_eq!(comma("1,2\r3,4"), ["1", "2"].to_vec());
        assert_eq!(comma("\u{feff}1,2"), ["1", "2"].to_vec());
    }
}
