use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;

use super::desk::Desk;
use super::refusal::Refusal;
use super::view::{DrillView, Frame};
use crate::catalogue::{Catalogue, Fault};
use crate::coaching::{Age, Cautions, ShownDrill};
use crate::words::sentence;

#[derive(Template)]
#[template(path = "catalogue.html")]
struct Page {
    frame: Frame,
    /// Part of the serve or the body; id and name of its faults.
    groups: Vec<(String, Vec<(String, String)>)>,
    drills: Vec<DrillView>,
    cautions: Vec<String>,
}

#[derive(Template)]
#[template(path = "fault.html")]
struct FaultPage {
    frame: Frame,
    fault: FaultView,
    drills: Vec<DrillView>,
    cautions: Vec<String>,
}

struct FaultView {
    id: String,
    name: String,
    sees: String,
    to_player: String,
    cost: String,
    evidence: String,
    health: Option<String>,
    ask: Option<String>,
    /// What it is confused with, and what tells them apart.
    confused: Vec<(String, String)>,
    /// Faults it commonly follows from: id and name.
    upstream: Vec<(String, String)>,
}

#[derive(Template)]
#[template(path = "drill.html")]
struct DrillPage {
    frame: Frame,
    drill: DrillView,
    /// Id and name of the faults it is for.
    faults: Vec<(String, String)>,
    cautions: Vec<String>,
}

/// Everything the library's catalogue holds.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    desk.read(|desk, library, _| {
        let catalogue = library.catalogue()?;
        let mut groups: Vec<(String, Vec<(String, String)>)> = Vec::new();
        for fault in catalogue.faults() {
            let entry = (fault.id.clone(), fault.name.clone());
            let name = sentence(&fault.group);
            match groups.iter_mut().find(|(known, _)| *known == name) {
                Some((_, faults)) => faults.push(entry),
                None => groups.push((name, vec![entry])),
            }
        }
        let mut cautions = Cautions::of(&catalogue, Age::Junior);
        let drills = catalogue
            .drills()
            .map(|drill| DrillView::of(&ShownDrill::of(&catalogue, &drill.id, ""), &mut cautions));
        let drills = drills.collect();
        let page = Page {
            frame: Frame::of(desk, "Faults and drills"),
            groups,
            drills,
            cautions: cautions.lines(),
        };
        Ok(page.render()?)
    })
    .await
}

/// A fault, and the drills the catalogue has for it.
pub(super) async fn fault(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let catalogue = library.catalogue()?;
        let fault = catalogue.fault(&id).ok_or_else(|| Refusal::no_such("fault", &id))?;
        let mut cautions = Cautions::of(&catalogue, Age::Junior);
        cautions.fault(&catalogue, &fault.id);
        let drills = catalogue.drills_for(&fault.id).into_iter().map(|drill| {
            DrillView::of(&ShownDrill::of(&catalogue, &drill.id, &fault.id), &mut cautions)
        });
        let drills = drills.collect();
        let page = FaultPage {
            frame: Frame::of(desk, fault.name.clone()),
            fault: fault_view(&catalogue, fault),
            drills,
            cautions: cautions.lines(),
        };
        Ok(page.render()?)
    })
    .await
}

fn fault_view(catalogue: &Catalogue, fault: &Fault) -> FaultView {
    let confused = fault.confused_with.iter().map(|other| (other.what.clone(), other.tell.clone()));
    FaultView {
        id: fault.id.clone(),
        name: fault.name.clone(),
        sees: fault.coach_sees.clone(),
        to_player: fault.to_player.clone(),
        cost: fault.cost.text.clone(),
        evidence: fault.evidence_text.clone(),
        health: fault.health_note.clone(),
        ask: fault.ask.clone(),
        confused: confused.collect(),
        upstream: named(catalogue, &fault.upstream),
    }
}

fn named(catalogue: &Catalogue, faults: &[String]) -> Vec<(String, String)> {
    faults.iter().map(|id| (id.clone(), catalogue.fault_name(id))).collect()
}

/// A drill in full.
pub(super) async fn drill(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let catalogue = library.catalogue()?;
        let drill = catalogue.drill(&id).ok_or_else(|| Refusal::no_such("drill", &id))?;
        let mut cautions = Cautions::of(&catalogue, Age::Junior);
        for fault in &drill.faults {
            cautions.fault(&catalogue, fault);
        }
        let shown = ShownDrill::of(&catalogue, &drill.id, "");
        let view = DrillView::of(&shown, &mut cautions);
        let page = DrillPage {
            frame: Frame::of(desk, view.name.clone()),
            drill: view,
            faults: named(&catalogue, &drill.faults),
            cautions: cautions.lines(),
        };
        Ok(page.render()?)
    })
    .await
}
