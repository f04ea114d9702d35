//! The library itself: what it holds, its check, its serves for other programs.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::{Html, Response};

use super::case::go_to;
use super::desk::{Desk, today};
use super::fields::Fields;
use super::long::{Lane, Outcome};
use super::refusal::Refusal;
use super::squads::{filter, squads};
use super::told::{Made, Told};
use super::view::Frame;
use crate::exchange::{self, ExportError};
use crate::find::InStep;
use crate::library::{Counts, Library};
use crate::words::{count, list, sentence};

#[derive(Template)]
#[template(path = "upkeep.html")]
struct Page {
    frame: Frame,
    holds: String,
    squads: Vec<String>,
}

fn holds(counts: &Counts) -> String {
    list(&[
        count(counts.players, "player"),
        count(counts.recordings, "recording"),
        count(counts.serves, "serve"),
        count(counts.cases, "session"),
        count(counts.plans, "plan"),
        count(counts.follow_ups, "follow-up"),
    ])
}

fn back() -> Vec<(String, String)> {
    vec![("Back to the library".to_owned(), "/library".to_owned())]
}

/// What the library holds, and what can be done with all of it.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    desk.read(|desk, library, _| {
        let page = Page {
            frame: Frame::of(desk, "The library"),
            holds: holds(&library.counts()?),
            squads: squads(library)?.into_iter().map(|(name, _)| name).collect(),
        };
        Ok(page.render()?)
    })
    .await
}

/// Checks the library.
pub(super) async fn check(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let rebuild = fields.text("rebuild").is_some();
    let desk_of_work = Arc::clone(&desk);
    let work = desk.long.begin(Lane::Other, "Checking the library", move |work| {
        let mut library = InStep::new(Library::open(desk_of_work.library())?);
        let verified = library.verify(rebuild, &work.watch())?;
        let mut lines = vec![format!("Checked: {}", holds(&verified.checked))];
        if verified.rebuilt {
            lines.push("Search was built anew".to_owned());
        }
        let (repaired, broken): (Vec<_>, Vec<_>) =
            verified.findings.iter().partition(|finding| finding.repaired);
        lines.extend(repaired.iter().map(|finding| format!("Repaired: {finding}")));
        let told = Told {
            title: match verified.advice() {
                None => "The library is sound.",
                Some(_) => "Not everything is in order.",
            }
            .to_owned(),
            lines,
            notes: broken
                .iter()
                .map(ToString::to_string)
                .chain(verified.advice().map(|advice| format!("{}.", sentence(advice))))
                .collect(),
            links: back(),
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

/// Writes serves as arrays and tables into an archive to be saved.
pub(super) async fn export(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let filter = filter(&fields)?;
    let desk_of_work = Arc::clone(&desk);
    let work = desk.long.begin(Lane::Other, "Exporting serves", move |_| {
        let library = Library::open_read_only(desk_of_work.library())?;
        let selection = library.select(&filter)?;
        if let Some(why) = selection.why_empty() {
            let title = "Nothing to export.".to_owned();
            let told = Told { title, notes: vec![why], links: back(), ..Told::default() };
            return Ok(Outcome::Told(Arc::new(told)));
        }
        let folder = desk_of_work.uploads.folder()?;
        let name = format!("precedent-export-{}.zip", today());
        let path = folder.path().join(&name);
        let sets = exchange::export_archive(&library, &selection.serves, &path)?;
        let told = Told {
            title: format!("{} exported.", count(selection.serves.len(), "serve")),
            lines: vec![
                format!("serves.csv, measures.csv, {}", sets.join(", ")),
                "Codes, days and the motion are in it, no names: it is for you and your own studies"
                    .to_owned(),
            ],
            links: back(),
            file: Some(Made { name, kind: "application/zip", path, _folder: folder }),
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

impl From<ExportError> for Refusal {
    fn from(error: ExportError) -> Self {
        match error {
            ExportError::Store(error) => error.into(),
            ExportError::Io(error) => Self::Disk(error.kind()),
            other => Self::Said(other.to_string()),
        }
    }
}
