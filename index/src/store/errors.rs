//! What can go wrong with an index and its file.

use std::io;
use std::path::PathBuf;

use thiserror::Error;

use crate::params::ParamError;

/// Why an index could not be built, opened, changed or read.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum StoreError {
    /// The operating system refused.
    #[error("{path}: {action} failed; check space and permissions")]
    Io {
        /// The index file.
        path: PathBuf,
        /// What was tried.
        action: &'static str,
        /// The system's answer.
        source: io::Error,
    },
    /// Not an index file.
    #[error("{path}: no curve index here (expected 'CURVEIDX' at the start); rebuild the index")]
    NotAnIndex {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer or older program.
    #[error(
        "{path}: format {found}, this program reads formats 1 to {expected}; rebuild the index"
    )]
    Format {
        /// The file.
        path: PathBuf,
        /// Format number in the file.
        found: u32,
        /// Format number this crate reads and writes.
        expected: u32,
    },
    /// Made by a program with another arrangement of sketches and boxes.
    #[error("{path}: {what}: {found}, this program reads {expected}; rebuild the index")]
    Constant {
        /// The file.
        path: PathBuf,
        /// What the number is of.
        what: &'static str,
        /// The number in the file.
        found: u32,
        /// The number this crate reads.
        expected: u32,
    },
    /// A checksum or a length does not hold.
    #[error("{path}: {what} is damaged; rebuild the index from its source")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Which part.
        what: &'static str,
    },
    /// Somebody else has the file open for writing.
    #[error("{path}: open for writing elsewhere; close it there or open it for reading")]
    Locked {
        /// The file.
        path: PathBuf,
    },
    /// The index was opened for reading.
    #[error("{path}: opened for reading; open it for writing to change it")]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// A curve that does not belong here.
    #[error("id {id}: {source}")]
    Curve {
        /// The id it was given with.
        id: u64,
        /// The rule that does not hold.
        source: ParamError,
    },
    /// An id that is there already.
    #[error("id {id} is given twice; delete the old curve first or choose another id")]
    DuplicateId {
        /// The id.
        id: u64,
    },
    /// More curves than one batch may hold.
    #[error("a batch holds at most {most} curves; split it")]
    TooMany {
        /// The limit.
        most: usize,
    },
    /// A commit was not confirmed: it may be on the disk or not.
    #[error(
        "{path}: whether an earlier change reached the disk is not known; close the index and open it again"
    )]
    Unconfirmed {
        /// The file.
        path: PathBuf,
    },
}
