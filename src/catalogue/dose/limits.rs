//! What a week asks, held against age, load and what hurts.

use serde::{Deserialize, Serialize};

use super::{Asked, Week};
use crate::catalogue::Catalogue;
use crate::catalogue::types::BodyPart;

/// What a limit is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitOf {
    /// Serves and throws on the fullest day.
    ArmADay,
    /// Serves and throws a week, with what the player does already.
    ArmAWeek,
    /// Days a week with serves or throws.
    ArmDays,
}

impl LimitOf {
    fn words(self) -> &'static str {
        match self {
            Self::ArmADay => "serves and throws on one day",
            Self::ArmAWeek => "serves and throws a week",
            Self::ArmDays => "days a week with serves or throws",
        }
    }
}

/// How much a plan may ask before it is said to be much, for an age.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limit {
    /// Stable name in data.
    pub id: String,
    /// From this age in years; absent = from birth.
    #[serde(default)]
    pub from_age: Option<u32>,
    /// Below this age in years; absent = for life.
    #[serde(default)]
    pub below_age: Option<u32>,
    /// What it is on.
    pub of: LimitOf,
    /// The most that is not remarked on.
    pub most: f64,
    /// What is said above it.
    pub text: String,
    /// How the number follows from the sources, or "our estimate".
    pub basis: String,
    /// Published rows behind it.
    #[serde(default)]
    pub sources: Vec<String>,
}

impl Limit {
    pub(super) fn holds_at(&self, age_years: u32) -> bool {
        self.from_age.is_none_or(|from| age_years >= from)
            && self.below_age.is_none_or(|below| age_years < below)
    }
}

/// What is known about the player who is to practise.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Practiser {
    /// Age in full years; `None` = not known, taken as a junior's.
    pub age_years: Option<u32>,
    /// Serves a week already, drills apart; `None` = not known, which is said.
    pub serves_a_week: Option<u32>,
    /// What hurts.
    pub sore: Vec<BodyPart>,
}

/// Age by which a player of unknown age is judged: the careful side of the juniors.
const UNKNOWN_AGE: u32 = 12;

/// Something to say about a dose before it is given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Warning {
    /// The drill it is about, by id; `None` where it is about all of them together.
    pub drill: Option<String>,
    /// The limit passed, by id; `None` where something else speaks against it.
    pub limit: Option<String>,
    /// Whether the drill is not to be given at all, as with pain, or only is much.
    pub refused: bool,
    /// What to say, one or two sentences.
    pub text: String,
    /// Published rows behind it.
    pub sources: Vec<String>,
}

/// Holds what a plan asks against age, load and what hurts.
///
/// Result: refusals (a drill that loads what hurts) before remarks, each in catalogue order. An
/// empty list says that nothing here speaks against the plan, not that it is safe.
#[must_use]
pub fn check_doses(
    catalogue: &Catalogue,
    asked: &[Asked<'_>],
    practiser: &Practiser,
) -> Vec<Warning> {
    let mut warnings = Vec::new();
    for one in asked {
        let sore: Vec<&str> = one
            .drill
            .loads
            .iter()
            .filter(|part| practiser.sore.contains(part))
            .map(|part| part.label())
            .collect();
        if !sore.is_empty() {
            warnings.push(Warning {
                drill: Some(one.drill.id.clone()),
                limit: None,
                refused: true,
                text: format!(
                    "'{}' loads the {}, which hurts: not now. See a clinician first.",
                    one.drill.name,
                    sore.join(" and the ")
                ),
                sources: Vec::new(),
            });
        }
    }
    let week = Week::of(asked);
    let age = practiser.age_years.unwrap_or(UNKNOWN_AGE);
    let already = f64::from(practiser.serves_a_week.unwrap_or(0));
    for limit in catalogue.limits().filter(|limit| limit.holds_at(age)) {
        let found = match limit.of {
            LimitOf::ArmADay => week.arm_a_day,
            LimitOf::ArmAWeek => week.arm().most + already,
            LimitOf::ArmDays => week.arm_days.most,
        };
        if found <= limit.most {
            continue;
        }
        let mut text = format!(
            "{found:.0} {}, {:.0} at most here. {}",
            limit.of.words(),
            limit.most,
            limit.text
        );
        if practiser.age_years.is_none() {
            text.push_str(" The player's age is not known, so the limit for juniors is used.");
        }
        warnings.push(Warning {
            drill: None,
            limit: Some(limit.id.clone()),
            refused: false,
            text,
            sources: limit.sources.clone(),
        });
    }
    let mut remark = |text: String| {
        warnings.push(Warning {
            drill: None,
            limit: None,
            refused: false,
            text,
            sources: Vec::new(),
        });
    };
    if practiser.serves_a_week.is_none() && week.arm().most > 0.0 {
        remark(format!(
            "The plan adds {} serves and throws a week. How much the player already serves is not \
             known: ask before you add to it.",
            week.arm()
        ));
    }
    for (drill, what) in &week.uncounted {
        remark(format!("'{drill}' is not in these numbers: {what}."));
    }
    warnings
}
