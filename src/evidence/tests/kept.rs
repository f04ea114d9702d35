//! What is kept of the outcomes, and the search beside it, held against the store while it changes.

use std::collections::BTreeSet;

use curve_index::{Curve, DtwParams, Scratch, dtw};
use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::catalogue::Catalogue;
use crate::evidence::kept::{Needs, outcomes};
use crate::evidence::outcomes::Outcome;
use crate::evidence::{Evidence, sync_outcomes, verify_outcomes};
use crate::library::tests::churn::change;
use crate::library::{Library, ServeId};
use crate::looks::Snapshot;
use crate::matcher::{BAND_FRAMES, Query, Source, Subject, incomparable, like};
use crate::squad::planted_library;
use crate::work::Watch;

fn all(library: &Library, needs: Needs) -> Vec<Outcome> {
    let (snapshot, watch) = (Snapshot::new(library), Watch::default());
    outcomes(&snapshot, Catalogue::builtin(), needs, &watch).unwrap()
}

/// Every stored serve aligned with the one that asks, no index and no list: ids and distances, comparable
/// sources first, of several views of one stroke the first.
fn plainly_like(library: &Library, serve: ServeId, k: usize) -> Vec<(ServeId, f64)> {
    let asks = library.serve_head(serve).unwrap();
    let source = |capture, view| Source { capture, view };
    let query = library.curve(serve).unwrap();
    let params = DtwParams::new(query.channels).band_frames(BAND_FRAMES).check().unwrap();
    let own = Curve::new(&query.values, query.channels).unwrap();
    let mut scratch = Scratch::default();
    let mut found = Vec::new();
    for head in library.serve_heads().unwrap().iter().filter(|head| head.case != asks.case) {
        let stored = library.curve(head.id).unwrap();
        let other = Curve::new(&stored.values, stored.channels).unwrap();
        let cost = dtw(own, other, &params, f64::INFINITY, &mut scratch).unwrap();
        let (this, that) = (source(asks.capture, asks.view), source(head.capture, head.view));
        found.push((incomparable(this, that).is_some(), cost.sqrt(), head.id));
    }
    found.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
    let mut strokes = BTreeSet::new();
    let mut new = |serve: ServeId| {
        let case = library.serve_head(serve).unwrap().case;
        strokes.insert(library.views_of_day(case).unwrap().stroke(serve))
    };
    found.retain(|one| new(one.2));
    found.into_iter().take(k).map(|(_, distance, serve)| (serve, distance)).collect()
}

/// Random changes of every kind, invented data: whether there is no file, one in step or one that is
/// behind, what came of plans is what the store says, and so is who served like this.
#[test]
fn whatever_changes_the_kept_answer_is_that_of_the_store() {
    for seed in 0..2 {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let (_folder, mut library) = planted_library(seed);
        let reader = Library::open_read_only(library.folder()).unwrap();
        let (mut kinds, mut behind, mut compared) = (BTreeSet::new(), 0, 0);
        for step in 0..90 {
            kinds.insert(change(&mut library, &mut rng, 2000 + step));
            if step % 10 == 3 {
                library.sync().unwrap();
                sync_outcomes(&library).unwrap();
            }
            if step % 4 != 0 {
                continue;
            }
            let path = library.parts_path("outcomes");
            let [kept, plans] = [Needs::All, Needs::Plans].map(|needs| all(&reader, needs));
            let aside = path.with_extension("aside");
            let there = path.exists();
            if there {
                std::fs::rename(&path, &aside).unwrap();
            }
            let plain = all(&reader, Needs::All);
            if there {
                std::fs::rename(&aside, &path).unwrap();
                behind += 1;
            }
            assert_eq!(kept, plain, "seed {seed}, step {step}");
            let planned: Vec<Outcome> = plain.into_iter().filter(|one| one.planned).collect();
            compared += planned
                .iter()
                .filter(|one| one.again.as_ref().is_some_and(|again| again.compared.is_some()))
                .count();
            assert_eq!(plans, planned, "seed {seed}, step {step}");
            let heads = library.serve_heads().unwrap();
            let serve = heads[rng.gen_range(0..heads.len())].id;
            let query = Query::new(Subject::Stored(serve), 6);
            let answer = like(&reader, &query, &Watch::default()).unwrap();
            let found: Vec<(ServeId, f64)> =
                answer.precedents.iter().map(|one| (one.serve, one.distance)).collect();
            assert_eq!(found, plainly_like(&library, serve, 6), "seed {seed}, step {step}");
            let case = library.serve_head(serve).unwrap().case;
            let own = library.case(case).unwrap().serves.len();
            assert_eq!((answer.left_out, answer.searched), (own, heads.len() - own));
        }
        assert!(kinds.len() >= 10 && behind > 5 && compared > 10, "{kinds:?} {behind} {compared}");
        library.sync().unwrap();
        sync_outcomes(&library).unwrap();
        assert_eq!(verify_outcomes(&library, false, &Watch::default()).unwrap(), []);
    }
}

/// A damaged file gives no wrong answer, and is found and written anew.
#[test]
fn a_damaged_file_is_found_and_answers_nothing_wrong_meanwhile() {
    let (_folder, mut library) = planted_library(3);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(5);
    for step in 0..30 {
        change(&mut library, &mut rng, 3000 + step);
    }
    library.sync().unwrap();
    sync_outcomes(&library).unwrap();
    let wanted = all(&library, Needs::All);
    assert!(!wanted.is_empty());
    let path = library.parts_path("outcomes");
    let whole = std::fs::read(&path).unwrap();
    for at in (0..whole.len()).step_by(whole.len() / 12) {
        let mut damaged = whole.clone();
        damaged[at] ^= 1;
        std::fs::write(&path, &damaged).unwrap();
        assert_eq!(all(&library, Needs::All), wanted, "byte {at}");
        let found = verify_outcomes(&library, false, &Watch::default()).unwrap();
        assert!(matches!(&found[..], [one] if one.repaired), "byte {at}: {found:?}");
        assert_eq!(std::fs::read(&path).unwrap(), whole, "byte {at}");
    }
}

/// Weights and styles are told for the fault that is asked about; the others say what they say without.
#[test]
fn only_the_fault_that_is_asked_about_is_brought_near() {
    let (_folder, mut library) = planted_library(4);
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(6);
    for step in 0..60 {
        change(&mut library, &mut rng, 4000 + step);
    }
    let serve = library.serve_heads().unwrap()[0].id;
    let (snapshot, watch) = (Snapshot::new(&library), Watch::default());
    let subject = Subject::Stored(serve);
    let mut found = Evidence::gather(&snapshot, Catalogue::builtin(), subject, &watch).unwrap();
    let fault = "shallow_leg_drive";
    assert!(found.rows.iter().all(|row| row.weight == 1.0 && row.style.is_none()));
    found.weight_by_nearness(&library, fault, &watch).unwrap();
    let number = found.number(fault).unwrap();
    let (own, others): (Vec<_>, Vec<_>) = found.rows.iter().partition(|row| row.fault == number);
    assert!(own.iter().any(|row| row.weight < 1.0), "{own:?}");
    assert!(others.iter().all(|row| row.weight == 1.0));
}
