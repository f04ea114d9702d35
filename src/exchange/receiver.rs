//! Packs for named receivers: each part of the file is encrypted under a key made for this pack, and
//! that key once more for every receiver (HPKE, RFC 9180, base mode: DHKEM(X25519, HKDF-SHA256),
//! HKDF-SHA256, ChaCha20-Poly1305). Nothing in the file says whose keys they are.

use std::path::Path;
use std::str::FromStr;

use chacha20poly1305::aead::KeyInit;
use chacha20poly1305::{ChaCha20Poly1305, Key};
use hpke::aead::ChaCha20Poly1305 as Wrap;
use hpke::kdf::HkdfSha256;
use hpke::kem::X25519HkdfSha256;
use hpke::{
    Deserializable, Kem, OpModeR, OpModeS, Serializable, single_shot_open, single_shot_seal,
};
use rand::RngCore;
use rand::rngs::OsRng;
use zeroize::Zeroizing;

use super::PackError;
use super::key_file::{KeyFile, hex, unhex};
use super::seal::{MAGIC, TAG, decrypt_parts, encrypt_parts};
use super::sign::fingerprint;
use crate::work::Watch;

const FILE: KeyFile = KeyFile { name: "receiving.key", first_line: "precedent receiving key 1" };
/// The form of a lock for receivers' keys, beside 1 for a passphrase.
pub(super) const FORM: u32 = 2;
/// Magic, form, number of receivers, start of the nonces, zero.
const FIXED: usize = 24;
/// An encapsulated key and the wrapped one with its tag.
const STANZA: usize = 32 + 32 + TAG;
/// Most receivers of one pack.
const MOST: usize = 64;
/// Goes before the fixed head, so that nothing sealed for another purpose opens here.
const CONTEXT: &[u8] = b"precedent pack for receivers\0";
/// How a key begins that people pass on.
const WORD: &str = "precedent-key";

type Pair = X25519HkdfSha256;

/// The key others lock packs with for this library: its public half.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReceiverKey {
    bytes: [u8; 32],
    /// What the sender calls the receiver.
    pub name: Option<String>,
}

impl ReceiverKey {
    /// As people compare it over the telephone.
    #[must_use]
    pub fn fingerprint(&self) -> String {
        fingerprint(&hex(&self.bytes))
    }

    /// The receiver's name, or the beginning of the key's fingerprint.
    #[must_use]
    pub fn describe(&self) -> String {
        let print: String = self.fingerprint().chars().take(9).collect();
        match &self.name {
            Some(name) => format!("{name} (key {print})"),
            None => format!("key {print}"),
        }
    }

    fn check(bytes: &[u8; 32]) -> String {
        blake3::hash(bytes).to_hex()[..8].to_owned()
    }
}

/// As it is passed on: `precedent-key-`, 64 hex digits and eight that tell a slip.
impl std::fmt::Display for ReceiverKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{WORD}-{}-{}", hex(&self.bytes), Self::check(&self.bytes))
    }
}

/// A key as it was passed on, with or without a name before it: `North Side=precedent-key-...`.
impl FromStr for ReceiverKey {
    type Err = PackError;

    fn from_str(text: &str) -> Result<Self, PackError> {
        let (name, key) = match text.rsplit_once('=') {
            Some((name, key)) => (Some(name.trim()).filter(|name| !name.is_empty()), key),
            None => (None, text),
        };
        let bad = |why: &str| PackError::BadReceiver { why: why.to_owned() };
        let rest = key
            .trim()
            .strip_prefix(WORD)
            .and_then(|rest| rest.strip_prefix('-'))
            .ok_or_else(|| bad("it does not begin with 'precedent-key-'"))?;
        let (digits, check) = rest.split_once('-').unwrap_or((rest, ""));
        let bytes = unhex::<32>(digits).ok_or_else(|| bad("it has not 64 small hex digits"))?;
        if check != Self::check(&bytes) {
            return Err(bad("its last eight digits do not fit the others: a slip in copying"));
        }
        if name.is_some_and(|name| name.len() > 200 || name.contains(char::is_control)) {
            return Err(bad(
                "the name before it is longer than 200 bytes or holds control characters",
            ));
        }
        Ok(Self { bytes, name: name.map(str::to_owned) })
    }
}

/// The key a library opens packs with that are for it: `receiving.key` in its folder, readable by
/// its owner alone. It never enters a pack.
pub struct ReceivingKey(Zeroizing<[u8; 32]>);

impl std::fmt::Debug for ReceivingKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("ReceivingKey(..)")
    }
}

impl ReceivingKey {
    /// The key in a library's folder, made there with the first call.
    ///
    /// # Errors
    /// [`PackError::Key`] if it can not be read or written, is damaged, or others may read it.
    pub fn of(folder: &Path) -> Result<Self, PackError> {
        FILE.secret(folder).map(Self)
    }

    /// The key, if the library has one.
    ///
    /// # Errors
    /// As [`ReceivingKey::of`].
    pub fn there(folder: &Path) -> Result<Option<Self>, PackError> {
        Ok(FILE.there(folder)?.map(Self))
    }

    /// The half to give to others.
    #[must_use]
    pub fn public(&self) -> ReceiverKey {
        let (_, public) = self.pair();
        ReceiverKey { bytes: public.to_bytes().into(), name: None }
    }

    /// Any 32 bytes are a private key of X25519.
    fn pair(&self) -> (<Pair as Kem>::PrivateKey, <Pair as Kem>::PublicKey) {
        let private = <Pair as Kem>::PrivateKey::from_bytes(&self.0[..]).expect("32 bytes");
        let public = Pair::sk_to_pk(&private);
        (private, public)
    }

    #[cfg(test)]
    pub(super) fn from_secret(secret: [u8; 32]) -> Self {
        Self(Zeroizing::new(secret))
    }
}

/// Whether these bytes begin like a pack for receivers' keys.
#[must_use]
pub fn is_for_keys(bytes: &[u8]) -> bool {
    bytes.starts_with(MAGIC) && bytes.get(8..12) == Some(&FORM.to_le_bytes()[..])
}

/// Locks a pack for these receivers. `watch` is told each part.
pub(super) fn lock_for(
    pack: &[u8],
    receivers: &[ReceiverKey],
    watch: &Watch,
) -> Result<Vec<u8>, PackError> {
    if receivers.is_empty() || receivers.len() > MOST {
        let why = format!("{} receivers, expected 1 to {MOST}", receivers.len());
        return Err(PackError::BadReceiver { why });
    }
    let mut key = Zeroizing::new([0; 32]);
    let mut start = [0; 7];
    OsRng.fill_bytes(&mut key[..]);
    OsRng.fill_bytes(&mut start);
    let mut head = MAGIC.to_vec();
    head.extend(FORM.to_le_bytes());
    head.extend((receivers.len() as u32).to_le_bytes());
    head.extend(start);
    head.push(0);
    let info = [CONTEXT, &head[..]].concat();
    for receiver in receivers {
        let refused =
            || PackError::BadReceiver { why: format!("{}: not a usable key", receiver.describe()) };
        let public =
            <Pair as Kem>::PublicKey::from_bytes(&receiver.bytes).map_err(|_| refused())?;
        let (encapsulated, wrapped) = single_shot_seal::<Wrap, HkdfSha256, Pair>(
            &OpModeS::Base,
            &public,
            &info,
            &key[..],
            b"",
        )
        .map_err(|_| refused())?;
        head.extend(encapsulated.to_bytes());
        head.extend(wrapped);
    }
    let cipher = ChaCha20Poly1305::new(&Key::from(*key));
    encrypt_parts(head, pack, &start, &cipher, watch)
}

/// The pack in a file locked for receivers, if one of them is this library and every part is the one
/// that was locked there. Nothing of it is handed out before all of it verifies.
pub(super) fn unlock_with(file: &[u8], own: &ReceivingKey) -> Result<Vec<u8>, PackError> {
    let cut_off = || PackError::NotAPack { why: format!("{} bytes, cut off", file.len()) };
    let fixed = file.get(..FIXED).ok_or_else(cut_off)?;
    let number = u32::from_le_bytes([fixed[12], fixed[13], fixed[14], fixed[15]]);
    let count = usize::try_from(number).unwrap_or(usize::MAX);
    if count == 0 || count > MOST {
        return Err(PackError::Greedy { what: "receivers", found: number, limit: MOST as u32 });
    }
    let (head, parts) = file.split_at_checked(FIXED + count * STANZA).ok_or_else(cut_off)?;
    if parts.len() <= TAG {
        return Err(cut_off());
    }
    let info = [CONTEXT, fixed].concat();
    let (private, _) = own.pair();
    let key = head[FIXED..].chunks_exact(STANZA).find_map(|stanza| {
        let (encapsulated, wrapped) = stanza.split_at(32);
        let encapsulated = <Pair as Kem>::EncappedKey::from_bytes(encapsulated).ok()?;
        let opened = single_shot_open::<Wrap, HkdfSha256, Pair>(
            &OpModeR::Base,
            &private,
            &encapsulated,
            &info,
            wrapped,
            b"",
        );
        let opened = Zeroizing::new(opened.ok()?);
        let mut key = Zeroizing::new([0; 32]);
        (opened.len() == 32).then(|| key.copy_from_slice(&opened))?;
        Some(key)
    });
    let key = key.ok_or(PackError::NotForUs)?;
    let cipher = ChaCha20Poly1305::new(&Key::from(*key));
    decrypt_parts(head, parts, &fixed[16..23], &cipher)
}
