//! Opening, creating and closing a library; one transaction for every change.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags, TransactionBehavior};

use super::lock::{FileLock, PATIENCE, identity};
use super::network::refuse_network;
use super::seam::Seam;
use super::write::Writer;
use super::{Named, OpenError, StoreError, WriteError};
use crate::catalogue::Place;

/// Marks the file as ours: "Prec".
const APPLICATION_ID: i64 = 0x5072_6563;
/// The format this program writes and reads.
pub(crate) const FORMAT: i64 = 7;
const SCHEMA: &str = include_str!("schema.sql");
/// What format 2 adds; laid over a library of format 1 it makes one of format 2.
const SCHEMA_2: &str = include_str!("schema-2.sql");
/// What format 3 adds to one of format 2.
const SCHEMA_3: &str = include_str!("schema-3.sql");
/// What format 4 adds to one of format 3.
const SCHEMA_4: &str = include_str!("schema-4.sql");
/// What format 5 adds to one of format 4.
const SCHEMA_5: &str = include_str!("schema-5.sql");
/// What format 6 adds to one of format 5.
const SCHEMA_6: &str = include_str!("schema-6.sql");
/// What format 7 adds to one of format 6.
const SCHEMA_7: &str = include_str!("schema-7.sql");
/// A case's one note of formats 1 to 3 as a row of `case_notes`. Whether it came in a pack shows
/// from the case as it came.
const NOTES_BEFORE_4: &str = "SELECT c.id AS id, c.id AS case_id, c.note AS text, NULL AS said_by,
        NULL AS at, coalesce((SELECT json_extract(CAST(i.body AS TEXT), '$.case.note') = c.note
            FROM case_origins o JOIN received_items i ON i.id = o.item
            WHERE o.case_id = c.id), 0) AS came
    FROM main.cases c WHERE c.note IS NOT NULL";
const DB_FILE: &str = "library.db";
/// Every file of a library in which nothing is stored, in the order in which they may go.
const LEFT_BEHIND: [&str; 6] =
    [DB_FILE, "library.db-wal", "library.db-shm", "derived.lock", "library.lock", "library.turn"];
/// How long to wait for another connection to finish a change.
const BUSY: Duration = Duration::from_secs(5);
/// Pages SQLite may keep in memory, KiB.
const CACHE_KIB: i64 = 64 * 1024;

/// A library: a folder with the store and what is derived from it.
///
/// `library.db` (SQLite) is the truth; what lies in the folders beside it is derived from it and
/// may be deleted at any time. Any number of processes read and change a library at once: a change
/// waits for its turn, reading never waits. A change is acknowledged when the call returns, and
/// then survives a crash at any moment.
#[derive(Debug)]
pub struct Library {
    folder: PathBuf,
    pub(crate) connection: Connection,
    pub(crate) seam: Seam,
    uid: String,
    /// Whether this handle may change the library, and by what its file is known again.
    writable: Option<(u64, u64)>,
    patience: Duration,
}

/// The turn to change a library, until it is dropped.
#[derive(Debug)]
pub(crate) struct Turn(#[expect(dead_code, reason = "held, not read")] FileLock);

impl Library {
    /// Makes a new, empty library in `folder` (made if missing) and opens it for writing.
    ///
    /// # Errors
    /// [`OpenError::Network`]; [`OpenError::Exists`] if a library is there already, made by another
    /// process just now or earlier; [`OpenError::Locked`] if another process does not come to an end with making one.
    pub fn create(folder: impl AsRef<Path>) -> Result<Self, OpenError> {
        Self::create_with(folder.as_ref(), Seam::default())
    }

    /// Opens the library in `folder` for reading and writing.
    ///
    /// Others may have it open for writing too: only a change takes a turn ([`Library::write`]). A
    /// library of an older format is brought to this one first, whole or not at all; a wipe that
    /// was cut short is finished.
    ///
    /// # Errors
    /// [`OpenError::Missing`], [`OpenError::Network`], [`OpenError::NotALibrary`] and
    /// [`OpenError::Format`] for foreign files; [`OpenError::Locked`] if an older format is to be changed and another process does
    /// not let it come to that.
    pub fn open(folder: impl AsRef<Path>) -> Result<Self, OpenError> {
        Self::open_with(folder.as_ref(), Seam::default())
    }

    /// Opens the library in `folder` for reading, beside any number of others.
    ///
    /// A library of an older format is read as it is; what that format lacks is empty.
    ///
    /// # Errors
    /// As [`Library::open`], but never [`OpenError::Locked`].
    pub fn open_read_only(folder: impl AsRef<Path>) -> Result<Self, OpenError> {
        let folder = folder.as_ref();
        let file = folder.join(DB_FILE);
        if !file.is_file() {
            return Err(OpenError::Missing { folder: folder.to_owned() });
        }
        refuse_network(folder)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let attempt = Connection::open_with_flags(&file, flags)
            .and_then(|connection| connection.busy_timeout(BUSY).map(|()| connection))
            .map_err(StoreError::sql("opening"))
            .and_then(|connection| check_format(&connection, &file).map(|kind| (connection, kind)));
        let (connection, kind) = match attempt {
            Ok(opened) => opened,
            // A write-protected folder can not take the files a live database needs beside it.
            // If no change waits in the log, the file alone is the whole truth.
            Err(StoreError::Sql { source, .. }) if cannot_open(&source) && no_log_waits(&file) => {
                let uri = format!("file:{}?immutable=1", uri_path(&file));
                let connection =
                    Connection::open_with_flags(&uri, flags | OpenFlags::SQLITE_OPEN_URI)
                        .map_err(StoreError::sql("opening"))?;
                let kind = check_format(&connection, &file)?;
                (connection, kind)
            }
            Err(error) => return Err(error.into()),
        };
        match kind {
            FileKind::Ours => {}
            FileKind::Older(format) => {
                stand_in(&connection, format).map_err(StoreError::sql("opening"))?
            }
            FileKind::Empty => return Err(OpenError::Missing { folder: folder.to_owned() }),
            FileKind::Foreign(error) => return Err(*error),
        }
        Self::assemble(folder, connection, Seam::default(), false)
    }

    pub(crate) fn create_with(folder: &Path, seam: Seam) -> Result<Self, OpenError> {
        refuse_network(folder)?;
        fs::create_dir_all(folder).map_err(StoreError::io(folder, "making the folder"))?;
        let _turn = FileLock::take_turn(folder, PATIENCE)?;
        let file = folder.join(DB_FILE);
        let mut connection = connect(&file, &seam, OpenFlags::SQLITE_OPEN_CREATE)?;
        match check_format(&connection, &file)? {
            // New, or the making of one was cut short.
            FileKind::Empty => {}
            FileKind::Ours | FileKind::Older(_) => {
                return Err(OpenError::Exists { folder: folder.to_owned() });
            }
            FileKind::Foreign(error) => return Err(*error),
        }
        lay_schema(&mut connection).map_err(StoreError::sql("laying the schema"))?;
        Self::assemble(folder, connection, seam, true)
    }

    pub(crate) fn open_with(folder: &Path, seam: Seam) -> Result<Self, OpenError> {
        let file = folder.join(DB_FILE);
        if !file.is_file() {
            return Err(OpenError::Missing { folder: folder.to_owned() });
        }
        refuse_network(folder)?;
        let mut connection = connect(&file, &seam, OpenFlags::empty())?;
        let mut kind = check_format(&connection, &file)?;
        if matches!(kind, FileKind::Older(_)) {
            let _turn = FileLock::take_turn(folder, PATIENCE)?;
            // Another process may have done it while we waited.
            kind = check_format(&connection, &file)?;
            if let FileKind::Older(format) = kind {
                migrate(&mut connection, format).map_err(StoreError::sql("migrating"))?;
                kind = FileKind::Ours;
            }
        }
        match kind {
            FileKind::Ours | FileKind::Older(_) => {}
            FileKind::Empty => return Err(OpenError::Missing { folder: folder.to_owned() }),
            FileKind::Foreign(error) => return Err(*error),
        }
        let library = Self::assemble(folder, connection, seam, true)?;
        library.finish_wiping()?;
        Ok(library)
    }

    fn assemble(
        folder: &Path,
        connection: Connection,
        seam: Seam,
        writable: bool,
    ) -> Result<Self, OpenError> {
        set_up(&connection).map_err(StoreError::sql("opening"))?;
        connection.set_prepared_statement_cache_capacity(128);
        let uid = connection
            .query_row("SELECT uid FROM library", [], |row| row.get(0))
            .map_err(StoreError::sql("reading the library's id"))?;
        let file = folder.join(DB_FILE);
        let writable = writable
            .then(|| fs::metadata(&file).map(|meta| identity(&meta)))
            .transpose()
            .map_err(StoreError::io(&file, "opening"))?;
        Ok(Self { folder: folder.to_owned(), connection, seam, uid, writable, patience: PATIENCE })
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Whether this handle may change the library.
    #[must_use]
    pub fn is_writable(&self) -> bool {
        self.writable.is_some()
    }

    /// The library's own id, made with it and the same in every copy.
    #[must_use]
    pub fn uid(&self) -> &str {
        &self.uid
    }

    /// Makes several changes as one: all of them are stored, or none.
    ///
    /// Waits for its turn, up to 10 s: changes of several processes come one after the other. When
    /// this returns `Ok`, the changes survive a crash. If `change` returns an error or panics,
    /// nothing of it stays. What takes long, such as reading a file, is done before.
    ///
    /// # Errors
    /// Whatever `change` returns; [`WriteError::ReadOnly`]; [`WriteError::Locked`] if the turn did
    /// not come; [`WriteError::Replaced`]; a failing disk.
    pub fn write<T>(
        &mut self,
        change: impl FnOnce(&mut Writer<'_>) -> Result<T, WriteError>,
    ) -> Result<T, WriteError> {
        let turn = self.take_turn()?;
        self.write_in(&turn, change)
    }

    /// [`Library::write`] in a turn that is longer than this change.
    pub(crate) fn write_in<T>(
        &mut self,
        _turn: &Turn,
        change: impl FnOnce(&mut Writer<'_>) -> Result<T, WriteError>,
    ) -> Result<T, WriteError> {
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::sql("beginning a change"))?;
        let mut writer = Writer::begin(&transaction)?;
        // An early return drops the transaction, which rolls it back.
        let value = change(&mut writer)?;
        writer.finish()?;
        transaction.commit().map_err(StoreError::sql("storing a change"))?;
        Ok(value)
    }

    /// Waits for the turn to change the library. Never while another turn of it is held.
    ///
    /// # Errors
    /// [`WriteError::ReadOnly`]; [`WriteError::Locked`]; [`WriteError::Replaced`].
    pub(crate) fn take_turn(&self) -> Result<Turn, WriteError> {
        let Some(own) = self.writable else {
            return Err(WriteError::ReadOnly { folder: self.folder.clone() });
        };
        let turn = Turn(FileLock::take_turn(&self.folder, self.patience)?);
        let file = self.folder.join(DB_FILE);
        let there = fs::metadata(&file).is_ok_and(|meta| identity(&meta) == own);
        let format: i64 = self
            .connection
            .query_row("PRAGMA user_version", [], |row| row.get(0))
            .map_err(StoreError::sql("reading the format number"))?;
        if there && format == FORMAT { Ok(turn) } else { Err(WriteError::Replaced { file }) }
    }

    /// Removes the files of a library in which nothing is stored, for one that was made a moment
    /// ago; `false`, and nothing removed, if anything is stored by now.
    ///
    /// # Errors
    /// [`WriteError::ReadOnly`]; [`WriteError::Locked`]; [`StoreError::Io`].
    pub fn take_back(self) -> Result<bool, WriteError> {
        let turn = self.take_turn()?;
        let held = "SELECT EXISTS (SELECT 1 FROM players) OR EXISTS (SELECT 1 FROM packs_received)
            OR EXISTS (SELECT 1 FROM packs_sent) OR EXISTS (SELECT 1 FROM catalogue_files)
            OR EXISTS (SELECT 1 FROM tombstones)";
        let holds: bool = self
            .connection
            .query_row(held, [], |row| row.get(0))
            .map_err(StoreError::sql("looking for anything stored"))?;
        let Some(building) = self.wait_to_build()?.filter(|_| !holds) else { return Ok(false) };
        self.remove_derived(&building)?;
        let folder = self.folder;
        // The last connection folds the log into the file.
        drop(self.connection);
        // The store first: without it nothing else is taken for a library. The locks are still
        // held; who waits for one that is removed looks again.
        for name in LEFT_BEHIND {
            let path = folder.join(name);
            match fs::remove_file(&path) {
                Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                    return Err(StoreError::io(&path, "taking back")(error).into());
                }
                _ => {}
            }
        }
        drop(turn);
        Ok(true)
    }

    /// How long a change waits for its turn before it gives up; 10 s at first.
    pub fn set_patience(&mut self, patience: Duration) {
        self.patience = patience;
    }

    pub(crate) fn patience(&self) -> Duration {
        self.patience
    }
}

fn connect(file: &Path, seam: &Seam, extra: OpenFlags) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | extra;
    let connection = match seam.vfs {
        Some(vfs) => Connection::open_with_flags_and_vfs(file, flags, vfs),
        None => Connection::open_with_flags(file, flags),
    }
    .map_err(StoreError::sql("opening"))?;
    connection.busy_timeout(BUSY).map_err(StoreError::sql("opening"))?;
    Ok(connection)
}

/// Settings that belong to the connection, not to the file.
fn set_up(connection: &Connection) -> rusqlite::Result<()> {
    connection.busy_timeout(BUSY)?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    // A row that is replaced counts as removed: so what it was can be kept.
    connection.pragma_update(None, "recursive_triggers", true)?;
    // What is deleted is overwritten, and nothing about people goes to temporary files.
    connection.pragma_update(None, "secure_delete", true)?;
    connection.pragma_update(None, "temp_store", "MEMORY")?;
    connection.pragma_update(None, "trusted_schema", false)?;
    connection.pragma_update(None, "cell_size_check", true)?;
    connection.pragma_update(None, "cache_size", -CACHE_KIB)
}

enum FileKind {
    Ours,
    /// Of this earlier format.
    Older(i64),
    Empty,
    Foreign(Box<OpenError>),
}

fn check_format(connection: &Connection, file: &Path) -> Result<FileKind, StoreError> {
    let number = |sql| connection.query_row::<i64, _, _>(sql, [], |row| row.get(0));
    let read = || -> rusqlite::Result<(i64, i64, i64)> {
        Ok((
            number("PRAGMA application_id")?,
            number("PRAGMA user_version")?,
            number("SELECT count(*) FROM sqlite_schema")?,
        ))
    };
    Ok(match read() {
        Ok((APPLICATION_ID, FORMAT, _)) => FileKind::Ours,
        Ok((APPLICATION_ID, format @ 1..FORMAT, _)) => FileKind::Older(format),
        Ok((APPLICATION_ID, found, _)) => FileKind::Foreign(Box::new(OpenError::Format {
            file: file.to_owned(),
            found,
            known: FORMAT,
        })),
        Ok((0, 0, 0)) => FileKind::Empty,
        Ok((id, ..)) => FileKind::Foreign(Box::new(OpenError::NotALibrary {
            file: file.to_owned(),
            found: format!("an SQLite database of another program, application id {id:#x}"),
        })),
        Err(error) => match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => FileKind::Foreign(Box::new(OpenError::NotALibrary {
                file: file.to_owned(),
                found: "not an SQLite database".to_owned(),
            })),
            _ => return Err(StoreError::sql("reading the format number")(error)),
        },
    })
}

fn lay_schema(connection: &mut Connection) -> rusqlite::Result<()> {
    connection.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))?;
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    transaction.execute_batch(SCHEMA)?;
    transaction.execute(
        "INSERT INTO library (id, uid, created) VALUES (1, ?1, ?2)",
        (uuid::Uuid::now_v7().to_string(), jiff::Timestamp::now().to_string()),
    )?;
    lay_format_2(&transaction)?;
    transaction.execute_batch(SCHEMA_3)?;
    lay_format_4(&transaction)?;
    transaction.execute_batch(SCHEMA_5)?;
    transaction.execute_batch(SCHEMA_6)?;
    transaction.execute_batch(SCHEMA_7)?;
    // Inside the transaction, so a file is either empty or a library.
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", FORMAT)?;
    transaction.commit()
}

fn lay_format_4(db: &Connection) -> rusqlite::Result<()> {
    db.execute_batch(SCHEMA_4)?;
    db.execute(
        &format!(
            "INSERT INTO case_notes (case_id, text, said_by, at, came)
             SELECT case_id, text, said_by, at, came FROM ({NOTES_BEFORE_4}) ORDER BY case_id"
        ),
        [],
    )?;
    db.execute_batch("ALTER TABLE cases DROP COLUMN note")
}

fn lay_format_2(db: &Connection) -> rusqlite::Result<()> {
    db.execute_batch(SCHEMA_2)?;
    let secret: [u8; 32] = rand::random();
    db.execute("INSERT INTO secrets (id, secret) VALUES (1, ?1)", [secret])?;
    Ok(())
}

/// Dose and place as SQL over a dose as programs of formats 1 and 2 wrote it: "wall" or "3 x 10; wall".
pub(crate) fn dose_and_place() -> [String; 2] {
    let (mut doses, mut places) = (String::new(), String::new());
    for place in Place::ALL {
        let (name, tail) = (place.name(), format!("; {}", place.label()));
        let (alone, behind) =
            (format!("dose = '{}'", place.label()), format!("dose GLOB '*{tail}'"));
        let long = tail.len();
        doses += &format!(
            " WHEN {alone} THEN '' WHEN {behind} THEN substr(dose, 1, length(dose) - {long})"
        );
        places += &format!(" WHEN {alone} OR {behind} THEN '{name}'");
    }
    [format!("CASE{doses} ELSE dose END"), format!("CASE{places} END")]
}

/// From an earlier format to this one, in one transaction: a crash leaves the one or the other.
fn migrate(connection: &mut Connection, from: i64) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    if from < 2 {
        lay_format_2(&transaction)?;
    }
    if from < 3 {
        transaction.execute_batch(SCHEMA_3)?;
        let [dose, place] = dose_and_place();
        transaction
            .execute(&format!("UPDATE plan_drills SET dose = {dose}, done_where = {place}"), [])?;
    }
    if from < 4 {
        lay_format_4(&transaction)?;
    }
    if from < 5 {
        transaction.execute_batch(SCHEMA_5)?;
    }
    if from < 6 {
        transaction.execute_batch(SCHEMA_6)?;
    }
    transaction.execute_batch(SCHEMA_7)?;
    transaction.pragma_update(None, "user_version", FORMAT)?;
    transaction.commit()
}

/// Empty tables and columns, of this connection alone, in place of those an older format lacks.
fn stand_in(connection: &Connection, format: i64) -> rusqlite::Result<()> {
    connection.pragma_update(None, "temp_store", "MEMORY")?;
    if format < 2 {
        empty_tables(connection, SCHEMA_2)?;
    }
    if format < 3 {
        let [dose, place] = dose_and_place();
        connection.execute_batch(&format!(
            "CREATE TEMP VIEW plan_drills AS
                SELECT plan, place, drill, {dose} AS dose, {place} AS done_where
                FROM main.plan_drills"
        ))?;
    }
    if format < 4 {
        empty_tables(connection, SCHEMA_4)?;
        connection.execute_batch(&format!(
            "DROP TABLE temp.case_notes; CREATE TEMP VIEW case_notes AS {NOTES_BEFORE_4}"
        ))?;
    }
    if format < 5 {
        empty_tables(connection, SCHEMA_5)?;
    }
    if format < 6 {
        empty_tables(connection, SCHEMA_6)?;
    }
    empty_tables(connection, SCHEMA_7)
}

/// The tables of a schema, of this connection alone and empty.
fn empty_tables(connection: &Connection, schema: &str) -> rusqlite::Result<()> {
    // Without its comments, which may hold semicolons, and without indexes.
    let lines = schema.lines().filter(|line| !line.trim_start().starts_with("--"));
    let bare: String = lines.flat_map(|line| [line, "\n"]).collect();
    let tables = bare.replace("CREATE TABLE ", "CREATE TEMP TABLE ");
    for statement in tables.split_inclusive(';').filter(|text| text.contains("CREATE TEMP TABLE")) {
        connection.execute_batch(statement)?;
    }
    Ok(())
}

fn cannot_open(error: &rusqlite::Error) -> bool {
    matches!(error.sqlite_error_code(), Some(ErrorCode::CannotOpen | ErrorCode::ReadOnly))
}

fn no_log_waits(file: &Path) -> bool {
    let mut log = file.as_os_str().to_owned();
    log.push("-wal");
    fs::metadata(log).map_or(true, |meta| meta.len() == 0)
}

/// The path as it stands in an SQLite `file:` URI.
fn uri_path(file: &Path) -> String {
    let mut text = String::new();
    for byte in file.as_os_str().as_encoded_bytes() {
        match byte {
            b'/' | b'.' | b'-' | b'_' | b'0'..=b'9' | b'A'..=b'Z' | b'a'..=b'z' => {
                text.push(char::from(*byte));
            }
            _ => text.push_str(&format!("%{byte:02x}")),
        }
    }
    text
}
