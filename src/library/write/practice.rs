//! Practice done under plans.

use rusqlite::{OptionalExtension, params};

use super::checks::{check_author, check_note, invalid};
use super::{Writer, no_such};
use crate::library::{ChangeKind, Named, Practice, PracticeId, WriteError};

impl Writer<'_> {
    /// Stores practice done under `practice.plan` and returns its id; the id in `practice` is
    /// ignored.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for an effort or pain above 10, a place where nothing hurts, a day
    /// before the plan's start; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn add_practice(&mut self, practice: &Practice) -> Result<PracticeId, WriteError> {
        check_note(practice.note.as_deref())?;
        if let Some(by) = &practice.by {
            check_author(by)?;
        }
        if let Some(effort) = practice.effort.filter(|effort| *effort > 10) {
            return Err(invalid("effort", effort, "0 to 10"));
        }
        if let Some(pain) = practice.pain {
            if pain.level > 10 {
                return Err(invalid("pain", pain.level, "0 to 10"));
            }
            if let Some(place) = pain.place.filter(|_| pain.level == 0) {
                return Err(invalid("place", place.name(), "none where nothing hurts"));
            }
        }
        let start: Option<String> = self.run("looking for a plan", || {
            self.db
                .prepare_cached("SELECT start FROM plans WHERE id = ?1")?
                .query_row([practice.plan.0], |row| row.get(0))
                .optional()
        })?;
        let start = start.ok_or_else(|| no_such(practice.plan.to_string()))?;
        // ISO dates sort as text.
        if practice.day.to_string() < start {
            let rule = format!("not before the plan's start, {start}");
            return Err(invalid("day", practice.day, rule));
        }
        self.keep_history(ChangeKind::Practised, practice.by.as_ref())?;
        Ok(self.run("storing practice", || {
            self.db
                .prepare_cached(
                    "INSERT INTO practice (plan, day, sessions, repetitions, effort, pain,
                        pain_place, note, said_by, at)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
                )?
                .execute(params![
                    practice.plan.0,
                    practice.day.to_string(),
                    practice.sessions,
                    practice.repetitions,
                    practice.effort,
                    practice.pain.map(|pain| pain.level),
                    practice.pain.and_then(|pain| pain.place).map(Named::name),
                    practice.note,
                    practice.by.as_ref().map(|by| by.as_str()),
                    jiff::Timestamp::now().to_string(),
                ])?;
            Ok(PracticeId(self.db.last_insert_rowid()))
        })?)
    }
}
