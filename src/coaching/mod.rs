//! What a coach may record, and what must stand beside it.
//!
//! Every way in passes here: commands, tables of past records, pages. A request ([`LabelRequest`],
//! [`PlanRequest`], [`PlanEndRequest`], [`FollowUpRequest`], [`PracticeRequest`],
//! [`PlayerRequest`], [`MomentsRequest`], [`DrawingRequest`]) is plain data.
//! `check` holds it against the rules without touching a store; `record` takes the turn, reads what
//! the rules need, checks and stores it as one change. A refusal is
//! typed and says the rule, the place, what was found and the next step, in words that no interface owns;
//! an interface adds how the step is typed or clicked there. What a coach may well want although it is
//! unusual is no refusal but a [`Question`], put to the coach and answered in the request.
//!
//! A drill leaves the catalogue for a reader only as a [`ShownDrill`], which gives its name and
//! steps out together with what must be said about them ([`Cautions`]).

mod amend;
mod breach;
mod card;
mod cautions;
mod check_in;
mod consent;
mod fault;
mod follow_up;
mod label;
mod load;
mod mark;
mod plan;
mod plan_end;
mod player;
mod practice;
mod practised;
mod refusal;
mod report;
mod shown_plan;
mod sore;
#[cfg(test)]
mod tests;
mod today;

pub use amend::{
    AmendRefusal, Amended, FollowUpAmendment, PlanAmendment, PlayerAmendment, add_words,
};
pub use breach::{Breach, breaches};
pub use card::{CARD_END, CARD_HEAD, CardLogged, CardRefusal, CardText};
pub(crate) use cautions::names;
pub use cautions::{Age, Cautions, DrillText, ShownDrill, ShownTogether};
pub use check_in::{CheckInRefusal, MuchSport, aches_from_typed, check_in_over, told_answers};
pub use consent::{
    KeptLong, describe_consent, describe_retention, guardians_to_ask, kept_too_long, may_share,
    set_retention, who_consents,
};
pub use fault::{Harm, HarmShown, UnknownFault, harms, standing};
pub use follow_up::{FollowUpRecorded, FollowUpRefusal, FollowUpRequest};
pub use label::{Graded, LabelRefusal, LabelRequest, Notice};
pub use load::{Load, practiser, practiser_of};
pub use mark::{ClipTime, DrawingRequest, MarkRefusal, MomentsRequest, remove_drawing};
pub use plan::{DrillRequest, PlanRecorded, PlanRefusal, PlanRequest, Question};
pub use plan_end::{EndOfPlan, PlanEndRefusal, PlanEndRequest, PlanEnded};
pub use player::{
    ConsentGiven, ConsentRequest, PlayerRecorded, PlayerRefusal, PlayerRequest, SquadsRequest,
};
pub use practice::{
    MUCH_PAIN, PracticeNotice, PracticeQuestion, PracticeRecorded, PracticeRefusal,
    PracticeRequest, PractisedFor,
};
pub use practised::{Practised, practised, sessions_done};
pub use refusal::Refusal;
pub use report::BallReport;
pub use shown_plan::{PlansInForce, ShownPlan};
pub use sore::{Sore, loads_sore, sore_on};
pub use today::{PlayerToday, Today};
