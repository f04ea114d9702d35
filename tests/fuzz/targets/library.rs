//! A library somebody else made: its file, the values in it, what lies beside it.

use std::cell::RefCell;
use std::fmt::Display;
use std::fs;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::LazyLock;

use precedent::evidence::verify_outcomes;
use precedent::find::Filter;
use precedent::intake::questions;
use precedent::library::{Asked, FilmOf, Library, PlayerId, RecordingId, Waiting};
use precedent::video::{Film, FilmSize, Placed};
use precedent::work::Watch;
use rusqlite::Connection;
use rusqlite::types::Value;
use tempfile::TempDir;

use super::{
    Files, OLDER, files_of, kept_library, lay, library, said, scratch, whole_library, whole_store,
};

fn told<T, E: Display>(result: Result<T, E>) -> Option<T> {
    result.inspect_err(|error| said(error)).ok()
}

/// Everything that is read of a library, and its own check.
fn read_all(library: &mut Library) {
    told(library.counts());
    for player in told(library.players()).unwrap_or_default() {
        told(library.recordings(Some(player.id)));
        told(library.check_ins_of(player.id));
        told(library.practice_of_player(player.id));
        told(library.past_rows_of(player.id));
    }
    told(library.cases(None));
    for recording in told(library.recordings(None)).unwrap_or_default() {
        told(library.joints(recording.id));
        told(library.marks(recording.id));
        told(library.clip(recording.id));
    }
    told(library.each_serve(|_| ControlFlow::Continue(())));
    told(library.catalogue());
    told(library.packs());
    told(library.retention());
    read_derived(library);
}

/// What lies beside the store, read by whoever needs it; what whoever may write makes of it anew.
fn read_derived(library: &mut Library) {
    told(library.serve_heads());
    told(library.select(&Filter::parse("fault=toss_low").unwrap()));
    told(library.find_words("folds"));
    if let Some(Some(curves)) = told(library.curves("core-1")) {
        assert!(curves.shape().values() > 0);
    }
    let watch = Watch::default();
    told(library.verify(false, &watch));
    told(verify_outcomes(library, false, &watch));
}

thread_local! {
    static FOLDER: RefCell<TempDir> = RefCell::new(scratch());
    static DERIVED: RefCell<Derived> = RefCell::new(Derived::new());
}

/// The number of a library's format stands in its file as SQLite's user version.
fn format_of(file: &[u8]) -> Option<&[u8]> {
    file.get(60..64)
}

/// Read, then brought to today's format and written to.
fn open_and_read(folder: &Path) {
    let store = fs::read(folder.join("library.db")).unwrap();
    let of_today = format_of(&store) == format_of(whole_store());
    match Library::open_read_only(folder) {
        Ok(mut library) => read_all(&mut library),
        Err(error) => said(&error),
    }
    match Library::open(folder) {
        Ok(mut library) => {
            // What was read of it a moment ago is read again only where it is another library by now.
            if of_today {
                read_derived(&mut library);
            } else {
                read_all(&mut library);
            }
            if let Err(error) = library.write(|w| w.remove_idle_player(PlayerId(1))) {
                said(&error);
            }
        }
        Err(error) => said(&error),
    }
}

/// The bytes as the library's file.
pub(super) fn file(bytes: &[u8]) {
    FOLDER.with_borrow(|folder| {
        lay(folder.path(), [(Path::new("library.db"), bytes)]);
        open_and_read(folder.path());
    });
}

/// A whole library in which one column of one row holds something else. First byte: which column;
/// second: what kind of value; the rest: the value. A sealed value is sealed anew. What is derived lies beside
/// it as it was made before, so that only what the value touches is made anew.
pub(super) fn values(bytes: &[u8]) {
    let [column, kind, value @ ..] = bytes else { return };
    FOLDER.with_borrow(|folder| {
        if *kind < OLDER_FROM {
            lay(folder.path(), whole_library());
        } else {
            lay(folder.path(), [(Path::new("library.db"), &*kept_library(OLDER))]);
        }
        let db = Connection::open(folder.path().join("library.db")).unwrap();
        let (table, name) = &COLUMNS[usize::from(*column) % COLUMNS.len()];
        let old: Option<Vec<u8>> = db
            .query_row(&format!("SELECT CAST({name} AS BLOB) FROM {table}"), [], |row| row.get(0))
            .unwrap_or(None);
        let value = match kind % 6 {
            0 => Value::Text(String::from_utf8_lossy(value).into_owned()),
            1 => Value::Integer(whole(value)),
            2 => Value::Real(f64::from_bits(whole(value).cast_unsigned())),
            3 => Value::Blob(value.to_vec()),
            4 => Value::Null,
            _ => Value::Blob(sealed(&old.unwrap_or_default(), value)),
        };
        // A row it breaks a constraint of stays as it is.
        let _ = db.execute(&format!("UPDATE {table} SET {name} = ?1"), [value]);
        drop(db);
        open_and_read(folder.path());
    });
}

fn whole(bytes: &[u8]) -> i64 {
    let mut word = [0; 8];
    for (to, from) in word.iter_mut().zip(bytes) {
        *to = *from;
    }
    i64::from_le_bytes(word)
}

/// From this kind on the library is one of an older format with nothing beside it, which costs a hundred times as
/// much: it is brought to today's, and all that is derived is made.
const OLDER_FROM: u8 = 250;

static COLUMNS: LazyLock<Vec<(String, String)>> = LazyLock::new(|| {
    let folder = scratch();
    let file = folder.path().join("library.db");
    fs::write(&file, whole_store()).unwrap();
    columns(&Connection::open(&file).unwrap())
});

/// Every column of every table that holds a row, in order.
fn columns(db: &Connection) -> Vec<(String, String)> {
    let sql = "SELECT t.name, c.name FROM sqlite_schema t, pragma_table_info(t.name) c
        WHERE t.type = 'table' AND t.name NOT LIKE 'sqlite%' ORDER BY t.name, c.cid";
    let mut statement = db.prepare(sql).unwrap();
    let all = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    let all: Vec<(String, String)> = all.map(Result::unwrap).collect();
    let holds = |table: &str| {
        db.query_row(&format!("SELECT EXISTS (SELECT 1 FROM {table})"), [], |row| row.get(0))
            .unwrap_or(false)
    };
    all.into_iter().filter(|(table, _)| holds(table)).collect()
}

/// `payload` under the head of a sealed value: magic, format, length, the first eight bytes of its
/// blake3 (`src/library/envelope.rs`).
fn sealed(old: &[u8], payload: &[u8]) -> Vec<u8> {
    let mut bytes = old.get(..6).unwrap_or(b"PSrv\x01\x00").to_vec();
    bytes.extend((payload.len() as u32).to_le_bytes());
    bytes.extend(&blake3::hash(payload).as_bytes()[..8]);
    bytes.extend(payload);
    bytes
}

/// A library and the files beside it as they are to be: what is derived, then what was cut from clips and
/// what waits for an answer.
struct Derived {
    folder: TempDir,
    library: Library,
    beside: Files,
}

/// The folders of what is derived, then of the rest.
const BESIDE: [&[&str]; 2] =
    [&["curves", "heads", "outcomes", "words"], &["films", "stills", "waiting"]];

/// Every file below these folders of a library, in order.
fn below(folder: &Path, names: &[&str]) -> Files {
    let there = names.iter().filter(|name| folder.join(name).is_dir());
    let files = there.flat_map(|name| {
        let files = files_of(&folder.join(name)).into_iter();
        files.map(move |(file, content)| (Path::new(name).join(file), content))
    });
    files.collect()
}

impl Derived {
    fn new() -> Self {
        let (folder, library) = furnished();
        let beside = BESIDE.map(|names| below(folder.path(), names));
        assert!(beside.iter().all(|files| !files.is_empty()), "nothing lies beside the library");
        Self { folder, library, beside: beside.concat() }
    }

    /// Makes every file what it was, whether or not it was mended meanwhile, and leaves no other.
    fn put_back(&self) {
        let now = BESIDE.concat();
        let now = below(self.folder.path(), &now);
        for (name, _) in &now {
            if !self.beside.iter().any(|(known, _)| known == name) {
                fs::remove_file(self.folder.path().join(name)).unwrap();
            }
        }
        for file in &self.beside {
            if !now.contains(file) {
                let path = self.folder.path().join(&file.0);
                fs::create_dir_all(path.parent().unwrap()).unwrap();
                fs::write(path, &file.1).unwrap();
            }
        }
    }
}

/// Files beside a library, one or more of which hold something else. Each: a byte that says which, two for the
/// length of its content, little-endian, its content; beyond the length of all nothing is left for others.
pub(super) fn derived(bytes: &[u8]) {
    DERIVED.with_borrow_mut(|derived| {
        let mut damaged = 0;
        let mut rest = bytes;
        while let ([which, low, high, after @ ..], true) = (rest, damaged < MOST_DAMAGED) {
            let long = usize::from(u16::from_le_bytes([*low, *high]));
            let (content, after) = after.split_at(long.min(after.len()));
            rest = after;
            damaged += 1;
            let (name, _) = &derived.beside[usize::from(*which) % derived.beside.len()];
            fs::write(derived.folder.path().join(name), content).unwrap();
        }
        read_derived(&mut derived.library);
        read_beside(&derived.library);
        if let Err(error) = derived.library.sync() {
            said(&error);
        }
        derived.put_back();
    });
}

/// Most files that one input damages.
const MOST_DAMAGED: usize = 4;

/// The recording of the library that has a clip, the film of which is kept.
const FILMED: RecordingId = RecordingId(1);

fn film_of(library: &Library) -> Option<FilmOf> {
    let clip = library.clip(FILMED).unwrap()?;
    Some(FilmOf { recording: FILMED, clip_hash: clip.hash, frames: (0, 1) })
}

const STILL: Placed = Placed { frame: 0, area_px: [0, 0, 4, 4], size_px: (4, 4) };

/// A library with a film, a picture and a file that waits: content that says nothing.
fn furnished() -> (TempDir, Library) {
    let (folder, mut library) = library();
    let of = film_of(&library).unwrap();
    let coming = library.film_to_come().unwrap();
    for (size, content) in [(FilmSize::Sharp, "sharper"), (FilmSize::Quick, "qu")] {
        fs::write(coming.path().join(size.name()), content).unwrap();
    }
    let film = Film { first: 0, sharp: vec![3, 4], quick: vec![1, 1] };
    library.keep_film(&of, &film, coming).unwrap();
    library.keep_stills(FILMED, &of.clip_hash, &[(STILL, b"jpeg")]).unwrap();
    let waiting = Waiting {
        hash: "0a".repeat(32),
        file: "p07/2026-03-04-side.mp4".to_owned(),
        asks: vec![Asked::Player, Asked::View],
        why: "nobody said whose it is".to_owned(),
        said: r#"{"path":{"player":"p07","rate_hz":240.0}}"#.to_owned(),
    };
    library.keep_waiting(&waiting).unwrap();
    (folder, library)
}

fn read_beside(library: &Library) {
    if let Some(of) = film_of(library)
        && let Some(film) = library.film(&of)
    {
        let pictures = library.film_pictures(&of, FilmSize::Sharp).unwrap();
        let bytes: u128 = film.sharp.iter().map(|&bytes| bytes as u128).sum();
        assert_eq!(u128::from(pictures.metadata().unwrap().len()), bytes);
    }
    if let Some(of) = film_of(library)
        && let Some(jpeg) = library.still(FILMED, &of.clip_hash, &STILL)
    {
        assert_eq!(jpeg, b"jpeg");
    }
    match questions(library) {
        Ok(questions) => assert!(questions.iter().all(|question| !question.name.is_empty())),
        Err(error) => said(&error),
    }
}
