use thiserror::Error;

use super::{FollowUpRefusal, LabelRefusal, PlanRefusal, PlayerRefusal, PracticeRefusal};
use crate::library::WriteError;

/// A rule that was broken by one of several things recorded at once.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Refusal {
    /// A label's.
    #[error(transparent)]
    Label(#[from] LabelRefusal),
    /// A plan's.
    #[error(transparent)]
    Plan(#[from] PlanRefusal),
    /// A follow-up's.
    #[error(transparent)]
    FollowUp(#[from] FollowUpRefusal),
    /// Practice's.
    #[error(transparent)]
    Practice(#[from] PracticeRefusal),
    /// A player's.
    #[error(transparent)]
    Player(#[from] PlayerRefusal),
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}
