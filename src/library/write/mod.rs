//! Every change to the store. All of it runs inside one transaction of [`Library::write`].

use std::cell::{Cell, RefCell};

use jiff::civil::Date;
use rusqlite::{Connection, OptionalExtension, params};

mod amend;
mod case;
pub(crate) mod checks;
mod moving;
mod plans;
mod practice;
mod remove;

pub use amend::RecordingFacts;
pub use moving::{LeftCase, MoveTo, Moved};
pub use remove::{Dependants, Removal};

use checks::{check_player, check_recording, check_serve};

use super::history::Keeping;
use super::stored::{RecordingBytes, ServeBytes};
use super::{
    CaseId, ChangeKind, FaultLabel, FollowUp, FollowUpId, Library, Named, Plan, PlanId, Player,
    PlayerId, RecordingId, ServeId, ServeType, Setting, StoreError, WriteError,
};
use crate::motion::Recording;
use crate::serve::Serve;

/// A recording on its way into the library.
#[derive(Debug, Clone, Copy)]
pub struct NewRecording<'a> {
    /// Whose it is.
    pub player: PlayerId,
    /// File name as it came, without folders.
    pub file_name: &'a str,
    /// blake3 of the file's bytes and of the options that change what is read, hex.
    pub content_hash: &'a str,
    /// Day it was recorded.
    pub date: Date,
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// The recording as read; capture, format, view and rate are taken from it.
    pub recording: &'a Recording,
    /// The serves found in it, at least one.
    pub serves: &'a [Serve],
}

/// What [`Writer::add_recording`] did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Added {
    /// The recording.
    pub recording: RecordingId,
    /// The case of that player and day.
    pub case: CaseId,
    /// Its serves, in order of time.
    pub serves: Vec<ServeId>,
    /// Whether anything was stored; `false` if the same file was in the library already.
    pub new: bool,
    /// Whether the case was there before.
    pub joined_case: bool,
    /// Whether the player's consent to keeping recordings is still to be recorded.
    pub consent_open: bool,
}

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

    /// Stores a new player and returns the id; the id in `player` is ignored.
    ///
    /// # Errors
    /// [`WriteError::CodeTaken`]; [`WriteError::Invalid`] for an empty, long or spaced code, a
    /// stature outside 0.5 to 2.6 m.
    pub fn add_player(&mut self, player: &Player) -> Result<PlayerId, WriteError> {
        check_player(player)?;
        self.check_code_free(player, None)?;
        self.keep_history(ChangeKind::Added, None)?;
        let id = self.run("storing a player", || {
            self.db
                .prepare_cached(
                    "INSERT INTO players (uid, code, name, hand, level, born, stature_m, coach,
                        consent_keep, consent_share, consent_date)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
                )?
                .execute(params![
                    new_uid(),
                    player.code,
                    player.name,
                    player.hand.map(Named::name),
                    player.level.map(Named::name),
                    player.born.map(|date| date.to_string()),
                    player.stature_m,
                    player.coach,
                    player.consent.keep,
                    player.consent.share,
                    player.consent.date.map(|date| date.to_string()),
                ])?;
            let id = PlayerId(self.db.last_insert_rowid());
            self.store_squads(id, &player.squads)?;
            Ok(id)
        })?;
        Ok(id)
    }

    /// Replaces everything known about the player with this id, consent included.
    ///
    /// # Errors
    /// As [`Writer::add_player`]; [`StoreError::NoSuch`].
    pub fn update_player(&mut self, player: &Player) -> Result<(), WriteError> {
        check_player(player)?;
        self.check_code_free(player, Some(player.id))?;
        self.keep_history(ChangeKind::Amended, None)?;
        let changed = self.run("storing a player", || {
            let changed = self
                .db
                .prepare_cached(
                    "UPDATE players SET code = ?2, name = ?3, hand = ?4, level = ?5, born = ?6,
                        stature_m = ?7, coach = ?8, consent_keep = ?9, consent_share = ?10,
                        consent_date = ?11
                     WHERE id = ?1",
                )?
                .execute(params![
                    player.id.0,
                    player.code,
                    player.name,
                    player.hand.map(Named::name),
                    player.level.map(Named::name),
                    player.born.map(|date| date.to_string()),
                    player.stature_m,
                    player.coach,
                    player.consent.keep,
                    player.consent.share,
                    player.consent.date.map(|date| date.to_string()),
                ])?;
            self.store_squads(player.id, &player.squads)?;
            // The code is among the searchable words of each case.
            self.db
                .prepare_cached("UPDATE cases SET word_change = ?2 WHERE player = ?1")?
                .execute((player.id.0, self.word_change))?;
            Ok(changed)
        })?;
        self.words_changed.set(true);
        found(changed, || player.id.to_string())
    }

    fn store_squads(&self, player: PlayerId, squads: &[String]) -> rusqlite::Result<()> {
        self.db
            .prepare_cached("DELETE FROM player_squads WHERE player = ?1")?
            .execute([player.0])?;
        let mut insert = self.db.prepare_cached(
            "INSERT OR IGNORE INTO player_squads (player, place, squad) VALUES (?1, ?2, ?3)",
        )?;
        for (place, squad) in squads.iter().enumerate() {
            insert.execute((player.0, place as i64, squad))?;
        }
        Ok(())
    }

    pub(crate) fn check_code_free(
        &self,
        player: &Player,
        own: Option<PlayerId>,
    ) -> Result<(), WriteError> {
        let holder: Option<i64> = self.run("looking for a player", || {
            self.db
                .prepare_cached("SELECT id FROM players WHERE code = ?1")?
                .query_row([&player.code], |row| row.get(0))
                .optional()
        })?;
        match holder {
            Some(id) if own != Some(PlayerId(id)) => {
                Err(WriteError::CodeTaken { code: player.code.clone() })
            }
            _ => Ok(()),
        }
    }

    /// Stores a recording with its serves, in the case of that player and day (made if missing).
    ///
    /// The same file again, known by its content hash, is reported and not stored twice.
    ///
    /// # Errors
    /// [`WriteError::OtherPlayer`] if the same file is stored for another player;
    /// [`WriteError::NoConsent`] if the player refused; [`WriteError::Invalid`] for a recording
    /// without serves or a curve of the wrong size or with a value that is not finite.
    pub fn add_recording(&mut self, new: &NewRecording<'_>) -> Result<Added, WriteError> {
        let (code, keep, consent_date) = self
            .run("looking for a player", || {
                self.db
                    .prepare_cached(
                        "SELECT code, consent_keep, consent_date FROM players WHERE id = ?1",
                    )?
                    .query_row([new.player.0], |row| {
                        Ok((
                            row.get::<_, String>(0)?,
                            row.get::<_, bool>(1)?,
                            row.get::<_, Option<String>>(2)?,
                        ))
                    })
                    .optional()
            })?
            .ok_or_else(|| no_such(new.player.to_string()))?;
        if let Some(there) = self.find_same_file(new, &code)? {
            return Ok(there);
        }
        if let (false, Some(date)) = (keep, consent_date.as_deref().and_then(|d| d.parse().ok())) {
            return Err(WriteError::NoConsent { code, date });
        }
        check_recording(new)?;
        self.keep_history(ChangeKind::Added, None)?;
        let bytes = RecordingBytes::of(new.recording)
            .map_err(|why| StoreError::Damaged { what: new.file_name.to_owned(), why })?;
        let (case, joined_case) = self.case_of_day(new.player, new.date)?;
        let recording = self.run("storing a recording", || {
            self.db
                .prepare_cached(
                    "INSERT INTO recordings (player, case_id, file_name, content_hash, date,
                        capture, format, view, rate_hz, setting, serve_type)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
                )?
                .execute(params![
                    new.player.0,
                    case.0,
                    new.file_name,
                    new.content_hash,
                    new.date.to_string(),
                    new.recording.capture.name(),
                    new.recording.format,
                    new.recording.view.map(Named::name),
                    new.recording.rate_hz,
                    new.setting.map(Named::name),
                    new.serve_type.map(Named::name),
                ])?;
            let recording = RecordingId(self.db.last_insert_rowid());
            self.db
                .prepare_cached(
                    "INSERT INTO recording_joints (recording, head, times, times_sum, positions,
                        positions_sum, confidence, confidence_sum)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                )?
                .execute(params![
                    recording.0,
                    bytes.head,
                    bytes.times,
                    bytes.times_sum,
                    bytes.positions,
                    bytes.positions_sum,
                    bytes.confidence,
                    bytes.confidence_sum,
                ])?;
            Ok(recording)
        })?;
        let mut serves = Vec::with_capacity(new.serves.len());
        for (place, serve) in new.serves.iter().enumerate() {
            serves.push(self.insert_serve(recording, case, new.player, place, serve)?);
        }
        self.serves_changed.set(true);
        Ok(Added { recording, case, serves, new: true, joined_case, consent_open: !keep })
    }

    fn find_same_file(
        &self,
        new: &NewRecording<'_>,
        given: &str,
    ) -> Result<Option<Added>, WriteError> {
        let there = self.run("looking for the same file", || {
            self.db
                .prepare_cached(
                    "SELECT r.id, r.case_id, p.id, p.code, p.consent_keep
                     FROM recordings r JOIN players p ON p.id = r.player
                     WHERE r.content_hash = ?1",
                )?
                .query_row([new.content_hash], |row| {
                    Ok((
                        RecordingId(row.get(0)?),
                        CaseId(row.get(1)?),
                        PlayerId(row.get(2)?),
                        row.get::<_, String>(3)?,
                        row.get::<_, bool>(4)?,
                    ))
                })
                .optional()
        })?;
        let Some((recording, case, player, holder, keep)) = there else { return Ok(None) };
        if player != new.player {
            return Err(WriteError::OtherPlayer {
                file_name: new.file_name.to_owned(),
                recording,
                holder,
                given: given.to_owned(),
            });
        }
        let serves = self.run("listing serves", || {
            self.db
                .prepare_cached("SELECT id FROM serves WHERE recording = ?1 ORDER BY place")?
                .query_map([recording.0], |row| row.get(0).map(ServeId))?
                .collect()
        })?;
        Ok(Some(Added {
            recording,
            case,
            serves,
            new: false,
            joined_case: true,
            consent_open: !keep,
        }))
    }

    pub(crate) fn insert_serve(
        &self,
        recording: RecordingId,
        case: CaseId,
        player: PlayerId,
        place: usize,
        serve: &Serve,
    ) -> Result<ServeId, WriteError> {
        self.check_channels(serve)?;
        let bytes = ServeBytes::of(serve)
            .map_err(|why| StoreError::Damaged { what: format!("serve {place}"), why })?;
        Ok(self.run("storing a serve", || {
            self.db
                .prepare_cached(
                    "INSERT INTO serves (recording, case_id, player, place, hand, channel_set,
                        channels, serve_change)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                )?
                .execute(params![
                    recording.0,
                    case.0,
                    player.0,
                    place as i64,
                    serve.hand.name(),
                    serve.curve.channel_set,
                    serve.curve.channels as i64,
                    self.serve_change,
                ])?;
            let id = ServeId(self.db.last_insert_rowid());
            self.store_serve_data(id, &bytes)?;
            Ok(id)
        })?)
    }

    /// One channel set, one number of channels.
    fn check_channels(&self, serve: &Serve) -> Result<(), WriteError> {
        let known: Option<i64> = self.run("looking for a channel set", || {
            self.db
                .prepare_cached("SELECT channels FROM serves WHERE channel_set = ?1 LIMIT 1")?
                .query_row([&serve.curve.channel_set], |row| row.get(0))
                .optional()
        })?;
        match known {
            Some(known) if known != serve.curve.channels as i64 => {
                let rule = format!("{} has {known} channels here", serve.curve.channel_set);
                Err(checks::invalid("channels", serve.curve.channels, rule))
            }
            _ => Ok(()),
        }
    }

    fn store_serve_data(&self, id: ServeId, bytes: &ServeBytes) -> rusqlite::Result<()> {
        self.db
            .prepare_cached(
                "INSERT OR REPLACE INTO serve_data (serve, curve, curve_sum, figures, figures_sum,
                    details)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                id.0,
                bytes.curve,
                bytes.curve_sum,
                bytes.figures,
                bytes.figures_sum,
                bytes.details,
            ])?;
        Ok(())
    }

    /// Replaces what is stored of a serve, keeping its id, case and recording: for serves read
    /// anew from the stored recording when channels or measures got a new definition.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`WriteError::Invalid`] as in [`Writer::add_recording`].
    pub fn update_serve(&mut self, id: ServeId, serve: &Serve) -> Result<(), WriteError> {
        check_serve(serve)?;
        self.check_channels(serve)?;
        self.keep_history(ChangeKind::Amended, None)?;
        let bytes = ServeBytes::of(serve)
            .map_err(|why| StoreError::Damaged { what: id.to_string(), why })?;
        let changed = self.run("storing a serve", || {
            let changed = self
                .db
                .prepare_cached(
                    "UPDATE serves SET hand = ?2, channel_set = ?3, channels = ?4,
                        serve_change = ?5
                     WHERE id = ?1",
                )?
                .execute(params![
                    id.0,
                    serve.hand.name(),
                    serve.curve.channel_set,
                    serve.curve.channels as i64,
                    self.serve_change,
                ])?;
            if changed == 1 {
                self.store_serve_data(id, &bytes)?;
            }
            Ok(changed)
        })?;
        self.serves_changed.set(true);
        found(changed, || id.to_string())
    }

    /// Removes a recording with its serves; the case stays.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn remove_recording(&mut self, id: RecordingId) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Removed, None)?;
        let changed = self.run("removing a recording", || {
            self.db.execute("DELETE FROM recordings WHERE id = ?1", [id.0])
        })?;
        self.serves_changed.set(true);
        found(changed, || id.to_string())
    }

    /// Removes a player and everything that belongs to the player, all earlier states included. The
    /// bytes in the file are overwritten; derived indexes follow when next used.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn remove_player(&mut self, id: PlayerId) -> Result<(), WriteError> {
        self.keep_no_history();
        self.erase_history(id, &[])?;
        let changed = self.run("removing a player", || {
            self.db.execute("DELETE FROM players WHERE id = ?1", [id.0])
        })?;
        self.serves_changed.set(true);
        self.words_changed.set(true);
        found(changed, || id.to_string())
    }

    /// Removes a player of whom nothing is stored; whether that was so.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn remove_idle_player(&mut self, id: PlayerId) -> Result<bool, WriteError> {
        let removed = self.run("removing a player", || {
            self.db.execute(
                "DELETE FROM players WHERE id = ?1
                     AND NOT EXISTS (SELECT 1 FROM cases WHERE player = ?1)
                     AND NOT EXISTS (SELECT 1 FROM recordings WHERE player = ?1)",
                [id.0],
            )
        })?;
        Ok(removed > 0)
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
