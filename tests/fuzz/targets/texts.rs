//! What is typed or sent as text: filters and words, catalogues, tables of past records, practice cards, steps
//! of a spoken review, names of folders.

use std::cell::RefCell;
use std::path::Path;

use precedent::catalogue::Catalogue;
use precedent::coaching::CardText;
use precedent::find::{Filter, WordsQuery};
use precedent::intake::PathPattern;
use precedent::library::{Library, PlanId};
use precedent::send::{Act, Step};
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
        if let Err(error) = library.find_words(text) {
            said(&error);
        }
        match library.find(&WordsQuery { text, filter: Filter::default(), k: 3 }) {
            Ok(found) => assert!(found.hits.len() <= 3 && found.hits.len() <= found.matched),
            Err(error) => said(&error),
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

/// Stands in a card for the mark of the plan, which no input can know.
const MARK: &str = "0badcafe";

/// A card as it comes back from a player; one that is right is logged.
pub(super) fn practice_card(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    LIBRARY.with_borrow_mut(|(_, library)| {
        let plan = PlanId(1);
        let text = text.replace(MARK, &library.card_mark(plan).unwrap());
        let days = |library: &Library| library.practice_of(plan).unwrap().len();
        let before = days(library);
        match CardText::read(&text).map(|card| card.record(library, plan, None)) {
            Ok(Ok(logged)) => assert_eq!(days(library), before + logged.practice.len()),
            Ok(Err(error)) | Err(error) => {
                said(&error);
                assert_eq!(days(library), before, "a card that was refused was logged");
            }
        }
    });
    // What is logged stays; no player practises this often, and a long run logs for ever.
    LIBRARY.with_borrow_mut(|held| {
        if held.1.practice_of(PlanId(1)).unwrap().len() > MOST_DAYS {
            *held = library();
        }
    });
}

/// Days of practice after which a library is laid anew.
const MOST_DAYS: usize = 512;

pub(super) fn spoken_steps(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    match Step::parse(text) {
        Ok(steps) => {
            assert!(steps.windows(2).all(|pair| pair[0].at_s <= pair[1].at_s));
            for step in &steps {
                assert!(step.at_s.is_finite() && step.at_s >= 0.0, "at {} s", step.at_s);
                if let Act::Play { speed } = step.act {
                    assert!((0.01..=4.0).contains(&speed), "{speed}");
                }
            }
        }
        Err(error) => said(&error),
    }
}

/// First line: a pattern; the rest: the path of a file somebody sent.
pub(super) fn path_pattern(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (pattern, path) = text.split_once('\n').unwrap_or(("{player}/{date}-{view}", &text));
    // No system has longer names.
    if path.split('/').any(|name| name.len() > 255) {
        return;
    }
    match pattern.parse::<PathPattern>() {
        Ok(pattern) => match pattern.read(Path::new(path)) {
            Ok(says) => assert!(says.rate_hz.is_none_or(|hz| hz.is_finite() && hz > 0.0)),
            Err(error) => said(&error),
        },
        Err(error) => said(&error),
    }
}
