//! The table the estimates stand on: plain numbers, no library types.

use std::collections::BTreeMap;

use crate::looks::beyond;

/// Ways of serving that are told apart.
pub const STYLES: usize = 2;

/// What happened to one player between a first and a later look at one fault.
///
/// `start`, `change` and `detectable` are in the unit of the fault's measure; `start` and `change`
/// are turned so that larger is better.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The player, numbered.
    pub player: u64,
    /// The fault, numbered.
    pub fault: usize,
    /// What the plan asked for, numbered (drills, or the plan as a whole); empty: no plan for
    /// this fault was in force, so the row shows what comes by itself.
    pub drills: Vec<usize>,
    /// The measure at the first look.
    pub start: f64,
    /// Later minus first look, positive = better.
    pub change: f64,
    /// Smallest change that is more than chance and measuring give for those serves.
    pub detectable: f64,
    /// How near the question the first look lies, above 0 to 1.
    pub weight: f64,
    /// Days between the two looks.
    pub days: f64,
    /// How the first look lies from the question in the ways in which serves differ most, in spreads
    /// between players; `None`: unknown.
    pub style: Option<[f64; STYLES]>,
}

/// A look at one fault of one player that nobody can say the outcome of: never looked at again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unseen {
    /// The player, numbered as in [`Row`].
    pub player: u64,
    /// The fault.
    pub fault: usize,
    /// What the plan asked for, ascending; empty: no plan for this fault.
    pub drills: Vec<usize>,
}

impl Row {
    /// Whether the measure moved beyond what chance and measuring give, in the wanted direction.
    #[must_use]
    pub fn improved(&self) -> bool {
        self.change > 0.0 && beyond(self.change, self.detectable)
    }

    /// Whether every number is finite, the weight in (0, 1] and the detectable change positive.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        [self.start, self.change, self.days]
            .iter()
            .chain(self.style.iter().flatten())
            .all(|value| value.is_finite())
            && self.detectable.is_finite()
            && self.detectable > 0.0
            && self.weight > 0.0
            && self.weight <= 1.0
    }
}

/// One row as part of a player's vote.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Vote {
    pub(super) player: u64,
    /// Ascending, each once.
    pub(super) drills: Vec<usize>,
    pub(super) start: f64,
    pub(super) change: f64,
    pub(super) detectable: f64,
    /// Nearness, shared out over the player's rows.
    pub(super) weight: f64,
    pub(super) style: Option<[f64; STYLES]>,
    pub(super) improved: bool,
}

/// One vote per player: the rows of one player with a plan share one vote evenly, and so do those
/// without one. Rows that are not sound are left out.
///
/// Rows are not averaged: a mean of starts goes back to the ordinary less than a single start does,
/// so averaged rows would hide what comes by itself.
pub(super) fn votes<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Vec<Vote> {
    let sound: Vec<&Row> = rows.into_iter().filter(|row| row.is_sound()).collect();
    let mut counts: BTreeMap<(u64, bool), f64> = BTreeMap::new();
    for row in &sound {
        *counts.entry((row.player, row.drills.is_empty())).or_default() += 1.0;
    }
    sound
        .into_iter()
        .map(|row| {
            let mut drills = row.drills.clone();
            drills.sort_unstable();
            drills.dedup();
            Vote {
                player: row.player,
                start: row.start,
                change: row.change,
                detectable: row.detectable,
                weight: row.weight / counts[&(row.player, drills.is_empty())],
                style: row.style,
                improved: row.improved(),
                drills,
            }
        })
        .collect()
}

/// Players behind these votes, and what they count like: Kish's effective sample size of the
/// players' weights, (sum w)^2 / sum w^2; 0 of none.
pub(super) fn effective<'a>(votes: impl IntoIterator<Item = &'a Vote>) -> (usize, f64) {
    let mut players: BTreeMap<u64, f64> = BTreeMap::new();
    for vote in votes {
        *players.entry(vote.player).or_default() += vote.weight;
    }
    let (sum, squares) =
        players.values().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
    (players.len(), if squares > 0.0 { sum * sum / squares } else { 0.0 })
}
