//! What the catalogue holds: faults, what shows and costs them, and drills.

mod drill;

pub use drill::{BodyPart, CueFocus, Drill, DrillBody, Place, SaysCautions, Step, Work};
use serde::{Deserialize, Serialize};

use crate::serve::EventKind;

/// A part of the serve, in order of time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// Before anything moves.
    Stance,
    /// Start of the toss to release.
    Toss,
    /// Release to deepest knee bend.
    Loading,
    /// Deepest bend to the racket's low point.
    Cocking,
    /// Low point to contact.
    Acceleration,
    /// The hit.
    Contact,
    /// After the hit.
    FollowThrough,
}

impl Phase {
    /// Name for people.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Stance => "stance",
            Self::Toss => "toss",
            Self::Loading => "loading",
            Self::Cocking => "racket drop",
            Self::Acceleration => "swing up",
            Self::Contact => "contact",
            Self::FollowThrough => "follow-through",
        }
    }

    /// The event at which this phase ends; the one to look at in a picture.
    #[must_use]
    pub fn event(self) -> EventKind {
        match self {
            Self::Stance => EventKind::TossStart,
            Self::Toss => EventKind::Release,
            Self::Loading => EventKind::Trophy,
            Self::Cocking => EventKind::RacketLow,
            Self::Acceleration | Self::Contact => EventKind::Contact,
            Self::FollowThrough => EventKind::Finish,
        }
    }
}

/// Which side of a threshold is the fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Small values show the fault.
    Below,
    /// Large values show the fault.
    Above,
}

/// What the ball was meant to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ServeType {
    /// Little spin.
    Flat,
    /// Sidespin.
    Slice,
    /// Topspin.
    Kick,
}

impl ServeType {
    /// Name for people.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Flat => "flat serve",
            Self::Slice => "slice serve",
            Self::Kick => "kick serve",
        }
    }

    /// The type by which several serves are judged together: a kick or a slice among them counts
    /// for all, since the median may be one of those; flat only if each is known to be flat;
    /// `None` otherwise.
    ///
    /// ```
    /// use precedent::catalogue::ServeType::{self, Flat, Kick};
    /// assert_eq!(ServeType::of_all([Some(Flat), None, Some(Kick)]), Some(Kick));
    /// assert_eq!(ServeType::of_all([Some(Flat), None]), None);
    /// ```
    #[must_use]
    pub fn of_all(types: impl IntoIterator<Item = Option<Self>>) -> Option<Self> {
        let (mut most, mut unknown) = (None, false);
        for one in types {
            unknown |= one.is_none();
            most = most.max(one);
        }
        if unknown && most == Some(Self::Flat) { None } else { most }
    }
}

/// Which of the two serves of a point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Attempt {
    /// The first serve.
    First,
    /// The second serve, mostly hit with more spin.
    Second,
}

/// What a recording must hold for a fault to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum JointNeed {
    /// Shoulders, elbows, wrists, hips, knees, ankles.
    Core,
    /// Knuckles of the hand as well.
    Hands,
    /// Racket tip and throat as well.
    Racket,
    /// The ball's path.
    Ball,
    /// Seen by a coach in the clip, measured by nothing here: look, or ask.
    SeenOrAsked,
    /// Nothing in a pose shows it: ask.
    Ask,
}

impl JointNeed {
    /// Whether measures can show the fault.
    #[must_use]
    pub fn measured(self) -> bool {
        matches!(self, Self::Core | Self::Hands | Self::Racket)
    }
}

/// What a recording must be like for a fault to be judged.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Needs {
    /// Joints or other sight needed.
    pub joints: JointNeed,
    /// Needs three dimensions; a flat picture is not enough.
    pub three_d: bool,
    /// Lowest sample rate, Hz.
    pub min_rate_hz: f64,
}

/// What a fault costs, each 0 (nothing) to 3 (much).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cost {
    /// Serve speed.
    pub speed: u8,
    /// Serves in, and in the same place.
    pub consistency: u8,
    /// Load on the body.
    pub load: u8,
    /// The cost in one sentence a player understands.
    pub text: String,
}

/// Something that looks like the fault and is not it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Confusion {
    /// What it is mistaken for.
    pub what: String,
    /// How to tell them apart.
    pub tell: String,
}

/// Where a measure counts in one type of serve, instead of the measure's own band.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TypeBand {
    /// The type.
    pub serve_type: ServeType,
    /// Where it begins to count (score 0).
    pub starts: f64,
    /// Where it counts fully (score 1).
    pub full: f64,
    /// How the band follows from the sources, or "our estimate".
    pub basis: String,
}

/// A measure that shows a fault, with the values between which suspicion grows from 0 to 1.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FaultMeasure {
    /// [`crate::serve::MeasureDef::id`].
    pub measure: String,
    /// Which side is the fault.
    pub direction: Direction,
    /// Where it begins to count (score 0).
    pub starts: f64,
    /// Where it counts fully (score 1).
    pub full: f64,
    /// Unit of both, that of the measure.
    pub unit: String,
    /// Share in the fault's score when several measures show it.
    #[serde(default = "one")]
    pub weight: f64,
    /// Bands of their own for types of serve that differ from a flat one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub by_type: Vec<TypeBand>,
    /// Both ends grow with this power of stature over [`ADULT_STATURE_M`]: 0.5 where a ball's fall
    /// sets a time, since every height goes with stature; 0 where nothing physical scales.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub stature_power: f64,
    /// Without it the fault is not judged: what is left also shows where the cause is another.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub needed: bool,
    /// Published rows behind the thresholds; empty where they are our estimate.
    #[serde(default)]
    pub sources: Vec<String>,
    /// How the thresholds follow from the sources; "our estimate" where a number is ours,
    /// "common practice, no source" where coaches use it.
    pub basis: String,
}

/// Stature for which bands that scale are written, m (our estimate of an adult player's).
pub const ADULT_STATURE_M: f64 = 1.75;

fn one() -> f64 {
    1.0
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "the signature serde asks for")]
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "the signature serde asks for")]
fn is_one(value: &f64) -> bool {
    *value == 1.0
}

/// How several measures make one score.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Combine {
    /// Mean, weighted by weight and trust: the measures show the same thing together.
    #[default]
    Mean,
    /// The strongest: each measure shows the fault alone.
    Strongest,
}

/// Where a serve that misses goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Miss {
    /// Into the net.
    Net,
    /// Beyond the service line.
    Long,
    /// Beside the box.
    Wide,
}

impl Miss {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Net, Self::Long, Self::Wide];

    /// In a sentence: "7 of 12 went ...".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Net => "into the net",
            Self::Long => "long",
            Self::Wide => "wide",
        }
    }
}

/// Answers about the grip that mean the fault; every named part must be answered.
///
/// Bevels are counted looking at the butt cap with the racket on edge: 1 on top, then clockwise for
/// a right-hander and anticlockwise for a left-hander, so that 2 is the knuckle's place in a
/// continental grip for both. Between two bevels, the one that carries more of the hand counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GripAnswers {
    /// Bevels (1 to 8) under the index knuckle that mean the fault; empty: not asked.
    #[serde(default)]
    pub index_knuckle: Vec<u8>,
    /// Bevels (1 to 8) under the heel pad that mean the fault; empty: not asked.
    #[serde(default)]
    pub heel_pad: Vec<u8>,
    /// What such an answer scores, above 0 to 1: less where sound grips come close to it.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub score: f64,
}

/// A named technique problem.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// Stable name in data: small letters, digits and `_`.
    pub id: String,
    /// Plain name.
    pub name: String,
    /// Part of the serve or body it belongs to (`legs`, `toss`, `grip` ...).
    pub group: String,
    /// When in the serve it shows.
    pub when: Vec<Phase>,
    /// What the coach sees.
    pub coach_sees: String,
    /// One sentence to the player.
    pub to_player: String,
    /// What it costs.
    pub cost: Cost,
    /// Faults that commonly cause it; look there first.
    #[serde(default)]
    pub upstream: Vec<String>,
    /// What it is confused with.
    pub confused_with: Vec<Confusion>,
    /// Which recordings can show it.
    pub needs: Needs,
    /// `A` controlled study, `B` indirect or correlational, `C` custom or memory, `rule`.
    pub evidence: String,
    /// The evidence in words.
    pub evidence_text: String,
    /// Published rows behind the fault itself.
    #[serde(default)]
    pub sources: Vec<String>,
    /// What to say about health before anything else.
    #[serde(default)]
    pub health_note: Option<String>,
    /// The question to ask where a recording cannot show it.
    #[serde(default)]
    pub ask: Option<String>,
    /// Answers about the grip that mean the fault.
    #[serde(default)]
    pub answers: Option<GripAnswers>,
    /// Faults whose plan can run beside this one's without taking the serve apart.
    #[serde(default)]
    pub goes_with: Vec<String>,
    /// Faults whose fixing pulls the other way: never planned together. One entry counts for both.
    #[serde(default)]
    pub opposed: Vec<String>,
    /// Measures of which at least one must show the fault too, or it is a style: its score is at
    /// most the greatest of theirs. None of them readable: not judged.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub only_with: Vec<FaultMeasure>,
    /// Faults that show in the same measures: while one of them is suspected, this one is not judged.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub explained_by: Vec<String>,
    /// Where serves with this fault commonly miss (common practice, no source).
    #[serde(default)]
    pub misses: Vec<Miss>,
    /// How several measures make one score.
    #[serde(default)]
    pub combine: Combine,
    /// Measures that show it; none where only a question does.
    #[serde(default)]
    pub measures: Vec<FaultMeasure>,
    /// An added catalogue sets this to replace the entry of the same id.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub replaces: bool,
}

/// A group of players for whom part of the catalogue reads differently.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlayerGroup {
    /// Stable name in data: small letters, digits and `_`.
    pub id: String,
    /// Plain name.
    pub name: String,
    /// What is different, one sentence each.
    pub text: Vec<String>,
    /// Faults that do not apply.
    #[serde(default)]
    pub faults_out: Vec<String>,
    /// Drills that do not apply.
    #[serde(default)]
    pub drills_out: Vec<String>,
    /// Where that comes from, in words, or "common practice, no source".
    pub support: String,
    /// Published rows behind it.
    #[serde(default)]
    pub sources: Vec<String>,
}

/// A way of serving that is not a fault.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Style {
    /// Stable name in data.
    pub id: String,
    /// Plain name.
    pub name: String,
    /// Why it is left alone.
    pub text: String,
}

/// A row of published values the catalogue refers to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PublishedRow {
    /// Row id, for example `R025`.
    pub id: String,
    /// What was measured.
    pub quantity: String,
    /// When.
    pub moment: String,
    /// Value as printed.
    pub mean: String,
    /// Spread as printed.
    pub sd: String,
    /// Unit.
    pub unit: String,
    /// On whom.
    pub population: String,
    /// Who published it.
    pub citation: String,
    /// How it was read (abstract, table, memory, arithmetic).
    pub read: String,
}
