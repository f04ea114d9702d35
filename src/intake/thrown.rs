//! Where the ball of a clip's serves may be looked for, and what it shows of the release.

use std::path::Path;

use super::heard::height_px;
use super::{LookError, SeenClip};
use crate::library::Named;
use crate::motion::{Joint, Recording, Side};
use crate::serve::{EventKind, GivenMoment, Serve};
use crate::video::{BallFlightSeen, Toss, follow_ball};
use crate::work::Watch;

/// Looked for from so long before the toss until contact.
const BEFORE_S: f64 = 0.15;
/// The release as the ball shows it, one standard error beside half a frame: of twelve planted balls one
/// is 0.075 s off; real ones were not tried.
const RELEASE_ERROR_S: f64 = 0.04;
/// The body's lines by their ends, left side; the ball is not looked for on them.
const LINES: [(Joint, Joint); 5] = [
    (Joint::LeftShoulder, Joint::LeftElbow),
    (Joint::LeftElbow, Joint::LeftWrist),
    (Joint::LeftShoulder, Joint::LeftHip),
    (Joint::LeftHip, Joint::LeftKnee),
    (Joint::LeftEar, Joint::LeftShoulder),
];

/// The flight of the ball in each serve, where it is seen.
pub(super) fn flights(
    file: &Path,
    serves: &[Serve],
    recording: &Recording,
    seen: &SeenClip,
    watch: &Watch,
) -> Result<Vec<Option<BallFlightSeen>>, LookError> {
    serves
        .iter()
        .map(|serve| match toss(file, serve, recording, seen) {
            Some(toss) => Ok(follow_ball(&toss, watch)?),
            None => Ok(None),
        })
        .collect()
}

fn toss<'a>(
    file: &'a Path,
    serve: &Serve,
    recording: &Recording,
    seen: &'a SeenClip,
) -> Option<Toss<'a>> {
    let kept = &seen.kept;
    let at_s = |kind: EventKind| serve.events[kind as usize].time_s;
    let times = &recording.times_s;
    let first = times.partition_point(|&t| t < at_s(EventKind::TossStart) - BEFORE_S);
    let last = times.partition_point(|&t| t <= at_s(EventKind::Contact)).min(times.len() - 1);
    let (from, to) =
        (*kept.clip_frames.get(first)? as usize, *kept.clip_frames.get(last)? as usize);
    // Where frames were left out, times and pictures no longer go together.
    if to.checked_sub(from)? != last - first {
        return None;
    }
    let tosses = serve.hand.other();
    let of_side = |joint: Joint, side: Side| match side {
        Side::Left => joint,
        Side::Right => joint.mirrored(),
    };
    let place = |frame: usize, joint: Joint| kept.at(frame, joint).map(|(place, _)| place);
    let body = |frame: usize| -> Vec<[[f64; 2]; 2]> {
        let sides = [Side::Left, Side::Right].into_iter();
        let lines = sides.flat_map(|side| {
            LINES.map(|(a, b)| {
                Some([place(frame, of_side(a, side))?, place(frame, of_side(b, side))?])
            })
        });
        lines.flatten().collect()
    };
    Some(Toss {
        clip: file,
        info: seen.info.as_ref(),
        frames: from..to + 1,
        times_s: times[first..=last].to_vec(),
        tall_px: height_px(recording, kept)?,
        hand: (first..=last).map(|frame| place(frame, of_side(Joint::LeftWrist, tosses))).collect(),
        body: (first..=last).map(body).collect(),
        size_px: (kept.size_px.0 as usize, kept.size_px.1 as usize),
    })
}

/// The release as the flight shows it.
pub(super) fn release(flight: &BallFlightSeen, rate_hz: f64) -> GivenMoment {
    GivenMoment {
        kind: EventKind::Release,
        time_s: flight.release_s,
        error_s: RELEASE_ERROR_S.hypot(0.5 / rate_hz),
    }
}

/// The flight in words.
pub(super) fn note(flight: &BallFlightSeen, serve: &Serve) -> String {
    let side = if flight.aside < 0.0 { "left" } else { "right" };
    let contact_s = serve.events[EventKind::Contact as usize].time_s;
    let highest = match contact_s - flight.highest_s {
        before_s if before_s > 0.0 => format!(
            "highest {before_s:.2} s before contact, dropped by {:.2} of the player's height by then",
            flight.drop
        ),
        _ => "still rising at contact".to_owned(),
    };
    format!(
        "the ball is followed from the {} hand: let go at {:.2} s, {:.2} of the player's height high, \
         {highest}, {:.2} to the picture's {side} of where it was let go",
        serve.hand.other().name(),
        flight.release_s,
        flight.rise,
        flight.aside.abs()
    )
}
