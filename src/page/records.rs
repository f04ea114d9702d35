//! Past records from a table: tried first, then stored, all of it or nothing.

use std::fs;
use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{Html, IntoResponse, Response};

use super::case::go_to;
use super::desk::Desk;
use super::fields::Fields;
use super::long::{Lane, Outcome};
use super::refusal::Refusal;
use super::told::{Confirm, Told};
use super::uploads::Kind;
use super::view::Frame;
use crate::find::InStep;
use crate::intake::{TableAdded, TableError, table_template};
use crate::library::Library;
use crate::words::count;

#[derive(Template)]
#[template(path = "records.html")]
struct Page {
    frame: Frame,
}

/// Sends a table of past players and sessions.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    Ok(Html(Page { frame: Frame::of(&desk, "Past records") }.render()?))
}

/// The table to fill in, with two example rows.
pub(super) async fn template() -> Response {
    let head = [
        (CONTENT_TYPE, "text/csv; charset=utf-8"),
        (CONTENT_DISPOSITION, "attachment; filename=\"past-records.csv\""),
    ];
    (head, table_template()).into_response()
}

/// Reads a table: first only to say what it would bring, then, confirmed, to store it.
pub(super) async fn read(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let id = fields.words("file").ok_or_else(|| Refusal::Said("No table was sent".to_owned()))?;
    let keep = fields.text("keep").is_some();
    let files = desk.uploads.take(Kind::Table, std::slice::from_ref(&id))?;
    let name = files.first().map(|file| file.name.clone()).unwrap_or_default();
    let desk_of_work = Arc::clone(&desk);
    let title = if keep { "Storing" } else { "Reading" };
    let work = desk.long.begin(Lane::Other, format!("{title} {name}"), move |_| {
        let desk = &desk_of_work;
        let read = files.first().map(|file| fs::read(&file.path));
        let csv = read.ok_or(Refusal::Broken)?.map_err(|error| Refusal::Disk(error.kind()))?;
        let mut library = InStep::new(Library::open(desk.library())?);
        let added = if keep { library.add_table(&csv) } else { library.try_table(&csv) };
        let added = added.map_err(|error| match error {
            TableError::Write(error) => error.into(),
            other => Refusal::Said(format!("{name}: {other}; nothing is stored")),
        })?;
        if !keep {
            desk.uploads.put_back(files);
        }
        Ok(Outcome::Told(Arc::new(told(&name, &added, (!keep).then_some(id)))))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

fn told(name: &str, added: &TableAdded, to_confirm: Option<String>) -> Told {
    let new = [
        count(added.players, "player"),
        count(added.cases, "session"),
        count(added.plans, "plan"),
        count(added.follow_ups, "follow-up"),
    ];
    let tried = to_confirm.is_some();
    Told {
        title: if tried { format!("{name} can be stored.") } else { format!("{name} is stored.") },
        lines: vec![
            format!("{} read", count(added.rows, "row")),
            format!("New: {}", new.join(", ")),
        ],
        notes: added.notes.iter().map(ToString::to_string).collect(),
        links: vec![("Back to past records".to_owned(), "/records".to_owned())],
        form: to_confirm.map(|id| Confirm {
            action: "/records".to_owned(),
            button: "Store it".to_owned(),
            fields: vec![("file".to_owned(), id), ("keep".to_owned(), "yes".to_owned())],
            tick: None,
        }),
        ..Told::default()
    }
}
