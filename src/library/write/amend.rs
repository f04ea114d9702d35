//! What is known about a stored recording, put right.

use rusqlite::params;

use super::{Writer, found};
use crate::library::stored::RecordingBytes;
use crate::library::{
    Author, ChangeKind, Named, RecordingId, ServeType, Setting, StoreError, WriteError,
};
use crate::motion::Recording;
use crate::serve::Serve;

/// What may be said about a recording after it was stored.
#[derive(Debug, Clone, Copy)]
pub struct RecordingFacts<'a> {
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// The recording and its serves as they are read with another view or hand: as many serves as
    /// are stored, in order of time; `None` where neither changes.
    pub read_again: Option<(&'a Recording, &'a [Serve])>,
}

impl Writer<'_> {
    /// Replaces what is known about a recording. Its day and its player are changed by moving it.
    ///
    /// # Errors
    /// [`WriteError::FromPack`]; [`WriteError::Invalid`] for another number of serves than are
    /// stored; [`NoSuch`](StoreError::NoSuch).
    pub fn amend_recording(
        &mut self,
        id: RecordingId,
        facts: &RecordingFacts<'_>,
        by: &Author,
    ) -> Result<(), WriteError> {
        self.keep_history(ChangeKind::Amended, Some(by))?;
        self.check_own(self.held(id)?.player)?;
        let changed = self.run("storing a recording", || {
            self.db
                .prepare_cached(
                    "UPDATE recordings SET setting = ?2, serve_type = ?3 WHERE id = ?1",
                )?
                .execute(params![
                    id.0,
                    facts.setting.map(Named::name),
                    facts.serve_type.map(Named::name),
                ])
        })?;
        found(changed, || id.to_string())?;
        let Some((recording, serves)) = facts.read_again else { return Ok(()) };
        let ids = self.serves_of_recording(id)?;
        if ids.len() != serves.len() {
            return Err(WriteError::Invalid {
                field: "serves",
                found: format!("{} in the recording as it is read now", serves.len()),
                rule: format!(
                    "as many as are stored, {}; remove {id} and add its file again",
                    ids.len()
                ),
            });
        }
        let bytes = RecordingBytes::of(recording)
            .map_err(|why| StoreError::Damaged { what: id.to_string(), why })?;
        self.run("storing a recording", || {
            self.db.execute(
                "UPDATE recordings SET view = ?2 WHERE id = ?1",
                params![id.0, recording.view.map(Named::name)],
            )?;
            self.db.execute(
                "UPDATE recording_joints SET head = ?2 WHERE recording = ?1",
                params![id.0, bytes.head],
            )
        })?;
        for (serve, read) in ids.iter().zip(serves) {
            self.update_serve(*serve, read)?;
        }
        Ok(())
    }
}
