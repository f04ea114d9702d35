//! The table the estimates stand on: plain numbers, no library types.

use std::collections::BTreeMap;

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
    /// Smallest change that is more than chance for that many serves.
    pub detectable: f64,
    /// How near the question the first look lies, above 0 to 1.
    pub weight: f64,
    /// Days between the two looks.
    pub days: f64,
}

impl Row {
    /// Whether the measure moved beyond what chance allows, in the wanted direction.
    #[must_use]
    pub fn improved(&self) -> bool {
        self.change >= self.detectable
    }

    /// Whether every number is finite, the weight in (0, 1] and the detectable change positive.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        [self.start, self.change, self.days].iter().all(|value| value.is_finite())
            && self.detectable.is_finite()
            && self.detectable > 0.0
            && self.weight > 0.0
            && self.weight <= 1.0
    }
}

/// One player's vote on one thing done: the mean of that player's rows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Vote {
    pub(super) player: u64,
    pub(super) drills: Vec<usize>,
    pub(super) start: f64,
    pub(super) change: f64,
    pub(super) detectable: f64,
    /// Nearness, shared out over the things the player did.
    pub(super) weight: f64,
    /// Share of the player's rows that improved.
    pub(super) improved: f64,
}

/// One vote per player: rows of one player for the same drills become their mean, and a player who
/// did several things, each with a plan, shares one vote among them. What came by itself is a vote
/// of its own. Rows that are not sound are left out.
pub(super) fn votes<'a>(rows: impl IntoIterator<Item = &'a Row>) -> Vec<Vote> {
    let mut groups: BTreeMap<(u64, Vec<usize>), Vec<&Row>> = BTreeMap::new();
    for row in rows.into_iter().filter(|row| row.is_sound()) {
        let mut drills = row.drills.clone();
        drills.sort_unstable();
        drills.dedup();
        groups.entry((row.player, drills)).or_default().push(row);
    }
    let mut planned: BTreeMap<u64, f64> = BTreeMap::new();
    for (player, _) in groups.keys().filter(|(_, drills)| !drills.is_empty()) {
        *planned.entry(*player).or_default() += 1.0;
    }
    groups
        .into_iter()
        .map(|((player, drills), rows)| {
            let count = rows.len() as f64;
            let mean = |of: fn(&Row) -> f64| rows.iter().map(|row| of(row)).sum::<f64>() / count;
            let shared = if drills.is_empty() { 1.0 } else { planned[&player] };
            Vote {
                player,
                start: mean(|row| row.start),
                change: mean(|row| row.change),
                detectable: mean(|row| row.detectable),
                weight: mean(|row| row.weight) / shared,
                improved: mean(|row| f64::from(u8::from(row.improved()))),
                drills,
            }
        })
        .collect()
}

/// Kish's effective sample size of weights: (sum w)^2 / sum w^2; 0 of none.
pub(super) fn effective(weights: impl IntoIterator<Item = f64>) -> f64 {
    let (sum, squares) =
        weights.into_iter().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
    if squares > 0.0 { sum * sum / squares } else { 0.0 }
}
