use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use crate::library::{Library, OpenError};

/// The library's folder: as named, or the user's own.
pub(super) fn folder(named: Option<&Path>) -> anyhow::Result<PathBuf> {
    match named {
        Some(folder) => Ok(folder.to_owned()),
        None => directories::ProjectDirs::from("", "", "precedent")
            .map(|dirs| dirs.data_dir().to_owned())
            .context("no home folder is known here; name the library's folder with --library DIR"),
    }
}

/// Opens the library for writing, made new if there is none.
pub(super) fn for_adding(named: Option<&Path>) -> anyhow::Result<(Library, bool)> {
    let folder = folder(named)?;
    match Library::open(&folder) {
        Ok(library) => Ok((library, false)),
        Err(OpenError::Missing { .. }) => Ok((Library::create(&folder)?, true)),
        Err(error) => Err(error.into()),
    }
}

/// Opens the library for writing.
pub(super) fn for_writing(named: Option<&Path>) -> anyhow::Result<Library> {
    Ok(Library::open(folder(named)?)?)
}

/// Opens the library beside any other reader and one writer.
pub(super) fn for_reading(named: Option<&Path>) -> anyhow::Result<Library> {
    Ok(Library::open_read_only(folder(named)?)?)
}

/// An id such as s12, with the option it was given for in the error.
pub(super) fn id<T: std::str::FromStr<Err = String>>(what: &str, text: &str) -> anyhow::Result<T> {
    match text.parse() {
        Ok(id) => Ok(id),
        Err(expected) => bail!("{what}: expected {expected}"),
    }
}
