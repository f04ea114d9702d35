//! Writing the file: sections at the end, then one commit record.

use std::ffi::OsString;
use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::bytes::Bytes;
use super::errors::StoreError;
use super::format::{self, ALIGN, Kind, Section, SegmentEntry, State, Told};
use super::medium::{Folder, Medium};
use crate::params::Shape;

/// Curves are written through a buffer of this many bytes.
const BUFFER: usize = 1 << 20;
/// So often a file that lost its name while it was being locked is looked for again.
const ATTEMPTS: usize = 16;

/// A file open for writing, and what of it is committed.
#[derive(Debug)]
pub(crate) struct FileStore {
    pub(crate) path: PathBuf,
    pub(crate) folder: Arc<dyn Folder>,
    pub(crate) medium: Box<dyn Medium>,
    pub(crate) state: State,
    /// Set where a commit began and was not confirmed: the disk may hold it or not, and what follows would
    /// overwrite what a durable record tells of.
    unconfirmed: bool,
}

/// Names the file and the deed in an error of the operating system.
pub(crate) fn io_error<'a>(
    path: &'a Path,
    action: &'static str,
) -> impl FnOnce(io::Error) -> StoreError + 'a {
    move |source| StoreError::Io { path: path.to_owned(), action, source }
}

/// Opens `path` for writing and locks it.
pub(crate) fn lock(path: &Path, options: &OpenOptions) -> Result<File, StoreError> {
    lock_after(path, options, &mut || {})
}

/// The same, with what else happens between opening and locking.
fn lock_after(
    path: &Path,
    options: &OpenOptions,
    opened: &mut dyn FnMut(),
) -> Result<File, StoreError> {
    let locked = || StoreError::Locked { path: path.to_owned() };
    for _ in 0..ATTEMPTS {
        let file = options.open(path).map_err(io_error(path, "opening for writing"))?;
        opened();
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(locked()),
            Err(TryLockError::Error(source)) => {
                return Err(StoreError::Io { path: path.to_owned(), action: "locking", source });
            }
        }
        // Whoever held the lock may have given the name to another file, or taken it away.
        if has_name(&file, path).map_err(io_error(path, "reading"))? {
            return Ok(file);
        }
    }
    Err(locked())
}

/// Whether `path` names this very file.
#[cfg(unix)]
fn has_name(file: &File, path: &Path) -> io::Result<bool> {
    use std::os::unix::fs::MetadataExt;
    let own = file.metadata()?;
    match std::fs::metadata(path) {
        Ok(named) => Ok((own.dev(), own.ino()) == (named.dev(), named.ino())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}

/// Elsewhere a file that is open keeps its name.
#[cfg(not(unix))]
fn has_name(_file: &File, _path: &Path) -> io::Result<bool> {
    Ok(true)
}

/// Where a file is built before it takes its name.
pub(crate) fn building_path(path: &Path) -> PathBuf {
    let mut name = path.file_name().map_or_else(OsString::new, OsString::from);
    name.push(".building");
    path.with_file_name(name)
}

impl FileStore {
    /// An empty index on an empty medium; nothing is committed yet.
    pub(crate) fn start(
        path: &Path,
        folder: Arc<dyn Folder>,
        medium: Box<dyn Medium>,
        shape: Shape,
    ) -> Result<Self, StoreError> {
        medium.write_at(&format::header(shape), 0).map_err(io_error(path, "writing"))?;
        let state = State::empty();
        Ok(Self { path: path.to_owned(), folder, medium, state, unconfirmed: false })
    }

    /// A file with a committed state. What a crash left of a later commit record is taken away.
    pub(crate) fn resume(
        path: &Path,
        folder: Arc<dyn Folder>,
        medium: Box<dyn Medium>,
        told: Told,
    ) -> Result<Self, StoreError> {
        if let Some(at) = told.broken {
            medium.write_at(&[0; format::COMMIT_LEN], at).map_err(io_error(path, "writing"))?;
            medium.sync().map_err(io_error(path, "syncing"))?;
        }
        Ok(Self { path: path.to_owned(), folder, medium, state: told.state, unconfirmed: false })
    }

    /// Refuses where it is not known what the disk holds.
    pub(crate) fn usable(&self) -> Result<(), StoreError> {
        match self.unconfirmed {
            true => Err(StoreError::Unconfirmed { path: self.path.clone() }),
            false => Ok(()),
        }
    }

    pub(crate) fn map(&self) -> Result<Bytes, StoreError> {
        self.medium.map().map_err(io_error(&self.path, "mapping"))
    }

    pub(crate) fn read_at(&self, into: &mut [u8], at: u64) -> Result<(), StoreError> {
        self.medium.read_at(into, at).map_err(io_error(&self.path, "reading"))
    }

    fn write_at(&self, bytes: &[u8], at: u64) -> Result<(), StoreError> {
        self.medium.write_at(bytes, at).map_err(io_error(&self.path, "writing"))
    }

    /// Starts a section behind everything committed. Whatever an earlier, uncommitted attempt left
    /// there is overwritten.
    pub(crate) fn writer(&self) -> SectionWriter {
        SectionWriter {
            start: self.state.end,
            at: self.state.end,
            buffer: Vec::new(),
            crc: crc32fast::Hasher::new(),
        }
    }

    fn sync(&mut self) -> Result<(), StoreError> {
        // After a failed sync the system may forget what was not written, and a second one succeed.
        self.unconfirmed = true;
        self.medium.sync().map_err(io_error(&self.path, "syncing"))?;
        self.unconfirmed = false;
        Ok(())
    }

    /// Makes everything of the next state durable but the record that tells of it. Sections of `segments` that
    /// are new lie before `end`.
    pub(crate) fn prepare(
        &mut self,
        segments: Vec<SegmentEntry>,
        end: u64,
    ) -> Result<State, StoreError> {
        let (next, manifest) = self.state.next(segments, end);
        self.write_at(&manifest, end)?;
        // The record of the state before, once more: where the sync of whoever wrote it failed, the system may
        // show it and yet have no mind to write it, and soon the other one is overwritten.
        if self.state.manifest.is_some() {
            self.write_at(&self.state.record(), self.state.record_at())?;
        }
        self.sync()?;
        Ok(next)
    }

    /// Commits what was prepared.
    pub(crate) fn commit(&mut self, next: State) -> Result<(), StoreError> {
        // From the first byte of the record on it may be on the disk or not. The record of the state before
        // lies in the other place and stays whole.
        self.unconfirmed = true;
        self.write_at(&next.record(), next.record_at())?;
        self.sync()?;
        self.state = next;
        Ok(())
    }

    /// Gives the file another name.
    pub(crate) fn rename(&mut self, path: &Path) -> Result<(), StoreError> {
        self.folder.rename(&self.path, path).map_err(io_error(path, "renaming to"))?;
        self.path = path.to_owned();
        Ok(())
    }

    /// Makes the name durable; where that fails, nothing more is written.
    pub(crate) fn confirm_name(&mut self) -> Result<(), StoreError> {
        self.unconfirmed = true;
        self.folder.sync(&self.path).map_err(io_error(&self.path, "syncing the folder"))?;
        self.unconfirmed = false;
        Ok(())
    }
}

/// Writes sections one behind the other.
#[derive(Debug)]
pub(crate) struct SectionWriter {
    start: u64,
    at: u64,
    buffer: Vec<u8>,
    crc: crc32fast::Hasher,
}

impl SectionWriter {
    /// Adds to the section under way.
    pub(crate) fn push(&mut self, store: &FileStore, bytes: &[u8]) -> Result<(), StoreError> {
        self.buffer.extend_from_slice(bytes);
        if self.buffer.len() >= BUFFER { self.flush(store) } else { Ok(()) }
    }

    /// Where the section under way begins.
    pub(crate) fn start(&self) -> u64 {
        self.start
    }

    /// Hands everything pushed so far to the medium.
    pub(crate) fn flush(&mut self, store: &FileStore) -> Result<(), StoreError> {
        self.crc.update(&self.buffer);
        store.write_at(&self.buffer, self.at)?;
        self.at += self.buffer.len() as u64;
        self.buffer.clear();
        Ok(())
    }

    /// Ends the section; the next one starts aligned behind it.
    pub(crate) fn end(&mut self, store: &FileStore, kind: Kind) -> Result<Section, StoreError> {
        self.flush(store)?;
        let crc = std::mem::take(&mut self.crc).finalize();
        let section = Section { kind: kind as u32, crc, at: self.start, len: self.at - self.start };
        // An earlier attempt may have left something there.
        let filling = (self.at.next_multiple_of(ALIGN) - self.at) as usize;
        store.write_at(&[0; ALIGN as usize][..filling], self.at)?;
        self.at += filling as u64;
        self.start = self.at;
        Ok(section)
    }

    /// Writes a whole section.
    pub(crate) fn whole(
        &mut self,
        store: &FileStore,
        kind: Kind,
        bytes: &[u8],
    ) -> Result<Section, StoreError> {
        // Piece by piece, so that the buffer stays small.
        for piece in bytes.chunks(BUFFER) {
            self.push(store, piece)?;
        }
        self.end(store, kind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Another writer gives the name to a new file between opening and locking, as compacting does: the lock
    /// taken is that of the new file. Where it is held, so is the name.
    #[test]
    fn a_lock_is_that_of_the_file_with_the_name() {
        let folder = tempfile::tempdir().unwrap();
        let (path, new) = (folder.path().join("a"), folder.path().join("new"));
        let mut options = OpenOptions::new();
        options.read(true).write(true);
        for held in [false, true] {
            std::fs::write(&path, "old").unwrap();
            std::fs::write(&new, "new").unwrap();
            let mut other = Some(options.open(&new).unwrap());
            other.as_ref().unwrap().lock().unwrap();
            let mut renamed = false;
            let result = lock_after(&path, &options, &mut || {
                if !std::mem::replace(&mut renamed, true) {
                    std::fs::rename(&new, &path).unwrap();
                    if !held {
                        other = None;
                    }
                }
            });
            if held {
                assert!(matches!(result, Err(StoreError::Locked { .. })), "{result:?}");
            } else {
                assert_eq!(io::read_to_string(result.unwrap()).unwrap(), "new");
            }
        }
        // A file that was taken away is not locked in its place.
        let result = lock_after(&path, &options, &mut || {
            let _ = std::fs::remove_file(&path);
        });
        assert!(matches!(result, Err(StoreError::Io { .. })), "{result:?}");
    }
}
