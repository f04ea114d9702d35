//! What came of past plans: of one precedent, and drill by drill over the nearest players.

use super::progress::detectable;
use crate::catalogue::{Catalogue, Direction};
use crate::library::{Filter, Library, ServeId, StoreError};
use crate::matcher::{self, LikeError, Query, Subject};
use crate::report::{DotRow, EvidenceRow, Outcome};
use crate::serve::{MEASURES, Reading};

/// Players asked for evidence, nearest first.
const EVIDENCE_PLAYERS: usize = 30;

/// What followed each drill among the nearest other players with the same fault, a plan for it and
/// a follow-up: one dot a player, counted, without an average.
pub(super) fn evidence(
    library: &Library,
    catalogue: &Catalogue,
    serve: ServeId,
    fault: &str,
) -> Result<Vec<EvidenceRow>, LikeError> {
    let mut query = Query::new(Subject::Stored(serve), EVIDENCE_PLAYERS);
    query.filter = Filter::parse(&format!("fault={fault}"))?;
    query.others = true;
    query.one_each = true;
    let mut rows: Vec<EvidenceRow> = Vec::new();
    for precedent in matcher::like(library, &query)?.precedents {
        let Some(plan) = precedent.plans.first().filter(|plan| plan.limiting_fault == fault) else {
            continue;
        };
        let Some(drill) = plan.drills.first().and_then(|first| catalogue.drill(&first.drill))
        else {
            continue;
        };
        let Outcome::Changed { measure, by, unit, detectable } =
            outcome(library, catalogue, &precedent)?
        else {
            continue;
        };
        match rows.iter_mut().find(|known| known.row.label == drill.name) {
            Some(known) => {
                known.row.changes.push(by);
                // The widest of the players' corridors: nobody counts too easily.
                known.row.detectable = known.row.detectable.max(detectable);
            }
            None => rows.push(EvidenceRow {
                row: DotRow {
                    label: drill.name.clone(),
                    measure,
                    unit,
                    changes: vec![by],
                    detectable,
                    estimate: None,
                    interval_pct: 90,
                },
                effective_players: None,
                typical_days: None,
                trust: String::new(),
            }),
        }
    }
    rows.sort_by(|a, b| b.row.beyond().cmp(&a.row.beyond()).then(a.row.label.cmp(&b.row.label)));
    for known in &mut rows {
        known.trust = match known.row.changes.len() {
            1 => "One player: a story, not a result.".to_owned(),
            count => format!(
                "{count} players, counted one by one; associated with the drill, not proven to \
                 come from it."
            ),
        };
    }
    Ok(rows)
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
