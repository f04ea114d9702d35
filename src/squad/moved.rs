//! Whether a fault gets better in a squad, by its measure: one verdict a player, as `looks` gives it.

use serde::Serialize;
use statrs::distribution::{Binomial, DiscreteCDF};

use super::{LEAST_PLAYERS, TrendVerdict};
use crate::looks::{Over, Verdict};

/// How the measure of a fault moved in the players who had the fault, one vote a player.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct PlayersMoved {
    /// Name of the measure the fault is followed by.
    pub measure: &'static str,
    /// Players in whom it moved for the better by more than chance and measuring give.
    pub better: usize,
    /// For the worse by more than that.
    pub worse: usize,
    /// Players in whom it moved by no more than that.
    pub no_clear_change: usize,
    /// Players looked at again, but in no way that compares.
    pub not_comparable: usize,
    /// Players looked at only once.
    pub seen_once: usize,
}

impl PlayersMoved {
    /// Counts what came of each player; `None` is a player looked at only once.
    #[must_use]
    pub fn count<'a>(
        measure: &'static str,
        players: impl IntoIterator<Item = Option<&'a Over>>,
    ) -> Self {
        let mut moved = Self {
            measure,
            better: 0,
            worse: 0,
            no_clear_change: 0,
            not_comparable: 0,
            seen_once: 0,
        };
        for over in players {
            let place = match over.map(|over| &over.came.verdict) {
                Some(Verdict::Better(_)) => &mut moved.better,
                Some(Verdict::Worse(_)) => &mut moved.worse,
                Some(Verdict::NoClearChange(_)) => &mut moved.no_clear_change,
                Some(Verdict::NotComparable { .. }) => &mut moved.not_comparable,
                Some(Verdict::NotYet { .. }) | None => &mut moved.seen_once,
            };
            *place += 1;
        }
        moved
    }

    /// Players in whom two looks compare.
    #[must_use]
    pub fn compared(&self) -> usize {
        self.better + self.worse + self.no_clear_change
    }

    /// What that means for the squad, at `confidence` (for example 0.9), where `tried` faults are
    /// looked at together.
    ///
    /// The players whose measure clearly moved are held against the toss of a coin ([`sign_test`]);
    /// [`TrendVerdict::Better`] and [`TrendVerdict::Worse`] also stand when the chance is shared
    /// among all faults tried (Bonferroni). Fewer than [`LEAST_PLAYERS`] compared players carry no
    /// verdict.
    #[must_use]
    pub fn verdict(&self, confidence: f64, tried: usize) -> TrendVerdict {
        if self.compared() < LEAST_PLAYERS as usize {
            return TrendVerdict::TooLittle;
        }
        let by_chance = sign_test(self.better, self.worse);
        let (once, for_all) = (1.0 - confidence, (1.0 - confidence) / tried.max(1) as f64);
        match self.better > self.worse {
            _ if by_chance > once => TrendVerdict::NotClear,
            true if by_chance > for_all => TrendVerdict::PerhapsBetter,
            true => TrendVerdict::Better,
            false if by_chance > for_all => TrendVerdict::PerhapsWorse,
            false => TrendVerdict::Worse,
        }
    }

    /// The counts in words: "5 better, 1 worse, 3 with no clear change, 2 seen only once".
    #[must_use]
    pub fn describe(&self) -> String {
        let parts = [
            (self.better, "better"),
            (self.worse, "worse"),
            (self.no_clear_change, "with no clear change"),
            (self.not_comparable, "seen again, but not comparable"),
            (self.seen_once, "seen only once"),
        ];
        let told = parts.iter().filter(|part| part.0 > 0);
        let told: Vec<String> = told.map(|(count, word)| format!("{count} {word}")).collect();
        if told.is_empty() { "nobody looked at".to_owned() } else { told.join(", ") }
    }
}

/// Chance that tosses of a coin part `better` and `worse` at least as far, either way: the exact
/// two-sided sign test (Dixon & Mood 1946, doi 10.1080/01621459.1946.10501898); 1 of none.
///
/// ```
/// use precedent::squad::sign_test;
/// // By hand: 7 or more of 8 heads in (8 + 1) of 256 ways, and as many for tails.
/// assert!((sign_test(7, 1) - 18.0 / 256.0).abs() < 1e-12);
/// assert!((sign_test(0, 5) - 2.0 / 32.0).abs() < 1e-12);
/// assert!((sign_test(3, 3) - 1.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn sign_test(better: usize, worse: usize) -> f64 {
    let fewer = better.min(worse) as u64;
    // One half is a chance, so the distribution exists.
    Binomial::new(0.5, (better + worse) as u64).map_or(1.0, |coin| (2.0 * coin.cdf(fewer)).min(1.0))
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    fn moved(better: usize, worse: usize, no_clear_change: usize) -> PlayersMoved {
        PlayersMoved {
            measure: "knee",
            better,
            worse,
            no_clear_change,
            not_comparable: 2,
            seen_once: 3,
        }
    }

    /// By hand: 5 of 5 by chance in 2 of 32, 10 of 10 in 2 of 1024.
    #[test]
    fn verdicts_follow_the_players_who_moved() {
        let verdict = |better, worse, unclear| moved(better, worse, unclear).verdict(0.9, 10);
        assert_eq!(verdict(4, 0, 0), TrendVerdict::TooLittle);
        assert_eq!(verdict(4, 0, 9), TrendVerdict::NotClear);
        assert_eq!(verdict(5, 0, 0), TrendVerdict::PerhapsBetter);
        assert_eq!(verdict(0, 5, 9), TrendVerdict::PerhapsWorse);
        assert_eq!(verdict(10, 0, 0), TrendVerdict::Better);
        assert_eq!(verdict(0, 10, 0), TrendVerdict::Worse);
        assert_eq!(verdict(6, 5, 0), TrendVerdict::NotClear);
        assert_eq!(moved(5, 0, 0).verdict(0.9, 1), TrendVerdict::Better);
        assert_eq!(
            moved(5, 0, 4).describe(),
            "5 better, 4 with no clear change, 2 seen again, but not comparable, 3 seen only once"
        );
    }

    /// Planted noise, invented squads: each player's measure moves by chance, beyond the detectable
    /// change once in twenty; a squad is called better or worse less often than one in ten.
    #[test]
    fn planted_noise_is_seldom_called_a_change() {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(5);
        let called = (0..4000).filter(|_| {
            let mut squad = moved(0, 0, 0);
            for _ in 0..60 {
                match rng.gen_range(0..40) {
                    0 => squad.better += 1,
                    1 => squad.worse += 1,
                    _ => squad.no_clear_change += 1,
                }
            }
            squad.verdict(0.9, 1) != TrendVerdict::NotClear
        });
        let rate = called.count() as f64 / 4000.0;
        assert!(rate < 0.1, "{rate}");
    }
}
