use std::fmt;

use super::fault::{Harm, harms, known_fault};
use crate::catalogue::Catalogue;
use crate::library::{Case, Plan, PlanId};

/// Most plans in force at a time.
pub(super) const MOST_PLANS: usize = 2;

/// A rule of coaching that something recorded elsewhere breaks here.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Breach {
    /// The catalogue does not have the fault.
    UnknownFault {
        /// Its id.
        fault: String,
    },
    /// The catalogue does not have the drill, so nobody here knows its cautions.
    UnknownDrill {
        /// Its id.
        drill: String,
    },
    /// A drill makes a fault worse that the player has.
    Harmful(Harm),
    /// Two plans were in force already.
    ThirdPlan,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownFault { fault } => {
                write!(f, "this library's catalogue has no fault '{fault}'")
            }
            Self::UnknownDrill { drill } => {
                write!(f, "this library's catalogue has no drill '{drill}'")
            }
            Self::Harmful(Harm { drill, worse, .. }) => {
                write!(f, "'{drill}' makes '{worse}' worse, which the player has")
            }
            Self::ThirdPlan => write!(f, "two plans are in force already"),
        }
    }
}

/// What in a case recorded elsewhere breaks a rule of coaching here: first its labels (no plan),
/// then each plan that is not ended, one breach each, in the order of their starts.
#[must_use]
pub fn breaches(catalogue: &Catalogue, case: &Case) -> Vec<(Option<PlanId>, Breach)> {
    let unknown = case.labels.iter().filter(|label| known_fault(catalogue, &label.fault).is_err());
    let mut found: Vec<(Option<PlanId>, Breach)> =
        unknown.map(|label| (None, Breach::UnknownFault { fault: label.fault.clone() })).collect();
    found.dedup();
    let mut plans: Vec<&Plan> = case.plans.iter().collect();
    plans.sort_by_key(|plan| (plan.start, plan.id));
    let mut sound: Vec<&Plan> = Vec::new();
    for plan in plans {
        if plan.ended.is_none() {
            let in_force = sound.iter().filter(|other| other.in_force_on(plan.start)).count();
            let breach = breach_of(catalogue, case, plan)
                .or_else(|| (in_force >= MOST_PLANS).then_some(Breach::ThirdPlan));
            if let Some(breach) = breach {
                found.push((Some(plan.id), breach));
                continue;
            }
        }
        sound.push(plan);
    }
    found
}

fn breach_of(catalogue: &Catalogue, case: &Case, plan: &Plan) -> Option<Breach> {
    if known_fault(catalogue, &plan.limiting_fault).is_err() {
        return Some(Breach::UnknownFault { fault: plan.limiting_fault.clone() });
    }
    plan.drills.iter().find_map(|planned| match catalogue.drill(&planned.drill) {
        None => Some(Breach::UnknownDrill { drill: planned.drill.clone() }),
        Some(drill) => harms(drill, case, &plan.limiting_fault).map(Breach::Harmful),
    })
}
