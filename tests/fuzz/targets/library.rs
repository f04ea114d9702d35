//! A library somebody else made: its file, the values in it, what lies beside it.

use std::cell::RefCell;
use std::fmt::Display;
use std::fs;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use precedent::find::Filter;
use precedent::intake::questions;
use precedent::library::{Asked, FilmOf, Library, PlayerId, RecordingId, Waiting};
use precedent::video::{Film, FilmSize, Placed};
use precedent::work::Watch;
use rusqlite::Connection;
use rusqlite::types::Value;
use tempfile::TempDir;

use super::{kept_library, library, said, scratch};

/// Everything that is read of a library, and its own check.
fn read_all(library: &mut Library) {
    fn told<T, E: Display>(result: Result<T, E>) -> Option<T> {
        result.inspect_err(|error| said(error)).ok()
    }
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
    told(library.serve_heads());
    told(library.catalogue());
    told(library.packs());
    told(library.retention());
    told(library.select(&Filter::parse("fault=toss_low").unwrap()));
    told(library.find_words("folds"));
    if let Some(Some(curves)) = told(library.curves("core-1")) {
        assert!(curves.shape().values() > 0);
    }
    told(library.verify(false, &Watch::default()));
}

thread_local! {
    static FOLDER: RefCell<TempDir> = RefCell::new(scratch());
    static DERIVED: RefCell<(TempDir, Library)> = RefCell::new(furnished());
}

/// Leaves nothing but `library.db` in the folder.
fn lay(folder: &Path, bytes: &[u8]) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() { fs::remove_dir_all(path) } else { fs::remove_file(path) }.unwrap();
    }
    fs::write(folder.join("library.db"), bytes).unwrap();
}

fn open_and_read(folder: &Path) {
    match Library::open_read_only(folder) {
        Ok(mut library) => read_all(&mut library),
        Err(error) => said(&error),
    }
    match Library::open(folder) {
        Ok(mut library) => {
            read_all(&mut library);
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
        lay(folder.path(), bytes);
        open_and_read(folder.path());
    });
}

/// A whole library in which one column of one row holds something else. First byte: which column;
/// second: what kind of value; the rest: the value. A sealed value is sealed anew.
pub(super) fn values(bytes: &[u8]) {
    let [column, kind, value @ ..] = bytes else { return };
    FOLDER.with_borrow(|folder| {
        lay(folder.path(), &kept_library());
        let db = Connection::open(folder.path().join("library.db")).unwrap();
        let columns = columns(&db);
        let (table, name) = &columns[usize::from(*column) % columns.len()];
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

/// Files beside a library, one or more of which hold something else. Each: a byte that says which, two for the
/// length of its content, little-endian, its content; beyond the length of all nothing is left for others.
pub(super) fn derived(bytes: &[u8]) {
    DERIVED.with_borrow_mut(|(folder, library)| {
        let files = beside(folder.path());
        let mut before = Vec::new();
        let mut rest = bytes;
        while let ([which, low, high, after @ ..], true) = (rest, before.len() < MOST_DAMAGED) {
            let long = usize::from(u16::from_le_bytes([*low, *high]));
            let (content, after) = after.split_at(long.min(after.len()));
            rest = after;
            let file = &files[usize::from(*which) % files.len()];
            before.push((file, fs::read(file).unwrap()));
            fs::write(file, content).unwrap();
        }
        read_all(library);
        read_beside(library);
        if let Err(error) = library.sync() {
            said(&error);
        }
        // As it was, whether or not it was mended meanwhile.
        for (file, whole) in before.into_iter().rev() {
            if file.exists() || file.parent().is_some_and(Path::exists) {
                fs::write(file, whole).unwrap();
            }
        }
    });
}

/// Most files that one input damages.
const MOST_DAMAGED: usize = 4;

/// Every file below the folders of what is derived, then every one of what was cut from clips and of what
/// waits for an answer.
fn beside(folder: &Path) -> Vec<PathBuf> {
    let derived = below(folder, &["curves", "heads", "outcomes", "words"]);
    let others = below(folder, &["films", "stills", "waiting"]);
    assert!(!derived.is_empty() && !others.is_empty(), "nothing lies beside the library");
    [derived, others].concat()
}

/// Every file below these folders, in order.
fn below(folder: &Path, names: &[&str]) -> Vec<PathBuf> {
    let mut open: Vec<PathBuf> = names.iter().map(|name| folder.join(name)).collect();
    let mut files = Vec::new();
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_dir() { open.push(path) } else { files.push(path) }
        }
    }
    files.sort();
    files
}

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
