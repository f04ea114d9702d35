//! Packs: as bytes, and with hashes made right again, as whoever means harm would.

use std::cell::RefCell;
use std::fs;
use std::io::{Cursor, Write};
use std::os::unix::fs::PermissionsExt;

use precedent::exchange::{
    Arrived, Keys, PackError, PackKey, ReceiverKey, ReceivingKey, fingerprint, open_with,
};
use precedent::library::Library;
use serde_json::{Value, json};
use tempfile::TempDir;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::{library, said, scratch};

thread_local! {
    static KEY_FILES: RefCell<TempDir> = RefCell::new(scratch());
    static RECEIVER: RefCell<(TempDir, Library, ReceivingKey)> = RefCell::new({
        let (folder, library) = library();
        let key = ReceivingKey::of(folder.path()).unwrap();
        (folder, library, key)
    });
}

fn open(bytes: &[u8]) -> Result<Arrived, PackError> {
    RECEIVER.with_borrow(|(.., own)| open_with(bytes, Keys { passphrase: None, own: Some(own) }))
}

/// A pack that opens is merged, which is then dropped.
fn receive(arrived: &Arrived) {
    RECEIVER.with_borrow_mut(|(_, library, _)| {
        let before = library.counts().unwrap();
        if let Err(error) = library.try_receive(arrived) {
            said(&error);
        }
        assert_eq!(library.counts().unwrap(), before, "a pack that was only tried was stored");
    });
}

pub(super) fn raw(bytes: &[u8]) {
    match open(bytes) {
        Ok(arrived) => receive(&arrived),
        Err(error) => said(&error),
    }
}

/// First line: the manifest; the rest: the cases.
pub(super) fn inside(bytes: &[u8]) {
    let cut = bytes.iter().position(|&byte| byte == b'\n').unwrap_or(bytes.len());
    let (head, lines) = (&bytes[..cut], bytes.get(cut + 1..).unwrap_or_default());
    let Ok(Value::Object(mut manifest)) = serde_json::from_slice::<Value>(head) else { return };
    let hash = blake3::hash(lines).to_hex().to_string();
    manifest
        .insert("entries".into(), json!({"cases.jsonl": {"bytes": lines.len(), "blake3": hash}}));
    // The refusal names the id that these contents would have.
    let mut manifest = Value::Object(manifest);
    if let Err(PackError::Changed { place, found, .. }) = open(&zipped(&manifest, lines))
        && place == "manifest.json"
        && let Some(id) = found.strip_prefix("blake3 ")
    {
        manifest["id"] = Value::from(id);
    }
    raw(&zipped(&manifest, lines));
}

fn zipped(manifest: &Value, lines: &[u8]) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let stored = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for (name, content) in
        [("manifest.json", manifest.to_string().as_bytes()), ("cases.jsonl", lines)]
    {
        zip.start_file(name, stored).unwrap();
        zip.write_all(content).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// As a receiver's key somebody passed on, and as the files in which a library keeps its own.
pub(super) fn keys(bytes: &[u8]) {
    if let Ok(text) = std::str::from_utf8(bytes) {
        match text.parse::<ReceiverKey>() {
            Ok(key) => {
                assert_eq!(
                    key.to_string().parse::<ReceiverKey>().unwrap().to_string(),
                    key.to_string()
                );
                assert!(!key.describe().contains(char::is_control), "{key:?}");
            }
            Err(error) => said(&error),
        }
        assert_eq!(fingerprint(text).len(), 39);
    }
    KEY_FILES.with_borrow(|folder| {
        let folder = folder.path();
        for name in ["signing.key", "receiving.key"] {
            let file = folder.join(name);
            fs::write(&file, bytes).unwrap();
            fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
        }
        if let Err(error) = PackKey::of(folder) {
            said(&error);
        }
        if let Err(error) = ReceivingKey::of(folder) {
            said(&error);
        }
        for name in ["signing.key", "receiving.key"] {
            assert_eq!(fs::read(folder.join(name)).unwrap(), bytes, "{name} was written over");
        }
    });
}
