//! Which way the palm turns after contact, said coarsely.
//!
//! The palm's normal from a network's three hand points is coarse: four synchronised cameras
//! disagreed by 19 to 30 degrees about its turn, and it flips between frames without warning.
//! So it is filtered by medians, said in words, and "unsure" is an answer; the pictures
//! decide.

use crate::motion::{Joint, Recording, Side};

/// Which way the palm looks after contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PalmTurn {
    /// Away from the body on the hitting side: the forearm has turned fully.
    Outward,
    /// Across the body to the tossing side: it has hardly turned.
    Sideways,
    /// To the ground.
    Down,
    /// Not to be told from this clip.
    Unsure,
}

impl PalmTurn {
    /// Name for people and data: `outward`, `sideways`, `down`, `unsure`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Outward => "outward",
            Self::Sideways => "sideways",
            Self::Down => "down",
            Self::Unsure => "unsure",
        }
    }
}

/// The palm's turn with what it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct PalmReading {
    /// The turn.
    pub turn: PalmTurn,
    /// Why, in a few words.
    pub why: String,
    /// Frames whose pictures show it: contact, then 50 and 100 ms later, where there are such.
    pub frames: Vec<usize>,
}

/// The stretch after contact that is looked at, seconds.
const FROM_S: f64 = 0.02;
const TO_S: f64 = 0.15;
/// Half width of the running median, seconds; at least one frame on each side.
const HALF_MEDIAN_S: f64 = 0.025;
/// Fewer frames say nothing.
const MIN_FRAMES: usize = 4;
/// Least share of the frames that must agree.
const MIN_AGREEMENT: f64 = 0.75;
/// Least part of the normal along the direction named, and least lead over the next one.
const MIN_PART: f64 = 0.5;
const MIN_LEAD: f64 = 0.15;

/// Reads the palm's turn after the contact at `contact_s` off a recording in space.
///
/// `hand`: the racket hand. Directions are the body's own: the hitting side from the line of the
/// shoulders, down from the vertical. A normal that looks ahead, behind or up counts as unsure.
#[must_use]
pub fn palm_turn(recording: &Recording, contact_s: f64, hand: Side) -> PalmReading {
    let frame_at = |at_s: f64| {
        let later = recording.times_s.partition_point(|t| *t < at_s - 1e-9);
        (later < recording.frames()).then_some(later)
    };
    let mut frames: Vec<usize> =
        [0.0, 0.05, 0.1].iter().filter_map(|d| frame_at(contact_s + d)).collect();
    frames.dedup();
    let unsure = |why: String| PalmReading { turn: PalmTurn::Unsure, why, frames: frames.clone() };

    let looked: Vec<usize> = (0..recording.frames())
        .filter(|&f| {
            let after = recording.times_s[f] - contact_s;
            (FROM_S..=TO_S).contains(&after)
        })
        .collect();
    let parts: Vec<[f64; 3]> =
        looked.iter().filter_map(|&f| steady_parts(recording, f, hand)).collect();
    if parts.len() < MIN_FRAMES {
        return unsure(format!(
            "the hand is seen in {} frames within {:.0} ms of contact; {MIN_FRAMES} are needed",
            parts.len(),
            1e3 * TO_S
        ));
    }
    let votes: Vec<PalmTurn> = parts.iter().map(classify).collect();
    for turn in [PalmTurn::Outward, PalmTurn::Sideways, PalmTurn::Down] {
        let count = votes.iter().filter(|vote| **vote == turn).count();
        if count as f64 >= MIN_AGREEMENT * votes.len() as f64 {
            return PalmReading {
                turn,
                why: format!("{count} of {} frames after contact agree", votes.len()),
                frames,
            };
        }
    }
    unsure(format!("{} frames after contact do not agree", votes.len()))
}

/// Outward and downward parts of the normal, and the rest of it.
fn classify(parts: &[f64; 3]) -> PalmTurn {
    let [outward, down, ahead] = *parts;
    let ranked = [
        (outward, PalmTurn::Outward),
        (-outward, PalmTurn::Sideways),
        (down, PalmTurn::Down),
        (-down, PalmTurn::Unsure),
        (ahead.abs(), PalmTurn::Unsure),
    ];
    let best = ranked
        .iter()
        .copied()
        .fold((0.0, PalmTurn::Unsure), |best, next| if next.0 > best.0 { next } else { best });
    let second = ranked
        .iter()
        .filter(|(_, turn)| *turn != best.1)
        .fold(0.0_f64, |most, (part, _)| most.max(*part));
    if best.0 >= MIN_PART && best.0 - second >= MIN_LEAD { best.1 } else { PalmTurn::Unsure }
}

/// Running median of the normal's parts about frame `f`.
fn steady_parts(recording: &Recording, f: usize, hand: Side) -> Option<[f64; 3]> {
    let near = |k: usize| {
        (recording.times_s[k] - recording.times_s[f]).abs() <= HALF_MEDIAN_S || k.abs_diff(f) <= 1
    };
    parts(recording, f, hand)?;
    let around: Vec<[f64; 3]> = (0..recording.frames())
        .filter(|&k| near(k))
        .filter_map(|k| parts(recording, k, hand))
        .collect();
    Some(std::array::from_fn(|c| {
        let mut values: Vec<f64> = around.iter().map(|part| part[c]).collect();
        values.sort_by(f64::total_cmp);
        values[values.len() / 2]
    }))
}

/// The unit normal of the palm, as (outward, down, ahead).
fn parts(recording: &Recording, f: usize, hand: Side) -> Option<[f64; 3]> {
    let (wrist, index, little, own, other) = match hand {
        Side::Right => (
            Joint::RightWrist,
            Joint::RightIndex,
            Joint::RightLittle,
            Joint::RightShoulder,
            Joint::LeftShoulder,
        ),
        Side::Left => (
            Joint::LeftWrist,
            Joint::LeftIndex,
            Joint::LeftLittle,
            Joint::LeftShoulder,
            Joint::RightShoulder,
        ),
    };
    let at = |joint| recording.at(f, joint);
    let from = |a: [f64; 3], b: [f64; 3]| -> [f64; 3] { std::array::from_fn(|i| b[i] - a[i]) };
    let (a, b) = (from(at(wrist)?, at(index)?), from(at(wrist)?, at(little)?));
    let out_of_palm = if hand == Side::Right { 1.0 } else { -1.0 };
    let normal = [
        out_of_palm * (a[1] * b[2] - a[2] * b[1]),
        out_of_palm * (a[2] * b[0] - a[0] * b[2]),
        out_of_palm * (a[0] * b[1] - a[1] * b[0]),
    ];
    let length = normal.iter().map(|v| v * v).sum::<f64>().sqrt();
    let line = from(at(other)?, at(own)?);
    let level = line[0].hypot(line[1]);
    if length <= 0.0 || level <= 0.0 {
        return None;
    }
    let side = [line[0] / level, line[1] / level];
    let outward = (normal[0] * side[0] + normal[1] * side[1]) / length;
    let ahead = (normal[1] * side[0] - normal[0] * side[1]) / length;
    Some([outward, -normal[2] / length, ahead])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motion::{Capture, Dimensions, Unit};

    /// A right-hander facing +y, or a left-hander as in a mirror, whose palm looks along
    /// `normals` (outward, ahead, up) frame by frame at 60 Hz.
    fn hand(hand: Side, normals: &[[f64; 3]]) -> Recording {
        let mirror = if hand == Side::Right { 1.0 } else { -1.0 };
        let joints = vec![
            Joint::LeftShoulder,
            Joint::RightShoulder,
            Joint::LeftWrist,
            Joint::RightWrist,
            Joint::LeftIndex,
            Joint::RightIndex,
            Joint::LeftLittle,
            Joint::RightLittle,
        ];
        let mut positions = Vec::new();
        for normal in normals {
            // Any two directions square to the normal, thumb side first.
            let helper = if normal[2].abs() < 0.9 { [0.0, 0.0, 1.0] } else { [0.0, 1.0, 0.0] };
            let cross = |a: [f64; 3], b: [f64; 3]| {
                [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
            };
            let thumb = cross(helper, *normal);
            let along = cross(*normal, thumb);
            let knuckle = |s: f64| -> [f64; 3] {
                std::array::from_fn(|i| 0.1 * along[i] - s * 0.03 * thumb[i])
            };
            let place = |p: [f64; 3]| [mirror * (p[0] + 0.3), p[1], p[2] + 0.5];
            positions.extend([[-0.2, 0.0, 0.5], [0.2, 0.0, 0.5]]);
            for point in [[0.0; 3], knuckle(-1.0), knuckle(1.0)] {
                // Both columns hold the hitting hand; only the asked one is read.
                positions.extend([place(point), place(point)]);
            }
        }
        Recording {
            joints,
            times_s: (0..normals.len()).map(|f| f as f64 / 60.0).collect(),
            positions,
            confidence: None,
            rate_hz: 60.0,
            dimensions: Dimensions::Three,
            unit: Unit::Metre,
            capture: Capture::OneCameraLifted,
            view: None,
            subject: None,
            format: "test".to_owned(),
            assumptions: Vec::new(),
        }
    }

    fn turn(side: Side, normals: &[[f64; 3]]) -> PalmTurn {
        palm_turn(&hand(side, normals), 0.0, side).turn
    }

    #[test]
    fn the_three_directions_are_told_apart_for_both_hands() {
        for side in [Side::Right, Side::Left] {
            assert_eq!(turn(side, &[[1.0, 0.0, 0.0]; 12]), PalmTurn::Outward);
            assert_eq!(turn(side, &[[-1.0, 0.0, 0.0]; 12]), PalmTurn::Sideways);
            assert_eq!(turn(side, &[[0.0, 0.0, -1.0]; 12]), PalmTurn::Down);
            assert_eq!(turn(side, &[[0.0, 1.0, 0.0]; 12]), PalmTurn::Unsure);
            assert_eq!(turn(side, &[[0.7, 0.0, -0.7]; 12]), PalmTurn::Unsure);
        }
    }

    #[test]
    fn a_flip_in_single_frames_is_filtered_and_half_and_half_is_unsure() {
        let mut normals = [[1.0, 0.0, 0.0]; 12];
        normals[4] = [-1.0, 0.0, 0.0];
        assert_eq!(turn(Side::Right, &normals), PalmTurn::Outward);
        normals[6..].fill([-1.0, 0.0, 0.0]);
        assert_eq!(turn(Side::Right, &normals), PalmTurn::Unsure);
    }

    #[test]
    fn too_few_frames_are_unsure_and_the_pictures_are_named() {
        let reading = palm_turn(&hand(Side::Right, &[[1.0, 0.0, 0.0]; 3]), 0.0, Side::Right);
        assert_eq!(reading.turn, PalmTurn::Unsure);
        assert!(reading.why.contains("in 1 frames"), "{}", reading.why);
        let reading = palm_turn(&hand(Side::Right, &[[1.0, 0.0, 0.0]; 12]), 0.0, Side::Right);
        assert_eq!(reading.frames, [0, 3, 6]);
    }
}
