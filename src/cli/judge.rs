//! The coach's judgement: labels, plans, follow-ups.

use std::path::Path;

use anyhow::bail;
use serde::Serialize;

use super::args::{BallArgs, FollowUpArgs, LabelArgs, PlanArgs};
use super::face::{Face, count};
use super::{Outcome, place};
use crate::catalogue::{Catalogue, Place};
use crate::intake::PROGRAM;
use crate::judgement::{Chosen, Judgement, judge};
use crate::library::{
    BallFlight, CaseId, FaultLabel, FollowUp, FollowUpId, Grip, LabelState, Library, Misses, Named,
    Plan, PlanId, PlannedDrill, ServeId, check_past, check_planned,
};
use crate::matcher;

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
    note: Option<&'a str>,
}

/// A recorded plan, as `plan --json` prints it.
#[derive(Serialize)]
struct PlanObject<'a> {
    plan: &'a str,
    cautions: &'a [String],
}

pub(super) fn label(
    args: &LabelArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let case: CaseId = place::id("case", &args.case)?;
    if args.coach == PROGRAM {
        bail!("--coach: '{PROGRAM}' is the program's own voice; give your code");
    }
    if args.records_nothing() {
        return standing(case, library, face);
    }
    let mut library = place::for_writing(library)?;
    let catalogue = library.catalogue()?;
    let held = library.case(case)?;
    let suspected =
        |fault: &str| held.labels.iter().find(|label| label.by == PROGRAM && label.fault == fault);
    let mut labels = Vec::new();
    for (fault, state) in args
        .confirm
        .iter()
        .map(|fault| (fault, LabelState::Confirmed))
        .chain(args.reject.iter().map(|fault| (fault, LabelState::Rejected)))
    {
        known_fault(&catalogue, fault)?;
        let Some(suspicion) = suspected(fault) else {
            bail!("{case}: the program does not suspect '{fault}'; add it with --add {fault}=0.5");
        };
        let severity = if state == LabelState::Rejected { 0.0 } else { suspicion.severity };
        labels.push((fault.clone(), state, severity));
    }
    for entry in &args.add {
        let (fault, severity) = with_severity("--add", entry)?;
        known_fault(&catalogue, fault)?;
        labels.push((fault.to_owned(), LabelState::Added, severity.unwrap_or(SOME)));
    }
    if let Some(entry) = &args.limiting {
        let (fault, severity) = with_severity("--limiting", entry)?;
        known_fault(&catalogue, fault)?;
        if let Some((_, state, _)) = labels.iter().find(|(known, ..)| known == fault) {
            let flag = if *state == LabelState::Rejected { "--reject" } else { "another flag" };
            bail!("--limiting {fault}: named by {flag} too; --limiting alone says that you see it");
        }
        // As strong as this coach, another one or the program saw it.
        let seen = |by: &dyn Fn(&FaultLabel) -> bool| {
            let label = held.labels.iter().find(|label| label.fault == fault && by(label));
            label.map(|label| label.severity).filter(|severity| *severity > 0.0)
        };
        let severity = severity
            .or_else(|| seen(&|label| label.by == args.coach))
            .or_else(|| seen(&|label| label.by != PROGRAM))
            .or_else(|| seen(&|_| true))
            .unwrap_or(SOME);
        labels.push((fault.to_owned(), LabelState::Limiting, severity));
    }
    let grip = (args.index_knuckle.is_some() || args.heel_pad.is_some()).then(|| Grip {
        index_knuckle: args.index_knuckle.or(held.grip.and_then(|grip| grip.index_knuckle)),
        heel_pad: args.heel_pad.or(held.grip.and_then(|grip| grip.heel_pad)),
    });
    let ball = merged(&args.ball, held.ball);
    library.write(|writer| {
        for (fault, state, severity) in &labels {
            writer.set_label(
                case,
                &FaultLabel {
                    fault: fault.clone(),
                    state: *state,
                    severity: *severity,
                    by: args.coach.clone(),
                    note: None,
                },
            )?;
        }
        if grip.is_some() {
            writer.set_grip(case, grip)?;
        }
        if ball != held.ball {
            writer.set_ball(case, &ball)?;
        }
        if let Some(note) = &args.note {
            writer.set_note(case, Some(note))?;
        }
        Ok(())
    })?;
    face.say(&format!("{case}: recorded"));
    if face.json {
        tell(&library, &catalogue, case, face)?;
    }
    Ok(Outcome::Found)
}

/// Where a case stands: nothing is recorded.
fn standing(case: CaseId, library: Option<&Path>, face: &mut Face) -> anyhow::Result<Outcome> {
    let library = place::for_reading(library)?;
    tell(&library, &library.catalogue()?, case, face)?;
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
    let judging = judge(library, catalogue, &case)?;
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
            note: case.note.as_deref(),
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
            "first in the program's order; overrule with label {} --limiting FAULT",
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
            let place = if second { "second, its plan goes with the first" } else { "later" };
            face.line(&format!("{place}: {} [{}]", one.name, one.fault))?;
        }
        for reason in &one.reasons {
            face.line(&format!("  - {reason}"))?;
        }
    }
    if case.plans.is_empty() {
        let drills = first.sight.drills(catalogue, &first.fault);
        let ids: Vec<&str> = drills.iter().take(3).map(|drill| drill.id.as_str()).collect();
        face.line(&format!("drills to choose from: {}", ids.join(", ")))?;
        for caution in catalogue.general_cautions() {
            face.complain(caution);
        }
    }
    Ok(())
}

/// Severity where nobody says how strong a fault is.
const SOME: f64 = 0.5;

fn with_severity<'a>(flag: &str, entry: &'a str) -> anyhow::Result<(&'a str, Option<f64>)> {
    match entry.split_once('=') {
        None => Ok((entry, None)),
        Some((fault, number)) => match number.parse::<f64>() {
            Ok(severity) if (0.0..=1.0).contains(&severity) => Ok((fault, Some(severity))),
            _ => bail!("{flag} {entry}: severity is 0 to 1, found '{number}'"),
        },
    }
}

pub(super) fn plan(
    args: &PlanArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let case: CaseId = place::id("case", &args.case)?;
    let mut library = place::for_writing(library)?;
    let catalogue = library.catalogue()?;
    known_fault(&catalogue, &args.fault)?;
    let held = library.case(case)?;
    let standing = matcher::standing(&held.labels);
    let mut drills = Vec::new();
    let mut cautions = Vec::new();
    for entry in &args.drill {
        let (told, place) = match entry.rsplit_once('@') {
            Some((told, place)) => (told, Some(place_named(place.trim())?)),
            None => (entry.as_str(), None),
        };
        let (id, dose) = match told.split_once('=') {
            Some((id, dose)) => (id.trim(), Some(dose.trim())),
            None => (told.trim(), None),
        };
        let Some(drill) = catalogue.drill(id) else {
            let fitting: Vec<&str> = catalogue
                .drills()
                .filter(|drill| drill.faults.contains(&args.fault))
                .map(|drill| drill.id.as_str())
                .collect();
            bail!(
                "--drill: no drill is called '{id}'; for {} take from {}",
                args.fault,
                fitting.join(", ")
            );
        };
        let dose = dose.filter(|dose| !dose.is_empty()).unwrap_or(&drill.dose).to_owned();
        if drills.iter().any(|planned: &PlannedDrill| planned.drill == drill.id) {
            bail!("--drill: '{}' is named twice; name it once, with one dose", drill.id);
        }
        let present = standing.iter().map(|label| label.fault.as_str()).chain([&*args.fault]);
        if let Some(worse) = present.into_iter().find(|id| drill.not_for.iter().any(|no| no == id))
        {
            bail!(
                "--drill {id}: it makes '{worse}' worse, which {case} shows; choose another drill, or \
                 reject that fault with label {case} --reject {worse}"
            );
        }
        cautions.extend(drill.cautions.iter().map(|caution| format!("{}: {caution}", drill.name)));
        drills.push(PlannedDrill { drill: drill.id.clone(), dose, place });
    }
    let plan = Plan {
        id: PlanId(0),
        case,
        limiting_fault: args.fault.clone(),
        drills,
        start: args.start.unwrap_or(held.date),
        review_on: args.review_on,
        coach: args.coach.clone(),
        note: args.note.clone(),
    };
    check_planned("--start", plan.start)?;
    if let Some(review_on) = plan.review_on {
        check_planned("--review-on", review_on)?;
    }
    let id = library.write(|writer| writer.add_plan(&plan))?;
    cautions.extend(catalogue.general_cautions().map(str::to_owned));
    // Said whatever is kept back: a drill is never shown without its cautions.
    for caution in &cautions {
        face.complain(caution);
    }
    let id = id.to_string();
    if face.json {
        face.object(&PlanObject { plan: &id, cautions: &cautions })?;
    } else {
        face.line(&id)?;
    }
    Ok(Outcome::Found)
}

pub(super) fn follow_up(
    args: &FollowUpArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let plan: PlanId = place::id("plan", &args.plan)?;
    let serves = args
        .serve
        .iter()
        .map(|text| place::id("--serve", text))
        .collect::<anyhow::Result<Vec<ServeId>>>()?;
    let mut library = place::for_writing(library)?;
    let follow_up = FollowUp {
        id: FollowUpId(0),
        plan,
        date: args.date,
        serves,
        ball: merged(&args.ball, BallFlight::default()),
        rating: args.rating,
        sessions_done: args.sessions,
        note: args.note.clone(),
    };
    check_past("--date", follow_up.date)?;
    if !follow_up.says_something() {
        bail!(
            "follow-up {plan}: only a day, so nothing shows what changed; give --serve, --speed, \
             --first-serve, --net, --long, --wide, --rating, --sessions or --note"
        );
    }
    let id = library.write(|writer| writer.add_follow_up(&follow_up))?;
    let id = id.to_string();
    if face.json {
        face.object(&serde_json::json!({ "follow_up": id }))?;
    } else {
        face.line(&id)?;
    }
    Ok(Outcome::Found)
}

/// A place a drill is done in, as the catalogue names it.
fn place_named(name: &str) -> anyhow::Result<Place> {
    match Place::from_typed(name) {
        Some(place) => Ok(place),
        None => bail!("--drill: '{name}' is no place; take from {}", Place::names()),
    }
}

fn known_fault(catalogue: &Catalogue, id: &str) -> anyhow::Result<()> {
    if catalogue.fault(id).is_none() {
        let known: Vec<&str> = catalogue.faults().map(|fault| fault.id.as_str()).collect();
        bail!("no fault is called '{id}'; take from {}", known.join(", "));
    }
    Ok(())
}

/// What the command line says about the ball, over what was known.
fn merged(args: &BallArgs, known: BallFlight) -> BallFlight {
    let misses = known.misses.unwrap_or_default();
    let said = args.net.is_some() || args.long.is_some() || args.wide.is_some();
    BallFlight {
        speed_kmh: args.speed.or(known.speed_kmh),
        first_serve_pct: args.first_serve.or(known.first_serve_pct),
        misses: if said {
            Some(Misses {
                net: args.net.unwrap_or(misses.net),
                long: args.long.unwrap_or(misses.long),
                wide: args.wide.unwrap_or(misses.wide),
            })
        } else {
            known.misses
        },
    }
}
