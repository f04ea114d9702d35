use std::path::PathBuf;

use thiserror::Error;

use crate::find::FilterError;
use crate::library::{StoreError, WriteError};

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
        "pack of format {found}, this program reads formats 1 to {known}; ask the sender for one \
         of these, or get a newer version of the program"
    )]
    Format {
        /// Format number in the pack.
        found: String,
        /// Newest format number known.
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
    /// It is locked, and no passphrase was given.
    #[error("the pack is locked; give its passphrase (the sender tells you over the phone)")]
    Locked,
    /// The passphrase is not the one it was locked with.
    #[error(
        "the passphrase does not open this pack; check it letter by letter with the sender, nothing was stored"
    )]
    WrongPassphrase,
    /// It is for other receivers.
    #[error(
        "the pack is locked for another library; send the sender the key of this one and ask for a new \
         pack; nothing was stored"
    )]
    NotForUs,
    /// A receiver's key that no pack can be locked with.
    #[error(
        "receiver's key: {why}; ask the receiver for it again, as one line, and compare its \
         fingerprint"
    )]
    BadReceiver {
        /// What is wrong.
        why: String,
    },
    /// No passphrase to work with.
    #[error("passphrase of {found}; expected {rule}")]
    BadPassphrase {
        /// Its length.
        found: String,
        /// What is allowed.
        rule: &'static str,
    },
    /// Trying a passphrase would take more than any pack of this program asks for.
    #[error(
        "its lock asks for {found} {what}, and at most {limit} is allowed; do not trust this \
         file, nothing was stored"
    )]
    Greedy {
        /// Of what.
        what: &'static str,
        /// What it asks for.
        found: u32,
        /// The limit.
        limit: u32,
    },
    /// Locked in another version's way.
    #[error(
        "locked in form {found}, this program knows form {known}; ask the sender for one of form \
         {known}, or get a newer version of the program"
    )]
    Lock {
        /// Form found.
        found: u32,
        /// Form known.
        known: u32,
    },
    /// The signature does not fit.
    #[error("the signature is wrong: {why}; nothing was stored, do not trust this file")]
    Signature {
        /// What is wrong.
        why: String,
    },
    /// The library's own signing key is not usable.
    #[error("{}: {why}", .file.display())]
    Key {
        /// The key's file.
        file: PathBuf,
        /// What is wrong and what to do.
        why: String,
    },
    /// The filter asks for something this library does not have.
    #[error(transparent)]
    Filter(#[from] FilterError),
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
}
