//! Long work as a place: how far it is, and what came of it.

use std::convert::Infallible;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use askama::Template;
use axum::body::Body;
use axum::extract::{Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{Html, IntoResponse, Response};
use futures_util::stream::{self, Stream};
use tempfile::TempDir;

use super::add;
use super::case::go_to;
use super::desk::Desk;
use super::door::DOCUMENT_POLICY;
use super::long::{Now, Outcome, State as Stand, Work};
use super::refusal::Refusal;
use super::view::Frame;

/// Shortest time between two reports to one reader.
const PACE: Duration = Duration::from_millis(250);

/// What was done, for the coach to read.
#[derive(Debug, Default)]
pub(super) struct Told {
    pub(super) title: String,
    pub(super) lines: Vec<String>,
    /// What needs attention.
    pub(super) notes: Vec<String>,
    /// Where to go from here: label and address.
    pub(super) links: Vec<(String, String)>,
    /// A file to be saved, which lies here as long as the page runs.
    pub(super) file: Option<Made>,
    /// A whole document to read.
    pub(super) document: Option<String>,
    /// What has to be said before it is done: address, button and hidden fields.
    pub(super) form: Option<Confirm>,
    /// What can be done about what was found.
    pub(super) buttons: Vec<Confirm>,
}

/// Something that can be done from here, a dry run in earnest for one.
#[derive(Debug)]
pub(super) struct Confirm {
    pub(super) action: String,
    pub(super) button: String,
    pub(super) fields: Vec<(String, String)>,
    /// A box that has to be ticked first.
    pub(super) tick: Option<String>,
}

/// A file the page made, to be saved by the browser.
#[derive(Debug)]
pub(super) struct Made {
    pub(super) name: String,
    pub(super) kind: &'static str,
    pub(super) path: PathBuf,
    pub(super) _folder: TempDir,
}

#[derive(Template)]
#[template(path = "work.html")]
struct WorkPage {
    frame: Frame,
    id: String,
    title: String,
    waiting: bool,
}

#[derive(Template)]
#[template(path = "told.html")]
struct ToldPage<'a> {
    frame: Frame,
    id: String,
    told: &'a Told,
}

/// A piece of long work: how far it is, or what came of it.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    let work = desk.long.work(&id)?;
    let page = match work.state() {
        Stand::Waiting | Stand::Running => WorkPage {
            frame: Frame::of(&desk, work.title.clone()),
            id,
            title: work.title.clone(),
            waiting: matches!(work.state(), Stand::Waiting),
        }
        .render()?,
        Stand::Ended(Err(refusal)) => return Err(refusal),
        Stand::Ended(Ok(Outcome::Told(told))) => said(&desk, id, &told)?,
        Stand::Ended(Ok(Outcome::Pack(pack))) => said(&desk, id, &pack.told)?,
        Stand::Ended(Ok(Outcome::Read(read))) => return add::found(&desk, id, read).await,
        Stand::Ended(Ok(Outcome::Stored(stored))) => add::stored(&desk, &id, &stored)?,
    };
    Ok(Html(page))
}

fn said(desk: &Desk, id: String, told: &Told) -> Result<String, Refusal> {
    Ok(ToldPage { frame: Frame::of(desk, told.title.clone()), id, told }.render()?)
}

/// The document a work came to.
pub(super) async fn document(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    if let Stand::Ended(Ok(Outcome::Told(told))) = desk.long.work(&id)?.state()
        && let Some(document) = &told.document
    {
        let policy = [(CONTENT_SECURITY_POLICY, DOCUMENT_POLICY)];
        return Ok((policy, Html(document.clone())).into_response());
    }
    Err(Refusal::NotHere("There is no document here.".to_owned()))
}

/// How far a work is, as it goes on.
pub(super) async fn events(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, Refusal> {
    let work = desk.long.work(&id)?;
    let heard = stream::unfold(Some((work.now(), true)), |listening| async {
        let (mut now, first) = listening?;
        if !first {
            tokio::time::sleep(PACE).await;
            now.changed().await.ok()?;
        }
        let seen = now.borrow_and_update().clone();
        let next = (!seen.ended).then_some((now, false));
        Some((Ok(Event::default().data(describe(&seen))), next))
    });
    Ok(Sse::new(heard).keep_alive(KeepAlive::default()))
}

fn describe(now: &Now) -> String {
    let words = match (&now.progress, now.running) {
        (_, false) => "Waiting for the one before".to_owned(),
        (None, true) => "Started".to_owned(),
        (Some(progress), true) => {
            format!("{} of {} {}", progress.done, progress.of, progress.stage.label())
        }
    };
    let left = now.left_s.map(left).unwrap_or_default();
    serde_json::json!({
        "ended": now.ended,
        "about": now.about,
        "words": words,
        "left": left,
        "done": now.progress.map(|progress| progress.done),
        "of": now.progress.map(|progress| progress.of),
    })
    .to_string()
}

/// Seconds to go, as one says them.
fn left(seconds: f64) -> String {
    match seconds {
        s if s < 10.0 => "a few seconds left".to_owned(),
        s if s < 90.0 => format!("about {:.0} s left", 5.0 * (s / 5.0).ceil()),
        s => format!("about {:.0} min left", s / 60.0),
    }
}

/// Stops it.
pub(super) async fn stop(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    desk.long.work(&id)?.stop();
    Ok(go_to(&format!("/work/{id}")))
}

/// The file a work made.
pub(super) async fn file(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let none = || Refusal::NotHere("There is no file to save here.".to_owned());
    let work: Arc<Work> = desk.long.work(&id)?;
    let Stand::Ended(Ok(Outcome::Told(told))) = work.state() else { return Err(none()) };
    let made = told.file.as_ref().ok_or_else(none)?;
    let head = [
        (CONTENT_TYPE, made.kind.to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename=\"{}\"", made.name)),
    ];
    let path = made.path.clone();
    let opened = tokio::task::spawn_blocking(move || std::fs::File::open(path)).await;
    let opened = opened.map_err(|_| Refusal::Broken)?.map_err(|_| none())?;
    // In parts, so that an archive is never held in memory.
    let parts = stream::unfold(Some(opened), |open| async {
        let mut file = open?;
        let read = tokio::task::spawn_blocking(move || {
            let mut part = vec![0; 1 << 20];
            std::io::Read::read(&mut file, &mut part).map(|read| {
                part.truncate(read);
                (part, file)
            })
        });
        match read.await {
            Ok(Ok((part, file))) if !part.is_empty() => Some((Ok(part), Some(file))),
            Ok(Ok(_)) => None,
            Ok(Err(error)) => Some((Err(error), None)),
            Err(_) => Some((Err(std::io::Error::other("reading broke off")), None)),
        }
    });
    Ok((head, Body::from_stream(parts)).into_response())
}
