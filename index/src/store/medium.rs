//! Where an index file lies: a real file, or (in tests) a medium that fails on purpose.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::sync::Arc;

use memmap2::Mmap;

use super::bytes::Bytes;

/// What the store needs of a file. Writes may be lost, whole or in part, until `sync` returns.
pub(crate) trait Medium: Send + Sync + std::fmt::Debug {
    /// Fills `into` from `at`.
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()>;
    /// Writes all of `bytes` at `at`, growing the file where needed.
    fn write_at(&self, bytes: &[u8], at: u64) -> io::Result<()>;
    /// Makes everything written so far durable.
    fn sync(&self) -> io::Result<()>;
    /// All bytes, to be read at will.
    fn map(&self) -> io::Result<Bytes>;
}

impl Medium for File {
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()> {
        let mut file = self;
        file.seek(SeekFrom::Start(at))?;
        file.read_exact(into)
    }

    fn write_at(&self, bytes: &[u8], at: u64) -> io::Result<()> {
        let mut file = self;
        file.seek(SeekFrom::Start(at))?;
        file.write_all(bytes)
    }

    fn sync(&self) -> io::Result<()> {
        self.sync_data()
    }

    fn map(&self) -> io::Result<Bytes> {
        // SAFETY: committed parts of an index file are never written again (the file grows at its
        // end, `compact` makes a new one) and the writer holds an exclusive lock. A foreign program
        // that truncates the file under us could still raise a bus error; the documentation of
        // `Index::open` says so.
        let map = unsafe { Mmap::map(self)? };
        let len = map.len();
        Ok(Bytes::Mapped(Arc::new(map), 0..len))
    }
}
