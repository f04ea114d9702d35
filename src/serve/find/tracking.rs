//! Whether the body was tracked through a serve: gaps, and bones that change their length.

use crate::motion::{Dimensions, Gap, Joint, Recording, gaps};
use crate::serve::track::cut;
use crate::serve::vector::{norm, sub};

/// Bones by their ends.
const BONES: [(Joint, Joint, &str); 8] = [
    (Joint::LeftShoulder, Joint::LeftElbow, "left upper arm"),
    (Joint::RightShoulder, Joint::RightElbow, "right upper arm"),
    (Joint::LeftElbow, Joint::LeftWrist, "left forearm"),
    (Joint::RightElbow, Joint::RightWrist, "right forearm"),
    (Joint::LeftHip, Joint::LeftKnee, "left thigh"),
    (Joint::RightHip, Joint::RightKnee, "right thigh"),
    (Joint::LeftKnee, Joint::LeftAnkle, "left shank"),
    (Joint::RightKnee, Joint::RightAnkle, "right shank"),
];

/// A bone off its usual length by more than this share is doubtful, by more than the second broken.
const DOUBTFUL: f64 = 0.25;
const BROKEN: f64 = 0.5;
/// More than this share of a serve's frames with a broken bone refuses it.
const BROKEN_FRAMES: f64 = 0.25;

/// How far gaps are followed beyond the frames they are asked for, s.
const FOLLOWED_S: f64 = 2.0;

/// Gaps of the core joints that reach between two frames, filled or not, each in its whole length
/// (up to two seconds beyond).
pub(super) fn gaps_between(recording: &Recording, first: usize, last: usize) -> Vec<Gap> {
    let beyond = (FOLLOWED_S * recording.rate_hz).ceil() as usize;
    let from = first.saturating_sub(beyond);
    let to = (last + beyond).min(recording.frames() - 1);
    let mut found = gaps(&cut(recording, &Joint::CORE, from, to));
    for gap in &mut found {
        gap.first += from;
        gap.last += from;
    }
    found.retain(|gap| gap.first <= last && gap.last >= first);
    found
}

/// Why tracking is broken between two frames, if a bone changes its length too far and too long.
pub(super) fn broken_bone(recording: &Recording, first: usize, last: usize) -> Option<String> {
    let (name, share) = worst(recording, first, last, BROKEN)?;
    (share > BROKEN_FRAMES).then(|| {
        format!(
            "tracking is broken within the serve: the {name} is more than {:.0} % off its usual length in {:.0} % of the frames",
            100.0 * BROKEN,
            100.0 * share
        )
    })
}

/// What a careful reader must know about bones between two frames.
pub(super) fn doubtful_bone(recording: &Recording, first: usize, last: usize) -> Option<String> {
    let (name, share) = worst(recording, first, last, DOUBTFUL)?;
    Some(format!(
        "tracking is doubtful: the {name} is more than {:.0} % off its usual length in {:.0} % of the frames",
        100.0 * DOUBTFUL,
        100.0 * share
    ))
}

/// The bone that is off by more than `limit` in the greatest share of the frames, if any is.
fn worst(
    recording: &Recording,
    first: usize,
    last: usize,
    limit: f64,
) -> Option<(&'static str, f64)> {
    if recording.dimensions == Dimensions::Two {
        return None;
    }
    let shares = BONES.iter().filter_map(|&(a, b, name)| {
        let length = |frame| Some(norm(sub(recording.at(frame, a)?, recording.at(frame, b)?)));
        let stride = (recording.frames() / 2000).max(1);
        let mut usual: Vec<f64> =
            (0..recording.frames()).step_by(stride).filter_map(length).collect();
        usual.sort_by(f64::total_cmp);
        let usual = *usual.get(usual.len() / 2)?;
        let off = (first..=last)
            .filter_map(length)
            .filter(|seen| (seen - usual).abs() > limit * usual)
            .count();
        (off > 0).then(|| (name, off as f64 / (last - first + 1) as f64))
    });
    shares.max_by(|a, b| a.1.total_cmp(&b.1))
}
