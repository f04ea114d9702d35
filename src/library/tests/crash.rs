//! Killed at every write, the library stays sound: what was acknowledged is there, what was not
//! is there whole or not at all, and derived indexes answer rightly at once.
//!
//! The test program starts itself again as the process to be killed; that one works through a
//! fixed list of changes and says after each that it was acknowledged. Killing a process keeps
//! what it handed to the system; that SQLite's and tantivy's syncs hold against a power cut is
//! theirs to promise (`synchronous=FULL`).

#![allow(clippy::print_stderr, reason = "says how many processes were killed")]

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::{PoisonError, RwLock};
use std::time::Duration;

use curve_index::{DtwParams, Strategy};
use jiff::civil::date;
use tempfile::TempDir;

use super::faulty;
use super::made;
use super::made::holding;
use crate::library::seam::Seam;
use crate::library::*;

const FOLDER: &str = "PRECEDENT_TEST_FOLDER";
const DIE_AT: &str = "PRECEDENT_TEST_DIE_AT";
const TORN: &str = "PRECEDENT_TEST_TORN";
const STAGE: &str = "PRECEDENT_TEST_STAGE";
const ACK: &str = "acknowledged ";

/// A folder in memory where there is one: a killed process leaves the same there, and the many
/// syncs cost nothing.
pub(super) fn folder() -> TempDir {
    let memory = Path::new("/dev/shm");
    if memory.is_dir() { TempDir::new_in(memory) } else { TempDir::new() }.unwrap()
}

/// Written while a process is being started, read while a library is open.
static SPAWNING: RwLock<()> = RwLock::new(());

type Step = fn(&mut Library) -> Result<(), WriteError>;

fn add(library: &mut Library, code: &str, seed: u32, serves: u32) -> Result<(), WriteError> {
    let player = library.player_by_code(code)?.id;
    let day = date(2026, 3, 1 + (seed % 2) as i8);
    assert!(made::add(library, player, seed, day, serves)?.new);
    Ok(())
}

/// What is done, in order; each step is one acknowledged change. A process does one stage, on the library that
/// the stages before it left: what a process has in its memory alone ends with the stage, which therefore ends with
/// what brings everything derived up to date.
const STAGES: &[&[Step]] = &[MADE, ADDED, CHANGED, REMOVED, PUT_RIGHT, FORGOTTEN];

const MADE: &[Step] = &[
    |l| l.add_player(&made::player("p1")).map(|_| ()),
    |l| l.add_player(&made::player("p2")).map(|_| ()),
    |l| add(l, "p1", 1, 2),
    |l| add(l, "p2", 2, 3),
    |l| l.sync(),
];

const ADDED: &[Step] = &[
    |l| add(l, "p1", 3, 1),
    |l| {
        l.write(|w| {
            w.add_note(CaseId(1), "early toss", None)?;
            w.add_note(CaseId(2), "late toss", None)
        })
    },
    |l| l.sync(),
];

const CHANGED: &[Step] = &[
    |l| l.write(|w| w.update_serve(ServeId(2), &made::serve(77))),
    |l| add(l, "p2", 4, 2),
    |l| l.sync(),
];

const REMOVED: &[Step] = &[|l| l.write(|w| w.remove_recording(RecordingId(1))), |l| l.sync()];

const PUT_RIGHT: &[Step] = &[
    |l| {
        let by = Author::coach("anna")?;
        let recording = l.serve_head(ServeId(3))?.recording;
        let mark = NewMark {
            recording,
            serve: Some(ServeId(3)),
            what: Marked::Moment { event: crate::serve::EventKind::Contact },
            time_s: 0.05,
            frame: 6,
        };
        let words = NewMark {
            serve: None,
            what: Marked::Words { at: None, text: "arm folds".to_owned() },
            ..mark.clone()
        };
        l.write(|w| {
            w.set_mark(&mark, &by)?;
            w.set_mark(&words, &by)?;
            w.update_serve(ServeId(3), &made::serve(78))
        })
    },
    |l| {
        let by = Author::coach("anna")?;
        let facts =
            RecordingFacts { setting: Some(Setting::Match), serve_type: None, read_again: None };
        l.write(|w| w.amend_recording(RecordingId(3), &facts, &by))
    },
    |l| {
        let (by, player) = (Author::coach("anna")?, l.player_by_code("p1")?.id);
        let to = MoveTo { player, date: date(2026, 3, 9), labels_left: &[], labels_joined: &[] };
        l.write(|w| w.move_recording(RecordingId(2), &to, &by)).map(|_| ())
    },
    |l| {
        let (by, player) = (Author::coach("anna")?, l.player_by_code("p2")?.id);
        let to = MoveTo { player, date: date(2026, 3, 8), labels_left: &[], labels_joined: &[] };
        l.write(|w| w.move_serve(ServeId(4), &to, &by)).map(|_| ())
    },
    |l| l.sync(),
];

const FORGOTTEN: &[Step] = &[
    |l| {
        let by = Author::coach("anna")?;
        l.write(|w| w.remove(&Removal::Recording(RecordingId(4)), &[], &by))
    },
    |l| {
        let by = Author::coach("anna")?;
        let last = l.last_change(ItemId::Recording(RecordingId(4)))?;
        l.write(|w| w.undo(last.unwrap_or(ChangeId(0)), &by))
    },
    |l| l.forget(l.player_by_code("p2")?.id, date(2026, 6, 1)).map(|_| ()),
    |l| l.sync(),
];

/// Everything the store holds, as text, but for ids made at random.
fn contents(library: &Library) -> String {
    let mut text = String::new();
    for player in library.players().unwrap() {
        text.push_str(&format!("{player:?}\n"));
    }
    for mut case in library.cases(None).unwrap() {
        // The time of the machine.
        case.notes.iter_mut().for_each(|note| note.at = None);
        text.push_str(&format!("{case:?}\n"));
    }
    for recording in library.recordings(None).unwrap() {
        let joints = library.joints(recording.id).unwrap();
        let mut marks = library.marks(recording.id).unwrap();
        marks.iter_mut().for_each(|mark| mark.at = None);
        text.push_str(&format!("{recording:?}\n{joints:?}\n{marks:?}\n"));
    }
    library
        .each_serve(|serve| {
            text.push_str(&format!("{serve:?}\n"));
            std::ops::ControlFlow::Continue(())
        })
        .unwrap();
    text
}

/// The search answers as a plain comparison of all stored curves does, and so do the words.
fn check_searches(library: &Library, context: &str) {
    let all: Vec<ServeId> = library.serve_heads().unwrap().iter().map(|head| head.id).collect();
    let query = made::serve(20).curve.values;
    let params = DtwParams::new(made::CHANNELS).band_frames(10).check().unwrap();
    let found = match library.curves(made::SET).unwrap() {
        Some(set) => set.nearest(&query, &params, all.len(), &all, Strategy::Scan).unwrap(),
        None => Vec::new(),
    };
    let mut plain: Vec<(f64, ServeId)> = all
        .iter()
        .map(|&serve| {
            let stored = library.curve(serve).unwrap();
            let curve = curve_index::Curve::new(&stored.values, made::CHANNELS).unwrap();
            let query = curve_index::Curve::new(&query, made::CHANNELS).unwrap();
            (curve_index::naive::dtw(query, curve, &params), serve)
        })
        .collect();
    plain.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let found: Vec<_> = found.into_iter().map(|near| (near.cost, near.serve)).collect();
    assert_eq!(found, plain, "{context}");
    for (word, absent) in [("early", "late"), ("late", "early")] {
        let mut expected: Vec<CaseId> = library
            .cases(None)
            .unwrap()
            .into_iter()
            .filter(|case| case.words().is_some_and(|note| note.contains(word)))
            .map(|case| case.id)
            .collect();
        expected.sort();
        let text = format!("{word} -{absent}");
        assert_eq!(library.find_words(&text).unwrap().cases, Some(expected), "{context}");
    }
}

/// The process to be killed. Does nothing unless started by the tests below.
#[test]
#[ignore = "the process the crash tests kill"]
fn child() {
    let Ok(folder) = std::env::var(FOLDER) else { return };
    let number = |name| std::env::var(name).ok().and_then(|text| text.parse().ok());
    let seam = match number(DIE_AT) {
        Some(die_at) => faulty::dying(die_at, number(TORN) == Some(1)),
        None => Seam::default(),
    };
    let mut out = std::io::stdout().lock();
    let mut say = |what: &str| writeln!(out, "\n{ACK}{what}").and_then(|()| out.flush()).unwrap();
    let folder = Path::new(&folder);
    if number(DIE_AT).is_none() {
        // Goes on adding until killed.
        let mut library = Library::open(folder).unwrap();
        let player = library.player_by_code("p1").unwrap().id;
        for seed in library.counts().unwrap().recordings as u32.. {
            let day = date(2026, 3, 1 + (seed % 28) as i8);
            made::add(&mut library, player, seed, day, 2).unwrap();
            say(&seed.to_string());
            if seed.is_multiple_of(3) {
                library.sync().unwrap();
            }
        }
    }
    // Of the first stage there is none yet; without a stage it is one of format 1, to be migrated.
    let mut library = if folder.join("library.db").exists() {
        Library::open_with(folder, seam).unwrap()
    } else {
        Library::create_with(folder, seam).unwrap()
    };
    say("open");
    let stage = number(STAGE).map_or(&[][..], |stage| STAGES[stage as usize]);
    for (n, step) in stage.iter().enumerate() {
        step(&mut library).unwrap();
        say(&n.to_string());
    }
    drop(library);
    say(&format!("writes {}", faulty::writes()));
}

/// Starts the child and returns it; its words come by its standard output.
fn start(folder: &Path, die_at: Option<(u64, bool)>, stage: Option<usize>) -> std::process::Child {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command
        .args(["library::tests::crash::child", "--exact", "--ignored", "--nocapture"])
        .env(FOLDER, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null());
    if let Some((die_at, torn)) = die_at {
        command.env(DIE_AT, die_at.to_string()).env(TORN, u8::from(torn).to_string());
    }
    if let Some(stage) = stage {
        command.env(STAGE, stage.to_string());
    }
    // Until it runs its own program, a child holds copies of this process's files, and with them
    // their locks: no library is open meanwhile.
    let _alone = SPAWNING.write().unwrap_or_else(PoisonError::into_inner);
    command.spawn().unwrap()
}

fn acknowledged(child: &mut std::process::Child) -> Vec<String> {
    BufReader::new(child.stdout.take().unwrap())
        .lines()
        .map_while(Result::ok)
        .filter_map(|line| line.strip_prefix(ACK).map(str::to_owned))
        .collect()
}

/// What a calm process leaves.
struct Calm {
    /// What the store holds at a stage's start and after each of its steps.
    expected: Vec<Vec<String>>,
    /// The library at a stage's start, in a folder of this number; the first stage makes it.
    before: TempDir,
}

impl Calm {
    fn new() -> Self {
        let (before, working) = (folder(), folder());
        let path = working.path().join("lib");
        let mut expected = Vec::new();
        for (number, stage) in STAGES.iter().enumerate() {
            if number > 0 {
                copy(&path, &before.path().join(number.to_string()));
            }
            let mut library = if number == 0 {
                Library::create(&path)
            } else {
                Ok(Library::open(&path).unwrap())
            }
            .unwrap();
            let mut after = vec![contents(&library)];
            for step in *stage {
                step(&mut library).unwrap();
                after.push(contents(&library));
            }
            expected.push(after);
        }
        Self { expected, before }
    }

    /// Lays what `stage` begins with at `path`.
    fn lay(&self, stage: usize, path: &Path) {
        if stage > 0 {
            copy(&self.before.path().join(stage.to_string()), path);
        }
    }
}

/// Copies a folder with all that is in it.
fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(Result::unwrap) {
        let to = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &to);
        } else {
            std::fs::copy(entry.path(), to).unwrap();
        }
    }
}

#[test]
fn killed_at_every_write_the_library_stays_sound() {
    let calm = Calm::new();
    let mut kills = Vec::new();
    for stage in 0..STAGES.len() {
        let folder = folder();
        let path = folder.path().join("lib");
        calm.lay(stage, &path);
        let mut child = start(&path, Some((u64::MAX, false)), Some(stage));
        let said = acknowledged(&mut child);
        assert!(child.wait().unwrap().success(), "stage {stage}");
        let writes = said.last().unwrap().strip_prefix("writes ").unwrap().parse().unwrap();
        kills.extend((1..=writes).map(|at: u64| (stage, at)));
    }
    assert!(kills.len() > 150, "only {} writes were counted", kills.len());
    let next = std::sync::atomic::AtomicUsize::new(0);
    let killed = std::sync::atomic::AtomicUsize::new(0);
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from).min(8) {
            scope.spawn(|| {
                while let Some(&(stage, at)) =
                    kills.get(next.fetch_add(1, std::sync::atomic::Ordering::SeqCst))
                {
                    if kill_and_check(stage, at, &calm) {
                        killed.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
                    }
                }
            });
        }
    });
    let (killed, total) = (killed.into_inner(), kills.len());
    eprintln!("killed at {killed} of {total} writes");
    // Threads of the word index make the last numbers of a stage vary by a few.
    assert!(killed + 3 * STAGES.len() >= total, "only {killed} of {total} were killed");
}

/// Kills a child at write `at` of a stage and checks what it leaves; `false` if it ended before.
fn kill_and_check(stage: usize, at: u64, calm: &Calm) -> bool {
    let torn = at.is_multiple_of(2);
    let context = format!("stage {stage}, write {at}, torn {torn}");
    let (steps, expected) = (STAGES[stage], &calm.expected[stage]);
    let folder = folder();
    let path = folder.path().join("lib");
    calm.lay(stage, &path);
    let mut child = start(&path, Some((at, torn)), Some(stage));
    let said = acknowledged(&mut child);
    if child.wait().unwrap().success() {
        return false;
    }
    let acknowledged = said.iter().filter(|word| word.parse::<usize>().is_ok()).count();

    let _open = SPAWNING.read().unwrap_or_else(PoisonError::into_inner);
    let here = match Library::open_read_only(&path) {
        Ok(reader) => {
            let here = contents(&reader);
            check_searches(&reader, &context);
            here
        }
        Err(OpenError::Missing { .. }) if stage == 0 && said.is_empty() => {
            // The making was cut short; it can be made again.
            Library::create(&path).unwrap();
            return true;
        }
        Err(error) => panic!("{context}: {error}"),
    };
    let done = (acknowledged..=(acknowledged + 1).min(steps.len()))
        .find(|&done| expected[done] == here)
        .unwrap_or_else(|| {
            panic!("{context}: neither state {acknowledged} nor the next, but\n{here}")
        });

    let mut library = Library::open(&path).unwrap_or_else(|error| panic!("{context}: {error}"));
    if library.player_by_code("p2").is_err() && (stage > 0 || done > 2) {
        // Forgotten: whatever the wiping had come to, opening has finished it.
        assert_eq!(holding(&path, b"Name of p2"), [""; 0], "{context}");
    }
    let verified = library.verify(false, &crate::work::Watch::default()).unwrap();
    let in_store: Vec<_> = verified.findings.iter().filter(|f| f.place == "library.db").collect();
    assert!(in_store.is_empty(), "{context}: {in_store:?}");
    assert!(verified.is_sound(), "{context}: {:?}", verified.findings);
    check_searches(&library, &context);
    drop(library);

    // The same again without verify: opening and going on repairs as well, to the end of the stage and, after one
    // kill in eight, of all. A state may equal the next one (a sync changes no contents), so a step can be due that
    // is done already: steps are chosen so that only those that change nothing look alike.
    let last = if at.is_multiple_of(8) { STAGES.len() - 1 } else { stage };
    let rest = STAGES[stage + 1..=last].iter().flat_map(|stage| stage.iter());
    let mut library = Library::open(&path).unwrap();
    for step in steps[done..].iter().chain(rest) {
        step(&mut library).unwrap_or_else(|error| panic!("{context}: going on: {error}"));
    }
    library.sync().unwrap();
    assert_eq!(Some(&contents(&library)), calm.expected[last].last(), "{context}");
    check_searches(&library, &context);
    assert_eq!(
        library.verify(false, &crate::work::Watch::default()).unwrap().findings,
        [],
        "{context}"
    );
    true
}

#[test]
fn killed_at_every_write_a_migration_is_whole_or_not_there() {
    let old = || {
        let folder = folder();
        std::fs::copy(super::golden::golden(1), folder.path().join("library.db")).unwrap();
        folder
    };
    let total = {
        let folder = old();
        let mut child = start(folder.path(), Some((u64::MAX, false)), None);
        let said = acknowledged(&mut child);
        assert!(child.wait().unwrap().success());
        said.last().unwrap().strip_prefix("writes ").unwrap().parse::<u64>().unwrap()
    };
    let expected = contents(&Library::open_read_only(old().path()).unwrap());
    let (mut killed, mut still_old) = (0, 0);
    for at in 1..=total {
        let context = format!("write {at} of {total}");
        let folder = old();
        let mut child = start(folder.path(), Some((at, at.is_multiple_of(2))), None);
        killed += u64::from(!child.wait().unwrap().success());
        let _open = SPAWNING.read().unwrap_or_else(PoisonError::into_inner);
        let reader = Library::open_read_only(folder.path()).unwrap();
        assert_eq!(contents(&reader), expected, "{context}");
        let tables: i64 = reader
            .connection
            .query_row("SELECT count(*) FROM main.sqlite_schema", [], |row| row.get(0))
            .unwrap();
        let format: i64 =
            reader.connection.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap();
        still_old += u64::from(format == 1);
        assert_eq!(
            format == super::super::store::FORMAT,
            tables > 40,
            "{context}: format {format}, {tables} tables"
        );
        drop(reader);
        let mut library = Library::open(folder.path()).unwrap();
        assert_eq!(contents(&library), expected, "{context}");
        assert!(
            library.verify(false, &crate::work::Watch::default()).unwrap().is_sound(),
            "{context}"
        );
    }
    eprintln!("killed at {killed} of {total} writes of a migration, {still_old} still format 1");
    assert!(total > 10 && killed + 10 >= total && still_old > 0);
}

#[test]
fn killed_from_outside_again_and_again_nothing_acknowledged_is_lost() {
    let folder = folder();
    let path = folder.path().join("lib");
    let mut library = Library::create(&path).unwrap();
    library.add_player(&made::player("p1")).unwrap();
    drop(library);
    let mut most = 0;
    for round in 0..12u64 {
        let mut child = start(&path, None, None);
        // Between 20 and 240 ms, spread by a fixed rule.
        std::thread::sleep(Duration::from_millis(20 + round * 97 % 220));
        child.kill().unwrap();
        let said = acknowledged(&mut child);
        child.wait().unwrap();
        let reader = Library::open_read_only(&path).unwrap();
        check_searches(&reader, &format!("round {round}"));
        let counts = reader.counts().unwrap();
        for seed in said.iter().map(|word| word.parse::<u32>().unwrap()) {
            let row = reader.recording_by_hash(&made::hash(seed)).unwrap();
            let row = row.unwrap_or_else(|| panic!("round {round}: {seed} is lost"));
            let serves = reader.serves_in(row.id).unwrap();
            for (n, serve) in serves.iter().enumerate() {
                assert_eq!(reader.serve(*serve).unwrap().serve, made::serve(seed * 10 + n as u32));
            }
            assert_eq!(serves.len(), 2);
        }
        assert_eq!(counts.serves, counts.recordings * 2, "round {round}");
        most = most.max(counts.recordings);
        assert_eq!(counts.recordings, most, "round {round}: fewer than before");
    }
    assert!(most > 0, "no child came far enough to add anything");
    eprintln!("{most} recordings were added by 12 killed processes");
    let mut library = Library::open(&path).unwrap();
    // A killed process leaves no lock behind.
    library.set_patience(Duration::ZERO);
    library.add_player(&made::player("p2")).unwrap();
    assert!(library.verify(false, &crate::work::Watch::default()).unwrap().is_sound());
    check_searches(&library, "at the end");
}
