//! A recording or serve to another player or day.

use jiff::civil::Date;
use rusqlite::{OptionalExtension, params};
use serde::Serialize;

use super::checks::invalid;
use super::{Writer, no_such};
use crate::library::stored::read_frames;
use crate::library::{
    Author, CaseId, ChangeKind, FaultLabel, FollowUpId, PlayerId, RecordingId, ServeId, StoreError,
    WriteError, keyed_print,
};

/// Where a recording or serve goes, and what the program suspects then.
#[derive(Debug, Clone, Copy)]
pub struct MoveTo<'a> {
    /// Whose it is.
    pub player: PlayerId,
    /// The day it was recorded.
    pub date: Date,
    /// The program's labels of the case it leaves, judged without it.
    pub labels_left: &'a [FaultLabel],
    /// The program's labels of the case it joins, judged with it.
    pub labels_joined: &'a [FaultLabel],
}

/// What a move did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Moved {
    /// The recording that moved; a new one where a serve left its recording.
    #[serde(serialize_with = "crate::library::spelled")]
    pub recording: RecordingId,
    /// The serves that moved.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub serves: Vec<ServeId>,
    /// The case it left.
    #[serde(serialize_with = "crate::library::spelled")]
    pub left: CaseId,
    /// What became of that case.
    pub left_case: LeftCase,
    /// The case it joined.
    #[serde(serialize_with = "crate::library::spelled")]
    pub joined: CaseId,
    /// Whether that case was there before.
    pub joined_known: bool,
    /// Follow-ups that name these serves no more: they would not show what their plan changed.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub follow_ups: Vec<FollowUpId>,
    /// Clips of which somebody had said whether they show the same serves: said of clips of one day, it
    /// counts no more.
    #[serde(serialize_with = "crate::library::spelled_all")]
    pub unsaid_of: Vec<RecordingId>,
}

/// What became of a case a recording or serve left.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LeftCase {
    /// It holds other serves.
    HoldsOthers,
    /// It was empty and nothing hung on it: it went.
    Gone,
    /// It is without serves, and stays for what the coach recorded there.
    KeptEmpty,
}

/// A stored recording as far as moving and removing go.
pub(super) struct Held {
    pub(super) player: PlayerId,
    pub(super) case: CaseId,
    pub(super) date: String,
    pub(super) hash: String,
}

impl Writer<'_> {
    /// Gives a recording to another player or day; it joins the case of that day, made if missing.
    ///
    /// # Errors
    /// [`WriteError::FromPack`] where recording or player came in a pack;
    /// [`WriteError::NoConsent`]; [`WriteError::Invalid`] if it is there already;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn move_recording(
        &mut self,
        id: RecordingId,
        to: &MoveTo<'_>,
        by: &Author,
    ) -> Result<Moved, WriteError> {
        self.keep_history(ChangeKind::Moved, Some(by))?;
        let held = self.held(id)?;
        self.check_move(&held, to)?;
        self.take_back_recording(&held)?;
        let (joined, joined_known) = self.case_of_day(to.player, to.date)?;
        let serves = self.serves_of_recording(id)?;
        let unsaid_of = self.drop_said_of(id, None)?;
        self.run("moving a recording", || {
            self.db
                .prepare_cached(
                    "UPDATE recordings SET player = ?2, case_id = ?3, date = ?4 WHERE id = ?1",
                )?
                .execute(params![id.0, to.player.0, joined.0, to.date.to_string()])?;
            self.db
                .prepare_cached("UPDATE serves SET player = ?2, case_id = ?3 WHERE recording = ?1")?
                .execute((id.0, to.player.0, joined.0))
        })?;
        let moved = self.after_move(id, serves, &held, joined, joined_known, to)?;
        Ok(Moved { unsaid_of, ..moved })
    }

    /// Gives one serve to another player or day. It becomes a recording of its own, with a copy of
    /// the joints; the only serve of a recording takes the recording along.
    ///
    /// # Errors
    /// As [`Writer::move_recording`].
    pub fn move_serve(
        &mut self,
        id: ServeId,
        to: &MoveTo<'_>,
        by: &Author,
    ) -> Result<Moved, WriteError> {
        self.keep_history(ChangeKind::Moved, Some(by))?;
        let (recording, place) = self.place_in_recording(id)?;
        if self.serves_of_recording(recording)?.len() == 1 {
            return self.move_recording(recording, to, by);
        }
        let held = self.held(recording)?;
        self.check_move(&held, to)?;
        self.take_back_recording(&held)?;
        let (joined, joined_known) = self.case_of_day(to.player, to.date)?;
        let unsaid_of = self.drop_said_of(recording, Some(id))?;
        let hash = blake3::hash(format!("{}\0serve {id} at {place}", held.hash).as_bytes());
        let part = self.run("moving a serve", || {
            self.db
                .prepare_cached(
                    "INSERT INTO recordings (player, case_id, file_name, content_hash, date,
                        capture, format, view, rate_hz, setting, serve_type)
                     SELECT ?2, ?3, file_name, ?4, ?5, capture, format, view, rate_hz, setting,
                        serve_type
                     FROM recordings WHERE id = ?1",
                )?
                .execute(params![
                    recording.0,
                    to.player.0,
                    joined.0,
                    hash.to_hex().as_str(),
                    to.date.to_string(),
                ])?;
            let part = RecordingId(self.db.last_insert_rowid());
            self.db.execute(
                "INSERT INTO recording_joints (recording, head, times, times_sum, positions,
                    positions_sum, confidence, confidence_sum)
                 SELECT ?2, head, times, times_sum, positions, positions_sum, confidence,
                    confidence_sum
                 FROM recording_joints WHERE recording = ?1",
                (recording.0, part.0),
            )?;
            self.db.execute(
                "INSERT INTO clips (recording, path, hash, kept, body, body_sum)
                 SELECT ?2, path, hash, kept, body, body_sum FROM clips WHERE recording = ?1",
                (recording.0, part.0),
            )?;
            self.db.execute(
                "UPDATE serves SET recording = ?2, place = 0, player = ?3, case_id = ?4
                 WHERE id = ?1",
                (id.0, part.0, to.player.0, joined.0),
            )?;
            Ok(part)
        })?;
        self.move_marks(id, recording, part)?;
        self.close_gap(recording, place)?;
        let moved = self.after_move(part, vec![id], &held, joined, joined_known, to)?;
        Ok(Moved { unsaid_of, ..moved })
    }

    /// Takes along the marks of a serve that leaves its recording, and what is drawn within it.
    fn move_marks(
        &self,
        serve: ServeId,
        from: RecordingId,
        to: RecordingId,
    ) -> Result<(), WriteError> {
        let details: Vec<u8> = self.run("reading a serve", || {
            self.db.query_row("SELECT details FROM serve_data WHERE serve = ?1", [serve.0], |row| {
                row.get(0)
            })
        })?;
        let (first, last) = read_frames(&details)
            .map_err(|why| StoreError::Damaged { what: serve.to_string(), why })?;
        self.run("moving marks", || {
            self.db.execute(
                "UPDATE marks SET recording = ?2 WHERE recording = ?3
                 AND (serve = ?1 OR (serve IS NULL AND frame BETWEEN ?4 AND ?5))",
                params![serve.0, to.0, from.0, first as i64, last as i64],
            )
        })?;
        Ok(())
    }

    fn check_move(&self, held: &Held, to: &MoveTo<'_>) -> Result<(), WriteError> {
        if held.player == to.player && held.date == to.date.to_string() {
            return Err(invalid("move", to.date, "another player or another day than it has now"));
        }
        let (code, keep, asked): (String, bool, Option<String>) = self
            .run("looking for a player", || {
                self.db
                    .prepare_cached(
                        "SELECT code, consent_keep, consent_date FROM players WHERE id = ?1",
                    )?
                    .query_row([to.player.0], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
                    .optional()
            })?
            .ok_or_else(|| no_such(to.player.to_string()))?;
        if let (false, Some(date)) = (keep, asked.as_deref().and_then(|day| day.parse().ok())) {
            return Err(WriteError::NoConsent { code, date });
        }
        for player in [held.player, to.player] {
            self.check_own(player)?;
        }
        Ok(())
    }

    fn after_move(
        &mut self,
        recording: RecordingId,
        serves: Vec<ServeId>,
        held: &Held,
        joined: CaseId,
        joined_known: bool,
        to: &MoveTo<'_>,
    ) -> Result<Moved, WriteError> {
        let follow_ups = self.unlink(&serves, joined, to)?;
        self.replace_labels(joined, &Author::Program, to.labels_joined)?;
        // On the same day with another player, or on another day: never the same case.
        let left_case = self.leave_case(held.case, to.labels_left)?;
        self.note_changes();
        Ok(Moved {
            recording,
            serves,
            left: held.case,
            left_case,
            joined,
            joined_known,
            follow_ups,
            unsaid_of: Vec::new(),
        })
    }

    /// Takes serves out of follow-ups that may not hold them where they are now.
    fn unlink(
        &self,
        serves: &[ServeId],
        joined: CaseId,
        to: &MoveTo<'_>,
    ) -> Result<Vec<FollowUpId>, WriteError> {
        let mut left = Vec::new();
        for serve in serves {
            let found: Vec<i64> = self.run("looking for follow-ups", || {
                self.db
                    .prepare_cached(
                        "SELECT f.id FROM follow_up_serves s JOIN follow_ups f ON f.id = s.follow_up
                         JOIN plans n ON n.id = f.plan JOIN cases c ON c.id = n.case_id
                         WHERE s.serve = ?1 AND (c.player <> ?2 OR c.id = ?3 OR ?4 < n.start)",
                    )?
                    .query_map(
                        params![serve.0, to.player.0, joined.0, to.date.to_string()],
                        |row| row.get(0),
                    )?
                    .collect()
            })?;
            for id in found {
                self.run("taking a serve out of a follow-up", || {
                    self.db.execute(
                        "DELETE FROM follow_up_serves WHERE follow_up = ?1 AND serve = ?2",
                        (id, serve.0),
                    )
                })?;
                left.push(FollowUpId(id));
            }
        }
        left.sort();
        left.dedup();
        Ok(left)
    }

    /// What happens to a case that lost a recording or serve: judged anew, kept empty, or removed.
    pub(super) fn leave_case(
        &mut self,
        case: CaseId,
        labels: &[FaultLabel],
    ) -> Result<LeftCase, WriteError> {
        let holds: bool = self.run("looking into a case", || {
            self.db
                .prepare_cached("SELECT EXISTS (SELECT 1 FROM serves WHERE case_id = ?1)")?
                .query_row([case.0], |row| row.get(0))
        })?;
        if holds {
            self.replace_labels(case, &Author::Program, labels)?;
            return Ok(LeftCase::HoldsOthers);
        }
        if self.run("looking into a case", || hangs_on(self.db, case))? {
            self.replace_labels(case, &Author::Program, &[])?;
            return Ok(LeftCase::KeptEmpty);
        }
        self.take_back_case(case)?;
        self.run("removing a case", || {
            self.db.execute("DELETE FROM cases WHERE id = ?1", [case.0])
        })?;
        self.note_changes();
        Ok(LeftCase::Gone)
    }

    pub(super) fn held(&self, id: RecordingId) -> Result<Held, WriteError> {
        self.run("looking for a recording", || {
            self.db
                .prepare_cached(
                    "SELECT player, case_id, date, content_hash FROM recordings WHERE id = ?1",
                )?
                .query_row([id.0], |row| {
                    Ok(Held {
                        player: PlayerId(row.get(0)?),
                        case: CaseId(row.get(1)?),
                        date: row.get(2)?,
                        hash: row.get(3)?,
                    })
                })
                .optional()
        })?
        .ok_or_else(|| no_such(id.to_string()))
    }

    pub(super) fn place_in_recording(&self, id: ServeId) -> Result<(RecordingId, i64), WriteError> {
        self.run("looking for a serve", || {
            self.db
                .prepare_cached("SELECT recording, place FROM serves WHERE id = ?1")?
                .query_row([id.0], |row| Ok((RecordingId(row.get(0)?), row.get(1)?)))
                .optional()
        })?
        .ok_or_else(|| no_such(id.to_string()))
    }

    pub(super) fn serves_of_recording(&self, id: RecordingId) -> Result<Vec<ServeId>, WriteError> {
        Ok(self.run("listing serves", || {
            self.db
                .prepare_cached("SELECT id FROM serves WHERE recording = ?1 ORDER BY place")?
                .query_map([id.0], |row| row.get(0).map(ServeId))?
                .collect()
        })?)
    }

    /// Counts the serves behind `place` down by one: packs name a serve by its place.
    pub(super) fn close_gap(&self, recording: RecordingId, place: i64) -> Result<(), WriteError> {
        self.run("counting serves anew", || {
            let behind: Vec<i64> = self
                .db
                .prepare_cached(
                    "SELECT id FROM serves WHERE recording = ?1 AND place > ?2 ORDER BY place",
                )?
                .query_map((recording.0, place), |row| row.get(0))?
                .collect::<Result<_, _>>()?;
            for id in behind {
                self.db.execute("UPDATE serves SET place = place - 1 WHERE id = ?1", [id])?;
            }
            Ok(())
        })?;
        Ok(())
    }

    /// What came in a pack is its sender's to put right.
    pub(super) fn check_own(&self, player: PlayerId) -> Result<(), WriteError> {
        let came: bool = self.run("reading where a player came from", || {
            self.db
                .prepare_cached("SELECT EXISTS (SELECT 1 FROM player_origins WHERE player = ?1)")?
                .query_row([player.0], |row| row.get(0))
        })?;
        if came { Err(WriteError::FromPack { what: player.to_string() }) } else { Ok(()) }
    }

    /// Lets the next packs take a recording back if its case left in an earlier one.
    pub(super) fn take_back_recording(&self, held: &Held) -> Result<(), WriteError> {
        let uid = keyed_print(self.db, "recording", held.hash.as_bytes())?.to_hex().to_string();
        self.take_back(held.player, held.case, "recording", &uid)
    }

    fn take_back_case(&self, case: CaseId) -> Result<(), WriteError> {
        let (player, date): (i64, String) = self.run("looking into a case", || {
            self.db
                .prepare_cached("SELECT player, date FROM cases WHERE id = ?1")?
                .query_row([case.0], |row| Ok((row.get(0)?, row.get(1)?)))
        })?;
        self.take_back(PlayerId(player), case, "case", &date)
    }

    fn take_back(
        &self,
        player: PlayerId,
        case: CaseId,
        kind: &'static str,
        uid: &str,
    ) -> Result<(), WriteError> {
        let left: bool = self.run("looking for packs that left", || {
            self.db
                .prepare_cached("SELECT EXISTS (SELECT 1 FROM sent_cases WHERE case_id = ?1)")?
                .query_row([case.0], |row| row.get(0))
        })?;
        if !left {
            return Ok(());
        }
        let of: String = self.run("reading an id", || {
            self.db
                .prepare_cached("SELECT uid FROM players WHERE id = ?1")?
                .query_row([player.0], |row| row.get(0))
        })?;
        let pseudonym = keyed_print(self.db, "player", of.as_bytes())?.to_hex().to_string();
        let day = jiff::ZonedDateTime::now().date().to_string();
        self.run("noting what to take back", || {
            self.db.execute(
                "INSERT OR IGNORE INTO items_to_withdraw VALUES (?1, ?2, ?3, ?4)",
                params![pseudonym, kind, uid, day],
            )
        })?;
        Ok(())
    }
}

/// Whether a coach recorded anything in a case.
pub(super) fn hangs_on(db: &rusqlite::Connection, case: CaseId) -> rusqlite::Result<bool> {
    db.prepare_cached(
        "SELECT EXISTS (SELECT 1 FROM labels WHERE case_id = ?1 AND said_by <> 'program')
            OR EXISTS (SELECT 1 FROM plans WHERE case_id = ?1)
            OR EXISTS (SELECT 1 FROM case_notes WHERE case_id = ?1)
            OR EXISTS (SELECT 1 FROM check_ins WHERE case_id = ?1)
            OR EXISTS (SELECT 1 FROM cases WHERE id = ?1 AND (grip_index IS NOT NULL
                OR grip_heel IS NOT NULL OR speed_kmh IS NOT NULL
                OR first_serve_pct IS NOT NULL OR miss_net IS NOT NULL))",
    )?
    .query_row([case.0], |row| row.get(0))
}
