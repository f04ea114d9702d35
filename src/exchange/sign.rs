//! Who made a pack: an Ed25519 signature (RFC 8032) over its manifest, which holds the hash of
//! everything else.

use std::path::Path;

use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::Serialize;

use super::PackError;
use super::key_file::{KeyFile, hex, unhex};
use crate::exchange::{Arrived, PackRow};

const FILE: KeyFile = KeyFile { name: "signing.key", first_line: "precedent signing key 1" };
/// Goes before the manifest, so that no signature made for anything else fits.
pub(super) const CONTEXT: &[u8] = b"precedent pack\0";

/// The signing key of a library: `signing.key` in its folder, readable by its owner alone.
///
/// Whoever has the file signs as this library. It never enters a pack.
#[derive(Debug)]
pub struct PackKey(SigningKey);

impl PackKey {
    /// The key in a library's folder, made there with the first call.
    ///
    /// # Errors
    /// [`PackError::Key`] if it can not be read or written, is damaged, or others may read it.
    pub fn of(folder: &Path) -> Result<Self, PackError> {
        FILE.secret(folder).map(|seed| Self(SigningKey::from_bytes(&seed)))
    }

    /// The public half, as 64 hex digits.
    #[must_use]
    pub fn public(&self) -> String {
        hex(self.0.verifying_key().as_bytes())
    }

    /// The public half as people compare it; see [`fingerprint`].
    #[must_use]
    pub fn fingerprint(&self) -> String {
        fingerprint(&self.public())
    }

    pub(super) fn sign(&self, manifest: &[u8]) -> [u8; 64] {
        self.0.sign(&[CONTEXT, manifest].concat()).to_bytes()
    }

    #[cfg(test)]
    pub(super) fn from_seed(seed: [u8; 32]) -> Self {
        Self(SigningKey::from_bytes(&seed))
    }
}

/// Whether `signature` over `manifest` was made with the key whose public half is `key`.
pub(super) fn check(key: &str, manifest: &[u8], signature: &[u8]) -> Result<(), PackError> {
    let fails = |why: &str| PackError::Signature { why: why.to_owned() };
    let key = unhex::<32>(key).ok_or_else(|| fails("its key is not 64 small hex digits"))?;
    let key = VerifyingKey::from_bytes(&key).map_err(|_| fails("its key is not a valid point"))?;
    let signature = Signature::from_slice(signature).map_err(|_| fails("it is not 64 bytes"))?;
    // Strict: refuses keys under which one signature fits many messages.
    key.verify_strict(&[CONTEXT, manifest].concat(), &signature)
        .map_err(|_| fails("it does not belong to this manifest and key"))
}

/// A key as people compare it over the telephone: eight groups of four hex digits of its blake3.
#[must_use]
pub fn fingerprint(key: &str) -> String {
    let digits = blake3::hash(key.as_bytes()).to_hex();
    let (groups, _) = digits.as_bytes()[..32].as_chunks::<4>();
    let groups: Vec<_> = groups.iter().map(|group| String::from_utf8_lossy(group)).collect();
    groups.join(" ")
}

/// What a pack's signature says, seen against the packs that are here already.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Signing {
    /// Not signed, and none of this sender's packs here is.
    None,
    /// Signed with a key not seen before; nothing speaks against it.
    New,
    /// Signed with the key of an earlier pack of this sender.
    Same,
    /// Not signed, but earlier packs of this sender are.
    NoLonger,
    /// Signed with another key than earlier packs of this sender.
    Other,
}

impl Signing {
    /// Compares with the packs of the same library or of the same academy's name: a name is easily
    /// taken by somebody else.
    #[must_use]
    pub fn of(pack: &Arrived, here: &[PackRow]) -> Self {
        let name = |academy: &Option<String>| academy.as_ref().map(|name| name.to_lowercase());
        let own = name(&pack.academy);
        let known: Vec<&String> = here
            .iter()
            .filter(|row| row.sender == pack.sender || (own.is_some() && name(&row.academy) == own))
            .filter_map(|row| row.signer.as_ref())
            .collect();
        match &pack.signer {
            None if known.is_empty() => Self::None,
            None => Self::NoLonger,
            Some(key) if known.contains(&key) => Self::Same,
            Some(_) if known.is_empty() => Self::New,
            Some(_) => Self::Other,
        }
    }

    /// Whether somebody else may have made the pack in the sender's name.
    #[must_use]
    pub fn is_suspect(self) -> bool {
        matches!(self, Self::NoLonger | Self::Other)
    }

    /// In words, with the key's fingerprint where there is one.
    #[must_use]
    pub fn describe(self, pack: &Arrived) -> String {
        let key = pack.signer.as_deref().map(fingerprint).unwrap_or_default();
        match self {
            Self::None => "not signed: nothing shows who made it".to_owned(),
            Self::New => {
                format!("signed with a key new here: {key}; compare it with the sender once")
            }
            Self::Same => format!("signed with the key of earlier packs: {key}"),
            Self::NoLonger => "NOT SIGNED, though earlier packs of this sender are".to_owned(),
            Self::Other => format!("signed with ANOTHER KEY than earlier packs: {key}"),
        }
    }
}
