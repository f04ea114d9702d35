//! What a coach may record, and what must stand beside it.
//!
//! Every way in passes here: commands, tables of past records, pages. A request ([`LabelRequest`],
//! [`PlanRequest`], [`FollowUpRequest`], [`PlayerRequest`]) is plain data. `check` holds it against
//! the rules without touching a store; `record` checks and stores it as one change. A refusal is
//! typed and says the rule, the place, what was found and the next step, in words that no face owns;
//! a face adds how the step is typed or clicked there. What a coach may well want although it is
//! unusual is no refusal but a [`Question`], put to the coach and answered in the request.
//!
//! A drill leaves the catalogue for a reader only as a [`ShownDrill`], which gives its name and
//! steps out together with what must be said about them ([`Cautions`]).

mod cautions;
mod dose;
mod fault;
mod follow_up;
mod label;
mod plan;
mod player;
mod report;
#[cfg(test)]
mod tests;

pub(crate) use cautions::names;
pub use cautions::{Age, Cautions, DrillText, ShownDrill, ShownTogether};
pub use dose::{DoseProblem, MOST_DOSE_CHARACTERS, MOST_REPETITIONS};
pub use fault::{Harm, HarmShown, UnknownFault, harms, standing};
pub use follow_up::{FollowUpRecorded, FollowUpRefusal, FollowUpRequest};
pub use label::{Graded, LabelRefusal, LabelRequest, Notice};
pub use plan::{DrillRequest, PlanRecorded, PlanRefusal, PlanRequest, Question};
pub use player::{ConsentGiven, PlayerRecorded, PlayerRefusal, PlayerRequest};
pub use report::BallReport;
