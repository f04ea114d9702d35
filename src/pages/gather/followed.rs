//! What came of past plans: of one precedent, and drill by drill over the nearest players.

use super::progress::detectable;
use crate::catalogue::{Catalogue, Direction};
use crate::drawing::DotRow;
use crate::evidence::{Evidence, Worked};
use crate::library::{Library, ServeId, StoreError};
use crate::matcher::{self, LikeError, Subject};
use crate::pages::{EvidenceRow, Outcome};
use crate::serve::{MEASURES, Reading};
use crate::work::Watch;

/// What worked for this fault among other players, nearest first in weight: one dot a player, the
/// change to be expected from this start as a bracket, what comes by itself beside it; and what the
/// reader must know about all of it. Names nobody.
pub(super) fn evidence(
    library: &Library,
    catalogue: &Catalogue,
    subject: Subject<'_>,
    fault: &str,
    watch: &Watch,
) -> Result<(Vec<EvidenceRow>, Vec<String>), LikeError> {
    let found = Evidence::gather(library, catalogue, subject, watch)?;
    let Some(worked) = found.worked(catalogue, fault) else {
        return Ok((Vec::new(), Vec::new()));
    };
    Ok((rows(&worked), worked.notes))
}

/// One row of dots a drill that somebody was seen after.
pub(in crate::pages) fn rows(worked: &Worked) -> Vec<EvidenceRow> {
    let seen = worked.drills.iter().filter(|drill| drill.players > 0);
    seen.map(|drill| EvidenceRow {
        done: drill.done.clone(),
        row: DotRow {
            label: String::new(),
            measure: worked.measure.clone(),
            unit: worked.unit.clone(),
            changes: drill.changes.clone(),
            detectable: drill.detectable,
            estimate: drill.change.map(|change| (change.mean, change.low, change.high)),
            by_itself: worked.by_itself.map(|by_itself| by_itself.mean),
            interval_pct: 90,
        },
        effective_players: Some(drill.effective),
        typical_days: drill.typical_days,
        trust: drill.trust.clone(),
    })
    .collect()
}

/// How the planned fault's first measure moved from the case to the last follow-up with serves.
pub(super) fn outcome(
    library: &Library,
    catalogue: &Catalogue,
    precedent: &matcher::Precedent,
) -> Result<Outcome, StoreError> {
    let Some(plan) = precedent.plans.first() else {
        return Ok(Outcome::NoPlan);
    };
    let later = precedent
        .follow_ups
        .iter()
        .rev()
        .find(|follow_up| follow_up.plan == plan.id && !follow_up.serves.is_empty());
    let shows = catalogue.fault(&plan.limiting_fault).and_then(|fault| fault.measures.first());
    let (Some(later), Some(shows)) = (later, shows) else {
        return Ok(Outcome::NotFollowedUp);
    };
    let Some(def) = MEASURES.iter().find(|def| def.id == shows.measure) else {
        return Ok(Outcome::NotFollowedUp);
    };
    let mean = |serves: &[ServeId]| -> Result<Option<(f64, usize)>, StoreError> {
        let mut values = Vec::new();
        for &id in serves {
            let readings = library.serve(id)?.serve.readings;
            values.extend(readings.iter().filter(|entry| entry.measure == def.id).filter_map(
                |entry| match entry.reading {
                    Reading::Value { value, .. } => Some(value),
                    Reading::NotMeasurable { .. } => None,
                },
            ));
        }
        let count = values.len();
        Ok((count > 0).then(|| (values.iter().sum::<f64>() / count as f64, count)))
    };
    let before = mean(&library.case(precedent.case)?.serves)?;
    let after = mean(&later.serves)?;
    let (Some((before, n)), Some((after, m))) = (before, after) else {
        return Ok(Outcome::NotFollowedUp);
    };
    let detectable = detectable(def, n, m);
    let better = match shows.direction {
        Direction::Below => after - before,
        _ => before - after,
    };
    Ok(Outcome::Changed {
        measure: def.name.to_owned(),
        by: better,
        unit: def.unit.to_owned(),
        detectable,
    })
}
