//! The toss: when the hand begins to rise, and when it lets go of the ball.

use super::arms::Arms;
use super::search::{crossing_down, crossing_up, highest};
use super::{Scene, one_camera};
use crate::serve::EventKind;

const GRAVITY_M_S2: f64 = 9.81;
/// Stands for the player's stature where the unit of length is unknown.
const USUAL_STATURE_M: f64 = 1.75;

/// The tossing hand's rise, in grid positions.
#[derive(Clone, Copy)]
pub(super) struct Rise {
    pub start: f64,
    /// Where it rises fastest.
    fastest: f64,
}

impl Rise {
    /// A start that is given stands; where the hand is fastest is looked for all the same.
    pub(super) fn of(scene: &Scene<'_>, arms: &Arms<'_>, toss_top: f64) -> Result<Self, String> {
        let share = if scene.capture.is_one_camera() {
            one_camera::TOSS_START_SHARE
        } else {
            TOSS_START_SHARE
        };
        let rise = toss_rise(
            &arms.toss_height,
            &arms.upward,
            toss_top,
            scene.track.span(2.2),
            LEAST_TOSS_RISE * scene.stature,
            share,
        );
        let since = |start: f64| {
            let from = start.max(0.0) as usize;
            (start, highest(&arms.upward, from..toss_top.round() as usize + 1))
        };
        let (start, fastest) = match (scene.given(EventKind::TossStart), rise) {
            (None, rise) => match scene.toss_unseen_until {
                Some(until) => since(one_camera::unseen_start(until, toss_top, scene.track.step_s)),
                None => rise?,
            },
            (Some(start), Ok((_, fastest))) => (start, fastest),
            (Some(start), Err(_)) => since(start),
        };
        Ok(Self { start, fastest })
    }
}

/// A ball leaves the hand when the hand slows by more than gravity. A slow swing may never do so:
/// then when the hand has lost a quarter of its speed, whichever comes first.
pub(super) fn release(scene: &Scene<'_>, arms: &Arms<'_>, rise: Rise, toss_top: f64) -> f64 {
    let (track, upward, fastest) = (scene.track, &arms.upward, rise.fastest);
    if scene.capture.is_one_camera() {
        return one_camera::release(&arms.toss_height, rise.start, fastest, toss_top);
    }
    let slowing: Vec<f64> = (0..track.samples)
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(track.samples - 1));
            (upward[a] - upward[b]) / ((b - a).max(1) as f64 * track.step_s * track.step_s)
        })
        .collect();
    let gravity = GRAVITY_M_S2 * scene.stature / USUAL_STATURE_M;
    // From the sample before its fastest on: at a low rate both lie between the same two samples.
    let freed = crossing_up(&slowing, fastest.floor(), gravity).map(|at| at.max(fastest));
    let slowed = crossing_down(upward, fastest, 0.75 * upward[fastest.round() as usize]);
    match (freed, slowed) {
        (Some(a), Some(b)) => a.min(b),
        (one, other) => one.or(other).unwrap_or(fastest),
    }
    .min(toss_top)
}

/// Where the tossing hand begins to rise and where it rises fastest.
///
/// It begins where, going back from its fastest rise, it last rises at less than `share` of that.
/// Only the last rise counts: who bounces the ball or gets ready has lowered the hand since.
fn toss_rise(
    height: &[f64],
    upward: &[f64],
    toss_top: f64,
    search: usize,
    least_rise: f64,
    share: f64,
) -> Result<(f64, f64), String> {
    let top = toss_top.round() as usize;
    let from = top.saturating_sub(search);
    let mut lowest = top;
    for i in (from..=top).rev() {
        if height[i] < height[lowest] {
            lowest = i;
        } else if height[top] - height[lowest] > least_rise
            && height[i] - height[lowest] > LEAST_LOWERED * least_rise
        {
            break;
        }
    }
    let fastest = highest(upward, lowest..top + 1);
    let slow = share * upward[fastest.round() as usize];
    let begins = (from..fastest.floor() as usize)
        .rev()
        .find(|&i| upward[i] < slow && height[top] - height[i] > least_rise);
    match begins {
        Some(i) => {
            let (a, b) = (upward[i], upward[i + 1]);
            let part = if b > a { ((slow - a) / (b - a)).min(1.0) } else { 0.0 };
            Ok((i as f64 + part, fastest))
        }
        None if from == 0 && height[top] - height[0] > least_rise => Ok((0.0, fastest)),
        None => Err("the start of the tossing arm's rise is not in the recording".to_owned()),
    }
}

/// Share of its fastest rise at which a hand measured in space begins to toss.
const TOSS_START_SHARE: f64 = 0.03;

/// A hand that was higher by this share of the least rise has been lowered to begin anew.
const LEAST_LOWERED: f64 = 0.4;

/// A rise smaller than this (statures) is a dip on the way up, not where the rise began.
const LEAST_TOSS_RISE: f64 = 0.2;
