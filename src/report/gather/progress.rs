//! One player over time: the same measures, earlier and now.

use super::{published, session_readings};
use crate::catalogue::{Catalogue, Direction};
use crate::library::{Case, Library, StoreError};
use crate::report::words;
use crate::report::{Change, MonthStrip, PlanSpan, Progress, ReviewPoint};
use crate::serve::{MEASURES, MeasureDef, Reading, ServeReading};

/// The readings of one case's serves.
struct Session {
    case: Case,
    readings: Vec<Vec<ServeReading>>,
}

impl Session {
    /// Mean of a measure over the serves that have it, and their number.
    fn mean(&self, measure: &str) -> Option<(f64, usize)> {
        let values: Vec<f64> = self
            .readings
            .iter()
            .flatten()
            .filter(|entry| entry.measure == measure)
            .filter_map(|entry| match entry.reading {
                Reading::Value { value, .. } => Some(value),
                Reading::NotMeasurable { .. } => None,
            })
            .collect();
        let count = values.len();
        (count > 0).then(|| (values.iter().sum::<f64>() / count as f64, count))
    }
}

/// Smallest change that is more than chance between means of `n` and `m` serves: MDC95, the
/// spread from serve to serve taken from the measure's definition.
pub(super) fn detectable(def: &MeasureDef, n: usize, m: usize) -> f64 {
    def.detectable_change(n, m, 0.0)
}

/// This player's earlier cases against this one; `None` if there are none.
pub(super) fn progress(
    library: &Library,
    catalogue: &Catalogue,
    case: &Case,
    limiting: Option<&str>,
) -> Result<Option<Progress>, StoreError> {
    let mut sessions = Vec::new();
    for other in library.cases(Some(case.player))? {
        if other.date <= case.date {
            let readings = session_readings(library, &other)?;
            sessions.push(Session { case: other, readings });
        }
    }
    sessions.sort_by_key(|session| session.case.date);
    let Some(now) = sessions.pop() else { return Ok(None) };
    let Some(before) = sessions.last() else { return Ok(None) };
    let change = |def: &MeasureDef| {
        let ((old, n), (new, m)) = (before.mean(def.id)?, now.mean(def.id)?);
        let better = catalogue
            .faults()
            .flat_map(|fault| &fault.measures)
            .find(|shows| shows.measure == def.id)
            .map(|shows| shows.direction == Direction::Below);
        Some(Change {
            measure: def.name.to_owned(),
            unit: def.unit.to_owned(),
            before: old,
            after: new,
            detectable: detectable(def, n, m),
            larger_is_better: better,
        })
    };
    let shown = limiting
        .and_then(|id| catalogue.fault(id)?.measures.first())
        .and_then(|shows| MEASURES.iter().find(|def| def.id == shows.measure));
    let sentence = match shown.and_then(change) {
        Some(change) => {
            let by = change.after - change.before;
            let far = if by.abs() > change.detectable { "more" } else { "no more" };
            format!(
                "Since {}, {} went from {} to {}; that is {far} than chance allows ({}).",
                words::day(before.case.date),
                change.measure,
                words::amount(change.before, &change.unit),
                words::amount(change.after, &change.unit),
                words::amount(change.detectable, &change.unit)
            )
        }
        None => format!(
            "The last review was on {}; the measure of today's fault cannot be compared with it.",
            words::day(before.case.date)
        ),
    };
    let worse = |change: &Change| change.larger_is_better == Some(change.after < change.before);
    let mut elsewhere: Vec<Change> = MEASURES
        .iter()
        .filter(|def| shown.is_none_or(|shown| shown.id != def.id))
        .filter_map(change)
        .filter(|change| (change.after - change.before).abs() > change.detectable)
        .collect();
    elsewhere.sort_by_key(|change| !worse(change));
    let earlier = match before.case.serves.first() {
        Some(&serve) => Some((
            library.serve(serve)?.serve.figures,
            format!("you, {}", words::day(before.case.date)),
        )),
        None => None,
    };
    let ball = [(before, "then"), (&now, "now")]
        .into_iter()
        .filter_map(|(session, when)| {
            let speed = session.case.ball.speed_kmh?;
            Some(format!("serve speed {when} {speed:.0} km/h, as reported"))
        })
        .collect();
    let months = shown.map(|def| month_strip(def, &sessions, &now, catalogue));
    Ok(Some(Progress { sentence, months, earlier, elsewhere, ball }))
}

fn month_strip(
    def: &MeasureDef,
    earlier: &[Session],
    now: &Session,
    catalogue: &Catalogue,
) -> MonthStrip {
    let all = || earlier.iter().chain([now]);
    let reviews: Vec<ReviewPoint> = all()
        .filter_map(|session| {
            let (value, count) = session.mean(def.id)?;
            let give_or_take = 1.645 * def.within_player_sd / (count as f64).sqrt();
            Some(ReviewPoint { date: session.case.date, value, give_or_take })
        })
        .collect();
    let first = all().find_map(|session| session.mean(def.id)).map_or(1, |(_, count)| count);
    let last = now.mean(def.id).map_or(1, |(_, count)| count);
    let plans = all()
        .flat_map(|session| &session.case.plans)
        .map(|plan| PlanSpan {
            label: catalogue
                .fault(&plan.limiting_fault)
                .map_or(plan.limiting_fault.clone(), |fault| fault.name.clone()),
            start: plan.start,
            end: plan.review_on,
        })
        .collect();
    MonthStrip {
        measure: def.name.to_owned(),
        unit: def.unit.to_owned(),
        reviews,
        detectable: detectable(def, first, last),
        reference: published(catalogue, def.source).map(|(low, high, _)| (low, high)),
        plans,
    }
}
