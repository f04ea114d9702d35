//! One writer per library: an advisory lock that the system lets go when its holder dies.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

use super::{OpenError, StoreError};

/// Held as long as the library is open for writing.
#[derive(Debug)]
pub(super) struct WriteLock {
    file: File,
}

impl WriteLock {
    pub(super) fn take(path: &Path) -> Result<Self, OpenError> {
        let mut file = OpenOptions::new()
            .create(true)
            .truncate(false)
            .read(true)
            .write(true)
            .open(path)
            .map_err(StoreError::io(path, "opening the lock"))?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let mut text = String::new();
                // The pid is a courtesy: whatever keeps it from being read, the lock is held.
                let _ = (&file).take(32).read_to_string(&mut text);
                let holder = text.trim().parse().ok();
                return Err(OpenError::Locked { file: path.to_owned(), holder });
            }
            Err(TryLockError::Error(error)) => {
                return Err(StoreError::io(path, "locking")(error).into());
            }
        }
        file.set_len(0)
            .and_then(|()| file.seek(SeekFrom::Start(0)))
            .and_then(|_| write!(file, "{}", std::process::id()))
            .map_err(StoreError::io(path, "writing the lock"))?;
        Ok(Self { file })
    }
}

impl Drop for WriteLock {
    fn drop(&mut self) {
        // Said aloud, because a process just being started may hold a copy of the file for a
        // moment, and closing ours would not let go then. What fails here ends with the process.
        let _ = self.file.set_len(0);
        let _ = self.file.unlock();
    }
}
