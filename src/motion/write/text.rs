use std::fmt::Write as _;

use super::WriteError;
use crate::motion::{Dimensions, Recording, Unit};

/// `recording` as a TRC file: one marker per joint under its canonical name, z up, metres.
/// Gaps are empty cells.
///
/// # Errors
/// [`WriteError::Flat`] for a flat recording.
pub fn trc(recording: &Recording) -> Result<String, WriteError> {
    if recording.dimensions != Dimensions::Three {
        return Err(WriteError::Flat { format: "TRC", found: recording.dimensions });
    }
    let (frames, joints, rate) = (recording.frames(), &recording.joints, recording.rate_hz);
    let unit = if recording.unit == Unit::Metre { "m" } else { "none" };
    let mut text = String::from("PathFileType\t4\t(X/Y/Z)\trecording.trc\n");
    text.push_str("DataRate\tCameraRate\tNumFrames\tNumMarkers\tUnits\tOrigDataRate\tOrigDataStartFrame\tOrigNumFrames\n");
    put(
        &mut text,
        format_args!(
            "{rate}\t{rate}\t{frames}\t{}\t{unit}\t{rate}\t1\t{frames}\nFrame#\tTime",
            joints.len()
        ),
    );
    for joint in joints {
        put(&mut text, format_args!("\t{}\t\t", joint.name()));
    }
    text.push_str("\n\t");
    for n in 1..=joints.len() {
        put(&mut text, format_args!("\tX{n}\tY{n}\tZ{n}"));
    }
    text.push_str("\n\n");
    for (frame, row) in recording.positions.chunks_exact(joints.len().max(1)).enumerate() {
        put(&mut text, format_args!("{}\t{}", frame + 1, recording.times_s[frame]));
        for p in row {
            if p[0].is_nan() {
                text.push_str("\t\t\t");
            } else {
                put(&mut text, format_args!("\t{}\t{}\t{}", p[0], p[1], p[2]));
            }
        }
        text.push('\n');
    }
    Ok(text)
}

/// `recording` as a comma-separated table with a header: `time_s`, then per joint `_x`, `_y`,
/// `_z` and, where the source has it, `_confidence`; flat recordings have `_x` and `_y` with y
/// up. Gaps are empty cells. Rate, unit and axis stand in comments before the header.
#[must_use]
pub fn table(recording: &Recording) -> String {
    let flat = recording.dimensions == Dimensions::Two;
    let unit = match recording.unit {
        Unit::Metre => "m",
        Unit::Pixel => "px",
        Unit::Arbitrary => "none",
    };
    let up = if flat { "y" } else { "z" };
    let mut text = String::new();
    put(&mut text, format_args!("# rate_hz: {}\n", recording.rate_hz));
    put(&mut text, format_args!("# unit: {unit}\n# up: {up}\ntime_s"));
    let axes: &[&str] = if flat { &["x", "y"] } else { &["x", "y", "z"] };
    for joint in &recording.joints {
        for axis in axes {
            put(&mut text, format_args!(",{}_{axis}", joint.name()));
        }
        if recording.confidence.is_some() {
            put(&mut text, format_args!(",{}_confidence", joint.name()));
        }
    }
    text.push('\n');
    let width = recording.joints.len();
    for (frame, time) in recording.times_s.iter().enumerate() {
        put(&mut text, format_args!("{time}"));
        for at in frame * width..(frame + 1) * width {
            let [x, y, z] = recording.positions[at];
            match (x.is_nan(), flat) {
                (true, true) => text.push_str(",,"),
                (true, false) => text.push_str(",,,"),
                (false, true) => put(&mut text, format_args!(",{x},{z}")),
                (false, false) => put(&mut text, format_args!(",{x},{y},{z}")),
            }
            if let Some(confidence) = &recording.confidence {
                put(&mut text, format_args!(",{}", confidence[at]));
            }
        }
        text.push('\n');
    }
    text
}

/// Appends; writing to a `String` cannot fail.
fn put(text: &mut String, what: std::fmt::Arguments<'_>) {
    let _ = text.write_fmt(what);
}
