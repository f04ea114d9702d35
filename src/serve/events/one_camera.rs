//! The moments as one camera shows them: its joints tremble, so each rule asks for less than the
//! one for joints measured in space. Held against real serves in `src/serve/REAL-CLIPS.md`.

use super::search::highest;

/// The hand begins to toss where it rises at this share of its fastest rise.
pub(super) const TOSS_START_SHARE: f64 = 0.25;

/// The hand is at its top while within this of it (statures): a blurred hand stays there.
const TOP_STATURES: f64 = 0.03;
/// Half the time it is there: the median of 33 real serves marked by hand (nine in ten: 0.019 to 0.036).
const HALF_AT_TOP_S: f64 = 0.026;
/// Contact is looked for this close to the top that the search found.
const AROUND_TOP_S: f64 = 0.1;

/// Middle of the time the hitting hand is at its top, from heights that are hardly smoothed; and whether
/// the beginning of that time is not seen. What comes before `seen_from` is a guess and no top.
pub(super) fn contact(
    height: &[f64],
    guess: f64,
    seen_from: usize,
    step_s: f64,
    stature: f64,
) -> (f64, bool) {
    let span = (AROUND_TOP_S / step_s).round() as usize;
    let at = (guess.round() as usize).max(seen_from);
    let from = at.saturating_sub(span).max(seen_from);
    let top = highest(height, from..(at + span + 1).min(height.len()));
    let peak = top.round() as usize;
    let level = height[peak] - TOP_STATURES * stature;
    let edge = |inside: usize, outside: usize| {
        let part = (height[inside] - level) / (height[inside] - height[outside]);
        inside as f64 + part * (outside as f64 - inside as f64)
    };
    let rises = (seen_from + 1..=peak).rev().find(|&i| height[i - 1] < level);
    let rises = rises.map(|i| edge(i, i - 1));
    let falls = (peak..height.len() - 1).find(|&i| height[i + 1] < level).map(|i| edge(i, i + 1));
    let unseen = rises.is_none() && seen_from > 0;
    let at = match (rises, falls) {
        (Some(rises), Some(falls)) => f64::midpoint(rises, falls),
        (None, Some(falls)) if unseen => falls - HALF_AT_TOP_S / step_s,
        _ => top,
    };
    (at, unseen)
}

/// From the start of the toss to the arm's top: 0.40 to 0.50 s in the six real serves whose joints
/// were looked at by eye and that show both.
pub(in crate::serve) const USUAL_RISE_S: f64 = 0.47;

/// The start of a rise that is hidden until the hand is up: the usual time before the arm's top, and
/// at least half of it before the hand appears.
pub(super) fn unseen_start(appears: f64, toss_top: f64, step_s: f64) -> f64 {
    let rise = USUAL_RISE_S / step_s;
    (toss_top - rise).min(appears - rise / 2.0).max(0.0)
}

/// Where on its way from the start of the rise to the arm's top the hand lets go of the ball:
/// seen at 0.46, 0.50 and 0.67 in three real serves.
const RELEASE_SHARE: f64 = 0.54;
/// The arm is at its top when it has done this share of its rise.
const ARM_UP_SHARE: f64 = 0.97;

/// The release as it lies in the arm's rise on the whole; the ball is not seen.
pub(super) fn release(height: &[f64], start: f64, fastest: f64, toss_top: f64) -> f64 {
    let (first, top) = (start.round() as usize, toss_top.round() as usize);
    let up = height[first] + ARM_UP_SHARE * (height[top] - height[first]);
    let arm_up = (fastest.round() as usize..=top).find(|&i| height[i] >= up).unwrap_or(top);
    start + RELEASE_SHARE * (arm_up as f64 - start)
}

/// A moment that lies this long before contact, more or less: the medians of the real serves, their
/// spread and what may lie outside.
struct Usual {
    before_contact_s: f64,
    spread_s: f64,
}

const TROPHY: Usual = Usual { before_contact_s: 0.38, spread_s: 0.2 };
const RACKET_LOW: Usual = Usual { before_contact_s: 0.133, spread_s: 0.05 };

/// The racket low point of a swing that is hidden: the usual time before contact.
pub(super) fn unseen_racket_low(contact: f64, step_s: f64) -> f64 {
    contact - RACKET_LOW.before_contact_s / step_s
}

/// A wrist that is lower by this much weighs like one spread of time (statures).
const LOWER_STATURES: f64 = 0.2;

impl Usual {
    /// The sample where `gain` less half the square of the distance from the usual time is greatest.
    fn best(
        &self,
        range: std::ops::Range<usize>,
        contact: f64,
        step_s: f64,
        gain: impl Fn(usize) -> f64,
    ) -> f64 {
        let worth: Vec<f64> = range
            .clone()
            .map(|i| {
                let before_s = (contact - i as f64) * step_s;
                gain(i) - 0.5 * ((before_s - self.before_contact_s) / self.spread_s).powi(2)
            })
            .collect();
        range.start as f64 + highest(&worth, 0..worth.len())
    }
}

/// The tossing arm is up at trophy: in the five real serves of marked joints looked at by eye its hand keeps
/// 0.78 to 0.95 of its height over the shoulders then. Who waits with bent knees bends them as deep later.
pub(super) const ARM_STILL_UP: f64 = 0.8;

/// Deepest bend of both knees (`bend`, calm), the usual time before contact counting too: a picture
/// shows half of a bend or other bends. Changes smaller than `least_deg` are noise.
pub(super) fn trophy(
    bend: &[f64],
    range: std::ops::Range<usize>,
    contact: f64,
    step_s: f64,
    least_deg: f64,
) -> f64 {
    let until = (contact.ceil() as usize + 1).min(bend.len());
    let seen = || bend[range.start..until].iter().copied().filter(|deg| !deg.is_nan());
    let (low, high) =
        seen().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
    let spread = (high - low).max(least_deg);
    TROPHY.best(range, contact, step_s, |i| (bend[i] - high) / spread)
}

/// Hitting wrist lowest under the shoulders on the way to contact, the usual time counting too.
pub(super) fn racket_low(
    height: &[f64],
    range: std::ops::Range<usize>,
    contact: f64,
    step_s: f64,
    stature: f64,
) -> f64 {
    RACKET_LOW.best(range, contact, step_s, |i| -height[i] / (LOWER_STATURES * stature))
}
