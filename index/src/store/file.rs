//! Writing the file: sections at the end, then one commit record.

use std::ffi::OsString;
use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use super::bytes::Bytes;
use super::errors::StoreError;
use super::format::{self, ALIGN, COMMIT_AT, DATA_AT, Kind, Section, SegmentEntry, State};
use super::medium::Medium;
use crate::params::Shape;

/// Curves are written through a buffer of this many bytes.
const BUFFER: usize = 1 << 20;

/// A file open for writing, and what of it is committed.
#[derive(Debug)]
pub(crate) struct FileStore {
    pub(crate) path: PathBuf,
    medium: Box<dyn Medium>,
    pub(crate) state: State,
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
    let file = options.open(path).map_err(io_error(path, "opening for writing"))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::Locked { path: path.to_owned() }),
        Err(TryLockError::Error(source)) => {
            Err(StoreError::Io { path: path.to_owned(), action: "locking", source })
        }
    }
}

/// Where a file is built before it takes its name.
pub(crate) fn building_path(path: &Path) -> PathBuf {
    let mut name = path.file_name().map_or_else(OsString::new, OsString::from);
    name.push(".building");
    path.with_file_name(name)
}

/// Makes a rename durable.
pub(crate) fn sync_folder(path: &Path) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    if cfg!(unix) { File::open(folder.unwrap_or(Path::new(".")))?.sync_all() } else { Ok(()) }
}

impl FileStore {
    /// An empty index on an empty medium; nothing is committed yet.
    pub(crate) fn start(
        path: &Path,
        medium: Box<dyn Medium>,
        shape: Shape,
    ) -> Result<Self, StoreError> {
        medium.write_at(&format::header(shape), 0).map_err(io_error(path, "writing"))?;
        let state = State { sequence: 0, end: DATA_AT, segments: Vec::new() };
        Ok(Self { path: path.to_owned(), medium, state })
    }

    /// A file with a committed state.
    pub(crate) fn resume(path: &Path, medium: Box<dyn Medium>, state: State) -> Self {
        Self { path: path.to_owned(), medium, state }
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

    /// Commits `segments`; sections in them that are new lie before `end`.
    pub(crate) fn commit(
        &mut self,
        segments: Vec<SegmentEntry>,
        end: u64,
    ) -> Result<(), StoreError> {
        let manifest = format::manifest(&segments);
        self.write_at(&manifest, end)?;
        let sequence = self.state.sequence + 1;
        let record = format::commit(sequence, end, &manifest);
        // Data and manifest are durable before the record that points at them.
        self.medium.sync().map_err(io_error(&self.path, "syncing"))?;
        // The record of the committed state lies in the other place and stays whole.
        self.write_at(&record, COMMIT_AT[(sequence % 2) as usize])?;
        self.medium.sync().map_err(io_error(&self.path, "syncing"))?;
        let end = (end + manifest.len() as u64).next_multiple_of(ALIGN);
        self.state = State { sequence, end, segments };
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
        self.at = self.at.next_multiple_of(ALIGN);
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
