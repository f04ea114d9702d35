//! How many got better.

use serde::Serialize;
use statrs::distribution::{Beta, ContinuousCDF};

use super::row::{Row, Vote, effective, votes};

/// Share of players who improved beyond what chance allows, one vote each.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Improvement {
    /// The share, 0 to 1: middle of the posterior, so never exactly none or all.
    pub improved: f64,
    /// Lower end of the 90 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Players counted.
    pub players: usize,
    /// What they count like: Kish's effective sample size of their weights.
    pub effective: f64,
}

/// [`Improvement`] for one fault, seen three ways; each `None` where nobody can be counted.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Improvements {
    /// Everybody who had a plan for the fault and was seen again.
    pub overall: Option<Improvement>,
    /// The same, the nearer the question the more.
    pub near: Option<Improvement>,
    /// Players with the fault who were seen again without a plan for it: what comes by itself.
    pub without_plan: Option<Improvement>,
}

/// Shares of improved players among the rows of `fault`.
///
/// Each player has one vote, split evenly over that player's rows. The interval is the equal-tailed
/// 90 % interval of a beta posterior under Jeffreys' prior (Brown, Cai and DasGupta 2001, doi
/// 10.1214/ss/1009213286) with the effective number of players; the estimate is its mean. Rows
/// that are not sound are left out. Cost: one pass over the rows.
#[must_use]
pub fn improvements(rows: &[Row], fault: usize) -> Improvements {
    let of = |planned: bool, near: bool| {
        let wanted = |row: &&Row| row.fault == fault && planned != row.drills.is_empty();
        let rows: Vec<Row> = rows
            .iter()
            .filter(wanted)
            .map(|row| Row { weight: if near { row.weight } else { 1.0 }, ..row.clone() })
            .collect();
        share(&votes(&rows))
    };
    Improvements { overall: of(true, false), near: of(true, true), without_plan: of(false, false) }
}

fn share(votes: &[Vote]) -> Option<Improvement> {
    let total: f64 = votes.iter().map(|vote| vote.weight).sum();
    if votes.is_empty() || total <= 0.0 {
        return None;
    }
    let (players, effective) = effective(votes);
    let improved: f64 = votes.iter().filter(|vote| vote.improved).map(|vote| vote.weight).sum();
    let yes = effective * (improved / total).min(1.0);
    let (a, b) = (yes + 0.5, effective - yes + 0.5);
    let beta = Beta::new(a, b).ok()?;
    Some(Improvement {
        improved: a / (a + b),
        low: beta.inverse_cdf(0.05),
        high: beta.inverse_cdf(0.95),
        players,
        effective,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(player: u64, drills: &[usize], change: f64, weight: f64) -> Row {
        Row {
            player,
            fault: 0,
            drills: drills.to_vec(),
            start: 0.0,
            change,
            detectable: 5.0,
            weight,
            days: 30.0,
            style: None,
        }
    }

    /// scipy 1.17.1: `scipy.stats.beta.ppf([0.05, 0.95], 4.5, 3.5)`.
    #[test]
    fn one_vote_each_and_jeffreys_interval() {
        let mut rows: Vec<Row> =
            (0..7).map(|p| row(p, &[1], if p < 4 { 9.0 } else { 1.0 }, 1.0)).collect();
        let found = improvements(&rows, 0).overall.unwrap();
        assert_eq!(found.players, 7);
        assert!((found.improved - 4.5 / 8.0).abs() < 1e-12);
        assert!((found.low - SCIPY.0).abs() < 1e-9, "{}", found.low);
        assert!((found.high - SCIPY.1).abs() < 1e-9, "{}", found.high);
        // Nine more rows of one player change nothing.
        rows.extend((0..9).map(|_| row(0, &[1], 9.0, 1.0)));
        let again = improvements(&rows, 0).overall.unwrap();
        assert!((again.improved - found.improved).abs() < 1e-12 && again.players == 7);
        assert_eq!(improvements(&rows, 0).without_plan, None);
        assert_eq!(improvements(&rows, 3), Improvements::default());
    }

    const SCIPY: (f64, f64) = (0.280_818_059_066_921_14, 0.825_393_180_903_130_5);

    #[test]
    fn nearness_moves_the_share_and_shrinks_what_it_counts_like() {
        let rows: Vec<Row> = (0..20)
            .map(|p| row(p, &[1], if p < 10 { 9.0 } else { 1.0 }, if p < 10 { 1.0 } else { 0.1 }))
            .collect();
        let found = improvements(&rows, 0);
        let (overall, near) = (found.overall.unwrap(), found.near.unwrap());
        assert!(near.improved > overall.improved + 0.2);
        assert!((near.effective - 121.0 / 10.1).abs() < 1e-9, "{}", near.effective);
    }
}
