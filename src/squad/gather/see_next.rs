//! Whom to see next, and why.

use super::super::facts::{FollowUpFacts, Reason, ReasonKind, SeeNext, SquadFault};
use super::{Read, SeenCase};
use crate::library::{LabelState, StoreError};
use crate::looks::{Verdict, days_between};
use crate::words::{amount, bare, day};
use crate::work::{Stage, Watch};

/// A fault whose load is at least this (of 3) is a caution.
const LOADS: u8 = 3;

pub(super) fn see_next(
    read: &Read<'_>,
    plans: &FollowUpFacts,
    faults: &[SquadFault],
    watch: &Watch,
) -> Result<Vec<SeeNext>, StoreError> {
    let mut list = Vec::new();
    for (number, player) in read.players.iter().enumerate() {
        watch.step(Stage::Players, number, read.players.len())?;
        let Some(last) = read.cases_of(number).next_back() else { continue };
        let mut reasons = Vec::new();
        reasons.extend(worse(read, last)?);
        for plan in plans.overdue.iter().filter(|plan| plan.player == player.code) {
            reasons.push(Reason {
                kind: ReasonKind::Overdue,
                text: format!(
                    "review overdue by {} days (plan {} for {})",
                    plan.days,
                    plan.plan,
                    lower(&plan.fault)
                ),
                loads: None,
            });
        }
        for fault in faults {
            if let Some(new) = fault.new.iter().find(|new| new.player == player.code) {
                reasons.push(Reason {
                    kind: ReasonKind::NewFault,
                    text: format!("new since {}: {}", day(new.date), lower(&fault.name)),
                    loads: None,
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
        (-pressing, -days_between(one.last_seen, today), one.player.clone())
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

/// Standing faults that got worse at the last look, as [`Snapshot::since`] says.
///
/// [`Snapshot::since`]: crate::looks::Snapshot::since
fn worse(read: &Read<'_>, last: &SeenCase) -> Result<Vec<Reason>, StoreError> {
    let mut reasons = Vec::new();
    for label in &last.standing {
        let since = read.snapshot.since(read.catalogue, &last.case, &label.fault)?;
        let Some(Verdict::Worse(change)) = since.map(|since| since.came.verdict) else { continue };
        let text = format!(
            "{} is getting worse: {} {} to {}, more than chance and measuring error would give \
             ({})",
            lower(&read.fault_name(&label.fault)),
            change.def.name,
            bare(change.before.value, change.def.unit),
            amount(change.after.value, change.def.unit),
            amount(change.detectable, change.def.unit)
        );
        reasons.push(Reason { kind: ReasonKind::Worse, text, loads: None });
    }
    Ok(reasons)
}

/// Faults that load the body, from the last look.
fn load(read: &Read<'_>, last: &SeenCase) -> Vec<Reason> {
    let loading = last.standing.iter().filter_map(|label| {
        let fault = read.catalogue.fault(&label.fault)?;
        if fault.cost.load < LOADS {
            return None;
        }
        let sure = if label.state == LabelState::Suspected { "suspected " } else { "" };
        Some(Reason {
            kind: ReasonKind::Load,
            text: format!("load: {sure}{}", lower(&fault.name)),
            loads: Some(fault.id.clone()),
        })
    });
    loading.collect()
}

/// First letter small, for the middle of a sentence.
fn lower(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}
