//! Sums over the files of the word index, beside them: over bytes that went bad the search library panics
//! or answers wrongly, and its own sums cover neither its lists of files nor one file in another's place.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use crate::library::envelope::checksum;

const NAME: &str = "sums";

/// A line `sum length name` for each file, in order of names, then the sum of those lines. Locks hold
/// nothing and are left out.
fn lines(folder: &Path) -> io::Result<String> {
    let mut lines = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let Ok(name) = entry.file_name().into_string() else { continue };
        if name == NAME || name.ends_with(".lock") || name.ends_with(".new") {
            continue;
        }
        let bytes = fs::read(entry.path())?;
        lines.push((name, checksum(&bytes), bytes.len()));
    }
    lines.sort();
    let mut text = String::new();
    for (name, sum, length) in lines {
        text.push_str(&format!("{sum:016x} {length} {name}\n"));
    }
    text.push_str(&format!("{:016x}\n", checksum(text.as_bytes())));
    Ok(text)
}

/// Writes them for the files as they are now, whole or not at all.
pub(super) fn write(folder: &Path, before_write: impl Fn(&'static str)) -> io::Result<()> {
    let text = lines(folder)?;
    let (path, new) = (folder.join(NAME), folder.join("sums.new"));
    before_write("writing the sums of words");
    let mut file = File::create(&new)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    before_write("renaming the sums of words");
    fs::rename(&new, &path)
}

/// What is not as it was when the sums were written, in words. Cost: reads the files once.
pub(super) fn difference(folder: &Path) -> io::Result<Option<String>> {
    let written = match fs::read_to_string(folder.join(NAME)) {
        Ok(written) => written,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Ok(Some("its sums are missing: it was not written to its end".to_owned()));
        }
        Err(error) if error.kind() == io::ErrorKind::InvalidData => {
            return Ok(Some("its sums are damaged".to_owned()));
        }
        Err(error) => return Err(error),
    };
    let found = lines(folder)?;
    if written == found {
        return Ok(None);
    }
    let changed = found.lines().zip(written.lines()).find(|(found, written)| found != written);
    let name = changed.and_then(|(found, _)| found.split(' ').nth(2)).unwrap_or(NAME);
    Ok(Some(format!("{name} is not as it was written")))
}
