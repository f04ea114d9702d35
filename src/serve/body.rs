//! The body frame of one serve and the courses of its angles over time.

use super::EventKind;
use super::events::Moments;
use super::net::Net;
use super::track::Track;
use super::vector::{
    NAN3, V3, add, angle_deg, dot, flexion_deg, mid, norm, scale, sub, unwrap_deg, wrapped_deg,
};
use crate::motion::{Dimensions, Joint};

/// Height of the ankle joint over the ground, in statures (Drillis and Contini 1966, from memory).
pub(super) const ANKLE_HEIGHT: f64 = 0.039;

/// A serve in its body frame: y towards the net, x to the hitting side, z up, origin on the ground
/// between the ankles at the start of the toss, unit: the stature estimated from the body.
pub(super) struct Body {
    /// Track in that frame.
    pub track: Track,
    /// Courses over the grid.
    pub courses: Courses,
    /// Where the net is; `track` is turned to it.
    pub net: Net,
}

/// Angles in degrees, lengths in statures, over the track's grid; NaN where a joint is unseen.
#[derive(Debug, Clone, Default)]
pub(super) struct Courses {
    pub front_knee: Vec<f64>,
    pub back_knee: Vec<f64>,
    /// Trunk off the vertical, any direction.
    pub inclination: Vec<f64>,
    /// Trunk off the vertical towards the net (in a picture: in the picture, towards the net from
    /// the side, towards the tossing side from behind or in front).
    pub trunk_forward: Vec<f64>,
    /// Trunk off the vertical towards the tossing side.
    pub trunk_side: Vec<f64>,
    /// Hitting shoulder over tossing shoulder: elevation of the line between them.
    pub shoulder_tilt: Vec<f64>,
    /// Hip line about the vertical from the stance, opening positive.
    pub pelvis_turn: Vec<f64>,
    /// Shoulder line about the vertical from the stance, opening positive.
    pub shoulder_turn: Vec<f64>,
    /// Pelvis ahead of the shoulders, about the vertical.
    pub separation: Vec<f64>,
    pub hit_elevation: Vec<f64>,
    pub hit_elbow: Vec<f64>,
    /// Hitting wrist over the middle of the hips.
    pub hit_height: Vec<f64>,
    pub toss_elevation: Vec<f64>,
    pub toss_elbow: Vec<f64>,
    pub toss_height: Vec<f64>,
    /// Tossing wrist over its own shoulder.
    pub toss_over_shoulder: Vec<f64>,
    /// Tossing wrist to the axis of the trunk.
    pub toss_to_trunk: Vec<f64>,
    /// Hitting wrist over the ground under the stance.
    pub hit_over_ground: Vec<f64>,
}

/// The path's point at a fractional grid position inside it.
pub(super) fn between(path: &[V3], position: f64) -> V3 {
    let i = (position.floor() as usize).min(path.len() - 1);
    let j = (i + 1).min(path.len() - 1);
    let part = position - i as f64;
    add(scale(path[i], 1.0 - part), scale(path[j], part))
}

/// A course's value at a fractional grid position inside it.
pub(super) fn value_at(course: &[f64], position: f64) -> f64 {
    let i = (position.floor() as usize).min(course.len() - 1);
    let j = (i + 1).min(course.len() - 1);
    let part = (position - i as f64).clamp(0.0, 1.0);
    if part == 0.0 {
        return course[i];
    }
    course[i] * (1.0 - part) + course[j] * part
}

impl Body {
    /// Brings a serve's track (hitting side named right) into its body frame.
    pub(super) fn new(
        track: &Track,
        moments: &Moments,
        stature: f64,
        dimensions: Dimensions,
        net: Net,
    ) -> Self {
        let toss_start = moments.at(EventKind::TossStart);
        let flat = dimensions == Dimensions::Two;
        let turn = if flat { [0.0, 1.0] } else { net.towards };
        let origin = ground(track, toss_start, stature);
        let placed = track.mapped(|p| {
            let q = scale(sub(p, origin), 1.0 / stature);
            [q[0] * turn[1] - q[1] * turn[0], q[0] * turn[0] + q[1] * turn[1], q[2]]
        });
        let courses = courses(&placed, toss_start, flat.then_some(net.towards[0]));
        Self { track: placed, courses, net }
    }
}

/// Point on the ground between the ankles (else under the hips) at the start of the toss.
fn ground(track: &Track, toss_start: f64, stature: f64) -> V3 {
    let at = |joint| track.path(joint).map(|path| between(path, toss_start));
    match (at(Joint::LeftAnkle), at(Joint::RightAnkle)) {
        (Some(l), Some(r)) if !l[0].is_nan() && !r[0].is_nan() => {
            let m = mid(l, r);
            [m[0], m[1], l[2].min(r[2]) - ANKLE_HEIGHT * stature]
        }
        _ => match (at(Joint::LeftHip), at(Joint::RightHip)) {
            (Some(l), Some(r)) => {
                let m = mid(l, r);
                [m[0], m[1], m[2] - 0.53 * stature]
            }
            _ => [0.0; 3],
        },
    }
}

/// `along`: in a picture 1 where the net, or from behind and in front the tossing side, lies to its
/// right, else -1; `None` in space.
fn courses(track: &Track, toss_start: f64, along: Option<f64>) -> Courses {
    let n = track.samples;
    let unseen = vec![NAN3; n];
    let path = |joint| track.path(joint).unwrap_or(&unseen);
    let (sh_l, sh_r) = (path(Joint::LeftShoulder), path(Joint::RightShoulder));
    let (hip_l, hip_r) = (path(Joint::LeftHip), path(Joint::RightHip));
    let (el_l, el_r) = (path(Joint::LeftElbow), path(Joint::RightElbow));
    let (wr_l, wr_r) = (path(Joint::LeftWrist), path(Joint::RightWrist));
    let hinge = |a, b, c| -> Vec<f64> {
        let (a, b, c) = (path(a), path(b), path(c));
        (0..n).map(|i| flexion_deg(a[i], b[i], c[i])).collect()
    };
    let over = |f: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..n).map(f).collect() };
    let trunk = |i: usize| sub(mid(sh_l[i], sh_r[i]), mid(hip_l[i], hip_r[i]));
    let toss_side = along.unwrap_or(-1.0);
    let lean = |axis: usize, sign: f64| {
        over(&|i| {
            let t = trunk(i);
            (sign * t[axis]).atan2(t[2]).to_degrees()
        })
    };

    let span = track.span(0.1);
    let around =
        (toss_start as usize).saturating_sub(span)..=(toss_start as usize + span).min(n - 1);
    let stance = stance_line(track, around);
    let heading = |line: &dyn Fn(usize) -> V3| -> Vec<f64> {
        let mut turn = over(&|i| {
            let l = line(i);
            (l[1].atan2(l[0]) - stance[1].atan2(stance[0])).to_degrees()
        });
        unwrap_deg(&mut turn);
        let start = value_at(&turn, toss_start);
        let shift = wrapped_deg(start) - start;
        turn.iter_mut().for_each(|t| *t += shift);
        turn
    };
    let pelvis_turn = heading(&|i| sub(hip_r[i], hip_l[i]));
    let shoulder_turn = heading(&|i| sub(sh_r[i], sh_l[i]));
    let separation = over(&|i| pelvis_turn[i] - shoulder_turn[i]);
    let elevation = |shoulder: &[V3], elbow: &[V3]| {
        over(&|i| angle_deg(sub(elbow[i], shoulder[i]), scale(trunk(i), -1.0)))
    };
    let over_hips = |wrist: &[V3]| over(&|i| wrist[i][2] - mid(hip_l[i], hip_r[i])[2]);
    Courses {
        front_knee: hinge(Joint::LeftHip, Joint::LeftKnee, Joint::LeftAnkle),
        back_knee: hinge(Joint::RightHip, Joint::RightKnee, Joint::RightAnkle),
        inclination: over(&|i| angle_deg(trunk(i), [0.0, 0.0, 1.0])),
        trunk_forward: if along.is_some() { lean(0, toss_side) } else { lean(1, 1.0) },
        trunk_side: lean(0, toss_side),
        shoulder_tilt: over(&|i| {
            let l = sub(sh_r[i], sh_l[i]);
            l[2].atan2(l[0].hypot(l[1])).to_degrees()
        }),
        pelvis_turn,
        shoulder_turn,
        separation,
        hit_elevation: elevation(sh_r, el_r),
        hit_elbow: hinge(Joint::RightShoulder, Joint::RightElbow, Joint::RightWrist),
        hit_height: over_hips(wr_r),
        toss_elevation: elevation(sh_l, el_l),
        toss_elbow: hinge(Joint::LeftShoulder, Joint::LeftElbow, Joint::LeftWrist),
        toss_height: over_hips(wr_l),
        toss_over_shoulder: over(&|i| wr_l[i][2] - sh_l[i][2]),
        toss_to_trunk: over(&|i| {
            to_segment(wr_l[i], mid(hip_l[i], hip_r[i]), mid(sh_l[i], sh_r[i]))
        }),
        hit_over_ground: over(&|i| wr_r[i][2]),
    }
}

/// Horizontal direction from the tossing to the hitting side of the stance: ankles and hips
/// together, each by its own width, averaged over the samples.
fn stance_line(track: &Track, around: std::ops::RangeInclusive<usize>) -> [f64; 2] {
    let mut sum = [0.0; 2];
    for left in [Joint::LeftAnkle, Joint::LeftHip] {
        let (Some(l), Some(r)) = (track.path(left), track.path(left.mirrored())) else {
            continue;
        };
        for i in around.clone() {
            let line = sub(r[i], l[i]);
            if !line[0].is_nan() {
                sum = [sum[0] + line[0], sum[1] + line[1]];
            }
        }
    }
    sum
}

fn to_segment(p: V3, a: V3, b: V3) -> f64 {
    let ab = sub(b, a);
    let along = (dot(sub(p, a), ab) / dot(ab, ab)).clamp(0.0, 1.0);
    norm(sub(p, add(a, scale(ab, along))))
}
