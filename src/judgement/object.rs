//! What is judged about a case as one JSON object, the same for every face.

use serde::Serialize;

use super::{Judgement, Judging};
use crate::coaching::{Cautions, ShownDrill};
use crate::library::{BallFlight, Case, FaultLabel, Grip, Note};

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
    note: Option<String>,
    notes: &'a [Note],
    /// Drills to choose from, and what must be said about them.
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    offers: &'a [ShownDrill],
    #[serde(skip_serializing_if = "Option::is_none")]
    cautions: Option<Cautions>,
}

impl Judging {
    /// The judged case as one JSON object; `player` is the code, `general` the library's cautions.
    #[must_use]
    pub fn object<'a>(
        &'a self,
        case: &'a Case,
        player: &'a str,
        general: &Cautions,
    ) -> CaseObject<'a> {
        let offers = &self.offers;
        CaseObject {
            case: case.id.to_string(),
            player,
            date: case.date.to_string(),
            labels: &case.labels,
            judgement: &self.judgement,
            grip: case.grip,
            ball: case.ball,
            note: case.words(),
            notes: &case.notes,
            offers,
            cautions: (!offers.is_empty()).then(|| general.with(offers)),
        }
    }
}
