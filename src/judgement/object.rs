//! What is judged about a case as one JSON object, the same for every interface.

use serde::Serialize;

use super::{Judgement, Judging};
use crate::coaching::{Cautions, PlansInForce, ShownDrill};
use crate::library::{BallFlight, Case, CheckIn, FaultLabel, Grip, Note};

/// A case and its judgement as a JSON object.
#[derive(Debug, Serialize)]
pub struct CaseObject<'a> {
    case: String,
    player: &'a str,
    date: String,
    labels: &'a [FaultLabel],
    judgement: &'a Judgement,
    grip: Option<Grip>,
    ball: BallFlight,
    #[serde(skip_serializing_if = "CheckIn::is_empty")]
    check_in: &'a CheckIn,
    note: Option<String>,
    notes: &'a [Note],
    /// Plans in force, or those that begin next, and what they ask together in a week.
    #[serde(skip_serializing_if = "Option::is_none")]
    in_force: Option<&'a PlansInForce>,
    /// Drills to choose from.
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    offers: &'a [ShownDrill],
    /// What must be said about all of these drills.
    #[serde(skip_serializing_if = "Option::is_none")]
    cautions: Option<Cautions>,
}

impl Judging {
    /// The judged case as one JSON object; `player` is the code, `in_force` the case's plans,
    /// `general` the library's cautions.
    #[must_use]
    pub fn object<'a>(
        &'a self,
        case: &'a Case,
        player: &'a str,
        in_force: Option<&'a PlansInForce>,
        general: &Cautions,
    ) -> CaseObject<'a> {
        let offers = &self.offers;
        let planned = in_force.into_iter().flat_map(|all| &all.plans).flat_map(|plan| &plan.drills);
        let cautions = general.with(planned.chain(offers));
        CaseObject {
            case: case.id.to_string(),
            player,
            date: case.date.to_string(),
            labels: &case.labels,
            judgement: &self.judgement,
            grip: case.grip,
            ball: case.ball,
            check_in: &self.check_in,
            note: case.words(),
            notes: &case.notes,
            in_force,
            offers,
            cautions: Some(cautions).filter(Cautions::are_due),
        }
    }
}
