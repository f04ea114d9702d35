//! Every serve of a recording, found, cut and read; and what was refused, with the reason.

mod reader;
mod refuse;
mod slow;
mod tracking;

use self::reader::Reader;
use super::cuts::cuts;
use super::detect::{Candidate, candidates};
use super::track::stature;
use super::{Found, GivenServe, Refusal, Serve};
use crate::motion::{Joint, Recording, Side};

/// What the caller knows about the player.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FindOptions {
    /// The hand that holds the racket, if known; checked against the motion.
    pub hand: Option<Side>,
    /// The player's stature in metres, if known; sharpens heights over stature where the
    /// recording is in metres, and changes nothing else.
    pub stature_m: Option<f64>,
}

/// A serve needs at least this much tracked time.
const LEAST_STRETCH_S: f64 = 1.0;
/// A hand that has just hit is not tossing: a toss this close to a contact is none.
const AFTER_HIT_S: f64 = 0.35;

/// Finds every serve in `recording`, in order of time, with its events, measures and curve.
///
/// The hitting hand comes from the motion. If `options.hand` says otherwise, the serves are
/// refused with both hands named; only a depth sensor's file, which does not name the sides, takes
/// the user's word for which side is which. Practice swings with a tossing movement count as
/// serves; none goes on over a hard cut of a film. Gaps up to [`MAX_FILLED_GAP_S`](super::MAX_FILLED_GAP_S) are filled; longer ones within a serve refuse it.
/// Where a joint is lost for no longer at an end of the clip, the serve is read from the frames that show it.
/// If nothing is found, [`Found::refused`] says why in at least one entry.
///
/// Moving, turning about the vertical, scaling or mirroring the recording changes nothing but the
/// hand; see the property tests for the tolerance under another frame rate.
///
/// # Cost
/// Linear in the frames; memory for one copy of six joints and, per serve, of its few seconds.
#[must_use]
pub fn find(recording: &Recording, options: &FindOptions) -> Found {
    find_given(recording, options, &[])
}

/// As [`find`], with moments that are given: they stand as they are, and what the joints tell is
/// looked for around them. A serve in which they would break the order of moments is refused.
#[must_use]
pub fn find_given(recording: &Recording, options: &FindOptions, given: &[GivenServe]) -> Found {
    let mut found = search(recording, options, given);
    if found.serves.is_empty()
        && let Some(reason) = slow::ask_for_rate(recording, options)
    {
        let frames = (0, recording.frames().saturating_sub(1));
        found.refused.insert(0, Refusal { frames, reason });
    }
    found
}

fn search(recording: &Recording, options: &FindOptions, given: &[GivenServe]) -> Found {
    let last = recording.frames().saturating_sub(1);
    let whole = |reason: String| Found {
        serves: Vec::new(),
        refused: vec![Refusal { frames: (0, last), reason }],
    };
    if recording.frames() == 0 {
        return whole("no frames".to_owned());
    }
    let unheld: Vec<String> = Joint::CORE
        .iter()
        .filter(|&&joint| recording.column(joint).is_none())
        .map(|joint| spoken(*joint))
        .collect();
    if !unheld.is_empty() {
        return whole(format!(
            "the source holds no {}: a serve is read from shoulders, elbows, wrists, hips, knees and ankles",
            unheld.join(", ")
        ));
    }
    let Some(stature) = stature(recording) else {
        return whole("no frame shows shoulders and hips together".to_owned());
    };
    let cuts = cuts(recording, stature);
    let (stretches, candidates) = candidates(recording, stature, &cuts);
    let longest = stretches.iter().map(|s| s.1 - s.0).fold(0.0, f64::max);
    if longest < LEAST_STRETCH_S {
        let frames =
            (longest * recording.rate_hz).round() as usize + usize::from(!stretches.is_empty());
        return whole(format!(
            "tracking is broken or the recording is cut: the longest stretch with a tracked body \
             is {frames} frames ({longest:.2} s), too short for a serve ({LEAST_STRETCH_S:.1} s at \
             least)"
        ));
    }
    let accepted = accept(&candidates);
    let reader = Reader { recording, options, stature, stretches: &stretches, cuts: &cuts, given };
    let mut found = Found::default();
    for read in reader.read_all(&accepted) {
        match read {
            Ok(serve) => found.serves.push(serve),
            Err(refusal) => found.refused.push(refusal),
        }
    }
    keep_one_hand(&mut found);
    reader.refuse_the_rest(&candidates, &accepted, &mut found);
    found
}

/// The passing candidates that do not contradict each other, in order of time.
fn accept(candidates: &[Candidate]) -> Vec<Candidate> {
    let mut accepted: Vec<Candidate> = Vec::new();
    for candidate in candidates.iter().filter(|c| c.passes()) {
        // The "toss" of this one is the hit of an earlier serve by the other hand.
        let after_hit = accepted.iter().any(|earlier| {
            earlier.hand != candidate.hand
                && (candidate.toss_top_s - earlier.top_s).abs() < AFTER_HIT_S
        });
        if after_hit {
            continue;
        }
        match accepted.last_mut() {
            Some(earlier) if earlier.top_s > candidate.toss_top_s - AFTER_HIT_S => {
                if candidate.score > earlier.score {
                    *earlier = candidate.clone();
                }
            }
            _ => accepted.push(candidate.clone()),
        }
    }
    accepted
}

/// One player serves with one hand: the hand of most serves (then of the surest) stays.
fn keep_one_hand(found: &mut Found) {
    let weight = |hand: Side| -> f64 {
        let of_hand = found.serves.iter().filter(|s| s.hand == hand);
        of_hand.map(|s| s.hand_trust).sum()
    };
    let kept = if weight(Side::Left) > weight(Side::Right) { Side::Left } else { Side::Right };
    let (kept_serves, others): (Vec<Serve>, Vec<Serve>) =
        found.serves.drain(..).partition(|serve| serve.hand == kept);
    found.serves = kept_serves;
    for serve in others {
        found.refused.push(Refusal {
            frames: serve.frames,
            reason: format!(
                "looks like a serve with the {} hand, but the other serves in this recording are \
                 hit with the {}",
                side_name(serve.hand),
                side_name(kept)
            ),
        });
    }
}

fn spoken(joint: Joint) -> String {
    joint.name().replace('_', " ")
}

fn side_name(side: Side) -> &'static str {
    match side {
        Side::Left => "left",
        Side::Right => "right",
    }
}
