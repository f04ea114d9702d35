//! What a player tells on the day of a case.

use rusqlite::params;

use super::Writer;
use super::checks::{check_author, check_note, check_range, invalid};
use crate::library::{CaseId, ChangeKind, CheckIn, Named, WriteError};

/// Hours in a week.
const WEEK_HOURS: f64 = 168.0;

impl Writer<'_> {
    /// Stores what the player told on the day of a case, in place of what was known.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a pain outside 1 to 10, a place named twice or hours a week does
    /// not have; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_check_in(&mut self, case: CaseId, told: &CheckIn) -> Result<(), WriteError> {
        check_note(told.injuries.as_deref())?;
        check_range("tennis_hours", told.tennis_hours, 0.0, WEEK_HOURS)?;
        check_range("sport_hours", told.sport_hours, 0.0, WEEK_HOURS)?;
        if let Some(by) = &told.by {
            check_author(by)?;
        }
        let pain = told.pain.as_deref().unwrap_or_default();
        for (at, ache) in pain.iter().enumerate() {
            if !(1..=10).contains(&ache.level) {
                return Err(invalid("pain", ache.level, "1 to 10"));
            }
            if pain[..at].iter().any(|other| other.place == ache.place) {
                return Err(invalid("pain", ache.place.name(), "each place once"));
            }
        }
        self.keep_history(ChangeKind::Judged, told.by.as_ref())?;
        self.touch(case)?;
        self.run("storing a check-in", || {
            self.db
                .prepare_cached("DELETE FROM check_in_pains WHERE case_id = ?1")?
                .execute([case.0])?;
            if told.is_empty() {
                return self
                    .db
                    .prepare_cached("DELETE FROM check_ins WHERE case_id = ?1")?
                    .execute([case.0]);
            }
            self.db
                .prepare_cached(
                    "INSERT OR REPLACE INTO check_ins (case_id, pain_asked, injuries,
                        serves_a_week, tennis_hours, sport_hours, attempt, court, target,
                        wide_left, wide_right, double_faults, said_by)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
                )?
                .execute(params![
                    case.0,
                    told.pain.is_some(),
                    told.injuries,
                    told.serves_a_week,
                    told.tennis_hours,
                    told.sport_hours,
                    told.attempt.map(Named::name),
                    told.court.map(Named::name),
                    told.target.map(Named::name),
                    told.wide_left,
                    told.wide_right,
                    told.double_faults,
                    told.by.as_ref().map(|by| by.as_str()),
                ])?;
            let mut insert =
                self.db.prepare_cached("INSERT INTO check_in_pains VALUES (?1, ?2, ?3, ?4)")?;
            for ache in pain {
                insert.execute(params![
                    case.0,
                    ache.place.name(),
                    ache.level,
                    ache.when.map(Named::name)
                ])?;
            }
            Ok(1)
        })?;
        Ok(())
    }
}
