//! Packs: one file with chosen cases of one library for another, without names.
//!
//! [`pack`] makes one, [`open`] reads and checks one wholly before anything is stored;
//! [`Writer::receive`](crate::library::Writer::receive) merges it. `FORMAT.md` beside this file
//! describes a pack entry by entry, what in it is linkable and what never leaves.

mod error;
mod open;
mod share;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use error::PackError;
pub use open::open;
pub use share::{LeftOut, Packed, Request, pack};

/// The format this program writes and reads.
pub const FORMAT: u32 = 1;
const MANIFEST: &str = "manifest.json";
const CASES: &str = "cases.jsonl";
/// How `made` is written: text in this form sorts as time.
const MADE: &str = "%Y-%m-%dT%H:%M:%S%.3fZ";

/// The first entry: what the pack is and what the other entries must be.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Manifest {
    format: u32,
    /// blake3 of this manifest as JSON with an empty id.
    id: String,
    sender: String,
    academy: Option<String>,
    made: String,
    with_notes: bool,
    catalogue: CatalogueNote,
    players: usize,
    cases: usize,
    recordings: usize,
    serves: usize,
    entries: BTreeMap<String, EntryNote>,
}

/// The catalogue the sender judged by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CatalogueNote {
    /// Version of the program, whose built-in catalogue it is.
    version: String,
    /// Faults and drills the cases name that the built-in catalogue lacks: kind, id, name.
    own: Vec<(String, String, String)>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct EntryNote {
    bytes: u64,
    blake3: String,
}

impl Manifest {
    /// The id these contents have.
    fn right_id(&self) -> Result<String, serde_json::Error> {
        let bare = Self { id: String::new(), ..self.clone() };
        Ok(blake3::hash(&serde_json::to_vec(&bare)?).to_hex().to_string())
    }
}
