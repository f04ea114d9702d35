//! When the racket meets the ball.

use super::arms::{Arms, path};
use super::search::{crossing_down, highest};
use super::{SPEED_PEAK_LEAST_HZ, Scene, one_camera};
use crate::motion::Joint;
use crate::serve::track::Track;
use crate::serve::vector::{mid, norm, sub};

/// Contact as the joints show it.
pub(super) struct Contact {
    /// Grid position.
    pub at: f64,
    pub by_racket: bool,
    /// What two stand-ins for it, highest and fastest hand, leave open, s.
    pub apart_s: f64,
    /// Whether the hand may have been at its top before it came into sight.
    pub cut_off: bool,
}

impl Contact {
    /// Without a racket: against a ball the hand is fastest shortly before impact and highest about
    /// at it; at no ball it may go on gaining speed on its way down. So contact is where the hand is
    /// highest or, where it is fastest only later, most of the way to there, but never later than
    /// its fall through a third of its height over the shoulders.
    /// One camera's hand tells its height better than its speed.
    pub(super) fn of(scene: &Scene<'_>, arms: &Arms<'_>) -> Result<Self, String> {
        let track = scene.track;
        let height = &arms.hit_over_shoulders;
        let top = highest(height, arms.near(scene.top, 0.15, 0.15));
        if scene.rate_hz < SPEED_PEAK_LEAST_HZ {
            return Ok(Self { at: top, by_racket: false, apart_s: 0.0, cut_off: false });
        }
        let mut cut_off = false;
        let (hand, apart_s) = if let Some(quick) = scene.quick {
            let height = quick_height(quick)?;
            // The hidden stretch ends half a frame before the first frame that shows the hand.
            let half_frame = 0.5 / (scene.rate_hz * track.step_s);
            let seen_from =
                scene.swing_unseen.map_or(0, |(_, until)| (until + half_frame).round() as usize);
            let (at, risen_unseen) =
                one_camera::contact(&height, top, seen_from, track.step_s, scene.stature);
            cut_off = risen_unseen;
            (at, 0.0)
        } else {
            let third = height[top.round() as usize] / 3.0;
            let fallen = crossing_down(height, top, third);
            let peak = highest(&arms.wrist_speed, arms.near(top.round() as usize, 0.06, 0.09));
            let fastest = fallen.map_or(peak, |f| f.min(peak));
            let gained = (fastest - top).max(0.0);
            (top + LATER_SHARE * gained, 0.35 * gained * track.step_s)
        };
        let racket = racket_contact(scene, hand);
        Ok(Self { at: racket.unwrap_or(hand), by_racket: racket.is_some(), apart_s, cut_off })
    }
}

/// Height of the hitting wrist over the shoulders.
fn quick_height(quick: &Track) -> Result<Vec<f64>, String> {
    let (left, right) = (path(quick, Joint::LeftShoulder)?, path(quick, Joint::RightShoulder)?);
    let wrist = path(quick, Joint::RightWrist)?;
    Ok((0..quick.samples).map(|i| wrist[i][2] - mid(left[i], right[i])[2]).collect())
}

/// How far contact lies from the highest hand towards a hand that is fastest only later.
const LATER_SHARE: f64 = 0.75;

/// Peak speed of the racket's tip near `guess`, less the time by which it follows impact.
///
/// Racket speed peaks within 5 ms after impact (R078): half of that is taken off.
fn racket_contact(scene: &Scene<'_>, guess: f64) -> Option<f64> {
    let tip = scene.track.path(Joint::RacketTip)?;
    let track = scene.track;
    let from = (guess - track.span(0.08) as f64).max(1.0) as usize;
    let to = (guess as usize + track.span(0.12)).min(tip.len().saturating_sub(2));
    if from >= to || tip[from - 1..=to + 1].iter().any(|p| p[0].is_nan()) {
        return None;
    }
    let speed: Vec<f64> = (0..tip.len())
        .map(|i| norm(sub(tip[(i + 1).min(tip.len() - 1)], tip[i.saturating_sub(1)])))
        .collect();
    Some(highest(&speed, from..to + 1) - 0.0025 / track.step_s)
}
