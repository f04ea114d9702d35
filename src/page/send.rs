//! What goes to a player, as files to be saved: everything in one, papers, the practice card.

use std::fs;
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};

use super::case::go_to;
use super::desk::{Desk, today};
use super::long::{Lane, Outcome, State as Stand};
use super::player;
use super::refusal::Refusal;
use super::remedy;
use super::serve::{asked_for, audience};
use super::told::{Made, Told};
use crate::find::Filter;
use crate::library::{Library, PlanId, ServeId};
use crate::pages::{self, Audience, Browser, PrintError, Reviewed, Wanted, practice_card};
use crate::send::{self, BundleError, Contents, LeftOut, Why};
use crate::words::{Interface, list};
use crate::work::Watch;

/// Precedents in the review.
const IN_REVIEW: usize = 9;

/// The review of a stored serve as it is today.
pub(super) fn wanted(serve: ServeId) -> Wanted<'static> {
    Wanted { serve: Reviewed::Stored(serve), k: IN_REVIEW, filter: Filter::default(), on: today() }
}

/// A file of ours, to be saved by the browser.
pub(super) fn kept(
    desk: &Desk,
    name: String,
    kind: &'static str,
    bytes: &[u8],
) -> Result<Made, Refusal> {
    let folder = desk.uploads.folder()?;
    let path = folder.path().join(&name);
    fs::write(&path, bytes).map_err(|error| Refusal::Disk(error.kind()))?;
    Ok(Made { name, kind, path, _folder: folder })
}

/// Has everything for the player made into one file.
pub(super) async fn bundle(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let serve = asked_for(&id)?;
    let desk_of_work = Arc::clone(&desk);
    let title = format!("Everything for the player, {serve}");
    let work = desk.long.begin(Lane::Other, title, move |work| {
        let library = Library::open_read_only(desk_of_work.library())?;
        let (wanted, watch) = (wanted(serve), work.watch());
        let spoken = desk_of_work.spoken.clip(&library, serve, &watch)?;
        let data = pages::gather(&library, &library.catalogue()?, &wanted, &watch)?;
        let contents = Contents { wanted: &wanted, data: &data, spoken: spoken.as_deref() };
        let bundle = send::bundle(&library, &contents, &watch)?;
        let name = format!("review-{serve}.zip");
        let told = Told {
            title: "Everything for the player, in one file.".to_owned(),
            lines: vec![
                format!("In it: {}", list(&bundle.names)),
                "Only the player's own pictures are in it; others are drawn, without a name"
                    .to_owned(),
            ],
            notes: bundle.left_out.into_iter().map(left_out).collect(),
            file: Some(kept(&desk_of_work, name, "application/zip", &bundle.bytes)?),
            links: vec![("Back to the serve".to_owned(), format!("/serve/{serve}"))],
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

fn left_out(one: LeftOut) -> String {
    let why = match one.why {
        Why::Print(error) => Refusal::from(error).why(),
        Why::Clip(error) => remedy::clip(&error).why(),
        Why::Said(why) => why,
    };
    format!("{}: {why}.", one.what)
}

/// Has a document printed to a PDF, in the background.
fn print(
    desk: &Arc<Desk>,
    (title, name, back): (String, String, String),
    document: impl FnOnce(&Library, &Watch) -> Result<String, Refusal> + Send + 'static,
) -> Response {
    let desk_of_work = Arc::clone(desk);
    let work = desk.long.begin(Lane::Other, title.clone(), move |work| {
        // Said before anything is gathered for it.
        let browser = Browser::find()?;
        let library = Library::open_read_only(desk_of_work.library())?;
        let watch = work.watch();
        let pdf = browser.print(&document(&library, &watch)?, &watch)?;
        let told = Told {
            title: format!("{title}: printed."),
            file: Some(kept(&desk_of_work, name, "application/pdf", &pdf)?),
            links: vec![("Back".to_owned(), back)],
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    go_to(&format!("/work/{}", work.id))
}

/// The review of a serve as a PDF.
pub(super) async fn review(
    State(desk): State<Arc<Desk>>,
    Path((id, reader)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    let (serve, audience) = (asked_for(&id)?, audience(&reader)?);
    let (title, whose) = match audience {
        Audience::Player => (format!("The player's review of {serve}"), "player"),
        Audience::Coach(_) => (format!("Your review of {serve}"), "coach"),
    };
    let names = (title, format!("review-{serve}-{whose}.pdf"), format!("/serve/{serve}"));
    Ok(print(&desk, names, move |library, watch| {
        let data = pages::gather(library, &library.catalogue()?, &wanted(serve), watch)?;
        Ok(pages::review(&data, audience))
    }))
}

/// A player's progress as a PDF.
pub(super) async fn progress(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let player = player::asked_for(&id)?;
    let title = format!("Progress of {player}");
    let names = (title, format!("progress-{player}.pdf"), format!("/player/{player}"));
    Ok(print(&desk, names, move |library, watch| {
        let course = pages::course(library, &library.catalogue()?, player, watch)?;
        Ok(pages::progress_page(&course, Interface::Page))
    }))
}

/// The document of a work, a squad's report, as a PDF.
pub(super) async fn document(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let none = || Refusal::NotHere("There is no document here.".to_owned());
    let Stand::Ended(Ok(Outcome::Told(told))) = desk.long.work(&id)?.state() else {
        return Err(none());
    };
    let document = told.document.clone().ok_or_else(none)?;
    let names = (told.title.clone(), format!("report-{}.pdf", today()), format!("/work/{id}"));
    Ok(print(&desk, names, move |_, _| Ok(document)))
}

/// The practice card of a plan, which the player opens on a phone or prints.
pub(super) async fn card(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let plan: PlanId = id.parse().map_err(|_: String| Refusal::no_such("plan", &id))?;
    let card = desk.read(move |_, library, _| Ok(practice_card(library, plan, today())?)).await?;
    let head = [
        (CONTENT_TYPE, "text/html; charset=utf-8".to_owned()),
        (CONTENT_DISPOSITION, format!("attachment; filename=\"practice-card-{plan}.html\"")),
    ];
    Ok((head, card.0).into_response())
}

impl From<BundleError> for Refusal {
    fn from(error: BundleError) -> Self {
        match error {
            BundleError::Store(error) => error.into(),
            BundleError::Stopped(_) => Self::Stopped,
            _ => Self::no_room(),
        }
    }
}

impl From<PrintError> for Refusal {
    fn from(error: PrintError) -> Self {
        let why = match error {
            PrintError::Stopped(_) => return Self::Stopped,
            PrintError::Scratch(_) => return Self::no_room(),
            PrintError::TooLong { .. } => {
                "The browser that prints did not finish; close other programs and try again"
            }
            PrintError::Failed { .. } => {
                "The browser that prints made no PDF; print the page from this browser instead"
            }
            // No browser is here, or none where one is named.
            _ => {
                "A PDF is printed by a browser of the Chromium family, and none is found on this \
                 computer; install one, or print the page from this browser"
            }
        };
        Self::Said(why.to_owned())
    }
}
