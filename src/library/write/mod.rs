//! Every change to the store. All of it runs inside one transaction of [`Library::write`].

use std::cell::{Cell, RefCell};

use jiff::civil::Date;
use rusqlite::{Connection, OptionalExtension, params};

mod amend;
mod case;
mod check_in;
pub(crate) mod checks;
mod mark;
mod moving;
mod plans;
mod player;
mod practice;
mod recording;
mod remove;
mod views;

pub use amend::RecordingFacts;
pub use mark::NewMark;
pub use moving::{LeftCase, MoveTo, Moved};
pub use recording::{Added, NewRecording};
pub use remove::{Dependants, Removal};

use super::history::Keeping;
use super::{
    CaseId, FaultLabel, FollowUp, FollowUpId, Library, Plan, PlanId, Player, PlayerId, StoreError,
    WriteError,
};

/// The changes of one transaction; see [`Library::write`].
#[derive(Debug)]
pub struct Writer<'t> {
    pub(crate) db: &'t Connection,
    /// Number this transaction's changes of curves carry.
    pub(crate) serve_change: i64,
    /// Number this transaction's changes of words carry.
    pub(crate) word_change: i64,
    pub(crate) serves_changed: Cell<bool>,
    pub(crate) words_changed: Cell<bool>,
    /// Whether what was is kept at all: not of what packs bring, which have their own memory.
    keeps: Cell<bool>,
    keeping: RefCell<Option<Keeping>>,
}

impl<'t> Writer<'t> {
    pub(crate) fn begin(db: &'t Connection) -> Result<Self, StoreError> {
        let (serves, words): (i64, i64) = db
            .query_row("SELECT serve_changes, word_changes FROM library", [], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .map_err(StoreError::sql("reading the change counters"))?;
        Ok(Self {
            db,
            serve_change: serves + 1,
            word_change: words + 1,
            serves_changed: Cell::new(false),
            words_changed: Cell::new(false),
            keeps: Cell::new(true),
            keeping: RefCell::new(None),
        })
    }

    /// Keeps nothing of what this transaction changes.
    pub(crate) fn keep_no_history(&self) {
        self.keeps.set(false);
    }

    /// Whether keeping begins with this call.
    pub(super) fn begin_keeping(&self, keeping: Keeping) -> bool {
        let mut held = self.keeping.borrow_mut();
        if !self.keeps.get() || held.is_some() {
            return false;
        }
        *held = Some(keeping);
        true
    }

    /// Marks curves and words as changed.
    pub(super) fn note_changes(&self) {
        self.serves_changed.set(true);
        self.words_changed.set(true);
    }

    /// What a changed row of a table with this counter carries.
    pub(super) fn change_number(&self, counter: &str) -> i64 {
        if counter == "serve_change" { self.serve_change } else { self.word_change }
    }

    /// Marks the curve of a serve as changed.
    pub(super) fn retouch_serve(&self, id: i64) -> Result<(), WriteError> {
        self.run("marking a serve", || {
            self.db
                .prepare_cached("UPDATE serves SET serve_change = ?2 WHERE id = ?1")?
                .execute((id, self.serve_change))
        })?;
        Ok(())
    }

    /// Marks the words of cases as changed: those whose `column` (id, player) is `id`.
    pub(super) fn retouch(&self, column: &'static str, id: i64) -> Result<(), WriteError> {
        self.run("marking cases", || {
            self.db
                .prepare_cached(&format!("UPDATE cases SET word_change = ?2 WHERE {column} = ?1"))?
                .execute((id, self.word_change))
        })?;
        Ok(())
    }

    pub(crate) fn finish(self) -> Result<(), WriteError> {
        if let Some(keeping) = self.keeping.take() {
            self.store_history(&keeping)?;
        }
        let sql = StoreError::sql("counting changes");
        let run = || {
            if self.serves_changed.get() {
                self.db.execute("UPDATE library SET serve_changes = ?1", [self.serve_change])?;
            }
            if self.words_changed.get() {
                self.db.execute("UPDATE library SET word_changes = ?1", [self.word_change])?;
            }
            Ok(())
        };
        Ok(run().map_err(sql)?)
    }

    /// The case of a player and day, made if missing; and whether it was there before.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`] for an unknown player.
    pub fn case_of_day(
        &mut self,
        player: PlayerId,
        date: Date,
    ) -> Result<(CaseId, bool), WriteError> {
        let there: Option<i64> = self.run("looking for a case", || {
            self.db
                .prepare_cached("SELECT id FROM cases WHERE player = ?1 AND date = ?2")?
                .query_row((player.0, date.to_string()), |row| row.get(0))
                .optional()
        })?;
        if let Some(id) = there {
            return Ok((CaseId(id), true));
        }
        let known: bool = self.run("looking for a player", || {
            self.db
                .prepare_cached("SELECT EXISTS (SELECT 1 FROM players WHERE id = ?1)")?
                .query_row([player.0], |row| row.get(0))
        })?;
        if !known {
            return Err(no_such(player.to_string()));
        }
        let id = self.run("storing a case", || {
            self.db
                .prepare_cached(
                    "INSERT INTO cases (uid, player, date, word_change) VALUES (?1, ?2, ?3, ?4)",
                )?
                .execute(params![new_uid(), player.0, date.to_string(), self.word_change])?;
            Ok(CaseId(self.db.last_insert_rowid()))
        })?;
        self.words_changed.set(true);
        Ok((id, false))
    }

    pub(crate) fn run<T>(
        &self,
        doing: &'static str,
        statements: impl FnOnce() -> rusqlite::Result<T>,
    ) -> Result<T, StoreError> {
        statements().map_err(StoreError::sql(doing))
    }
}

/// One-change shorthands of [`Library::write`].
impl Library {
    /// [`Writer::add_player`] as a change of its own.
    ///
    /// # Errors
    /// As there.
    pub fn add_player(&mut self, player: &Player) -> Result<PlayerId, WriteError> {
        self.write(|w| w.add_player(player))
    }

    /// [`Writer::update_player`] as a change of its own.
    ///
    /// # Errors
    /// As there.
    pub fn update_player(&mut self, player: &Player) -> Result<(), WriteError> {
        self.write(|w| w.update_player(player))
    }

    /// [`Writer::add_recording`] as a change of its own.
    ///
    /// # Errors
    /// As there.
    pub fn add_recording(&mut self, new: &NewRecording<'_>) -> Result<Added, WriteError> {
        self.write(|w| w.add_recording(new))
    }

    /// [`Writer::set_label`] as a change of its own.
    ///
    /// # Errors
    /// As there.
    pub fn set_label(&mut self, case: CaseId, label: &FaultLabel) -> Result<(), WriteError> {
        self.write(|w| w.set_label(case, label))
    }

    /// [`Writer::add_plan`] as a change of its own.
    ///
    /// # Errors
    /// As there.
    pub fn add_plan(&mut self, plan: &Plan) -> Result<PlanId, WriteError> {
        self.write(|w| w.add_plan(plan))
    }

    /// [`Writer::add_follow_up`] as a change of its own.
    ///
    /// # Errors
    /// As there.
    pub fn add_follow_up(&mut self, follow_up: &FollowUp) -> Result<FollowUpId, WriteError> {
        self.write(|w| w.add_follow_up(follow_up))
    }
}

fn new_uid() -> String {
    uuid::Uuid::now_v7().to_string()
}

pub(crate) fn no_such(what: String) -> WriteError {
    StoreError::NoSuch { what }.into()
}

pub(crate) fn found(changed: usize, what: impl FnOnce() -> String) -> Result<(), WriteError> {
    if changed == 0 { Err(no_such(what())) } else { Ok(()) }
}
