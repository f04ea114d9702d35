use thiserror::Error;

use crate::library::{FilterError, StoreError, WriteError};

/// Why a pack was not made, or refused. Nothing of it is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PackError {
    /// The file is something else, or cut off.
    #[error("not a whole pack: {why}; ask the sender for the file again")]
    NotAPack {
        /// What is wrong.
        why: String,
    },
    /// It holds another set of entries.
    #[error(
        "holds the entries {found}, a pack holds {expected}; nothing was stored, do not trust this file"
    )]
    Entries {
        /// What it holds.
        found: String,
        /// What it must hold.
        expected: String,
    },
    /// It inflates beyond what is read.
    #[error("{entry} inflates beyond {limit}; no pack of this program does, nothing was stored")]
    TooLarge {
        /// The entry.
        entry: &'static str,
        /// The limit in words.
        limit: String,
    },
    /// Its contents are not those it was made with.
    #[error(
        "{place} was changed: {found}, expected {expected}; nothing was stored, ask the sender for the file again"
    )]
    Changed {
        /// Where.
        place: String,
        /// What is there.
        found: String,
        /// What the manifest says.
        expected: String,
    },
    /// Made by another version.
    #[error(
        "pack of format {found}, this program reads format {known}; ask the sender for one of format {known}, or take a newer program"
    )]
    Format {
        /// Format number in the pack.
        found: String,
        /// Format number known.
        known: u32,
    },
    /// A part does not read.
    #[error("{place}: {why}; nothing was stored, ask the sender for the file again")]
    Part {
        /// Which part, for example `cases.jsonl, line 3`.
        place: String,
        /// What is wrong.
        why: String,
    },
    /// A value breaks a rule of the store.
    #[error("{place}: {source}; nothing was stored")]
    Rule {
        /// Which part.
        place: String,
        /// The rule.
        source: Box<WriteError>,
    },
    /// The filter asks for something this library does not have.
    #[error(transparent)]
    Filter(#[from] FilterError),
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
}
