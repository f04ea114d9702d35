//! What was planted: event times and angles, read from the noiseless body by plain geometry.
//!
//! This is deliberately not the code that reads serves from recordings: the two are compared.

use super::body::{Pose, column};
use super::motion::ServeMotion;
use super::space::{V3, angle_deg, cross, dot, mix, norm, sub, twist_deg, unit};
use crate::motion::Joint;
use crate::serve::EventKind;

/// One planted value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlantedMeasure {
    /// Name, the same as the measure's id where the definitions agree.
    pub measure: &'static str,
    /// Value in the unit of that measure.
    pub value: f64,
}

/// Event times and angles of one generated serve.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// Seconds of the six events in the time of the motion (or of the recording it was put in).
    ///
    /// Start of the toss: the tossing wrist is lowest before its rise. Release: after its
    /// greatest upward speed the tossing hand slows by more than gravity, so a ball would leave
    /// it. Trophy: deepest front-knee flexion. Racket low point: lowest racket tip after it.
    /// Contact: 3 ms before the greatest speed of the racket tip (that greatest speed falls
    /// within 5 ms after impact, R078). Finish: the hitting wrist has slowed to a
    /// sixth of its greatest speed.
    pub events_s: [f64; 6],
    /// Angles (deg), heights over stature, durations (s).
    pub measures: Vec<PlantedMeasure>,
}

impl Truth {
    /// Seconds of one event.
    #[must_use]
    pub fn event_s(&self, kind: EventKind) -> f64 {
        let place = EventKind::ALL.iter().position(|&each| each == kind);
        self.events_s[place.unwrap_or(0)]
    }

    /// A planted value by its name.
    #[must_use]
    pub fn measure(&self, name: &str) -> Option<f64> {
        let found = self.measures.iter().find(|each| each.measure == name);
        found.map(|each| each.value)
    }

    /// The same truth, later by `delay_s`.
    #[must_use]
    pub fn delayed(&self, delay_s: f64) -> Self {
        Self { events_s: self.events_s.map(|each| each + delay_s), measures: self.measures.clone() }
    }
}

const STEP_S: f64 = 0.001;

/// The noiseless poses of a motion on a fine grid.
struct Grid {
    from_s: f64,
    poses: Vec<Pose>,
}

impl Grid {
    fn index(&self, time_s: f64) -> usize {
        let i = ((time_s - self.from_s) / STEP_S).round().max(0.0) as usize;
        i.min(self.poses.len() - 1)
    }

    fn time_s(&self, index: usize) -> f64 {
        self.from_s + index as f64 * STEP_S
    }

    fn joint(&self, index: usize, joint: Joint) -> V3 {
        self.poses[index][column(joint)]
    }

    fn speed(&self, index: usize, joint: Joint) -> f64 {
        let (a, b) = (index.saturating_sub(1), (index + 1).min(self.poses.len() - 1));
        norm(sub(self.joint(b, joint), self.joint(a, joint))) / ((b - a) as f64 * STEP_S)
    }

    /// Index in `from_s..=to_s` with the greatest `key`.
    fn greatest(&self, from_s: f64, to_s: f64, key: impl Fn(usize) -> f64) -> usize {
        (self.index(from_s)..=self.index(to_s))
            .max_by(|&a, &b| key(a).total_cmp(&key(b)))
            .unwrap_or(0)
    }
}

/// Flexion at the middle of three joints, 0 straight.
fn flexion(pose: &Pose, a: Joint, b: Joint, c: Joint) -> f64 {
    let at = |joint: Joint| pose[column(joint)];
    180.0 - angle_deg(sub(at(a), at(b)), sub(at(c), at(b)))
}

pub(super) fn front_knee(pose: &Pose) -> f64 {
    flexion(pose, Joint::LeftHip, Joint::LeftKnee, Joint::LeftAnkle)
}

fn trunk_axis(pose: &Pose) -> V3 {
    let at = |joint: Joint| pose[column(joint)];
    sub(
        mix(at(Joint::LeftShoulder), at(Joint::RightShoulder), 0.5),
        mix(at(Joint::LeftHip), at(Joint::RightHip), 0.5),
    )
}

/// (unit vector along the hitting forearm, out of the palm).
fn hand(pose: &Pose) -> (V3, V3) {
    let at = |joint: Joint| pose[column(joint)];
    let wrist = at(Joint::RightWrist);
    let forearm = unit(sub(wrist, at(Joint::RightElbow)));
    (forearm, cross(sub(at(Joint::RightIndex), wrist), sub(at(Joint::RightLittle), wrist)))
}

fn elevation(pose: &Pose) -> f64 {
    let at = |joint: Joint| pose[column(joint)];
    let upper = sub(at(Joint::RightElbow), at(Joint::RightShoulder));
    180.0 - angle_deg(upper, trunk_axis(pose))
}

/// Reads events and angles off the noiseless motion (right-handed, net along +y).
pub(super) fn read(motion: &ServeMotion) -> Truth {
    let tempo = motion.tempo();
    let planned = tempo.events_s;
    let from_s = tempo.seconds(-0.5);
    let to_s = tempo.seconds(5.8);
    let count = ((to_s - from_s) / STEP_S).ceil() as usize + 1;
    let grid = Grid {
        from_s,
        poses: (0..count).map(|i| motion.pose(from_s + i as f64 * STEP_S)).collect(),
    };
    let height = |joint: Joint| {
        let grid = &grid;
        move |i: usize| grid.joint(i, joint)[2]
    };

    let toss_up = height(Joint::LeftIndex);
    let start = grid
        .greatest(planned[0] - 0.25, planned[0] + 0.25, |i| -grid.joint(i, Joint::LeftWrist)[2]);
    let rise = |i: usize| (toss_up(i + 1) - toss_up(i - 1)) / (2.0 * STEP_S);
    let fastest = grid.greatest(planned[0] + 0.05, planned[1] + 0.15, rise);
    let mut release = fastest;
    let gravity = 9.81;
    while release < grid.index(planned[2])
        && (rise(release + 1) - rise(release - 1)) / (2.0 * STEP_S) > -gravity
    {
        release += 1;
    }
    let trophy = grid.greatest(planned[1], planned[4], |i| front_knee(&grid.poses[i]));
    let fastest =
        grid.greatest(planned[4] - 0.06, planned[4] + 0.06, |i| grid.speed(i, Joint::RacketTip));
    let contact = fastest - 3;
    let low_from = planned[2].min(planned[4] - 0.2);
    let tip = height(Joint::RacketTip);
    let racket_low = grid.greatest(low_from, grid.time_s(contact), |i| -tip(i));
    let peak =
        grid.greatest(planned[4] - 0.1, planned[4] + 0.06, |i| grid.speed(i, Joint::RightWrist));
    let slow = grid.speed(peak, Joint::RightWrist) / 6.0;
    let finish = (contact..grid.poses.len() - 1)
        .find(|&i| grid.speed(i, Joint::RightWrist) < slow)
        .unwrap_or(grid.poses.len() - 1);
    let events = [start, release, trophy, racket_low, contact, finish];
    Truth { events_s: events.map(|i| grid.time_s(i)), measures: measures(motion, &grid, events) }
}

fn measures(motion: &ServeMotion, grid: &Grid, events: [usize; 6]) -> Vec<PlantedMeasure> {
    let [start, release, trophy, racket_low, contact, finish] = events;
    let stature = motion.body().stature_m;
    let up = [0.0, 0.0, 1.0];
    let (at_trophy, at_contact) = (&grid.poses[trophy], &grid.poses[contact]);
    let incline = |pose: &Pose| angle_deg(trunk_axis(pose), up);
    let lean = |pose: &Pose, axis: usize| {
        let trunk = trunk_axis(pose);
        (-trunk[axis]).atan2(trunk[2]).to_degrees()
    };
    let wrist_below_shoulder =
        |i: usize| grid.joint(i, Joint::LeftWrist)[2] < grid.joint(i, Joint::LeftShoulder)[2];
    let top = grid.greatest(grid.time_s(release), grid.time_s(contact), |i| {
        grid.joint(i, Joint::LeftWrist)[2]
    });
    let fall = (top..grid.poses.len() - 1).find(|&i| wrist_below_shoulder(i)).unwrap_or(contact);
    let seconds = |from: usize, to: usize| (to as f64 - from as f64) * STEP_S;
    let elbow =
        |pose: &Pose| flexion(pose, Joint::RightShoulder, Joint::RightElbow, Joint::RightWrist);
    let extending = |i: usize| front_knee(&grid.poses[i - 1]) - front_knee(&grid.poses[i + 1]);
    let push = grid.greatest(grid.time_s(trophy), grid.time_s(contact), extending);
    let arched =
        grid.greatest(grid.time_s(release), grid.time_s(contact), |i| lean(&grid.poses[i], 1));
    // How far a segment leans back in the plane square to the hips.
    let back = |pose: &Pose, segment: V3| {
        let at = |joint: Joint| pose[column(joint)];
        let line = unit(sub(at(Joint::RightHip), at(Joint::LeftHip)));
        let forward = unit(cross(up, line));
        (-dot(segment, forward)).atan2(dot(segment, cross(line, forward))).to_degrees()
    };
    let arch = |pose: &Pose| {
        let middle = |left: Joint, right: Joint| mix(pose[column(left)], pose[column(right)], 0.5);
        let hips = middle(Joint::LeftHip, Joint::RightHip);
        let thighs = sub(hips, middle(Joint::LeftKnee, Joint::RightKnee));
        let trunk = sub(middle(Joint::LeftShoulder, Joint::RightShoulder), hips);
        back(pose, trunk) - back(pose, thighs)
    };
    let most_arched =
        grid.greatest(grid.time_s(release), grid.time_s(contact), |i| arch(&grid.poses[i]));
    let highest =
        grid.greatest(grid.time_s(trophy), grid.time_s(racket_low), |i| elevation(&grid.poses[i]));
    let soon = grid.index(grid.time_s(contact) + 0.10);
    let turned: f64 =
        (contact..soon).map(|i| twist_deg(hand(&grid.poses[i]), hand(&grid.poses[i + 1]))).sum();
    let from_hips = |i: usize| {
        let hips = mix(grid.joint(i, Joint::LeftHip), grid.joint(i, Joint::RightHip), 0.5);
        sub(grid.joint(i, Joint::RightWrist), hips)
    };
    let swing = |i: usize| norm(sub(from_hips(i + 1), from_hips(i - 1)));
    let (before, after) =
        (contact - grid.index(grid.from_s + 0.1), grid.index(grid.time_s(contact) + 0.15));
    let fastest = (before..after).map(swing).fold(0.0, f64::max);
    let slowed = (contact..grid.poses.len() - 1)
        .find(|&i| swing(i) < 0.25 * fastest)
        .unwrap_or(grid.poses.len() - 1);
    let rows = [
        ("front_knee_flexion_trophy", front_knee(at_trophy)),
        ("front_knee_flexion_contact", front_knee(at_contact)),
        ("elbow_flexion_contact", elbow(at_contact)),
        ("shoulder_elevation_trophy", elevation(at_trophy)),
        ("shoulder_elevation_contact", elevation(at_contact)),
        ("trunk_inclination_trophy", incline(at_trophy)),
        ("trunk_inclination_contact", incline(at_contact)),
        ("trunk_backward_lean_trophy", lean(at_trophy, 1)),
        ("trunk_backward_lean_greatest", lean(&grid.poses[arched], 1)),
        ("arch_greatest", arch(&grid.poses[most_arched])),
        ("shoulder_elevation_drop", elevation(&grid.poses[highest])),
        ("trunk_side_tilt_contact", lean(at_contact, 0)),
        (
            "racket_middle_height_contact",
            0.5 * (at_contact[column(Joint::RacketTip)][2]
                + at_contact[column(Joint::RacketThroat)][2])
                / stature,
        ),
        ("wrist_height_contact", at_contact[column(Joint::RightWrist)][2] / stature),
        ("racket_tip_speed", grid.speed(contact + 3, Joint::RacketTip)),
        ("knee_extension_lead", seconds(push, contact)),
        ("tossing_arm_fall_time", seconds(contact, fall)),
        ("toss_start_to_contact_time", seconds(start, contact)),
        ("release_to_contact_time", seconds(release, contact)),
        ("trophy_to_contact_time", seconds(trophy, contact)),
        ("racket_low_to_contact_time", seconds(racket_low, contact)),
        ("contact_to_finish_time", seconds(contact, finish)),
        ("slow_down_time", seconds(contact, slowed)),
        ("palm_turn_after_contact", -turned),
    ];
    rows.map(|(measure, value)| PlantedMeasure { measure, value }).to_vec()
}
