//! The 20-joint depth-sensor table: 20 lines a frame, `x y z confidence`, metres, no header.
//!
//! Order: shoulders, neck, spine, hips, hip centre, elbows, wrists, hands, knees, ankles, feet,
//! head; of each pair side A first. y is up and z the distance from the camera. The literature
//! calls side A right, but depth pictures are often mirrored and the file does not say: A is
//! read as right with x to the camera's right, which gives a whole body (feet to the front), and
//! `ReadOptions::mirror` gives the other reading.
//!
//! A joint at exactly (0, 0, 0), the camera itself, was not tracked: a gap.

use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind};
use super::layout::{Layout, SourceUnit};
use super::raw::{Axes, Raw, Times, assumed};
use super::text::number;
use crate::motion::{Capture, Dimensions, Joint};

/// Lines of one frame; `None`: spine and hip centre, which the canonical set does without.
const ORDER: [Option<Joint>; 20] = {
    use Joint::*;
    [
        Some(RightShoulder),
        Some(LeftShoulder),
        Some(Neck),
        None,
        Some(RightHip),
        Some(LeftHip),
        None,
        Some(RightElbow),
        Some(LeftElbow),
        Some(RightWrist),
        Some(LeftWrist),
        Some(RightHand),
        Some(LeftHand),
        Some(RightKnee),
        Some(LeftKnee),
        Some(RightAnkle),
        Some(LeftAnkle),
        Some(RightToe),
        Some(LeftToe),
        Some(Head),
    ]
};

/// Do the first 20 filled lines hold four numbers each?
pub(super) fn sniff(text: &str) -> bool {
    let mut lines = filled(text).take(20).peekable();
    lines.peek().is_some()
        && lines.all(|(_, line)| {
            let mut fields = 0;
            line.split_whitespace().all(|field| {
                fields += 1;
                field.parse::<f64>().is_ok()
            }) && fields == 4
        })
}

fn filled(text: &str) -> impl Iterator<Item = (usize, &str)> {
    text.lines().enumerate().map(|(n, line)| (n + 1, line)).filter(|(_, l)| !l.trim().is_empty())
}

pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let mut positions = Vec::new();
    let mut confidence = Vec::new();
    let mut assumptions = Vec::new();
    let mut lines = 0_usize;
    let mut last_line = 0;
    for (line, row) in filled(text) {
        last_line = line;
        let fields: Vec<&str> = row.split_whitespace().take(5).collect();
        let &[x, y, z, sure] = fields.as_slice() else {
            let ragged = ReadErrorKind::RaggedRow {
                place: FilePlace::Line(line),
                expected: 4,
                found: row.split_whitespace().count(),
            };
            // A file cut off in the middle of its last line.
            if options.trim && filled(text).last().is_some_and(|(last, _)| last == line) {
                break;
            }
            return Err(ragged);
        };
        let joint = ORDER[lines % 20];
        lines += 1;
        let cell =
            |name: &str, field| number(field, || FilePlace::Cell { line, column: name.to_owned() });
        let p = [cell("x", x)?, cell("y", y)?, cell("z", z)?];
        let sure = cell("confidence", sure)?;
        if joint.is_some() {
            positions.push(if p == [0.0; 3] { [f64::NAN; 3] } else { p });
            confidence.push(sure.clamp(0.0, 1.0) as f32);
        }
    }
    let joints: Vec<Joint> = ORDER.into_iter().flatten().collect();
    let (frames, over) = (lines / 20, lines % 20);
    if over != 0 {
        if !options.trim {
            return Err(ReadErrorKind::IncompleteFrame {
                layout: Layout::Depth20,
                place: FilePlace::Line(last_line),
                expected: 20,
                found: over,
            });
        }
        assumptions.push(assumed(
            "frames",
            format!("the {frames} complete ones"),
            "trimmed as asked",
        ));
        positions.truncate(frames * joints.len());
        confidence.truncate(frames * joints.len());
    }
    Ok(Raw {
        layout: Layout::Depth20,
        format: Layout::Depth20.name().to_owned(),
        joints,
        positions,
        confidence: Some(confidence),
        times: Times::Even(None),
        dimensions: Dimensions::Three,
        unit: Some(SourceUnit::Metre),
        axes: Axes::CameraLeftHanded,
        capture: Capture::DepthSensor,
        subject: None,
        unknown: Vec::new(),
        assumptions,
    })
}
