//! Whole documents: a serve's review, a player's progress, a squad's report.
//!
//! [`mod@gather`] and [`mod@course`] read the library and fill plain structs; [`mod@review`],
//! [`mod@progress_page`] and [`mod@squad_page`] turn those into one HTML file each and read
//! nothing.

mod course;
mod data;
mod gather;
mod progress_page;
mod redact;
mod review;
#[cfg(test)]
pub(crate) mod sample;
mod squad_page;
#[cfg(test)]
mod squad_tests;
mod step_object;
#[cfg(test)]
mod stop_tests;
#[cfg(test)]
mod tests;

pub use course::{
    ChannelMoved, Course, CurvesMoved, LookFacts, ReportedResult, Step, StepDrawing, StepPlan,
};
pub use data::{
    Asked, Audience, ChangeFacts, Comparison, EvidenceRow, FaultFacts, MeasureRow, OutcomeFacts,
    PlanFacts, PlayerFacts, Precedent, Precedents, Progress, ReviewData, ServeFacts,
};
pub use gather::{
    Reviewed, Wanted, clip_pictures, course, gather, told_changes, told_curves, told_result,
};
pub use progress_page::progress_page;
pub use review::review;
pub use squad_page::squad_page;
pub use step_object::{
    ChannelObject, CurvesObject, LookObject, MovedObject, ResultObject, StepObject,
};
