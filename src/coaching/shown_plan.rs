use jiff::civil::Date;
use serde::ser::{Serialize, SerializeStruct, Serializer};

use super::cautions::ShownDrill;
use super::load::{Load, practiser};
use crate::catalogue::Catalogue;
use crate::library::{Case, Library, PlanId, PlannedDrill, Player, StoreError};

/// A plan as it may be shown.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownPlan {
    /// Its id.
    pub plan: PlanId,
    /// Catalogue id of the fault it is for.
    pub fault: String,
    /// Name of that fault.
    pub name: String,
    /// First day.
    pub start: Date,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// Its drills, whose names only [`Cautions`](super::Cautions) gives out.
    pub drills: Vec<ShownDrill>,
}

/// As JSON: `plan`, `fault`, `name`, `start`, `review_on` and `drills`, each with its cautions.
impl Serialize for ShownPlan {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut object = to.serialize_struct("ShownPlan", 6)?;
        object.serialize_field("plan", &self.plan.to_string())?;
        object.serialize_field("fault", &self.fault)?;
        object.serialize_field("name", &self.name)?;
        object.serialize_field("start", &self.start)?;
        object.serialize_field("review_on", &self.review_on)?;
        object.serialize_field("drills", &self.drills)?;
        object.end()
    }
}

/// A case's plans in force and what they ask together in a week.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PlansInForce {
    /// The plans, by start; at most two.
    pub plans: Vec<ShownPlan>,
    /// What they ask together.
    pub load: Load,
}

impl PlansInForce {
    /// The plans of a case in force on a day, or those that begin next; `None` without any.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn of(
        library: &Library,
        catalogue: &Catalogue,
        case: &Case,
        player: &Player,
        on: Date,
    ) -> Result<Option<Self>, StoreError> {
        let plans = case.plans_in_force(on);
        let Some(first) = plans.first() else { return Ok(None) };
        let drills: Vec<&[PlannedDrill]> =
            plans.iter().map(|plan| plan.drills.as_slice()).collect();
        let practiser = practiser(library, player, on.max(first.start))?;
        let load = Load::of(catalogue, &drills, &practiser);
        let shown = plans.iter().map(|plan| ShownPlan {
            plan: plan.id,
            fault: plan.limiting_fault.clone(),
            name: catalogue.fault_name(&plan.limiting_fault),
            start: plan.start,
            review_on: plan.review_on,
            drills: ShownDrill::of_plan(catalogue, plan),
        });
        Ok(Some(Self { plans: shown.collect(), load }))
    }
}
