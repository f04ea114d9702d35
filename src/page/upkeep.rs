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
use super::remedy;
use super::squads::{filter, squads};
use super::told::{Confirm, Made, Told};
use super::view::Frame;
use super::views::two;
use crate::coaching::{describe_retention, kept_too_long, set_retention};
use crate::evidence::verify_outcomes;
use crate::exchange::{self, ExportError};
use crate::find::InStep;
use crate::intake::{ClipsRequest, say_of_clips};
use crate::library::{Counts, Finding, Library, RecordingId};
use crate::remedy::Remedy;
use crate::words::{count, list, sentence};

#[derive(Template)]
#[template(path = "upkeep.html")]
struct Page {
    frame: Frame,
    holds: String,
    empty: bool,
    squads: Vec<String>,
    /// For how many months players are kept; empty: no limit is set.
    months: String,
    /// Who set that, and when.
    set: Option<String>,
    /// Who has been kept for longer: id, code, what is known of it.
    due: Vec<(String, String, String)>,
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
        let counts = library.counts()?;
        let retention = library.retention()?;
        let due = kept_too_long(library, today())?;
        let page = Page {
            frame: Frame::of(desk, "The library"),
            holds: holds(&counts),
            empty: counts == Counts::default(),
            months: retention.as_ref().map(|set| set.months.to_string()).unwrap_or_default(),
            set: retention.as_ref().map(|set| sentence(&describe_retention(set))),
            due: due
                .into_iter()
                .map(|one| (one.id.to_string(), one.code.clone(), one.describe()))
                .collect(),
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
    Ok(begin_check(&desk, fields.text("rebuild").is_some()))
}

fn begin_check(desk: &Arc<Desk>, rebuild: bool) -> Response {
    let desk_of_work = Arc::clone(desk);
    let work = desk.long.begin(Lane::Other, "Checking the library", move |work| {
        let mut library = InStep::new(Library::open(desk_of_work.library())?);
        let mut verified = library.verify(rebuild, &work.watch())?;
        verified.findings.extend(verify_outcomes(&library, rebuild, &work.watch())?);
        let mut lines = vec![format!("Checked: {}", holds(&verified.checked))];
        if verified.rebuilt {
            lines.push("The search was rebuilt".to_owned());
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
                .map(|finding| format!("{}.", remedy::found(finding)))
                .chain(verified.advice().map(|advice| format!("{}.", sentence(advice))))
                .collect(),
            buttons: broken.iter().filter_map(|finding| take_back(finding)).collect(),
            links: back(),
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    go_to(&format!("/work/{}", work.id))
}

/// The button for what was wrongly said of two clips.
fn take_back(finding: &Finding) -> Option<Confirm> {
    let Some(Remedy::TakeBackSaid { one, other }) = &finding.remedy else { return None };
    Some(Confirm {
        action: "/library/unsay".to_owned(),
        button: remedy::take_back(one, other),
        fields: vec![("clips".to_owned(), format!("{one} {other}"))],
        tick: None,
    })
}

/// Takes back what was said of two clips, whether or not they are still there, and checks again.
pub(super) async fn unsay(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let clips = two::<RecordingId>(&fields, "clips");
    let (one, other) = clips.ok_or_else(|| Refusal::Said("Two clips are needed".to_owned()))?;
    desk.change(move |desk, library| {
        let catalogue = library.catalogue()?;
        say_of_clips(library, &catalogue, ClipsRequest::Unsaid(one, other), &desk.coach)?;
        Ok(())
    })
    .await?;
    Ok(begin_check(&desk, false))
}

/// Sets for how long players are kept, or that there is no limit.
pub(super) async fn keep(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let months = match fields.text("do") {
        Some("no-limit") => None,
        _ => match fields.value::<u32>("months", "Months")? {
            Some(months) => Some(months),
            None => return Err(Refusal::Said("Say how many months".to_owned())),
        },
    };
    desk.change(move |desk, library| {
        set_retention(library, months, &desk.coach, today())?;
        Ok(())
    })
    .await?;
    Ok(go_to("/library#keep"))
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
