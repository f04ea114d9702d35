//! Measures of the hitting hand's palm.

use super::special::Read;
use super::{AngleKind, Context, Value};
use crate::motion::{Capture, Joint};
use crate::serve::EventKind;
use crate::serve::vector::{V3, cross, dot, mid, norm, scale, sub};

impl Context<'_> {
    /// Wrist, index and little-finger knuckle paths of the hitting hand.
    fn hand(&self) -> Result<[&[V3]; 4], String> {
        if self.flat {
            return Err("one camera: needs three dimensions".to_owned());
        }
        let track = &self.body.track;
        let path = |joint| track.path(joint).ok_or_else(|| "no hand joints".to_owned());
        Ok([
            path(Joint::RightElbow)?,
            path(Joint::RightWrist)?,
            path(Joint::RightIndex)?,
            path(Joint::RightLittle)?,
        ])
    }
}

/// Out of the palm of the hitting hand (named right), not of unit length.
fn palm(hand: &[&[V3]; 4], i: usize) -> V3 {
    let [_, wrist, index, little] = hand;
    cross(sub(index[i], wrist[i]), sub(little[i], wrist[i]))
}

pub(super) fn palm_turn(c: &Context<'_>) -> Read {
    let hand = c.hand()?;
    c.frames_enough(50.0)?;
    if matches!(c.capture, Capture::OneCameraLifted | Capture::DepthSensor) {
        return Err("one camera: a palm's turn in degrees cannot be trusted".to_owned());
    }
    let contact = c.position(EventKind::Contact);
    let range = c.samples(contact, contact + c.steps(0.10));
    let [elbow, wrist, ..] = hand;
    let axis = |i: usize| {
        let a = sub(wrist[i], elbow[i]);
        scale(a, 1.0 / norm(a))
    };
    // Across the forearm, the palm turns about it; the forearm's own way is taken out step by step
    // by carrying the old direction over with the smallest rotation that brings axis to axis.
    let mut turned = 0.0;
    for i in range.start..range.end.saturating_sub(1) {
        let (a, b) = (axis(i), axis(i + 1));
        let across = |p: V3, axis: V3| sub(p, scale(axis, dot(p, axis)));
        let (old, new) = (across(palm(&hand, i), a), across(palm(&hand, i + 1), b));
        let carried = {
            let v = cross(a, b);
            let rotated = cross(v, old);
            let twice = cross(v, rotated);
            let k = 1.0 / (1.0 + dot(a, b));
            [0, 1, 2].map(|x| old[x] + rotated[x] + k * twice[x])
        };
        turned += dot(cross(carried, new), b).atan2(dot(carried, new)).to_degrees();
    }
    let timing = turned / 0.10 * c.moment(EventKind::Contact).error_s;
    Ok(Value {
        value: -turned,
        error: (3.0 * c.source_error_deg(AngleKind::Hinge)).hypot(timing),
        trust: 0.8 * c.moment(EventKind::Contact).trust * c.source_trust(),
    })
}

pub(super) fn palm_direction(c: &Context<'_>) -> Read {
    let hand = c.hand()?;
    if c.capture == Capture::OneCameraLifted {
        return Err("one camera: the pictures of the palm decide".to_owned());
    }
    c.frames_enough(25.0)?;
    let contact = c.position(EventKind::Contact);
    let range = c.samples(contact + c.steps(0.06), contact + c.steps(0.14));
    let mut votes = [0usize; 3];
    let count = range.len();
    for i in range {
        let normal = palm(&hand, i);
        let n = scale(normal, 1.0 / norm(normal));
        let step = if n[2] <= -0.6 {
            0
        } else if n[0] >= 0.6 {
            2
        } else {
            1
        };
        if !n[0].is_nan() {
            votes[step] += 1;
        }
    }
    let (step, &most) = votes
        .iter()
        .enumerate()
        .max_by_key(|(_, votes)| **votes)
        .ok_or("no frames after contact")?;
    if count == 0 || (most as f64) < 0.6 * count as f64 {
        return Err("unsure: the palm's direction changes from frame to frame".to_owned());
    }
    Ok(Value {
        value: step as f64 - 1.0,
        error: 0.5,
        trust: 0.7 * c.moment(EventKind::Contact).trust * c.source_trust(),
    })
}

/// What a palm is seen against in the racket drop, degrees, sample by sample between trophy and racket low
/// point.
struct Drop {
    /// Elevation of the palm's normal over the horizontal.
    palm: f64,
    /// The same over the plane square to the trunk.
    palm_over_trunk: f64,
    /// Elevation of the forearm over the horizontal.
    forearm: f64,
}

fn racket_drop(c: &Context<'_>) -> Result<Vec<Drop>, String> {
    let hand = c.hand()?;
    c.frames_enough(25.0)?;
    if matches!(c.capture, Capture::OneCameraLifted | Capture::DepthSensor) {
        return Err("one camera: a palm's direction in degrees cannot be trusted".to_owned());
    }
    let path = |joint| c.body.track.path(joint).ok_or("no trunk");
    let (hips, shoulders) = (
        [path(Joint::LeftHip)?, path(Joint::RightHip)?],
        [path(Joint::LeftShoulder)?, path(Joint::RightShoulder)?],
    );
    let [elbow, wrist, ..] = hand;
    let range = c.samples(c.position(EventKind::Trophy), c.position(EventKind::RacketLow));
    let over = |v: V3, up: V3| (dot(v, up) / (norm(v) * norm(up))).asin().to_degrees();
    let upright = [0.0, 0.0, 1.0];
    Ok(range
        .map(|i| {
            let trunk = sub(mid(shoulders[0][i], shoulders[1][i]), mid(hips[0][i], hips[1][i]));
            let palm = palm(&hand, i);
            Drop {
                palm: over(palm, upright),
                palm_over_trunk: over(palm, trunk),
                forearm: over(sub(wrist[i], elbow[i]), upright),
            }
        })
        .collect())
}

fn palm_value(c: &Context<'_>, value: f64) -> Value {
    Value {
        value,
        error: 2.0 * c.source_error_deg(AngleKind::Hinge),
        trust: 0.8 * c.moment(EventKind::RacketLow).trust * c.source_trust(),
    }
}

pub(super) fn palm_up_cocking(c: &Context<'_>) -> Read {
    let highest = racket_drop(c)?.into_iter().map(|at| at.palm).fold(f64::NAN, f64::max);
    Ok(palm_value(c, highest))
}

/// Elevation that the palm keeps for at least half of these samples.
fn kept(c: &Context<'_>, mut elevations: Vec<f64>, none: &str) -> Read {
    elevations.retain(|elevation| !elevation.is_nan());
    if elevations.is_empty() {
        return Err(none.to_owned());
    }
    elevations.sort_by(f64::total_cmp);
    Ok(palm_value(c, elevations[elevations.len() / 2]))
}

pub(super) fn palm_up_kept(c: &Context<'_>) -> Read {
    let palms = racket_drop(c)?.into_iter().map(|at| at.palm).collect();
    kept(c, palms, "the hand is not seen in the racket drop")
}

/// A forearm this near to level lies behind the head; before it stands, and the palm looks to the side
/// however the wrist is bent (our estimate).
const FOREARM_LIES_DEG: f64 = 45.0;

pub(super) fn palm_up_behind_head(c: &Context<'_>) -> Read {
    let lying = racket_drop(c)?.into_iter().filter(|at| at.forearm.abs() <= FOREARM_LIES_DEG);
    let palms = lying.map(|at| at.palm_over_trunk).collect();
    kept(c, palms, "the forearm is not seen to come down behind the head")
}
