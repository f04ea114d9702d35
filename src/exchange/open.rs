//! From the bytes of a pack to items, checked to the last serve before anything is stored.

use std::collections::BTreeSet;
use std::io::{Cursor, Read};

use jiff::Timestamp;
use zip::ZipArchive;

use super::{CASES, FORMAT, MADE, MANIFEST, Manifest, PackError, Passphrase, SIGNATURE};
use super::{ReceivingKey, is_for_keys, is_locked, receiver, seal, sign};
use crate::catalogue::Catalogue;
use crate::exchange::{Arrived, Item};
use crate::library::is_print;
use crate::remedy::excerpt;

/// Largest signature, bytes; the right one has 64.
const SIGNATURE_LIMIT: usize = 1024;
/// Largest manifest, bytes.
const MANIFEST_LIMIT: usize = 4 << 20;
/// Largest entry of cases, bytes: about ten thousand serves and more.
const CASES_LIMIT: usize = 1 << 30;
/// Largest fault or drill, bytes; the largest built-in one has a tenth of it.
const ENTRY_LIMIT: usize = 64 << 10;
/// So many names are told of a file that is no pack.
const LISTED: usize = 8;
/// An entry this much larger than the whole file is no motion data.
const RATIO: usize = 50;
/// Below this size the ratio is not looked at.
const RATIO_FROM: usize = 1 << 20;

type Zip<'a> = ZipArchive<Cursor<&'a [u8]>>;

/// Reads a pack: its entries and their names, sizes while they inflate, hashes, formats, every
/// value against the rules of the store, every serve to its last sample.
///
/// The hashes show damage and careless change. Who made the pack is shown by its signature, as far
/// as its key is known to be the sender's. `passphrase` opens a locked pack and is ignored for
/// others.
///
/// # Errors
/// [`PackError`] with what is wrong; nothing was stored.
pub fn open(bytes: &[u8], passphrase: Option<&Passphrase>) -> Result<Arrived, PackError> {
    open_with(bytes, Keys { passphrase, own: None })
}

/// What opens a locked pack.
#[derive(Debug, Clone, Copy, Default)]
pub struct Keys<'a> {
    /// For a pack under a passphrase.
    pub passphrase: Option<&'a Passphrase>,
    /// For a pack that is for this library.
    pub own: Option<&'a ReceivingKey>,
}

/// As [`open()`], a pack for this library's own key too.
///
/// # Errors
/// As [`open()`].
pub fn open_with(bytes: &[u8], keys: Keys<'_>) -> Result<Arrived, PackError> {
    if is_for_keys(bytes) {
        let own = keys.own.ok_or(PackError::NotForUs)?;
        return open_within(&receiver::unlock_with(bytes, own)?, CASES_LIMIT);
    }
    if is_locked(bytes) {
        let passphrase = keys.passphrase.ok_or(PackError::Locked)?;
        return open_within(&seal::unlock(bytes, passphrase)?, CASES_LIMIT);
    }
    open_within(bytes, CASES_LIMIT)
}

pub(super) fn open_within(bytes: &[u8], limit: usize) -> Result<Arrived, PackError> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| not_a_pack(&error))?;
    check_entries(&archive)?;
    let head = inflate(&mut archive, MANIFEST, MANIFEST_LIMIT, bytes.len())?;
    let manifest = read_manifest(&head)?;
    check_signature(&manifest, &head, &mut archive, bytes.len())?;
    let lines = inflate(&mut archive, CASES, limit, bytes.len())?;
    check_hash(&manifest, &lines)?;
    let items = read_items(&lines)?;
    check_whole(&manifest, &items)?;
    Ok(Arrived {
        id: manifest.id,
        sender: manifest.sender,
        academy: manifest.academy,
        made: manifest.made,
        signer: manifest.signer,
        withdrawn: manifest.withdrawn,
        withdrawn_items: manifest.withdrawn_items,
        names: manifest.catalogue.own,
        entries: manifest.catalogue.entries,
        items,
    })
}

fn check_entries(archive: &Zip<'_>) -> Result<(), PackError> {
    let count = archive.len();
    let mut names: Vec<String> = (0..count.min(LISTED))
        .map(|at| match archive.name_for_index(at) {
            Some(Ok(name)) => name.into_owned(),
            _ => "(unreadable)".to_owned(),
        })
        .collect();
    names.sort();
    if count > 3 || (names != [CASES, MANIFEST] && names != [CASES, MANIFEST, SIGNATURE]) {
        return Err(PackError::Entries {
            found: listed(names.iter().map(String::as_str), count),
            expected: format!("{MANIFEST}, {CASES} and, if signed, {SIGNATURE}"),
        });
    }
    Ok(())
}

/// Some of the names that a file gives what it holds, as a person can read them: a hostile one gives millions, or
/// one of a million letters.
fn listed<'a>(names: impl Iterator<Item = &'a str>, count: usize) -> String {
    let names: Vec<String> =
        names.take(LISTED).map(|name| excerpt(name, 64).escape_debug().to_string()).collect();
    format!("{} ({count} in all)", names.join(", "))
}

/// An entry's bytes; stops as soon as it is larger than believed.
fn inflate(
    archive: &mut Zip<'_>,
    entry: &'static str,
    limit: usize,
    file: usize,
) -> Result<Vec<u8>, PackError> {
    let mut reader = archive.by_name(entry).map_err(|error| not_a_pack(&error))?;
    let mut content = Vec::new();
    let mut part = vec![0; 1 << 16];
    loop {
        let read = reader.read(&mut part).map_err(|error| {
            let why = format!("{entry} does not inflate ({error})");
            PackError::NotAPack { why }
        })?;
        if read == 0 {
            return Ok(content);
        }
        content.extend_from_slice(&part[..read]);
        if content.len() > limit {
            return Err(PackError::TooLarge { entry, limit: format!("{limit} bytes") });
        }
        if content.len() > RATIO_FROM && content.len() / RATIO > file {
            let limit = format!("{RATIO} times the size of the file");
            return Err(PackError::TooLarge { entry, limit });
        }
    }
}

fn read_manifest(head: &[u8]) -> Result<Manifest, PackError> {
    let part = |why: String| PackError::Part { place: MANIFEST.to_owned(), why };
    let value: serde_json::Value =
        serde_json::from_slice(head).map_err(|error| part(error.to_string()))?;
    let format = value.get("format").cloned().unwrap_or_default();
    if !format.as_u64().is_some_and(|format| (1..=u64::from(FORMAT)).contains(&format)) {
        return Err(PackError::Format { found: format.to_string(), known: FORMAT });
    }
    let manifest: Manifest =
        serde_json::from_value(value).map_err(|error| part(error.to_string()))?;
    let id = manifest.right_id().map_err(|error| part(error.to_string()))?;
    if id != manifest.id {
        return Err(PackError::Changed {
            place: MANIFEST.to_owned(),
            found: format!("blake3 {id}"),
            expected: manifest.id,
        });
    }
    let made: Timestamp =
        manifest.made.parse().map_err(|error: jiff::Error| part(format!("made: {error}")))?;
    if made.strftime(MADE).to_string() != manifest.made {
        return Err(part(format!("made: '{}', expected {MADE}", manifest.made)));
    }
    // One made in the future would stand above every later one.
    let latest = Timestamp::now() + jiff::SignedDuration::from_hours(48);
    if made > latest {
        return Err(part(format!("made: {made} is in the future; check the clock here")));
    }
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-';
    if manifest.sender.is_empty()
        || manifest.sender.len() > 64
        || !manifest.sender.chars().all(plain)
    {
        return Err(part("sender: not the id of a library".to_owned()));
    }
    if !manifest.withdrawn.iter().all(|one| is_print(one))
        || !manifest.withdrawn.is_sorted_by(|a, b| a < b)
    {
        return Err(part("withdrawn: expected pseudonyms of 64 hex digits, in order".to_owned()));
    }
    let gone = &manifest.withdrawn_items;
    let is_key = |key: &super::ItemKey| {
        let uid = match key.kind.as_str() {
            "case" => key.uid.parse::<jiff::civil::Date>().is_ok(),
            "recording" => is_print(&key.uid),
            _ => false,
        };
        uid && is_print(&key.player)
    };
    if !gone.iter().all(is_key) || !gone.is_sorted_by(|a, b| a < b) {
        let expected = "withdrawn_items: expected days of cases and ids of recordings, in order";
        return Err(part(expected.to_owned()));
    }
    let short = |text: &String| text.len() <= 200 && !text.contains(char::is_control);
    let own = &manifest.catalogue.own;
    if own.len() > 1000
        || !own.iter().all(|(kind, id, name)| [kind, id, name].into_iter().all(short))
    {
        return Err(part("catalogue: a name is too long, or there are too many".to_owned()));
    }
    for entry in &manifest.catalogue.entries {
        let whole = short(&entry.id)
            && entry.toml.len() <= ENTRY_LIMIT
            && Catalogue::is_entry(&entry.toml, entry.kind, &entry.id);
        if !whole {
            let id: String = entry.id.escape_debug().take(60).collect();
            return Err(part(format!("catalogue: '{id}' is not one {}", entry.kind.name())));
        }
    }
    Ok(manifest)
}

/// A manifest that names a key is signed with it, and no other pack has a signature.
fn check_signature(
    manifest: &Manifest,
    head: &[u8],
    archive: &mut Zip<'_>,
    file: usize,
) -> Result<(), PackError> {
    match (&manifest.signer, archive.index_for_name(SIGNATURE).is_some()) {
        (None, false) => Ok(()),
        (Some(key), true) => {
            sign::check(key, head, &inflate(archive, SIGNATURE, SIGNATURE_LIMIT, file)?)
        }
        (Some(_), false) => Err(PackError::Signature {
            why: "the manifest names a key, but there is no signature".to_owned(),
        }),
        (None, true) => {
            Err(PackError::Signature { why: "the manifest names no key for it".to_owned() })
        }
    }
}

fn check_hash(manifest: &Manifest, lines: &[u8]) -> Result<(), PackError> {
    let (Some(entry), 1) = (manifest.entries.get(CASES), manifest.entries.len()) else {
        let names = manifest.entries.keys().map(String::as_str);
        let found = listed(names, manifest.entries.len());
        return Err(PackError::Entries { found, expected: CASES.to_owned() });
    };
    let hash = blake3::hash(lines).to_hex();
    if hash.as_str() != entry.blake3 || lines.len() as u64 != entry.bytes {
        return Err(PackError::Changed {
            place: CASES.to_owned(),
            found: format!("{} bytes, blake3 {hash}", lines.len()),
            expected: format!("{} bytes, blake3 {}", entry.bytes, entry.blake3),
        });
    }
    Ok(())
}

fn read_items(lines: &[u8]) -> Result<Vec<Item>, PackError> {
    let Some(lines) = lines.strip_suffix(b"\n") else {
        return if lines.is_empty() {
            Ok(Vec::new())
        } else {
            let why = "the last line is cut short".to_owned();
            Err(PackError::Part { place: CASES.to_owned(), why })
        };
    };
    let place = |at: usize| format!("{CASES}, line {}", at + 1);
    lines
        .split(|&byte| byte == b'\n')
        .enumerate()
        .map(|(at, line)| {
            let item: Item = serde_json::from_slice(line)
                .map_err(|error| PackError::Part { place: place(at), why: error.to_string() })?;
            item.check()
                .map_err(|why| PackError::Rule { place: place(at), source: Box::new(why) })?;
            Ok(item)
        })
        .collect()
}

/// Everything belongs to something in the pack, nothing is there twice, the counts are right.
fn check_whole(manifest: &Manifest, items: &[Item]) -> Result<(), PackError> {
    let mut keys = BTreeSet::new();
    for (at, item) in items.iter().enumerate() {
        if !keys.insert((item.kind(), item.owner(), item.uid())) {
            let why = format!("the {} is in it twice", item.kind());
            return Err(PackError::Part { place: format!("{CASES}, line {}", at + 1), why });
        }
    }
    let mut serves = 0;
    for (at, item) in items.iter().enumerate() {
        let part = |why: &str| PackError::Part {
            place: format!("{CASES}, line {}", at + 1),
            why: why.to_owned(),
        };
        if manifest.withdrawn.binary_search_by(|gone| gone.as_str().cmp(item.owner())).is_ok() {
            return Err(part("its player is taken back in the same pack"));
        }
        let key = super::ItemKey {
            player: item.owner().to_owned(),
            kind: item.kind().to_owned(),
            uid: item.uid(),
        };
        if manifest.withdrawn_items.binary_search(&key).is_ok() {
            return Err(part("it is taken back in the same pack"));
        }
        if !keys.contains(&("player", item.owner(), String::new())) {
            return Err(part("its player is not in the pack"));
        }
        if let Item::Recording(recording) = item {
            serves += recording.serves.len();
            if !keys.contains(&("case", item.owner(), recording.day.to_string())) {
                return Err(part("its case is not in the pack"));
            }
        }
    }
    let of = |kind: &str| keys.iter().filter(|key| key.0 == kind).count();
    let found = (of("player"), of("case"), of("recording"), serves);
    let said = (manifest.players, manifest.cases, manifest.recordings, manifest.serves);
    if found != said {
        let words = |(players, cases, recordings, serves): (usize, usize, usize, usize)| {
            format!("{players} players, {cases} cases, {recordings} recordings, {serves} serves")
        };
        return Err(PackError::Changed {
            place: CASES.to_owned(),
            found: words(found),
            expected: words(said),
        });
    }
    Ok(())
}

fn not_a_pack(error: &zip::result::ZipError) -> PackError {
    let why = match error {
        zip::result::ZipError::InvalidArchive(_) => {
            "it is cut off, or another kind of file".to_owned()
        }
        other => other.to_string(),
    };
    PackError::NotAPack { why }
}
