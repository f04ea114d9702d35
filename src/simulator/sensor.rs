//! What a capture makes of the moving body: rate, joints held, noise, and where it stood.

use rand::Rng;
use serde::Deserialize;

use super::body::{Pose, column};
use super::chance::{Chance, normal};
use super::space::V3;
use crate::motion::{Assumption, Capture, Dimensions, Joint, Recording, Side, Unit, View};

/// Kinds of capture the demo imitates.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SensorKind {
    /// Markers: every joint, hands and racket too.
    Markers,
    /// One camera lifted to space: the body's joints with knuckles and feet, no racket; errors
    /// are larger along the camera's line and drift slowly.
    OneCamera,
    /// A depth sensor: body, hands, toes and head; no knuckles, no heels, no racket.
    Depth,
}

/// One capture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sensor {
    /// Kind.
    pub kind: SensorKind,
    /// Samples per second.
    pub rate_hz: f64,
    /// Standard deviation of the error per joint and coordinate, m; 0 for none.
    pub noise_m: f64,
    /// Heading of the net in the capture's space, degrees from its +y axis, clockwise from above.
    pub net_heading_deg: f64,
    /// Where the front toe stands in the capture's space, m.
    pub origin_m: [f64; 2],
}

impl Sensor {
    /// Usual error of a kind. Markers: about 2 mm (from memory). One camera: 15 mm, of
    /// which slow drift and quick noise make 24 mm along its line and 13 mm across, between markers
    /// and the 52 to 57 mm of several cameras on a throw (R137). Depth: 15 mm.
    #[must_use]
    pub fn usual(kind: SensorKind) -> Self {
        let (rate_hz, noise_m) = match kind {
            SensorKind::Markers => (240.0, 0.002),
            SensorKind::OneCamera => (60.0, 0.015),
            SensorKind::Depth => (15.0, 0.015),
        };
        Self { kind, rate_hz, noise_m, net_heading_deg: 0.0, origin_m: [0.0, 0.0] }
    }

    fn holds(&self, joint: Joint) -> bool {
        use Joint::{Head, LeftHand, LeftToe, Neck, RacketThroat, RacketTip, RightHand, RightToe};
        match self.kind {
            SensorKind::Markers => true,
            SensorKind::OneCamera => {
                !matches!(joint, RacketTip | RacketThroat | Head | Neck | LeftHand | RightHand)
            }
            SensorKind::Depth => {
                Joint::CORE.contains(&joint)
                    || matches!(joint, Head | Neck | LeftHand | RightHand | LeftToe | RightToe)
            }
        }
    }

    /// Records `pose(t)` (right-handed, net along +y) from `from_s` to `to_s`; the recording's
    /// time starts at 0.
    pub(crate) fn record(
        &self,
        hand: Side,
        from_s: f64,
        to_s: f64,
        pose: impl Fn(f64) -> Pose,
        chance: &mut Chance,
    ) -> Recording {
        let joints: Vec<Joint> = Joint::ALL.iter().copied().filter(|&j| self.holds(j)).collect();
        let frames = ((to_s - from_s) * self.rate_hz).floor() as usize + 1;
        // The first sample does not know about the events.
        let offset = chance.gen_range(0.0..1.0) / self.rate_hz;
        let times_s: Vec<f64> = (0..frames).map(|i| i as f64 / self.rate_hz).collect();
        let mut positions = Vec::with_capacity(frames * joints.len());
        let mut drift: Vec<V3> = joints.iter().map(|_| [(); 3].map(|()| normal(chance))).collect();
        // One camera errs slowly (half the error, over about 0.3 s), the others from frame to frame.
        let keep = (-1.0 / (0.3 * self.rate_hz)).exp();
        let fresh = (1.0 - keep * keep).sqrt();
        for &time_s in &times_s {
            let body = pose(from_s + offset + time_s);
            for (j, &joint) in joints.iter().enumerate() {
                let source = if hand == Side::Left { joint.mirrored() } else { joint };
                let mut at = body[column(source)];
                if hand == Side::Left {
                    at[0] = -at[0];
                }
                if self.noise_m > 0.0 {
                    for axis in 0..3 {
                        drift[j][axis] = keep * drift[j][axis] + fresh * normal(chance);
                        let (slow, quick) = match self.kind {
                            SensorKind::OneCamera => (if axis == 1 { 1.5 } else { 0.6 }, 0.6),
                            SensorKind::Markers | SensorKind::Depth => (0.0, 1.0),
                        };
                        at[axis] += self.noise_m * (slow * drift[j][axis] + quick * normal(chance));
                    }
                }
                positions.push(self.place(at));
            }
        }
        Recording {
            joints,
            times_s,
            positions,
            confidence: None,
            rate_hz: self.rate_hz,
            dimensions: Dimensions::Three,
            unit: Unit::Metre,
            capture: match self.kind {
                SensorKind::Markers => Capture::Markers,
                SensorKind::OneCamera => Capture::OneCameraLifted,
                SensorKind::Depth => Capture::DepthSensor,
            },
            view: (self.kind == SensorKind::OneCamera).then_some(View::Behind),
            subject: None,
            format: "generated".to_owned(),
            assumptions: vec![Assumption {
                what: "source".to_owned(),
                taken: "invented".to_owned(),
                why: "made by the demo's generator, not recorded".to_owned(),
            }],
        }
    }

    fn place(&self, at: V3) -> V3 {
        let (s, c) = self.net_heading_deg.to_radians().sin_cos();
        [self.origin_m[0] + c * at[0] + s * at[1], self.origin_m[1] - s * at[0] + c * at[1], at[2]]
    }

    /// Start of the recording in the motion's time, given what [`Self::record`] was told.
    pub(crate) fn first_sample_s(&self, from_s: f64, chance: &mut Chance) -> f64 {
        from_s + chance.gen_range(0.0..1.0) / self.rate_hz
    }
}
