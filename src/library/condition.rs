//! What a library's folder holds, as files: for whoever looks after it.

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::{OptionalExtension, params};

use super::lock::{Holder, holder};
use super::{Counts, Library, OpenError, StoreError, WriteError, Writer};

/// The state of a library, from outside.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Condition {
    /// The folder.
    pub folder: PathBuf,
    /// The format of the file, and the one this program writes.
    pub format: (i64, i64),
    /// How much it holds.
    pub counts: Counts,
    /// Bytes of the store, of the copies of clips, and of what is derived.
    pub bytes: [u64; 3],
    /// Who is changing it at the moment.
    pub holder: Option<Holder>,
    /// When it was last checked as a whole and found sound, UTC.
    pub last_sound: Option<String>,
    /// Whether files in it may be changed by this user.
    pub writable: bool,
}

impl Library {
    /// The state of the library in a folder. Changes nothing; cost: counts, and lists the folder.
    ///
    /// # Errors
    /// As [`Library::open_read_only`].
    pub fn condition(folder: &Path) -> Result<Condition, OpenError> {
        let library = Self::open_read_only(folder)?;
        let format = library
            .connection
            .query_row("PRAGMA main.user_version", [], |row| row.get(0))
            .map_err(StoreError::sql("reading the format number"))?;
        let last_sound = library
            .connection
            .query_row("SELECT at FROM last_sound", [], |row| row.get(0))
            .optional()
            .map_err(StoreError::sql("reading the last check"))?;
        let size = |names: &[&str]| names.iter().map(|name| bytes_in(&folder.join(name))).sum();
        Ok(Condition {
            folder: folder.to_owned(),
            format: (format, super::store::FORMAT),
            counts: library.counts()?,
            bytes: [
                size(&["library.db", "library.db-wal"]),
                size(&["clips"]),
                size(&["curves", "words", "stills"]),
            ],
            holder: holder(folder),
            last_sound,
            writable: fs::metadata(folder.join("library.db"))
                .is_ok_and(|meta| !meta.permissions().readonly()),
        })
    }
}

impl Writer<'_> {
    /// Remembers that the library was checked as a whole and found sound.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub(crate) fn note_sound(&mut self, at: &str) -> Result<(), WriteError> {
        self.run("noting the check", || {
            self.db
                .execute("INSERT OR REPLACE INTO last_sound (id, at) VALUES (1, ?1)", params![at])
        })?;
        Ok(())
    }
}

/// Bytes of a file, or of all files below a folder; 0 for what is not there.
fn bytes_in(path: &Path) -> u64 {
    let Ok(meta) = fs::symlink_metadata(path) else { return 0 };
    if !meta.is_dir() {
        return meta.len();
    }
    let Ok(entries) = fs::read_dir(path) else { return 0 };
    entries.filter_map(|entry| Some(bytes_in(&entry.ok()?.path()))).sum()
}
