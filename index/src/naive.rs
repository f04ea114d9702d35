//! The oracle: the full cost matrix and the plain scan, kept dull so that nobody need doubt them.
//!
//! Everything else in this crate is tested against these few lines. They are slow on purpose.

use crate::params::{Curve, Neighbour, ValidDtwParams};

/// Cost of one cell: the weighted sum of squared differences, channel by channel, in `f64`.
///
/// The difference of two `f32` is taken in `f64`; terms are added in channel order. Every kernel
/// keeps this order, so all of them return the same bits.
#[must_use]
pub fn cell(a: &[f32], b: &[f32], weights: &[f64]) -> f64 {
    let mut sum = 0.0;
    for channel in 0..weights.len() {
        let difference = f64::from(a[channel]) - f64::from(b[channel]);
        sum += weights[channel] * (difference * difference);
    }
    sum
}

/// The whole cost matrix, rows x columns, infinite outside the band.
#[must_use]
pub fn matrix(a: Curve<'_>, b: Curve<'_>, params: &ValidDtwParams) -> Vec<Vec<f64>> {
    let (rows, columns) = (a.frames(), b.frames());
    let mut cost = vec![vec![f64::INFINITY; columns]; rows];
    for row in 0..rows {
        let (first, last) = params.columns(row, rows, columns);
        for column in first..=last {
            let mut best = f64::INFINITY;
            if row == 0 && column == 0 {
                best = 0.0;
            }
            if row > 0 && column > 0 {
                best = best.min(cost[row - 1][column - 1]);
            }
            if row > 0 {
                best = best.min(cost[row - 1][column]);
            }
            if column > 0 {
                best = best.min(cost[row][column - 1]);
            }
            cost[row][column] = cell(a.frame(row), b.frame(column), params.weights()) + best;
        }
    }
    cost
}

/// The cost of aligning `a` with `b`: the last cell of [`matrix`].
#[must_use]
pub fn dtw(a: Curve<'_>, b: Curve<'_>, params: &ValidDtwParams) -> f64 {
    matrix(a, b, params)[a.frames() - 1][b.frames() - 1]
}

/// The `k` nearest of `curves` by comparing all of them; ties go to the smaller id.
#[must_use]
pub fn nearest(
    query: Curve<'_>,
    curves: &[(u64, Curve<'_>)],
    params: &ValidDtwParams,
    k: usize,
) -> Vec<Neighbour> {
    let mut all: Vec<Neighbour> = curves
        .iter()
        .map(|&(id, curve)| Neighbour { id, cost: dtw(query, curve, params) })
        .collect();
    all.sort_by(|x, y| x.cost.total_cmp(&y.cost).then(x.id.cmp(&y.id)));
    all.truncate(k);
    all
}
