//! Joint-angle courses: keys in stage time, joined by a monotone cubic in seconds.
//!
//! Stage time counts the events: -1 ready, 0 start of the toss, 1 release, 2 trophy, 3 racket
//! low point, 4 contact, 5 finish, 6 recovered. A tempo turns stage time into seconds, so a
//! course keeps its shape while durations change.

use crate::serve::EventKind;

/// What one course drives. Degrees, or statures for positions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Channel {
    /// Where the trunk faces: 0 to the net, positive towards the hitting side.
    TrunkHeading,
    /// Where the pelvis faces, same sign.
    PelvisHeading,
    /// Trunk lean towards the net (negative: back).
    TrunkLeanNet,
    /// Trunk lean towards the hitting side (negative: towards the tossing side).
    TrunkLeanSide,
    /// Shoulder line against the trunk: positive lifts the hitting shoulder.
    GirdleTilt,
    /// Hitting upper arm from the trunk, 0 at the side.
    HitElevation,
    /// Plane of that elevation: 0 sideways, 90 forward.
    HitPlane,
    /// Hitting upper arm outward about its long axis: 0 forearm forward, 90 forearm up.
    HitExternal,
    /// Hitting elbow flexion, 0 straight.
    HitElbow,
    /// Hitting forearm pronation, 0 thumb in the bending plane, negative supinated.
    HitPronation,
    /// Hitting wrist flexion, negative extended.
    HitWrist,
    /// Racket shaft from the hand's long axis towards the thumb.
    RacketAngle,
    /// Tossing upper arm from the trunk.
    TossElevation,
    /// Plane of that elevation: 0 sideways, 90 forward.
    TossPlane,
    /// Tossing upper arm outward about its long axis.
    TossExternal,
    /// Tossing elbow flexion.
    TossElbow,
    /// Tossing forearm pronation.
    TossPronation,
    /// Front-knee flexion, 0 straight.
    FrontKnee,
    /// Front heel lifted about the toe.
    FrontHeel,
    /// Least flexion of the back knee while its toe is on the ground.
    BackKnee,
    /// Middle of the hips towards the hitting side of the front toe, statures.
    PelvisSide,
    /// Middle of the hips towards the net from the front toe, statures.
    PelvisNet,
    /// Where the eyes look, as a heading.
    GazeHeading,
    /// How far the eyes look up.
    GazeUp,
}

impl Channel {
    /// Every channel, in the order of its number.
    pub const ALL: [Self; 24] = [
        Self::TrunkHeading,
        Self::PelvisHeading,
        Self::TrunkLeanNet,
        Self::TrunkLeanSide,
        Self::GirdleTilt,
        Self::HitElevation,
        Self::HitPlane,
        Self::HitExternal,
        Self::HitElbow,
        Self::HitPronation,
        Self::HitWrist,
        Self::RacketAngle,
        Self::TossElevation,
        Self::TossPlane,
        Self::TossExternal,
        Self::TossElbow,
        Self::TossPronation,
        Self::FrontKnee,
        Self::FrontHeel,
        Self::BackKnee,
        Self::PelvisSide,
        Self::PelvisNet,
        Self::GazeHeading,
        Self::GazeUp,
    ];
}

/// Seconds of the events, contact at 0 unless shifted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tempo {
    /// Start of the toss, release, trophy, racket low point, contact, finish.
    pub events_s: [f64; 6],
    /// Quiet time before the toss starts.
    pub ready_s: f64,
    /// Time from the finish until recovered.
    pub recover_s: f64,
}

impl Tempo {
    /// Seconds of a stage time; linear between events, and beyond them at the outer pace.
    #[must_use]
    pub fn seconds(&self, stage: f64) -> f64 {
        let events = &self.events_s;
        if stage < 0.0 {
            return events[0] + stage * self.ready_s;
        }
        if stage >= 5.0 {
            return events[5] + (stage - 5.0) * self.recover_s;
        }
        let before = stage.floor() as usize;
        let part = stage - stage.floor();
        events[before] + part * (events[before + 1] - events[before])
    }

    /// Seconds of one event.
    #[must_use]
    pub fn event(&self, kind: EventKind) -> f64 {
        let place = EventKind::ALL.iter().position(|&each| each == kind);
        self.events_s[place.unwrap_or(0)]
    }
}

/// A course over stage time: (stage, value), stages strictly increasing.
pub(crate) type Keys = Vec<(f64, f64)>;

/// One course in seconds, ready to read.
#[derive(Debug, Clone)]
pub(crate) struct Course {
    times_s: Vec<f64>,
    values: Vec<f64>,
    slopes: Vec<f64>,
}

impl Course {
    /// Joins keys with a cubic that does not overshoot (Fritsch and Carlson 1980,
    /// doi 10.1137/0717021, with the weighted harmonic mean of Fritsch and Butland 1984).
    pub(crate) fn new(keys: &[(f64, f64)]) -> Self {
        let count = keys.len();
        let rise = |i: usize| (keys[i + 1].1 - keys[i].1) / (keys[i + 1].0 - keys[i].0);
        let mut slopes = vec![0.0; count];
        for i in 1..count.saturating_sub(1) {
            let (before, after) = (rise(i - 1), rise(i));
            if before * after > 0.0 {
                let (h0, h1) = (keys[i].0 - keys[i - 1].0, keys[i + 1].0 - keys[i].0);
                let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
                slopes[i] = (w0 + w1) / (w0 / before + w1 / after);
            }
        }
        Self {
            times_s: keys.iter().map(|key| key.0).collect(),
            values: keys.iter().map(|key| key.1).collect(),
            slopes,
        }
    }

    /// Value at a time; constant beyond the ends.
    pub(crate) fn at(&self, time_s: f64) -> f64 {
        let count = self.times_s.len();
        if time_s <= self.times_s[0] {
            return self.values[0];
        }
        if time_s >= self.times_s[count - 1] {
            return self.values[count - 1];
        }
        let i = self.times_s.partition_point(|&each| each <= time_s) - 1;
        let width = self.times_s[i + 1] - self.times_s[i];
        let u = (time_s - self.times_s[i]) / width;
        let (u2, u3) = (u * u, u * u * u);
        (2.0 * u3 - 3.0 * u2 + 1.0) * self.values[i]
            + (u3 - 2.0 * u2 + u) * width * self.slopes[i]
            + (3.0 * u2 - 2.0 * u3) * self.values[i + 1]
            + (u3 - u2) * width * self.slopes[i + 1]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passes_through_keys_and_does_not_overshoot() {
        let course = Course::new(&[(0.0, 1.0), (1.0, 5.0), (1.5, 5.0), (3.0, -2.0)]);
        for (time, want) in [(-1.0, 1.0), (0.0, 1.0), (1.0, 5.0), (3.0, -2.0), (9.0, -2.0)] {
            assert!((course.at(time) - want).abs() < 1e-12, "at {time}");
        }
        for step in 0..=300 {
            let value = course.at(f64::from(step) / 100.0);
            assert!((-2.0..=5.0).contains(&value), "{value} at step {step}");
        }
    }

    #[test]
    fn stage_time_follows_the_events() {
        let tempo =
            Tempo { events_s: [-1.3, -0.85, -0.37, -0.11, 0.0, 0.5], ready_s: 0.8, recover_s: 1.0 };
        assert!((tempo.seconds(4.0) - 0.0).abs() < 1e-12);
        assert!((tempo.seconds(1.5) - -0.61).abs() < 1e-12);
        assert!((tempo.seconds(-1.0) - -2.1).abs() < 1e-12);
        assert!((tempo.seconds(6.0) - 1.5).abs() < 1e-12);
    }
}
