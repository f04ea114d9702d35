use curve_index::{Curve, DtwParams, Index, Scratch, Strategy, ValidDtwParams, dtw};
use jiff::civil::date;
use tempfile::TempDir;

use crate::library::tests::made;
use crate::library::*;
use crate::work::{Stage, Watch};
use std::sync::{Arc, Mutex};

fn params() -> ValidDtwParams {
    DtwParams::new(made::CHANNELS).band_frames(10).check().unwrap()
}

/// Four players, three recordings each, two serves in each.
fn academy() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    for n in 0..4 {
        let player = library.add_player(&made::player(&format!("p{n}"))).unwrap();
        for day in 0..3 {
            made::add(&mut library, player, n * 3 + day as u32, date(2026, 3, 1 + day), 2).unwrap();
        }
    }
    (folder, library)
}

/// The answer by comparing with every stored curve, without any index.
fn plain(library: &Library, query: &[f32], k: usize, among: &[ServeId]) -> Vec<(ServeId, f64)> {
    let params = params();
    let mut scratch = Scratch::default();
    let query = Curve::new(query, made::CHANNELS).unwrap();
    let mut all: Vec<(ServeId, f64)> = among
        .iter()
        .map(|&serve| {
            let stored = library.curve(serve).unwrap();
            let curve = Curve::new(&stored.values, made::CHANNELS).unwrap();
            (serve, dtw(query, curve, &params, f64::INFINITY, &mut scratch).unwrap())
        })
        .collect();
    all.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    all.truncate(k);
    all
}

fn found(library: &Library, query: &[f32], k: usize, among: &[ServeId]) -> Vec<(ServeId, f64)> {
    let set = library.curves(made::SET).unwrap().unwrap();
    let scan = set.nearest(query, &params(), k, among, Strategy::Scan).unwrap();
    let pruned = set.nearest(query, &params(), k, among, Strategy::Pruned).unwrap();
    assert_eq!(scan, pruned);
    scan.into_iter().map(|near| (near.serve, near.cost)).collect()
}

fn ids(library: &Library) -> Vec<ServeId> {
    library.serve_heads().unwrap().into_iter().map(|head| head.id).collect()
}

#[test]
fn the_index_answers_as_the_stored_curves_do_whatever_its_state() {
    let (_folder, mut library) = academy();
    let query = made::serve(33).curve.values;
    let reader = Library::open_read_only(library.folder()).unwrap();
    let all = ids(&library);
    let some: Vec<_> = all.iter().copied().filter(|serve| serve.0 % 3 == 0).collect();
    let check = |library: &Library, all: &[ServeId], state: &str| {
        assert_eq!(found(library, &query, 5, all), plain(library, &query, 5, all), "{state}");
        assert_eq!(found(library, &query, 4, &some), plain(library, &query, 4, &some), "{state}");
    };
    check(&reader, &all, "no index yet");
    library.sync().unwrap();
    check(&reader, &all, "index up to date");
    check(&library, &all, "index up to date, writer");

    // New serves, and one that was read anew, while the index is behind.
    let player = library.player_by_code("p1").unwrap().id;
    made::add(&mut library, player, 50, date(2026, 5, 1), 3).unwrap();
    library.write(|w| w.update_serve(all[2], &made::serve(33))).unwrap();
    let all = ids(&library);
    assert_eq!(all.len(), 27);
    check(&reader, &all, "index behind");
    assert_eq!(found(&reader, &query, 1, &all), [(all[2], 0.0)]);
    check(&library, &all, "the writer catches up");
    check(&reader, &all, "index caught up");

    // A player leaves.
    library.write(|w| w.remove_player(player)).unwrap();
    let all = ids(&library);
    let some: Vec<_> = some.iter().copied().filter(|serve| all.contains(serve)).collect();
    for (library, state) in [(&reader, "behind"), (&library, "caught up"), (&reader, "caught up")] {
        assert_eq!(found(library, &query, 9, &all), plain(library, &query, 9, &all), "{state}");
        assert_eq!(found(library, &query, 9, &some), plain(library, &query, 9, &some), "{state}");
    }
    let verified = library.verify(false, &crate::work::Watch::default()).unwrap();
    // The curves were searched since, the words were not.
    let places: Vec<_> = verified.findings.iter().map(|f| (f.place, f.repaired)).collect();
    assert_eq!(places, [("words", true)]);
}

/// What changes no curve does not read them all: damage that opening their index would find stays until
/// somebody searches.
#[test]
fn a_word_about_a_case_leaves_the_curves_unread() {
    let (_folder, mut library) = academy();
    library.sync().unwrap();
    let index = library.folder().join("curves/core-1.index");
    let whole = std::fs::read(&index).unwrap();
    let hidden_damage = (0..whole.len()).rev().find_map(|at| {
        let mut damaged = whole.clone();
        damaged[at] ^= 0x40;
        std::fs::write(&index, &damaged).unwrap();
        let found = Index::open(&index).is_err() && Index::shape_of(&index).is_ok();
        found.then_some(damaged)
    });
    let damaged = hidden_damage.expect("a byte that only opening looks at");
    let label = FaultLabel {
        fault: "toss_low".to_owned(),
        state: LabelState::Added,
        severity: 0.5,
        by: Author::Coach("anna".to_owned()),
        note: None,
    };
    library.write(|w| w.set_label(CaseId(1), &label)).unwrap();
    library.sync().unwrap();
    let unread = std::fs::read(&index).unwrap() == damaged;
    assert!(unread, "the curves were read and made anew");
    let query = made::serve(33).curve.values;
    let all = ids(&library);
    assert_eq!(found(&library, &query, 5, &all), plain(&library, &query, 5, &all));
}

#[test]
fn verify_finds_and_repairs_what_is_derived() {
    let (_folder, mut library) = academy();
    library.sync().unwrap();
    let clean = library.verify(false, &crate::work::Watch::default()).unwrap();
    assert_eq!(clean.findings, []);
    assert_eq!(clean.checked, library.counts().unwrap());
    let folder = library.folder().to_owned();
    let query = made::serve(33).curve.values;
    let all = ids(&library);
    let expected = plain(&library, &query, 5, &all);
    let index = folder.join("curves/core-1.index");
    let bytes = std::fs::read(&index).unwrap();

    // Every kind of damage to the index: flipped in places, cut, gone, of another library.
    let mut cases: Vec<Option<Vec<u8>>> = vec![None, Some(Vec::new()), Some(b"text".to_vec())];
    cases.push(Some(bytes[..bytes.len() / 2].to_vec()));
    for at in (0..bytes.len()).step_by(bytes.len() / 23) {
        let mut flipped = bytes.clone();
        flipped[at] ^= 0x40;
        cases.push(Some(flipped));
    }
    let mut noticed = 0;
    for (n, damage) in cases.into_iter().enumerate() {
        match damage {
            Some(bytes) => std::fs::write(&index, bytes).unwrap(),
            None => std::fs::remove_file(&index).unwrap(),
        }
        let heard = Arc::new(Mutex::new(Vec::new()));
        let ear = Arc::clone(&heard);
        let watch = Watch::default().hearing(move |progress| ear.lock().unwrap().push(progress));
        let verified = library.verify(false, &watch).unwrap();
        assert!(verified.is_sound(), "damage {n}: {:?}", verified.findings);
        noticed += usize::from(!verified.findings.is_empty());
        // 12 recordings, 24 serves, 12 cases, and what was before.
        let of = |stage| -> Vec<(usize, usize)> {
            let heard = heard.lock().unwrap();
            let those = heard.iter().filter(|progress| progress.stage == stage);
            those.map(|progress| (progress.done, progress.of)).collect()
        };
        assert_eq!(of(Stage::Values), (1..=49).map(|done| (done, 49)).collect::<Vec<_>>());
        assert_eq!(of(Stage::Indexes), (0..=6).map(|done| (done, 6)).collect::<Vec<_>>());
        assert_eq!(found(&library, &query, 5, &all), expected, "damage {n}");
    }
    // Flips in padding between sections change nothing; most places are not padding.
    assert!(noticed >= 15, "only {noticed} of 27 damages were noticed");

    std::fs::remove_dir_all(folder.join("curves")).unwrap();
    std::fs::remove_dir_all(folder.join("words")).unwrap();
    let rebuilt = library.verify(true, &crate::work::Watch::default()).unwrap();
    assert!(rebuilt.rebuilt && rebuilt.is_sound());
    assert_eq!(library.verify(false, &crate::work::Watch::default()).unwrap().findings, []);
    drop(library);
    let mut reader = Library::open_read_only(&folder).unwrap();
    assert_eq!(reader.verify(false, &crate::work::Watch::default()).unwrap().findings, []);
    assert!(matches!(
        reader.verify(true, &crate::work::Watch::default()),
        Err(WriteError::ReadOnly { .. })
    ));
}

#[test]
fn verify_names_every_damaged_value_and_broken_reference() {
    let (_folder, mut library) = academy();
    library.sync().unwrap();
    let damage = |library: &Library, sql: &str| library.connection.execute_batch(sql).unwrap();
    damage(&library, "UPDATE serve_data SET details = zeroblob(9) WHERE serve = 3");
    damage(&library, "UPDATE serve_data SET figures = zeroblob(length(figures)) WHERE serve = 4");
    damage(&library, "UPDATE recording_joints SET times = x'00' WHERE recording = 5");
    damage(&library, "UPDATE recordings SET capture = 'telepathy' WHERE id = 6");
    damage(
        &library,
        "PRAGMA foreign_keys = OFF; UPDATE plans SET case_id = 99;
        INSERT INTO labels VALUES (99, 'late_toss', 'program', 'suspected', 0.5, NULL);
        DELETE FROM serve_data WHERE serve = 7; PRAGMA foreign_keys = ON",
    );
    let verified = library.verify(false, &crate::work::Watch::default()).unwrap();
    assert!(!verified.is_sound());
    let problems: Vec<_> = verified.findings.iter().map(ToString::to_string).collect();
    let text = problems.join("\n");
    for expected in [
        "library.db: labels belongs to nothing in cases",
        "library.db: 1 serves without data",
        "library.db: s3: 9 bytes, a head needs 18",
        "library.db: s4: checksum ",
        "library.db: joints of r5: 1 bytes, expected 56",
        "unknown capture 'telepathy'",
        "library.db: s7: not in this library",
    ] {
        assert!(text.contains(expected), "'{expected}' is missing in\n{text}");
    }
}

/// One builds, and nobody waits: searches answer rightly at once, from memory.
#[test]
fn while_one_builds_others_search_and_change() {
    let (_folder, mut library) = academy();
    let other = Library::open(library.folder()).unwrap();
    let building = other.try_to_build().unwrap().unwrap();
    assert!(library.try_to_build().unwrap().is_none());
    let query = made::serve(33).curve.values;
    let start = std::time::Instant::now();
    for round in 0..2 {
        let all = ids(&library);
        let wanted = plain(&library, &query, 5, &all);
        assert_eq!(found(&library, &query, 5, &all), wanted, "round {round}");
        let code = if round == 0 { "p1" } else { "p99" };
        let hits = library.find_words(code).unwrap().cases.unwrap();
        assert!(!hits.is_empty(), "{code}");
        let new = library.add_player(&made::player("p99"));
        if let Ok(player) = new {
            made::add(&mut library, player, 60, date(2026, 5, 1), 3).unwrap();
        }
    }
    assert!(start.elapsed() < std::time::Duration::from_secs(5), "{:?}", start.elapsed());
    let folder = library.folder().to_owned();
    assert!(!folder.join("curves/core-1.mark").exists() && !folder.join("words").exists());
    drop(building);
    library.sync().unwrap();
    assert!(folder.join("curves/core-1.mark").exists() && folder.join("words").exists());
    let verified = library.verify(false, &crate::work::Watch::default()).unwrap();
    assert_eq!(verified.findings, []);
}

/// Two build in turns while a third changes the library: every answer is right throughout.
#[test]
fn builders_and_writers_at_once_leave_sound_indexes() {
    let (_folder, library) = academy();
    let folder = library.folder().to_owned();
    let query = made::serve(33).curve.values;
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut writer = Library::open(&folder).unwrap();
            let player = writer.player_by_code("p1").unwrap().id;
            for seed in 100..112 {
                made::add(&mut writer, player, seed, date(2026, 5, 2), 1).unwrap();
            }
        });
        for _ in 0..2 {
            scope.spawn(|| {
                let library = Library::open(&folder).unwrap();
                for _ in 0..6 {
                    library.sync().unwrap();
                    let _one_state = library.hold_state().unwrap();
                    let all = ids(&library);
                    assert_eq!(found(&library, &query, 5, &all), plain(&library, &query, 5, &all));
                }
            });
        }
    });
    let mut library = library;
    library.sync().unwrap();
    assert_eq!(ids(&library).len(), 36);
    assert_eq!(library.verify(false, &crate::work::Watch::default()).unwrap().findings, []);
}
