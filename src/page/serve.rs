use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse, Response};

use super::desk::{Desk, today};
use super::door::DOCUMENT_POLICY;
use super::refusal::Refusal;
use super::view::{Frame, StripView, drill_names};
use crate::coaching::Cautions;
use crate::drawing::Viewpoint;
use crate::find::Filter;
use crate::library::{ServeId, ServeMoment};
use crate::looks::{FollowedPrecedent, Snapshot};
use crate::matcher::{Query, Share, Subject, like};
use crate::pages::{self, Audience, Reviewed, Wanted};
use crate::words::{day, handed, level, serve_type, setting};

/// Precedents on the page, and in a review.
const PRECEDENTS: usize = 5;
const IN_REVIEW: usize = 9;

struct PrecedentView {
    serve: String,
    case: String,
    who: String,
    /// What a reader must know of the comparison.
    remarks: Vec<String>,
    distance: String,
    why: Option<String>,
    parts: String,
    phases: String,
    faults: Vec<String>,
    /// The fault, the day it began, the drills.
    plans: Vec<(String, String, Vec<String>)>,
    came: Vec<String>,
}

#[derive(Template)]
#[template(path = "serve.html")]
struct Page {
    frame: Frame,
    id: String,
    player: String,
    player_id: String,
    case: String,
    day: String,
    facts: String,
    notes: Vec<String>,
    /// From behind and from the hitting side.
    strips: Vec<StripView>,
    /// Event, time, how sure.
    events: Vec<(String, String, String)>,
    precedents: Vec<PrecedentView>,
    searched: usize,
    search_notes: Vec<String>,
    cautions: Vec<String>,
}

/// A serve: how it was read, its review, who served like this and why.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, watch| {
        let id = asked_for(&id)?;
        let row = library.serve(id)?;
        let head = library.serve_head(id)?;
        let catalogue = library.catalogue()?;
        let subject = Subject::Stored(id);
        let query = Query { one_each: true, ..Query::new(subject, PRECEDENTS) };
        let answer = like(library, &query, watch)?;
        let mut cautions = Cautions::of(&catalogue, subject.age(library)?);
        let snapshot = Snapshot::new(library);
        let mut precedents = Vec::new();
        for precedent in &answer.precedents {
            let followed = snapshot.follow(&catalogue, precedent.clone())?;
            let name = |fault: &str| catalogue.fault_name(fault);
            let plans = followed.precedent.plans.iter().map(|plan| {
                let drills = drill_names(&catalogue, plan, &mut cautions);
                (name(&plan.limiting_fault), day(plan.start), drills)
            });
            let plans = plans.collect();
            let faults = precedent.faults.iter().map(|label| name(&label.fault)).collect();
            let came = followed
                .came
                .iter()
                .map(|came| format!("{}: {}", name(&came.fault), came.describe()));
            let came = came.collect();
            precedents.push(PrecedentView { faults, plans, came, ..precedent_view(&followed) });
        }
        let facts = [
            head.setting.map(|kind| setting(kind).to_owned()),
            head.serve_type.map(|kind| serve_type(kind).to_owned()),
            Some(handed(head.hand).to_owned()),
            Some(head.capture.describe().to_owned()),
            head.view.map(|view| format!("seen {}", view.seen())),
        ];
        let page = Page {
            frame: Frame::of(desk, format!("{id}, {}", head.player_code)),
            id: id.to_string(),
            player: head.player_code.clone(),
            player_id: head.player.to_string(),
            case: head.case.to_string(),
            day: day(head.date),
            facts: facts.into_iter().flatten().collect::<Vec<_>>().join("; "),
            notes: row.serve.notes.clone(),
            strips: [Viewpoint::FromBehind, Viewpoint::FromHittingSide]
                .map(|seen| StripView::of(&row.serve, "this serve", seen))
                .into(),
            events: events(library.moments(&row)?),
            precedents,
            searched: answer.searched,
            search_notes: answer.notes.clone(),
            cautions: if cautions.are_due() { cautions.lines() } else { Vec::new() },
        };
        Ok(page.render()?)
    })
    .await
}

fn events(moments: Vec<ServeMoment>) -> Vec<(String, String, String)> {
    let events = moments.iter().map(|moment| {
        let event = &moment.event;
        let time = if event.time_s.is_finite() {
            let witness = moment.witness.describe();
            format!("{:.2} s, frame {}, {witness}", event.time_s, event.frame)
        } else {
            "not measurable from this recording".to_owned()
        };
        (event.kind.label().to_owned(), time, format!("{:.0} %", 100.0 * event.trust))
    });
    events.collect()
}

fn precedent_view(followed: &FollowedPrecedent) -> PrecedentView {
    let precedent = &followed.precedent;
    let mut who = vec![precedent.player.clone(), day(precedent.date)];
    who.extend(precedent.level.map(|known| level(known).to_owned()));
    who.extend(precedent.age.map(|age| format!("{age} years")));
    who.push(handed(precedent.hand).to_owned());
    who.extend(precedent.serve_type.map(|kind| serve_type(kind).to_owned()));
    who.extend(precedent.setting.map(|kind| setting(kind).to_owned()));
    who.push(precedent.capture.describe().to_owned());
    let mut remarks = Vec::new();
    remarks.extend(precedent.origin.as_ref().map(|origin| origin.describe()));
    if precedent.same_set_up {
        remarks.push("Same player, same set-up: the strongest comparison.".to_owned());
    } else if precedent.same_player && precedent.comparable {
        remarks.push("Same player, not known to be the same set-up.".to_owned());
    }
    remarks.extend(
        precedent.incomparable_because.as_ref().map(|why| format!("Compares poorly: {why}.")),
    );
    let shares = |shares: &[Share]| {
        let shares = shares.iter().map(|one| format!("{} {:.0} %", one.label, 100.0 * one.share));
        shares.collect::<Vec<_>>().join(", ")
    };
    let why = precedent.why.as_ref();
    PrecedentView {
        serve: precedent.serve.to_string(),
        case: precedent.case.to_string(),
        who: who.join(", "),
        remarks,
        distance: format!("{:.2}", precedent.distance),
        why: why.map(|why| why.sentence.clone()),
        parts: why.map(|why| shares(&why.parts)).unwrap_or_default(),
        phases: why.map(|why| shares(&why.phases)).unwrap_or_default(),
        faults: Vec::new(),
        plans: Vec::new(),
        came: Vec::new(),
    }
}

fn asked_for(id: &str) -> Result<ServeId, Refusal> {
    id.parse().map_err(|_: String| Refusal::no_such("serve", id))
}

/// The review of a serve as it goes on paper: for the player, or for the coach.
pub(super) async fn review(
    State(desk): State<Arc<Desk>>,
    Path((id, audience)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    let audience = match audience.as_str() {
        "player" => Audience::Player,
        "coach" => Audience::Coach,
        _ => return Err(Refusal::NotHere("A review is for the player or the coach.".to_owned())),
    };
    let page = desk
        .read(move |_, library, watch| {
            let wanted = Wanted {
                serve: Reviewed::Stored(asked_for(&id)?),
                k: IN_REVIEW,
                filter: Filter::default(),
                on: today(),
            };
            let data = pages::gather(library, &library.catalogue()?, &wanted, watch)?;
            Ok(pages::review(&data, audience))
        })
        .await?;
    Ok(([(CONTENT_SECURITY_POLICY, DOCUMENT_POLICY)], page).into_response())
}
