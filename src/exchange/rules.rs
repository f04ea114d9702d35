//! What comes in a pack, held against the rules of coaching. Nothing is refused for them: it is told,
//! and a plan that breaks one is kept and counts as ended from its first day.

use jiff::civil::Date;

use super::items::{Arrived, CaseItem, Item, PlanItem};
use crate::catalogue::Catalogue;
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

impl Arrived {
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
