//! Every long work is stopped on its way: it ends there, says so, and leaves nothing behind.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use jiff::civil::date;

use super::{Reviewed, Wanted, course, gather};
use crate::catalogue::Catalogue;
use crate::evidence::Evidence;
use crate::exchange::{Passphrase, Protection, Request, pack};
use crate::find::Filter;
use crate::library::{Counts, Library, ServeId};
use crate::looks::Snapshot;
use crate::matcher::{Query, Subject, like};
use crate::squad::{self, GroupsParams, SquadQuery, planted_library};
use crate::work::{Stage, Watch, is_stop};

/// Every file below a folder with its bytes, in order; without the marks by which SQLite's readers
/// and writers find each other.
fn bytes_below(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut all = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            all.extend(bytes_below(&entry.path()));
        } else if !entry.file_name().as_encoded_bytes().ends_with(b"-shm") {
            all.push((entry.path(), std::fs::read(entry.path()).unwrap()));
        }
    }
    all.sort();
    all
}

type Done = Result<(), Box<dyn Error>>;

/// Runs the work whole to count its steps, then stops it at the first, in the middle and at the
/// last. `at_once`: how many steps may be under way at the same time.
fn stopped_on_its_way(what: &str, at_once: usize, mut work: impl FnMut(&Watch) -> Done) {
    let counting = |stop_at: usize| {
        let heard = Arc::new(AtomicUsize::new(0));
        let watch = Watch::default();
        let (ear, stop) = (Arc::clone(&heard), watch.clone());
        let watch = watch.hearing(move |_| {
            if ear.fetch_add(1, Ordering::Relaxed) + 1 == stop_at {
                stop.stop();
            }
        });
        (heard, watch)
    };
    let (heard, watch) = counting(usize::MAX);
    work(&watch).unwrap_or_else(|error| panic!("{what}: {error}"));
    let steps = heard.load(Ordering::Relaxed);
    assert!(steps >= 3, "{what}: only {steps} steps");
    for stop_at in [1, steps / 2, steps] {
        let (heard, watch) = counting(stop_at);
        let error = work(&watch).expect_err(what);
        assert!(is_stop(&*error), "{what}, stopped at {stop_at} of {steps}: {error}");
        let heard = heard.load(Ordering::Relaxed);
        assert!(
            (stop_at..stop_at + at_once).contains(&heard),
            "{what}: stopped at step {stop_at}, went on to {heard} of {steps}"
        );
    }
}

#[test]
fn what_only_reads_is_stopped_and_changes_no_byte() {
    let (folder, library) = planted_library(2);
    library.sync().unwrap();
    drop(library);
    let library = Library::open_read_only(folder.path().join("library")).unwrap();
    let before = bytes_below(folder.path());
    let catalogue = Catalogue::builtin();
    let subject = Subject::Stored(ServeId(1));
    stopped_on_its_way("like", 1, |watch| {
        Ok(like(&library, &Query::new(subject, 5), watch).map(|_| ())?)
    });
    stopped_on_its_way("evidence", 1, |watch| {
        Ok(Evidence::gather(&Snapshot::new(&library), catalogue, subject, watch).map(|_| ())?)
    });
    stopped_on_its_way("review", 1, |watch| {
        let wanted = Wanted {
            serve: Reviewed::Stored(ServeId(1)),
            k: 5,
            filter: Filter::default(),
            on: date(2026, 8, 1),
        };
        Ok(gather(&library, catalogue, &wanted, watch).map(|_| ())?)
    });
    stopped_on_its_way("progress", 1, |watch| {
        let player = library.player_by_code("p00")?.id;
        Ok(course(&library, catalogue, player, watch).map(|_| ())?)
    });
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    stopped_on_its_way("squad", threads, |watch| {
        let query = SquadQuery {
            squad: None,
            filter: Filter::default(),
            from: None,
            to: None,
            today: date(2026, 8, 1),
            groups: GroupsParams { least_silhouette: -1.0, ..GroupsParams::default() },
        };
        Ok(squad::gather(&library, catalogue, &query, watch).map(|_| ())?)
    });
    let passphrase = Passphrase::new(&"four words drawn by lot".to_owned().into()).unwrap();
    let request = Request {
        filter: &Filter::default(),
        academy: None,
        with_notes: false,
        made: "2026-08-01T12:00:00Z".parse().unwrap(),
        key: None,
        protection: Protection::Open,
    };
    let share = |request: &Request<'_>, watch: &Watch| -> Done {
        Ok(pack(&library, request, watch).map(|_| ())?)
    };
    stopped_on_its_way("share", 1, |watch| share(&request, watch));
    let locked = Request { protection: Protection::Passphrase(&passphrase), ..request };
    stopped_on_its_way("share under a passphrase", 1, |watch| share(&locked, watch));
    // Stopped as its key is about to be made, and as soon as it is made.
    for made in [0, 1] {
        let watch = Watch::default();
        let stop = watch.clone();
        let watch = watch.hearing(move |progress| {
            if progress.stage == Stage::Keys && progress.done == made {
                stop.stop();
            }
        });
        let error = share(&locked, &watch).expect_err("stopped at the key");
        assert!(is_stop(&*error), "{made}: {error}");
    }
    assert!(bytes_below(folder.path()) == before, "a byte was changed");
}

#[test]
fn verifying_is_stopped_and_the_library_is_as_good_as_before() {
    let (_folder, mut library) = planted_library(3);
    library.sync().unwrap();
    let counts: Counts = library.counts().unwrap();
    let subject = Subject::Stored(ServeId(1));
    let found = |library: &Library| {
        let answer = like(library, &Query::new(subject, 9), &Watch::default()).unwrap();
        answer.precedents.iter().map(|one| (one.serve, one.distance)).collect::<Vec<_>>()
    };
    let expected = found(&library);
    assert_eq!(expected.len(), 9);
    for rebuild in [false, true] {
        stopped_on_its_way("verify", 1, |watch| Ok(library.verify(rebuild, watch).map(|_| ())?));
        assert_eq!(found(&library), expected, "rebuild {rebuild}");
        let verified = library.verify(false, &Watch::default()).unwrap();
        assert!(verified.is_sound(), "{:?}", verified.findings);
        assert_eq!(verified.checked, counts);
    }
}
