//! Shares over time, with intervals that respect that players come back.

use serde::Serialize;
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// A share with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Share {
    /// How many have it.
    pub with: u32,
    /// Of how many.
    pub of: u32,
    /// Lower and upper end of the interval, 0 to 1.
    pub interval: (f64, f64),
}

impl Share {
    /// The share, 0 to 1; `None` of nobody.
    #[must_use]
    pub fn share(&self) -> Option<f64> {
        (self.of > 0).then(|| f64::from(self.with) / f64::from(self.of))
    }
}

/// Wilson's score interval of a share (Wilson 1927, doi 10.1080/01621459.1927.10502953).
///
/// `confidence` between 0 and 1, for example 0.9. Of none, the interval is 0 to 1.
///
/// ```
/// // 5 of 10 at 95 %: statsmodels 0.15 proportion_confint(5, 10, method="wilson")
/// let share = precedent::squad::wilson(5, 10, 0.95);
/// assert!((share.interval.0 - 0.236_593).abs() < 1e-5);
/// assert!((share.interval.1 - 0.763_407).abs() < 1e-5);
/// ```
#[must_use]
pub fn wilson(with: u32, of: u32, confidence: f64) -> Share {
    if of == 0 {
        return Share { with, of, interval: (0.0, 1.0) };
    }
    let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, confidence));
    let n = f64::from(of);
    let p = f64::from(with) / n;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    Share { with, of, interval: ((middle - half).max(0.0), (middle + half).min(1.0)) }
}

/// How far a share lies from another, and its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ShareDifference {
    /// First minus second, -1 to 1.
    pub by: f64,
    /// Lower and upper end of the interval.
    pub interval: (f64, f64),
}

impl ShareDifference {
    /// Whether the interval leaves no room for "no difference".
    #[must_use]
    pub fn is_clear(&self) -> bool {
        self.interval.0 > 0.0 || self.interval.1 < 0.0
    }
}

/// The difference of two shares of different people with Newcombe's hybrid score interval
/// (Newcombe 1998, doi 10.1002/(sici)1097-0258(19980430)17:8<873::aid-sim779>3.0.co;2-i, method
/// 10); `None` if one of them is a share of nobody. Both shares' intervals must come from
/// [`wilson`] at the confidence wanted.
///
/// ```
/// use precedent::squad::{share_difference, wilson};
/// // 9 of 12 against 5 of 28 at 90 %: statsmodels 0.15 confint_proportions_2indep(9, 12, 5, 28,
/// // method="newcomb", alpha=0.1)
/// let apart = share_difference(&wilson(9, 12, 0.9), &wilson(5, 28, 0.9)).unwrap();
/// assert!((apart.interval.0 - 0.293_050).abs() < 1e-5);
/// assert!((apart.interval.1 - 0.741_776).abs() < 1e-5);
/// ```
#[must_use]
pub fn share_difference(first: &Share, second: &Share) -> Option<ShareDifference> {
    let (p, q) = (first.share()?, second.share()?);
    let by = p - q;
    let down = (p - first.interval.0).hypot(second.interval.1 - q);
    let up = (q - second.interval.0).hypot(first.interval.1 - p);
    Some(ShareDifference { by, interval: (by - down, by + up) })
}

/// One look at one player: when, and whether the fault was there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sighting {
    /// The player, numbered from 0.
    pub player: usize,
    /// Months since the first look of the squad.
    pub month: f64,
    /// Whether the fault was there.
    pub present: bool,
}

/// How the odds of a fault move by the month.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// Change of the log-odds for each month; below 0: the fault gets rarer.
    pub slope: f64,
    /// Standard error, robust to players who come back.
    pub standard_error: f64,
    /// Interval of the slope.
    pub interval: (f64, f64),
    /// Fitted shares at the first and the last look.
    pub shares: (f64, f64),
    /// Players the trend rests on.
    pub players: usize,
}

/// Why no trend can be stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TrendError {
    /// Too few players.
    #[error("a trend needs looks at 5 players or more, found {found}")]
    FewPlayers {
        /// Players found.
        found: usize,
    },
    /// No time passed.
    #[error("a trend needs looks in at least two months, found one moment")]
    OneMoment,
    /// The fault is always or never there, or splits cleanly in time.
    #[error(
        "the fault is always there, never there, or there up to one clear date: its odds have \
         no trend"
    )]
    NoOverlap,
}

/// Logistic trend with standard errors clustered by player.
///
/// The estimate is the ordinary logistic fit of presence on month; the variance is the sandwich
/// over players (Liang & Zeger 1986, doi 10.1093/biomet/73.1.13, independence working
/// correlation) times players / (players - 1), and the interval uses Student's t with
/// players - 1 degrees of freedom, since the sandwich is too sure of itself with few players.
///
/// # Errors
/// [`TrendError`] when the looks cannot carry a trend.
pub fn trend(looks: &[Sighting], confidence: f64) -> Result<Trend, TrendError> {
    let mut players: Vec<usize> = looks.iter().map(|look| look.player).collect();
    players.sort_unstable();
    players.dedup();
    if players.len() < 5 {
        return Err(TrendError::FewPlayers { found: players.len() });
    }
    let first = looks.iter().map(|l| l.month).fold(f64::INFINITY, f64::min);
    let last = looks.iter().map(|l| l.month).fold(f64::NEG_INFINITY, f64::max);
    if last - first < 1e-9 {
        return Err(TrendError::OneMoment);
    }
    // Centred and scaled time keeps the two equations well apart.
    let middle = f64::midpoint(first, last);
    let scale = (last - first) / 2.0;
    let time = |look: &Sighting| (look.month - middle) / scale;
    let mut beta = [0.0, 0.0];
    let mut information = [0.0; 3];
    let mut settled = false;
    for _ in 0..50 {
        let mut score = [0.0; 2];
        information = [0.0; 3];
        for look in looks {
            let (x, p) = (time(look), chance(beta, time(look)));
            let residual = f64::from(u8::from(look.present)) - p;
            score[0] += residual;
            score[1] += residual * x;
            let w = p * (1.0 - p);
            information[0] += w;
            information[1] += w * x;
            information[2] += w * x * x;
        }
        let step = solve(information, score).ok_or(TrendError::NoOverlap)?;
        beta = [beta[0] + step[0], beta[1] + step[1]];
        if beta.iter().any(|b| !b.is_finite() || b.abs() > 30.0) {
            return Err(TrendError::NoOverlap);
        }
        if step[0].abs().max(step[1].abs()) < 1e-10 {
            settled = true;
            break;
        }
    }
    if !settled {
        return Err(TrendError::NoOverlap);
    }
    let mut meat = [0.0; 3];
    for &player in &players {
        let mut score = [0.0; 2];
        for look in looks.iter().filter(|look| look.player == player) {
            let residual = f64::from(u8::from(look.present)) - chance(beta, time(look));
            score[0] += residual;
            score[1] += residual * time(look);
        }
        meat[0] += score[0] * score[0];
        meat[1] += score[0] * score[1];
        meat[2] += score[1] * score[1];
    }
    // Row of the inverse information that belongs to the slope.
    let row = solve(information, [0.0, 1.0]).ok_or(TrendError::NoOverlap)?;
    let variance =
        row[0] * row[0] * meat[0] + 2.0 * row[0] * row[1] * meat[1] + row[1] * row[1] * meat[2];
    let count = players.len() as f64;
    let standard_error = (variance * count / (count - 1.0)).sqrt() / scale;
    let slope = beta[1] / scale;
    let t = StudentsT::new(0.0, 1.0, count - 1.0)
        .map_or(f64::INFINITY, |t| t.inverse_cdf(f64::midpoint(1.0, confidence)));
    Ok(Trend {
        slope,
        standard_error,
        interval: (slope - t * standard_error, slope + t * standard_error),
        shares: (chance(beta, -1.0), chance(beta, 1.0)),
        players: players.len(),
    })
}

fn chance(beta: [f64; 2], x: f64) -> f64 {
    1.0 / (1.0 + (-(beta[0] + beta[1] * x)).exp())
}

/// Solves the symmetric 2 x 2 system `[a b; b c] x = y`; `None` if it is (nearly) singular.
fn solve([a, b, c]: [f64; 3], y: [f64; 2]) -> Option<[f64; 2]> {
    let determinant = a * c - b * b;
    (determinant > 1e-12 * a.max(c).powi(2))
        .then(|| [(c * y[0] - b * y[1]) / determinant, (a * y[1] - b * y[0]) / determinant])
}

/// Days until a fault is gone, from its first sight, with those not yet gone counted as such.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TimeToCure {
    /// Days by which half are cured (Kaplan & Meier 1958); `None` if fewer than half ever were.
    pub median_days: Option<f64>,
    /// Interval of that; an open end is `None`.
    pub interval: (Option<f64>, Option<f64>),
    /// Cured.
    pub cured: usize,
    /// Seen, cured or not.
    pub of: usize,
}

/// Kaplan-Meier median of `(days, cured)`; not-cured rows say how long the fault was still seen.
///
/// The interval inverts the sign test with Greenwood's variance on the scale of log(-log)
/// (Brookmeyer & Crowley 1982, doi 10.2307/2530286); its ends are always days on which something
/// was seen, and it is open above while too few are cured.
///
/// ```
/// // By hand: 4 at risk, cures at 30 and 60: 3/4 and then 3/4 * 1/2 = 0.375 remain uncured.
/// let rows = [(30.0, true), (45.0, false), (60.0, true), (90.0, false)];
/// let time = precedent::squad::time_to_cure(&rows, 0.9);
/// assert_eq!(time.median_days, Some(60.0));
/// assert_eq!((time.cured, time.of), (2, 4));
/// ```
#[must_use]
pub fn time_to_cure(rows: &[(f64, bool)], confidence: f64) -> TimeToCure {
    let mut sorted = rows.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, confidence));
    let mut uncured: f64 = 1.0;
    let mut greenwood = 0.0;
    let mut median_days = None;
    // Days on which something was seen, and whether half uncured is possible from then on.
    let mut steps: Vec<(f64, bool)> = Vec::new();
    let mut at = 0;
    while at < sorted.len() {
        let day = sorted[at].0;
        let same = sorted[at..].iter().take_while(|row| row.0 == day);
        let (here, cured) =
            same.fold((0, 0), |(here, cured), row| (here + 1, cured + usize::from(row.1)));
        // At equal times cures come first: those not yet cured were still at risk.
        let at_risk = (sorted.len() - at) as f64;
        uncured *= 1.0 - cured as f64 / at_risk;
        greenwood += cured as f64 / (at_risk * (at_risk - cured as f64));
        // Products of fractions may miss one half by their rounding.
        if uncured <= 0.5 + 1e-12 && median_days.is_none() {
            median_days = Some(day);
        }
        let off = ((-uncured.ln()).ln() - (-0.5f64.ln()).ln()) * uncured.ln() / greenwood.sqrt();
        steps.push((day, off.abs() <= z));
        at += here;
    }
    let first = steps.iter().position(|step| step.1);
    let behind_last = steps.iter().rposition(|step| step.1).map(|last| last + 1);
    let day = |step: usize| steps.get(step).map(|step| step.0);
    TimeToCure {
        median_days,
        interval: (first.and_then(day), behind_last.and_then(day)),
        cured: rows.iter().filter(|row| row.1).count(),
        of: rows.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    fn close(found: f64, want: f64, tolerance: f64) {
        assert!((found - want).abs() <= tolerance, "{found} is not {want} within {tolerance}");
    }

    /// Players with their own tendency, looked at several times; the log-odds move by `slope`.
    fn looks(players: usize, slope: f64, seed: u64) -> Vec<Sighting> {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut looks = Vec::new();
        for player in 0..players {
            let own: f64 = (0..12).map(|_| rng.gen_range(0.0..1.0)).sum::<f64>() - 6.0;
            for visit in 0..rng.gen_range(1..7) {
                let month = f64::from(visit) * 1.5 + rng.gen_range(0.0..2.0);
                let p = 1.0 / (1.0 + (-(1.5 * own + slope * month)).exp());
                looks.push(Sighting { player, month, present: rng.gen_bool(p) });
            }
        }
        looks
    }

    /// Planted truth, invented squads: with no trend the interval holds 0 about as often as it
    /// says, although players come back.
    #[test]
    fn planted_noise_is_not_called_a_trend() {
        let (mut outside, mut stated) = (0, 0);
        for seed in 0..1000 {
            if let Ok(trend) = trend(&looks(30, 0.0, seed), 0.9) {
                stated += 1;
                outside += u32::from(trend.interval.0 > 0.0 || trend.interval.1 < 0.0);
            }
        }
        let rate = f64::from(outside) / f64::from(stated);
        assert!(stated > 990, "{stated}");
        assert!((0.07..=0.13).contains(&rate), "{rate} called a trend, 0.10 expected");
    }

    #[test]
    fn planted_trends_are_found() {
        let found = (0..200)
            .filter(|&seed| trend(&looks(60, -0.45, seed), 0.9).is_ok_and(|t| t.interval.1 < 0.0))
            .count();
        assert!(found > 180, "{found} of 200 planted trends found");
    }

    /// statsmodels 0.15.0, `Logit` with `cov_type="cluster"` on this very table
    /// (`tests/oracle/golden_trend.py` prints it): its variance carries the further factor
    /// (n - 1) / (n - parameters).
    #[test]
    fn agrees_with_statsmodels() {
        let table = [
            (0, 0.0, 1),
            (0, 1.0, 1),
            (0, 2.5, 0),
            (1, 0.5, 1),
            (1, 3.0, 1),
            (2, 0.0, 0),
            (2, 2.0, 0),
            (2, 4.0, 1),
            (3, 1.0, 1),
            (3, 4.5, 0),
            (4, 0.2, 1),
            (4, 3.3, 0),
            (5, 1.1, 0),
            (5, 2.2, 0),
            (5, 5.0, 0),
            (6, 0.4, 1),
            (6, 4.1, 0),
        ];
        let looks: Vec<Sighting> = table
            .iter()
            .map(|&(player, month, present)| Sighting { player, month, present: present == 1 })
            .collect();
        let found = trend(&looks, 0.9).unwrap();
        close(found.slope, GOLDEN_SLOPE, 1e-8);
        let factor: f64 = (17.0 - 1.0) / (17.0 - 2.0);
        close(found.standard_error * factor.sqrt(), GOLDEN_ERROR, 1e-8);
    }

    const GOLDEN_SLOPE: f64 = -0.643_884_992_440_720_2;
    const GOLDEN_ERROR: f64 = 0.542_837_562_245_778_7;

    #[test]
    fn what_cannot_carry_a_trend_is_said() {
        let one = |player, month, present| Sighting { player, month, present };
        let few: Vec<Sighting> = (0..4).map(|p| one(p, p as f64, p % 2 == 0)).collect();
        assert_eq!(trend(&few, 0.9), Err(TrendError::FewPlayers { found: 4 }));
        let moment: Vec<Sighting> = (0..8).map(|p| one(p, 1.0, p % 2 == 0)).collect();
        assert_eq!(trend(&moment, 0.9), Err(TrendError::OneMoment));
        let always: Vec<Sighting> = (0..8).map(|p| one(p, p as f64, true)).collect();
        assert_eq!(trend(&always, 0.9), Err(TrendError::NoOverlap));
        let split: Vec<Sighting> = (0..8).map(|p| one(p, p as f64, p < 4)).collect();
        assert_eq!(trend(&split, 0.9), Err(TrendError::NoOverlap));
    }

    #[test]
    fn nobody_is_a_share_of_anything() {
        assert_eq!(wilson(0, 0, 0.9).interval, (0.0, 1.0));
        let none = wilson(0, 12, 0.9);
        assert!(none.interval.0 == 0.0 && none.interval.1 > 0.1);
    }

    /// scipy and statsmodels on seeded tables: `golden/academy.py` (versions in the file).
    #[test]
    fn intervals_agree_with_statsmodels() {
        #[derive(serde::Deserialize)]
        struct Cure {
            rows: Vec<(f64, bool)>,
            median: f64,
            low: f64,
            high: Option<f64>,
        }
        #[derive(serde::Deserialize)]
        struct Golden {
            differences: Vec<(u32, u32, u32, u32, f64, f64)>,
            shares: Vec<(u32, u32, f64, f64)>,
            cures: Vec<Cure>,
        }
        let golden: Golden = serde_json::from_str(include_str!("golden/academy.json")).unwrap();
        for (with, of, low, high) in golden.shares {
            let share = wilson(with, of, 0.9);
            close(share.interval.0, low, 1e-9);
            close(share.interval.1, high, 1e-9);
        }
        for (a, n, b, m, low, high) in golden.differences {
            let apart = share_difference(&wilson(a, n, 0.9), &wilson(b, m, 0.9)).unwrap();
            close(apart.interval.0, low, 1e-9);
            close(apart.interval.1, high, 1e-9);
        }
        assert_eq!(golden.cures.len(), 3);
        for cure in golden.cures {
            let found = time_to_cure(&cure.rows, 0.9);
            assert_eq!(found.median_days, Some(cure.median));
            assert_eq!(found.interval, (Some(cure.low), cure.high), "{:?}", cure.rows);
        }
        assert_eq!(share_difference(&wilson(0, 0, 0.9), &wilson(1, 2, 0.9)), None);
    }

    #[test]
    fn nobody_cured_has_no_time_to_cure() {
        let none = time_to_cure(&[(30.0, false), (60.0, false)], 0.9);
        assert_eq!((none.median_days, none.interval), (None, (None, None)));
        assert_eq!(time_to_cure(&[], 0.9).of, 0);
        // All on one day: the curve falls to 0, where its scale ends.
        let all = time_to_cure(&[(30.0, true), (30.0, true)], 0.9);
        assert_eq!(all.median_days, Some(30.0));
    }
}
