use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

use super::lock::{LockError, Locked};
use crate::remedy::Remedy;
use crate::work::Stopped;

/// Why a library did not open.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum OpenError {
    /// There is no library in the folder.
    #[error("{}: no library here; add a first recording to make one, or name another folder", .folder.display())]
    Missing {
        /// The folder.
        folder: PathBuf,
    },
    /// A library is there already.
    #[error("{}: a library is here already; open it, or name another folder", .folder.display())]
    Exists {
        /// The folder.
        folder: PathBuf,
    },
    /// The folder lies on a network.
    #[error("{}: lies on a network folder ({kind}), on which two computers would spoil each other's changes without noticing; keep the library on a disk of this computer, and share cases by packs", .folder.display())]
    Network {
        /// The folder.
        folder: PathBuf,
        /// The kind of file system, as the system names it.
        kind: String,
    },
    /// The file is something else.
    #[error("{}: not a library of this program ({found}); name another folder, or restore the file from a copy", .file.display())]
    NotALibrary {
        /// The file.
        file: PathBuf,
        /// What it seems to be.
        found: String,
    },
    /// The file was written by another version.
    #[error("{}: format {found}, this program reads formats 1 to {known}; open it with the program that wrote it, or a newer one", .file.display())]
    Format {
        /// The file.
        file: PathBuf,
        /// Format number in the file.
        found: i64,
        /// Format number this program writes.
        known: i64,
    },
    /// Another process changes the library.
    #[error(transparent)]
    Locked(Locked),
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<LockError> for OpenError {
    fn from(error: LockError) -> Self {
        match error {
            LockError::Locked(locked) => Self::Locked(locked),
            LockError::Store(error) => Self::Store(error),
        }
    }
}

impl OpenError {
    /// What to do about it; the text ends with it.
    #[must_use]
    pub fn remedy(&self) -> Option<Remedy> {
        match self {
            Self::Store(error) => error.remedy(),
            _ => None,
        }
    }
}

/// Why reading the store failed.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StoreError {
    /// SQLite said no.
    #[error("library.db: {doing} failed: {source}; check disk space and rights, then run `verify`")]
    Sql {
        /// What was being done.
        doing: &'static str,
        /// The cause.
        source: rusqlite::Error,
    },
    /// A file could not be read or written.
    #[error("{}: {doing} failed: {source}; check disk space and rights", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// The cause.
        source: std::io::Error,
    },
    /// Stored bytes are not what was written.
    #[error("library.db: {what}: {why}; run `verify`, or restore the library from a copy")]
    Damaged {
        /// Which value, for example `curve of s12`.
        what: String,
        /// How it is damaged.
        why: Damage,
    },
    /// The work was stopped; nothing of it was changed.
    #[error("{0}")]
    Stopped(#[from] Stopped),
    /// The id or code is unknown.
    #[error("{what}: not in this library")]
    NoSuch {
        /// What was asked for, for example `s12` or `player 'p07'`.
        what: String,
    },
    /// A stored addition to the catalogue breaks a rule.
    #[error(transparent)]
    Catalogue(crate::catalogue::CatalogueError),
    /// The curve index failed; it is derived and can be rebuilt.
    #[error("{}: {why}; {}", .path.display(), Remedy::Rebuild)]
    Curves {
        /// The index file.
        path: PathBuf,
        /// The engine's words.
        why: String,
    },
    /// The word index failed; it is derived and can be rebuilt.
    #[error("{}: {source}; {}", .path.display(), Remedy::Rebuild)]
    Words {
        /// The index folder.
        path: PathBuf,
        /// The cause.
        source: tantivy::TantivyError,
    },
}

impl StoreError {
    /// Why the disk took nothing more, if that was it: it is full, refuses what is written, or must
    /// not be written to. No repair of the library cures that, and nothing of the change was kept.
    #[must_use]
    pub fn disk(&self) -> Option<std::io::ErrorKind> {
        use rusqlite::ffi::{
            SQLITE_IOERR_FSYNC, SQLITE_IOERR_SHMSIZE, SQLITE_IOERR_TRUNCATE, SQLITE_IOERR_WRITE,
        };
        use std::io::ErrorKind::{FileTooLarge, QuotaExceeded, ReadOnlyFilesystem, StorageFull};
        let writing =
            [SQLITE_IOERR_WRITE, SQLITE_IOERR_FSYNC, SQLITE_IOERR_TRUNCATE, SQLITE_IOERR_SHMSIZE];
        match self {
            Self::Io { source, .. } => {
                [StorageFull, FileTooLarge, QuotaExceeded, ReadOnlyFilesystem]
                    .into_iter()
                    .find(|kind| *kind == source.kind())
            }
            Self::Sql { source, .. } => {
                let error = source.sqlite_error()?;
                match error.code {
                    ErrorCode::DiskFull => Some(StorageFull),
                    ErrorCode::ReadOnly => Some(ReadOnlyFilesystem),
                    _ => writing.contains(&error.extended_code).then_some(StorageFull),
                }
            }
            _ => None,
        }
    }

    /// What to do about it; the text ends with it.
    #[must_use]
    pub fn remedy(&self) -> Option<Remedy> {
        matches!(self, Self::Curves { .. } | Self::Words { .. }).then_some(Remedy::Rebuild)
    }

    pub(crate) fn sql(doing: &'static str) -> impl FnOnce(rusqlite::Error) -> Self {
        move |source| match source.sqlite_error_code() {
            Some(ErrorCode::OperationInterrupted) => Self::Stopped(Stopped),
            _ => Self::Sql { doing, source },
        }
    }

    pub(crate) fn io(path: &Path, doing: &'static str) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.to_owned();
        move |source| Self::Io { path, doing, source }
    }
}

/// How a stored value is damaged.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum Damage {
    /// Too short to hold its own head.
    #[error("{found} bytes, a head needs {least}")]
    Short {
        /// Bytes found.
        found: usize,
        /// Bytes a head takes.
        least: usize,
    },
    /// Another kind of value.
    #[error("starts with {found:02x?}, expected {expected:02x?}")]
    Magic {
        /// Bytes found.
        found: [u8; 4],
        /// Bytes expected.
        expected: [u8; 4],
    },
    /// Written by another version.
    #[error("format {found}, this program reads formats up to {known}")]
    Format {
        /// Format number found.
        found: u16,
        /// Newest format number known.
        known: u16,
    },
    /// Not as long as it says or must be.
    #[error("{found} bytes, expected {expected}")]
    Length {
        /// Bytes found.
        found: usize,
        /// Bytes expected.
        expected: usize,
    },
    /// The checksum does not fit the bytes.
    #[error("checksum {found:016x}, expected {expected:016x}")]
    Checksum {
        /// Checksum of the bytes.
        found: u64,
        /// Checksum stored.
        expected: u64,
    },
    /// The payload does not decode.
    #[error("does not decode: {0}")]
    Payload(String),
    /// A value is outside what may be stored.
    #[error("{0}")]
    Value(String),
}

fn listed(ids: &[super::PlanId]) -> String {
    ids.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ")
}

fn describe_end(end: &super::PlanEnd) -> String {
    match end.how {
        super::Ending::Ended => "ended".to_owned(),
        super::Ending::Withdrawn => "was withdrawn".to_owned(),
        super::Ending::Replaced(by) => format!("was replaced by {by}"),
    }
}

/// Why a change was refused. Nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The library is open for reading only.
    #[error("{}: opened read-only; open the library for writing", .folder.display())]
    ReadOnly {
        /// The library's folder.
        folder: PathBuf,
    },
    /// Another process changes the library and did not finish in time.
    #[error(transparent)]
    Locked(Locked),
    /// The library is not the one that was opened.
    #[error("{}: removed, replaced or converted to another format since it was opened; nothing \
    was changed; open the library again", .file.display())]
    Replaced {
        /// The file.
        file: PathBuf,
    },
    /// The player code is in use.
    #[error("player '{code}': the code is taken; choose another, or update the player")]
    CodeTaken {
        /// The code.
        code: String,
    },
    /// The same file is stored for another player.
    #[error(
        "{file_name}: already stored as {recording} for player '{holder}', and now given for \
         '{given}'; check the player, or move {recording} to '{given}'"
    )]
    OtherPlayer {
        /// The file, as named now.
        file_name: String,
        /// The stored recording.
        recording: super::RecordingId,
        /// Code of the player who has it.
        holder: String,
        /// Code of the player it was given for.
        given: String,
    },
    /// The player does not want recordings kept.
    #[error(
        "player '{code}' does not agree to recordings being kept (recorded {date}); nothing was stored; record consent first"
    )]
    NoConsent {
        /// The player's code.
        code: String,
        /// When that was recorded.
        date: jiff::civil::Date,
    },
    /// A case has its plans already.
    #[error(
        "{case}: on {day} it already has {} in force, and two at a time is the most; end one of \
         them, let the new plan replace one, or plan in a later case",
        listed(.plans)
    )]
    TooManyPlans {
        /// The case.
        case: super::CaseId,
        /// The day.
        day: jiff::civil::Date,
        /// The plans in force then.
        plans: Vec<super::PlanId>,
    },
    /// A plan has an end already.
    #[error(
        "{plan}: {} on {} already; change that ending, or make a new plan",
        describe_end(.end), .end.day
    )]
    AlreadyEnded {
        /// The plan.
        plan: super::PlanId,
        /// Its end.
        end: Box<super::PlanEnd>,
    },
    /// What a change made is not as it made it any more.
    #[error(
        "{change}: {what} has been changed since, so it is not put back; first take back what came after it"
    )]
    ChangedSince {
        /// The change that was to be taken back.
        change: super::ChangeId,
        /// What was changed since.
        what: String,
    },
    /// A change was taken back before.
    #[error("{change}: already taken back by {by}; take {by} back to have it again")]
    AlreadyUndone {
        /// The change.
        change: super::ChangeId,
        /// The change that took it back.
        by: super::ChangeId,
    },
    /// It came in a pack.
    #[error(
        "{what}: came in a pack, so only its sender can correct it; take that pack back, or receive a newer one"
    )]
    FromPack {
        /// What was to be changed.
        what: String,
    },
    /// A person speaks as the program.
    #[error("by: '{found}' is the program's own name; a coach signs with a code of their own")]
    ProgramsVoice {
        /// The code as given.
        found: String,
    },
    /// A value breaks a rule.
    #[error("{field}: {found}; {rule}")]
    Invalid {
        /// Which field.
        field: &'static str,
        /// What was found.
        found: String,
        /// What is allowed.
        rule: String,
    },
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<LockError> for WriteError {
    fn from(error: LockError) -> Self {
        match error {
            LockError::Locked(locked) => Self::Locked(locked),
            LockError::Store(error) => Self::Store(error),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::{Error, ErrorKind};

    use super::*;

    #[test]
    fn a_disk_that_takes_no_more_is_told_from_damage() {
        let io = |kind| StoreError::Io {
            path: "library.lock".into(),
            doing: "writing",
            source: Error::from(kind),
        };
        assert_eq!(io(ErrorKind::StorageFull).disk(), Some(ErrorKind::StorageFull));
        assert_eq!(io(ErrorKind::ReadOnlyFilesystem).disk(), Some(ErrorKind::ReadOnlyFilesystem));
        assert_eq!(io(ErrorKind::NotFound).disk(), None);
        let sql = |code| {
            let error = rusqlite::ffi::Error::new(code);
            StoreError::sql("storing")(rusqlite::Error::SqliteFailure(error, None)).disk()
        };
        assert_eq!(sql(rusqlite::ffi::SQLITE_FULL), Some(ErrorKind::StorageFull));
        assert_eq!(sql(rusqlite::ffi::SQLITE_READONLY), Some(ErrorKind::ReadOnlyFilesystem));
        assert_eq!(sql(rusqlite::ffi::SQLITE_CORRUPT), None);
    }
}
