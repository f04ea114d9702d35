//! The case store: what is kept about players, recordings, serves, faults, plans and follow-ups.

mod types;

pub use types::{
    BallFlight, Case, CaseId, Consent, FaultLabel, FollowUp, FollowUpId, Grip, LabelState, Level,
    Misses, Plan, PlanId, PlannedDrill, Player, PlayerId, RecordingId, RecordingRow, ServeId,
    ServeRow, ServeType, Setting,
};
