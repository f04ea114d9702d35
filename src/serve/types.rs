use serde::{Deserialize, Serialize};

use crate::motion::{Joint, Side};

/// Samples in a curve, from the start of the toss (0 %) to the end of the follow-through (100 %).
pub const CURVE_FRAMES: usize = 101;

/// The moments every serve is cut by, in order of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    /// The tossing hand begins to rise.
    TossStart,
    /// The ball leaves the tossing hand.
    Release,
    /// Deepest bend of the front knee.
    Trophy,
    /// Racket head (or, unseen, the forearm's line) lowest behind the back.
    RacketLow,
    /// Racket meets ball.
    Contact,
    /// End of the follow-through.
    Finish,
}

impl EventKind {
    /// All events in order of time.
    pub const ALL: [Self; 6] = [
        Self::TossStart,
        Self::Release,
        Self::Trophy,
        Self::RacketLow,
        Self::Contact,
        Self::Finish,
    ];

    /// Name in data: `toss_start`, `release`, `trophy`, `racket_low`, `contact`, `finish`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::TossStart => "toss_start",
            Self::Release => "release",
            Self::Trophy => "trophy",
            Self::RacketLow => "racket_low",
            Self::Contact => "contact",
            Self::Finish => "finish",
        }
    }

    /// Name for people: "start of the toss", "release", "trophy", "racket low point" ...
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::TossStart => "start of the toss",
            Self::Release => "release",
            Self::Trophy => "trophy",
            Self::RacketLow => "racket low point",
            Self::Contact => "contact",
            Self::Finish => "finish",
        }
    }
}

/// One event of one serve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Which event.
    pub kind: EventKind,
    /// Time in the recording, seconds (between frames where the data allow).
    pub time_s: f64,
    /// Nearest frame of the recording, from 0.
    pub frame: usize,
    /// How sure we are, 0 to 1.
    pub trust: f64,
}

/// What a measure is; the text a reader needs to compare like with like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasureDef {
    /// Stable name in data, for example `front_knee_flexion_trophy`.
    pub id: &'static str,
    /// Name for people.
    pub name: &'static str,
    /// Exact definition with its zero and sign.
    pub definition: &'static str,
    /// The moment it is read at (`trophy`, `contact`, `release to contact` ...).
    pub moment: &'static str,
    /// `deg`, `m`, `s`, `ratio` ...
    pub unit: &'static str,
    /// Within-player standard deviation from serve to serve, for detectable changes, with `source`.
    pub within_player_sd: f64,
    /// Where definition and spread come from (row ids of published tables, or "our estimate").
    pub source: &'static str,
}

/// The value of a measure in one serve, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reading {
    /// Measured.
    Value {
        /// In the unit of its definition.
        value: f64,
        /// How sure we are, 0 to 1.
        trust: f64,
        /// Half width within which the true value should lie 9 times of 10, same unit.
        give_or_take: f64,
    },
    /// Not measurable from this recording, and why ("no hand joints", "15 Hz").
    NotMeasurable {
        /// The reason, in a few words.
        why: String,
    },
}

/// One measure's reading in a serve.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ServeReading {
    /// [`MeasureDef::id`].
    pub measure: String,
    /// The reading.
    pub reading: Reading,
}

/// A serve as time-normalised channels, ready to compare.
///
/// [`CURVE_FRAMES`] x channels, `f32`, row-major, time first, already divided by the fixed
/// population scale of each channel (so 1 means one ordinary spread between players).
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// Channel list and version, for example `core-1`; curves compare only within one.
    pub channel_set: String,
    /// Number of channels.
    pub channels: usize,
    /// The samples.
    pub values: Vec<f32>,
}

/// The body over the serve, for drawing: [`CURVE_FRAMES`] x joints, in the body frame.
///
/// Left-handers are mirrored: `Right...` joints are always the hitting side. x to the hitting
/// side when seen from behind, y towards the net, z up from the ground; unit: the player's
/// stature. A joint that is missing at a sample is NaN in all three coordinates.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Columns.
    pub joints: Vec<Joint>,
    /// `positions[sample * joints.len() + j]`.
    pub positions: Vec<[f32; 3]>,
    /// Sample position (0 to 100) of each event, in the order of [`EventKind::ALL`].
    pub event_samples: [f32; 6],
}

impl Figures {
    /// Whether the body lies in the plane of a picture: nothing of it has a depth, so that it can be drawn as
    /// the camera saw it and from nowhere else.
    #[must_use]
    pub fn is_flat(&self) -> bool {
        let mut seen = self.positions.iter().filter(|position| !position[1].is_nan()).peekable();
        seen.peek().is_some() && seen.all(|position| position[1] == 0.0)
    }
}

/// One serve cut out of a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Serve {
    /// The hand that holds the racket, as the motion says.
    pub hand: Side,
    /// How sure the motion is about the hand, 0 to 1.
    pub hand_trust: f64,
    /// First and last frame of the cut in the recording.
    pub frames: (usize, usize),
    /// All six events, in order of time.
    pub events: [Event; 6],
    /// Every measure we know, measured or not.
    pub readings: Vec<ServeReading>,
    /// The core curve.
    pub curve: Curve,
    /// The body for drawing.
    pub figures: Figures,
    /// Low-pass cutoff used, Hz.
    pub cutoff_hz: f64,
    /// What a careful reader must know ("15 Hz: no wrist speeds", "gap of 0.1 s filled").
    pub notes: Vec<String>,
}

/// A stretch of movement that looked like something but is not a serve, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refusal {
    /// First and last frame of the stretch.
    pub frames: (usize, usize),
    /// The reason, for a coach.
    pub reason: String,
}

/// What was found in one recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// The serves, in order of time.
    pub serves: Vec<Serve>,
    /// What was looked at and refused.
    pub refused: Vec<Refusal>,
}
