//! All pairs of a set.

use std::num::NonZeroUsize;

use rayon::prelude::*;

use super::{GroupError, check};
use crate::dtw::{Scratch, dtw};
use crate::params::{Curve, ValidDtwParams};

/// The costs of all pairs, each once: (0,1), (0,2) .. (0,n-1), (1,2) .. (n-2,n-1).
///
/// The order is that of SciPy's `squareform` and of the usual clustering libraries.
#[derive(Debug, Clone, PartialEq)]
pub struct Condensed {
    members: usize,
    costs: Vec<f64>,
}

impl Condensed {
    /// Number of curves.
    #[must_use]
    pub fn members(&self) -> usize {
        self.members
    }

    /// Cost of aligning curve `i` with curve `j`; 0 where they are the same.
    ///
    /// # Panics
    /// If `i` or `j` is not below [`members`](Self::members).
    #[must_use]
    pub fn cost(&self, i: usize, j: usize) -> f64 {
        assert!(i < self.members && j < self.members, "pair ({i}, {j}) of {}", self.members);
        let (low, high) = (i.min(j), i.max(j));
        if low == high { 0.0 } else { self.costs[row_start(self.members, low) + high - low - 1] }
    }

    /// All costs in condensed order.
    #[must_use]
    pub fn costs(&self) -> &[f64] {
        &self.costs
    }

    /// The costs, given away.
    #[must_use]
    pub fn into_costs(self) -> Vec<f64> {
        self.costs
    }

    /// The full matrix, members x members, row-major.
    #[must_use]
    pub fn to_square(&self) -> Vec<f64> {
        let n = self.members;
        (0..n * n).map(|at| self.cost(at / n, at % n)).collect()
    }
}

/// Place of the pair (`row`, `row + 1`).
fn row_start(members: usize, row: usize) -> usize {
    row * (2 * members - row - 1) / 2
}

/// The costs of all pairs of `curves`; a pair whose cost is above `cutoff` has infinity.
///
/// O(n^2) kernels, spread over `threads`; the answer does not depend on their number. Fewer than two
/// curves give an empty matrix.
///
/// ```
/// use curve_index::{Curve, DtwParams, pairwise};
/// let curves = [[0.0, 0.0], [0.0, 1.0], [3.0, 3.0]];
/// let curves: Vec<Curve> = curves.iter().map(|c| Curve::new(c, 1)).collect::<Result<_, _>>()?;
/// let params = DtwParams::new(1).band_frames(0).check()?;
/// let one = std::num::NonZeroUsize::MIN;
/// let all = pairwise(&curves, &params, f64::INFINITY, one)?;
/// assert_eq!(all.costs(), [1.0, 18.0, 13.0]); // (0-1)^2; 3^2 + 3^2; 3^2 + 2^2
/// let near = pairwise(&curves, &params, 13.0, one)?;
/// assert_eq!(near.costs(), [1.0, f64::INFINITY, 13.0]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`GroupError::Channels`] naming the first curve that does not fit.
pub fn pairwise(
    curves: &[Curve<'_>],
    params: &ValidDtwParams,
    cutoff: f64,
    threads: NonZeroUsize,
) -> Result<Condensed, GroupError> {
    check(curves, params)?;
    let members = curves.len();
    let mut costs = vec![f64::INFINITY; members * members.saturating_sub(1) / 2];
    let mut rows: Vec<(usize, &mut [f64])> = Vec::with_capacity(members);
    let mut rest = costs.as_mut_slice();
    for row in 0..members.saturating_sub(1) {
        let (head, tail) = rest.split_at_mut(members - row - 1);
        rows.push((row, head));
        rest = tail;
    }
    let fill = |scratch: &mut Scratch, (row, line): (usize, &mut [f64])| {
        for (cost, &other) in line.iter_mut().zip(&curves[row + 1..]) {
            let found = dtw(curves[row], other, params, cutoff, scratch);
            *cost = found.unwrap_or(f64::INFINITY);
        }
    };
    if threads.get() == 1 {
        let mut scratch = Scratch::default();
        rows.into_iter().for_each(|row| fill(&mut scratch, row));
    } else {
        rows.into_par_iter().for_each_init(Scratch::default, fill);
    }
    Ok(Condensed { members, costs })
}
