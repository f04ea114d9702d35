//! All of one player's reviews, plan by plan.

use jiff::civil::Date;

use super::compare::{Sides, other_measures};
use super::day::{PlayerDay, alike, drawn, fullest, notes, whole};
use super::{Gathering, month_strip};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions, Practised, ShownDrill, practised, standing};
use crate::library::{BallFlight, Case, FollowUp, Library, Plan, Player, PlayerId, StoreError};
use crate::looks::{Followed, Later, Look, Pair, Session, Snapshot, best, later_days};
use crate::pages::course::{CourseStep, LookFacts, PlayerCourse, ReportedResult, StepPlan};
use crate::serve::Reading;
use crate::words::{self, sentence};
use crate::work::{Stage, Watch};

/// The whole course of a player: each plan compared with each of its follow-ups and, where none of
/// them shows what came of it, against the next review that counts; without any plan, the first
/// review against the last.
///
/// Which of a plan's steps decides, and how, is [`Snapshot::came_of`]'s answer. `watch` is told each
/// case read and each plan. Cost: reads every serve of the player once; one alignment per pair of
/// compared serves.
///
/// # Errors
/// [`StoreError`] for an unknown player, if the store cannot be read, or if the work is stopped.
pub fn course(
    library: &Library,
    catalogue: &Catalogue,
    player: PlayerId,
    watch: &Watch,
) -> Result<PlayerCourse, StoreError> {
    let snapshot = Snapshot::new(library);
    let gathering = Gathering { snapshot: &snapshot, catalogue, watch };
    let Player { code, born, .. } = library.player(player)?;
    let mut days = Vec::new();
    let cases = snapshot.cases(player)?;
    for (done, case) in cases.iter().enumerate() {
        watch.step(Stage::Cases, done, cases.len())?;
        // Read whole first: their readings come along.
        for &id in &case.serves {
            snapshot.serve(id)?;
        }
        days.push(PlayerDay::of_case(&snapshot, case.clone())?);
    }
    let mut steps = Vec::new();
    let plans: Vec<(&PlayerDay, &Plan)> = days
        .iter()
        .flat_map(|day| day.case.iter().flat_map(|case| &case.plans).map(move |plan| (day, plan)))
        .collect();
    for (done, (day, plan)) in plans.iter().enumerate() {
        watch.step(Stage::Plans, done, plans.len())?;
        steps.extend(planned(gathering, &days, day, plan)?);
    }
    if steps.is_empty()
        && let [first, .., last] = days.as_slice()
    {
        let fault = last.case.as_ref().and_then(|case| standing(&case.labels).into_iter().next());
        let fault = fault.map(|label| label.fault);
        let ask = Ask { plan: None, answer: None, fault: fault.as_deref() };
        steps.push(step(gathering, first, Some(last), &ask)?);
    }
    let end = |step: &CourseStep| step.after.as_ref().map_or(Date::MAX, |look| look.date);
    steps.sort_by_key(|step| (step.before.date, end(step)));
    let age = days.last().map_or(Age::Unknown, |day| Age::on(day.date(), born));
    let mut cautions = Cautions::of(catalogue, age);
    for plan in steps.iter().filter_map(|step| step.plan.as_ref()) {
        cautions.fault(catalogue, &plan.fault);
    }
    Ok(PlayerCourse {
        player: code,
        reviews: days.len(),
        months: months(catalogue, &steps, &days),
        steps,
        cautions,
    })
}

/// The steps of one plan; exactly one of them carries the plan's verdict.
fn planned(
    gathering: Gathering<'_>,
    days: &[PlayerDay],
    before: &PlayerDay,
    plan: &Plan,
) -> Result<Vec<CourseStep>, StoreError> {
    let Gathering { snapshot, catalogue, .. } = gathering;
    let Some(case) = &before.case else { return Ok(Vec::new()) };
    let fault = plan.limiting_fault.as_str();
    let came = snapshot.came_of(catalogue, case, Some(plan), fault)?;
    let candidates = later_days(case, Some(plan), fault, &snapshot.cases(case.player)?);
    let decides = came.later.as_ref().and_then(|later| later.follow_up);
    let mut steps: Vec<CourseStep> = Vec::new();
    for answer in case.follow_ups.iter().filter(|answer| answer.plan == plan.id) {
        let shown = candidates.iter().find(|later| later.follow_up == Some(answer.id));
        let after = seen(snapshot, days, answer.date, shown)?;
        let ask = Ask { plan: Some(plan), answer: Some(answer), fault: Some(fault) };
        let mut step = step(gathering, before, Some(&after), &ask)?;
        if decides == Some(answer.id) {
            step.verdict = Some(came.verdict.clone());
        }
        steps.push(step);
    }
    let ask = Ask { plan: Some(plan), answer: None, fault: Some(fault) };
    match &came.later {
        Some(later) if later.follow_up.is_none() => {
            let after = seen(snapshot, days, later.date, Some(later))?;
            let mut step = step(gathering, before, Some(&after), &ask)?;
            let note = if steps.is_empty() {
                "No follow-up is recorded; compared with the next review."
            } else {
                "No follow-up shows it; compared with the next review that does."
            };
            step.notes.insert(0, note.to_owned());
            step.verdict = Some(came.verdict);
            steps.push(step);
        }
        Some(_) => {}
        None => {
            if steps.is_empty() {
                let mut step = step(gathering, before, None, &ask)?;
                step.notes.extend(out_of_time(case, days));
                steps.push(step);
            }
            if let Some(last) = steps.last_mut() {
                last.verdict = Some(came.verdict);
            }
        }
    }
    Ok(steps)
}

/// The day a later look was on, with the serves that count.
fn seen(
    snapshot: &Snapshot<'_>,
    days: &[PlayerDay],
    date: Date,
    later: Option<&Later>,
) -> Result<PlayerDay, StoreError> {
    let case = days.iter().find(|day| day.date() == date).and_then(|day| day.case.clone());
    let session = match later {
        Some(later) => snapshot.session(date, &later.serves)?,
        None => Session { date, serves: Vec::new() },
    };
    Ok(PlayerDay { case, session })
}

/// That the player was seen again, but not when a look shows what the plan did.
fn out_of_time(case: &Case, days: &[PlayerDay]) -> Option<String> {
    let again = days.iter().find(|day| day.date() > case.date && day.serves() > 0)?;
    Some(format!(
        "Seen again on {}, too soon, too late or under another plan for the same fault: that does not \
         show what this plan did.",
        words::day(again.date())
    ))
}

/// What a step is about.
pub(super) struct Ask<'a> {
    /// The plan between the two days.
    pub(super) plan: Option<&'a Plan>,
    /// The follow-up that recorded the later one.
    pub(super) answer: Option<&'a FollowUp>,
    /// The fault whose measure comes first.
    pub(super) fault: Option<&'a str>,
}

/// One before and after.
pub(super) fn step(
    gathering: Gathering<'_>,
    before: &PlayerDay,
    after: Option<&PlayerDay>,
    ask: &Ask<'_>,
) -> Result<CourseStep, StoreError> {
    let Gathering { snapshot, catalogue, watch } = gathering;
    let done = match (ask.plan, after) {
        (Some(plan), Some(after)) => {
            practised(snapshot.library(), catalogue, plan, ask.answer, after.date())?
        }
        _ => None,
    };
    let mut step = CourseStep {
        plan: ask.plan.map(|plan| step_plan(catalogue, plan)),
        verdict: None,
        follow_up: ask.answer.map(|answer| answer.id.to_string()),
        before: look(before, None),
        after: after.map(|after| look(after, None)),
        notes: Vec::new(),
        main: None,
        others: Vec::new(),
        curves: None,
        results: match after {
            Some(after) => results(before, after, ask.answer, done),
            None => Vec::new(),
        },
        drawing: None,
    };
    let Some(after) = after else { return Ok(step) };
    let pairs = match alike(before, after) {
        Ok(pairs) => pairs,
        Err(why) => {
            step.notes.push(why);
            return Ok(step);
        }
    };
    let followed = ask.fault.and_then(|fault| Followed::by_id(catalogue, fault));
    let main = followed.and_then(|one| best(one.def, Some(one.sign > 0.0), &pairs));
    if let Some(fault) = ask.fault.filter(|_| main.is_none()) {
        step.notes.extend(unread(catalogue, fault, followed, &pairs));
    }
    let shown = main.as_ref().map(|(pair, _)| *pair).or_else(|| fullest(&pairs));
    step.main = main.as_ref().map(|(_, change)| change.clone());
    step.others = other_measures(catalogue, &pairs, step.main.as_ref());
    if let Some(pair) = shown {
        step.before = look(before, Some(&pair.before));
        step.after = Some(look(after, Some(&pair.after)));
        let (before_serves, after_serves) =
            (whole(snapshot, &pair.before)?, whole(snapshot, &pair.after)?);
        if let Some(sides) = Sides::of(&before_serves, &after_serves, watch)? {
            step.curves = sides.curves();
            let moved = step.curves.as_ref();
            step.drawing = sides.drawing(catalogue, ask.fault, moved, drawn(pair.after.set_up));
        }
        step.notes.extend(notes(snapshot, before, after, pair)?);
    }
    Ok(step)
}

/// Why a fault's measure is not held side by side.
fn unread(
    catalogue: &Catalogue,
    fault: &str,
    followed: Option<Followed>,
    pairs: &[Pair<'_>],
) -> Option<String> {
    let Some(Followed { def, .. }) = followed else {
        return Some(format!(
            "No measure shows '{}': only your eye and the reported results can tell.",
            catalogue.fault_name(fault)
        ));
    };
    let serves = pairs.iter().flat_map(|pair| pair.before.serves.iter().chain(&pair.after.serves));
    let why =
        serves.flat_map(|serve| serve.readings.iter()).find_map(|entry| match &entry.reading {
            Reading::NotMeasurable { why } if entry.measure == def.id => Some(why.clone()),
            _ => None,
        })?;
    Some(format!("{} could not be measured on both days ({why}).", sentence(def.name)))
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

/// A day as it is told; `shown`: the look of it that is compared.
fn look(day: &PlayerDay, shown: Option<&crate::looks::Look<'_>>) -> LookFacts {
    LookFacts {
        case: day.case.as_ref().map(|case| case.id.to_string()),
        date: day.date(),
        serves: shown
            .map(|look| look.serves.iter().map(|serve| serve.id.to_string()).collect())
            .unwrap_or_default(),
        strokes: shown.map_or(0, Look::strokes),
        of: day.serves(),
        what: match shown {
            Some(look) => look.describe(),
            None => day.main_look().map(|look| look.describe()).unwrap_or_default(),
        },
    }
}

/// What was reported before and after; the follow-up's word before the later review's.
fn results(
    before: &PlayerDay,
    after: &PlayerDay,
    answer: Option<&FollowUp>,
    done: Option<Practised>,
) -> Vec<ReportedResult> {
    let ball = |day: &PlayerDay| day.case.as_ref().map(|case| case.ball).unwrap_or_default();
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
    let sessions = done.map(|done| done.sessions);
    [
        entry("rating", None, rating),
        entry("sessions", None, sessions.map(f64::from)),
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
fn months(
    catalogue: &Catalogue,
    steps: &[CourseStep],
    days: &[PlayerDay],
) -> Vec<crate::drawing::MonthStrip> {
    let days: Vec<&PlayerDay> = days.iter().collect();
    let mut shown: Vec<&str> = Vec::new();
    let mut strips = Vec::new();
    for main in steps.iter().rev().filter_map(|step| step.main.as_ref()) {
        if shown.contains(&main.def.id) {
            continue;
        }
        shown.push(main.def.id);
        strips.extend(month_strip(catalogue, main.def, &days));
    }
    strips
}
