//! What is said of a fault, and what it rests on.

use serde::{Deserialize, Serialize};

use crate::catalogue::types::Direction;

/// From this score on, a suspicion is shown as one, if it is likely enough.
pub const SUSPECTED: f64 = 0.5;

/// From this chance on: four in five (our estimate). A score without it is to be looked at.
pub const LIKELY: f64 = 0.8;

/// One measure's share in a suspicion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// The measure.
    pub measure: String,
    /// Median over the serves, in `unit`.
    pub value: f64,
    /// Unit.
    pub unit: String,
    /// Half width within which the player's usual value should lie 9 times of 10.
    pub give_or_take: f64,
    /// Lowest and highest serve.
    pub range: (f64, f64),
    /// Serves in which it could be read.
    pub serves: usize,
    /// Which side is the fault.
    pub direction: Direction,
    /// Where it begins to count.
    pub starts: f64,
    /// Where it counts fully.
    pub full: f64,
    /// Expected share of the way from `starts` to `full`, 0 to 1.
    pub score: f64,
    /// Share of the reading's error that lies beyond `starts`, 0 to 1.
    #[serde(default)]
    pub chance: f64,
    /// How far to trust the reading, 0 to 1.
    pub trust: f64,
    /// Published rows behind the band.
    pub sources: Vec<String>,
    /// How the band follows from them, "our estimate" or "common practice, no source", and how it
    /// was fitted to type of serve and stature.
    pub basis: String,
}

/// What can be said about one fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// Judged from measures.
    Scored {
        /// 0 (nothing of it) to 1 (as strong as it gets).
        score: f64,
        /// The chance that it has begun at all, 0 to 1.
        #[serde(default)]
        chance: f64,
        /// How far to trust the score, 0 to 1.
        trust: f64,
        /// The measures behind it.
        evidence: Vec<Evidence>,
        /// Measures of this fault that this recording could not give, and why.
        missing: Vec<String>,
    },
    /// Judged from what the player or coach answered.
    Answered {
        /// What the answer scores, 0 to 1.
        score: f64,
        /// The answer in words.
        answer: String,
    },
    /// Not judged, and why; never to be read as "fine".
    NotDetectable {
        /// The reason for a coach.
        why: String,
        /// The question to ask instead, where there is one.
        ask: Option<String>,
    },
}

/// A fault and what the serves say about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suspicion {
    /// Catalogue id.
    pub fault: String,
    /// The finding.
    pub finding: Finding,
}

impl Suspicion {
    /// The score, where the fault could be judged.
    #[must_use]
    pub fn score(&self) -> Option<f64> {
        match self.finding {
            Finding::Scored { score, .. } | Finding::Answered { score, .. } => Some(score),
            Finding::NotDetectable { .. } => None,
        }
    }

    /// How likely the fault has begun at all, where measures or an answer show it.
    #[must_use]
    pub fn chance(&self) -> Option<f64> {
        match self.finding {
            Finding::Scored { chance, .. } => Some(chance),
            Finding::Answered { score, .. } => Some(if score > 0.0 { 1.0 } else { 0.0 }),
            Finding::NotDetectable { .. } => None,
        }
    }

    /// Whether the fault is suspected: strong enough ([`SUSPECTED`]) and likely enough ([`LIKELY`]).
    #[must_use]
    pub fn suspected(&self) -> bool {
        self.strong() && self.chance().is_some_and(|chance| chance >= LIKELY)
    }

    /// Whether it is strong enough to be suspected, but too unlikely: to be looked at in the clip.
    #[must_use]
    pub fn to_look_at(&self) -> bool {
        self.strong() && !self.suspected()
    }

    fn strong(&self) -> bool {
        self.score().is_some_and(|score| score >= SUSPECTED)
    }
}

/// A chance as one says it: "9 in 10".
#[must_use]
pub fn describe_chance(chance: f64) -> String {
    match (10.0 * chance).floor().clamp(0.0, 10.0) {
        all if all >= 10.0 || chance >= 0.99 => "almost certain".to_owned(),
        tenths => format!("{tenths:.0} in 10"),
    }
}
