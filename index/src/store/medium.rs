//! Where index files lie: a folder of the system, or (in tests) one that fails on purpose.

use std::fs::{File, OpenOptions};
use std::io;
use std::path::Path;
use std::sync::Arc;

use memmap2::Mmap;

use super::bytes::Bytes;
use super::errors::StoreError;
use super::file::{io_error, lock};

/// What the store needs of a file. Writes may be lost, whole or in part, until `sync` returns.
pub(crate) trait Medium: Send + Sync + std::fmt::Debug {
    /// Fills `into` from `at`; several threads may do so at once. [`io::ErrorKind::UnexpectedEof`] where the
    /// file ends before.
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()>;
    /// Writes all of `bytes` at `at`, growing the file where needed.
    fn write_at(&self, bytes: &[u8], at: u64) -> io::Result<()>;
    /// Makes everything written so far durable.
    fn sync(&self) -> io::Result<()>;
    /// All bytes, to be read at will.
    fn map(&self) -> io::Result<Bytes>;
}

impl Medium for File {
    #[cfg(unix)]
    fn read_at(&self, into: &mut [u8], at: u64) -> io::Result<()> {
        std::os::unix::fs::FileExt::read_exact_at(self, into, at)
    }

    #[cfg(windows)]
    fn read_at(&self, mut into: &mut [u8], mut at: u64) -> io::Result<()> {
        while !into.is_empty() {
            match std::os::windows::fs::FileExt::seek_read(self, into, at)? {
                0 => return Err(io::ErrorKind::UnexpectedEof.into()),
                read => {
                    into = &mut into[read..];
                    at += read as u64;
                }
            }
        }
        Ok(())
    }

    #[cfg(unix)]
    fn write_at(&self, bytes: &[u8], at: u64) -> io::Result<()> {
        std::os::unix::fs::FileExt::write_all_at(self, bytes, at)
    }

    #[cfg(windows)]
    fn write_at(&self, mut bytes: &[u8], mut at: u64) -> io::Result<()> {
        while !bytes.is_empty() {
            match std::os::windows::fs::FileExt::seek_write(self, bytes, at)? {
                0 => return Err(io::ErrorKind::WriteZero.into()),
                written => {
                    bytes = &bytes[written..];
                    at += written as u64;
                }
            }
        }
        Ok(())
    }

    fn sync(&self) -> io::Result<()> {
        self.sync_data()
    }

    fn map(&self) -> io::Result<Bytes> {
        // SAFETY: what is read through the map is sections, which are never written again once a record
        // tells of them (the file grows at its end, `compact` makes a new one), and the writer holds an
        // exclusive lock. The two commit records, which take turns, are read by `read_at`. A foreign
        // program that truncates the file under us could still raise a bus error; the documentation of
        // `Index::open` says so.
        let map = unsafe { Mmap::map(self)? };
        let len = map.len();
        Ok(Bytes::Mapped(Arc::new(map), 0..len))
    }
}

/// What the store needs of a folder. Renaming may be lost until `sync` returns.
pub(crate) trait Folder: Send + Sync + std::fmt::Debug {
    /// Opens the file of this name, made where there is none, locks it, and only then empties it: somebody
    /// else may be building there.
    fn create(&self, path: &Path) -> Result<Box<dyn Medium>, StoreError>;
    /// Gives a file another name, in place of the file that has it.
    fn rename(&self, from: &Path, to: &Path) -> io::Result<()>;
    /// Takes a file away.
    fn remove(&self, path: &Path) -> io::Result<()>;
    /// Makes the names of files beside `path` durable.
    fn sync(&self, path: &Path) -> io::Result<()>;
    /// Locks the file of this name, if there is one, so that nobody writes to it until the lock is dropped.
    fn hold(&self, path: &Path) -> Result<Option<Box<dyn Medium>>, StoreError>;
}

/// The file system.
#[derive(Debug)]
pub(crate) struct System;

impl Folder for System {
    fn create(&self, path: &Path) -> Result<Box<dyn Medium>, StoreError> {
        let mut options = OpenOptions::new();
        let file = lock(path, options.read(true).write(true).create(true).truncate(false))?;
        file.set_len(0).map_err(io_error(path, "emptying"))?;
        Ok(Box::new(file))
    }

    fn rename(&self, from: &Path, to: &Path) -> io::Result<()> {
        std::fs::rename(from, to)
    }

    fn remove(&self, path: &Path) -> io::Result<()> {
        std::fs::remove_file(path)
    }

    fn sync(&self, path: &Path) -> io::Result<()> {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        if cfg!(unix) { File::open(folder.unwrap_or(Path::new(".")))?.sync_all() } else { Ok(()) }
    }

    fn hold(&self, path: &Path) -> Result<Option<Box<dyn Medium>>, StoreError> {
        match lock(path, OpenOptions::new().read(true).write(true)) {
            Ok(file) => Ok(Some(Box::new(file))),
            Err(StoreError::Io { source, .. }) if source.kind() == io::ErrorKind::NotFound => {
                Ok(None)
            }
            Err(error) => Err(error),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reading and writing know no place of their own that another thread could move in between: chance alone would
    /// show that seldom.
    #[cfg(unix)]
    #[test]
    fn no_place_is_shared() {
        use std::io::Seek;
        let mut file = tempfile::tempfile().unwrap();
        file.set_len(4096).unwrap();
        file.seek(io::SeekFrom::Start(7)).unwrap();
        let medium: &dyn Medium = &file;
        medium.write_at(&[1; 64], 512).unwrap();
        let mut bytes = [0; 64];
        medium.read_at(&mut bytes, 512).unwrap();
        assert_eq!(bytes, [1; 64]);
        assert_eq!(file.stream_position().unwrap(), 7);
    }

    /// A file read and written by several threads at once: each gets what lies where it asks.
    #[test]
    fn threads_read_and_write_their_own_places() {
        let file = tempfile::tempfile().unwrap();
        let medium: &dyn Medium = &file;
        let places = 4_u64;
        for place in 0..places {
            medium.write_at(&[place as u8; 64], place * 4096).unwrap();
        }
        std::thread::scope(|scope| {
            for place in 0..places {
                scope.spawn(move || {
                    for round in 0..5000 {
                        let mut bytes = [0; 64];
                        medium.read_at(&mut bytes, place * 4096).unwrap();
                        assert_eq!(bytes, [place as u8; 64], "round {round}");
                        medium.write_at(&[place as u8; 64], place * 4096).unwrap();
                    }
                });
            }
        });
        let end = medium.read_at(&mut [0; 64], places * 4096).unwrap_err();
        assert_eq!(end.kind(), io::ErrorKind::UnexpectedEof);
    }
}
