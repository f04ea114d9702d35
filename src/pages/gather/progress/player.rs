//! All of one player's reviews, plan by plan.

use super::compare::{curves, drawing, main_measure, other_measures};
use super::look::{Alike, Day, alike, looked};
use super::month_strip;
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions, ShownDrill, standing};
use crate::library::{BallFlight, FollowUp, Library, Plan, Player, PlayerId, StoreError};
use crate::pages::course::{Course, Look, ReportedResult, Step, StepPlan};
use crate::serve::{MEASURES, Reading};
use crate::words::sentence;

/// The whole course of a player: each plan held against each of its follow-ups or, where none is
/// recorded, against the next review after it; without any plan, the first review against the last.
///
/// Cost: reads every serve of the player once; one alignment per pair of compared serves.
///
/// # Errors
/// [`StoreError`] for an unknown player, or if the store cannot be read.
pub fn course(
    library: &Library,
    catalogue: &Catalogue,
    player: PlayerId,
) -> Result<Course, StoreError> {
    let Player { code, born, .. } = library.player(player)?;
    let mut days = Vec::new();
    for case in library.cases(Some(player))? {
        days.push(Day::of_case(library, case)?);
    }
    let mut steps = Vec::new();
    for (at, day) in days.iter().enumerate() {
        let Some(case) = &day.case else { continue };
        for plan in &case.plans {
            let answers: Vec<&FollowUp> =
                case.follow_ups.iter().filter(|answer| answer.plan == plan.id).collect();
            for answer in &answers {
                let after = answered(library, &days, answer)?;
                steps.push(planned(catalogue, day, plan, Some(&after), Some(answer)));
            }
            if answers.is_empty() {
                let next = days[at + 1..].iter().find(|later| later.date > plan.start);
                steps.push(planned(catalogue, day, plan, next, None));
            }
        }
    }
    if steps.is_empty()
        && let [first, .., last] = days.as_slice()
    {
        let fault = last.case.as_ref().and_then(|case| standing(&case.labels).into_iter().next());
        let fault = fault.map(|label| label.fault);
        steps.push(step(catalogue, first, Some(last), None, None, fault.as_deref()));
    }
    let end = |step: &Step| step.after.as_ref().map_or(jiff::civil::Date::MAX, |look| look.date);
    steps.sort_by_key(|step| (step.before.date, end(step)));
    let age = days.last().map_or(Age::Unknown, |day| Age::on(day.date, born));
    let mut cautions = Cautions::of(catalogue, age);
    for plan in steps.iter().filter_map(|step| step.plan.as_ref()) {
        cautions.fault(catalogue, &plan.fault);
    }
    Ok(Course {
        player: code,
        reviews: days.len(),
        months: months(catalogue, &steps, &days),
        steps,
        cautions,
    })
}

/// What a follow-up looked at: its own serves, else those of the review of that day.
fn answered(library: &Library, days: &[Day], answer: &FollowUp) -> Result<Day, StoreError> {
    let of_day = days.iter().find(|day| day.date == answer.date);
    let case = of_day.and_then(|day| day.case.clone());
    let serves = match of_day {
        Some(day) if answer.serves.is_empty() => day.serves.clone(),
        _ => looked(library, &answer.serves)?,
    };
    Ok(Day { date: answer.date, case, serves })
}

fn planned(
    catalogue: &Catalogue,
    before: &Day,
    plan: &Plan,
    after: Option<&Day>,
    answer: Option<&FollowUp>,
) -> Step {
    let mut step =
        step(catalogue, before, after, Some(plan), answer, Some(plan.limiting_fault.as_str()));
    if answer.is_none() && after.is_some() {
        let note = "No follow-up is recorded; held against the next review.".to_owned();
        step.notes.insert(0, note);
    }
    step
}

/// One before and after; `fault` is the one whose measure comes first.
pub(super) fn step(
    catalogue: &Catalogue,
    before: &Day,
    after: Option<&Day>,
    plan: Option<&Plan>,
    answer: Option<&FollowUp>,
    fault: Option<&str>,
) -> Step {
    let mut step = Step {
        plan: plan.map(|plan| step_plan(catalogue, plan)),
        follow_up: answer.map(|answer| answer.id.to_string()),
        before: look(before, None),
        after: after.map(|after| look(after, None)),
        notes: Vec::new(),
        main: None,
        others: Vec::new(),
        curves: None,
        results: after.map(|after| results(before, after, answer)).unwrap_or_default(),
        drawing: None,
    };
    let Some(after) = after else { return step };
    match alike(before, after) {
        Err(why) => step.notes.push(why),
        Ok(pair) => {
            step.before = look(before, Some(&pair));
            step.after = Some(look(after, Some(&pair)));
            step.main = fault.and_then(|fault| main_measure(catalogue, fault, &pair));
            if let Some(fault) = fault.filter(|_| step.main.is_none()) {
                step.notes.extend(unread(catalogue, fault, &pair));
            }
            step.others = other_measures(catalogue, &pair, step.main.as_ref());
            step.curves = curves(&pair);
            step.drawing = drawing(catalogue, &pair, fault, step.curves.as_ref());
            step.notes.extend(pair.notes);
        }
    }
    step
}

/// Why none of a fault's measures is held side by side, by its first.
fn unread(catalogue: &Catalogue, fault: &str, pair: &Alike<'_>) -> Option<String> {
    let fault = catalogue.fault(fault)?;
    let Some(shows) = fault.measures.first() else {
        return Some(format!(
            "No measure shows '{}': only what you see and what is reported tells.",
            fault.name
        ));
    };
    let def = MEASURES.iter().find(|def| def.id == shows.measure)?;
    let mut readings = pair.before.iter().chain(&pair.after).flat_map(|s| &s.serve.readings);
    let why = readings.find_map(|entry| match &entry.reading {
        Reading::NotMeasurable { why } if entry.measure == def.id => Some(why.clone()),
        _ => None,
    })?;
    Some(format!("{} is not measurable in both looks: {why}.", sentence(def.name)))
}

fn step_plan(catalogue: &Catalogue, plan: &Plan) -> StepPlan {
    StepPlan {
        id: plan.id.to_string(),
        fault: plan.limiting_fault.clone(),
        name: catalogue.fault_name(&plan.limiting_fault),
        start: plan.start,
        review_on: plan.review_on,
        drills: ShownDrill::of_plan(catalogue, plan),
    }
}

/// A day as it is told; the serves are those of `pair` that were of this day, if it is given.
fn look(day: &Day, pair: Option<&Alike<'_>>) -> Look {
    let compared = |serves: &Alike<'_>| {
        let of_day = |id| day.serves.iter().any(|serve| serve.id == id);
        let side = if serves.before.first().is_some_and(|first| of_day(first.id)) {
            &serves.before
        } else {
            &serves.after
        };
        side.iter().map(|serve| serve.id.to_string()).collect()
    };
    let kind = match pair {
        Some(pair) => pair.after.first().map(|serve| serve.kind),
        None => day.main_kind(),
    };
    Look {
        case: day.case.as_ref().map(|case| case.id.to_string()),
        date: day.date,
        serves: pair.map(compared).unwrap_or_default(),
        of: day.serves.len(),
        what: kind.map(super::look::Kind::told).unwrap_or_default(),
    }
}

/// What was reported before and after; the follow-up's word before the later review's.
fn results(before: &Day, after: &Day, answer: Option<&FollowUp>) -> Vec<ReportedResult> {
    let ball = |day: &Day| day.case.as_ref().map(|case| case.ball).unwrap_or_default();
    let (then, review) = (ball(before), ball(after));
    let told = answer.map(|answer| answer.ball).unwrap_or_default();
    let now = BallFlight {
        speed_kmh: told.speed_kmh.or(review.speed_kmh),
        first_serve_pct: told.first_serve_pct.or(review.first_serve_pct),
        misses: told.misses.or(review.misses),
    };
    let misses = |ball: &BallFlight| ball.misses;
    let entry = |name, before: Option<f64>, after: Option<f64>| {
        (before.is_some() || after.is_some()).then_some(ReportedResult { name, before, after })
    };
    let rating = answer.and_then(|answer| answer.rating).map(f64::from);
    let sessions = answer.and_then(|answer| answer.sessions_done).map(f64::from);
    [
        entry("rating", None, rating),
        entry("sessions", None, sessions),
        entry("speed_kmh", then.speed_kmh, now.speed_kmh),
        entry("first_serve_pct", then.first_serve_pct, now.first_serve_pct),
        entry("net", misses(&then).map(|m| m.net.into()), misses(&now).map(|m| m.net.into())),
        entry("long", misses(&then).map(|m| m.long.into()), misses(&now).map(|m| m.long.into())),
        entry("wide", misses(&then).map(|m| m.wide.into()), misses(&now).map(|m| m.wide.into())),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Each measure that was followed, the latest first, over all reviews that compare with the last.
fn months(catalogue: &Catalogue, steps: &[Step], days: &[Day]) -> Vec<crate::drawing::MonthStrip> {
    let Some(kind) = days.iter().rev().find_map(Day::main_kind) else { return Vec::new() };
    let days: Vec<&Day> = days.iter().collect();
    let mut shown: Vec<&str> = Vec::new();
    let mut strips = Vec::new();
    for main in steps.iter().rev().filter_map(|step| step.main.as_ref()) {
        if shown.contains(&main.id) {
            continue;
        }
        shown.push(main.id);
        let def = MEASURES.iter().find(|def| def.id == main.id);
        strips.extend(def.and_then(|def| month_strip(catalogue, def, &days, kind)));
    }
    strips
}
