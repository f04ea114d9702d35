//! Whose turn it is to change the library: advisory locks that the system lets go when their
//! holder dies, held for one change and no longer.
//!
//! Two files make one lock. `library.turn` is the turnstile: whoever waits for `library.lock` holds
//! it meanwhile, so that a process with many changes in a row cannot slip past one that waits.
//! `derived.lock` is held by whoever builds what is derived from the store. Where both are held,
//! `library.lock` is taken first.

use std::fmt;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use jiff::Timestamp;
use thiserror::Error;

use super::StoreError;

/// How long a change waits for its turn. A change takes milliseconds, taking in a squad's past
/// records or a pack a few seconds (our estimate).
pub(crate) const PATIENCE: Duration = Duration::from_secs(10);
/// First and longest pause between two looks at a lock that is held.
const PAUSE: Duration = Duration::from_millis(2);
const LONGEST_PAUSE: Duration = Duration::from_millis(40);

/// Who changes a library, as the holder of its lock says it.
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
    #[cfg(unix)]
    let name = rustix::system::uname().nodename().to_string_lossy().into_owned();
    #[cfg(not(unix))]
    let name = std::env::var("COMPUTERNAME").ok()?;
    let plain = |c: &char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
    let name: String = name.trim().chars().take_while(plain).take(64).collect();
    (!name.is_empty()).then_some(name)
}

/// Another process is changing the library and did not finish in time.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{}: {} is changing the library; waited {} s; let it finish, or end it, and try again; \
reading works in the \
meantime", .file.display(), describe_holder(.holder.as_ref()), .waited.as_secs())]
pub struct Locked {
    /// The lock file.
    pub file: PathBuf,
    /// Who holds it, where that could be read.
    pub holder: Option<Holder>,
    /// How long its turn was waited for.
    pub waited: Duration,
}

fn describe_holder(holder: Option<&Holder>) -> String {
    holder.map_or_else(|| "another process".to_owned(), Holder::to_string)
}

/// Why a lock was not had.
#[derive(Debug)]
pub(crate) enum LockError {
    Locked(Locked),
    Store(StoreError),
}

/// A lock that is held until this is dropped.
#[derive(Debug)]
pub(crate) struct FileLock {
    file: File,
    /// Whether the file says who holds it.
    named: bool,
}

impl FileLock {
    /// Takes the lock of a library's changes, waiting at most `patience` for its turn.
    pub(crate) fn take_turn(folder: &Path, patience: Duration) -> Result<Self, LockError> {
        let start = Instant::now();
        let path = folder.join("library.lock");
        let locked = || {
            let mut text = String::new();
            // A courtesy: whatever keeps it from being read, the lock is held.
            let _ = File::open(&path).and_then(|file| file.take(256).read_to_string(&mut text));
            let holder = Holder::read(&text);
            LockError::Locked(Locked { file: path.clone(), holder, waited: start.elapsed() })
        };
        let left = || patience.saturating_sub(start.elapsed());
        let turnstile =
            Self::wait(&folder.join("library.turn"), left()).map_err(LockError::Store)?;
        let Some(_turnstile) = turnstile else { return Err(locked()) };
        let Some(mut lock) = Self::wait(&path, left()).map_err(LockError::Store)? else {
            return Err(locked());
        };
        lock.say_who(&path).map_err(LockError::Store)?;
        Ok(lock)
    }

    /// Takes a lock, waiting at most `patience`; `None` if it was held all the time.
    pub(crate) fn wait(path: &Path, patience: Duration) -> Result<Option<Self>, StoreError> {
        let start = Instant::now();
        let mut pause = PAUSE;
        loop {
            if let Some(lock) = Self::try_take(path)? {
                return Ok(Some(lock));
            }
            if start.elapsed() >= patience {
                return Ok(None);
            }
            std::thread::sleep(pause.min(patience.saturating_sub(start.elapsed())));
            pause = (pause * 2).min(LONGEST_PAUSE);
        }
    }

    /// Takes a lock; `None` while another holds it.
    fn try_take(path: &Path) -> Result<Option<Self>, StoreError> {
        loop {
            let file = OpenOptions::new()
                .create(true)
                .truncate(false)
                .read(true)
                .write(true)
                .open(path)
                .map_err(StoreError::io(path, "opening the lock"))?;
            match file.try_lock() {
                Ok(()) => {}
                Err(TryLockError::WouldBlock) => return Ok(None),
                Err(TryLockError::Error(error)) => {
                    return Err(StoreError::io(path, "locking")(error));
                }
            }
            // Whoever takes back a library that was just made removes its lock too: a lock on a
            // file that is no longer there keeps nobody out.
            if is_still_there(&file, path) {
                return Ok(Some(Self { file, named: false }));
            }
        }
    }

    fn say_who(&mut self, path: &Path) -> Result<(), StoreError> {
        self.named = true;
        self.file
            .set_len(0)
            .and_then(|()| self.file.seek(SeekFrom::Start(0)))
            .and_then(|_| self.file.write_all(Holder::this().lines().as_bytes()))
            .map_err(StoreError::io(path, "writing the lock"))
    }
}

/// Who is changing the library in this folder at the moment. Changes nothing there.
pub(crate) fn holder(folder: &Path) -> Option<Holder> {
    let file = OpenOptions::new().read(true).write(true).open(folder.join("library.lock")).ok()?;
    match file.try_lock() {
        Ok(()) => None,
        Err(_) => {
            let mut text = String::new();
            (&file).take(256).read_to_string(&mut text).ok()?;
            Holder::read(&text)
        }
    }
}

impl Drop for FileLock {
    fn drop(&mut self) {
        // Said aloud, because a process just being started may hold a copy of the file for a
        // moment, and closing ours would not let go then. What fails here ends with the process.
        if self.named {
            let _ = self.file.set_len(0);
        }
        let _ = self.file.unlock();
    }
}

/// Device and number of a file, by which it is known again under its path.
#[cfg(unix)]
pub(crate) fn identity(meta: &fs::Metadata) -> (u64, u64) {
    use std::os::unix::fs::MetadataExt;
    (meta.dev(), meta.ino())
}

/// Where the system gives no number, a file that can be opened cannot be removed either.
#[cfg(not(unix))]
pub(crate) fn identity(_meta: &fs::Metadata) -> (u64, u64) {
    (0, 0)
}

fn is_still_there(file: &File, path: &Path) -> bool {
    let (Ok(held), Ok(named)) = (file.metadata(), fs::metadata(path)) else { return false };
    identity(&held) == identity(&named)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lock_names_its_holder_and_is_waited_for() {
        let folder = tempfile::TempDir::new().unwrap();
        let held = FileLock::take_turn(folder.path(), Duration::ZERO).unwrap();
        let Err(LockError::Locked(locked)) =
            FileLock::take_turn(folder.path(), Duration::from_millis(30))
        else {
            panic!("taken twice")
        };
        assert!(locked.waited >= Duration::from_millis(30), "{locked:?}");
        let holder = locked.holder.clone().unwrap();
        assert_eq!(holder.pid, std::process::id());
        let text = locked.to_string();
        assert!(text.contains("library.lock: process ") && text.contains(" since "), "{text}");
        let waiting = folder.path().to_owned();
        let other = std::thread::spawn(move || {
            FileLock::take_turn(&waiting, Duration::from_secs(20)).map(drop).is_ok()
        });
        std::thread::sleep(Duration::from_millis(60));
        drop(held);
        assert!(other.join().unwrap());
    }

    /// One with many changes in a row lets the one who waits go before its next.
    #[test]
    fn who_waits_is_next() {
        use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
        let folder = tempfile::TempDir::new().unwrap();
        let (taken, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
        std::thread::scope(|scope| {
            scope.spawn(|| {
                while !stop.load(Ordering::SeqCst) {
                    let lock = FileLock::take_turn(folder.path(), Duration::from_secs(20)).unwrap();
                    taken.fetch_add(1, Ordering::SeqCst);
                    std::thread::sleep(Duration::from_millis(3));
                    drop(lock);
                }
            });
            for _ in 0..10 {
                let turnstile =
                    FileLock::wait(&folder.path().join("library.turn"), Duration::from_secs(20));
                let before = taken.load(Ordering::SeqCst);
                std::thread::sleep(Duration::from_millis(30));
                // Whoever was past the turnstile has had its turn; nobody new came through.
                assert!(taken.load(Ordering::SeqCst) <= before + 1);
                drop(turnstile.unwrap().unwrap());
                drop(FileLock::take_turn(folder.path(), Duration::from_secs(20)).unwrap());
            }
            stop.store(true, Ordering::SeqCst);
        });
    }

    #[test]
    fn a_removed_lock_is_no_lock() {
        let folder = tempfile::TempDir::new().unwrap();
        let held = FileLock::take_turn(folder.path(), Duration::ZERO).unwrap();
        fs::remove_file(folder.path().join("library.lock")).unwrap();
        assert!(!is_still_there(&held.file, &folder.path().join("library.lock")));
        let next = FileLock::take_turn(folder.path(), Duration::ZERO).unwrap();
        assert!(is_still_there(&next.file, &folder.path().join("library.lock")));
    }
}
