//! Hard cuts of a film: the whole body is elsewhere, or turned, from one frame to the next, and
//! stays so.

use super::track::MAX_FILLED_GAP_S;
use super::vector::{norm, sub};
use crate::motion::{Capture, Joint, Recording};

/// Share of the stature by which half of the joints move at once at a cut, at 30 Hz.
///
/// On 166 takes of the flat real recordings no frame of a serve or forehand comes to more than
/// 0.077 in the picture; of 89 pairs of such takes joined in the middle 88 come to 0.108 or more. In
/// space, about the hips, the two real serves of one camera come to 0.085 at most, but a drawn clip as the
/// network reads it to more than 0.10: there only what no swing does is a cut (our estimate), and some
/// are missed.
const IN_PICTURE: f64 = 0.09;
const IN_SPACE: f64 = 0.16;
/// Frames before and after that have to be as far from each other: what comes back is no cut.
const STAYS_FRAMES: usize = 3;
/// Fewer joints than these say nothing.
const LEAST_JOINTS: usize = 6;

/// The first frame after each cut, in order; none in what is not filmed by one camera.
pub(super) fn cuts(recording: &Recording, stature: f64) -> Vec<usize> {
    let (share, about_hips) = match recording.capture {
        Capture::OneCameraFlat => (IN_PICTURE, false),
        Capture::OneCameraLifted => (IN_SPACE, true),
        _ => return Vec::new(),
    };
    let hip = |joint: Joint| matches!(joint, Joint::LeftHip | Joint::RightHip);
    let joints: Vec<Joint> =
        Joint::CORE.into_iter().filter(|joint| !(about_hips && hip(*joint))).collect();
    let limit = |from: usize, to: usize| {
        let frames = 30.0 * (recording.times_s[to] - recording.times_s[from]);
        share * stature * frames.max(1.0).sqrt()
    };
    let seen = |frame: usize| {
        let seen = joints.iter().filter(|joint| recording.at(frame, **joint).is_some());
        seen.count() >= LEAST_JOINTS
    };
    let mut found = Vec::new();
    let mut before: Option<usize> = None;
    for frame in (0..recording.frames()).filter(|&frame| seen(frame)) {
        if let Some(last) = before
            && recording.times_s[frame] - recording.times_s[last] <= MAX_FILLED_GAP_S
            && stays_apart(recording, &joints, last, frame, limit(last, frame))
        {
            found.push(frame);
        }
        before = Some(frame);
    }
    found
}

/// Whether all frames up to `last` are further than `limit` from those after it, from `next` on.
fn stays_apart(
    recording: &Recording,
    joints: &[Joint],
    last: usize,
    next: usize,
    limit: f64,
) -> bool {
    let far = |a, b| apart(recording, joints, a, b).is_none_or(|apart| apart > limit);
    if apart(recording, joints, last, next).is_none() || !far(last, next) {
        return false;
    }
    let earlier = last.saturating_sub(STAYS_FRAMES - 1)..=last;
    let later = next..(next + STAYS_FRAMES).min(recording.frames());
    earlier.into_iter().all(|a| later.clone().all(|b| far(a, b)))
}

/// Median way of the joints between two frames, the sides exchanged if that is shorter: a tracker
/// takes one leg for the other now and then.
fn apart(recording: &Recording, joints: &[Joint], a: usize, b: usize) -> Option<f64> {
    let median = |other: fn(Joint) -> Joint| {
        let mut ways: Vec<f64> = joints
            .iter()
            .filter_map(|&joint| {
                Some(norm(sub(recording.at(b, other(joint))?, recording.at(a, joint)?)))
            })
            .collect();
        ways.sort_by(f64::total_cmp);
        (ways.len() >= LEAST_JOINTS).then(|| ways[(ways.len() - 1) / 2])
    };
    let (same, exchanged) = (median(|joint| joint), median(Joint::mirrored));
    Some(same?.min(exchanged.unwrap_or(f64::INFINITY)))
}
