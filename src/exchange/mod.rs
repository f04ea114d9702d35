//! Packs: one file with chosen cases of one library for another, without names.
//!
//! [`pack`] makes one, signed and locked if that is asked for; [`open()`] reads and checks one wholly
//! before anything is stored;
//! [`Writer::receive`](crate::library::Writer::receive) merges it. `FORMAT.md` beside this file
//! describes a pack entry by entry, what in it is linkable and what never leaves.
//!
//! [`export`] writes serves as arrays and tables for other programs.

mod error;
mod items;
mod key_file;
#[cfg(test)]
mod mark_tests;
mod merge;
mod open;
#[cfg(test)]
mod put_right_tests;
mod received;
mod receiver;
#[cfg(test)]
mod receiver_tests;
mod rules;
mod seal;
#[cfg(test)]
mod seal_tests;
mod share;
mod sign;
mod tables;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use error::PackError;
pub use items::{
    Arrived, Brought, CaseItem, FollowUpItem, HowEnded, Item, ItemKey, Leaving, MomentItem, Origin,
    OwnEntry, PackRow, PlanEndItem, PlanItem, PlayerItem, RecordingItem, ServeItem,
};
pub use open::{Keys, open, open_with};
pub use receiver::{ReceiverKey, ReceivingKey, is_for_keys};
pub use rules::{CatalogueNotice, PackNotice};
pub use seal::{Passphrase, is_locked};
pub use share::{Agreed, LeftOut, Packed, Protection, Request, pack, send};
pub use sign::{PackKey, Signing, fingerprint};
pub use tables::{ExportError, export, export_archive};

/// The format this program writes; it reads all from 1 on.
pub const FORMAT: u32 = 4;
const MANIFEST: &str = "manifest.json";
const CASES: &str = "cases.jsonl";
/// Only in a signed pack: the 64 bytes of the signature.
const SIGNATURE: &str = "signature";
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
    /// Public key of the signature, hex; `None`: not signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    signer: Option<String>,
    /// Pseudonyms of players whose cases left before and are taken back, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    withdrawn: Vec<String>,
    /// Cases and recordings of other players that left before and are taken back, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    withdrawn_items: Vec<ItemKey>,
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
    /// Those faults and drills, and what of the built-in ones the sender replaced, in full: kind, id,
    /// TOML; not in packs of format 1 to 3.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    entries: Vec<OwnEntry>,
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
