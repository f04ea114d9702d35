//! The library's own keys: 32 secret bytes each in a file of its folder, readable by its owner alone.

use std::fs;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use rand::RngCore;
use rand::rngs::OsRng;
use zeroize::Zeroizing;

use super::PackError;

/// A kind of key: its file, and the file's first line.
pub(super) struct KeyFile {
    pub(super) name: &'static str,
    pub(super) first_line: &'static str,
}

impl KeyFile {
    /// The secret in a library's folder, made there with the first call.
    pub(super) fn secret(&self, folder: &Path) -> Result<Zeroizing<[u8; 32]>, PackError> {
        match self.there(folder)? {
            Some(secret) => Ok(secret),
            None => self.make(&folder.join(self.name)),
        }
    }

    /// The secret, if there is one.
    pub(super) fn there(&self, folder: &Path) -> Result<Option<Zeroizing<[u8; 32]>>, PackError> {
        let file = folder.join(self.name);
        match fs::read_to_string(&file) {
            Ok(text) => self.parse(&file, &Zeroizing::new(text)).map(Some),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(refused(&file, error.to_string())),
        }
    }

    fn parse(
        &self,
        file: &Path,
        text: &Zeroizing<String>,
    ) -> Result<Zeroizing<[u8; 32]>, PackError> {
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let meta = fs::metadata(file).map_err(|error| refused(file, error.to_string()))?;
            let mode = meta.permissions().mode() & 0o777;
            if mode & 0o077 != 0 {
                let why = format!("others may read it (mode {mode:o}), expected 600; chmod 600 it");
                return Err(refused(file, why));
            }
        }
        let first = self.first_line;
        text.strip_prefix(first)
            .and_then(|rest| Some(Zeroizing::new(unhex::<32>(rest.trim())?)))
            .ok_or_else(|| {
                let why = format!("expected '{first}' and 64 hex digits; take it from a copy");
                refused(file, why)
            })
    }

    fn make(&self, file: &Path) -> Result<Zeroizing<[u8; 32]>, PackError> {
        let mut secret = Zeroizing::new([0; 32]);
        OsRng.fill_bytes(&mut secret[..]);
        let text = Zeroizing::new(format!("{}\n{}\n", self.first_line, hex(&secret[..])));
        // A temporary file is its owner's alone; it appears under its name whole or not at all.
        let folder = file.parent().unwrap_or_else(|| Path::new("."));
        let write = || -> std::io::Result<()> {
            let mut new = tempfile::NamedTempFile::new_in(folder)?;
            new.write_all(text.as_bytes())?;
            new.as_file().sync_all()?;
            new.persist_noclobber(file)?;
            Ok(())
        };
        write().map_err(|error| refused(file, error.to_string()))?;
        Ok(secret)
    }
}

pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

pub(super) fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let small = |c: &u8| matches!(c, b'0'..=b'9' | b'a'..=b'f');
    if text.len() != 2 * N || !text.as_bytes().iter().all(small) {
        return None;
    }
    let mut bytes = [0; N];
    for (at, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * at..2 * at + 2], 16).ok()?;
    }
    Some(bytes)
}

fn refused(file: &Path, why: String) -> PackError {
    PackError::Key { file: PathBuf::from(file), why }
}
