//! What stands in the library, of everybody at once: one statement each, however much there is.

use jiff::civil::Date;

use super::read::{parsed, parsed_if};
use super::{CaseId, Library, Named, PlanId, PlayerId, StoreError};
use crate::motion::Capture;

/// A case by its day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CaseDay {
    /// The case.
    pub id: CaseId,
    /// Whose.
    pub player: PlayerId,
    /// Its day.
    pub date: Date,
}

/// A plan without an end, or whose end is still to come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenPlan {
    /// Its id.
    pub id: PlanId,
    /// Its case.
    pub case: CaseId,
    /// Whose.
    pub player: PlayerId,
    /// Catalogue id of the fault it is for.
    pub limiting_fault: String,
    /// First day.
    pub start: Date,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// Day of its last follow-up.
    pub followed_up: Option<Date>,
}

impl Library {
    /// Day of the last recording that holds a serve.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub(crate) fn last_recorded(&self) -> Result<Option<Date>, StoreError> {
        let found = self.list(
            "looking for the last recording",
            "SELECT date FROM recordings r WHERE EXISTS
                (SELECT 1 FROM serves s WHERE s.recording = r.id) ORDER BY date DESC LIMIT 1",
            [],
            |row| parsed(row, 0),
        )?;
        Ok(found.into_iter().next())
    }

    /// Cases with several recordings of which one camera took one at least, by id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn cases_of_several_clips(&self) -> Result<Vec<CaseId>, StoreError> {
        self.list(
            "listing cases",
            "SELECT case_id FROM recordings GROUP BY case_id
             HAVING count(*) > 1 AND sum(capture IN (?1, ?2)) > 0 ORDER BY case_id",
            [Capture::OneCameraLifted, Capture::OneCameraFlat].map(Named::name),
            |row| row.get(0).map(CaseId),
        )
    }

    /// The days of all cases, by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn case_days(&self) -> Result<Vec<CaseDay>, StoreError> {
        self.list(
            "listing cases",
            "SELECT id, player, date FROM cases ORDER BY date, id",
            [],
            |row| {
                Ok(CaseDay {
                    id: CaseId(row.get(0)?),
                    player: PlayerId(row.get(1)?),
                    date: parsed(row, 2)?,
                })
            },
        )
    }

    /// The plans that have not ended by a day, those that begin later included, by start and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn open_plans(&self, on: Date) -> Result<Vec<OpenPlan>, StoreError> {
        self.list(
            "listing plans",
            "SELECT n.id, n.case_id, c.player, n.limiting_fault, n.start, n.review_on,
                (SELECT max(f.date) FROM follow_ups f WHERE f.plan = n.id)
             FROM plans n JOIN cases c ON c.id = n.case_id LEFT JOIN plan_ends e ON e.plan = n.id
             WHERE e.day IS NULL OR e.day > ?1 ORDER BY n.start, n.id",
            [on.to_string()],
            |row| {
                Ok(OpenPlan {
                    id: PlanId(row.get(0)?),
                    case: CaseId(row.get(1)?),
                    player: PlayerId(row.get(2)?),
                    limiting_fault: row.get(3)?,
                    start: parsed(row, 4)?,
                    review_on: parsed_if(row, 5)?,
                    followed_up: parsed_if(row, 6)?,
                })
            },
        )
    }
}
