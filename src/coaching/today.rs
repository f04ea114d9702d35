//! What a coach's day begins with: who was seen when, and whose review is due.

use std::collections::HashMap;

use jiff::ToSpan;
use jiff::civil::Date;

use crate::library::{CaseDay, Library, OpenPlan, Player, PlayerId, StoreError};

/// A look this many days before the day of the review, or a follow-up then, counts as the review.
/// Our estimate: players come when they come.
const EARLY_DAYS: i64 = 7;

/// A player as the day finds them.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerToday {
    /// The player.
    pub player: Player,
    /// The last case.
    pub last: Option<CaseDay>,
    /// How many cases there are.
    pub cases: usize,
    /// Plans in force, or still to begin, by start.
    pub plans: Vec<OpenPlan>,
}

/// All players, and which plans wait for their review.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Today {
    /// Everybody, by code.
    pub players: Vec<PlayerToday>,
    /// Plans in force whose review is due, and the place of the player in `players`; the longest
    /// waiting first. Due: the day of the review has come, and since a week before it there was
    /// neither a follow-up of the plan nor a case of the player.
    pub due: Vec<(usize, OpenPlan)>,
}

impl Today {
    /// As it stands on a day.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn on(day: Date, library: &Library) -> Result<Self, StoreError> {
        let mut players: Vec<PlayerToday> = library
            .players()?
            .into_iter()
            .map(|player| PlayerToday { player, last: None, cases: 0, plans: Vec::new() })
            .collect();
        let place: HashMap<PlayerId, usize> =
            players.iter().enumerate().map(|(at, one)| (one.player.id, at)).collect();
        // By day, so that the last one stays.
        for case in library.case_days()? {
            if let Some(&at) = place.get(&case.player) {
                players[at].last = Some(case);
                players[at].cases += 1;
            }
        }
        let mut due = Vec::new();
        for plan in library.open_plans(day)? {
            let Some(&at) = place.get(&plan.player) else { continue };
            if is_due(&plan, players[at].last, day) {
                due.push((at, plan.clone()));
            }
            players[at].plans.push(plan);
        }
        due.sort_by_key(|(_, plan)| (plan.review_on, plan.id));
        Ok(Self { players, due })
    }
}

fn is_due(plan: &OpenPlan, last: Option<CaseDay>, day: Date) -> bool {
    let Some(review_on) = plan.review_on.filter(|review| *review <= day) else { return false };
    let from = review_on.saturating_sub(EARLY_DAYS.days());
    // The plan's own case is no review of it.
    let seen = last.filter(|last| last.id != plan.case).map(|last| last.date);
    [plan.followed_up, seen].into_iter().flatten().all(|seen| seen < from)
}
