//! The most central member of a set.

use super::{Condensed, GroupError};

/// The member with the smallest sum of costs to all others; ties go to the smaller place.
///
/// O(n^2) look-ups.
///
/// ```
/// use curve_index::{Curve, DtwParams, medoid, pairwise};
/// let curves = [[0.0], [1.0], [5.0]];
/// let curves: Vec<Curve> = curves.iter().map(|c| Curve::new(c, 1)).collect::<Result<_, _>>()?;
/// let params = DtwParams::new(1).check()?;
/// let all = pairwise(&curves, &params, f64::INFINITY, std::num::NonZeroUsize::MIN)?;
/// assert_eq!(medoid(&all)?, 1); // sums: 1 + 25, 1 + 16, 25 + 16
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`GroupError::Empty`] when there is no member.
pub fn medoid(all: &Condensed) -> Result<usize, GroupError> {
    let n = all.members();
    let sum = |i: usize| -> f64 { (0..n).map(|j| all.cost(i, j)).sum() };
    let sums: Vec<f64> = (0..n).map(sum).collect();
    (0..n).min_by(|&a, &b| sums[a].total_cmp(&sums[b]).then(a.cmp(&b))).ok_or(GroupError::Empty)
}
