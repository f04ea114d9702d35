//! The clip a recording was read from: where it lay, what it was, and what its reader keeps of it.
//!
//! A clip stays where it is unless a copy is asked for. Copies lie in `clips/` in the library's
//! folder, each under the blake3 of its bytes; a copy no recording names is removed when a
//! player is forgotten and by `verify`. No pack carries a clip or anything of this table.

use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{OptionalExtension, params};

use super::envelope::checksum;
use super::write::{Writer, found};
use super::{Damage, Library, RecordingId, StoreError, WriteError, is_print};

const FOLDER: &str = "clips";
/// Begins the name of a copy that is being made.
pub(crate) const COMING: &str = ".coming-";
/// A copy that takes longer than this was given up by a process that is gone (our estimate).
const LEFT_OVER: Duration = Duration::from_secs(60 * 60);
/// Longest body: an hour of joints in the picture.
const BODY_LIMIT: usize = 256 << 20;

/// What is kept about the clip behind a recording.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clip {
    /// Path as given when the clip was read; it may have moved since.
    pub path: String,
    /// blake3 of the clip's bytes, hex; tells whether a file found later is the same.
    pub hash: String,
    /// Whether a copy lies at [`Library::clip_copy`].
    pub kept: bool,
    /// What the reader of clips keeps: joints in the picture per frame and facts of the video, in
    /// a form that carries its own format number. The store adds a checksum and looks no further.
    pub body: Vec<u8>,
}

impl Library {
    /// The clip behind a recording; `None` if it was not read from one.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] if the body is not what was stored; [`StoreError::Sql`].
    pub fn clip(&self, recording: RecordingId) -> Result<Option<Clip>, StoreError> {
        let there = self
            .connection
            .prepare_cached(
                "SELECT path, hash, kept, body, body_sum FROM clips WHERE recording = ?1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row([recording.0], |row| {
                        let clip = Clip {
                            path: row.get(0)?,
                            hash: row.get(1)?,
                            kept: row.get(2)?,
                            body: row.get(3)?,
                        };
                        Ok((clip, row.get::<_, i64>(4)?))
                    })
                    .optional()
            })
            .map_err(StoreError::sql("reading a clip"))?;
        let Some((clip, sum)) = there else { return Ok(None) };
        let (found, expected) = (checksum(&clip.body), sum.cast_unsigned());
        if found != expected {
            let why = Damage::Checksum { found, expected };
            return Err(StoreError::Damaged { what: format!("clip of {recording}"), why });
        }
        Ok(Some(clip))
    }

    /// Where the copy of a clip with these bytes lies, if one is kept: `clips/<hash>`.
    #[must_use]
    pub fn clip_copy(&self, hash: &str) -> PathBuf {
        self.folder().join(FOLDER).join(hash)
    }

    /// Removes copies of clips no recording names any more, for whoever has the turn to change the
    /// library; returns how many there were. With `coming` those go as well that are being made.
    /// Pictures and films cut from clips go with them.
    pub(super) fn sweep_clips(&self, coming: bool) -> Result<usize, StoreError> {
        self.sweep_stills()?;
        self.sweep_films(coming)?;
        let folder = self.folder().join(FOLDER);
        if !folder.is_dir() {
            return Ok(0);
        }
        let named = "SELECT hash FROM clips WHERE kept UNION SELECT hash FROM history_clips";
        let named: HashSet<String> =
            self.list("listing clips", named, [], |row| row.get(0))?.into_iter().collect();
        let entries: Vec<PathBuf> = fs::read_dir(&folder)
            .and_then(|entries| entries.map(|entry| entry.map(|e| e.path())).collect())
            .map_err(StoreError::io(&folder, "listing"))?;
        let mut removed = 0;
        for path in entries {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if !named.contains(name.as_ref()) && (coming || !is_coming(&path)) {
                self.seam.before_write("removing a clip");
                fs::remove_file(&path).map_err(StoreError::io(&path, "removing a clip"))?;
                removed += 1;
            }
        }
        Ok(removed)
    }
}

/// Whether a copy is just being made; one that was begun long ago is left over.
pub(super) fn is_coming(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let age =
        fs::metadata(path).and_then(|meta| meta.modified()).ok().map(|then| then.elapsed().ok());
    name.starts_with(COMING) && age.is_some_and(|age| age.is_none_or(|age| age < LEFT_OVER))
}

impl Writer<'_> {
    /// Stores what is kept about the clip behind a recording, in place of what was.
    ///
    /// With [`Clip::kept`] the copy must lie at [`Library::clip_copy`] when the change is made.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`] for an unknown recording; [`WriteError::Invalid`] for a hash that is
    /// none or a body beyond 256 MiB.
    pub fn set_clip(&mut self, recording: RecordingId, clip: &Clip) -> Result<(), WriteError> {
        if !is_print(&clip.hash) {
            return Err(WriteError::Invalid {
                field: "clip hash",
                found: format!("'{}'", clip.hash),
                rule: "a blake3 in 64 small hex digits".to_owned(),
            });
        }
        if clip.body.len() > BODY_LIMIT {
            return Err(WriteError::Invalid {
                field: "clip body",
                found: format!("{} bytes", clip.body.len()),
                rule: format!("at most {BODY_LIMIT}"),
            });
        }
        let stored = self.run("storing a clip", || {
            self.db
                .prepare_cached(
                    "INSERT OR REPLACE INTO clips (recording, path, hash, kept, body, body_sum)
                     SELECT id, ?2, ?3, ?4, ?5, ?6 FROM recordings WHERE id = ?1",
                )?
                .execute(params![
                    recording.0,
                    clip.path,
                    clip.hash,
                    clip.kept,
                    clip.body,
                    checksum(&clip.body).cast_signed(),
                ])
        })?;
        found(stored, || recording.to_string())
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use tempfile::TempDir;

    use super::*;
    use crate::library::tests::made;

    #[test]
    fn a_clip_is_kept_with_its_recording_and_goes_with_it() {
        let folder = TempDir::new().unwrap();
        let mut library = Library::create(folder.path()).unwrap();
        let player = library.add_player(&made::player("p07")).unwrap();
        let added = made::add(&mut library, player, 1, date(2026, 3, 4), 1).unwrap();
        assert_eq!(library.clip(added.recording).unwrap(), None);
        let mut clip = Clip {
            path: "/videos/serve 3.mp4".to_owned(),
            hash: made::hash(77),
            kept: true,
            body: vec![1, 2, 3, 0, 255],
        };
        for _ in 0..2 {
            library.write(|w| w.set_clip(added.recording, &clip)).unwrap();
            assert_eq!(library.clip(added.recording).unwrap().as_ref(), Some(&clip));
            clip.body.push(9);
        }
        let copy = library.clip_copy(&clip.hash);
        fs::create_dir_all(copy.parent().unwrap()).unwrap();
        fs::write(&copy, "pictures").unwrap();
        assert_eq!(library.sweep_clips(true).unwrap(), 0);

        let gone = library.write(|w| w.set_clip(RecordingId(99), &clip)).unwrap_err();
        assert_eq!(gone.to_string(), "r99: not in this library");
        let bad = Clip { hash: "../x".to_owned(), ..clip.clone() };
        let bad = library.write(|w| w.set_clip(added.recording, &bad)).unwrap_err();
        assert_eq!(bad.to_string(), "clip hash: '../x'; a blake3 in 64 small hex digits");

        library.connection.execute("UPDATE clips SET body = x'01'", []).unwrap();
        let damaged = library.clip(added.recording).unwrap_err().to_string();
        assert!(damaged.starts_with("library.db: clip of r1: checksum "), "{damaged}");
        let findings = library.verify(false, &crate::work::Watch::default()).unwrap().findings;
        assert!(findings.iter().any(|f| f.problem.contains("clip of r1")), "{findings:?}");

        library.write(|w| w.remove_recording(added.recording)).unwrap();
        assert_eq!(library.clip(added.recording).unwrap(), None);
        // The removal can be taken back, and then the copy is there.
        assert_eq!(library.sweep_clips(false).unwrap(), 0);
        assert!(copy.exists());
        library.write(|w| w.remove_player(player)).unwrap();
        assert_eq!(library.sweep_clips(false).unwrap(), 1);
        assert!(!copy.exists());
    }
}
