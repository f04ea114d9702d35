//! The academy's own faults and drills: written or dropped here, checked, kept in versions.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::case::go_to;
use super::desk::Desk;
use super::fields::{Asked, Fields};
use super::refusal::Refusal;
use super::view::Frame;
use crate::catalogue::{Catalogue, EntryKind, catalogue_template};
use crate::coaching::{Age, Cautions};
use crate::library::{CatalogueVersion, Library, StoreError, WriteError};
use crate::words::{count, day, lower_first};

/// Name a first file gets.
const FIRST: &str = "own.toml";

/// A version of a file that was kept.
struct VersionView {
    name: String,
    version: i64,
    kept: String,
    by: String,
    /// Whether it is the file's last one.
    last: bool,
    /// Whether the file was taken out with it.
    out: bool,
}

#[derive(Template)]
#[template(path = "own.html")]
struct Page {
    frame: Frame,
    versions: Vec<VersionView>,
    /// How many faults and drills of one's own are in force, in words.
    holds: String,
    name: String,
    text: String,
    /// Why it was not taken, in words that name line and field.
    wrong: Option<String>,
    /// What a check found that is in order.
    sound: Option<String>,
    cautions: Vec<String>,
}

/// What is written in the form, and what is said of it.
#[derive(Debug, Default)]
struct Draft {
    name: String,
    text: String,
    wrong: Option<String>,
    sound: Option<String>,
}

impl Page {
    fn of(desk: &Desk, library: &Library, draft: Draft) -> Result<Self, Refusal> {
        let catalogue = library.catalogue()?;
        let versions = library.catalogue_versions()?;
        let last = |one: &CatalogueVersion| {
            let later =
                |other: &CatalogueVersion| other.name == one.name && other.version > one.version;
            !versions.iter().any(later)
        };
        let view = |one: &CatalogueVersion| VersionView {
            name: one.name.clone(),
            version: one.version,
            kept: one.at.get(..10).and_then(|day| day.parse().ok()).map(day).unwrap_or_default(),
            by: one.by.as_ref().map(ToString::to_string).unwrap_or_default(),
            last: last(one),
            out: one.toml.is_none(),
        };
        Ok(Self {
            frame: Frame::of(desk, "Your own faults and drills"),
            versions: versions.iter().rev().map(view).collect(),
            holds: holds(&catalogue),
            name: draft.name,
            text: draft.text,
            wrong: draft.wrong,
            sound: draft.sound,
            cautions: Cautions::of(&catalogue, Age::Junior).lines(),
        })
    }
}

fn holds(catalogue: &Catalogue) -> String {
    let (faults, drills) = catalogue.own();
    if faults + drills == 0 {
        return "No faults and drills of your own yet".to_owned();
    }
    format!("{} and {} of your own", count(faults, "fault"), count(drills, "drill"))
}

/// The files there are, and one of them, an entry to be changed or the template to write in.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Asked(asked): Asked,
) -> Result<Html<String>, Refusal> {
    let version = asked.value::<i64>("version", "Version")?;
    desk.read(move |desk, library, _| {
        let draft = if let Some(name) = asked.text("file") {
            let mut versions = library.catalogue_versions()?;
            versions.retain(|one| one.name == name && version.is_none_or(|v| v == one.version));
            let text = versions.into_iter().rev().find_map(|one| one.toml);
            let text = text.ok_or_else(|| Refusal::no_such("file of your own", name))?;
            Draft { name: name.to_owned(), text, ..Draft::default() }
        } else if let Some(id) = asked.text("entry") {
            let catalogue = library.catalogue()?;
            let text = to_change(&catalogue, id).ok_or_else(|| Refusal::no_such("entry", id))?;
            Draft { name: format!("{id}.toml"), text, ..Draft::default() }
        } else {
            Draft {
                name: FIRST.to_owned(),
                text: catalogue_template().to_owned(),
                ..Draft::default()
            }
        };
        Ok(Page::of(desk, library, draft)?.render()?)
    })
    .await
}

/// An entry as text that takes its place once it is changed and kept.
fn to_change(catalogue: &Catalogue, id: &str) -> Option<String> {
    let kinds = [EntryKind::Fault, EntryKind::Drill].into_iter();
    let (kind, text) =
        kinds.filter_map(|kind| Some((kind, catalogue.entry_toml(kind, id)?))).next()?;
    let head = format!("[[{}]]\n", kind.name());
    Some(match text.contains("replaces = ") {
        true => text,
        false => text.replacen(&head, &format!("{head}replaces = true\n"), 1),
    })
}

/// Checks what is written, keeps it, or takes a file out.
pub(super) async fn change(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let name = fields.words("name").unwrap_or_default();
    let text = fields.words("text").unwrap_or_default();
    let refused = |draft: Draft| {
        desk.read(move |desk, library, _| Ok(Page::of(desk, library, draft)?.render()?))
    };
    let mut draft = Draft { name: name.clone(), text: text.clone(), ..Draft::default() };
    let wrong = if fields.text("do") == Some("check") {
        let checked = desk
            .fetch(move |_, library, _| match library.catalogue_with(&name, &text) {
                Ok(catalogue) => Ok(Ok(holds(&catalogue))),
                Err(StoreError::Catalogue(error)) => Ok(Err(error.to_string())),
                Err(error) => Err(error.into()),
            })
            .await?;
        match checked {
            Ok(holds) => {
                draft.sound = Some(format!("Sound; with it there are {}", lower_first(&holds)));
                return Ok(refused(draft).await?.into_response());
            }
            Err(why) => why,
        }
    } else {
        let out = fields.text("do") == Some("drop");
        let kept = desk
            .change(move |desk, library| {
                let toml = (!out).then_some(&*text);
                let by = Some(&desk.coach);
                match library.write(|writer| writer.set_catalogue_file(&name, toml, by)) {
                    Ok(()) => Ok(None),
                    Err(WriteError::Store(StoreError::Catalogue(error))) => {
                        Ok(Some(error.to_string()))
                    }
                    Err(error @ WriteError::Invalid { .. }) => Ok(Some(Refusal::from(error).why())),
                    Err(error) => Err(error.into()),
                }
            })
            .await?;
        match kept {
            None => return Ok(go_to("/catalogue/own")),
            Some(why) => why,
        }
    };
    draft.wrong = Some(format!("{}.", wrong.trim_end_matches('.')));
    Ok((StatusCode::UNPROCESSABLE_ENTITY, refused(draft).await?).into_response())
}
