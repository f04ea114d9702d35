use jiff::civil::Date;
use serde::ser::{Serialize, SerializeStruct, Serializer};
use thiserror::Error;

use crate::library::{
    Author, CaseId, Ending, Library, Plan, PlanEnd, PlanId, StoreError, WriteError, check_planned,
};

/// How a coach ends a plan without another in its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EndOfPlan {
    /// It was done.
    Done,
    /// It is not to be done, or no further.
    Withdrawn,
}

/// The end of a plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanEndRequest {
    /// The plan.
    pub plan: PlanId,
    /// The case it is said to belong to.
    pub case: Option<CaseId>,
    /// How.
    pub how: EndOfPlan,
    /// First day on which it is in force no longer.
    pub day: Date,
    /// The coach's code.
    pub by: String,
    /// Why, in free words; a plan that is withdrawn needs it.
    pub reason: Option<String>,
}

/// Why a plan was not ended; nothing is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PlanEndRefusal {
    /// It is another case's plan.
    #[error("{plan}: a plan of {of}, not of {case}; leave the case out, or name a plan of it")]
    OtherCase {
        /// The plan.
        plan: PlanId,
        /// Its case.
        of: CaseId,
        /// The case as said.
        case: CaseId,
    },
    /// Withdrawn without a word.
    #[error("{plan}: withdrawn, and nothing says why; whoever reads it later needs the reason")]
    NoReason {
        /// The plan.
        plan: PlanId,
    },
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for PlanEndRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

/// A plan as ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlanEnded {
    /// The plan.
    pub plan: PlanId,
    /// Its end.
    pub ended: PlanEnd,
}

/// As JSON: `plan` and `ended`.
impl Serialize for PlanEnded {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut object = to.serialize_struct("PlanEnded", 2)?;
        object.serialize_field("plan", &self.plan.to_string())?;
        object.serialize_field("ended", &self.ended)?;
        object.end()
    }
}

impl PlanEndRequest {
    /// The end this means for the plan as it stands.
    ///
    /// # Errors
    /// [`PlanEndRefusal`].
    pub fn check(&self, plan: &Plan) -> Result<PlanEnd, PlanEndRefusal> {
        check_planned("ended", self.day)?;
        if let Some(case) = self.case.filter(|case| *case != plan.case) {
            return Err(PlanEndRefusal::OtherCase { plan: plan.id, of: plan.case, case });
        }
        let said = self.reason.as_ref().is_some_and(|reason| !reason.trim().is_empty());
        let how = match self.how {
            EndOfPlan::Done => Ending::Ended,
            EndOfPlan::Withdrawn if said => Ending::Withdrawn,
            EndOfPlan::Withdrawn => return Err(PlanEndRefusal::NoReason { plan: plan.id }),
        };
        let by = Author::coach(&self.by)?;
        Ok(PlanEnd { day: self.day, how, by, reason: self.reason.clone() })
    }

    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`PlanEndRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<PlanEnded, PlanEndRefusal> {
        let turn = library.take_turn()?;
        let ended = self.check(&library.plan(self.plan)?)?;
        library.write_in(&turn, |writer| writer.end_plan(self.plan, &ended))?;
        Ok(PlanEnded { plan: self.plan, ended })
    }
}
