//! Whom to see next, and why.

use super::super::facts::{FaultFacts, FollowUpFacts, Reason, ReasonKind, SeeNext};
use super::follow_up::days;
use super::{Read, Seen};
use crate::catalogue::Direction;
use crate::library::{LabelState, StoreError};
use crate::serve::{MEASURES, Reading};
use crate::work::{Stage, Watch};

/// A fault whose load is at least this (of 3) is a caution.
const LOADS: u8 = 3;

pub(super) fn see_next(
    read: &Read<'_>,
    plans: &FollowUpFacts,
    faults: &[FaultFacts],
    watch: &Watch,
) -> Result<Vec<SeeNext>, StoreError> {
    let mut list = Vec::new();
    for (number, player) in read.players.iter().enumerate() {
        watch.step(Stage::Players, number, read.players.len())?;
        let mut latest = read.cases_of(number).rev();
        let Some(last) = latest.next() else { continue };
        let mut reasons = Vec::new();
        if let Some(before) = latest.next() {
            reasons.extend(worse(read, before, last)?);
        }
        for plan in plans.overdue.iter().filter(|plan| plan.player == player.code) {
            reasons.push(Reason {
                kind: ReasonKind::Overdue,
                text: format!(
                    "review overdue by {} days (plan {} for {})",
                    plan.days,
                    plan.plan,
                    lower(&plan.fault)
                ),
            });
        }
        for fault in faults {
            if let Some(new) = fault.new.iter().find(|new| new.player == player.code) {
                reasons.push(Reason {
                    kind: ReasonKind::NewFault,
                    text: format!("new since {}: {}", new.date, lower(&fault.name)),
                });
            }
        }
        reasons.extend(load(read, last));
        if !reasons.is_empty() {
            reasons.sort_by_key(|reason| reason.kind);
            list.push(SeeNext {
                player: player.code.clone(),
                coach: player.coach.clone(),
                last_seen: last.case.date,
                reasons,
            });
        }
    }
    let today = read.query.today;
    list.sort_by_cached_key(|one| {
        let pressing: i32 = one.reasons.iter().map(|reason| weight(reason.kind)).sum();
        (-pressing, -days(one.last_seen, today), one.player.clone())
    });
    Ok(list)
}

/// How pressing: our choice, said on the page as the order.
fn weight(kind: ReasonKind) -> i32 {
    match kind {
        ReasonKind::Worse => 4,
        ReasonKind::Overdue => 3,
        ReasonKind::NewFault => 2,
        ReasonKind::Load => 1,
    }
}

/// Standing faults whose first measure moved the wrong way by more than the detectable change.
fn worse(read: &Read<'_>, before: &Seen, last: &Seen) -> Result<Vec<Reason>, StoreError> {
    let mut reasons = Vec::new();
    for label in &last.standing {
        let shows = read.catalogue.fault(&label.fault).and_then(|fault| fault.measures.first());
        let Some(shows) = shows else { continue };
        let Some(def) = MEASURES.iter().find(|def| def.id == shows.measure) else { continue };
        let (Some((old, n)), Some((new, m))) =
            (mean(read, before, def.id)?, mean(read, last, def.id)?)
        else {
            continue;
        };
        let by = match shows.direction {
            Direction::Below => old - new,
            Direction::Above => new - old,
        };
        let detectable = def.detectable_change(n, m, 0.0);
        if by > detectable {
            let places = if matches!(def.unit, "deg" | "%") { 0 } else { 2 };
            let unit = if def.unit == "ratio" { "" } else { def.unit };
            let text = format!(
                "{} gets worse: {} {old:.places$} to {new:.places$} {unit}",
                lower(&read.fault_name(&label.fault)),
                def.name
            );
            let text = format!("{}, more than chance ({detectable:.places$})", text.trim_end());
            reasons.push(Reason { kind: ReasonKind::Worse, text });
        }
    }
    Ok(reasons)
}

/// Mean of a measure over a case's serves, and their number.
fn mean(read: &Read<'_>, seen: &Seen, measure: &str) -> Result<Option<(f64, usize)>, StoreError> {
    let mut values = Vec::new();
    for &serve in &seen.case.serves {
        let readings = read.library.serve(serve)?.serve.readings;
        values.extend(readings.iter().filter(|entry| entry.measure == measure).filter_map(
            |entry| match entry.reading {
                Reading::Value { value, .. } => Some(value),
                Reading::NotMeasurable { .. } => None,
            },
        ));
    }
    let count = values.len();
    Ok((count > 0).then(|| (values.iter().sum::<f64>() / count as f64, count)))
}

/// Faults that load the body, from the last look.
fn load(read: &Read<'_>, last: &Seen) -> Vec<Reason> {
    let loading = last.standing.iter().filter_map(|label| {
        let fault = read.catalogue.fault(&label.fault)?;
        if fault.cost.load < LOADS {
            return None;
        }
        let sure = if label.state == LabelState::Suspected { "suspected " } else { "" };
        let care = fault
            .health_note
            .as_deref()
            .unwrap_or("Ask about pain first: pain goes to a licensed clinician.");
        Some(Reason {
            kind: ReasonKind::Load,
            text: format!("load: {sure}{}. {care}", lower(&fault.name)),
        })
    });
    loading.collect()
}

/// First letter small, for the middle of a sentence.
fn lower(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}
