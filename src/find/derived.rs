//! Keeping what is derived in step with the store: one builds at a time, nobody waits to read.
//!
//! A search by whoever may write brings the index it needs up to the store first, if nobody is
//! building just then. Everybody else, and everybody meanwhile, puts what the index lacks beside
//! it in memory: the answer is the same.

use std::ops::{Deref, DerefMut};

use rusqlite::Transaction;

use crate::library::{Library, StoreError, WriteError};

impl Library {
    /// Brings the derived indexes up to the store, or within a few players and cases of it, waiting for
    /// whoever is just building them.
    ///
    /// Searches do so on their own; call this after a series of changes, or have it called
    /// ([`InStep`]), so that those who only read need put little beside the index. Without it nothing
    /// is lost.
    ///
    /// # Errors
    /// [`StoreError::Curves`], [`StoreError::Words`]; [`WriteError::ReadOnly`].
    pub fn sync(&self) -> Result<(), WriteError> {
        if !self.is_writable() {
            return Err(WriteError::ReadOnly { folder: self.folder().to_owned() });
        }
        if self.curves_are_in_step()? && self.words_are_in_step()? && self.heads_are_in_step()? {
            return Ok(());
        }
        // Whoever builds all that time leaves the rest to the next search.
        let Some(_turn) = self.wait_to_build()? else { return Ok(()) };
        let _one_state = self.hold_state()?;
        // To bring curves up to the store all of them are read.
        if !self.curves_are_in_step()? {
            self.sync_curves()?;
        }
        self.sync_heads()?;
        if !self.words_are_in_step()? {
            self.sync_words()?;
        }
        Ok(())
    }

    /// Everything read until this is dropped is of one state of the store, whatever others change;
    /// `None` where that is so already.
    pub(crate) fn hold_state(&self) -> Result<Option<Transaction<'_>>, StoreError> {
        let begin = || self.connection.unchecked_transaction();
        self.connection.is_autocommit().then(begin).transpose().map_err(StoreError::sql("reading"))
    }
}

/// A library whose derived indexes are brought up to the store when this is dropped.
///
/// For one command or one request that changes the library. What fails then is caught up on by the
/// next search.
#[derive(Debug)]
pub struct InStep {
    library: Option<Library>,
    also: Option<KeepInStep>,
}

/// Brings something else that is derived up to the store.
type KeepInStep = fn(&Library) -> Result<(), StoreError>;

impl InStep {
    /// Takes charge of `library`.
    #[must_use]
    pub fn new(library: Library) -> Self {
        Self { library: Some(library), also: None }
    }

    /// Brings this up to the store as well: what a room further down derives.
    #[must_use]
    pub fn and(mut self, also: KeepInStep) -> Self {
        self.also = Some(also);
        self
    }

    /// The library itself, its indexes as they are.
    ///
    /// # Panics
    /// Never: the library is there until this is consumed or dropped.
    #[must_use]
    pub fn into_inner(mut self) -> Library {
        self.library.take().expect("held until dropped")
    }
}

impl Deref for InStep {
    type Target = Library;

    fn deref(&self) -> &Library {
        self.library.as_ref().expect("held until dropped")
    }
}

impl DerefMut for InStep {
    fn deref_mut(&mut self) -> &mut Library {
        self.library.as_mut().expect("held until dropped")
    }
}

impl Drop for InStep {
    fn drop(&mut self) {
        if let Some(library) = self.library.take().filter(|_| !std::thread::panicking()) {
            // Said above: nothing is lost, the next search catches up.
            let _ = library.sync();
            let _ = self.also.map(|also| also(&library));
        }
    }
}
