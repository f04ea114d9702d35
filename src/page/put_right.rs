//! One thing the library holds, as the place where it is put right shows it: what is known, what
//! depends on it, its history. `amend` does what is asked there.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;

use super::case_view::{ChangeView, said};
use super::desk::Desk;
use super::input::{Input, Way, of_follow_up, of_plan, of_player, of_recording};
use super::refusal::Refusal;
use super::view::{Frame, cautions_for};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions};
use crate::library::{
    CaseId, Change, FaultLabel, ItemId, Library, Plan, PracticeId, Removal, StoreError,
};
use crate::words::{day, sentence};

/// Something that can be removed: what it is, hidden fields, and what goes with it.
struct RemovalView {
    what: String,
    fields: Vec<(&'static str, String)>,
    with_it: Vec<String>,
}

#[derive(Template)]
#[template(path = "put_right.html")]
struct Page {
    frame: Frame,
    id: String,
    title: String,
    /// Where it belongs: words and address.
    back: Option<(String, String)>,
    gone: bool,
    inputs: Vec<Input>,
    /// Codes of those it may be given to, if it can be moved, and its day.
    movable: Option<(Vec<String>, String)>,
    removals: Vec<RemovalView>,
    changes: Vec<ChangeView>,
    undo: Option<(String, String)>,
    cautions: Vec<String>,
}

/// What is known of an item that is there.
struct Known {
    title: String,
    back: (String, String),
    inputs: Vec<Input>,
    moved_from: Option<String>,
    removals: Vec<(String, Removal)>,
    cautions: Vec<String>,
}

impl Known {
    fn new(title: impl Into<String>, back: (String, String)) -> Self {
        Self {
            title: title.into(),
            back,
            inputs: Vec::new(),
            moved_from: None,
            removals: Vec::new(),
            cautions: Vec::new(),
        }
    }
}

pub(super) fn asked_for(id: &str) -> Result<ItemId, Refusal> {
    id.parse().map_err(|_: String| Refusal::no_such("entry", id))
}

/// Everything about one item that can be put right.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let item = asked_for(&id)?;
        let catalogue = library.catalogue()?;
        let known = match known(library, &catalogue, item) {
            Ok(known) => Some(known),
            Err(StoreError::NoSuch { .. }) => None,
            Err(error) => return Err(error.into()),
        };
        let changes = library.history(item)?;
        if known.is_none() && changes.is_empty() {
            return Err(Refusal::no_such("entry", &id));
        }
        let last = library.last_change(item)?;
        let undo = changes
            .iter()
            .find(|change| Some(change.id) == last)
            .map(|change| (change.id.to_string(), said(change)));
        let mut removals = Vec::new();
        for (what, removal) in known.iter().flat_map(|known| &known.removals) {
            let with_it = library.dependants(removal)?.lines();
            removals.push(RemovalView {
                what: what.clone(),
                fields: fields_of(removal),
                with_it: with_it.iter().map(|line| sentence(line)).collect(),
            });
        }
        let gone = known.is_none();
        let movable = match known.as_ref().and_then(|known| known.moved_from.clone()) {
            Some(day) => {
                Some((library.players()?.into_iter().map(|player| player.code).collect(), day))
            }
            None => None,
        };
        let (title, back, inputs, cautions) = match known {
            Some(known) => (known.title, Some(known.back), known.inputs, known.cautions),
            None => (format!("{id} is here no more"), None, Vec::new(), Vec::new()),
        };
        // What changed may name drills.
        let names_drills = |change: &Change| change.fields.iter().any(|f| f.of.contains("plan"));
        let cautions = if cautions.is_empty() && changes.iter().any(names_drills) {
            of_changes(library, &catalogue, &changes)?
        } else {
            cautions
        };
        let page = Page {
            frame: Frame::of(desk, format!("Put right: {title}")),
            id,
            title,
            back,
            gone,
            inputs,
            movable,
            removals,
            changes: changes.iter().map(ChangeView::of).collect(),
            undo,
            cautions,
        };
        Ok(page.render()?)
    })
    .await
}

/// What must be said to the player these changes are about.
fn of_changes(
    library: &Library,
    catalogue: &Catalogue,
    changes: &[Change],
) -> Result<Vec<String>, StoreError> {
    for item in changes.iter().flat_map(|change| &change.touched) {
        if let ItemId::Player(id) = item
            && let Ok(player) = library.player(*id)
        {
            return Ok(cautions_for(library, catalogue, &player)?.lines());
        }
    }
    Ok(Cautions::of(catalogue, Age::Unknown).lines())
}

fn known(library: &Library, catalogue: &Catalogue, item: ItemId) -> Result<Known, StoreError> {
    let session = |case: CaseId| -> Result<(String, String), StoreError> {
        let held = library.case(case)?;
        let code = library.player(held.player)?.code;
        Ok((format!("{code}, {}", day(held.date)), format!("/case/{case}")))
    };
    Ok(match item {
        ItemId::Player(id) => {
            let player = library.player(id)?;
            let back = (player.code.clone(), format!("/player/{id}"));
            Known { inputs: of_player(&player), ..Known::new(&player.code, back) }
        }
        ItemId::Recording(id) => {
            let row = library.recording(id)?;
            let first = library.serves_in(id)?.first().map(|&serve| library.serve_head(serve));
            let hand = first.transpose()?.map(|head| head.hand);
            let title = format!("Recording {id}, {}", row.file_name);
            Known {
                inputs: of_recording(&row, hand),
                moved_from: Some(row.date.to_string()),
                removals: vec![("the recording".to_owned(), Removal::Recording(id))],
                ..Known::new(title, session(library.case_of_recording(id)?)?)
            }
        }
        ItemId::Serve(id) => {
            let head = library.serve_head(id)?;
            Known {
                moved_from: Some(head.date.to_string()),
                removals: vec![("the serve".to_owned(), Removal::Serve(id))],
                ..Known::new(format!("Serve {id}"), session(head.case)?)
            }
        }
        ItemId::Case(id) => {
            let case = library.case(id)?;
            let label = |label: &FaultLabel| {
                let what = format!("{}, said by {}", catalogue.fault_name(&label.fault), label.by);
                let (fault, by) = (label.fault.clone(), label.by.clone());
                (what, Removal::Label { case: id, fault, by })
            };
            let said = case.labels.iter().filter(|label| label.by.is_coach()).map(label);
            let notes = case.notes.iter().enumerate().map(|(at, note)| {
                (format!("the note \"{}\"", note.text), Removal::Note { case: id, number: at + 1 })
            });
            Known {
                removals: said.chain(notes).collect(),
                ..Known::new("What was said in this session", session(id)?)
            }
        }
        ItemId::Plan(id) => {
            let plan = library.plan(id)?;
            let player = library.player(library.case(plan.case)?.player)?;
            let mut cautions = cautions_for(library, catalogue, &player)?;
            let title = format!("Plan for {}", catalogue.fault_name(&plan.limiting_fault));
            Known {
                inputs: of_plan(catalogue, &plan, &mut cautions),
                removals: vec![("the plan".to_owned(), Removal::Plan(id))],
                cautions: cautions.lines(),
                ..Known::new(title, session(plan.case)?)
            }
        }
        ItemId::FollowUp(id) => {
            let answer = library.follow_up(id)?;
            let title = format!("Follow-up of {}", day(answer.date));
            Known {
                inputs: of_follow_up(&answer),
                removals: vec![("the follow-up".to_owned(), Removal::FollowUp(id))],
                ..Known::new(title, session(library.plan(answer.plan)?.case)?)
            }
        }
        ItemId::Practice(id) => {
            let (plan, done) = practice(library, id)?;
            Known {
                removals: vec![("what was logged".to_owned(), Removal::Practice(id))],
                ..Known::new(format!("Practice of {}", day(done)), session(plan.case)?)
            }
        }
    })
}

/// The plan and day of logged practice, by what it touched when it was logged.
fn practice(library: &Library, id: PracticeId) -> Result<(Plan, jiff::civil::Date), StoreError> {
    let none = || StoreError::NoSuch { what: id.to_string() };
    let changes = library.history(ItemId::Practice(id))?;
    let touched = changes.iter().flat_map(|change| &change.touched);
    for item in touched {
        if let ItemId::Plan(plan) = item
            && let Some(done) = library.practice_of(*plan)?.into_iter().find(|done| done.id == id)
        {
            return Ok((library.plan(*plan)?, done.day));
        }
    }
    Err(none())
}

fn fields_of(removal: &Removal) -> Vec<(&'static str, String)> {
    match removal {
        Removal::Label { fault, by, .. } => {
            vec![("label", fault.clone()), ("by", by.as_str().to_owned())]
        }
        Removal::Note { number, .. } => vec![("note", number.to_string())],
        _ => Vec::new(),
    }
}
