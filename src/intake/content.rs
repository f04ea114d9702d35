use std::io;
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

use super::Context;
use crate::video::Person;

/// The name a file's content goes by: blake3 over its bytes and over the choice of subject and
/// person, hex; not over how they are read. A folder of one file per frame counts as its files in the order of their names.
///
/// # Errors
/// If a file cannot be read.
pub fn content_hash(path: &Path, context: &Context) -> io::Result<String> {
    let mut hasher = blake3::Hasher::new();
    if path.is_dir() {
        for file in sorted_files(path)? {
            hasher.update(&std::fs::read(file)?);
        }
    } else {
        io::copy(&mut std::fs::File::open(path)?, &mut hasher)?;
    }
    let options = &context.read;
    hasher.update(format!("\0{:?}\0{:?}", options.subject, options.person).as_bytes());
    if context.clip.person != Person::Only {
        hasher.update(format!("\0{:?}", context.clip.person).as_bytes());
    }
    Ok(hasher.finalize().to_hex().to_string())
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

    #[test]
    fn the_same_bytes_have_the_same_name_and_subjects_differ() {
        let folder = tempfile::tempdir().unwrap();
        let (a, b) = (folder.path().join("a"), folder.path().join("b"));
        std::fs::write(&a, "x").unwrap();
        std::fs::write(&b, "x").unwrap();
        let plain = Context::default();
        let mut other = Context::default();
        other.read.subject = Some("second".into());
        assert_eq!(content_hash(&a, &plain).unwrap(), content_hash(&b, &plain).unwrap());
        assert_ne!(content_hash(&a, &plain).unwrap(), content_hash(&a, &other).unwrap());
    }
}
