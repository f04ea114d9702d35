//! Recordings and their serves.

use jiff::civil::Date;
use rusqlite::{OptionalExtension, params};

use super::checks::{check_recording, check_serve};
use super::{Writer, found, no_such};
use crate::library::stored::{RecordingBytes, ServeBytes};
use crate::library::{
    CaseId, ChangeKind, Named, PlayerId, RecordingId, ServeId, ServeType, Setting, StoreError,
    WriteError,
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

impl Writer<'_> {
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
                Err(super::checks::invalid("channels", serve.curve.channels, rule))
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
                self.db
                    .prepare_cached(
                        "INSERT INTO rereadings (serve, times) VALUES (?1, 1)
                         ON CONFLICT (serve) DO UPDATE SET times = times + 1",
                    )?
                    .execute([id.0])?;
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
}
