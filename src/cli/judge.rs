//! The coach's judgement: labels, plans, follow-ups.

use std::path::Path;

use serde::Serialize;

use super::args::{BallArgs, FollowUpArgs, LabelArgs, PlanArgs};
use super::face::{Face, count};
use super::watch::Bars;
use super::{Outcome, place};
use crate::catalogue::Catalogue;
use crate::coaching::{
    BallReport, Cautions, DrillRequest, FollowUpRequest, Graded, LabelRequest, PlanRefusal,
    PlanRequest,
};
use crate::judgement::{Chosen, Judgement, judge};
use crate::library::{BallFlight, CaseId, FaultLabel, Grip, Library, Note, PlanId, ServeId};

/// What is judged about a case, as `label --json` prints it.
#[derive(Serialize)]
struct CaseObject<'a> {
    case: String,
    player: String,
    date: String,
    labels: &'a [FaultLabel],
    judgement: &'a Judgement,
    grip: Option<Grip>,
    ball: BallFlight,
    note: Option<String>,
    notes: &'a [Note],
}

pub(super) fn label(
    args: &LabelArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let case: CaseId = place::id("case", &args.case)?;
    if args.records_nothing() {
        let library = place::for_reading(library)?;
        tell(&library, &library.catalogue()?, case, face)?;
        return Ok(Outcome::Found);
    }
    let mut request = LabelRequest::new(case, &args.coach);
    request.confirm.clone_from(&args.confirm);
    request.reject.clone_from(&args.reject);
    request.add =
        args.add.iter().map(|entry| Graded::from_typed(entry)).collect::<Result<_, _>>()?;
    request.limiting = args.limiting.as_deref().map(Graded::from_typed).transpose()?;
    request.grip = Grip { index_knuckle: args.index_knuckle, heel_pad: args.heel_pad };
    request.ball = ball(&args.ball);
    request.note.clone_from(&args.note);
    let mut library = place::for_writing(library)?;
    let notices = request.record(&mut library)?;
    face.say(&format!("{case}: recorded"));
    for notice in notices {
        face.complain(&notice.to_string());
    }
    if face.json {
        tell(&library, &library.catalogue()?, case, face)?;
    }
    Ok(Outcome::Found)
}

fn tell(
    library: &Library,
    catalogue: &Catalogue,
    case: CaseId,
    face: &mut Face,
) -> anyhow::Result<()> {
    let case = library.case(case)?;
    let player = library.player(case.player)?.code;
    let today = place::today();
    let judging = judge(library, catalogue, &case, today, &Bars::new(0, face).watch())?;
    let judgement = &judging.judgement;
    if face.json {
        return face.object(&CaseObject {
            case: case.id.to_string(),
            player,
            date: case.date.to_string(),
            labels: &case.labels,
            judgement,
            grip: case.grip,
            ball: case.ball,
            note: case.words(),
            notes: &case.notes,
        });
    }
    let days = format!(
        "{}, {}",
        count(judging.swings.len(), "practice swing"),
        count(judging.balls.len(), "serve")
    );
    face.line(&format!("{}  {player}, {}, {days}", case.id, case.date))?;
    let Some(first) = judgement.order.first() else {
        face.line("no fault is suspected or labelled; add what you see with --add FAULT=0.5")?;
        return Ok(());
    };
    let by = match judgement.chosen {
        Chosen::Program => format!(
            "first in the program's order; overrule it with label {} --limiting FAULT",
            case.id
        ),
        Chosen::Coach => "the coach's choice".to_owned(),
        Chosen::Plan => "the plan works on it".to_owned(),
    };
    face.line(&format!("limiting fault: {} [{}]; {by}", first.name, first.fault))?;
    if let Some(other) = &judgement.program_first {
        face.line(&format!("  the program would have begun with: {other}"))?;
    }
    face.line(&format!("  {}", first.why))?;
    for (at, one) in judgement.order.iter().enumerate() {
        if at > 0 {
            let second = judgement.second == Some(at);
            let place = if second { "second; its plan goes well with the first" } else { "later" };
            face.line(&format!("{place}: {} [{}]", one.name, one.fault))?;
        }
        for reason in &one.reasons {
            face.line(&format!("  - {reason}"))?;
        }
    }
    if !judging.offers.is_empty() {
        let mut cautions = Cautions::of(catalogue, judging.age);
        let named = judging.offers.iter().map(|drill| {
            let name = cautions.name(drill);
            format!("{} ({name})", drill.id())
        });
        let named: Vec<String> = named.collect();
        face.line(&format!("drills to choose from: {}", named.join(", ")))?;
        for caution in cautions.lines() {
            face.complain(&caution);
        }
    }
    Ok(())
}

pub(super) fn plan(
    args: &PlanArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let case: CaseId = place::id("case", args.case.as_deref().unwrap_or_default())?;
    let mut request = PlanRequest::new(case, args.fault.as_deref().unwrap_or_default());
    request.replaces =
        args.replaces.as_deref().map(|plan| place::id("--replaces", plan)).transpose()?;
    request.reason.clone_from(&args.reason);
    let drills = args.drill.iter().map(|entry| DrillRequest::from_typed(entry, '='));
    request.drills = drills.collect::<Result<_, _>>()?;
    // What takes another's place begins when that is decided.
    request.start = args.start.or_else(|| request.replaces.map(|_| place::today()));
    request.review_on = args.review_on;
    request.coach.clone_from(&args.coach);
    request.note.clone_from(&args.note);
    let mut library = place::for_writing(library)?;
    let recorded = match request.record(&mut library) {
        Err(PlanRefusal::Unanswered(questions)) if args.sure => {
            request.sure = questions;
            request.record(&mut library)?
        }
        recorded => recorded?,
    };
    // Said whatever is kept back: a drill is never shown without its cautions.
    for caution in recorded.cautions.lines() {
        face.complain(&caution);
    }
    if face.json {
        face.object(&recorded)?;
    } else {
        face.line(&recorded.plan.to_string())?;
    }
    Ok(Outcome::Found)
}

pub(super) fn follow_up(
    args: &FollowUpArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let plan: PlanId = place::id("plan", &args.plan)?;
    let serves = args.serve.iter().map(|text| place::id("--serve", text));
    let request = FollowUpRequest {
        serves: serves.collect::<anyhow::Result<Vec<ServeId>>>()?,
        ball: ball(&args.ball),
        rating: args.rating,
        sessions_done: args.sessions,
        note: args.note.clone(),
        ..FollowUpRequest::new(plan, args.date)
    };
    let mut library = place::for_writing(library)?;
    let id = request.record(&mut library)?;
    let id = id.to_string();
    if face.json {
        face.object(&serde_json::json!({ "follow_up": id }))?;
    } else {
        face.line(&id)?;
    }
    Ok(Outcome::Found)
}

fn ball(args: &BallArgs) -> BallReport {
    let BallArgs { speed, first_serve, net, long, wide } = *args;
    BallReport { speed_kmh: speed, first_serve_pct: first_serve, net, long, wide }
}
