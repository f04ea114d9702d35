//! From votes to estimates: drill within fault within library.

use std::collections::BTreeMap;

use ndarray::{Array1, Array2};
use serde::Serialize;
use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

use super::fit::{Design, Fit, Noise, Prior, fit};
use super::row::{Row, STYLES, Unseen, Vote, effective, votes};

/// Coverage of every interval.
pub(super) const INTERVAL: f64 = 0.9;
/// Something is claimed only from this posterior chance on that it is above nothing.
pub(super) const CLAIM: f64 = 0.975;
/// Players with one drill below which there are only stories.
pub(super) const FEW_PLAYERS: usize = 3;
/// The same for the effective number.
const FEW_EFFECTIVE: f64 = 2.0;
/// Players without a plan below which nobody can say what comes by itself.
const COMPARED: usize = 3;
/// Players with a plan below which no fault is estimated.
const ESTIMATED: usize = 3;

// The priors, in detectable changes (of the order of what a coach can just see) for each
// detectable change of start. Weak: what they say is what everybody would grant beforehand.

/// What comes by itself falls off with the start at a rate between 0 (the first look was the
/// truth) and -1 (it was all chance): prior mean and standard deviation.
const SLOPE: (f64, f64) = (-0.4, 0.3);
/// What a plan adds may fall off with the start as well: there is less to gain.
const EXTRA_SLOPE: (f64, f64) = (0.0, 0.25);
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
const UNSEEN: f64 = 0.3;
/// Residual variance before data, and how many rows' worth that is believed.
const VARIANCE: (f64, f64) = (0.5, 4.0);
/// Correlation between looks at one player before data, and how many pairs' worth.
const CORRELATION: (f64, f64) = (0.4, 10.0);
/// Other faults needed before they say something about this one.
const OTHER_FAULTS: usize = 5;
/// Faults are never taken to differ less than this in what plans add.
const FAULT_SPREAD: f64 = 0.2;

/// A number with its 90 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Estimate {
    /// The estimate.
    pub mean: f64,
    /// Lower end of the 90 % interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Posterior chance that it is above 0.
    #[serde(skip)]
    pub above_zero: f64,
}

/// What may be said of a drill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Claim {
    /// Fewer than 3 players, or together worth fewer than 2: stories.
    TooFew,
    /// Too few players were seen without a plan to say what comes by itself.
    NothingToCompare,
    /// The players changed no more than might have come by itself.
    NotBeyondChance,
    /// The players changed by more than comes by itself, beyond chance.
    BeyondChance,
}

/// What happened to players who did one thing (a drill, or a whole plan).
#[derive(Debug, Clone, PartialEq)]
pub struct DrillEstimate {
    /// Its number(s), as in [`Row::drills`].
    pub drills: Vec<usize>,
    /// Players who did it.
    pub players: usize,
    /// What they count like for this question.
    pub effective: f64,
    /// Change to be expected of a player who starts where the question starts.
    pub change: Estimate,
    /// How much of that is more than comes by itself; `None` where nobody can say.
    pub gain: Option<Estimate>,
    /// What may be said.
    pub claim: Claim,
}

/// What worked for one fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimates {
    /// The start the estimates are for; inside the range of those who had a plan.
    pub start: f64,
    /// Drills, the largest expected change first, ties to the smaller number.
    pub drills: Vec<DrillEstimate>,
    /// Whole plans as they were prescribed, in the same way.
    pub plans: Vec<DrillEstimate>,
    /// Change to be expected without a plan from that start.
    pub by_itself: Option<Estimate>,
    /// Posterior chance that the first drill is better than the second.
    pub first_beats_second: Option<f64>,
    /// Players who had a plan.
    pub players: usize,
    /// What they count like for this question.
    pub effective: f64,
    /// Players with the fault and without a plan for it.
    pub compared: usize,
    /// Other faults of the library that helped to say what plans add.
    pub other_faults: usize,
}

/// Estimates for `fault` and a player who starts at `start` (`None`: where those with a plan
/// started), from rows of all faults; `None` if fewer than 3 players had a plan and were seen
/// again.
///
/// `unseen`: looks of any fault that nobody knows the outcome of; the larger their share, the wider
/// the intervals. Method: see [the module](super). Rows that are not sound are left out. Cost: some 40
/// systems of 10 to 20 unknowns for every fault in the rows.
#[must_use]
pub fn estimates(
    rows: &[Row],
    unseen: &[Unseen],
    fault: usize,
    start: Option<f64>,
) -> Option<Estimates> {
    let mut by_fault: BTreeMap<usize, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        by_fault.entry(row.fault).or_default().push(row);
    }
    let own = Sample::of(by_fault.remove(&fault)?, start)?;
    // What is asked of other faults is asked of all players alike.
    let alike: Vec<Vec<Row>> = by_fault
        .into_values()
        .map(|rows| rows.into_iter().map(|row| Row { weight: 1.0, ..row.clone() }).collect())
        .collect();
    let others: Vec<Sample> =
        alike.iter().filter_map(|rows| Sample::of(rows.iter().collect(), None)).collect();
    let before = Before::of(&others);
    let (fits, freedom) = own.fits(&before)?;
    let posterior = Posterior::of(fits, freedom, &before);
    let unseen: Vec<&Unseen> = unseen.iter().filter(|look| look.fault == fault).collect();
    Some(own.told(&posterior, &unseen, before.faults))
}

/// The votes on one fault, in detectable changes.
struct Sample {
    votes: Vec<Vote>,
    /// Detectable change, the unit.
    unit: f64,
    start: f64,
    drills: Vec<usize>,
    design: Design,
    middle_style: [f64; STYLES],
    /// Whether there are enough votes without a plan; without, those few are left out.
    compared: bool,
    effective: [f64; 2],
}

/// What the other faults of the library say beforehand.
struct Before {
    /// Mean and variance of what plans add to a fault, if known.
    gain: Option<(f64, f64)>,
    /// Log-likelihood of each of [`weighed`].
    spreads: [f64; WEIGHED],
    noise: Noise,
    faults: usize,
}

/// A mixture over the spread between drills.
struct Posterior {
    parts: Vec<(f64, Fit)>,
    freedom: f64,
}

const PLAN: usize = 2;

impl Sample {
    fn of(rows: Vec<&Row>, start: Option<f64>) -> Option<Self> {
        let mut votes = votes(rows);
        let planned = |vote: &Vote| usize::from(!vote.drills.is_empty());
        if effective(votes.iter().filter(|vote| planned(vote) == 1)).0 < ESTIMATED {
            return None;
        }
        let compared = effective(votes.iter().filter(|vote| planned(vote) == 0)).0 >= COMPARED;
        if !compared {
            votes.retain(|vote| planned(vote) == 1);
        }
        let count = votes.len() as f64;
        let unit = votes.iter().map(|vote| vote.detectable).sum::<f64>() / count;
        let with = || votes.iter().filter(|vote| planned(vote) == 1);
        let total: f64 = with().map(|vote| vote.weight).sum();
        let middle = with().map(|vote| vote.weight * vote.start).sum::<f64>() / total;
        let low = with().map(|vote| vote.start).fold(f64::INFINITY, f64::min);
        let high = with().map(|vote| vote.start).fold(f64::NEG_INFINITY, f64::max);
        let start = start.filter(|start| start.is_finite()).unwrap_or(middle).clamp(low, high);
        let mut drills: Vec<usize> = votes.iter().flat_map(|vote| &vote.drills).copied().collect();
        drills.sort_unstable();
        drills.dedup();

        let group: Vec<usize> = votes.iter().map(planned).collect();
        let of_group = |wanted: usize| votes.iter().filter(move |vote| planned(vote) == wanted);
        let effective = [effective(of_group(0)).1, effective(of_group(1)).1];
        let sum = |group: usize| of_group(group).map(|vote| vote.weight).sum::<f64>();
        let sums = [sum(0), sum(1)];
        let mut clusters: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
        for (row, vote) in votes.iter().enumerate() {
            clusters.entry(vote.player).or_default().push(row);
        }
        let middle_style = middle_of(&votes);
        let fixed = if compared { 4 } else { 2 };
        let mut columns = Array2::zeros((votes.len(), fixed + (1 + STYLES) * drills.len()));
        for (row, vote) in votes.iter().enumerate() {
            let from = (vote.start - start) / unit;
            columns[[row, 0]] = 1.0;
            columns[[row, 1]] = from;
            if compared && group[row] == 1 {
                columns[[row, PLAN]] = 1.0;
                columns[[row, PLAN + 1]] = from;
            }
            let share = 1.0 / vote.drills.len().max(1) as f64;
            for drill in &vote.drills {
                if let Ok(place) = drills.binary_search(drill) {
                    columns[[row, fixed + place]] = share;
                    for (way, style) in vote.style.unwrap_or(middle_style).into_iter().enumerate() {
                        columns[[row, fixed + (1 + way) * drills.len() + place]] =
                            share * (style - middle_style[way]);
                    }
                }
            }
        }
        let design = Design {
            columns,
            y: votes.iter().map(|vote| vote.change / unit).collect(),
            weights: votes
                .iter()
                .zip(&group)
                .map(|(vote, &group)| vote.weight * effective[group] / sums[group])
                .collect(),
            group,
            clusters: clusters.into_values().filter(|rows| rows.len() > 1).collect(),
        };
        Some(Self { votes, unit, start, drills, design, middle_style, compared, effective })
    }

    fn fixed(&self) -> usize {
        if self.compared { 4 } else { 2 }
    }

    /// Number of coefficients.
    fn size(&self) -> usize {
        self.fixed() + (1 + STYLES) * self.drills.len()
    }

    fn prior(&self, spread: Spread, gain: Option<(f64, f64)>) -> Prior {
        let size = self.size();
        let (mut mean, mut precision) = (Array1::zeros(size), Array1::zeros(size));
        let mut set = |place: usize, middle: f64, deviation: f64| {
            mean[place] = middle;
            precision[place] = deviation.powi(-2);
        };
        set(1, SLOPE.0, SLOPE.1);
        if self.compared {
            if let Some((middle, variance)) = gain {
                set(PLAN, middle, variance.sqrt());
            }
            set(PLAN + 1, EXTRA_SLOPE.0, EXTRA_SLOPE.1);
        }
        for place in 0..self.drills.len() {
            set(self.fixed() + place, 0.0, spread.between);
        }
        for place in self.fixed() + self.drills.len()..size {
            set(place, 0.0, spread.trend);
        }
        Prior { mean, precision }
    }

    /// How noisy the rows are, drawn towards `before`, and the freedom of those with a plan.
    fn noise(&self, before: &Before) -> Option<(Noise, f64)> {
        let mut noise = before.noise;
        let mut freedom = VARIANCE.1;
        for _ in 0..3 {
            let fitted = fit(&self.design, noise, &self.prior(TYPICAL, before.gain))?;
            let mut sums = Sums::default();
            sums.add(&fitted, self.effective);
            noise = sums.drawn(before.noise);
            freedom = VARIANCE.1 + sums.left[1];
        }
        Some((noise, freedom))
    }

    fn fits(&self, before: &Before) -> Option<(Vec<Fit>, f64)> {
        let (noise, freedom) = self.noise(before)?;
        let fits: Option<Vec<Fit>> = weighed()
            .map(|(spread, _)| fit(&self.design, noise, &self.prior(spread, before.gain)))
            .collect();
        Some((fits?, freedom))
    }

    /// The combination of coefficients that is the change of those who did these drills.
    fn contrast(&self, drills: &[usize], by_itself: bool) -> Array1<f64> {
        let mut contrast = Array1::zeros(self.size());
        contrast[0] = f64::from(u8::from(by_itself));
        if self.compared && !drills.is_empty() {
            contrast[PLAN] = 1.0;
        }
        for drill in drills {
            if let Ok(place) = self.drills.binary_search(drill) {
                contrast[self.fixed() + place] = 1.0 / drills.len() as f64;
                for (way, middle) in self.middle_style.iter().enumerate() {
                    contrast[self.fixed() + (1 + way) * self.drills.len() + place] =
                        -middle / drills.len() as f64;
                }
            }
        }
        contrast
    }

    fn told(&self, posterior: &Posterior, unseen: &[&Unseen], other_faults: usize) -> Estimates {
        let estimate = |contrast: &Array1<f64>, unseen: f64| {
            posterior.estimate(contrast, UNSEEN.powi(2) * unseen, self.unit)
        };
        // Squared shares never seen again: of those without a plan, of those who did something.
        let gone = |did: &dyn Fn(&[usize]) -> bool| {
            let votes = self.votes.iter().filter(|vote| did(&vote.drills));
            share_unseen(
                votes.map(|vote| vote.player),
                unseen.iter().filter(|look| did(&look.drills)).map(|look| look.player),
            )
            .powi(2)
        };
        let itself_gone = gone(&|drills| drills.is_empty());
        let one = |drills: Vec<usize>, votes: &[&Vote], gone: f64| {
            let (players, effective) = effective(votes.iter().copied());
            let gain =
                self.compared.then(|| estimate(&self.contrast(&drills, false), gone + itself_gone));
            let claim = match gain {
                _ if players < FEW_PLAYERS || effective < FEW_EFFECTIVE => Claim::TooFew,
                None => Claim::NothingToCompare,
                Some(gain) if gain.above_zero >= CLAIM => Claim::BeyondChance,
                Some(_) => Claim::NotBeyondChance,
            };
            let change = estimate(&self.contrast(&drills, true), gone);
            DrillEstimate { drills, players, effective, change, gain, claim }
        };
        let ranked = |mut all: Vec<DrillEstimate>| {
            all.sort_by(|a, b| {
                b.change.mean.total_cmp(&a.change.mean).then(a.drills.cmp(&b.drills))
            });
            all
        };
        let with: Vec<&Vote> = self.votes.iter().filter(|vote| !vote.drills.is_empty()).collect();
        let drills = ranked(
            self.drills
                .iter()
                .map(|drill| {
                    let did: Vec<&Vote> =
                        with.iter().copied().filter(|vote| vote.drills.contains(drill)).collect();
                    one(vec![*drill], &did, gone(&|drills| drills.contains(drill)))
                })
                .collect(),
        );
        let mut plans: BTreeMap<&[usize], Vec<&Vote>> = BTreeMap::new();
        for vote in &with {
            plans.entry(&vote.drills).or_default().push(vote);
        }
        let plans = ranked(
            plans
                .into_iter()
                .map(|(drills, did)| one(drills.to_vec(), &did, gone(&|own| own == drills)))
                .collect(),
        );
        let first_beats_second = match drills.as_slice() {
            [first, second, ..] => {
                let difference =
                    self.contrast(&first.drills, false) - self.contrast(&second.drills, false);
                let gone_from = |one: &DrillEstimate| gone(&|own| own.contains(&one.drills[0]));
                Some(estimate(&difference, gone_from(first) + gone_from(second)).above_zero)
            }
            _ => None,
        };
        Estimates {
            start: self.start,
            drills,
            plans,
            by_itself: self.compared.then(|| estimate(&self.contrast(&[], true), itself_gone)),
            first_beats_second,
            players: effective(with.iter().copied()).0,
            effective: self.effective[1],
            compared: effective(self.votes.iter().filter(|vote| vote.drills.is_empty())).0,
            other_faults,
        }
    }
}

/// What residuals say about noise.
#[derive(Default)]
struct Sums {
    residual: [f64; 2],
    /// Effective rows not used up by coefficients.
    left: [f64; 2],
    paired: (f64, f64),
}

impl Sums {
    fn add(&mut self, fitted: &Fit, effective: [f64; 2]) {
        for (group, rows) in effective.into_iter().enumerate() {
            self.residual[group] += fitted.residual[group];
            self.left[group] += (rows - fitted.used[group]).max(0.0);
        }
        self.paired = (self.paired.0 + fitted.paired.0, self.paired.1 + fitted.paired.1);
    }

    /// Moderated: what was known before counts as so many rows (after Smyth 2004, doi
    /// 10.2202/1544-6115.1027, with the number fixed).
    fn drawn(&self, before: Noise) -> Noise {
        let variance = |group: usize| {
            (VARIANCE.1 * before.variances[group] + self.residual[group])
                / (VARIANCE.1 + self.left[group])
        };
        let pairs = CORRELATION.1 * before.correlation + self.paired.0;
        Noise {
            variances: [variance(0), variance(1)],
            correlation: (pairs / (CORRELATION.1 + self.paired.1)).clamp(0.0, 0.95),
        }
    }
}

/// How much drills of one fault differ, as standard deviations.
#[derive(Debug, Clone, Copy)]
struct Spread {
    /// In what they add for the nearest players.
    between: f64,
    /// In how that changes over one width of the kernel.
    trend: f64,
}

/// Where only one spread is needed.
const TYPICAL: Spread = Spread { between: DRILL_SPREAD, trend: DRILL_TREND };

const WEIGHED: usize = SPREADS.len() * TRENDS.len();

/// The spreads that are weighed, with the logarithms of their priors.
fn weighed() -> impl Iterator<Item = (Spread, f64)> {
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

/// The middle of the votes in style, from the question; there where nobody knows any.
fn middle_of(votes: &[Vote]) -> [f64; STYLES] {
    let known: Vec<&[f64; STYLES]> = votes.iter().filter_map(|vote| vote.style.as_ref()).collect();
    let count = known.len().max(1) as f64;
    std::array::from_fn(|way| known.iter().map(|style| style[way]).sum::<f64>() / count)
}

/// Share of looks never seen again, by the players of those seen and unseen; one vote per player.
fn share_unseen(seen: impl Iterator<Item = u64>, unseen: impl Iterator<Item = u64>) -> f64 {
    let mut looks: BTreeMap<u64, [f64; 2]> = BTreeMap::new();
    for player in seen {
        looks.entry(player).or_default()[0] += 1.0;
    }
    for player in unseen {
        looks.entry(player).or_default()[1] += 1.0;
    }
    let shares = looks.values().map(|[seen, unseen]| unseen / (seen + unseen));
    shares.sum::<f64>() / looks.len().max(1) as f64
}

impl Before {
    fn nothing() -> Self {
        Self {
            gain: None,
            spreads: [0.0; WEIGHED],
            noise: Noise { variances: [VARIANCE.0; 2], correlation: CORRELATION.0 },
            faults: 0,
        }
    }

    /// What plans add to a new fault, by the faults that show it: a random-effects mean and its
    /// spread (DerSimonian and Laird 1986, doi 10.1016/0197-2456(86)90046-2), widened for the few
    /// faults it rests on as a prediction with Student's t (Higgins, Thompson and Spiegelhalter
    /// 2009, doi 10.1111/j.1467-985X.2008.00552.x). The likelihoods of the spread between drills
    /// multiply; residual variances are pooled.
    fn of(others: &[Sample]) -> Self {
        let mut before = Self::nothing();
        let mut sums = Sums::default();
        for sample in others {
            if let Some(fitted) = fit(&sample.design, before.noise, &sample.prior(TYPICAL, None)) {
                sums.add(&fitted, sample.effective);
            }
        }
        before.noise = sums.drawn(before.noise);
        let mut gains: Vec<(f64, f64)> = Vec::new();
        let mut spreads = [0.0; WEIGHED];
        for sample in others {
            let Some((fits, freedom)) = sample.fits(&before) else { continue };
            for (sum, fit) in spreads.iter_mut().zip(&fits) {
                *sum += fit.log_likelihood;
            }
            if sample.compared {
                let posterior = Posterior::of(fits, freedom, &before);
                let mut contrast = Array1::zeros(sample.size());
                contrast[PLAN] = 1.0;
                let (mean, variance) = posterior.moments(&contrast);
                gains.push((mean, variance));
            }
        }
        before.spreads = spreads;
        before.faults = gains.len();
        if gains.len() >= OTHER_FAULTS {
            before.gain = Some(predicted(&gains));
        }
        before
    }
}

/// Mean and variance of one more draw from what these (estimate, variance) were drawn from.
fn predicted(gains: &[(f64, f64)]) -> (f64, f64) {
    let count = gains.len() as f64;
    let pooled = |spread: f64| {
        let weight = |gain: &(f64, f64)| 1.0 / (gain.1 + spread);
        let total: f64 = gains.iter().map(weight).sum();
        let mean = gains.iter().map(|gain| weight(gain) * gain.0).sum::<f64>() / total;
        (mean, total)
    };
    let (mean, total) = pooled(0.0);
    let squares: f64 = gains.iter().map(|gain| 1.0 / (gain.1 * gain.1)).sum();
    let off: f64 = gains.iter().map(|gain| (gain.0 - mean).powi(2) / gain.1).sum();
    let between = ((off - (count - 1.0)) / (total - squares / total)).max(FAULT_SPREAD.powi(2));
    let (mean, total) = pooled(between);
    // Variance of Student's t with count - 2 degrees of freedom.
    (mean, (between + 1.0 / total) * (count - 2.0) / (count - 4.0))
}

impl Posterior {
    /// The mixture of these fits, one for each of [`weighed`].
    fn of(fits: Vec<Fit>, freedom: f64, before: &Before) -> Self {
        let log: Vec<f64> = fits
            .iter()
            .zip(before.spreads)
            .zip(weighed())
            .map(|((fit, others), (_, prior))| fit.log_likelihood + others + prior)
            .collect();
        let most = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = log.iter().map(|log| (log - most).exp()).collect();
        let total: f64 = weights.iter().sum();
        let parts = weights.iter().map(|weight| weight / total).zip(fits).collect();
        Self { parts, freedom }
    }

    /// Mean and variance over the mixture (law of total variance).
    fn moments(&self, contrast: &Array1<f64>) -> (f64, f64) {
        let each =
            |fit: &Fit| (contrast.dot(&fit.mean), contrast.dot(&fit.covariance.dot(contrast)));
        let mean: f64 = self.parts.iter().map(|(weight, fit)| weight * each(fit).0).sum();
        let variance = self
            .parts
            .iter()
            .map(|(weight, fit)| {
                let (middle, within) = each(fit);
                weight * (within + (middle - mean).powi(2))
            })
            .sum();
        (mean, variance)
    }

    /// `unseen` is the variance that is added for those never seen again.
    fn estimate(&self, contrast: &Array1<f64>, unseen: f64, unit: f64) -> Estimate {
        let (mean, variance) = self.moments(contrast);
        let deviation = (variance + unseen).max(f64::MIN_POSITIVE).sqrt();
        // Degrees of freedom are 4 at least, so the distribution exists.
        let (half, above_zero) =
            StudentsT::new(0.0, 1.0, self.freedom).map_or((f64::INFINITY, 0.5), |t| {
                let half = t.inverse_cdf(f64::midpoint(1.0, INTERVAL)) * deviation;
                (half, t.cdf(mean / deviation))
            });
        Estimate {
            mean: mean * unit,
            low: (mean - half) * unit,
            high: (mean + half) * unit,
            above_zero,
        }
    }
}
