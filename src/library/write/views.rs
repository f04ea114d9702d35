//! What people say of two clips of one day.

use rusqlite::params;

use super::checks::{check_author, invalid};
use super::{Writer, no_such};
use crate::library::{Author, ChangeKind, RecordingId, SaidClips, ServeId, StoreError, WriteError};

impl Writer<'_> {
    /// Stores what somebody says of two clips, in place of what was said before. The case is judged anew
    /// by the caller within the same change.
    ///
    /// # Errors
    /// [`WriteError::FromPack`] for clips that came in a pack; [`WriteError::Invalid`] for the program as
    /// author, clips of two days or players, one clip twice, or a serve of another clip;
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn say_of_clips(&mut self, said: &SaidClips) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Amended, Some(&said.by))?;
        if !said.by.is_coach() {
            return Err(invalid("by", &said.by, "a person; what the program finds is not stored"));
        }
        check_author(&said.by)?;
        let (one, other) = (self.held(said.one)?, self.held(said.other)?);
        self.check_own(one.player)?;
        if said.one == said.other {
            return Err(invalid("clip", said.other, "another than the first"));
        }
        if one.case != other.case {
            let rule = format!("a clip of the same player and day as {}", said.one);
            return Err(invalid("clip", said.other, rule));
        }
        let of = |serve: ServeId, clip: RecordingId| match self.place_in_recording(serve)?.0 {
            found if found == clip => Ok(serve.0),
            _ => Err(invalid("serve", serve, format!("one of {clip}"))),
        };
        let same =
            said.same.map(|(a, b)| Ok::<_, WriteError>((of(a, said.one)?, of(b, said.other)?)));
        let same = same.transpose()?;
        let turned = said.one > said.other;
        let (one, other) = (said.one.min(said.other), said.one.max(said.other));
        let same = same.map(|(a, b)| if turned { (b, a) } else { (a, b) });
        self.run("storing what is said of clips", || {
            self.db
                .prepare_cached(
                    "INSERT INTO clip_pairs (one, other, one_serve, other_serve, said_by, at)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6)
                     ON CONFLICT (one, other) DO UPDATE SET one_serve = excluded.one_serve,
                        other_serve = excluded.other_serve, said_by = excluded.said_by,
                        at = excluded.at",
                )?
                .execute(params![
                    one.0,
                    other.0,
                    same.map(|pair| pair.0),
                    same.map(|pair| pair.1),
                    said.by.as_str(),
                    jiff::Timestamp::now().to_string(),
                ])
        })?;
        Ok(())
    }

    /// Takes back what was said of two clips, also where one of them is gone: what their times say counts
    /// again. Stored twice, the one in this order goes.
    ///
    /// # Errors
    /// [`WriteError::FromPack`]; [`NoSuch`](crate::library::StoreError::NoSuch) if nothing was said.
    pub fn unsay_of_clips(
        &mut self,
        one: RecordingId,
        other: RecordingId,
        by: &Author,
    ) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Amended, Some(by))?;
        check_author(by)?;
        for clip in [one, other] {
            match self.held(clip) {
                Ok(held) => self.check_own(held.player)?,
                Err(WriteError::Store(StoreError::NoSuch { .. })) => {}
                Err(error) => return Err(error),
            }
        }
        for (one, other) in [(one, other), (other, one)] {
            let gone = self.run("removing what is said of clips", || {
                self.db
                    .prepare_cached("DELETE FROM clip_pairs WHERE one = ?1 AND other = ?2")?
                    .execute((one.0, other.0))
            })?;
            if gone > 0 {
                return Ok(());
            }
        }
        Err(no_such(format!("anything said of {one} and {other}")))
    }

    /// Drops what was said of a clip that goes elsewhere, or by a serve that does: said of clips of one day,
    /// it says nothing of two. Returns the clips it was said of beside `clip`.
    pub(super) fn drop_said_of(
        &self,
        clip: RecordingId,
        serve: Option<ServeId>,
    ) -> Result<Vec<RecordingId>, WriteError> {
        let others = self.run("dropping what is said of clips", || {
            self.db
                .prepare_cached(
                    "DELETE FROM clip_pairs WHERE (one = ?1 OR other = ?1)
                        AND (?2 IS NULL OR one_serve = ?2 OR other_serve = ?2)
                     RETURNING iif(one = ?1, other, one)",
                )?
                .query_map(params![clip.0, serve.map(|serve| serve.0)], |row| {
                    row.get(0).map(RecordingId)
                })?
                .collect()
        })?;
        Ok(others)
    }
}
