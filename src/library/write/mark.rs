//! Marks on recordings, and what the program saw of moments.

use rusqlite::params;

use super::checks::{check_author, check_note, invalid};
use super::{Writer, found, no_such};
use crate::library::{
    Author, ChangeKind, Mark, MarkId, Marked, Named, RecordingId, SeenMoment, ServeId, WriteError,
};
use crate::serve::EventKind;

/// A mark on its way into the library.
#[derive(Debug, Clone, PartialEq)]
pub struct NewMark {
    /// The recording it is set on.
    pub recording: RecordingId,
    /// The serve, of a moment and of nothing else.
    pub serve: Option<ServeId>,
    /// What is set.
    pub what: Marked,
    /// Time in the recording, seconds.
    pub time_s: f64,
    /// Nearest frame of the recording, from 0.
    pub frame: usize,
}

/// No picture is larger, across or down.
const PICTURE_LIMIT_PX: f64 = 32_768.0;

impl Writer<'_> {
    /// Sets a mark. A moment takes the place of one that was set before for the same serve; the
    /// serve itself is read again by the caller within the same change.
    ///
    /// # Errors
    /// [`WriteError::FromPack`] for a recording that came in a pack; [`WriteError::Invalid`] for
    /// the program as author, a time or point that is no number, empty words, a moment without its
    /// serve or of a serve of another recording; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn set_mark(&mut self, mark: &NewMark, by: &Author) -> Result<MarkId, WriteError> {
        self.keep_history(ChangeKind::Marked, Some(by))?;
        if !by.is_coach() {
            return Err(invalid("by", by, "a person; the program's moments are its own"));
        }
        check_author(by)?;
        self.check_own(self.held(mark.recording)?.player)?;
        check_mark(mark)?;
        if let Some(serve) = mark.serve
            && self.place_in_recording(serve)?.0 != mark.recording
        {
            return Err(invalid("serve", serve, format!("one of {}", mark.recording)));
        }
        let id = self.insert_mark(mark, by, Some(jiff::Timestamp::now().to_string()))?;
        if mark.what.text().is_some() {
            self.touch_words_of(mark.recording)?;
        }
        Ok(id)
    }

    /// Stores a mark, in place of one for the same moment.
    pub(crate) fn insert_mark(
        &self,
        mark: &NewMark,
        by: &Author,
        at: Option<String>,
    ) -> Result<MarkId, WriteError> {
        let points = mark.what.points();
        let points = (!points.is_empty()).then(|| {
            let shown: Vec<String> = points.iter().map(|[x, y]| format!("[{x},{y}]")).collect();
            format!("[{}]", shown.join(","))
        });
        Ok(self.run("storing a mark", || {
            self.db
                .prepare_cached(
                    "INSERT INTO marks (recording, serve, kind, event, time_s, frame, points, text,
                        said_by, at)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
                     ON CONFLICT (serve, event) DO UPDATE SET time_s = excluded.time_s,
                        frame = excluded.frame, said_by = excluded.said_by, at = excluded.at
                     RETURNING id",
                )?
                .query_row(
                    params![
                        mark.recording.0,
                        mark.serve.map(|serve| serve.0),
                        mark.what.kind(),
                        mark.what.event().map(Named::name),
                        mark.time_s,
                        mark.frame as i64,
                        points,
                        mark.what.text(),
                        by.as_str(),
                        at,
                    ],
                    |row| row.get(0).map(MarkId),
                )
        })?)
    }

    /// Takes a mark away.
    ///
    /// # Errors
    /// [`WriteError::FromPack`]; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn remove_mark(&mut self, mark: &Mark, by: &Author) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Marked, Some(by))?;
        check_author(by)?;
        self.check_own(self.held(mark.recording)?.player)?;
        let removed = self.run("removing a mark", || {
            self.db.prepare_cached("DELETE FROM marks WHERE id = ?1")?.execute([mark.id.0])
        })?;
        if mark.what.text().is_some() {
            self.touch_words_of(mark.recording)?;
        }
        found(removed, || mark.id.to_string())
    }

    /// Takes back a moment that was set of a serve.
    ///
    /// # Errors
    /// [`NoSuch`](crate::library::StoreError::NoSuch) if it was not set.
    pub fn clear_moment(
        &mut self,
        serve: ServeId,
        event: EventKind,
        by: &Author,
    ) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Marked, Some(by))?;
        check_author(by)?;
        let recording = self.place_in_recording(serve)?.0;
        self.check_own(self.held(recording)?.player)?;
        let removed = self.run("removing a mark", || {
            self.db
                .prepare_cached("DELETE FROM marks WHERE serve = ?1 AND event = ?2")?
                .execute((serve.0, event.name()))
        })?;
        if removed == 0 {
            return Err(no_such(format!("a {} set of {serve}", event.label())));
        }
        Ok(())
    }

    /// Stores what the program saw of a serve's moments, in place of what was stored; nothing where
    /// the serve's own events say it.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a person as witness or a value that is no number.
    pub fn set_moments_seen(
        &mut self,
        serve: ServeId,
        seen: &[SeenMoment],
    ) -> Result<(), WriteError> {
        for one in seen {
            if one.witness.name().is_none() {
                return Err(invalid("witness", one.witness.describe(), "the program's own"));
            }
            if ![one.time_s, one.error_s, one.trust].iter().all(|value| value.is_finite()) {
                return Err(invalid("moment", one.time_s, "a time with its error and trust"));
            }
        }
        Ok(self.run("storing moments", || {
            self.db
                .prepare_cached("DELETE FROM moments_seen WHERE serve = ?1")?
                .execute([serve.0])?;
            let mut insert = self.db.prepare_cached(
                "INSERT INTO moments_seen (serve, event, witness, time_s, frame, error_s, trust)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            )?;
            for one in seen {
                insert.execute(params![
                    serve.0,
                    one.event.name(),
                    one.witness.name(),
                    one.time_s,
                    one.frame as i64,
                    one.error_s,
                    one.trust,
                ])?;
            }
            Ok(())
        })?)
    }

    /// Marks the words of a recording's case as changed: what is written on a picture is found too.
    fn touch_words_of(&mut self, recording: RecordingId) -> Result<(), WriteError> {
        let case = self.held(recording)?.case;
        self.retouch("id", case.0)?;
        self.words_changed.set(true);
        Ok(())
    }
}

fn check_mark(mark: &NewMark) -> Result<(), WriteError> {
    if !mark.time_s.is_finite() {
        return Err(invalid("time", mark.time_s, "a time in seconds"));
    }
    if mark.what.event().is_some() != mark.serve.is_some() {
        return Err(invalid("serve", mark.what.kind(), "a moment is one of a serve, nothing else"));
    }
    for point in mark.what.points().iter().flatten() {
        if !(0.0..=PICTURE_LIMIT_PX).contains(point) {
            return Err(invalid("point", point, format!("0 to {PICTURE_LIMIT_PX} pixels")));
        }
    }
    if let Some(text) = mark.what.text() {
        if text.trim().is_empty() {
            return Err(invalid("words", text, "some words"));
        }
        check_note(Some(text))?;
    }
    Ok(())
}
