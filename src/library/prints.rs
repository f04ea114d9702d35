//! Keyed prints: what stands for a player or a motion where nothing may say who it was.

use rusqlite::{Connection, OptionalExtension};

use super::{Library, PlayerId, StoreError};

/// blake3 of `value` under a key drawn from the library's secret for this one purpose.
pub(crate) fn keyed_print(
    db: &Connection,
    purpose: &str,
    value: &[u8],
) -> Result<blake3::Hash, StoreError> {
    let secret: Option<[u8; 32]> = db
        .prepare_cached("SELECT secret FROM secrets")
        .and_then(|mut statement| statement.query_row([], |row| row.get(0)).optional())
        .map_err(StoreError::sql("reading the secret"))?;
    let secret = secret.ok_or_else(|| StoreError::NoSuch { what: "the secret".to_owned() })?;
    let key = *blake3::keyed_hash(&secret, purpose.as_bytes()).as_bytes();
    Ok(blake3::keyed_hash(&key, value))
}

/// Whether this is a blake3, pseudonym or key as text: 64 small hex digits.
#[must_use]
pub fn is_print(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|c| matches!(c, b'0'..=b'9' | b'a'..=b'f'))
}

impl Library {
    /// Pseudonym of a player of this library, as packs name the player.
    pub(crate) fn pseudonym(&self, player: PlayerId) -> Result<String, StoreError> {
        self.pseudonymise("player", &self.uid_of("players", player.0)?)
    }

    pub(crate) fn pseudonymise(&self, purpose: &str, value: &str) -> Result<String, StoreError> {
        Ok(keyed_print(&self.connection, purpose, value.as_bytes())?.to_hex().to_string())
    }

    pub(crate) fn uid_of(&self, table: &'static str, id: i64) -> Result<String, StoreError> {
        self.connection
            .prepare_cached(&format!("SELECT uid FROM {table} WHERE id = ?1"))
            .and_then(|mut statement| statement.query_row([id], |row| row.get(0)))
            .map_err(StoreError::sql("reading an id"))
    }
}
