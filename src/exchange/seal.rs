//! A pack under a passphrase: Argon2id (RFC 9106) makes the key, ChaCha20-Poly1305 (RFC 8439)
//! encrypts the file part by part, each part bound to its place and the last one to being last
//! (Hoang, Reyhanitabar, Rogaway & Vizar 2015, doi 10.1007/978-3-662-47989-6_24).

use argon2::{Algorithm, Argon2, Params, Version};
use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{ChaCha20Poly1305, Key, Nonce};
use rand::RngCore;
use rand::rngs::OsRng;
use zeroize::Zeroizing;

use super::PackError;
use crate::library::StoreError;
use crate::work::{Stage, Watch};

pub(super) const MAGIC: &[u8; 8] = b"PrecSeal";
const VERSION: u32 = 1;
/// Magic, version, cost, salt, start of the nonces, check of the passphrase.
const HEAD: usize = 80;
/// Bytes of the pack in one part.
pub(super) const PART: usize = 1 << 16;
pub(super) const TAG: usize = 16;
/// Most memory a pack may ask for, KiB; looked at before any is taken.
const MEMORY_LIMIT_KIB: u32 = 256 * 1024;
const PASSES_LIMIT: u32 = 10;
const LANES_LIMIT: u32 = 16;
/// Fewest characters of a passphrase a pack is locked with.
const LEAST_CHARACTERS: usize = 12;
const LONGEST: usize = 1024;

/// A passphrase; wiped from memory when dropped, never printed.
#[derive(Clone)]
pub struct Passphrase(Zeroizing<String>);

impl std::fmt::Debug for Passphrase {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Passphrase(..)")
    }
}

impl Passphrase {
    /// The first line of `text`, byte for byte, without its end.
    ///
    /// # Errors
    /// [`PackError::BadPassphrase`] for an empty one or one beyond 1024 bytes.
    pub fn new(text: &Zeroizing<String>) -> Result<Self, PackError> {
        let line = text.split(['\r', '\n']).next().unwrap_or_default();
        if line.is_empty() || line.len() > LONGEST {
            let found = format!("{} bytes", line.len());
            return Err(PackError::BadPassphrase { found, rule: "1 to 1024 bytes in one line" });
        }
        Ok(Self(Zeroizing::new(line.to_owned())))
    }

    /// Whether it is long enough to lock a pack with.
    ///
    /// # Errors
    /// [`PackError::BadPassphrase`] below 12 characters.
    pub fn check_strong(&self) -> Result<(), PackError> {
        let characters = self.0.chars().count();
        if characters >= LEAST_CHARACTERS {
            return Ok(());
        }
        Err(PackError::BadPassphrase {
            found: format!("{characters} characters"),
            rule: "at least 12 characters, for example four words picked at random",
        })
    }
}

/// What it costs to try a passphrase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cost {
    pub(super) memory_kib: u32,
    pub(super) passes: u32,
    pub(super) lanes: u32,
}

impl Cost {
    /// The second recommended choice of RFC 9106, section 4: 64 MiB, 3 passes, 4 lanes.
    pub(super) const USUAL: Self = Self { memory_kib: 64 * 1024, passes: 3, lanes: 4 };

    fn params(self) -> Result<Params, PackError> {
        for (what, found, limit) in [
            ("memory (KiB)", self.memory_kib, MEMORY_LIMIT_KIB),
            ("passes", self.passes, PASSES_LIMIT),
            ("lanes", self.lanes, LANES_LIMIT),
        ] {
            if found > limit {
                return Err(PackError::Greedy { what, found, limit });
            }
        }
        Params::new(self.memory_kib, self.passes, self.lanes, Some(64))
            .map_err(|error| PackError::NotAPack { why: format!("its lock says: {error}") })
    }
}

/// Whether these bytes begin like a pack under a passphrase.
#[must_use]
pub fn is_locked(bytes: &[u8]) -> bool {
    bytes.starts_with(MAGIC) && !super::receiver::is_for_keys(bytes)
}

/// The key of the parts, and what the head holds to tell a wrong passphrase.
fn keys(
    passphrase: &Passphrase,
    salt: &[u8],
    cost: Cost,
) -> Result<(ChaCha20Poly1305, [u8; 32]), PackError> {
    let mut both = Zeroizing::new([0; 64]);
    Argon2::new(Algorithm::Argon2id, Version::V0x13, cost.params()?)
        .hash_password_into(passphrase.0.as_bytes(), salt, &mut both[..])
        .map_err(|error| PackError::NotAPack { why: format!("its lock says: {error}") })?;
    let mut key = Zeroizing::new([0; 32]);
    key.copy_from_slice(&both[..32]);
    let mut check = [0; 32];
    check.copy_from_slice(&both[32..]);
    Ok((ChaCha20Poly1305::new(&Key::from(*key)), check))
}

fn nonce(start: &[u8], part: usize, last: bool) -> Result<Nonce, PackError> {
    let number = u32::try_from(part)
        .map_err(|_| PackError::NotAPack { why: "too many parts".to_owned() })?;
    let mut nonce = [0; 12];
    nonce[..7].copy_from_slice(start);
    nonce[7..11].copy_from_slice(&number.to_le_bytes());
    nonce[11] = u8::from(last);
    Ok(Nonce::from(nonce))
}

/// Locks a pack. Cost: Argon2id once, and twice the pack's memory.
///
/// `watch` is told before and after the key is made and before each part. Making the key is one call
/// of a library that asks nobody: a stop waits for its end, a fraction of a second at
/// [`Cost::USUAL`].
pub(super) fn lock(
    pack: &[u8],
    passphrase: &Passphrase,
    cost: Cost,
    watch: &Watch,
) -> Result<Vec<u8>, PackError> {
    let step = |stage, done, of| watch.step(stage, done, of).map_err(StoreError::from);
    let mut salt = [0; 16];
    let mut start = [0; 7];
    OsRng.fill_bytes(&mut salt);
    OsRng.fill_bytes(&mut start);
    step(Stage::Keys, 0, 1)?;
    let (cipher, check) = keys(passphrase, &salt, cost)?;
    step(Stage::Keys, 1, 1)?;
    let mut file = Vec::with_capacity(HEAD);
    file.extend(MAGIC);
    for number in [VERSION, cost.memory_kib, cost.passes, cost.lanes] {
        file.extend(number.to_le_bytes());
    }
    file.extend(salt);
    file.extend(start);
    file.push(0);
    file.extend(check);
    encrypt_parts(file, pack, &start, &cipher, watch)
}

/// The head and, after it, the pack part by part.
pub(super) fn encrypt_parts(
    head: Vec<u8>,
    pack: &[u8],
    start: &[u8],
    cipher: &ChaCha20Poly1305,
    watch: &Watch,
) -> Result<Vec<u8>, PackError> {
    let mut file = head.clone();
    file.reserve(pack.len() + TAG * (pack.len() / PART + 1));
    let last = pack.chunks(PART).count().saturating_sub(1);
    for (number, msg) in pack.chunks(PART).enumerate() {
        watch.step(Stage::Parts, number, last + 1).map_err(StoreError::from)?;
        let nonce = nonce(start, number, number == last)?;
        let part = cipher
            .encrypt(&nonce, Payload { msg, aad: &head })
            .map_err(|_| PackError::NotAPack { why: "a part is too long".to_owned() })?;
        file.extend(part);
    }
    Ok(file)
}

/// The pack in the parts after a head, all of them or none.
pub(super) fn decrypt_parts(
    head: &[u8],
    parts: &[u8],
    start: &[u8],
    cipher: &ChaCha20Poly1305,
) -> Result<Vec<u8>, PackError> {
    let count = parts.chunks(PART + TAG).count();
    let mut pack = Vec::with_capacity(parts.len());
    for (number, msg) in parts.chunks(PART + TAG).enumerate() {
        let nonce = nonce(start, number, number + 1 == count)?;
        let part = cipher.decrypt(&nonce, Payload { msg, aad: head }).map_err(|_| {
            let place = format!("locked part {} of {count}", number + 1);
            PackError::Part { place, why: "changed, moved or cut off".to_owned() }
        })?;
        pack.extend(part);
    }
    Ok(pack)
}

/// The pack in a locked file, if every part of it is the one that was locked there.
///
/// Nothing of it is handed out before all of it verifies.
pub(super) fn unlock(file: &[u8], passphrase: &Passphrase) -> Result<Vec<u8>, PackError> {
    let cut_off = || PackError::NotAPack { why: format!("{} bytes, cut off", file.len()) };
    let (head, parts) = file.split_at_checked(HEAD).ok_or_else(cut_off)?;
    let (numbers, _) = head[8..24].as_chunks::<4>();
    let [version, memory_kib, passes, lanes] =
        [0, 1, 2, 3].map(|at: usize| u32::from_le_bytes(numbers[at]));
    if version != VERSION {
        return Err(PackError::Lock { found: version, known: VERSION });
    }
    let cost = Cost { memory_kib, passes, lanes };
    // A file too short to hold anything is not worth the work.
    if parts.len() <= TAG {
        return Err(cut_off());
    }
    let (cipher, check) = keys(passphrase, &head[24..40], cost)?;
    if check != head[48..80] {
        return Err(PackError::WrongPassphrase);
    }
    decrypt_parts(head, parts, &head[40..47], &cipher)
}
