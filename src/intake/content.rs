//! The name a file's content goes by, and which files are meant by a path.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

use super::Context;
use crate::files::copy;
use crate::library::{Library, RecordingRow, StoreError};
use crate::video::{Person, has_clip_ending};
use crate::work::Watch;

/// Begins what is hashed, so that another form never gives the same name.
const FORM: &[u8] = b"precedent content 2\0";

/// The names of a file's content, blake3 in 64 small hex digits each.
///
/// A recording is stored under its content and the choice of whom to read in it, not under how it
/// is read: the same file read at another rate is the same recording. A folder of one file per
/// frame counts as its files in the order of their names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ContentId {
    /// Of the bytes alone.
    pub bytes: String,
    /// Of the bytes and the choice: what a new recording is stored under.
    pub now: String,
    /// What programs before called the same; recordings stored under it are found still.
    pub earlier: String,
}

impl ContentId {
    /// The names of `path` as `context` chooses in it. Cost: reads the file once.
    ///
    /// # Errors
    /// If a file cannot be read, or the work is stopped.
    pub fn of(path: &Path, context: &Context, watch: &Watch) -> io::Result<Self> {
        let mut hasher = blake3::Hasher::new();
        let files = if path.is_dir() { sorted_files(path)? } else { vec![path.to_owned()] };
        for file in files {
            copy(&mut File::open(file)?, &mut hasher, watch)?;
        }
        let bytes = hasher.finalize();
        hasher.update(earlier_choice(context).as_bytes());
        let mut now = blake3::Hasher::new();
        now.update(FORM).update(bytes.as_bytes()).update(&choice(context));
        Ok(Self {
            bytes: bytes.to_hex().to_string(),
            now: now.finalize().to_hex().to_string(),
            earlier: hasher.finalize().to_hex().to_string(),
        })
    }

    /// The recording stored under one of these names, if any.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn stored_in(&self, library: &Library) -> Result<Option<RecordingRow>, StoreError> {
        match library.recording_by_hash(&self.now)? {
            Some(row) => Ok(Some(row)),
            None => library.recording_by_hash(&self.earlier),
        }
    }
}

/// Subject, person and person in the clip, in this order. Each begins with a byte that says which
/// form it has (0: not chosen); numbers are 8 bytes, little-endian; a text is its length and its
/// UTF-8. This form is never changed: another one gets another [`FORM`].
fn choice(context: &Context) -> Vec<u8> {
    let number = |n: usize| (n as u64).to_le_bytes();
    let mut bytes = Vec::new();
    match &context.read.subject {
        None => bytes.push(0),
        Some(name) => {
            bytes.push(1);
            bytes.extend(number(name.len()));
            bytes.extend(name.as_bytes());
        }
    }
    match context.read.person {
        None => bytes.push(0),
        Some(person) => {
            bytes.push(1);
            bytes.extend(number(person));
        }
    }
    match context.clip.person {
        Person::Only => bytes.push(0),
        Person::FromLeft(place) => {
            bytes.push(1);
            bytes.extend(number(place));
        }
        Person::Within(area) => {
            bytes.push(2);
            bytes.extend(area.iter().flat_map(|edge| edge.to_le_bytes()));
        }
    }
    bytes
}

/// The choice as it was hashed behind the bytes before [`FORM`] was: text as the compiler then
/// printed the options. Frozen; it must not follow the types any more.
fn earlier_choice(context: &Context) -> String {
    let mut text = String::from("\0");
    match &context.read.subject {
        None => text.push_str("None"),
        Some(name) => {
            text.push_str("Some(\"");
            for c in name.chars() {
                // Within double quotes a single one was left as it is.
                if c == '\'' { text.push(c) } else { text.extend(c.escape_debug()) }
            }
            text.push_str("\")");
        }
    }
    text.push('\0');
    match context.read.person {
        None => text.push_str("None"),
        Some(person) => text.push_str(&format!("Some({person})")),
    }
    match context.clip.person {
        Person::Only => {}
        Person::FromLeft(place) => text.push_str(&format!("\0FromLeft({place})")),
        Person::Within([left, top, right, bottom]) => {
            text.push_str(&format!("\0Within([{left:?}, {top:?}, {right:?}, {bottom:?}])"));
        }
    }
    text
}

/// Endings of names under which joints are kept.
const JOINT_ENDINGS: [&str; 8] = ["c3d", "trc", "bvh", "json", "csv", "tsv", "txt", "dat"];

/// Whether a file of this name may be a recording: it ends as a clip or a file of joints does.
/// What is in it decides when it is read.
#[must_use]
pub fn is_recording_name(name: &Path) -> bool {
    let ending = name.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    has_clip_ending(name) || JOINT_ENDINGS.iter().any(|known| ending.eq_ignore_ascii_case(known))
}

/// The day a file was last written, here.
pub(super) fn date_of(path: &Path) -> io::Result<Date> {
    let written = std::fs::metadata(path)?.modified()?;
    let moment = Timestamp::try_from(written).map_err(io::Error::other)?;
    Ok(ZonedDateTime::new(moment, TimeZone::system()).date())
}

/// The recordings named by `paths`, in order: a file is one; a folder is its files and
/// subfolders, unless it holds one picture's keypoints per file, which make one recording.
///
/// # Errors
/// If a folder cannot be listed.
pub fn recordings_in(paths: &[PathBuf]) -> io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for path in paths {
        if path.is_dir() && !is_frame_folder(path)? {
            let mut inside: Vec<PathBuf> =
                std::fs::read_dir(path)?.map(|e| e.map(|e| e.path())).collect::<io::Result<_>>()?;
            inside
                .retain(|p| !p.file_name().is_some_and(|n| n.as_encoded_bytes().starts_with(b".")));
            inside.sort();
            files.extend(recordings_in(&inside)?);
        } else {
            files.push(path.clone());
        }
    }
    Ok(files)
}

/// Whether a folder is one recording: several JSON files whose names end in a frame number.
fn is_frame_folder(folder: &Path) -> io::Result<bool> {
    let files = sorted_files(folder)?;
    let is_frame = |file: &PathBuf| {
        file.extension().is_some_and(|e| e.eq_ignore_ascii_case("json"))
            && file
                .file_stem()
                .and_then(|stem| stem.to_str())
                .map(|stem| stem.trim_end_matches("_keypoints"))
                .is_some_and(|stem| stem.ends_with(|c: char| c.is_ascii_digit()))
    };
    Ok(files.len() > 1 && files.iter().all(is_frame))
}

fn sorted_files(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_are_walked_and_frame_folders_are_one_recording() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::create_dir_all(at("frames")).unwrap();
        for name in ["b.c3d", "a.csv", ".hidden", "frames/x_0001.json", "frames/x_0002.json"] {
            std::fs::write(at(name), name).unwrap();
        }
        let found = recordings_in(&[folder.path().to_owned()]).unwrap();
        assert_eq!(found, [at("a.csv"), at("b.c3d"), at("frames")]);
    }

    /// Names of a file that holds `x`, for every kind of choice, as an independent blake3 (the
    /// Python package, version in the file's name) gives them; `content-ids.py` beside it says how.
    #[test]
    fn names_of_content_are_the_golden_ones() {
        let golden = include_str!("../../tests/fixtures/intake/content-ids-blake3-1.0.11.csv");
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("x");
        std::fs::write(&file, "x").unwrap();
        let choices: [(&str, Option<&str>, Option<usize>, Person); 8] = [
            ("none", None, None, Person::Only),
            ("subject", Some("second"), None, Person::Only),
            ("odd subject", Some("O'Hara \"B\"\n\u{e9}\\"), None, Person::Only),
            ("person", None, Some(1), Person::Only),
            ("from left", None, None, Person::FromLeft(2)),
            ("within", None, None, Person::Within([10.0, 20.5, 300.0, 1e20])),
            ("all", Some("a"), Some(0), Person::FromLeft(1)),
            ("empty subject", Some(""), None, Person::Only),
        ];
        let mut checked = 0;
        for (name, subject, person, in_clip) in choices {
            let mut context = Context::default();
            context.read.subject = subject.map(str::to_owned);
            context.read.person = person;
            context.clip.person = in_clip;
            let found = ContentId::of(&file, &context, &Watch::default()).unwrap();
            let row = format!("{name},{},{},{}", found.bytes, found.now, found.earlier);
            assert!(golden.lines().any(|line| line == row), "{row}");
            checked += 1;
        }
        assert_eq!(golden.lines().count(), checked + 1, "a header and one row each");
    }

    #[test]
    fn a_folder_of_frames_goes_by_its_files_in_order() {
        let folder = tempfile::tempdir().unwrap();
        let of = |name: &str| {
            ContentId::of(&folder.path().join(name), &Context::default(), &Watch::default())
                .unwrap()
        };
        std::fs::create_dir(folder.path().join("frames")).unwrap();
        for (name, bytes) in [("frames/b.json", "cd"), ("frames/a.json", "ab"), ("whole", "abcd")] {
            std::fs::write(folder.path().join(name), bytes).unwrap();
        }
        assert_eq!(of("frames"), of("whole"));
    }
}
