use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse, Response};

use super::case_view::{FaultView, chosen, faults};
use super::desk::{Desk, today};
use super::door::DOCUMENT_POLICY;
use super::fields::Asked;
use super::refusal::Refusal;
use super::send::wanted;
use super::view::{Frame, PlanView, StripView, drill_names};
use super::viewer::moment_figures;
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, PlansInForce};
use crate::drawing::{Viewpoint, channels_of};
use crate::judgement::judge;
use crate::library::{Library, ServeHead, ServeId, ServeMoment, ServeRow};
use crate::looks::{Beside, FollowedPrecedent, Relation, Snapshot, beside};
use crate::matcher::{Precedent, Query, Share, Subject, like};
use crate::pages::{self, Audience, channel_of_fault};
use crate::words::{Interface, count, day, handed, level, sentence, serve_type, setting, short};
use crate::work::Watch;

/// Precedents on the page.
const PRECEDENTS: usize = 5;

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

/// A serve that can be held beside this one.
struct Other {
    serve: String,
    label: String,
    chosen: bool,
}

/// What was seen in the case and what is to be done.
struct Judged {
    faults: Vec<FaultView>,
    chosen: &'static str,
    plans: Vec<PlanView>,
    /// The channel that shows the limiting fault.
    channel: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "serve.html")]
struct Page {
    frame: Frame,
    id: String,
    judged: Judged,
    /// Kind of serve, and those of it.
    others: Vec<(&'static str, Vec<Other>)>,
    /// The other serve that is shown.
    beside: Option<String>,
    /// The six moments: name, short name, drawing.
    moments: Vec<(&'static str, &'static str, String)>,
    /// Name, name for people, whether it is drawn first.
    channels: Vec<(String, String, bool)>,
    player: String,
    player_id: String,
    case: String,
    day: String,
    facts: String,
    notes: Vec<String>,
    /// From behind and from the hitting side.
    strips: Vec<StripView>,
    /// Event, time, how sure, whose word it is.
    events: Vec<(String, String, String, String)>,
    precedents: Vec<PrecedentView>,
    searched: String,
    /// Why nothing could be searched.
    none: Option<String>,
    search_notes: Vec<String>,
    cautions: Vec<String>,
}

/// A serve: how it was read, its review, who served like this and why.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    Asked(fields): Asked,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, watch| {
        let id = asked_for(&id)?;
        let wanted = fields.text("beside").map(asked_for).transpose()?;
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
        let judged = judged(library, &catalogue, &head, &mut cautions, watch)?;
        let (others, beside) = others(library, id, &answer.precedents, wanted)?;
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
            channels: channels(&row, judged.channel),
            judged,
            others,
            beside: beside.map(|serve| serve.to_string()),
            moments: moments(&row),
            player: head.player_code.clone(),
            player_id: head.player.to_string(),
            case: head.case.to_string(),
            day: day(head.date),
            facts: facts.into_iter().flatten().collect::<Vec<_>>().join("; "),
            notes: row.serve.notes.iter().map(|note| sentence(note)).collect(),
            strips: [Viewpoint::FromBehind, Viewpoint::FromHittingSide]
                .into_iter()
                .take(if row.serve.figures.is_flat() { 1 } else { 2 })
                .map(|seen| StripView::of(&row.serve, "this serve", seen))
                .collect(),
            events: events(&library.moments(&row)?),
            precedents,
            searched: count(answer.searched, "serve"),
            none: answer.none.as_ref().map(|none| none.sentences()),
            search_notes: answer
                .notes
                .iter()
                .skip(usize::from(answer.none.is_some()))
                .map(|note| sentence(note) + ".")
                .collect(),
            cautions: if cautions.are_due() { cautions.lines() } else { Vec::new() },
        };
        Ok(page.render()?)
    })
    .await
}

/// The case as it is judged today, and its plans in force.
fn judged(
    library: &Library,
    catalogue: &Catalogue,
    head: &ServeHead,
    cautions: &mut Cautions,
    watch: &Watch,
) -> Result<Judged, Refusal> {
    let case = library.case(head.case)?;
    let player = library.player(head.player)?;
    let judging = judge(library, catalogue, &case, today(), watch)?;
    let limiting = judging.judgement.order.first().map(|one| one.fault.clone());
    let in_force = PlansInForce::of(library, catalogue, &case, &player, today())?;
    for label in &judging.labels {
        cautions.fault(catalogue, &label.fault);
    }
    Ok(Judged {
        faults: faults(&case, &judging),
        chosen: chosen(&judging),
        plans: in_force.map(|plans| PlanView::of_all(&plans, cautions)).unwrap_or_default(),
        channel: limiting.and_then(|fault| channel_of_fault(catalogue, &fault)),
    })
}

/// A kind of serve to hold beside one, and those there are.
type OtherKind = (&'static str, Vec<Other>);

/// What can be held beside a serve, by kind, and what is: the one asked for, else the first.
fn others(
    library: &Library,
    id: ServeId,
    precedents: &[Precedent],
    wanted: Option<ServeId>,
) -> Result<(Vec<OtherKind>, Option<ServeId>), Refusal> {
    let mut kinds: Vec<(&'static str, Vec<(ServeId, String)>)> = Vec::new();
    let mut add = |kind: &'static str, serve: ServeId, label: String| match kinds
        .iter_mut()
        .find(|(known, _)| *known == kind)
    {
        Some((_, all)) => all.push((serve, label)),
        None => kinds.push((kind, vec![(serve, label)])),
    };
    let own = beside(library, id)?;
    let first = |one: &&Beside| one.relation <= Relation::Earlier;
    for one in own.iter().filter(first) {
        add(one.relation.label(), one.head.id, facts(&one.head));
    }
    for one in precedents.iter().filter(|one| !one.same_player) {
        let label = format!("{}, {}", one.player, day(one.date));
        add("precedent", one.serve, label);
    }
    for one in own.iter().filter(|one| !first(one)) {
        add(one.relation.label(), one.head.id, facts(&one.head));
    }
    // Of a later day: like the serve, and asked for by the list of those who served like it.
    for one in precedents.iter().filter(|one| one.same_player) {
        if own.iter().all(|known| known.head.id != one.serve) {
            add("later serve", one.serve, day(one.date));
        }
    }
    let known = |serve: ServeId| kinds.iter().any(|(_, all)| all.iter().any(|one| one.0 == serve));
    if let Some(serve) = wanted.filter(|&serve| serve != id && !known(serve)) {
        let head = library.serve_head(serve)?;
        kinds.push(("asked for", vec![(serve, format!("{}, {}", head.player_code, facts(&head)))]));
    }
    let first = kinds.first().and_then(|(_, all)| all.first()).map(|one| one.0);
    let shown = wanted.filter(|&serve| serve != id).or(first);
    let named = kinds.into_iter().map(|(kind, all)| {
        let other = |(serve, label): (ServeId, String)| Other {
            serve: serve.to_string(),
            label: format!("{}, {label} ({serve})", sentence(kind)),
            chosen: shown == Some(serve),
        };
        (kind, all.into_iter().map(other).collect())
    });
    Ok((named.collect(), shown))
}

fn facts(head: &ServeHead) -> String {
    let seen = head.view.map(|view| format!(", seen {}", view.seen()));
    format!("{}{}", day(head.date), seen.unwrap_or_default())
}

fn moments(row: &ServeRow) -> Vec<(&'static str, &'static str, String)> {
    let drawn = moment_figures(&row.serve, None).into_iter();
    let events = row.serve.events.iter().zip(drawn);
    events.map(|(event, figure)| (event.kind.name(), short(event.kind), figure)).collect()
}

fn channels(row: &ServeRow, first: Option<&str>) -> Vec<(String, String, bool)> {
    let all = channels_of(&row.serve.curve, &row.serve.figures.event_samples, &[]);
    let named = all.into_iter().map(|channel| {
        let first = first == Some(&*channel.name);
        (channel.name, format!("{}, {}", sentence(&channel.label), channel.unit), first)
    });
    named.collect()
}

fn events(moments: &[ServeMoment]) -> Vec<(String, String, String, String)> {
    let events = moments.iter().map(|moment| {
        let event = &moment.event;
        let time = if event.time_s.is_finite() {
            format!("{:.2} s, frame {}", event.time_s, event.frame)
        } else {
            "not measurable from this recording".to_owned()
        };
        let beside = moment.beside.iter();
        let beside =
            beside.map(|seen| format!("; {} at {:.2} s", seen.witness.describe(), seen.time_s));
        let word = sentence(&moment.witness.describe()) + &beside.collect::<String>();
        (sentence(event.kind.label()), time, format!("{:.0} %", 100.0 * event.trust), word)
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
        why: why.map(|why| sentence(&why.sentence)),
        parts: why.map(|why| shares(&why.parts)).unwrap_or_default(),
        phases: why.map(|why| shares(&why.phases)).unwrap_or_default(),
        faults: Vec::new(),
        plans: Vec::new(),
        came: Vec::new(),
    }
}

pub(super) fn asked_for(id: &str) -> Result<ServeId, Refusal> {
    id.parse().map_err(|_: String| Refusal::no_such("serve", id))
}

/// Whom a review is for.
pub(super) fn audience(name: &str) -> Result<Audience, Refusal> {
    match name {
        "player" => Ok(Audience::Player),
        "coach" => Ok(Audience::Coach(Interface::Page)),
        _ => Err(Refusal::NotHere("A review is for the player or the coach.".to_owned())),
    }
}

/// The review of a serve as it goes on paper: for the player, or for the coach.
pub(super) async fn review(
    State(desk): State<Arc<Desk>>,
    Path((id, audience)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    let audience = self::audience(&audience)?;
    let page = desk
        .read(move |_, library, watch| {
            let wanted = wanted(asked_for(&id)?);
            let data = pages::gather(library, &library.catalogue()?, &wanted, watch)?;
            Ok(pages::review(&data, audience))
        })
        .await?;
    Ok(([(CONTENT_SECURITY_POLICY, DOCUMENT_POLICY)], page).into_response())
}
