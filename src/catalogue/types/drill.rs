//! A drill, its steps and what it works on.

use serde::{Deserialize, Serialize};

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

/// What a drill's repetitions are, for adding up a week.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Work {
    /// A ball hit with the serving motion.
    Serves,
    /// A ball or medicine ball thrown.
    Throws,
    /// The motion without a ball.
    Swings,
    /// Strength, balance, looking, grip: no throw and no swing.
    Exercise,
}

impl Work {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::Serves, Self::Throws, Self::Swings, Self::Exercise];

    /// Name for people, after a number.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Serves => "serves",
            Self::Throws => "throws",
            Self::Swings => "practice swings",
            Self::Exercise => "repetitions",
        }
    }
}

/// A part of the body that a drill loads.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BodyPart {
    /// Shoulder of the hitting arm.
    Shoulder,
    /// Elbow and forearm.
    Elbow,
    /// Wrist and hand.
    Wrist,
    /// Lower back.
    Back,
    /// Belly and ribs.
    Trunk,
    /// Hip and groin.
    Hip,
    /// Knee.
    Knee,
    /// Ankle, heel, foot and shin.
    Foot,
}

impl BodyPart {
    /// Every part.
    pub const ALL: [Self; 8] = [
        Self::Shoulder,
        Self::Elbow,
        Self::Wrist,
        Self::Back,
        Self::Trunk,
        Self::Hip,
        Self::Knee,
        Self::Foot,
    ];

    /// Name for people.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Shoulder => "shoulder",
            Self::Elbow => "elbow",
            Self::Wrist => "wrist",
            Self::Back => "lower back",
            Self::Trunk => "trunk",
            Self::Hip => "hip",
            Self::Knee => "knee",
            Self::Foot => "ankle or foot",
        }
    }
}

/// An exercise, from easy to full.
///
/// What it tells somebody to do with the body is nobody's to read but what says its cautions with
/// it: see [`Drill::body`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drill {
    /// Stable name in data: small letters, digits and `_`.
    pub id: String,
    /// Plain name.
    pub name: String,
    /// Faults it addresses, the main one first.
    pub faults: Vec<String>,
    /// Faults it makes worse; never planned with them.
    #[serde(default)]
    pub not_for: Vec<String>,
    /// For whom, in words; empty in additions written before this was asked.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(in crate::catalogue) for_whom: String,
    /// What its repetitions are where its dose does not say; by the step's place if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub work: Option<Work>,
    /// What it loads: not offered while one of these hurts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub loads: Vec<BodyPart>,
    /// Rungs from easy to full.
    pub(in crate::catalogue) steps: Vec<Step>,
    /// How much, how often.
    pub dose: String,
    /// When to go to the next step.
    pub(in crate::catalogue) step_up: String,
    /// When to stop, for the day or for good; empty in additions written before this was asked.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub(in crate::catalogue) stop: String,
    /// What is needed.
    pub(in crate::catalogue) equipment: Vec<String>,
    /// What to say.
    pub(in crate::catalogue) cue: String,
    /// Where the cue sends attention.
    pub(in crate::catalogue) focus: CueFocus,
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

/// What says a drill's cautions wherever it shows the drill: coaching's `Cautions`, and nothing else.
pub trait SaysCautions {
    /// Notes that the words of this drill are shown, so that its cautions are said with them.
    fn shows(&mut self, drill: &Drill);
}

/// What a drill tells somebody to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DrillBody<'a> {
    /// Rungs from easy to full.
    pub steps: &'a [Step],
    /// When to go to the next step.
    pub step_up: &'a str,
    /// What is needed.
    pub equipment: &'a [String],
    /// What to say.
    pub cue: &'a str,
    /// For whom; empty where an addition does not say.
    pub for_whom: &'a str,
    /// When to stop; empty where an addition does not say.
    pub stop: &'a str,
}

impl Drill {
    /// What it tells somebody to do, handed out only to what says its cautions too.
    #[must_use]
    pub fn body(&self, beside: &mut impl SaysCautions) -> DrillBody<'_> {
        beside.shows(self);
        let Self { steps, step_up, equipment, cue, for_whom, stop, .. } = self;
        DrillBody { steps, step_up, equipment, cue, for_whom, stop }
    }

    /// Where its steps are done, from easy to full.
    pub fn places(&self) -> impl ExactSizeIterator<Item = Place> {
        self.steps.iter().map(|step| step.place)
    }
}
