//! Measures: one number read off a serve, with its definition, its moment and its trust.

mod one_camera;
mod palm;
mod special;
mod table;

use one_camera::planted_error;
pub use table::MEASURES;
use table::TABLE;

use super::body::{Body, Courses, value_at};
use super::events::{Moment, Moments, SPEED_PEAK_LEAST_HZ};
use super::{EventKind, MeasureDef, Reading, ServeReading};
use crate::motion::{Capture, View};
use crate::video::{BodyAngle, one_camera_error};

/// Everything a measure may look at.
pub(super) struct Context<'a> {
    pub body: &'a Body,
    pub moments: &'a Moments,
    /// Where the wrists are guesses of the source, by sample of the body's track; tossing, hitting.
    pub unseen: &'a [Vec<bool>; 2],
    pub rate_hz: f64,
    pub capture: Capture,
    /// One camera's picture plane only.
    pub flat: bool,
    pub view: Option<View>,
    /// Stature the body's lengths suggest over the stature the caller knows; 1 if unknown.
    pub stature_ratio: f64,
}

/// What kind of angle, for its error: hinges are seen best, turns about the vertical worst.
#[derive(Debug, Clone, Copy)]
enum AngleKind {
    Hinge,
    Elbow,
    Arm,
    Trunk,
    /// A part of the trunk's lean along or across the direction to the net.
    Lean,
    Turn,
}

/// What a picture from one camera can say about a measure, as real serves showed it view by view
/// (`src/serve/REAL-CLIPS.md`).
#[derive(Debug, Clone, Copy, PartialEq)]
enum Flat {
    /// Readable from behind only: at trophy the chest faces a camera at the side, and the knees bend
    /// towards it.
    Knees,
    /// From nowhere: as [`Self::Knees`], and from behind it reads up to 57 deg too low where the player
    /// turns the front leg towards the camera.
    FrontKnee,
    /// Readable from the side only.
    FromSide,
    /// Readable from behind or in front only.
    FromBehind,
    /// Needs three dimensions.
    No,
}

/// How a measure is read.
#[derive(Clone, Copy)]
enum Rule {
    /// A course's value at an event, times `sign`.
    At {
        course: fn(&Courses) -> &Vec<f64>,
        event: EventKind,
        kind: AngleKind,
        sign: f64,
        flat: Flat,
    },
    /// Time between two events.
    Between(EventKind, EventKind),
    /// A rule of its own.
    Own(fn(&Context<'_>) -> Result<Value, String>),
}

/// A value with its standard error, in the measure's unit, and its trust.
struct Value {
    value: f64,
    error: f64,
    trust: f64,
}

/// Half width of an interval that holds 9 of 10 normal errors, in standard errors.
const NINE_OF_TEN: f64 = 1.645;

/// From one camera, a reading that may be further off than this is no reading: the differences
/// between players that a coach works on are smaller.
const USABLE_DEG: f64 = 36.0;
const USABLE_S: f64 = 0.1;
const USABLE_RATIO: f64 = 0.15;

const KNEES_HIDDEN: &str = "one camera: the knees bend towards it and half of the bend is not seen";
/// A net that lies further across the picture than this (60 deg off the camera's line) is filmed from
/// the side.
const FROM_SIDE: f64 = 0.87;
/// Of a lean's direction at least this share must lie across the picture.
const LEAST_SHOWN: f64 = 0.5;
/// What a picture shows of a lean, for a camera that stands up to 30 deg beside where it is said to
/// stand, one standard error: by the marker serves of `src/serve/REAL-CLIPS.md`, seen from all round.
const PICTURED_LEAN_DEG: f64 = 13.0;
const PICTURED_TILT_DEG: f64 = 6.0;
/// A network's guess of a lean towards or away from the camera, one standard error (our estimate).
const DEPTH_LEAN_DEG: f64 = 15.0;

/// Reads every measure of the table, in its order.
pub(super) fn readings(context: &Context<'_>) -> Vec<ServeReading> {
    TABLE
        .iter()
        .map(|(def, rule)| {
            let read = match *rule {
                Rule::At { course, event, kind, sign, flat } => {
                    context.at(course(&context.body.courses), event, kind, sign, flat)
                }
                Rule::Between(from, to) => context.between(from, to),
                Rule::Own(rule) => rule(context),
            };
            let reading = match read {
                Ok(v) if v.value.is_finite() && v.error.is_finite() => context.claim(def, rule, &v),
                Ok(_) => {
                    Reading::NotMeasurable { why: "a joint is not seen at this moment".to_owned() }
                }
                Err(why) => Reading::NotMeasurable { why },
            };
            ServeReading { measure: def.id.to_owned(), reading }
        })
        .collect()
}

impl Context<'_> {
    /// The reading of a value, or that one camera cannot claim it.
    fn claim(&self, def: &MeasureDef, rule: &Rule, v: &Value) -> Reading {
        let mut give_or_take = NINE_OF_TEN * v.error;
        if self.capture.is_one_camera() {
            if !self.flat {
                // The planted error is that of the program's own moments.
                let planted = planted_error(def.id).filter(|_| !self.is_given(rule));
                give_or_take = give_or_take.max(NINE_OF_TEN * planted.unwrap_or_default());
            }
            let usable = match def.unit {
                "deg" => USABLE_DEG,
                "s" => USABLE_S,
                "ratio" => USABLE_RATIO,
                _ => f64::INFINITY,
            };
            if give_or_take > usable {
                let unit = if def.unit == "ratio" { "of the stature" } else { def.unit };
                let why = format!("one camera: may be off by more than {usable} {unit}");
                return Reading::NotMeasurable { why };
            }
        }
        Reading::Value { value: v.value, trust: v.trust.clamp(0.0, 1.0), give_or_take }
    }

    /// Standard error of an included knee angle from this kind of source, degrees.
    ///
    /// One lifted camera: as measured, see [`one_camera_error`]. Markers: after R132, R133, R137
    /// and R139 (4 to 21 deg from one camera, 6 to 12 for knees from two); the others placed
    /// between by us.
    fn source_error_deg(&self, kind: AngleKind) -> f64 {
        if self.capture == Capture::OneCameraLifted {
            let angle = match kind {
                AngleKind::Hinge => BodyAngle::Knee,
                AngleKind::Elbow => BodyAngle::Elbow,
                AngleKind::Arm => BodyAngle::UpperArm,
                AngleKind::Trunk | AngleKind::Lean => BodyAngle::TrunkInclination,
                AngleKind::Turn => BodyAngle::Separation,
            };
            return one_camera_error(angle).standard_error_deg();
        }
        let hinge = match self.capture {
            Capture::Generated => 2.0,
            Capture::Markers => 3.0,
            Capture::SeveralCameras => 6.0,
            Capture::Unknown => 8.0,
            Capture::OneCameraFlat => 10.0,
            Capture::OneCameraLifted | Capture::DepthSensor => 12.0,
        };
        hinge
            * match kind {
                AngleKind::Hinge => 1.0,
                AngleKind::Elbow | AngleKind::Arm => 1.2,
                AngleKind::Trunk | AngleKind::Lean => 0.6,
                AngleKind::Turn => 1.0,
            }
    }

    /// Whether a duration lies between two moments that were given.
    fn is_given(&self, rule: &Rule) -> bool {
        match *rule {
            Rule::Between(from, to) => self.moment(from).given && self.moment(to).given,
            _ => false,
        }
    }

    fn source_trust(&self) -> f64 {
        match self.capture {
            Capture::Generated | Capture::Markers => 1.0,
            Capture::SeveralCameras => 0.85,
            Capture::Unknown => 0.7,
            Capture::OneCameraFlat | Capture::OneCameraLifted | Capture::DepthSensor => 0.6,
        }
    }

    fn moment(&self, event: EventKind) -> &Moment {
        self.moments.get(event)
    }

    fn seconds(&self, grid_steps: f64) -> f64 {
        grid_steps * self.body.track.step_s
    }

    /// `Err` where the arm moves too fast for the frame rate at this event.
    fn not_too_fast(&self, event: EventKind) -> Result<(), String> {
        let fast = matches!(event, EventKind::RacketLow | EventKind::Contact);
        if fast && self.rate_hz < SPEED_PEAK_LEAST_HZ {
            return Err(format!(
                "{:.0} Hz: too few frames around the {}",
                self.rate_hz,
                event.label()
            ));
        }
        Ok(())
    }

    fn not_flat(&self, flat: Flat) -> Result<(), String> {
        let seen = match (self.flat, flat, self.view) {
            (false, _, _) => true,
            (true, Flat::Knees, view) => view == Some(View::Behind),
            (true, Flat::FromSide, view) => view == Some(View::Side),
            (true, Flat::FromBehind, view) => matches!(view, Some(View::Behind | View::Front)),
            (true, Flat::FrontKnee | Flat::No, _) => false,
        };
        if seen {
            return Ok(());
        }
        Err(match flat {
            Flat::FromSide => "one camera: seen only from the side".to_owned(),
            Flat::FromBehind => "one camera: seen only from behind or in front".to_owned(),
            Flat::Knees => KNEES_HIDDEN.to_owned(),
            Flat::FrontKnee => {
                "one camera: how far the knee bends towards it is not seen".to_owned()
            }
            Flat::No => "one camera: needs three dimensions".to_owned(),
        })
    }

    /// What the direction to the net adds to the error of a lean along it ([`Flat::FromSide`]) or
    /// across it, degrees; `Err` where this camera cannot tell which way the trunk leans.
    fn heading_error_deg(&self, part: Flat, at: f64) -> Result<f64, String> {
        let net = &self.body.net;
        if self.capture.is_one_camera()
            && let Some(doubt) = &net.doubt
        {
            return Err(format!("one camera: {doubt}"));
        }
        if self.flat {
            let from_side = part == Flat::FromSide;
            return Ok(if from_side { PICTURED_LEAN_DEG } else { PICTURED_TILT_DEG });
        }
        // A heading that is off turns one part of the lean into the other.
        let turned = net.error_deg.to_radians() * value_at(&self.body.courses.inclination, at);
        if self.capture != Capture::OneCameraLifted {
            return Ok(turned);
        }
        let shown = if part == Flat::FromSide { net.towards[0] } else { net.towards[1] }.abs();
        if shown < LEAST_SHOWN {
            return Err(
                "one camera: it sees this lean from in front or behind, so it cannot tell \
                        towards from away"
                    .to_owned(),
            );
        }
        Ok(turned.hypot(DEPTH_LEAN_DEG * (1.0 - shown * shown).sqrt()))
    }

    /// How fast a course changes at a grid position, per second.
    fn slope(&self, course: &[f64], at: f64) -> f64 {
        let half = 0.015 / self.body.track.step_s;
        let (a, b) = ((at - half).max(0.0), (at + half).min((course.len() - 1) as f64));
        (value_at(course, b) - value_at(course, a)) / self.seconds(b - a)
    }

    fn at(
        &self,
        course: &[f64],
        event: EventKind,
        kind: AngleKind,
        sign: f64,
        flat: Flat,
    ) -> Result<Value, String> {
        self.not_flat(flat)?;
        let lifted = self.capture == Capture::OneCameraLifted;
        let from_side = self.body.net.towards[0].abs() > FROM_SIDE;
        let knee = matches!(flat, Flat::Knees | Flat::FrontKnee);
        if lifted && knee && event == EventKind::Trophy && from_side {
            return Err(format!("{KNEES_HIDDEN}; film from diagonally in front"));
        }
        if matches!(kind, AngleKind::Elbow | AngleKind::Arm) {
            self.not_too_fast(event)?;
        }
        let moment = self.moment(event);
        let timing = self.slope(course, moment.at) * moment.error_s;
        let heading = match kind {
            AngleKind::Lean => self.heading_error_deg(flat, moment.at)?,
            _ => 0.0,
        };
        let error = self.source_error_deg(kind).hypot(timing).hypot(heading);
        Ok(Value {
            value: sign * value_at(course, moment.at),
            error,
            // A timing error that moves the value by a population spread leaves half the trust.
            trust: moment.trust * self.source_trust() / (1.0 + (timing / 15.0).powi(2)),
        })
    }

    fn between(&self, from: EventKind, to: EventKind) -> Result<Value, String> {
        if from == EventKind::RacketLow || to == EventKind::RacketLow {
            self.not_too_fast(EventKind::RacketLow)?;
        }
        let (a, b) = (self.moment(from), self.moment(to));
        Ok(Value {
            value: self.seconds(b.at - a.at),
            error: a.error_s.hypot(b.error_s),
            trust: a.trust.min(b.trust),
        })
    }
}
