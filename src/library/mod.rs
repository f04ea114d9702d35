//! The case store: what is kept about players, recordings, serves, faults, plans and follow-ups.
//!
//! A [`Library`] is a folder. `library.db` (SQLite) is the truth; the curve index in `curves/`
//! and the word index in `words/` are derived from it and can be rebuilt at any time.
//! Changes go through [`Library::write`]: all or nothing, and safe once acknowledged.

mod catalogue;
mod clips;
mod curves;
mod days;
mod envelope;
mod errors;
mod filter;
mod forget;
mod lock;
mod named;
mod read;
mod received;
mod seam;
mod store;
mod stored;
mod table;
#[cfg(test)]
pub(crate) mod tests;
mod types;
mod verify;
mod words;
mod write;

pub use clips::Clip;
pub use curves::{CurveSet, NearServe};
pub use days::{check_born, check_past, check_planned};
pub use errors::{Damage, OpenError, StoreError, WriteError};
pub use filter::{AGE_BANDS, Filter, FilterError, Selection, TermCut};
pub use forget::{Forgotten, SentPack};
pub use lock::Holder;
pub use named::Named;
pub use read::{Counts, ServeHead};
pub use received::{
    Arrived, Brought, CaseItem, FollowUpItem, Item, Leaving, Origin, PackRow, PlanItem, PlayerItem,
    RecordingItem, ServeItem, is_print,
};
pub use store::Library;
pub use table::{TableAdded, TableError, table_template};
pub use types::{
    BallFlight, Case, CaseId, Consent, FaultLabel, FollowUp, FollowUpId, Grip, LabelState, Level,
    Misses, Plan, PlanId, PlannedDrill, Player, PlayerId, RecordingId, RecordingRow, ServeId,
    ServeRow, ServeType, Setting,
};
pub use verify::{Finding, Verified};
pub use words::{Ignored, WordHits};
pub use write::{Added, NewRecording, Writer};
