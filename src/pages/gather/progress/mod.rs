//! One player over time: what moved between two looks, and over all reviews.

mod compare;
mod look;
mod player;
#[cfg(test)]
mod tests;
mod told;
mod with_ball;

use self::told::told_results;
pub use player::course;
pub use told::{told_changes, told_curves, told_main, told_result, told_value};
pub(super) use with_ball::with_ball;

use self::compare::{mean, moved};
use self::look::{Alike, Day, Kind, Looked, alike};
use super::published;
use crate::catalogue::Catalogue;
use crate::drawing::{MonthStrip, PlanSpan, ReviewPoint};
use crate::library::{Case, FollowUp, Library, StoreError};
use crate::pages::course::{Moved, Step};
use crate::pages::{Change, Progress};
use crate::serve::{MEASURES, MeasureDef};
use crate::words;

/// Smallest change that is more than chance between means of `n` and `m` serves.
pub(super) fn detectable(def: &MeasureDef, n: usize, m: usize) -> f64 {
    def.detectable_change(n, m, 0.0)
}

/// This player's earlier cases against this one; `None` if there are none.
///
/// Held against the last earlier review whose serves compare with today's; where none compares,
/// against the last one, and said.
pub(super) fn progress(
    library: &Library,
    catalogue: &Catalogue,
    case: &Case,
    limiting: Option<&str>,
) -> Result<Option<Progress>, StoreError> {
    let mut days = Vec::new();
    for other in library.cases(Some(case.player))? {
        if other.date <= case.date {
            days.push(Day::of_case(library, other)?);
        }
    }
    days.sort_by_key(|day| day.date);
    let Some(now) = days.pop() else { return Ok(None) };
    let Some(last) = days.last() else { return Ok(None) };
    let before = days.iter().rev().find(|day| alike(day, &now).is_ok()).unwrap_or(last);
    let answers = |answer: &&FollowUp| {
        let own =
            |serve: &crate::library::ServeId| now.serves.iter().any(|looked| looked.id == *serve);
        answer.date == now.date || answer.serves.iter().any(own)
    };
    let cases = days.iter().rev().filter_map(|day| day.case.as_ref());
    let answer = cases.flat_map(|case| &case.follow_ups).find(answers);
    let step = player::step(catalogue, before, Some(&now), None, answer, limiting);
    Ok(Some(Progress {
        sentence: review_sentence(&step, before, limiting.is_some()),
        months: month_strip_of(catalogue, &step, &days, &now),
        earlier: step
            .drawing
            .as_ref()
            .map(|drawing| (drawing.behind.clone(), format!("you, {}", words::day(before.date)))),
        elsewhere: beyond_chance(&step.others),
        ball: review_lines(&step),
        curves: step.curves.as_ref().map(told_curves),
    }))
}

/// One sentence on the measure of today's fault.
fn review_sentence(step: &Step, before: &Day, settled: bool) -> String {
    match &step.main {
        Some(main) => {
            format!("Since {}, {}.", words::day(before.date), told::lower_first(&told_main(main)))
        }
        None if settled => format!(
            "The last review was on {}; the measure of today's fault cannot be compared with it.",
            words::day(before.date)
        ),
        None => format!("The last review was on {}.", words::day(before.date)),
    }
}

/// Results in one sentence, then what is not alike.
fn review_lines(step: &Step) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    lines.extend(told_results(&step.results));
    lines.extend(step.notes.iter().cloned());
    lines
}

/// Those that moved beyond chance and measuring, worse ones first.
fn beyond_chance(moved: &[Moved]) -> Vec<Change> {
    let mut moved: Vec<&Moved> = moved.iter().filter(|moved| moved.beyond()).collect();
    moved.sort_by_key(|moved| moved.better() != Some(false));
    moved
        .into_iter()
        .map(|moved| Change {
            measure: moved.name.to_owned(),
            unit: moved.unit.to_owned(),
            before: moved.before.0,
            after: moved.after.0,
            detectable: moved.detectable,
            larger_is_better: moved.larger_is_better,
        })
        .collect()
}

fn month_strip_of(
    catalogue: &Catalogue,
    step: &Step,
    earlier: &[Day],
    now: &Day,
) -> Option<MonthStrip> {
    let main = step.main.as_ref()?;
    let def = MEASURES.iter().find(|def| def.id == main.id)?;
    let days: Vec<&Day> = earlier.iter().chain([now]).collect();
    month_strip(catalogue, def, &days, now.main_kind()?)
}

/// A measure over the reviews, from serves that compare with `kind` only; `None` without any.
fn month_strip(
    catalogue: &Catalogue,
    def: &'static MeasureDef,
    days: &[&Day],
    kind: Kind,
) -> Option<MonthStrip> {
    let of = |day: &Day| -> Vec<Looked> {
        day.serves.iter().filter(|serve| serve.kind.alike(kind)).cloned().collect()
    };
    let sets: Vec<(jiff::civil::Date, Vec<Looked>)> = days
        .iter()
        .map(|day| (day.date, of(day)))
        .filter(|(_, serves)| mean(&serves.iter().collect::<Vec<_>>(), def.id).is_some())
        .collect();
    let reviews: Vec<ReviewPoint> = sets
        .iter()
        .filter_map(|(date, serves)| {
            let mean = mean(&serves.iter().collect::<Vec<_>>(), def.id)?;
            let give_or_take = 1.645 * def.within_player_sd / (mean.count as f64).sqrt();
            Some(ReviewPoint { date: *date, value: mean.value, give_or_take })
        })
        .collect();
    let (first, last) = (sets.first()?, sets.last()?);
    let ends = Alike {
        before: first.1.iter().collect(),
        after: last.1.iter().collect(),
        notes: Vec::new(),
    };
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
        detectable: moved(def, &ends, None)?.detectable,
        reference: published(catalogue, def.source).map(|(low, high, _)| (low, high)),
        plans,
    })
}
