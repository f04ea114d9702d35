//! Files that could not be taken in without an answer, and what was asked.
//!
//! In `waiting/` in the library's folder, one file each, named after the content of what waits. Not
//! part of the store: a recording that waits is in no case yet. A list that is lost costs another
//! reading of the files; nothing else rests on it. [`Library::forget`] removes what mentions the
//! player.

use std::fs;
use std::io::{self, Write};
use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::store::Turn;
use super::{Library, StoreError, WriteError, is_print};

const FOLDER: &str = "waiting";
/// Hex digits of the content that name a question; made longer where two begin alike.
const SHORT: usize = 8;

/// What has to be known of a file before it can be taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Asked {
    /// Whose it is.
    Player,
    /// The hand that serves.
    Hand,
    /// The rate it was filmed at.
    CaptureRate,
    /// Which of several people.
    Person,
    /// From where it was filmed.
    View,
}

impl Asked {
    /// What is asked, for people: "player", "hand", "filmed at", "which person", "filmed from".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Player => "player",
            Self::Hand => "hand",
            Self::CaptureRate => "filmed at",
            Self::Person => "which person",
            Self::View => "filmed from",
        }
    }
}

/// A file that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Waiting {
    /// blake3 of its content and the choice of whom to read, as a recording is stored under, hex.
    pub hash: String,
    /// Where it lies.
    pub file: String,
    /// What is asked; nothing where there is nothing to ask and it was only set aside.
    pub asks: Vec<Asked>,
    /// Why, in a sentence.
    pub why: String,
    /// What was known when it was looked at, as its asker wrote it.
    pub said: String,
}

impl Waiting {
    /// The name a question goes by: `q` and the first digits of the content.
    #[must_use]
    pub fn name(&self) -> String {
        format!("q{}", self.hash.get(..SHORT).unwrap_or(&self.hash))
    }
}

impl Library {
    /// Everything that waits, by place. One that cannot be read is left out: its file is looked at
    /// again when it is next brought.
    ///
    /// # Errors
    /// [`StoreError`] if the folder cannot be listed.
    pub fn waiting(&self) -> Result<Vec<Waiting>, StoreError> {
        let folder = self.folder().join(FOLDER);
        let entries = match fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(StoreError::io(&folder, "listing")(error)),
        };
        let mut all = Vec::new();
        for entry in entries {
            let path = entry.map_err(StoreError::io(&folder, "listing"))?.path();
            let read = fs::read(&path).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok());
            all.extend(read.filter(|one: &Waiting| is_print(&one.hash)));
        }
        all.sort_by(|a, b| (&a.file, &a.hash).cmp(&(&b.file, &b.hash)));
        Ok(all)
    }

    /// Whether the file of this content waits.
    #[must_use]
    pub fn is_waiting(&self, hash: &str) -> bool {
        is_print(hash) && self.place_of_waiting(hash).is_file()
    }

    /// Has a file wait, in place of what was asked of the same content before.
    ///
    /// # Errors
    /// [`WriteError::ReadOnly`], [`WriteError::Locked`]; [`WriteError::Invalid`] for a hash that is
    /// none; a failing disk.
    pub fn keep_waiting(&mut self, waiting: &Waiting) -> Result<(), WriteError> {
        if !is_print(&waiting.hash) {
            return Err(WriteError::Invalid {
                field: "content",
                found: format!("'{}'", waiting.hash),
                rule: "a blake3 in 64 small hex digits".to_owned(),
            });
        }
        let _turn = self.take_turn()?;
        let folder = self.folder().join(FOLDER);
        let failed =
            |error| WriteError::Store(StoreError::io(&folder, "keeping a question")(error));
        fs::create_dir_all(&folder).map_err(failed)?;
        self.seam.before_write("keeping a question");
        let write = || -> io::Result<()> {
            let mut file = tempfile::NamedTempFile::new_in(&folder)?;
            file.write_all(&serde_json::to_vec(waiting)?)?;
            file.persist(self.place_of_waiting(&waiting.hash)).map_err(|error| error.error)?;
            Ok(())
        };
        write().map_err(failed)
    }

    /// What waits under this content waits no longer; whether it did.
    ///
    /// # Errors
    /// As [`Self::keep_waiting`].
    pub fn end_waiting(&mut self, hash: &str) -> Result<bool, WriteError> {
        if !self.is_waiting(hash) {
            return Ok(false);
        }
        let _turn = self.take_turn()?;
        self.remove_waiting(hash)?;
        Ok(true)
    }

    /// Removes what waits and holds one of these words.
    pub(super) fn forget_waiting(&self, words: &[String], _turn: &Turn) -> Result<(), StoreError> {
        let small: Vec<String> = words.iter().map(|word| word.to_lowercase()).collect();
        for one in self.waiting()? {
            let held = format!("{} {} {}", one.file, one.why, one.said).to_lowercase();
            if small.iter().any(|word| held.contains(word.as_str())) {
                self.remove_waiting(&one.hash)?;
            }
        }
        Ok(())
    }

    fn remove_waiting(&self, hash: &str) -> Result<(), StoreError> {
        let place = self.place_of_waiting(hash);
        self.seam.before_write("removing a question");
        match fs::remove_file(&place) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                Err(StoreError::io(&place, "removing a question")(error))
            }
            _ => Ok(()),
        }
    }

    fn place_of_waiting(&self, hash: &str) -> PathBuf {
        self.folder().join(FOLDER).join(format!("{hash}.json"))
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use tempfile::TempDir;

    use super::*;
    use crate::library::tests::made;

    fn one(hash: char, file: &str, said: &str) -> Waiting {
        Waiting {
            hash: hash.to_string().repeat(64),
            file: file.to_owned(),
            asks: vec![Asked::Player],
            why: "nobody said whose it is".to_owned(),
            said: said.to_owned(),
        }
    }

    #[test]
    fn what_waits_is_kept_in_order_until_it_is_ended_or_its_player_forgotten() {
        let folder = TempDir::new().unwrap();
        let mut library = Library::create(folder.path().join("library")).unwrap();
        assert_eq!(library.waiting().unwrap(), []);
        let (b, a) = (one('b', "/clips/1.mp4", "{}"), one('a', "/clips/2.mp4", "{}"));
        let of_player = one('c', "/clips/Sanderling/3.mp4", "{}");
        for waiting in [&a, &b, &of_player] {
            library.keep_waiting(waiting).unwrap();
        }
        assert_eq!(b.name(), "qbbbbbbbb");
        assert_eq!(library.waiting().unwrap(), [b.clone(), a.clone(), of_player.clone()]);
        assert!(library.is_waiting(&a.hash));
        assert!(library.end_waiting(&a.hash).unwrap());
        assert!(!library.end_waiting(&a.hash).unwrap());
        assert!(!library.is_waiting("../library"));
        assert!(library.keep_waiting(&one('g', "x", "")).is_err());

        let player = library.add_player(&made::player("sanderling")).unwrap();
        library.forget(player, date(2026, 5, 4)).unwrap();
        assert_eq!(library.waiting().unwrap(), [b]);
    }
}
