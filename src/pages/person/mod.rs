//! All that is stored of one player as one file, for the player: a page to read, tables and arrays
//! for programs, the clips that are kept. Nothing of other players is in it.

mod page;

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use serde_json::{Map, Value, json};
use tempfile::NamedTempFile;
use thiserror::Error;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::redact::Redactor;
use crate::coaching::{Age, describe_consent, who_consents};
use crate::exchange::{ExportError, export};
use crate::files::portable_name;
use crate::library::{Cell, Library, Player, PlayerId, StoreError, StoredRow};
use crate::motion::write::table;
use crate::words::count;
use crate::work::{Stage, Watch};

/// Form of `data.json`; a reader that knows it reads it.
const FORM: u32 = 1;

/// Why nothing was written.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PersonError {
    /// The file could not be written.
    #[error("{}: cannot be written: {source}; check disk space and rights", .file.display())]
    Io {
        /// The file.
        file: PathBuf,
        /// The cause.
        source: io::Error,
    },
    /// The tables and arrays could not be written.
    #[error(transparent)]
    Export(#[from] ExportError),
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What is in the file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PersonWritten {
    /// Recordings.
    pub recordings: usize,
    /// Serves.
    pub serves: usize,
    /// Cases.
    pub cases: usize,
    /// Copies of clips.
    pub clips: usize,
    /// Changes told.
    pub changes: usize,
    /// What could not be put in, in words.
    pub notes: Vec<String>,
}

impl PersonWritten {
    /// What is in it, as a list: "3 recordings, 9 serves, ...".
    #[must_use]
    pub fn describe(&self) -> String {
        let parts = [
            count(self.recordings, "recording"),
            count(self.serves, "serve"),
            count(self.cases, "session"),
            count(self.clips, "clip"),
            count(self.changes, "change"),
        ];
        parts.join(", ")
    }
}

/// What whoever hands the file over is told of it: what was agreed, who else agrees, what is in it.
#[must_use]
pub fn handing_over(who: &Player, day: Date) -> Vec<String> {
    let agreed = format!("{} {}", who.code, describe_consent(who.consent));
    let guardian = who_consents(Age::on(day, who.born)).map(str::to_owned);
    let inside =
        "name, birth date, pain and pictures are in it: hand it to the player and to nobody else";
    std::iter::once(agreed).chain(guardian).chain([inside.to_owned()]).collect()
}

/// Texts of a player in which nobody else is named.
struct Own {
    redactor: Redactor,
}

impl Own {
    fn of(library: &Library, player: &Player) -> Result<Self, StoreError> {
        let others = library.players()?.into_iter().filter(|other| other.id != player.id);
        let names = others.flat_map(|other| [Some(other.code), other.name]).flatten();
        let own = [Some(player.code.as_str()), player.name.as_deref()];
        let names = names.filter(|name| !own.contains(&Some(name.as_str())));
        Ok(Self { redactor: Redactor::naming(names) })
    }

    /// `text` without names of others. A single word is a value of the store, not somebody's words,
    /// unless it stands where words or names of files stand.
    fn clean(&self, column: &str, text: &str) -> String {
        let words =
            ["note", "text", "reason", "dose", "file_name", "path", "words"].contains(&column);
        if words || text.contains([' ', '/', '\\']) {
            self.redactor.clean(text)
        } else {
            text.to_owned()
        }
    }

    fn words(&self, text: &str) -> String {
        self.redactor.clean(text)
    }
}

/// Writes all that is stored of a player into one new ZIP file; a file of that name is replaced by
/// the whole new one only. Readable by its owner alone, where the system knows such a thing.
///
/// Cost: reads every row and clip of the player once; memory of one table's rows.
///
/// # Errors
/// [`PersonError`]; then no file is left, and one that was there stays as it was.
pub fn export_person(
    library: &Library,
    player: PlayerId,
    output: &Path,
    day: Date,
    watch: &Watch,
) -> Result<PersonWritten, PersonError> {
    let failed = |source: io::Error| PersonError::Io { file: output.to_owned(), source };
    let parent = match output.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    };
    let mut file = NamedTempFile::new_in(parent).map_err(failed)?;
    let making = tempfile::tempdir_in(parent).map_err(failed)?;
    let zip = ZipWriter::new(file.as_file_mut());
    let written = fill(library, player, Writing { zip, output, watch }, making.path(), day)?;
    file.as_file().sync_all().map_err(failed)?;
    file.persist(output).map_err(|error| failed(error.error))?;
    Ok(written)
}

/// The whole archive; `scratch` is an empty folder.
fn fill(
    library: &Library,
    player: PlayerId,
    mut to: Writing<'_>,
    scratch: &Path,
    day: Date,
) -> Result<PersonWritten, PersonError> {
    let watch = to.watch;
    let who = library.player(player)?;
    let own = Own::of(library, &who)?;
    let mut written = PersonWritten::default();

    let gathered = data(library, player, &own, &mut to)?;
    written.changes = gathered.changes;
    to.add("data.json", &serde_json::to_vec_pretty(&gathered.json).unwrap_or_default())?;
    to.add("report.html", page::page(library, &who, day, &own, &gathered.tables)?.as_bytes())?;
    to.add("READ-ME.txt", read_me(&who, day).as_bytes())?;

    let serves = library.serves_of(player)?;
    written.serves = serves.len();
    written.cases = library.case_ids(Some(player))?.len();
    let folder = scratch.join("serves");
    let mut names = export(library, &serves, &folder)?;
    names.extend(["serves.csv".to_owned(), "measures.csv".to_owned()]);
    names.sort();
    for name in names {
        to.copy(&format!("serves/{name}"), &folder.join(&name), CompressionMethod::Deflated)?;
    }

    let recordings = library.recordings(Some(player))?;
    written.recordings = recordings.len();
    for (done, recording) in recordings.iter().enumerate() {
        watch.step(Stage::Recordings, done, recordings.len()).map_err(StoreError::from)?;
        let joints = library.joints(recording.id)?;
        // What came in a pack has its curves and no joints.
        if joints.frames() > 0 {
            to.add(&format!("joints/{}.csv", recording.id), table(&joints).as_bytes())?;
        }
        let Some(clip) = library.clip(recording.id)?.filter(|clip| clip.kept) else { continue };
        let name = portable_name(&own.words(&recording.file_name));
        let copy = library.clip_copy(&clip.hash);
        if copy.is_file() {
            to.copy(&format!("clips/{}-{name}", recording.id), &copy, CompressionMethod::Stored)?;
            written.clips += 1;
        } else {
            written.notes.push(format!("the copy of the clip of {} is not there", recording.id));
        }
    }
    for hash in library.past_clips_of(player)? {
        let copy = library.clip_copy(&hash);
        if copy.is_file() {
            to.copy(&format!("clips/earlier-{hash}"), &copy, CompressionMethod::Stored)?;
            written.clips += 1;
        }
    }
    let file = to.output.to_owned();
    to.zip.finish().map_err(|error| PersonError::Io { file, source: io::Error::other(error) })?;
    Ok(written)
}

/// The archive as it grows.
struct Writing<'a> {
    zip: ZipWriter<&'a mut File>,
    output: &'a Path,
    watch: &'a Watch,
}

impl Writing<'_> {
    fn failed(&self, source: io::Error) -> PersonError {
        PersonError::Io { file: self.output.to_owned(), source }
    }

    fn add(&mut self, name: &str, content: &[u8]) -> Result<(), PersonError> {
        self.copy_from(name, &mut { content }, CompressionMethod::Deflated)
    }

    fn copy(&mut self, name: &str, file: &Path, how: CompressionMethod) -> Result<(), PersonError> {
        let mut from = File::open(file).map_err(|error| self.failed(error))?;
        self.copy_from(name, &mut from, how)
    }

    fn copy_from(
        &mut self,
        name: &str,
        from: &mut impl Read,
        how: CompressionMethod,
    ) -> Result<(), PersonError> {
        let options = SimpleFileOptions::default()
            .compression_method(how)
            .large_file(true)
            .last_modified_time(zip::DateTime::default());
        self.zip.start_file(name, options).map_err(|error| self.failed(io::Error::other(error)))?;
        self.watch.check().map_err(StoreError::from)?;
        crate::files::copy(from, &mut self.zip, self.watch).map_err(|error| {
            match self.watch.check() {
                Err(stopped) => StoreError::from(stopped).into(),
                Ok(()) => self.failed(error),
            }
        })?;
        self.zip.flush().map_err(|error| self.failed(error))
    }
}

/// The rows for the page, and everything for programs.
struct Gathered {
    json: Value,
    tables: BTreeMap<String, Vec<StoredRow>>,
    changes: usize,
}

/// Every row of every table that is the player's, and what was before. Bytes go into files of their
/// own, which the rows name.
fn data(
    library: &Library,
    player: PlayerId,
    own: &Own,
    to: &mut Writing<'_>,
) -> Result<Gathered, PersonError> {
    let mut tables: BTreeMap<String, Vec<StoredRow>> = BTreeMap::new();
    let mut objects: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    library.each_row_of::<PersonError>(player, &mut |table, row| {
        to.watch.check().map_err(StoreError::from)?;
        let number = objects.entry(table.to_owned()).or_default().len() + 1;
        let stem = format!("{table}-{number}");
        let object = object(&row, &stem, own, to)?;
        objects.entry(table.to_owned()).or_default().push(object);
        let readable = row.into_iter().map(|(name, cell)| (name, readable(cell)));
        tables.entry(table.to_owned()).or_default().push(readable.collect());
        Ok(())
    })?;
    let mut before = Vec::new();
    for (number, past) in (1..).zip(library.past_rows_of(player)?) {
        to.watch.check().map_err(StoreError::from)?;
        let stem = format!("history-{number}");
        let mut side = |name: &str, row: &Option<StoredRow>| match row {
            Some(row) => object(row, &format!("{stem}-{name}"), own, to),
            None => Ok(Value::Null),
        };
        let (was, is) = (side("before", &past.before)?, side("after", &past.after)?);
        before.push(json!({
            "change": past.change.to_string(),
            "table": past.table,
            "key": object(&past.key, &stem, own, to)?,
            "before": was,
            "after": is,
        }));
    }
    let changes = library.history_of_player(player)?;
    let catalogue = library.catalogue()?;
    let age = crate::coaching::Age::on(to_day(library, player)?, library.player(player)?.born);
    let mut cautions = crate::coaching::Cautions::of(&catalogue, age);
    for case in library.cases(Some(player))? {
        for plan in &case.plans {
            for drill in crate::coaching::ShownDrill::of_plan(&catalogue, plan) {
                cautions.name(&drill);
            }
        }
    }
    let told: Vec<Value> = changes
        .iter()
        .map(|change| {
            let fields = change.fields.iter().map(|field| own.words(&field.line()));
            json!({
                "change": change.id.to_string(),
                "at": change.at,
                "by": change.by,
                "kind": change.kind,
                "what": fields.collect::<Vec<_>>(),
            })
        })
        .collect();
    let json = json!({
        "form": FORM,
        "program": concat!("precedent ", env!("CARGO_PKG_VERSION")),
        "tables": objects,
        "history": told,
        "history_rows": before,
        "cautions": cautions,
    });
    Ok(Gathered { json, tables, changes: changes.len() })
}

/// The player's last day here, on which an age is reckoned.
fn to_day(library: &Library, player: PlayerId) -> Result<Date, StoreError> {
    let days = library.cases(Some(player))?.into_iter().map(|case| case.date);
    Ok(days.max().unwrap_or_else(|| jiff::ZonedDateTime::now().date()))
}

fn object(
    row: &StoredRow,
    stem: &str,
    own: &Own,
    to: &mut Writing<'_>,
) -> Result<Value, PersonError> {
    let mut object = Map::new();
    for (name, cell) in row {
        let value = match cell {
            Cell::Nothing => Value::Null,
            Cell::Whole(number) => json!(number),
            Cell::Number(number) => json!(number),
            Cell::Text(text) => json!(own.clean(name, text)),
            Cell::Bytes(bytes) => {
                let file = format!("bytes/{stem}-{name}.bin");
                to.add(&file, bytes)?;
                json!({ "file": file, "bytes": bytes.len() })
            }
        };
        object.insert(name.clone(), value);
    }
    Ok(Value::Object(object))
}

/// A cell a person can read: bytes by how many they are.
fn readable(cell: Cell) -> Cell {
    match cell {
        Cell::Bytes(bytes) => Cell::Text(format!("{} bytes", bytes.len())),
        other => other,
    }
}

fn read_me(who: &Player, day: Date) -> String {
    format!(
        "Everything stored about {}, written on {day}.\n\n\
         report.html  to read in a browser: who you are here, what you agreed to, every recording,\n\
         \x20            session, plan and result, what was shared with whom, what was changed.\n\
         data.json    the same for programs, every row of every table that is yours, and the\n\
         \x20            earlier states that are kept; what it calls bytes lies in bytes/.\n\
         serves/      your serves: measures (CSV), curves (NPY and CSV, serves x 101 samples x\n\
         \x20            channels).\n\
         joints/      your recordings as they were read: one table of joints over time for each.\n\
         clips/       copies of your clips, where the library keeps them.\n\n\
         Other players are not in it: where a note names one, it says \"another player\".\n\
         What the program works out from this, an index of curves and one of words, is not in it;\n\
         nor are clips that stay outside the library, of which it knows the path alone.\n\n\
         It is yours: ask your coach to put right what is wrong, or to remove all of it. For anybody\n\
         under eighteen, a parent or guardian may ask as well.\n",
        who.code
    )
}
