//! The case store: what is kept about players, recordings, serves, faults, plans and follow-ups.
//!
//! A [`Library`] is a folder. `library.db` (SQLite) is the truth; what lies in `curves/`, `heads/`,
//! `outcomes/` and `words/` is derived from it by the rooms that search and count, and can be rebuilt at
//! any time.
//! Changes go through [`Library::write`]: all or nothing, and safe once acknowledged.

mod catalogue;
mod changes;
mod check_in;
mod clips;
mod condition;
mod days;
mod derived;
pub(crate) mod envelope;
mod errors;
mod films;
mod forget;
mod history;
mod interrupt;
mod lock;
mod marks;
mod named;
mod network;
mod overview;
pub(crate) mod parts;
mod person;
mod practice;
mod prints;
pub(crate) mod read;
mod retention;
mod seam;
mod stills;
pub(crate) mod store;
pub(crate) mod stored;
#[cfg(test)]
pub(crate) mod tests;
mod types;
mod verify;
mod views;
mod waiting;
pub(crate) mod write;

pub use crate::catalogue::ServeType;
pub use catalogue::CatalogueVersion;
pub use check_in::{Ache, CheckIn, Court, HurtsWhen, Target};
pub(crate) use clips::COMING;
pub use clips::Clip;
pub use condition::Condition;
pub use days::{check_born, check_past, check_planned};
pub use errors::{Damage, OpenError, StoreError, WriteError};
pub use films::{FILMS_BUDGET_BYTES, FilmOf};
pub use forget::{Forgotten, SentPack};
pub use history::{Change, ChangeKind, FieldChange, ItemId, PastRow};
pub use lock::{Holder, Locked};
pub use marks::{Mark, Marked, Point, SeenMoment, ServeMoment, Witness};
pub use named::Named;
pub use overview::{CaseDay, OpenPlan};
pub use person::{Cell, StoredRow};
pub use practice::{Pain, Practice};
pub use prints::is_print;
pub(crate) use prints::keyed_print;
pub use read::{Counts, ServeHead};
pub use retention::Retention;
pub use stills::STILLS_BUDGET_BYTES;
pub use store::Library;
pub use types::{
    Author, BallFlight, Case, CaseId, ChangeId, Consent, ConsentBy, Ending, FaultLabel, FollowUp,
    FollowUpId, Grip, LabelState, Level, MarkId, Misses, Note, Plan, PlanEnd, PlanId, PlannedDrill,
    Player, PlayerId, PracticeId, RecordingId, RecordingRow, ServeId, ServeRow, Setting,
};
pub(crate) use types::{spelled, spelled_all, spelled_if};
pub use verify::Finding;
pub use views::{ClipPair, DayViews, SaidClips, SameServes, SeenServe, same_serves};
pub use waiting::{Asked, Waiting};
pub use write::{
    Added, Dependants, LeftCase, MoveTo, Moved, NewMark, NewRecording, RecordingFacts, Removal,
    Writer,
};
