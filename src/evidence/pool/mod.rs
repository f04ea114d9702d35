//! From votes to estimates: drill within fault within library.

mod before;
mod posterior;
mod prior;

use std::collections::BTreeMap;

use ndarray::{Array1, Array2};
use serde::Serialize;

use self::before::{Before, Sums};
use self::posterior::Posterior;
use self::prior::{EXTRA_SLOPE, SLOPE, Spread, TYPICAL, UNSEEN, VARIANCE, weighed};
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

impl Claim {
    /// How far to trust it in a few words, without a full stop.
    #[must_use]
    pub fn in_short(self) -> &'static str {
        match self {
            Self::TooFew => "too few to say",
            Self::NothingToCompare => "how much would have come anyway is not known",
            Self::NotBeyondChance => "it may have come anyway",
            Self::BeyondChance => {
                "more than would have come anyway, though that does not prove the plan did it"
            }
        }
    }
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
    /// Whole plans as they were made, in the same way.
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
    Some(own.estimates(&posterior, &unseen, before.faults))
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

    fn estimates(
        &self,
        posterior: &Posterior,
        unseen: &[&Unseen],
        other_faults: usize,
    ) -> Estimates {
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
