//! Where an index file lies: a real file, or (in tests) a medium that fails on purpose.

use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::sync::Arc;

use memmap2::Mmap;

use super::bytes::Bytes;

/// What the store needs of a file. Writes may be lost, whole or in part, until `sync` returns.
pub(crate) trait Medium: Send + Sync + std::fmt::Debug {
    /// Writes all of `bytes` at `at`, growing the file where needed.
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<()>;
    /// Makes everything written so far durable.
    fn sync(&mut self) -> io::Result<()>;
    /// All bytes, to be read at will.
    fn map(&self) -> io::Result<Bytes>;
}

impl Medium for File {
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<()> {
        self.seek(SeekFrom::Start(at))?;
        self.write_all(bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
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
