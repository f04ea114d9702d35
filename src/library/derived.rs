//! The folders of what is derived from the store: whose turn it is to build there, and how they go.
//!
//! What is in them is the business of whoever derives it. One process builds at a time; one that
//! reads never waits for it.

use std::fs;
use std::path::Path;
use std::time::Duration;

use super::lock::FileLock;
use super::{Library, StoreError};

/// Folders beside the store that hold nothing but what can be derived from it.
const FOLDERS: [&str; 4] = ["curves", "heads", "outcomes", "words"];

/// The turn to build what is derived, until it is dropped.
#[derive(Debug)]
pub(crate) struct Building(#[expect(dead_code, reason = "held, not read")] FileLock);

impl Library {
    /// Waits for the turn to build what is derived, at most as long as a change waits for its own;
    /// `None` if it did not come.
    pub(crate) fn wait_to_build(&self) -> Result<Option<Building>, StoreError> {
        self.building(self.patience())
    }

    /// The turn to build what is derived, if nobody has it.
    pub(crate) fn try_to_build(&self) -> Result<Option<Building>, StoreError> {
        self.building(Duration::ZERO)
    }

    fn building(&self, patience: Duration) -> Result<Option<Building>, StoreError> {
        let lock = FileLock::wait(&self.folder().join("derived.lock"), patience)?;
        Ok(lock.map(Building))
    }

    /// Removes everything derived, so that no byte of what was removed from the store stays in it.
    pub(super) fn remove_derived(&self, _turn: &Building) -> Result<(), StoreError> {
        for name in FOLDERS {
            let folder = self.folder().join(name);
            if folder.exists() {
                self.remove_tree(&folder)?;
            }
        }
        Ok(())
    }

    fn remove_tree(&self, folder: &Path) -> Result<(), StoreError> {
        for entry in fs::read_dir(folder).map_err(failed(folder))? {
            let path = entry.map_err(failed(folder))?.path();
            if path.is_dir() {
                self.remove_tree(&path)?;
            } else {
                self.seam.before_write("removing what is derived");
                fs::remove_file(&path).map_err(failed(&path))?;
            }
        }
        fs::remove_dir(folder).map_err(failed(folder))
    }
}

fn failed(path: &Path) -> impl FnOnce(std::io::Error) -> StoreError {
    StoreError::io(path, "removing what is derived")
}
