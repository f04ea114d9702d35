//! One player over time: what moved between two looks, and over all reviews.

mod compare;
mod day;
mod describe;
mod player;
#[cfg(test)]
mod tests;
mod with_ball;

use self::describe::describe_results;
pub(super) use day::drawn;
pub use describe::{describe_changes, describe_curves, describe_result};
pub use player::course;
pub(super) use with_ball::with_ball;

use self::day::PlayerDay;
use super::published;
use crate::catalogue::Catalogue;
use crate::drawing::{MonthStrip, PlanSpan, ReviewPoint};
use crate::library::{Case, FollowUp, StoreError};
use crate::looks::{Change, Snapshot, describe_change};
use crate::pages::course::CourseStep;
use crate::pages::{ChangeFacts, Progress};
use crate::serve::MeasureDef;
use crate::words;
use crate::words::lower_first;
use crate::work::Watch;

/// What everything here is read with.
#[derive(Clone, Copy)]
pub(super) struct Gathering<'a> {
    pub(super) snapshot: &'a Snapshot<'a>,
    pub(super) catalogue: &'a Catalogue,
    pub(super) watch: &'a Watch,
}

/// This player's earlier cases against this one; `None` if there are none.
///
/// Which earlier case it is compared with is [`Snapshot::since`]'s answer for the limiting fault;
/// where its measure does not compare with any, or nothing is limiting, the last case with a look
/// that compares.
pub(super) fn progress(
    gathering: Gathering<'_>,
    case: &Case,
    limiting: Option<&str>,
) -> Result<Option<Progress>, StoreError> {
    let Gathering { snapshot, catalogue, watch } = gathering;
    let since = match limiting {
        Some(fault) => snapshot.since(catalogue, case, fault)?,
        None => None,
    };
    let came = since.filter(|since| since.came.verdict.change().is_some());
    let before = match &came {
        Some(since) => Some(since.before.clone()),
        None => snapshot.last_before(case)?,
    };
    let Some(before) = before else { return Ok(None) };
    let mut days = Vec::new();
    for other in snapshot.cases(case.player)?.iter() {
        watch.check()?;
        if (other.date, other.id) < (case.date, case.id) {
            days.push(PlayerDay::of_case(snapshot, other.clone())?);
        }
    }
    let now = PlayerDay::of_case(snapshot, case.clone())?;
    let answers = |answer: &&FollowUp| {
        answer.date == case.date || answer.serves.iter().any(|serve| case.serves.contains(serve))
    };
    let cases = days.iter().rev().filter_map(|day| day.case.as_ref());
    let answer = cases.flat_map(|case| &case.follow_ups).find(answers);
    // The plan whose practice counts: the one that was judged, else the one in force since.
    let judged = came.as_ref().and_then(|since| since.came.plan);
    let plan = judged.or_else(|| answer.map(|answer| answer.plan));
    let plan = match plan {
        Some(plan) => Some(snapshot.library().plan(plan)?),
        None => before.plans_in_force(case.date).first().map(|plan| (*plan).clone()),
    };
    let answer = answer.filter(|answer| plan.as_ref().is_none_or(|plan| plan.id == answer.plan));
    let then = PlayerDay::of_case(snapshot, before)?;
    let ask = player::Ask { plan: plan.as_ref(), answer, fault: limiting };
    let step = player::step(gathering, &then, Some(&now), &ask)?;
    Ok(Some(Progress {
        sentence: review_sentence(&step, &then, limiting.is_some()),
        months: month_strip_of(catalogue, &step, &days, &now),
        earlier: step
            .drawing
            .as_ref()
            .map(|drawing| (drawing.behind.clone(), format!("you, {}", words::day(then.date())))),
        earlier_serve: step.drawing.as_ref().map(|drawing| drawing.behind_serve),
        elsewhere: beyond_chance(&step.others),
        ball: review_lines(&step),
        curves: step.curves.as_ref().map(describe_curves),
    }))
}

/// One sentence on the measure of today's fault.
fn review_sentence(step: &CourseStep, before: &PlayerDay, settled: bool) -> String {
    let day = words::day(before.date());
    match &step.main {
        Some(main) => format!("Since {day}, {}.", lower_first(&describe_change(main))),
        None if settled => format!(
            "The last review was on {day}; the measure of today's fault cannot be compared with it."
        ),
        None => format!("The last review was on {day}."),
    }
}

/// Results in one sentence, then what is not alike.
fn review_lines(step: &CourseStep) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    lines.extend(describe_results(&step.results));
    lines.extend(step.notes.iter().cloned());
    lines
}

/// Those that moved beyond chance and measuring, worse ones first.
fn beyond_chance(changes: &[Change]) -> Vec<ChangeFacts> {
    let mut moved: Vec<&Change> = changes.iter().filter(|change| change.beyond()).collect();
    moved.sort_by_key(|change| change.better() != Some(false));
    moved
        .into_iter()
        .map(|change| ChangeFacts {
            measure: change.def.name.to_owned(),
            unit: change.def.unit.to_owned(),
            before: change.before.value,
            after: change.after.value,
            detectable: change.detectable,
            beyond: change.beyond(),
            better: change.better(),
        })
        .collect()
}

fn month_strip_of(
    catalogue: &Catalogue,
    step: &CourseStep,
    earlier: &[PlayerDay],
    now: &PlayerDay,
) -> Option<MonthStrip> {
    let main = step.main.as_ref()?;
    let days: Vec<&PlayerDay> = earlier.iter().chain([now]).collect();
    month_strip(catalogue, main.def, &days)
}

/// A measure over the reviews: of each day the look that shows it best among those that compare with
/// the last day's best; `None` without any.
fn month_strip(
    catalogue: &Catalogue,
    def: &'static MeasureDef,
    days: &[&PlayerDay],
) -> Option<MonthStrip> {
    let best = days.iter().rev().find_map(|day| day.session.best(def, None))?;
    let points: Vec<_> = days
        .iter()
        .filter_map(|day| Some((day.date(), day.session.best(def, Some(best.0.set_up))?.1)))
        .collect();
    let (first, last) = (points.first()?.1, points.last()?.1);
    let reviews = points
        .iter()
        .map(|&(date, mean)| ReviewPoint {
            date,
            value: mean.value,
            give_or_take: mean.give_or_take(def),
            beyond: Change::new(def, first, mean, None).beyond(),
        })
        .collect();
    let plans = days
        .iter()
        .filter_map(|day| day.case.as_ref())
        .flat_map(|case| &case.plans)
        .map(|plan| PlanSpan {
            label: catalogue.fault_name(&plan.limiting_fault),
            start: plan.start,
            end: plan.ended.as_ref().map(|end| end.day).or(plan.review_on),
        })
        .collect();
    Some(MonthStrip {
        measure: def.name.to_owned(),
        unit: def.unit.to_owned(),
        reviews,
        detectable: Change::new(def, first, last, None).detectable,
        reference: published(catalogue, def.source).map(|(low, high, _)| (low, high)),
        plans,
    })
}
