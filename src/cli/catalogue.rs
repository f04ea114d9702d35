//! Faults and drills: to read, to check, to extend.

use std::path::Path;

use anyhow::{anyhow, bail};
use serde_json::json;

use super::args::CatalogueArgs;
use super::catalogue_entry::show;
use super::output::{Output, count, table};
use super::{Exit, place};
use crate::catalogue::{Catalogue, EntryKind, catalogue_template};
use crate::coaching::{Age, Cautions, ShownDrill};
use crate::library::{Author, Library, OpenError};
use crate::words::list;

/// What is said to juniors goes by this id.
pub(super) const JUNIORS: &str = "juniors";

pub(super) fn run(
    args: &CatalogueArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if let Some(file) = &args.template {
        if file.exists() {
            bail!("{}: exists already; name a new file", file.display());
        }
        place::write_whole(file, catalogue_template().as_bytes())?;
        out.say(&format!(
            "wrote {0}: change it, then: precedent catalogue --check {0}",
            file.display()
        ));
        return Ok(Exit::Found);
    }
    if let Some(file) = &args.check {
        let text = read(file)?;
        let name = name_of(file)?;
        let extended = match Library::open_read_only(place::folder(library)?) {
            Ok(library) => library.catalogue_with(&name, &text)?,
            Err(OpenError::Missing { .. }) => Catalogue::builtin().with_extra(&name, &text)?,
            Err(error) => return Err(error.into()),
        };
        return counted(&extended, &format!("{}: sound", file.display()), out);
    }
    if let Some(file) = &args.extend {
        let (name, text) = (name_of(file)?, read(file)?);
        return change(&name, Some(&text), args, library, out);
    }
    if let Some(name) = &args.drop {
        return change(name, None, args, library, out);
    }
    if let Some(named) = &args.files {
        return files(named, args.toml, library, out);
    }
    let catalogue = catalogue(library)?;
    match &args.id {
        None => list_all(&catalogue, out),
        Some(id) if args.toml => toml_of(&catalogue, id, library, out),
        Some(id) => show(&catalogue, id, library, out),
    }
}

/// The library's catalogue; the program's own where there is no library yet.
fn catalogue(library: Option<&Path>) -> anyhow::Result<Catalogue> {
    match Library::open_read_only(place::folder(library)?) {
        Ok(library) => Ok(library.catalogue()?),
        Err(OpenError::Missing { .. }) => Ok(Catalogue::builtin().clone()),
        Err(error) => Err(error.into()),
    }
}

fn read(file: &Path) -> anyhow::Result<String> {
    std::fs::read_to_string(file).map_err(|error| {
        anyhow!("{}: cannot be read: {error}; save it as text in UTF-8", file.display())
    })
}

/// The file's name, under which the library keeps it.
fn name_of(file: &Path) -> anyhow::Result<String> {
    let name = file.file_name().and_then(|name| name.to_str());
    name.map(str::to_owned).ok_or_else(|| anyhow!("{}: names no file", file.display()))
}

fn counted(catalogue: &Catalogue, what: &str, out: &mut Output) -> anyhow::Result<Exit> {
    let (faults, drills) = catalogue.own();
    if out.json {
        out.object(&json!({ "faults": faults, "drills": drills }))?;
    } else {
        out.line(&format!(
            "{what}; with it this catalogue has {} and {} of your own",
            count(faults, "fault"),
            count(drills, "drill")
        ))?;
    }
    Ok(Exit::Found)
}

fn change(
    name: &str,
    text: Option<&str>,
    args: &CatalogueArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let by = Author::coach(&args.coach)?;
    let mut library = place::for_writing(library)?;
    if text.is_none() && !library.catalogue_files()?.iter().any(|(known, _)| known == name) {
        bail!("--drop {name}: no such file here; `catalogue --files` lists them");
    }
    library.write(|writer| writer.set_catalogue_file(name, text, Some(&by)))?;
    let version = library.catalogue_versions()?.iter().filter(|one| one.name == name).count();
    let done = if text.is_some() { "added" } else { "taken out" };
    counted(&library.catalogue()?, &format!("{name}: {done}, version {version}"), out)
}

/// The library's own files, or one version of one.
fn files(
    named: &str,
    toml: bool,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let (name, version) = match named.rsplit_once('@') {
        Some((name, version)) => match version.parse::<i64>() {
            Ok(version) => (name, Some(version)),
            Err(_) => bail!("--files {named}: a version is a number, like {name}@2"),
        },
        None => (named, None),
    };
    let mut versions = place::for_reading(library)?.catalogue_versions()?;
    versions.retain(|one| name.is_empty() || one.name == name);
    versions.retain(|one| version.is_none_or(|version| one.version == version));
    let Some(last) = versions.last() else {
        out.say("no files of your own yet; add one with catalogue --extend FILE");
        return Ok(Exit::Nothing);
    };
    if toml {
        match &last.toml {
            Some(text) => out.line(text.trim_end())?,
            None => {
                bail!("{}@{}: taken out then; name an earlier version", last.name, last.version)
            }
        }
        return Ok(Exit::Found);
    }
    let mut rows = table(&["file", "version", "stored", "by", ""]);
    for one in &versions {
        if out.json {
            out.object(one)?;
            continue;
        }
        rows.add_row([
            one.name.clone(),
            one.version.to_string(),
            one.at.get(..10).unwrap_or(&one.at).to_owned(),
            one.by.as_ref().map(ToString::to_string).unwrap_or_default(),
            if one.toml.is_some() { "" } else { "taken out" }.to_owned(),
        ]);
    }
    if !out.json {
        out.line(&rows.to_string())?;
    }
    Ok(Exit::Found)
}

fn list_all(catalogue: &Catalogue, out: &mut Output) -> anyhow::Result<Exit> {
    let own = |kind, id: &str| catalogue.is_own(kind, id);
    let faults = catalogue.faults().map(|fault| {
        ("fault", &fault.id, &fault.name, fault.group.as_str(), own(EntryKind::Fault, &fault.id))
    });
    // Said whatever is kept back: drills are named below.
    for caution in catalogue.general_cautions() {
        out.complain(caution);
    }
    let mut cautions = Cautions::of(catalogue, Age::Junior);
    let shown: Vec<ShownDrill> =
        catalogue.drills().map(|drill| ShownDrill::of(catalogue, &drill.id, "")).collect();
    let styles = catalogue.styles().map(|one| ("style", &one.id, &one.name, "no fault", false));
    let groups = catalogue.groups().map(|one| ("group", &one.id, &one.name, "players", false));
    if out.json {
        for (kind, id, name, group, own) in faults.chain(styles).chain(groups) {
            out.object(
                &json!({ "kind": kind, "id": id, "name": name, "group": group, "own": own }),
            )?;
        }
        for drill in &shown {
            let own = own(EntryKind::Drill, drill.id());
            let said: Vec<&str> = drill.cautions().collect();
            let name = cautions.name(drill);
            out.object(&json!({
                "kind": "drill", "id": drill.id(), "name": name, "own": own, "cautions": said,
            }))?;
        }
        return Ok(Exit::Found);
    }
    let mark = |own: bool| if own { "own" } else { "" }.to_owned();
    let mut rows = table(&["", "id", "name", "", ""]);
    for (kind, id, name, group, own) in faults.chain(styles).chain(groups) {
        rows.add_row([kind.to_owned(), id.clone(), name.clone(), group.to_owned(), mark(own)]);
    }
    out.line(&rows.to_string())?;
    for drill in &shown {
        let own = if own(EntryKind::Drill, drill.id()) { ", own" } else { "" };
        let said: Vec<&str> = drill.cautions().collect();
        let care = match said.is_empty() {
            true => String::new(),
            false => format!(". Take care: {}", said.join(" ")),
        };
        out.line(&format!(" drill  {} ({}{own}){care}", drill.id(), cautions.name(drill)))?;
    }
    out.say("show one with catalogue ID. Hours and rest for juniors: catalogue juniors");
    Ok(Exit::Found)
}

fn toml_of(
    catalogue: &Catalogue,
    id: &str,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let kinds = [EntryKind::Fault, EntryKind::Drill];
    let mut texts: Vec<String> =
        kinds.into_iter().filter_map(|kind| catalogue.entry_toml(kind, id)).collect();
    if texts.is_empty() {
        texts.extend(received(id, library)?.map(|(text, _)| text));
    }
    if texts.is_empty() {
        return Err(unknown(catalogue, id));
    }
    for text in texts {
        out.line(text.trim_end())?;
    }
    for caution in catalogue.general_cautions() {
        out.complain(caution);
    }
    Ok(Exit::Found)
}

pub(super) fn received(
    id: &str,
    library: Option<&Path>,
) -> anyhow::Result<Option<(String, Option<String>)>> {
    match Library::open_read_only(place::folder(library)?) {
        Ok(library) => Ok(library.received_entry(id)?),
        Err(OpenError::Missing { .. }) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

pub(super) fn unknown(catalogue: &Catalogue, id: &str) -> anyhow::Error {
    let ids = catalogue.faults().map(|one| one.id.as_str());
    let ids = ids.chain(catalogue.drills().map(|one| one.id.as_str()));
    let like: Vec<&str> = ids
        .filter(|known| known.split('_').any(|part| part.len() > 3 && id.contains(part)))
        .take(8)
        .collect();
    match like.is_empty() {
        true => anyhow!("no fault or drill is called '{id}'; `catalogue` lists them all"),
        false => anyhow!("no fault or drill is called '{id}'; there are {}", list(&like)),
    }
}
