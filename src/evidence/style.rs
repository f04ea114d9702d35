//! How players serve, in the few ways in which their serves differ most.

use linfa_linalg::eigh::{EigSort, EighInto};
use ndarray::{Array1, Array2, ArrayView1, Axis};

use super::row::STYLES;

/// Players with a curve below which nobody can say in which ways serves differ. Our choice.
const FEW_CURVES: usize = 10;
/// The ways are read off at most so many players, evenly taken: the cost grows with their cube.
const MOST_CURVES: usize = 300;
/// A way that carries less than this share of the curves' squares is rounding.
const ROUNDING: f64 = 1e-12;

/// The first principal components of players' mean curves (frame by frame: functional principal
/// components of curves on one time axis; Ramsay and Silverman 2005, doi 10.1007/b98888).
#[derive(Debug, Clone)]
pub(super) struct Ways {
    mean: Array1<f64>,
    /// ways x samples; a score is in standard deviations between players.
    ways: Array2<f64>,
}

impl Ways {
    /// Reads the ways off one mean curve for each player, all of one length; `None` for fewer than
    /// 10 players. A way in which nobody differs scores 0. Cost: players squared times samples.
    pub(super) fn of(players: &[Array1<f64>]) -> Option<Self> {
        if players.len() < FEW_CURVES {
            return None;
        }
        let step = players.len().div_ceil(MOST_CURVES);
        let taken: Vec<ArrayView1<'_, f64>> =
            players.iter().step_by(step).map(Array1::view).collect();
        let curves = ndarray::stack(Axis(0), &taken).ok()?;
        let mean = curves.mean_axis(Axis(0))?;
        let least = ROUNDING * curves.iter().map(|value| value * value).sum::<f64>();
        let off = curves - &mean;
        let (values, vectors) = off.dot(&off.t()).eigh_into().ok()?.sort_eig_desc();
        let spare = (taken.len() - 1) as f64;
        let mut ways = Array2::zeros((STYLES, mean.len()));
        for (way, mut row) in ways.axis_iter_mut(Axis(0)).enumerate() {
            let value = values[way];
            if value > least {
                // A unit vector in the space of curves is X'u / root(value); its scores over the
                // players have the variance value / (n - 1).
                row.assign(&(off.t().dot(&vectors.column(way)) * (spare.sqrt() / value)));
            }
        }
        Some(Self { mean, ways })
    }

    /// Where this curve lies, in standard deviations between players.
    pub(super) fn score(&self, curve: &Array1<f64>) -> [f64; STYLES] {
        let scores = self.ways.dot(&(curve - &self.mean));
        std::array::from_fn(|way| scores[way])
    }
}

/// Mean of curves of one length; `None` of none.
pub(super) fn mean_curve<'a>(curves: impl IntoIterator<Item = &'a [f32]>) -> Option<Array1<f64>> {
    let mut sum: Option<Array1<f64>> = None;
    let mut count = 0.0;
    for curve in curves {
        let curve = Array1::from_iter(curve.iter().map(|&value| f64::from(value)));
        sum = Some(sum.map_or_else(|| curve.clone(), |sum| sum + &curve));
        count += 1.0;
    }
    sum.map(|sum| sum / count)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curves(between: impl Fn(f64) -> [f64; 2]) -> Vec<Array1<f64>> {
        let samples = |at: usize| (at as f64 / 7.0, (at * at) as f64 / 300.0);
        (0..12)
            .map(|player| {
                let [a, b] = between(f64::from(player));
                (0..40).map(|at| 1.0 + a * samples(at).0.sin() + b * samples(at).1.cos()).collect()
            })
            .collect()
    }

    /// The scores of any principal components have mean 0, variance 1 and are uncorrelated over the
    /// curves they were read off (Ramsay and Silverman 2005, chapter 8).
    #[test]
    fn scores_are_spreads_between_players() {
        let players = curves(|p| [(p * 1.7).sin() * 3.0, (p * 2.9).cos()]);
        let ways = Ways::of(&players).unwrap();
        let scores: Vec<[f64; STYLES]> = players.iter().map(|curve| ways.score(curve)).collect();
        let product =
            |a: usize, b: usize| scores.iter().map(|score| score[a] * score[b]).sum::<f64>() / 11.0;
        for (a, b, wanted) in [(0, 0, 1.0), (1, 1, 1.0), (0, 1, 0.0)] {
            assert!((product(a, b) - wanted).abs() < 1e-9, "{a} {b}: {}", product(a, b));
        }
        for way in 0..STYLES {
            let sum: f64 = scores.iter().map(|score| score[way]).sum();
            assert!(sum.abs() < 1e-9, "way {way}: {sum}");
        }
    }

    #[test]
    fn a_way_in_which_nobody_differs_scores_nothing() {
        let players = curves(|p| [p - 5.5, 0.0]);
        let scores = Ways::of(&players).unwrap().score(&players[0]);
        assert!(scores[0].abs() > 1.0 && scores[1] == 0.0, "{scores:?}");
        let same = curves(|_| [1.0, 1.0]);
        assert_eq!(Ways::of(&same).unwrap().score(&same[3]), [0.0; STYLES]);
        assert!(Ways::of(&players[..9]).is_none());
        assert_eq!(mean_curve([&[1.0, 3.0][..], &[2.0, 5.0]]).unwrap().to_vec(), [1.5, 4.0]);
        assert!(mean_curve([]).is_none());
    }
}
