//! Files of what is derived, in named parts: each is read by itself and checked by its sum when it is
//! read, so that a command reads what its answer needs.
//!
//! `magic[8] | length of the head u32 | sum of the head u64 | head | parts`. The head, bincode, says
//! which library and change the file covers, and where each part lies.

use std::fs::{self, File};
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::envelope::checksum;
use super::{Library, StoreError};
use crate::files::decode;

const MAGIC: [u8; 8] = *b"PrecPart";
/// No head comes near this; hostile lengths stop here.
const HEAD_LIMIT: u32 = 16 << 20;

/// What a file of parts covers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Covers {
    /// Which library, and in which form the parts are.
    pub(crate) base: String,
    /// The last change of any player's rows that is in it.
    pub(crate) change: i64,
}

#[derive(Debug, Serialize, Deserialize)]
struct Head {
    covers: Covers,
    parts: Vec<Part>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Part {
    name: String,
    length: u64,
    sum: u64,
}

/// A file of parts, open for reading.
#[derive(Debug)]
pub(crate) struct Parts {
    file: File,
    head: Head,
    /// Where the first part begins.
    begin: u64,
}

impl Parts {
    /// Opens a file whose head is whole; `None` otherwise. What is derived is not worth an error.
    pub(crate) fn open(path: &Path) -> Option<Self> {
        let mut file = File::open(path).ok()?;
        let mut fixed = [0; 20];
        file.read_exact(&mut fixed).ok()?;
        let length = u32::from_le_bytes(fixed[8..12].try_into().ok()?);
        let sum = u64::from_le_bytes(fixed[12..].try_into().ok()?);
        if fixed[..8] != MAGIC || length > HEAD_LIMIT {
            return None;
        }
        let mut head = vec![0; length as usize];
        file.read_exact(&mut head).ok()?;
        if checksum(&head) != sum {
            return None;
        }
        let (head, _) = decode::<Head, { 1 << 28 }>(&head).ok()?;
        Some(Self { file, head, begin: 20 + u64::from(length) })
    }

    pub(crate) fn covers(&self) -> &Covers {
        &self.head.covers
    }

    /// The names of its parts, in order.
    pub(crate) fn names(&self) -> impl Iterator<Item = &str> {
        self.head.parts.iter().map(|part| part.name.as_str())
    }

    /// A part as it was written; `None` if there is none or it is damaged.
    pub(crate) fn read(&self, name: &str) -> Option<Vec<u8>> {
        let mut at = self.begin;
        for part in &self.head.parts {
            if part.name == name {
                let mut file = &self.file;
                file.seek(SeekFrom::Start(at)).ok()?;
                let mut bytes = Vec::with_capacity(usize::try_from(part.length).ok()?);
                file.take(part.length).read_to_end(&mut bytes).ok()?;
                let whole = bytes.len() as u64 == part.length && checksum(&bytes) == part.sum;
                return whole.then_some(bytes);
            }
            at += part.length;
        }
        None
    }
}

impl Library {
    /// Where a file of parts lies: its folder bears its name.
    pub(crate) fn parts_path(&self, name: &str) -> PathBuf {
        self.folder().join(name).join(format!("{name}.parts"))
    }

    /// Writes a file of parts beside the old one and puts it in its place, whole or not at all. Only
    /// in the turn to build what is derived.
    pub(crate) fn write_parts(
        &self,
        name: &str,
        covers: Covers,
        parts: &[(String, Vec<u8>)],
    ) -> Result<(), StoreError> {
        let path = self.parts_path(name);
        let new = path.with_extension("new");
        let part = |(name, bytes): &(String, Vec<u8>)| Part {
            name: name.clone(),
            length: bytes.len() as u64,
            sum: checksum(bytes),
        };
        let head = Head { covers, parts: parts.iter().map(part).collect() };
        let head = bincode::serde::encode_to_vec(&head, bincode::config::standard())
            .map_err(|error| StoreError::Curves { path: path.clone(), why: error.to_string() })?;
        self.seam.before_write("making a folder of what is derived");
        fs::create_dir_all(self.folder().join(name)).map_err(failed(&path))?;
        self.seam.before_write("writing what is derived");
        let written = File::create(&new).and_then(|mut file| {
            file.write_all(&MAGIC)?;
            file.write_all(&(head.len() as u32).to_le_bytes())?;
            file.write_all(&checksum(&head).to_le_bytes())?;
            file.write_all(&head)?;
            parts.iter().try_for_each(|(_, bytes)| file.write_all(bytes))?;
            file.sync_all()
        });
        written.map_err(failed(&new))?;
        self.seam.before_write("renaming what is derived");
        fs::rename(&new, &path).map_err(failed(&path))
    }
}

fn failed(path: &Path) -> impl FnOnce(std::io::Error) -> StoreError {
    StoreError::io(path, "writing what is derived")
}

#[cfg(test)]
mod tests {
    use tempfile::TempDir;

    use super::*;

    /// Every byte counts: with any one of them changed, or the file cut anywhere, either the file does
    /// not open or the part it lies in is not given out.
    #[test]
    fn whatever_byte_is_damaged_no_wrong_part_comes_out() {
        let folder = TempDir::new().unwrap();
        let library = Library::create(folder.path()).unwrap();
        let parts =
            [("a".to_owned(), b"first".to_vec()), ("b".to_owned(), b"the second part".to_vec())];
        let covers = Covers { base: "x 1".to_owned(), change: 7 };
        library.write_parts("outcomes", covers.clone(), &parts).unwrap();
        let path = library.parts_path("outcomes");
        let opened = Parts::open(&path).unwrap();
        assert_eq!(opened.covers(), &covers);
        assert_eq!(opened.names().collect::<Vec<_>>(), ["a", "b"]);
        for (name, bytes) in &parts {
            assert_eq!(opened.read(name).as_ref(), Some(bytes));
        }
        assert_eq!(opened.read("c"), None);
        let whole = fs::read(&path).unwrap();
        let mut refused = 0;
        let mut check = |bytes: &[u8]| {
            fs::write(&path, bytes).unwrap();
            let found = Parts::open(&path);
            let read = |name| found.as_ref().and_then(|found| found.read(name));
            let wrong =
                parts.iter().filter(|(name, bytes)| read(name).is_some_and(|b| b != *bytes));
            assert_eq!(wrong.count(), 0);
            refused += usize::from(parts.iter().any(|(name, _)| read(name).is_none()));
        };
        for at in 0..whole.len() {
            let mut damaged = whole.clone();
            damaged[at] ^= 1 << (at % 8);
            check(&damaged);
            check(&whole[..at]);
        }
        assert_eq!(refused, 2 * whole.len());
    }
}
