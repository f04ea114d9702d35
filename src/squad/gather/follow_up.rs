//! Plans: which were followed up, which wait, which were forgotten.

use std::collections::BTreeMap;

use jiff::ToSpan;

use super::super::facts::{FollowUpFacts, Overdue};
use super::super::wilson;
use super::{CONFIDENCE, Read};
use crate::library::StoreError;
use crate::looks::{SEEN_AGAIN_DAYS, days_between};

/// Days after its start on which a plan without a review date is due: about one review a month,
/// and two weeks of grace (chosen by us).
const DUE_AFTER_DAYS: i64 = 45;

pub(super) fn follow_up(read: &Read<'_>) -> Result<FollowUpFacts, StoreError> {
    let mut facts = FollowUpFacts::default();
    let mut coaches: BTreeMap<String, (u32, u32)> = BTreeMap::new();
    let today = read.query.today;
    for seen in &read.seen {
        // A plan that was withdrawn before anybody followed it waits for nothing.
        for plan in seen.case.plans.iter().filter(|plan| seen.case.was_tried(plan)) {
            facts.plans += 1;
            let due =
                plan.review_on.unwrap_or_else(|| plan.start.saturating_add(DUE_AFTER_DAYS.days()));
            let answered = seen.case.follow_ups.iter().any(|one| one.plan == plan.id);
            // Too soon is not seen again; too late to credit the plan, somebody still looked.
            let later = read.snapshot.cases(seen.case.player)?.iter().any(|other| {
                let days = days_between(plan.start, other.date);
                other.date > seen.case.date && days >= *SEEN_AGAIN_DAYS.start()
            });
            if answered || due < today {
                let coach = plan.coach.clone().or_else(|| read.players[seen.player].coach.clone());
                let count = coaches.entry(coach.unwrap_or_else(|| "not known".to_owned()));
                let (with, of) = count.or_default();
                *of += 1;
                *with += u32::from(answered);
            }
            if answered {
                facts.followed += 1;
            } else if later {
                facts.seen_again += 1;
            } else if plan.ended.as_ref().is_some_and(|end| end.day <= today) {
                facts.ended += 1;
            } else if due >= today {
                facts.running += 1;
            } else {
                facts.overdue.push(Overdue {
                    player: read.players[seen.player].code.clone(),
                    plan: plan.id.to_string(),
                    fault: read.fault_name(&plan.limiting_fault),
                    coach: plan.coach.clone(),
                    due,
                    days: days_between(due, today),
                });
            }
        }
    }
    facts.overdue.sort_by(|a, b| b.days.cmp(&a.days).then(a.player.cmp(&b.player)));
    facts.by_coach = coaches
        .into_iter()
        .map(|(coach, (with, of))| (coach, wilson(with, of, CONFIDENCE)))
        .collect();
    Ok(facts)
}
