//! Whole documents: a serve's review, a player's progress, a squad's report.
//!
//! `gather` and `course` read the library and fill plain structs; `review`,
//! `progress_page` and `squad_page` turn those into one HTML file each and read
//! nothing. `print` has a browser put such a file on paper.

mod card;
mod course;
mod data;
mod gather;
mod person;
mod print;
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

pub use crate::words::Interface;
pub use card::practice_card;
pub use course::{
    ChannelMoved, CourseStep, CurvesMoved, LookFacts, PlayerCourse, ReportedResult, StepDrawing,
    StepPlan,
};
pub use data::{
    Asked, Audience, ChangeFacts, Comparison, DrawnFacts, EvidenceRow, MeasureRow, OtherViewFacts,
    OutcomeFacts, PlanFacts, PlayerFacts, Precedents, Progress, ReviewData, ReviewFault,
    ServeFacts, ShownPrecedent, ViewOf,
};
pub use gather::{
    FilmError, Footage, Reviewed, Wanted, channel_of_fault, clip_pictures, course,
    describe_changes, describe_curves, describe_result, footage, gather, make_film,
};
pub(crate) use gather::{MissingClip, body_area, clip_file};
pub use person::{PersonError, PersonWritten, export_person, handing_over};
pub use print::{BROWSER_VARIABLE, Browser, PrintError};
pub use progress_page::progress_page;
pub(crate) use review::closest_label;
pub use review::review;
pub use squad_page::squad_page;
pub use step_object::{
    ChannelObject, CurvesObject, LookObject, MovedObject, ResultObject, StepObject,
};
