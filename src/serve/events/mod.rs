//! The six moments of one serve, between frames where the data allow.

mod one_camera;
mod search;
mod trust;

use self::search::{crossing_down, crossing_up, highest, lowest_value};
pub use self::trust::usual_error_s;
use self::trust::{Basis, sure};
use super::given::GIVEN_TRUST;
use super::track::{Track, runs};
use super::vector::{V3, angle_deg, mid, norm, sub};
use super::{EventKind, GivenMoment};
use crate::motion::{Capture, Joint, butterworth};

/// Below this rate the peak of wrist speed is not resolved and the highest wrist stands for contact.
pub(super) const SPEED_PEAK_LEAST_HZ: f64 = 20.0;

const GRAVITY_M_S2: f64 = 9.81;
/// Stands for the player's stature where the unit of length is unknown.
const USUAL_STATURE_M: f64 = 1.75;

/// A moment on the grid of a serve's track, and how well it is known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub kind: EventKind,
    /// Grid position (fractional).
    pub at: f64,
    /// Standard error, seconds.
    pub error_s: f64,
    pub trust: f64,
    /// Not from the joints.
    pub given: bool,
}

/// The moments, and those that are needed between them.
#[derive(Debug, Clone)]
pub(super) struct Moments {
    pub all: [Moment; 6],
    /// Grid position of the highest tossing wrist.
    pub toss_top: f64,
}

impl Moments {
    pub(super) fn at(&self, kind: EventKind) -> f64 {
        self.get(kind).at
    }

    pub(super) fn get(&self, kind: EventKind) -> &Moment {
        &self.all[EventKind::ALL.iter().position(|&k| k == kind).unwrap_or_default()]
    }
}

/// What the events are read from: a serve's smoothed track with `Right` as the hitting side.
pub(super) struct Scene<'a> {
    pub track: &'a Track,
    /// The same, hardly smoothed; of one camera only.
    pub quick: Option<&'a Track>,
    pub rate_hz: f64,
    pub capture: Capture,
    /// Stature in the recording's unit.
    pub stature: f64,
    /// Grid positions of the tops the search found.
    pub toss_top: usize,
    pub top: usize,
    /// Moments that stand as they are.
    pub given: &'a [GivenMoment],
}

impl Scene<'_> {
    fn given(&self, kind: EventKind) -> Option<f64> {
        let moment = self.given.iter().find(|moment| moment.kind == kind)?;
        Some((moment.time_s - self.track.start_s) / self.track.step_s)
    }
}

/// Reads the moments; the words say what is missing or out of order.
pub(super) fn moments(scene: &Scene<'_>) -> Result<Moments, String> {
    let track = scene.track;
    if let Some(out) = scene.given.iter().find(|given| {
        let at = scene.given(given.kind).unwrap_or(f64::NAN);
        !(0.0..=(track.samples - 1) as f64).contains(&at)
    }) {
        let (label, at_s) = (out.kind.label(), out.time_s);
        return Err(format!("{label} at {at_s:.2} s lies where the body is not tracked"));
    }
    let path = |joint: Joint| {
        track.path(joint).ok_or_else(|| format!("no {}", joint.name().replace('_', " ")))
    };
    let (hip_l, hip_r) = (path(Joint::LeftHip)?, path(Joint::RightHip)?);
    let (sh_l, sh_r) = (path(Joint::LeftShoulder)?, path(Joint::RightShoulder)?);
    let (hit, toss) = (path(Joint::RightWrist)?, path(Joint::LeftWrist)?);
    let elbow = path(Joint::RightElbow)?;
    let hips = |i: usize| mid(hip_l[i], hip_r[i]);
    let over_hips = |wrist: &[V3]| -> Vec<f64> {
        (0..track.samples).map(|i| wrist[i][2] - hips(i)[2]).collect()
    };
    let (hit_height, toss_height) = (over_hips(hit), over_hips(toss));
    let hit_over_shoulders: Vec<f64> =
        (0..track.samples).map(|i| hit[i][2] - mid(sh_l[i], sh_r[i])[2]).collect();

    let near = |at: usize, before_s: f64, after_s: f64| {
        let from = at.saturating_sub(track.span(before_s));
        from..(at + track.span(after_s) + 1).min(track.samples)
    };
    let toss_top = highest(&toss_height, near(scene.toss_top, 0.2, 0.2));
    let top = highest(&hit_over_shoulders, near(scene.top, 0.15, 0.15));

    let speed = |of: &[V3]| -> Vec<f64> {
        (0..track.samples)
            .map(|i| {
                let (a, b) = (i.saturating_sub(1), (i + 1).min(track.samples - 1));
                norm(sub(sub(of[b], hips(b)), sub(of[a], hips(a))))
            })
            .collect()
    };
    // Without a racket: against a ball the hand is fastest shortly before impact and highest about
    // at it; at no ball it may go on gaining speed on its way down. So contact is where the hand is
    // highest or, where it is fastest only later, most of the way to there, but never later than
    // its fall through a third of its height over the shoulders.
    // One camera's hand tells its height better than its speed.
    let one_camera = scene.capture.is_one_camera();
    let (mut by_racket, mut apart_s) = (false, 0.0);
    let wrist_speed = speed(hit);
    let contact = if scene.rate_hz < SPEED_PEAK_LEAST_HZ {
        top
    } else if let Some(quick) = scene.quick {
        let height = quick_height(quick)?;
        let hand = one_camera::contact(&height, top, track.step_s, scene.stature);
        let hit_by_racket = racket_contact(scene, hand);
        by_racket = hit_by_racket.is_some();
        hit_by_racket.unwrap_or(hand)
    } else {
        let third = hit_over_shoulders[top.round() as usize] / 3.0;
        let fallen = crossing_down(&hit_over_shoulders, top, third);
        let peak = highest(&wrist_speed, near(top.round() as usize, 0.06, 0.09));
        let fastest = fallen.map_or(peak, |f| f.min(peak));
        let gained = (fastest - top).max(0.0);
        let between = top + LATER_SHARE * gained;
        apart_s = 0.35 * gained * track.step_s;
        let hit_by_racket = racket_contact(scene, between);
        by_racket = hit_by_racket.is_some();
        hit_by_racket.unwrap_or(between)
    };
    let contact = scene.given(EventKind::Contact).unwrap_or(contact);

    let floor = contact.floor() as usize;
    let upward: Vec<f64> = (0..track.samples)
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(track.samples - 1));
            (toss_height[b] - toss_height[a]) / (b - a).max(1) as f64
        })
        .collect();
    let rise = toss_rise(
        &toss_height,
        &upward,
        toss_top,
        track.span(2.2),
        LEAST_TOSS_RISE * scene.stature,
        if one_camera { one_camera::TOSS_START_SHARE } else { TOSS_START_SHARE },
    );
    let (toss_start, fastest) = match (scene.given(EventKind::TossStart), rise) {
        (None, rise) => rise?,
        (Some(start), Ok((_, fastest))) => (start, fastest),
        (Some(start), Err(_)) => {
            let from = start.max(0.0) as usize;
            (start, highest(&upward, from..toss_top.round() as usize + 1))
        }
    };

    // A ball leaves the hand when the hand slows by more than gravity. A slow swing may never do
    // so: then when the hand has lost a quarter of its speed, whichever comes first.
    let slowing: Vec<f64> = (0..track.samples)
        .map(|i| {
            let (a, b) = (i.saturating_sub(1), (i + 1).min(track.samples - 1));
            (upward[a] - upward[b]) / ((b - a).max(1) as f64 * track.step_s * track.step_s)
        })
        .collect();
    let gravity = GRAVITY_M_S2 * scene.stature / USUAL_STATURE_M;
    // From the sample before its fastest on: at a low rate both lie between the same two samples.
    let freed = crossing_up(&slowing, fastest.floor(), gravity).map(|at| at.max(fastest));
    let slowed = crossing_down(&upward, fastest, 0.75 * upward[fastest.round() as usize]);
    let release = if one_camera {
        one_camera::release(&toss_height, toss_start, fastest, toss_top)
    } else {
        match (freed, slowed) {
            (Some(a), Some(b)) => a.min(b),
            (one, other) => one.or(other).unwrap_or(fastest),
        }
        .min(toss_top)
    };
    let release = scene.given(EventKind::Release).unwrap_or(release);

    let knees = one_camera.then_some(2.5 * LEAST_KNEE_BEND_DEG);
    let (trophy, trophy_by_knee) = trophy(track, release, toss_top, contact, knees);
    let trophy = scene.given(EventKind::Trophy).unwrap_or(trophy);
    // The forearm also hangs low before the arm is up: only the last stretch with a raised upper
    // arm counts.
    let raised = |i: usize| {
        let trunk = sub(hips(i), mid(sh_l[i], sh_r[i]));
        angle_deg(sub(elbow[i], sh_r[i]), trunk) >= RAISED_ARM_DEG
    };
    let arm_up = (0..floor).rev().find(|&i| !raised(i)).map_or(0, |i| i + 1);
    let low_from =
        (trophy.ceil() as usize + 1).max(floor.saturating_sub(track.span(0.6))).max(arm_up);
    let low_to = floor.saturating_sub(track.span(0.03));
    let tip = track
        .path(Joint::RacketTip)
        .filter(|tip| low_from <= low_to && tip[low_from..=low_to].iter().all(|p| !p[0].is_nan()));
    let low_range = if one_camera {
        let from = (trophy.ceil() as usize + 1).max(floor.saturating_sub(track.span(0.3)));
        (from < low_to).then_some(from..low_to + 1)
    } else {
        None
    };
    let racket_low = if let Some(range) = low_range.clone() {
        one_camera::racket_low(&hit_over_shoulders, range, contact, track.step_s, scene.stature)
    } else if low_from >= low_to {
        (trophy + contact) / 2.0
    } else {
        let line: Vec<f64> = (0..track.samples)
            .map(|i| match tip {
                Some(tip) => hips(i)[2] - tip[i][2],
                None => elbow[i][2] - hit[i][2],
            })
            .collect();
        highest(&line, low_from..low_to + 1)
    };
    let low_at_edge = low_range.is_none()
        && ((racket_low - low_from as f64) < 1.0 || low_to as f64 - racket_low < 1.0);
    let racket_low = scene.given(EventKind::RacketLow).unwrap_or(racket_low);

    let finish = finish(track, &hit_height, &wrist_speed, contact);
    let finish = scene.given(EventKind::Finish).unwrap_or(finish);
    let finish_cut = finish >= (track.samples - 1) as f64 - 0.5;

    let basis = |kind| match kind {
        EventKind::Trophy if !trophy_by_knee => Basis::StandIn,
        EventKind::RacketLow if low_at_edge => Basis::StandIn,
        EventKind::RacketLow if tip.is_some() => Basis::Racket,
        EventKind::Contact if by_racket => Basis::Racket,
        EventKind::Finish if finish_cut => Basis::StandIn,
        _ => Basis::Body,
    };
    let at = [toss_start, release, trophy, racket_low, contact, finish];
    let mut all = [0, 1, 2, 3, 4, 5].map(|i| {
        let kind = EventKind::ALL[i];
        sure(kind, at[i], basis(kind), scene.capture, scene.rate_hz)
    });
    // The further apart the two stand-ins for contact are, the less either says.
    if !by_racket {
        all[4].error_s = all[4].error_s.hypot(apart_s);
    }
    for given in scene.given {
        let moment = &mut all[given.kind as usize];
        *moment = Moment { error_s: given.error_s, trust: GIVEN_TRUST, given: true, ..*moment };
    }
    for pair in all.windows(2) {
        if pair[1].at.is_nan() || pair[0].at >= pair[1].at {
            return Err(format!(
                "{} does not come after {}: the order of a serve is broken here",
                timed(track, &pair[1]),
                timed(track, &pair[0])
            ));
        }
    }
    Ok(Moments { all, toss_top })
}

/// Height of the hitting wrist over the shoulders.
fn quick_height(quick: &Track) -> Result<Vec<f64>, String> {
    let path = |joint: Joint| {
        quick.path(joint).ok_or_else(|| format!("no {}", joint.name().replace('_', " ")))
    };
    let (left, right) = (path(Joint::LeftShoulder)?, path(Joint::RightShoulder)?);
    let wrist = path(Joint::RightWrist)?;
    Ok((0..quick.samples).map(|i| wrist[i][2] - mid(left[i], right[i])[2]).collect())
}

/// A moment in words; one that was given with its time, for somebody may have set it wrongly.
fn timed(track: &Track, moment: &Moment) -> String {
    let label = moment.kind.label();
    if moment.given {
        format!("{label} at {:.2} s", track.time_s(moment.at))
    } else {
        label.to_owned()
    }
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

/// Deepest bend of the front knee between release and shortly before contact; where the knee is
/// unseen or hardly bends, the top of the tossing hand (`false`).
fn trophy(
    track: &Track,
    release: f64,
    toss_top: f64,
    contact: f64,
    one_camera: Option<f64>,
) -> (f64, bool) {
    let fallback = (
        toss_top.max(release + 1.0).min(contact - track.span(0.06) as f64 * 2.0).max(release + 1.0),
        false,
    );
    let (Some(hip), Some(knee), Some(ankle)) =
        (track.path(Joint::LeftHip), track.path(Joint::LeftKnee), track.path(Joint::LeftAnkle))
    else {
        return fallback;
    };
    let from = release.ceil() as usize + 1;
    let to = (contact.floor() as usize).saturating_sub(track.span(0.08));
    if from + 2 >= to {
        return fallback;
    }
    let mut bend: Vec<f64> =
        (0..track.samples).map(|i| super::vector::flexion_deg(hip[i], knee[i], ankle[i])).collect();
    if one_camera.is_some()
        && let (Some(hip), Some(knee), Some(ankle)) = (
            track.path(Joint::RightHip),
            track.path(Joint::RightKnee),
            track.path(Joint::RightAnkle),
        )
    {
        for (i, front) in bend.iter_mut().enumerate() {
            *front = f64::midpoint(*front, super::vector::flexion_deg(hip[i], knee[i], ankle[i]));
        }
    }
    // The bend is flat at its deepest; noise would move the moment, not the angle.
    for run in runs(&bend) {
        let _within_bounds = butterworth(&mut bend[run], POSTURE_CUTOFF_HZ, 1.0 / track.step_s);
    }
    if let Some(least_deg) = one_camera
        && bend[from..=to].iter().any(|deg| !deg.is_nan())
    {
        let at = one_camera::trophy(&bend, from..to + 1, contact, track.step_s, least_deg);
        return (at, true);
    }
    let deepest = highest(&bend, from..to + 1);
    let depth = bend[deepest.round() as usize];
    let straightest = lowest_value(&bend[deepest.round() as usize..=contact.ceil() as usize]);
    let inside = deepest > from as f64 + 0.5 && deepest < to as f64 - 0.5;
    if inside && depth - straightest >= LEAST_KNEE_BEND_DEG { (deepest, true) } else { fallback }
}

/// Low-pass of a slow posture (bend of the front knee, lean of the trunk) for finding its extreme.
pub(super) const POSTURE_CUTOFF_HZ: f64 = 4.0;

/// A knee that straightens by less than this before contact marks no trophy.
const LEAST_KNEE_BEND_DEG: f64 = 6.0;

/// Upper arm off the trunk from which on the arm counts as raised.
const RAISED_ARM_DEG: f64 = 55.0;

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

/// End of the follow-through: the hitting wrist has come 95 % of the way down to its first lowest
/// point after contact, and moves at less than a fifth of its peak speed.
fn finish(track: &Track, height: &[f64], speed: &[f64], contact: f64) -> f64 {
    let last = track.samples - 1;
    let start = (contact.ceil() as usize).min(last);
    let end = (start + track.span(1.3)).min(last);
    let from = height[start];
    let mut lowest = start;
    for i in start..=end {
        if height[i] < height[lowest] {
            lowest = i;
        } else if height[i] > height[lowest] + 0.1 * (from - height[lowest])
            && i > start + track.span(0.1)
        {
            break;
        }
    }
    let level = height[lowest] + 0.05 * (from - height[lowest]);
    let down = crossing_down(height, contact, level).unwrap_or(lowest as f64);
    let around = start.saturating_sub(track.span(0.15))..(start + track.span(0.2)).min(last + 1);
    let fastest = highest(speed, around);
    let slow = 0.2 * speed[fastest.round() as usize];
    let calm = crossing_down(speed, fastest.max(contact), slow)
        .filter(|&at| at <= end as f64)
        .unwrap_or(down);
    down.max(calm).max(contact + 1.0).min(last as f64)
}
