//! Practice that was done under plans, day by day. It says how much it hurt, so none of it leaves
//! the library.

use jiff::civil::Date;
use rusqlite::Row;
use serde::Serialize;

use super::read::{named_if, parsed};
use super::{Author, Library, PlanId, PlayerId, PracticeId, StoreError};
use crate::catalogue::BodyPart;

/// How much it hurt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Pain {
    /// 0 (none) to 10 (the worst).
    pub level: u8,
    /// Where; `None` where nobody could say, or nothing hurt.
    pub place: Option<BodyPart>,
}

/// Practice done under a plan on one day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Practice {
    /// Id.
    pub id: PracticeId,
    /// The plan.
    pub plan: PlanId,
    /// Day.
    pub day: Date,
    /// Sessions.
    pub sessions: u32,
    /// Repetitions, all drills together, if they were counted.
    pub repetitions: Option<u32>,
    /// How hard it was, 0 (rest) to 10 (all the player has).
    pub effort: Option<u8>,
    /// How much it hurt, if that was asked.
    pub pain: Option<Pain>,
    /// Free words.
    pub note: Option<String>,
    /// Who says so, if that is known.
    pub by: Option<Author>,
}

const PRACTICE: &str = "SELECT d.id, d.plan, d.day, d.sessions, d.repetitions, d.effort, d.pain,
        d.pain_place, d.note, d.said_by
    FROM practice d";

impl Library {
    /// The practice logged for a plan, by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn practice_of(&self, plan: PlanId) -> Result<Vec<Practice>, StoreError> {
        self.list(
            "reading a practice log",
            &format!("{PRACTICE} WHERE d.plan = ?1 ORDER BY d.day, d.id"),
            [plan.0],
            practice_row,
        )
    }

    /// The practice logged for all plans of a player, by day and id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn practice_of_player(&self, player: PlayerId) -> Result<Vec<Practice>, StoreError> {
        self.list(
            "reading a practice log",
            &format!(
                "{PRACTICE} JOIN plans n ON n.id = d.plan JOIN cases c ON c.id = n.case_id
                 WHERE c.player = ?1 ORDER BY d.day, d.id"
            ),
            [player.0],
            practice_row,
        )
    }
}

impl Library {
    /// What is printed on a plan's practice card, so that the text that comes back is known to belong
    /// to this plan of this library: eight hex digits that say nothing of the player.
    ///
    /// # Errors
    /// [`StoreError::Sql`]; there has to be such a plan.
    pub fn card_mark(&self, plan: PlanId) -> Result<String, StoreError> {
        let mut mark = self.pseudonymise("practice card", &self.uid_of("plans", plan.0)?)?;
        mark.truncate(8);
        Ok(mark)
    }
}

fn practice_row(row: &Row<'_>) -> rusqlite::Result<Practice> {
    let level: Option<u8> = row.get(6)?;
    let place = named_if(row, 7)?;
    let by: Option<String> = row.get(9)?;
    Ok(Practice {
        id: PracticeId(row.get(0)?),
        plan: PlanId(row.get(1)?),
        day: parsed(row, 2)?,
        sessions: row.get(3)?,
        repetitions: row.get(4)?,
        effort: row.get(5)?,
        pain: level.map(|level| Pain { level, place }),
        note: row.get(8)?,
        by: by.as_deref().map(Author::from_text),
    })
}
