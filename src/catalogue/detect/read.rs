//! One measure of a fault over the serves of a day.

use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use super::band::{Asked, Band};
use super::{Evidence, Source};
use crate::catalogue::types::FaultMeasure;
use crate::serve::{MEASURES, Reading, ServeReading, best_view};

/// Readings with less trust than this do not count.
const LEAST_TRUST: f64 = 0.15;

/// Share of a normal spread within one "give or take" (9 times of 10 inside).
const NINE_OF_TEN: f64 = 1.644_853_626_951_472_2;

/// A measure from the source that reads it best, the first of equals.
pub(super) fn read(
    measure: &FaultMeasure,
    sources: &[&Source<'_>],
    asked: &Asked<'_>,
) -> Result<Evidence, String> {
    let spread = MEASURES.iter().find(|def| def.id == measure.measure);
    let spread = spread.map_or(0.0, |def| def.within_player_sd);
    let mut best: Option<(f64, Evidence)> = None;
    let mut missing = None;
    for source in sources {
        match read_from(measure, source, asked) {
            Ok((own, evidence)) => {
                let error = own.hypot(spread / (evidence.serves as f64).sqrt());
                if best.as_ref().is_none_or(|held| error < held.0) {
                    best = Some((error, evidence));
                }
            }
            Err(why) => missing = missing.or(Some(why)),
        }
    }
    best.map(|best| best.1)
        .ok_or_else(|| missing.unwrap_or_else(|| "no serve to read it from".into()))
}

fn read_in<'a>(readings: &'a [ServeReading], measure: &FaultMeasure) -> Option<&'a Reading> {
    let found = readings.iter().find(|found| found.measure == measure.measure)?;
    Some(&found.reading)
}

fn is_sure(reading: &&Reading) -> bool {
    matches!(reading, Reading::Value { trust, .. } if *trust >= LEAST_TRUST)
}

/// A measure over the serves of one source, and the standard error of one reading.
fn read_from(
    measure: &FaultMeasure,
    source: &Source<'_>,
    asked: &Asked<'_>,
) -> Result<(f64, Evidence), String> {
    let mut values = Vec::new();
    let mut errors = Vec::new();
    let mut trusts = Vec::new();
    let mut reason = None;
    for (_, views) in &source.strokes {
        let all: Vec<Option<&Reading>> = views.iter().map(|view| read_in(view, measure)).collect();
        let sure: Vec<&Reading> = all.iter().copied().flatten().filter(is_sure).collect();
        match best_view(sure.iter().copied()).map(|at| sure[at]) {
            Some(Reading::Value { value, trust, give_or_take }) => {
                values.push(*value);
                errors.push(*give_or_take);
                trusts.push(*trust);
            }
            _ => {
                reason = reason.or_else(|| {
                    Some(match all[0] {
                        Some(Reading::Value { .. }) => "the reading is too unsure".to_owned(),
                        Some(Reading::NotMeasurable { why }) => why.clone(),
                        None => "not read from this recording".to_owned(),
                    })
                });
            }
        }
    }
    if values.is_empty() {
        return Err(reason.unwrap_or_else(|| "no serve to read it from".into()));
    }
    let value = median(&mut values.clone());
    let own = median(&mut errors) / NINE_OF_TEN;
    let between = spread(&values, value) / (values.len() as f64).sqrt();
    let error = own.hypot(between);
    let band = Band::of(measure, asked.serve_type, asked.conditions);
    let evidence = Evidence {
        measure: measure.measure.clone(),
        value,
        unit: measure.unit.clone(),
        give_or_take: NINE_OF_TEN * error,
        range: values
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v))),
        serves: values.len(),
        direction: measure.direction,
        starts: band.starts,
        full: band.full,
        score: ramp(value, error, band.starts, band.full),
        chance: beyond(value, error, band.starts, band.full),
        trust: median(&mut trusts),
        sources: measure.sources.clone(),
        basis: band.basis,
    };
    Ok((own, evidence))
}

/// Expected `clamp((x - starts) / (full - starts), 0, 1)` for x normal about `value`.
pub(super) fn ramp(value: f64, error: f64, starts: f64, full: f64) -> f64 {
    let at = (value - starts) / (full - starts);
    let error = (error / (full - starts)).abs();
    if !(error.is_finite() && error > 1e-9) {
        return at.clamp(0.0, 1.0);
    }
    // E[(x - a)+] for x ~ N(at, error).
    let standard = Normal::standard();
    let above = |a: f64| {
        let z = (at - a) / error;
        (at - a) * standard.cdf(z) + error * standard.pdf(z)
    };
    (above(0.0) - above(1.0)).clamp(0.0, 1.0)
}

/// Chance that x, normal about `value`, lies beyond `starts` on the side of `full`.
pub(super) fn beyond(value: f64, error: f64, starts: f64, full: f64) -> f64 {
    let past = (value - starts) * (full - starts).signum();
    if !(error.is_finite() && error > 1e-9) {
        return if past > 0.0 { 1.0 } else { 0.0 };
    }
    Normal::standard().cdf(past / error)
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n % 2 == 1 { values[n / 2] } else { f64::midpoint(values[n / 2 - 1], values[n / 2]) }
}

/// Robust spread: 1.4826 times the median distance from `centre` (equals the standard deviation
/// of normal data).
fn spread(values: &[f64], centre: f64) -> f64 {
    let mut distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    1.482_602_218_505_602 * median(&mut distances)
}
