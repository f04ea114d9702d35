//! Hands that a picture does not show: what its source says of a hidden wrist is a guess.

use std::ops::{Range, RangeInclusive};

use super::events::USUAL_RISE_S;
use super::signs::Sign;
use super::track::{Track, of_side};
use crate::motion::{Dimensions, Joint, Recording, Side};

/// What a source is less sure of than this it has not seen but guessed (our estimate; hand-marked files
/// say 0.3 of a hidden joint).
pub(super) const SEEN_FROM: f32 = 0.5;

/// Hidden for no longer, a hand's way is known well enough (our estimate: a few frames at 30 Hz).
pub(super) const LEAST_HIDDEN_S: f64 = 0.1;
/// A hand that comes into sight this close to its top may have been there before (our estimate: as far
/// from its top as contact is looked for).
pub(super) const AT_TOP_S: f64 = 0.1;
/// From the racket low point to contact: 0.133 s, spread 0.05 (`events/one_camera.rs`).
const LAST_WAY_UP_S: f64 = 0.175;

/// Whether each wrist's place is a guess of the source, by the frame next to each sample of `track`;
/// left, right. In space nothing is: a joint that is not seen is a gap there.
pub(super) fn hidden(recording: &Recording, track: &Track) -> [Vec<bool>; 2] {
    [Side::Left, Side::Right].map(|side| {
        let column = recording.column(of_side(Joint::LeftWrist, side));
        let (Dimensions::Two, Some(confidence), Some(column)) =
            (recording.dimensions, &recording.confidence, column)
        else {
            return vec![false; track.samples];
        };
        let (times_s, width) = (&recording.times_s, recording.joints.len());
        let frame = |time_s: f64| {
            let after = times_s.partition_point(|&t| t < time_s).min(times_s.len() - 1);
            let before = after.saturating_sub(1);
            if time_s - times_s[before] < times_s[after] - time_s { before } else { after }
        };
        (0..track.samples)
            .map(|i| confidence[frame(track.time_s(i as f64)) * width + column] < SEEN_FROM)
            .collect()
    })
}

/// The first samples of a hand that comes into sight when it is up: where it is highest within the time
/// it stays at its top. A guess that stands high may hide that top from who looks at heights alone.
pub(super) fn shown_up(height: &[f64], guessed: &[bool], at_top: usize) -> Vec<usize> {
    (1..height.len())
        .filter(|&i| guessed[i - 1] && !guessed[i] && Sign::Reach.margin(height[i]) >= 0.0)
        .filter_map(|i| {
            let seen = (i..=(i + at_top).min(height.len() - 1)).take_while(|&j| !guessed[j]);
            seen.max_by(|&a, &b| height[a].total_cmp(&height[b]))
        })
        .collect()
}

/// What of the arms' way up is out of sight, in samples.
#[derive(Debug, Clone, Default)]
pub(super) struct Unseen {
    /// Until when the tossing hand is hidden, from before its rise, if it is up when it appears.
    pub toss_until: Option<usize>,
    /// While the hitting hand is hidden, if it appears on its last way up.
    pub swing: Option<Range<usize>>,
}

impl Unseen {
    /// The tossing hand rose unseen if there was time for it `before` its top.
    pub(super) fn toss(
        guessed: &[bool],
        height: &[f64],
        before: RangeInclusive<usize>,
        track: &Track,
    ) -> Option<usize> {
        let (from, top) = (*before.start(), *before.end());
        let appears = before.clone().find(|&i| !guessed[i]).unwrap_or(top);
        let lowest = height[appears..=top].iter().copied().fold(f64::INFINITY, f64::min);
        let hidden =
            appears - from >= track.span(USUAL_RISE_S) && Sign::StartsLow.margin(-lowest) < 0.0;
        hidden.then_some(appears)
    }

    /// The hitting hand came into sight on its last way to the `top`, or at it.
    pub(super) fn swing(guessed: &[bool], top: usize, track: &Track) -> Option<Range<usize>> {
        let first = top.saturating_sub(track.span(LAST_WAY_UP_S)).max(1);
        let last = (top + track.span(AT_TOP_S)).min(guessed.len() - 1);
        let appears = (first..=last).rev().find(|&i| guessed[i - 1] && !guessed[i])?;
        let from = guessed[..appears].iter().rposition(|hidden| !hidden).map_or(0, |i| i + 1);
        (appears - from >= track.span(LEAST_HIDDEN_S)).then_some(from..appears)
    }

    /// Whether both hands are hidden on their way up.
    pub(super) fn both(&self) -> bool {
        self.toss_until.is_some() && self.swing.is_some()
    }

    /// Whether this sign lies in what is not seen.
    pub(super) fn hides(&self, sign: Sign, toss_top: usize) -> bool {
        match sign {
            Sign::StartsLow => self.toss_until.is_some(),
            Sign::TossAbove | Sign::HittingLow | Sign::BothUp | Sign::Travel => {
                self.swing.as_ref().is_some_and(|swing| swing.contains(&toss_top))
            }
            _ => false,
        }
    }
}
