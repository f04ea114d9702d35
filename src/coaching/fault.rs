use thiserror::Error;

use crate::catalogue::{Catalogue, Drill, Fault};
use crate::library::{Case, FaultLabel, LabelState, PlanId};

/// A fault the catalogue does not have.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("no fault is called '{found}'; choose from {}", known.join(", "))]
pub struct UnknownFault {
    /// What was asked for.
    pub found: String,
    /// Ids of the catalogue's faults, in its order.
    pub known: Vec<String>,
}

/// The fault with this id.
pub(super) fn known_fault<'a>(
    catalogue: &'a Catalogue,
    id: &str,
) -> Result<&'a Fault, UnknownFault> {
    catalogue.fault(id).ok_or_else(|| UnknownFault {
        found: id.to_owned(),
        known: catalogue.faults().map(|fault| fault.id.clone()).collect(),
    })
}

/// A drill and a fault it makes worse.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Harm {
    /// Catalogue id of the drill.
    pub drill: String,
    /// Catalogue id of the fault it makes worse.
    pub worse: String,
    /// Why that fault counts here.
    pub shown: HarmShown,
}

/// Why a fault that a drill makes worse counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HarmShown {
    /// A label that stands in the case says so.
    Labelled,
    /// A plan of the case works on it.
    Planned(PlanId),
    /// It is the very fault the drill is planned for.
    Wanted,
}

/// The first fault that the drill makes worse: the one it is planned for (`fault`), those that
/// stand in the case ([`standing`]), those its plans work on.
#[must_use]
pub fn harms(drill: &Drill, case: &Case, fault: &str) -> Option<Harm> {
    let standing = standing(&case.labels);
    let labelled = standing.iter().map(|label| (label.fault.as_str(), HarmShown::Labelled));
    let planned = case
        .plans
        .iter()
        .filter(|plan| plan.ended.is_none())
        .map(|plan| (plan.limiting_fault.as_str(), HarmShown::Planned(plan.id)));
    let (worse, shown) = [(fault, HarmShown::Wanted)]
        .into_iter()
        .chain(labelled)
        .chain(planned)
        .find(|(id, _)| drill.not_for.iter().any(|no| no == id))?;
    Some(Harm { drill: drill.id.clone(), worse: worse.to_owned(), shown })
}

/// One label per fault: a coach's before the program's, rejected ones left out, strongest first.
#[must_use]
pub fn standing(labels: &[FaultLabel]) -> Vec<FaultLabel> {
    let mut faults: Vec<FaultLabel> = Vec::new();
    for label in labels {
        let coach = label.by.is_coach();
        match faults.iter_mut().find(|known| known.fault == label.fault) {
            // Coaches outrank the program; among coaches a rejection stands.
            Some(known) => {
                let known_coach = known.by.is_coach();
                let rejects = label.state == LabelState::Rejected;
                if coach && (!known_coach || rejects) {
                    *known = label.clone();
                }
            }
            None => faults.push(label.clone()),
        }
    }
    faults.retain(|label| label.state != LabelState::Rejected);
    faults.sort_by(|a, b| b.severity.total_cmp(&a.severity).then(a.fault.cmp(&b.fault)));
    faults
}
