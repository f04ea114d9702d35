//! Where a measure begins to count and where it counts fully, for this serve and this player.

use super::Conditions;
use crate::catalogue::types::{ADULT_STATURE_M, Attempt, Direction, FaultMeasure, ServeType};

/// What is known beside the readings, the type of the serves included.
pub(super) struct Asked<'a> {
    pub(super) serve_type: Option<ServeType>,
    pub(super) conditions: &'a Conditions,
}

/// Statures outside this are typing errors and scale nothing, m.
const STATURES_M: std::ops::RangeInclusive<f64> = 0.8..=2.4;

/// Where a measure counts under some conditions, and in words how that differs from its own band.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Band {
    pub(super) starts: f64,
    pub(super) full: f64,
    pub(super) basis: String,
}

impl Band {
    /// A type of serve with a band of its own is judged by that; a second serve whose type nobody
    /// said by the band that asks least; one of which nothing is known as a flat serve. Then both
    /// ends scale with stature where the measure says so.
    pub(super) fn of(
        measure: &FaultMeasure,
        serve_type: Option<ServeType>,
        conditions: &Conditions,
    ) -> Self {
        let own = (measure.starts, measure.full);
        let mut basis = measure.basis.clone();
        let mut add = |text: String| {
            basis.push(' ');
            basis.push_str(&text);
        };
        let typed = match (serve_type, conditions.attempt) {
            (Some(known), _) => measure.by_type.iter().find(|band| band.serve_type == known),
            (None, Some(Attempt::Second)) => {
                measure.by_type.iter().max_by(|a, b| match measure.direction {
                    Direction::Below => b.starts.total_cmp(&a.starts),
                    Direction::Above => a.starts.total_cmp(&b.starts),
                })
            }
            (None, _) => None,
        };
        let (mut starts, mut full) = typed.map_or(own, |band| (band.starts, band.full));
        match (typed, serve_type) {
            (Some(band), Some(_)) => {
                add(format!("Judged as a {}: {}", band.serve_type.label(), band.basis));
            }
            (Some(band), None) => add(format!(
                "A second serve of unknown spin, so judged as a {}: {}",
                band.serve_type.label(),
                band.basis
            )),
            (None, None) if !measure.by_type.is_empty() => {
                let others: Vec<String> = measure
                    .by_type
                    .iter()
                    .map(|band| format!("a {} from {}", band.serve_type.label(), band.starts))
                    .collect();
                add(format!(
                    "The type of serve is not known, so judged as flat; {} would count only {}.",
                    if others.len() == 1 { "another" } else { "others" },
                    others.join(", ")
                ));
            }
            (None, _) => {}
        }
        if measure.stature_power != 0.0 {
            match conditions.stature_m.filter(|stature| STATURES_M.contains(stature)) {
                Some(stature) => {
                    let factor = (stature / ADULT_STATURE_M).powf(measure.stature_power);
                    (starts, full) = (starts * factor, full * factor);
                    add(format!("Scaled to a stature of {stature:.2} m."));
                }
                None => add(format!(
                    "The player's stature is not known, so it is taken as {ADULT_STATURE_M} m."
                )),
            }
        }
        Self { starts, full, basis }
    }
}
