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
    /// Nothing in a pose shows it: ask.
    Ask,
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
    /// Without it the fault is not judged: what is left also shows where the cause is another.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub needed: bool,
    /// Published rows behind the thresholds; empty where it is common practice.
    #[serde(default)]
    pub sources: Vec<String>,
    /// How the thresholds follow from the sources, or "common practice, no source".
    pub basis: String,
}

fn one() -> f64 {
    1.0
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
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GripAnswers {
    /// Bevels (1 to 8) under the index knuckle that mean the fault; empty: not asked.
    #[serde(default)]
    pub index_knuckle: Vec<u8>,
    /// Bevels (1 to 8) under the heel pad that mean the fault; empty: not asked.
    #[serde(default)]
    pub heel_pad: Vec<u8>,
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
    /// Faults whose cure pulls the other way: never planned together. One entry counts for both.
    #[serde(default)]
    pub opposed: Vec<String>,
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

/// Where a step is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Anywhere: at home, beside the court.
    OffCourt,
    /// The motion without a ball.
    PracticeSwing,
    /// Against a wall or fence.
    Wall,
    /// From the service line.
    ServiceLine,
    /// From the baseline.
    Baseline,
}

impl Place {
    /// Every place, from easy to full.
    pub const ALL: [Self; 5] =
        [Self::OffCourt, Self::PracticeSwing, Self::Wall, Self::ServiceLine, Self::Baseline];

    /// Name for people.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::OffCourt => "off court",
            Self::PracticeSwing => "practice swing",
            Self::Wall => "wall",
            Self::ServiceLine => "service line",
            Self::Baseline => "baseline",
        }
    }
}

/// One rung of a drill.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Where.
    #[serde(rename = "where")]
    pub place: Place,
    /// What to do.
    pub text: String,
}

/// Where a cue sends the player's attention.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CueFocus {
    /// To a picture or an effect outside the body.
    Outside,
    /// To a body part.
    Body,
}

/// An exercise, from easy to full.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drill {
    /// Stable name in data: small letters, digits and `_`.
    pub id: String,
    /// Plain name.
    pub name: String,
    /// Faults it addresses, the main one first.
    pub faults: Vec<String>,
    /// Faults it makes worse; never prescribed with them.
    #[serde(default)]
    pub not_for: Vec<String>,
    /// Rungs from easy to full.
    pub steps: Vec<Step>,
    /// How much, how often.
    pub dose: String,
    /// When to go to the next step.
    pub step_up: String,
    /// What is needed.
    pub equipment: Vec<String>,
    /// What to say.
    pub cue: String,
    /// Where the cue sends attention.
    pub focus: CueFocus,
    /// Cautions of its own; [`crate::catalogue::Catalogue::cautions`] adds the general ones.
    pub cautions: Vec<String>,
    /// Published support in words, or "none found".
    pub support: String,
    /// Published rows behind `support`.
    #[serde(default)]
    pub sources: Vec<String>,
    /// An added catalogue sets this to replace the entry of the same id.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub replaces: bool,
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
