//! What reading clips needs, fetched once from the page.

use std::sync::Arc;
use std::sync::atomic::Ordering;

use axum::extract::State;
use axum::response::Response;

use super::case::go_to;
use super::desk::Desk;
use super::long::{Lane, Outcome};
use super::refusal::Refusal;
use super::told::Told;
use crate::video::{ModelChoice, PieceState, SetupError, SetupStep, installed, setup};

/// Whether clips can be read: the networks of the usual choice are there and whole. Once they were, it
/// is not looked again.
pub(super) fn is_done(desk: &Desk) -> bool {
    if desk.reads_clips.load(Ordering::Relaxed) {
        return true;
    }
    let done = installed(ModelChoice::default()).is_ok();
    desk.reads_clips.store(done, Ordering::Relaxed);
    done
}

/// Has what is missing fetched, in the background.
pub(super) async fn begin(State(desk): State<Arc<Desk>>) -> Response {
    let work = desk.long.begin(Lane::Other, "Setting up the reading of clips", move |work| {
        let report = setup(&mut |step| work.about(step), &work.watch())?;
        let missing = report.steps.iter().any(|step| step.outcome == PieceState::Missing);
        let told = Told {
            title: if missing { "Clips cannot be read yet." } else { "Clips can be read now." }
                .to_owned(),
            lines: report.steps.iter().map(said).collect(),
            notes: report
                .steps
                .iter()
                .filter_map(|step| step.remedy.map(|remedy| format!("{}: {remedy}.", step.what)))
                .collect(),
            links: vec![("Add recordings".to_owned(), "/add".to_owned())],
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    go_to(&format!("/work/{}", work.id))
}

fn said(step: &SetupStep) -> String {
    let outcome = match step.outcome {
        PieceState::AlreadyThere => "there, checked",
        PieceState::Fetched => "fetched, checked",
        PieceState::Found => "found",
        PieceState::Missing => "missing",
    };
    format!("{}: {outcome}", step.what)
}

impl From<SetupError> for Refusal {
    fn from(error: SetupError) -> Self {
        match error {
            SetupError::Stopped(_) => Self::Stopped,
            SetupError::Io { source, .. } => Self::Disk(source.kind()),
            // The command that failed names a folder of ours.
            SetupError::Fetch { .. } => Self::Said(
                "The pose networks could not be fetched, and nothing was kept; check the network \
                 and set it up again"
                    .to_owned(),
            ),
            other => Self::Said(other.to_string()),
        }
    }
}
