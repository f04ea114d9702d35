//! What came of past plans, drill by drill over the nearest players.

use crate::drawing::DotRow;
use crate::evidence::Worked;
use crate::pages::EvidenceRow;

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
            better: drill.better.clone(),
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
