//! The six moments of one serve, between frames where the data allow.

mod arms;
mod contact;
mod one_camera;
mod search;
mod toss;
mod trust;

use self::arms::Arms;
use self::contact::Contact;
pub(super) use self::one_camera::USUAL_RISE_S;
use self::search::{crossing_down, highest, lowest_value};
use self::toss::Rise;
pub use self::trust::usual_error_s;
use self::trust::{Basis, sure};
use super::given::GIVEN_TRUST;
use super::track::{Track, runs};
use super::vector::V3;
use super::{EventKind, GivenMoment};
use crate::motion::{Capture, Joint, butterworth};

/// Below this rate the peak of wrist speed is not resolved and the highest wrist stands for contact.
pub(super) const SPEED_PEAK_LEAST_HZ: f64 = 20.0;

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
    /// Whether the hitting hand may have been at its top before it came into sight.
    pub contact_cut_off: bool,
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
    /// Grid position until which the tossing hand is hidden, if it is up when it appears.
    pub toss_unseen_until: Option<f64>,
    /// Grid positions between which the hitting hand is hidden, if it appears on its last way up.
    pub swing_unseen: Option<(f64, f64)>,
    /// Moments that stand as they are.
    pub given: &'a [GivenMoment],
}

impl Scene<'_> {
    fn given(&self, kind: EventKind) -> Option<f64> {
        let moment = self.given.iter().find(|moment| moment.kind == kind)?;
        Some((moment.time_s - self.track.start_s) / self.track.step_s)
    }

    fn given_within_track(&self) -> Result<(), String> {
        let outside = |given: &&GivenMoment| {
            let at = self.given(given.kind).unwrap_or(f64::NAN);
            !(0.0..=(self.track.samples - 1) as f64).contains(&at)
        };
        match self.given.iter().find(outside) {
            Some(out) => {
                let (label, at_s) = (out.kind.label(), out.time_s);
                Err(format!("{label} at {at_s:.2} s lies where the body is not tracked"))
            }
            None => Ok(()),
        }
    }
}

/// Reads the moments; the words say what is missing or out of order.
pub(super) fn moments(scene: &Scene<'_>) -> Result<Moments, String> {
    let track = scene.track;
    scene.given_within_track()?;
    let arms = Arms::of(track)?;
    let toss_top = highest(&arms.toss_height, arms.near(scene.toss_top, 0.2, 0.2));
    let hit = Contact::of(scene, &arms)?;
    let contact = scene.given(EventKind::Contact).unwrap_or(hit.at);
    let rise = Rise::of(scene, &arms, toss_top)?;
    let release = scene
        .given(EventKind::Release)
        .unwrap_or_else(|| toss::release(scene, &arms, rise, toss_top));
    let one_camera = scene.capture.is_one_camera().then(|| OneCamera {
        least_deg: 2.5 * LEAST_KNEE_BEND_DEG,
        arm_up_until: arms.toss_up_until(toss_top, one_camera::ARM_STILL_UP),
    });
    let (trophy, trophy_by_knee) = trophy(track, release, toss_top, contact, one_camera);
    let trophy = scene.given(EventKind::Trophy).unwrap_or(trophy);
    let low = RacketLow::of(scene, &arms, trophy, contact);
    let racket_low = scene.given(EventKind::RacketLow).unwrap_or(low.at);
    let finish = finish(track, &arms.hit_height, &arms.wrist_speed, contact);
    let finish = scene.given(EventKind::Finish).unwrap_or(finish);
    let finish_cut = finish >= (track.samples - 1) as f64 - 0.5;

    let basis = |kind| match kind {
        EventKind::TossStart if scene.toss_unseen_until.is_some() => Basis::StandIn,
        EventKind::Trophy if !trophy_by_knee => Basis::StandIn,
        EventKind::RacketLow if low.at_edge => Basis::StandIn,
        EventKind::RacketLow if low.by_tip => Basis::Racket,
        EventKind::Contact if hit.cut_off => Basis::StandIn,
        EventKind::Contact if hit.by_racket => Basis::Racket,
        EventKind::Finish if finish_cut => Basis::StandIn,
        _ => Basis::Body,
    };
    let at = [rise.start, release, trophy, racket_low, contact, finish];
    let mut all = [0, 1, 2, 3, 4, 5].map(|i| {
        let kind = EventKind::ALL[i];
        sure(kind, at[i], basis(kind), scene.capture, scene.rate_hz)
    });
    // The further apart the two stand-ins for contact are, the less either says.
    if !hit.by_racket {
        all[4].error_s = all[4].error_s.hypot(hit.apart_s);
    }
    for given in scene.given {
        let moment = &mut all[given.kind as usize];
        *moment = Moment { error_s: given.error_s, trust: GIVEN_TRUST, given: true, ..*moment };
    }
    in_order(track, &all)?;
    let contact_cut_off = hit.cut_off && !all[4].given;
    Ok(Moments { all, toss_top, contact_cut_off })
}

/// The words say which two moments are not.
fn in_order(track: &Track, all: &[Moment; 6]) -> Result<(), String> {
    match all.windows(2).find(|pair| pair[1].at.is_nan() || pair[0].at >= pair[1].at) {
        Some(pair) => Err(format!(
            "{} does not come after {}: the order of a serve is broken here",
            timed(track, &pair[1]),
            timed(track, &pair[0])
        )),
        None => Ok(()),
    }
}

/// Where the racket head, or unseen the hand, is lowest behind the back.
struct RacketLow {
    at: f64,
    /// At an end of the time looked through: no lowest point in between.
    at_edge: bool,
    by_tip: bool,
}

impl RacketLow {
    fn of(scene: &Scene<'_>, arms: &Arms<'_>, trophy: f64, contact: f64) -> Self {
        let track = scene.track;
        if let Some((hidden_from, until)) = scene.swing_unseen {
            let at = one_camera::unseen_racket_low(contact, track.step_s);
            if hidden_from < at && at < until {
                return Self { at: at.max((trophy + contact) / 2.0), at_edge: true, by_tip: false };
            }
        }
        let floor = contact.floor() as usize;
        // The forearm also hangs low before the arm is up: only the last stretch with a raised upper
        // arm counts.
        let arm_up = (0..floor).rev().find(|&i| !arms.raised(i)).map_or(0, |i| i + 1);
        let after_trophy = trophy.ceil() as usize + 1;
        let from = after_trophy.max(floor.saturating_sub(track.span(0.6))).max(arm_up);
        let to = floor.saturating_sub(track.span(0.03));
        let seen = |tip: &&[V3]| from <= to && tip[from..=to].iter().all(|p| !p[0].is_nan());
        let tip = track.path(Joint::RacketTip).filter(seen);
        let by_tip = tip.is_some();
        if scene.capture.is_one_camera() {
            let from = after_trophy.max(floor.saturating_sub(track.span(0.3)));
            if from < to {
                let height = &arms.hit_over_shoulders;
                let range = from..to + 1;
                let at =
                    one_camera::racket_low(height, range, contact, track.step_s, scene.stature);
                return Self { at, at_edge: false, by_tip };
            }
        }
        let at = if from >= to {
            (trophy + contact) / 2.0
        } else {
            let line: Vec<f64> = (0..track.samples)
                .map(|i| match tip {
                    Some(tip) => arms.hips(i)[2] - tip[i][2],
                    None => arms.elbow[i][2] - arms.hit[i][2],
                })
                .collect();
            highest(&line, from..to + 1)
        };
        let at_edge = (at - from as f64) < 1.0 || to as f64 - at < 1.0;
        Self { at, at_edge, by_tip }
    }
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

/// What trophy is asked for beside the knees where one camera shows them.
#[derive(Clone, Copy)]
struct OneCamera {
    /// Changes of the bend smaller than this are noise.
    least_deg: f64,
    /// Last sample with the tossing arm up.
    arm_up_until: usize,
}

/// Deepest bend of the front knee between release and shortly before contact; where the knee is
/// unseen or hardly bends, the top of the tossing hand (`false`).
fn trophy(
    track: &Track,
    release: f64,
    toss_top: f64,
    contact: f64,
    one_camera: Option<OneCamera>,
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
    if let Some(OneCamera { least_deg, arm_up_until }) = one_camera
        && bend[from..=to].iter().any(|deg| !deg.is_nan())
    {
        let until = arm_up_until.clamp(from + 2, to);
        let at = one_camera::trophy(&bend, from..until + 1, contact, track.step_s, least_deg);
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
