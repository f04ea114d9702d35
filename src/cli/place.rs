use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use crate::evidence::sync_outcomes;
use crate::find::InStep;
use crate::library::{ItemId, Library, OpenError};
use crate::pages::Browser;
use crate::work::Watch;

/// The library's folder: as named, or the user's own.
pub(super) fn folder(named: Option<&Path>) -> anyhow::Result<PathBuf> {
    match named {
        Some(folder) => Ok(folder.to_owned()),
        None => directories::ProjectDirs::from("", "", "precedent")
            .map(|dirs| dirs.data_dir().to_owned())
            .context("no home folder is known here; name the library's folder with --library DIR"),
    }
}

/// A library was made where none was; and whether its folder was made with it.
#[derive(Debug)]
pub(super) struct MadeNew {
    folder_too: bool,
}

/// Opens the library for writing, made new if there is none.
pub(super) fn for_adding(named: Option<&Path>) -> anyhow::Result<(InStep, Option<MadeNew>)> {
    let folder = folder(named)?;
    let (library, made) = match Library::open(&folder) {
        Ok(library) => (library, None),
        Err(OpenError::Missing { .. }) => {
            let before = MadeNew { folder_too: !folder.exists() };
            match Library::create(&folder) {
                Ok(library) => (library, Some(before)),
                // Another process was quicker.
                Err(OpenError::Exists { .. }) => (Library::open(&folder)?, None),
                Err(error) => return Err(error.into()),
            }
        }
        Err(error) => return Err(error.into()),
    };
    Ok((InStep::new(library).and(sync_outcomes), made))
}

/// Takes back a library that was just made, unless another process has stored something in it;
/// whatever else lies in its folder stays.
pub(super) fn take_back(library: InStep, made: &MadeNew) -> anyhow::Result<()> {
    let library = library.into_inner();
    let folder = library.folder().to_owned();
    if library.take_back()? && made.folder_too {
        std::fs::remove_dir(&folder)
            .with_context(|| format!("{}: cannot be removed", folder.display()))?;
    }
    Ok(())
}

/// Writes a page as the output's name says: printed where it ends in `.pdf`, else as HTML.
pub(super) fn write_page(output: &Path, html: &str, watch: &Watch) -> anyhow::Result<()> {
    let ending = output.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    if ending.eq_ignore_ascii_case("pdf") {
        return write_whole(output, &Browser::find()?.print(html, watch)?);
    }
    write_whole(output, html.as_bytes())
}

/// Writes a page or table; a file with that name is replaced only by a whole one.
pub(super) fn write_whole(output: &Path, content: &[u8]) -> anyhow::Result<()> {
    let folder = match output.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if !folder.is_dir() {
        bail!("{}: no such folder; make it first, or write elsewhere", folder.display());
    }
    if output.is_dir() {
        bail!("{}: is a folder; name a file in it", output.display());
    }
    let mut making = tempfile::Builder::new();
    // Like any file a person makes: readable as their umask says.
    #[cfg(unix)]
    making.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    // The system's error names our temporary file, which nobody asked for.
    let refuse = |error: std::io::Error| {
        anyhow::anyhow!("{}: cannot be written: {}", output.display(), error.kind())
    };
    let mut file = making.tempfile_in(folder).map_err(refuse)?;
    file.write_all(content).map_err(refuse)?;
    file.persist(output).map_err(|error| refuse(error.error))?;
    Ok(())
}

/// Today, here.
pub(super) fn today() -> jiff::civil::Date {
    jiff::ZonedDateTime::now().date()
}

/// Opens the library for writing.
pub(super) fn for_writing(named: Option<&Path>) -> anyhow::Result<InStep> {
    Ok(InStep::new(Library::open(folder(named)?)?).and(sync_outcomes))
}

/// Opens the library beside any other reader and one writer.
pub(super) fn for_reading(named: Option<&Path>) -> anyhow::Result<Library> {
    Ok(Library::open_read_only(folder(named)?)?)
}

/// Something of the library by its id, or a player by the code; an id comes first.
pub(super) fn item(library: &Library, text: &str) -> anyhow::Result<ItemId> {
    match text.parse() {
        Ok(ItemId::Player(id)) => match library.player_by_code(text) {
            // A code that looks like an id of a player is the code.
            Ok(player) => Ok(ItemId::Player(player.id)),
            Err(_) => Ok(ItemId::Player(id)),
        },
        Ok(item) => Ok(item),
        Err(expected) => match library.player_by_code(text) {
            Ok(player) => Ok(ItemId::Player(player.id)),
            Err(_) => bail!("expected a player's code or {expected}"),
        },
    }
}

/// An id such as s12, with the option it was given for in the error.
pub(super) fn id<T: std::str::FromStr<Err = String>>(what: &str, text: &str) -> anyhow::Result<T> {
    match text.parse() {
        Ok(id) => Ok(id),
        Err(expected) => bail!("{what}: expected {expected}"),
    }
}
