//! Measures with a rule of their own.

use super::one_camera::planted_error;
use super::{Context, Flat, Value};
use crate::motion::{Capture, Joint, butterworth};
use crate::serve::EventKind;
use crate::serve::body::{between, value_at};
use crate::serve::events::POSTURE_CUTOFF_HZ;
use crate::serve::hidden::LEAST_HIDDEN_S;
use crate::serve::track::runs;
use crate::serve::vector::{V3, cross, dot, mid, norm, scale, sub};

pub(super) type Read = Result<Value, String>;

impl Context<'_> {
    pub(super) fn position(&self, event: EventKind) -> f64 {
        self.moments.at(event)
    }

    pub(super) fn steps(&self, seconds: f64) -> f64 {
        seconds / self.body.track.step_s
    }

    /// Grid samples from one position to another, inside the track.
    pub(super) fn samples(&self, from: f64, to: f64) -> std::ops::Range<usize> {
        let n = self.body.track.samples;
        (from.max(0.0).ceil() as usize).min(n)..(to.max(0.0).floor() as usize + 1).min(n)
    }

    /// A time relative to contact, with the errors of contact and of the course's frames.
    fn time(&self, value: f64, best: f64) -> Value {
        let contact = self.moment(EventKind::Contact);
        Value {
            value,
            error: contact.error_s.hypot(0.015).hypot(0.35 / self.rate_hz),
            trust: best * contact.trust.min(self.source_trust()),
        }
    }

    /// Change per second of a course over the grid samples.
    fn rates(&self, course: &[f64]) -> Vec<f64> {
        let n = course.len();
        (0..n)
            .map(|i| {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(n - 1));
                (course[b] - course[a]) / self.seconds((b - a).max(1) as f64)
            })
            .collect()
    }

    fn wrist_speed(&self) -> Result<Vec<f64>, String> {
        if self.rate_hz < 25.0 {
            return Err(format!("{:.0} Hz: too slow for speeds", self.rate_hz));
        }
        let track = &self.body.track;
        let path = |joint| track.path(joint).ok_or("no wrist or hips");
        let (wrist, left, right) =
            (path(Joint::RightWrist)?, path(Joint::LeftHip)?, path(Joint::RightHip)?);
        let relative = |i: usize| sub(wrist[i], mid(left[i], right[i]));
        Ok((0..track.samples)
            .map(|i| {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(track.samples - 1));
                norm(sub(relative(b), relative(a))) / self.seconds((b - a).max(1) as f64)
            })
            .collect())
    }

    fn height(&self, metres_over_stature: f64, at: &[f64], event: EventKind) -> Value {
        let moment = self.moment(event);
        let timing = self.slope(at, moment.at) * moment.error_s;
        Value {
            value: metres_over_stature * self.stature_ratio,
            error: (0.01 + 0.004 * self.source_error_deg(super::AngleKind::Hinge)).hypot(timing),
            trust: moment.trust * self.source_trust() / (1.0 + (timing / 0.1).powi(2)),
        }
    }

    /// One camera sees a turn about the vertical by depth alone.
    fn turn_is_seen(&self) -> Result<(), String> {
        if self.capture == Capture::OneCameraLifted {
            return Err("one camera: a turn of the trunk rests on depth, which it can only guess"
                .to_owned());
        }
        Ok(())
    }

    pub(super) fn frames_enough(&self, least_hz: f64) -> Result<(), String> {
        if self.rate_hz < least_hz {
            return Err(format!(
                "{:.0} Hz: too few frames after contact ({least_hz:.0} Hz at least)",
                self.rate_hz
            ));
        }
        Ok(())
    }
}

/// Position of the greatest of `values` in `range`, refined between samples.
fn peak(values: &[f64], range: std::ops::Range<usize>) -> Option<f64> {
    let best = range.max_by(|&a, &b| values[a].total_cmp(&values[b]))?;
    if best == 0 || best + 1 >= values.len() {
        return Some(best as f64);
    }
    let (a, b, c) = (values[best - 1], values[best], values[best + 1]);
    let bend = a - 2.0 * b + c;
    let shift = if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 };
    Some(best as f64 + shift)
}

/// First position in the range where the values cross `level` upwards (`rising`) or downwards.
fn crossing(values: &[f64], from: f64, to: f64, level: f64, rising: bool) -> Option<f64> {
    let last = (to.floor() as usize).min(values.len().saturating_sub(1));
    (from.floor() as usize..last).find_map(|i| {
        let (a, b) = (values[i] - level, values[i + 1] - level);
        let crossed = if rising { a < 0.0 && b >= 0.0 } else { a >= 0.0 && b < 0.0 };
        let at = i as f64 + a / (a - b);
        (crossed && at >= from).then_some(at)
    })
}

pub(super) fn knee_extension_lead(c: &Context<'_>) -> Read {
    c.not_flat(Flat::Knees)?;
    if c.rate_hz < 25.0 {
        return Err(format!("{:.0} Hz: too slow for speeds", c.rate_hz));
    }
    let bending = c.rates(&c.body.courses.front_knee);
    let straightening: Vec<f64> = bending.iter().map(|rate| -rate).collect();
    let contact = c.position(EventKind::Contact);
    let range = c.samples(c.position(EventKind::Trophy), contact);
    let fastest = peak(&straightening, range).ok_or("no time between trophy and contact")?;
    if straightening[fastest.round() as usize] < 60.0 {
        return Err("the front knee hardly straightens before contact".to_owned());
    }
    Ok(c.time(c.seconds(contact - fastest), 0.9 * c.moment(EventKind::Trophy).trust))
}

/// Place of the greatest value of a course between two events, found on a calmer copy, since the
/// greatest of a noisy course is too great.
fn calm_peak(c: &Context<'_>, course: &[f64], from: EventKind, to: EventKind) -> Option<f64> {
    let mut calm = course.to_vec();
    for run in runs(&calm) {
        let _within_bounds = butterworth(&mut calm[run], POSTURE_CUTOFF_HZ, 1.0 / c.seconds(1.0));
    }
    peak(&calm, c.samples(c.position(from), c.position(to)))
}

pub(super) fn greatest_backward_lean(c: &Context<'_>) -> Read {
    c.not_flat(Flat::FromSide)?;
    let courses = &c.body.courses;
    let lean: Vec<f64> = courses.trunk_forward.iter().map(|lean| -lean).collect();
    let at = calm_peak(c, &lean, EventKind::Release, EventKind::Contact)
        .ok_or("no time between release and contact")?;
    let heading = c.heading_error_deg(Flat::FromSide, at)?;
    // The lean at trophy stands in for what one camera was not asked for on drawn serves.
    let planted = match c.capture {
        Capture::OneCameraLifted => planted_error("trunk_backward_lean_trophy").unwrap_or_default(),
        _ => 0.0,
    };
    Ok(Value {
        value: value_at(&lean, at),
        error: c.source_error_deg(super::AngleKind::Lean).hypot(heading).max(planted),
        trust: 0.9 * c.source_trust(),
    })
}

/// How far the trunk lies behind the thighs, in the plane square to the line of the hips.
pub(super) fn greatest_arch(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    if c.capture == Capture::OneCameraLifted {
        return Err("one camera: this rests on depth, which it can only guess".to_owned());
    }
    let track = &c.body.track;
    let path = |joint| track.path(joint).ok_or("no shoulders, hips or knees");
    let pair = |left: Joint| Ok::<_, &str>((path(left)?, path(left.mirrored())?));
    let (hip_l, hip_r) = pair(Joint::LeftHip)?;
    let (knee_l, knee_r) = pair(Joint::LeftKnee)?;
    let (shoulder_l, shoulder_r) = pair(Joint::LeftShoulder)?;
    let arch: Vec<f64> = (0..track.samples)
        .map(|i| {
            let line = sub(hip_r[i], hip_l[i]);
            let line = scale(line, 1.0 / norm(line));
            let across = |v: V3| sub(v, scale(line, dot(v, line)));
            let hips = mid(hip_l[i], hip_r[i]);
            let thighs = across(sub(hips, mid(knee_l[i], knee_r[i])));
            let trunk = across(sub(mid(shoulder_l[i], shoulder_r[i]), hips));
            dot(cross(thighs, trunk), line).atan2(dot(thighs, trunk)).to_degrees()
        })
        .collect();
    let at = calm_peak(c, &arch, EventKind::Release, EventKind::Contact)
        .ok_or("no time between release and contact")?;
    let error = c
        .source_error_deg(super::AngleKind::Lean)
        .hypot(c.source_error_deg(super::AngleKind::Hinge));
    Ok(Value { value: value_at(&arch, at), error, trust: 0.8 * c.source_trust() })
}

pub(super) fn highest_elbow(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    let course = &c.body.courses.hit_elevation;
    let at = calm_peak(c, course, EventKind::Trophy, EventKind::RacketLow)
        .ok_or("no time between trophy and racket low point")?;
    // The elbow's height at trophy stands in for what one camera was not asked for on drawn serves.
    let planted = match c.capture {
        Capture::OneCameraLifted => planted_error("shoulder_elevation_trophy").unwrap_or_default(),
        _ => 0.0,
    };
    Ok(Value {
        value: value_at(course, at),
        error: c.source_error_deg(super::AngleKind::Arm).max(planted),
        trust: 0.9 * c.source_trust(),
    })
}

/// Lowest elevation of the forearm, elbow to wrist, over the horizontal.
pub(super) fn forearm_lowest(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    c.not_too_fast(EventKind::RacketLow)?;
    if c.capture == Capture::OneCameraLifted {
        return Err("one camera: not checked against real serves yet".to_owned());
    }
    let track = &c.body.track;
    let path = |joint| track.path(joint).ok_or("no elbow or wrist");
    let (elbow, wrist) = (path(Joint::RightElbow)?, path(Joint::RightWrist)?);
    let fall: Vec<f64> = (0..track.samples)
        .map(|i| {
            let forearm = sub(wrist[i], elbow[i]);
            -(forearm[2] / norm(forearm)).asin().to_degrees()
        })
        .collect();
    let at = calm_peak(c, &fall, EventKind::Trophy, EventKind::Contact)
        .ok_or("no time between trophy and contact")?;
    Ok(Value {
        value: -value_at(&fall, at),
        error: c.source_error_deg(super::AngleKind::Arm),
        trust: 0.8 * c.source_trust(),
    })
}

pub(super) fn trunk_opening_time(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    c.turn_is_seen()?;
    let turn = &c.body.courses.shoulder_turn;
    let contact = c.position(EventKind::Contact);
    let range = c.samples(c.position(EventKind::Release), contact);
    let closed = range
        .min_by(|&a, &b| turn[a].total_cmp(&turn[b]))
        .ok_or("no time between release and contact")?;
    let open = crossing(turn, closed as f64, contact, turn[closed] + 20.0, true)
        .ok_or("the shoulders do not open by 20 deg before contact")?;
    Ok(c.time(c.seconds(open - contact), 0.8))
}

pub(super) fn trunk_turn_peak_lead(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    c.turn_is_seen()?;
    if c.rate_hz < 25.0 {
        return Err(format!("{:.0} Hz: too slow for speeds", c.rate_hz));
    }
    let rates = c.rates(&c.body.courses.shoulder_turn);
    let contact = c.position(EventKind::Contact);
    let range = c.samples(c.position(EventKind::Trophy), contact + c.steps(0.03));
    let fastest = peak(&rates, range).ok_or("no time between trophy and contact")?;
    Ok(c.time(c.seconds(contact - fastest), 0.8))
}

pub(super) fn contact_height(c: &Context<'_>) -> Read {
    if c.capture.is_one_camera() {
        return Err(
            "one camera: neither the ground nor the stature is sure in the picture".to_owned()
        );
    }
    let course = &c.body.courses.hit_over_ground;
    let at = c.position(EventKind::Contact);
    Ok(c.height(value_at(course, at), course, EventKind::Contact))
}

pub(super) fn racket_height(c: &Context<'_>) -> Read {
    let track = &c.body.track;
    let (Some(tip), Some(throat)) = (track.path(Joint::RacketTip), track.path(Joint::RacketThroat))
    else {
        return Err("no racket joints".to_owned());
    };
    let course: Vec<f64> = tip.iter().zip(throat).map(|(&a, &b)| mid(a, b)[2]).collect();
    Ok(c.height(value_at(&course, c.position(EventKind::Contact)), &course, EventKind::Contact))
}

pub(super) fn contact_forward(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    if c.capture == Capture::OneCameraLifted {
        return Err("one camera does not show where on court the player is".to_owned());
    }
    let track = &c.body.track;
    let (Some(wrist), Some(ankle)) = (track.path(Joint::RightWrist), track.path(Joint::LeftAnkle))
    else {
        return Err("no wrist or ankle".to_owned());
    };
    let stance = between(ankle, c.position(EventKind::TossStart))[1];
    let ahead: Vec<f64> = wrist.iter().map(|p| p[1] - stance).collect();
    let at = c.position(EventKind::Contact);
    c.not_too_fast(EventKind::Contact)?;
    Ok(c.height(value_at(&ahead, at), &ahead, EventKind::Contact))
}

pub(super) fn tossing_arm_fall_time(c: &Context<'_>) -> Read {
    let over = &c.body.courses.toss_over_shoulder;
    let end = (over.len() - 1) as f64;
    if value_at(over, c.moments.toss_top) <= 0.0 {
        return Err("the tossing wrist never rises above its shoulder".to_owned());
    }
    let fall = crossing(over, c.moments.toss_top, end, 0.0, false)
        .ok_or("the tossing arm stays above its shoulder to the end of the recording")?;
    if c.unseen[0][fall.round() as usize] {
        return Err("one camera: the tossing hand is hidden as it comes down".to_owned());
    }
    Ok(c.time(c.seconds(fall - c.position(EventKind::Contact)), 0.95))
}

pub(super) fn tossing_wrist_to_trunk(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    let course = &c.body.courses.toss_to_trunk;
    let at = c.position(EventKind::Contact);
    let mut value = c.height(value_at(course, at), course, EventKind::Contact);
    value.value /= c.stature_ratio;
    Ok(value)
}

pub(super) fn tossing_arm_release_time(c: &Context<'_>) -> Read {
    c.not_flat(Flat::No)?;
    let course = &c.body.courses.toss_to_trunk;
    let contact = c.position(EventKind::Contact);
    let around = c.samples(contact - c.steps(0.25), contact + c.steps(0.25));
    let nearest = around
        .min_by(|&a, &b| course[a].total_cmp(&course[b]))
        .ok_or("contact is at the edge of the recording")?;
    if course[nearest] > 0.28 {
        return Err("the tossing arm does not fold in around contact".to_owned());
    }
    let end = (course.len() - 1) as f64;
    let leaves = crossing(course, nearest as f64, end, course[nearest] + 0.08, true)
        .ok_or("the tossing arm stays folded to the end of the recording")?;
    Ok(c.time(c.seconds(leaves - contact), 0.7))
}

pub(super) fn toss_top_to_trophy(c: &Context<'_>) -> Read {
    let trophy = c.moment(EventKind::Trophy);
    Ok(Value {
        value: c.seconds(trophy.at - c.moments.toss_top),
        error: trophy.error_s.hypot(0.02).hypot(0.35 / c.rate_hz),
        trust: trophy.trust,
    })
}

/// Time under the speed level between release and racket low point, samples counted by their share
/// so that it changes smoothly; `moving` takes out samples in which something else still moves.
fn still(c: &Context<'_>, moving: impl Fn(usize) -> bool) -> Read {
    let speed = c.wrist_speed()?;
    let (from, to) = (c.position(EventKind::Release), c.position(EventKind::RacketLow));
    let guessed = c.samples(from, to).filter(|&i| c.unseen[1][i]).count();
    if guessed as f64 > c.steps(LEAST_HIDDEN_S) {
        return Err("one camera: the hitting hand is hidden for part of that time".to_owned());
    }
    let contact = c.position(EventKind::Contact);
    let fast = c.samples(contact - c.steps(0.1), contact + c.steps(0.15));
    let top = fast.map(|i| speed[i]).fold(0.0, f64::max);
    let level = 0.06 * top;
    let mut still = 0.0;
    for i in c.samples(from, to - 1.0) {
        if moving(i) {
            continue;
        }
        let (a, b) = (speed[i] - level, speed[i + 1] - level);
        still += match (a < 0.0, b < 0.0) {
            (true, true) => 1.0,
            (false, false) => 0.0,
            (true, false) => a / (a - b),
            (false, true) => b / (b - a),
        };
    }
    Ok(c.time(c.seconds(still), 0.7))
}

/// Not of a picture: of the marker serves seen from all round (`src/serve/REAL-CLIPS.md`) it read up to
/// 0.3 s too much, for a hand that moves towards the camera seems to stand still.
pub(super) fn pause_time(c: &Context<'_>) -> Read {
    if c.flat {
        return Err("one camera: a hand that moves towards it seems to stand still".to_owned());
    }
    still(c, |_| false)
}

/// A knee that bends or straightens faster than this moves, degrees per second (our estimate).
const KNEE_MOVES_DEG_S: f64 = 45.0;

pub(super) fn standstill_time(c: &Context<'_>) -> Read {
    let calm_rates = |course: &[f64]| {
        let mut calm = course.to_vec();
        for run in runs(&calm) {
            let _within_bounds =
                butterworth(&mut calm[run], POSTURE_CUTOFF_HZ, 1.0 / c.seconds(1.0));
        }
        c.rates(&calm)
    };
    let (front, back) =
        (calm_rates(&c.body.courses.front_knee), calm_rates(&c.body.courses.back_knee));
    still(c, |i| front[i].abs().max(back[i].abs()) > KNEE_MOVES_DEG_S)
}

pub(super) fn slow_down_time(c: &Context<'_>) -> Read {
    let speed = c.wrist_speed()?;
    let contact = c.position(EventKind::Contact);
    let fast = c.samples(contact - c.steps(0.1), contact + c.steps(0.15));
    let fastest = peak(&speed, fast).ok_or("contact is at the edge of the recording")?;
    let level = 0.25 * speed[fastest.round() as usize];
    let slow = crossing(&speed, fastest.max(contact), (speed.len() - 1) as f64, level, false)
        .ok_or("the recording ends before the hitting hand has slowed down")?;
    let mut read = c.time(c.seconds(slow - contact), 0.8);
    // The low-pass flattens the peak and with it the quarter: on drawn serves read 0.045 s late.
    read.error = read.error.hypot(0.045);
    Ok(read)
}
