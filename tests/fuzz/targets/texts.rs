//! What is typed or sent as text: filters and words, catalogues, tables of past records.

use std::cell::RefCell;

use precedent::catalogue::Catalogue;
use precedent::find::Filter;
use precedent::library::Library;
use tempfile::TempDir;

use super::{library, said};

thread_local! {
    static LIBRARY: RefCell<(TempDir, Library)> = RefCell::new(library());
}

pub(super) fn filter(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    LIBRARY.with_borrow(|(_, library)| {
        match Filter::parse(text) {
            Err(error) => said(&error),
            Ok(filter) => match library.select(&filter) {
                Ok(selection) => assert!(selection.serves.len() <= selection.searched),
                Err(error) => said(&error),
            },
        }
        // Absent phrases break an assertion of the word index's crate, which only development builds have:
        // README.md, "Open".
        if !text.contains('-')
            && let Err(error) = library.find_words(text)
        {
            said(&error);
        }
    });
}

pub(super) fn catalogue(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let built = Catalogue::builtin();
    match built.with_extra("ours.toml", text) {
        Ok(merged) => {
            // Cautions are added, never removed.
            let kept: Vec<&str> = merged.general_cautions().collect();
            assert!(built.general_cautions().all(|caution| kept.contains(&caution)));
            assert!(merged.faults().len() >= built.faults().len());
            for drill in merged.drills() {
                assert!(!merged.cautions(drill).is_empty(), "{} without cautions", drill.id);
            }
        }
        Err(error) => said(&error),
    }
}

pub(super) fn past_records(bytes: &[u8]) {
    LIBRARY.with_borrow_mut(|(_, library)| {
        let before = library.counts().unwrap();
        if let Err(error) = library.try_table(bytes) {
            said(&error);
        }
        assert_eq!(library.counts().unwrap(), before, "a table that was only tried was stored");
    });
}
