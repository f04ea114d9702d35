//! Sums over the files of the word index, beside them: over bytes that went bad the search library panics
//! or answers wrongly, and its own sums cover neither its lists of files nor one file in another's place.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use crate::library::envelope::checksum;

const NAME: &str = "sums";

/// What the index says of itself, a line `sum length name` for each file, in order of names, then the sum
/// of all those lines. Locks hold nothing and are left out.
fn lines(folder: &Path, head: &str) -> io::Result<String> {
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
    let mut text = format!("{head}\n");
    for (name, sum, length) in lines {
        text.push_str(&format!("{sum:016x} {length} {name}\n"));
    }
    text.push_str(&format!("{:016x}\n", checksum(text.as_bytes())));
    Ok(text)
}

/// Writes them for the files as they are now, below a line about the index, whole or not at all.
pub(super) fn write(
    folder: &Path,
    head: &str,
    before_write: impl Fn(&'static str),
) -> io::Result<()> {
    let text = lines(folder, head)?;
    let (path, new) = (folder.join(NAME), folder.join("sums.new"));
    before_write("writing the sums of words");
    let mut file = File::create(&new)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    before_write("renaming the sums of words");
    fs::rename(&new, &path)
}

/// The line about the index, if the sums are as they were written. Cost: reads no other file.
pub(super) fn head(folder: &Path) -> io::Result<Option<String>> {
    let written = match fs::read_to_string(folder.join(NAME)) {
        Ok(written) => written,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error),
    };
    let sealed = written
        .trim_end()
        .rsplit_once('\n')
        .filter(|(text, sum)| *sum == format!("{:016x}", checksum(format!("{text}\n").as_bytes())));
    Ok(sealed.and_then(|(text, _)| text.lines().next()).map(str::to_owned))
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
    let head = written.lines().next().unwrap_or_default();
    let found = lines(folder, head)?;
    if written == found {
        return Ok(None);
    }
    let changed = found.lines().zip(written.lines()).find(|(found, written)| found != written);
    let name = changed.and_then(|(found, _)| found.split(' ').nth(2)).unwrap_or(NAME);
    Ok(Some(format!("{name} is not as it was written")))
}
