//! What is granted beforehand.

use statrs::distribution::{Continuous, Normal};

// The priors, in detectable changes (of the order of what a coach can just see) for each
// detectable change of start. Weak: what they say is what everybody would grant beforehand.

/// What comes by itself falls off with the start at a rate between 0 (the first look was the
/// truth) and -1 (it was all chance): prior mean and standard deviation.
pub(super) const SLOPE: (f64, f64) = (-0.4, 0.3);
/// What a plan adds may fall off with the start as well: there is less to gain.
pub(super) const EXTRA_SLOPE: (f64, f64) = (0.0, 0.25);
/// Scale of the half-normal prior on the spread between drills (Roever et al. 2021, doi
/// 10.1002/jrsm.1475, advise this family).
const DRILL_SPREAD: f64 = 0.5;
/// The spreads between drills that are weighed.
const SPREADS: [f64; 8] = [0.03, 0.15, 0.3, 0.45, 0.65, 0.9, 1.3, 2.0];
/// Chance beforehand that what a drill adds depends on how a player serves: as likely as not.
const STYLE_MATTERS: f64 = 0.5;
/// Scale of the half-normal prior on how much, if it does, drills differ in that, for each spread
/// between players: as much as drills differ among themselves.
const DRILL_TREND: f64 = 0.5;
/// The trends that are weighed; the first stands for none.
const TRENDS: [f64; 4] = [0.01, 0.25, 0.5, 0.9];
/// How far those never seen again may have changed otherwise than those seen who started alike: a
/// standard deviation, either way. Nothing in the table says how far (Rubin 1977, doi
/// 10.1080/01621459.1977.10480610, from memory, sets such a prior).
pub(super) const UNSEEN: f64 = 0.3;
/// Residual variance before data, and how many rows' worth that is believed.
pub(super) const VARIANCE: (f64, f64) = (0.5, 4.0);
/// Correlation between looks at one player before data, and how many pairs' worth.
pub(super) const CORRELATION: (f64, f64) = (0.4, 10.0);
/// Other faults needed before they say something about this one.
pub(super) const OTHER_FAULTS: usize = 5;
/// Faults are never taken to differ less than this in what plans add.
pub(super) const FAULT_SPREAD: f64 = 0.2;

/// How much drills of one fault differ, as standard deviations.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spread {
    /// In what they add for the nearest players.
    pub(super) between: f64,
    /// In how that changes over one width of the kernel.
    pub(super) trend: f64,
}

/// Where only one spread is needed.
pub(super) const TYPICAL: Spread = Spread { between: DRILL_SPREAD, trend: DRILL_TREND };

pub(super) const WEIGHED: usize = SPREADS.len() * TRENDS.len();

/// The spreads that are weighed, with the logarithms of their priors.
pub(super) fn weighed() -> impl Iterator<Item = (Spread, f64)> {
    let between = half_normal(&SPREADS, DRILL_SPREAD);
    let trend = half_normal(&TRENDS[1..], DRILL_TREND);
    (0..WEIGHED).map(move |place| {
        let (first, second) = (place / TRENDS.len(), place % TRENDS.len());
        let spread = Spread { between: SPREADS[first], trend: TRENDS[second] };
        let matters = match second.checked_sub(1) {
            None => 1.0 - STYLE_MATTERS,
            Some(some) => STYLE_MATTERS * trend[some],
        };
        (spread, (between[first] * matters).ln())
    })
}

/// The half-normal prior of each of a grid, by the width of grid it stands for; together 1.
fn half_normal(grid: &[f64], scale: f64) -> Vec<f64> {
    let last = grid.len() - 1;
    let between = |place: usize| f64::midpoint(grid[place], grid[place + 1]);
    let masses = (0..=last).map(|place| {
        let below = if place == 0 { 0.0 } else { between(place - 1) };
        let above = if place == last { 2.0 * grid[place] - below } else { between(place) };
        Normal::standard().pdf(grid[place] / scale) * (above - below)
    });
    let masses: Vec<f64> = masses.collect();
    let total: f64 = masses.iter().sum();
    masses.into_iter().map(|mass| mass / total).collect()
}
