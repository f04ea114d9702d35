//! The list of serves and the filter over it, held against the store while it changes.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::find::*;
use crate::library::tests::churn::change;
use crate::library::*;
use crate::squad::planted_library;
use crate::work::Watch;

const FILTERS: [&str; 14] = [
    "player=p01",
    "level=club",
    "level!=national hand=right",
    "hand!=left",
    "age=u14",
    "age!=u14 date>=2026-04",
    "date=2026-03,2026-05 setting=match",
    "type!=kick",
    "capture=generated view!=side",
    "fault=shallow_leg_drive",
    "fault!=wild_toss level=club",
    "limiting=toss_low,shallow_leg_drive",
    "drill=land_inside follow-up=no",
    "follow-up=yes squad=girls coach!=ash",
];

/// Held against one statement a term over the store itself.
fn check(library: &Library, state: &str) {
    for text in FILTERS {
        let filter = Filter::parse(text).unwrap();
        let (found, plain) = (library.select(&filter), library.select_plainly(&filter));
        match (found, plain) {
            (Ok(found), Ok(plain)) => assert_eq!(found, plain, "{state}: {text}"),
            // Nobody bears the name any more.
            (Err(found), Err(plain)) => assert_eq!(found.to_string(), plain.to_string()),
            (found, plain) => panic!("{state}: {text}: {found:?}, {plain:?}"),
        }
    }
    let all: Vec<ServeId> = library.serve_heads().unwrap().iter().map(|head| head.id).collect();
    assert_eq!(library.select(&Filter::default()).unwrap().serves, all, "{state}");
}

/// Random changes of every kind: without the file, with it, and while it is behind, a filter keeps what
/// the store says. Invented data.
#[test]
fn a_filter_keeps_what_the_store_says_whatever_state_the_list_is_in() {
    for seed in 0..2 {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let (_folder, mut library) = planted_library(seed);
        check(&library, "no list");
        library.sync().unwrap();
        check(&library, "list just written");
        let reader = Library::open_read_only(library.folder()).unwrap();
        for step in 0..60 {
            let what = change(&mut library, &mut rng, 1000 + step);
            if step % 3 == 0 {
                check(&reader, &format!("seed {seed}, step {step}, after {what}"));
            }
            if step % 17 == 16 {
                library.sync().unwrap();
            }
        }
        library.sync().unwrap();
        drop(reader);
        let verified = library.verify(false, &Watch::default()).unwrap();
        assert_eq!(verified.findings, []);
    }
}

#[test]
fn a_damaged_list_is_found_rebuilt_and_answers_nothing_wrong_meanwhile() {
    let (_folder, mut library) = planted_library(1);
    library.sync().unwrap();
    let path = library.folder().join("heads/heads.parts");
    let whole = std::fs::read(&path).unwrap();
    for at in (0..whole.len()).step_by(97) {
        let mut damaged = whole.clone();
        damaged[at] ^= 4;
        std::fs::write(&path, &damaged).unwrap();
        let filter = Filter::parse("level=club date>=2026-03").unwrap();
        assert_eq!(library.select(&filter).unwrap(), library.select_plainly(&filter).unwrap());
        if at % 5 == 0 {
            let found = library.verify(false, &Watch::default()).unwrap().findings;
            assert!(
                found.len() == 1 && found[0].place == "heads" && found[0].repaired,
                "{found:?}"
            );
            assert_eq!(std::fs::read(&path).unwrap(), whole);
        }
    }
}
