//! One writer per library: an advisory lock that the system lets go when its holder dies.

use std::fmt;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::Path;

use jiff::Timestamp;

use super::{OpenError, StoreError};

/// Who has a library open for writing, as the holder says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// Process id.
    pub pid: u32,
    /// Name of the machine, where it has one; a shared folder may be locked from another.
    pub host: Option<String>,
    /// Since when.
    pub since: Option<Timestamp>,
}

impl Holder {
    fn this() -> Self {
        Self { pid: std::process::id(), host: host(), since: Some(Timestamp::now()) }
    }

    fn read(text: &str) -> Option<Self> {
        let mut lines = text.lines();
        let pid = lines.next()?.trim().parse().ok()?;
        let host = lines.next().map(str::trim).filter(|host| !host.is_empty());
        let since = lines.next().and_then(|line| line.trim().parse().ok());
        Some(Self { pid, host: host.map(str::to_owned), since })
    }

    fn lines(&self) -> String {
        let since = self.since.map(|since| since.to_string()).unwrap_or_default();
        format!("{}\n{}\n{since}\n", self.pid, self.host.as_deref().unwrap_or_default())
    }
}

impl fmt::Display for Holder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "process {}", self.pid)?;
        if let Some(host) = &self.host {
            write!(f, " on {host}")?;
        }
        match self.since {
            Some(since) => write!(f, " since {}", since.strftime("%Y-%m-%d %H:%M:%S UTC")),
            None => Ok(()),
        }
    }
}

fn host() -> Option<String> {
    let from_file = |path| fs::read_to_string(path).ok();
    let name = from_file("/proc/sys/kernel/hostname")
        .or_else(|| from_file("/etc/hostname"))
        .or_else(|| std::env::var("COMPUTERNAME").ok())
        .or_else(|| std::env::var("HOSTNAME").ok())?;
    let plain = |c: &char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
    let name: String = name.trim().chars().take_while(plain).take(64).collect();
    (!name.is_empty()).then_some(name)
}

/// Held as long as the library is open for writing.
#[derive(Debug)]
pub(crate) struct WriteLock {
    file: File,
}

impl WriteLock {
    pub(crate) fn take(path: &Path) -> Result<Self, OpenError> {
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
                // A courtesy: whatever keeps it from being read, the lock is held.
                let _ = (&file).take(256).read_to_string(&mut text);
                let holder = Holder::read(&text);
                return Err(OpenError::Locked { file: path.to_owned(), holder });
            }
            Err(TryLockError::Error(error)) => {
                return Err(StoreError::io(path, "locking")(error).into());
            }
        }
        file.set_len(0)
            .and_then(|()| file.seek(SeekFrom::Start(0)))
            .and_then(|_| file.write_all(Holder::this().lines().as_bytes()))
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
