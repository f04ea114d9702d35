//! What comes in a pack, held against the rules of coaching. Nothing is refused for them: it is told,
//! and a plan that breaks one is kept and counts as ended from its first day.

use jiff::civil::Date;

use super::items::{Arrived, CaseItem, Item, OwnEntry, PlanItem};
use crate::catalogue::{Catalogue, EntryKind};
use crate::coaching::{Breach, breaches};
use crate::library::{Author, Case, CaseId, Ending, Plan, PlanEnd, PlanId, PlayerId};

/// A rule of coaching that something in a pack breaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PackNotice {
    /// Day of the case.
    pub day: Date,
    /// First day of the plan; `None` where a label breaks it.
    pub plan: Option<Date>,
    /// The rule.
    pub breach: Breach,
}

impl std::fmt::Display for PackNotice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.plan {
            Some(start) => write!(
                f,
                "case of {}: the plan of {start} is kept and not counted as in force: {}",
                self.day, self.breach
            ),
            None => write!(f, "case of {}: {}; its label is kept", self.day, self.breach),
        }
    }
}

impl serde::Serialize for PackNotice {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// How a fault or drill of a sender's own stands to this library's catalogue.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum CatalogueNotice {
    /// Not known here: kept as a name, with its text to read and add.
    Unknown {
        /// Fault or drill.
        kind: EntryKind,
        /// Its id.
        id: String,
    },
    /// Another entry goes by its id here, and cases that name it are read with that one.
    Other {
        /// Fault or drill.
        kind: EntryKind,
        /// Its id.
        id: String,
        /// What it is called here.
        here: String,
    },
}

impl std::fmt::Display for CatalogueNotice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Unknown { kind, id } => write!(
                f,
                "the sender's own {} '{id}' is not in this catalogue: read it there, and add it if \
                 you want to work with it",
                kind.name()
            ),
            Self::Other { kind, id, here } => write!(
                f,
                "the sender's own {} '{id}' is not the same as '{here}' here; cases that name it \
                 are read with yours",
                kind.name()
            ),
        }
    }
}

impl serde::Serialize for CatalogueNotice {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl Arrived {
    /// The sender's own faults and drills that this catalogue lacks or has otherwise.
    #[must_use]
    pub fn catalogue_notices(&self, catalogue: &Catalogue) -> Vec<CatalogueNotice> {
        let notices = self.entries.iter().filter_map(|OwnEntry { kind, id, toml }| {
            let (kind, id) = (*kind, id.clone());
            let here = match kind {
                EntryKind::Fault => catalogue.fault(&id).map(|_| catalogue.fault_name(&id)),
                EntryKind::Drill => catalogue.drill(&id).map(|_| catalogue.drill_name(&id)),
            };
            match here {
                None => Some(CatalogueNotice::Unknown { kind, id }),
                Some(_) if catalogue.entry_toml(kind, &id).as_ref() == Some(toml) => None,
                Some(here) => Some(CatalogueNotice::Other { kind, id, here }),
            }
        });
        notices.collect()
    }

    /// What in this pack breaks a rule of coaching here, in the order of its items.
    #[must_use]
    pub fn notices(&self, catalogue: &Catalogue) -> Vec<PackNotice> {
        let cases = self.items.iter().filter_map(|item| match item {
            Item::Case(case) => Some(case),
            _ => None,
        });
        let told = cases.flat_map(|case| {
            let found = broken(catalogue, case).into_iter();
            found.map(|(plan, breach)| {
                let plan = plan.map(|at| case.plans[at].start);
                PackNotice { day: case.day, plan, breach }
            })
        });
        told.collect()
    }
}

/// What a case breaks: the place of the plan in it, or none for a label.
pub(super) fn broken(catalogue: &Catalogue, item: &CaseItem) -> Vec<(Option<usize>, Breach)> {
    let plans = (0..).zip(&item.plans).map(|(at, plan)| as_plan(at, plan));
    let case = Case {
        labels: item.labels.clone(),
        plans: plans.collect(),
        ..Case::new(CaseId(0), PlayerId(0), item.day)
    };
    let place = |plan: PlanId| usize::try_from(plan.0).unwrap_or(0);
    let found = breaches(catalogue, &case).into_iter();
    found.map(|(plan, breach)| (plan.map(place), breach)).collect()
}

/// A plan as the rules read it; its id is its place.
fn as_plan(at: i64, item: &PlanItem) -> Plan {
    let ended = item.ended.as_ref().map(|end| PlanEnd {
        day: end.day,
        how: Ending::Ended,
        by: Author::Program,
        reason: None,
    });
    Plan {
        id: PlanId(at),
        case: CaseId(0),
        limiting_fault: item.limiting_fault.clone(),
        drills: item.drills.clone(),
        start: item.start,
        review_on: item.review_on,
        coach: None,
        note: None,
        ended,
    }
}
