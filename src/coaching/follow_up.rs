use jiff::civil::Date;
use thiserror::Error;

use super::report::BallReport;
use crate::library::{
    BallFlight, FollowUp, FollowUpId, Library, PlanId, ServeId, StoreError, WriteError, check_past,
};

/// What came of a plan.
#[derive(Debug, Clone, PartialEq)]
pub struct FollowUpRequest {
    /// The plan it answers.
    pub plan: PlanId,
    /// Day.
    pub date: Date,
    /// Serves recorded then.
    pub serves: Vec<ServeId>,
    /// What the ball did.
    pub ball: BallReport,
    /// Coach's rating, -2 (worse) to 2 (gone).
    pub rating: Option<i8>,
    /// Sessions done since the plan.
    pub sessions_done: Option<u32>,
    /// Free words.
    pub note: Option<String>,
}

/// A follow-up as recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FollowUpRecorded {
    /// Its id.
    pub follow_up: FollowUpId,
}

/// As JSON: `follow_up`, as people type it.
impl serde::Serialize for FollowUpRecorded {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct;
        let mut object = to.serialize_struct("FollowUpRecorded", 1)?;
        object.serialize_field("follow_up", &self.follow_up.to_string())?;
        object.end()
    }
}

/// Why a follow-up was refused; nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FollowUpRefusal {
    /// A day and nothing else.
    #[error(
        "follow-up of {plan}: only a date, so nothing shows what changed; give a serve from that \
         day, \
         a speed, first serves in, misses, a rating, sessions or a note"
    )]
    NothingSaid {
        /// The plan.
        plan: PlanId,
    },
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for FollowUpRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}

impl FollowUpRequest {
    /// A follow-up of one day that says nothing yet.
    #[must_use]
    pub fn new(plan: PlanId, date: Date) -> Self {
        Self {
            plan,
            date,
            serves: Vec::new(),
            ball: BallReport::default(),
            rating: None,
            sessions_done: None,
            note: None,
        }
    }

    /// The follow-up this means; its own id is none yet. What only the store can know (the plan's
    /// start, whose the serves are) is held against the rules when it is stored.
    ///
    /// # Errors
    /// [`FollowUpRefusal::NothingSaid`]; [`FollowUpRefusal::Write`] for a day that cannot be.
    pub fn check(&self) -> Result<FollowUp, FollowUpRefusal> {
        check_past("date", self.date)?;
        let follow_up = FollowUp {
            id: FollowUpId(0),
            plan: self.plan,
            date: self.date,
            serves: self.serves.clone(),
            ball: self.ball.over(BallFlight::default()),
            rating: self.rating,
            sessions_done: self.sessions_done,
            note: self.note.clone(),
        };
        if follow_up.says_something() {
            Ok(follow_up)
        } else {
            Err(FollowUpRefusal::NothingSaid { plan: self.plan })
        }
    }

    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`FollowUpRefusal`]; nothing is stored then.
    pub fn record(&self, library: &mut Library) -> Result<FollowUpRecorded, FollowUpRefusal> {
        let follow_up = self.check()?;
        let follow_up = library.write(|writer| writer.add_follow_up(&follow_up))?;
        Ok(FollowUpRecorded { follow_up })
    }
}
