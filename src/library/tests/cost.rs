//! What is asked of one player or case costs nothing of the others': SQLite's machine takes as many steps
//! among many as among few.

use std::cell::Cell;
use std::ffi::{c_int, c_void};

use jiff::civil::date;
use rusqlite::ffi;
use tempfile::TempDir;

use super::made;
use crate::library::{CaseId, Library, PlayerId};

/// Steps of SQLite's machine that `job` takes.
fn steps(library: &Library, job: impl FnOnce()) -> u64 {
    unsafe extern "C" fn count(counter: *mut c_void) -> c_int {
        // SAFETY: the pointer handed over below, which outlives the handler.
        let counter = unsafe { &*counter.cast::<Cell<u64>>() };
        counter.set(counter.get() + 1);
        0
    }
    let counter = Cell::new(0_u64);
    let handle = || {
        // SAFETY: the handle is not closed, and not kept beyond the call it is for.
        unsafe { library.connection.handle() }
    };
    // SAFETY: the handler is taken away before `counter` goes; the connection stays on this thread.
    unsafe {
        ffi::sqlite3_progress_handler(
            handle(),
            1,
            Some(count),
            (&raw const counter) as *mut c_void,
        );
    }
    job();
    // SAFETY: as above.
    unsafe { ffi::sqlite3_progress_handler(handle(), 1, None, std::ptr::null_mut()) };
    counter.get()
}

type Question = (&'static str, fn(&Library, PlayerId));

const QUESTIONS: &[Question] = &[
    ("the player", |l, p| assert_eq!(l.player(p).unwrap().code, "own")),
    ("their cases", |l, p| assert_eq!(l.case_ids(Some(p)).unwrap().len(), 2)),
    ("their cases, whole", |l, p| assert_eq!(l.cases(Some(p)).unwrap().len(), 2)),
    ("their recordings", |l, p| assert_eq!(l.recordings(Some(p)).unwrap().len(), 2)),
    ("their serves", |l, p| assert_eq!(l.serves_of(p).unwrap().len(), 4)),
    ("their check-ins", |l, p| assert_eq!(l.check_ins_of(p).unwrap().len(), 0)),
    ("their practice", |l, p| assert_eq!(l.practice_of_player(p).unwrap().len(), 0)),
    ("what was before", |l, p| assert!(l.past_rows_of(p).is_ok())),
    ("their history", |l, p| assert!(l.history_of_player(p).is_ok())),
    ("clips they had", |l, p| assert!(l.past_clips_of(p).is_ok())),
    ("one case", |l, p| assert_eq!(l.case(CaseId(1)).unwrap().player, p)),
];

/// A library of one player with two sessions, and so many others with as many.
fn library(others: u32) -> (TempDir, Library, PlayerId) {
    let folder = super::crash::folder();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    let mut seed = 0;
    let mut add = |library: &mut Library, code: &str| {
        let player = library.add_player(&made::player(code)).unwrap();
        for day in [date(2026, 3, 1), date(2026, 4, 1)] {
            seed += 1;
            made::add(library, player, seed, day, 2).unwrap();
        }
        player
    };
    let own = add(&mut library, "own");
    for other in 0..others {
        add(&mut library, &format!("other-{other}"));
    }
    (folder, library, own)
}

#[test]
fn what_is_asked_of_one_player_costs_nothing_of_the_others() {
    let (_few, few, own) = library(2);
    let (_many, many, same) = library(40);
    for (name, ask) in QUESTIONS {
        let among = |library: &Library, player| {
            // The first time it is prepared.
            ask(library, player);
            steps(library, || ask(library, player))
        };
        let (few, many) = (among(&few, own), among(&many, same));
        assert!(few > 0, "{name}: no step was counted");
        assert_eq!(few, many, "{name}: steps among 2 others and among 40");
    }
    // That steps do grow where everybody's cases are gone through.
    let listed = |library: &Library| steps(library, || assert!(library.case_ids(None).is_ok()));
    assert!(listed(&many) > 5 * listed(&few));
}
