//! One keypoint JSON file per frame.

use std::path::{Path, PathBuf};

use super::errors::{ReadError, ReadErrorKind};
use super::keypoints::Keypoints;
use super::raw::Raw;
use super::{ReadOptions, text};

pub(super) fn read(folder: &Path, options: &ReadOptions) -> Result<Raw, ReadError> {
    let at = |file: &Path| {
        let file = file.to_owned();
        move |kind| ReadError { file, kind }
    };
    let mut keypoints = Keypoints::default();
    for (id, file) in frame_files(folder).map_err(at(folder))? {
        let bytes = std::fs::read(&file).map_err(|source| at(&file)(source.into()))?;
        text::as_text(&bytes)
            .ok_or(ReadErrorKind::NotText)
            .and_then(|text| keypoints.add_frame_file(text, id))
            .map_err(at(&file))?;
    }
    keypoints.finish(options).map_err(at(folder))
}

/// The `.json` files in order of their numbers, or of their names where those do not count.
fn frame_files(folder: &Path) -> Result<Vec<(Option<u64>, PathBuf)>, ReadErrorKind> {
    let mut files = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let json = path.extension().is_some_and(|end| end.eq_ignore_ascii_case("json"));
        if json && path.is_file() {
            files.push((number(&path), path));
        }
    }
    if files.is_empty() {
        return Err(ReadErrorKind::Empty { what: "no .json file in the folder" });
    }
    files.sort();
    let counted = files.iter().all(|(id, _)| id.is_some())
        && files.windows(2).all(|pair| pair[0].0 != pair[1].0);
    if !counted {
        files.sort_by(|a, b| a.1.cmp(&b.1));
        for file in &mut files {
            file.0 = None;
        }
    }
    Ok(files)
}

/// The last run of digits in the file's name.
fn number(path: &Path) -> Option<u64> {
    let stem = path.file_stem()?.to_string_lossy();
    stem.split(|c: char| !c.is_ascii_digit()).rfind(|run| !run.is_empty())?.parse().ok()
}
