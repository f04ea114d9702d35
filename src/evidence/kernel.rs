//! How much a past case counts by its distance.

/// The kernel is as wide as the distance of the case of this rank, so that about so many count
/// nearly fully. Our choice, no source.
const CLOSE_CASES: usize = 15;
/// A case that cannot be placed (other channels) counts like one at this many widths.
const UNPLACED_WIDTHS: f64 = 1.5;
/// Nothing counts less than this, so that one close case never stands alone by arithmetic.
pub(super) const LEAST: f64 = 0.01;

/// Weight in (0, 1] of each distance (`None`: unknown): a Gaussian kernel whose width is the
/// distance of the case of rank [`CLOSE_CASES`] (of the farthest, if there are fewer).
pub(super) fn kernel(distances: &[Option<f64>]) -> Vec<f64> {
    let mut known: Vec<f64> = distances.iter().flatten().copied().collect();
    known.sort_by(f64::total_cmp);
    let width = known
        .get(CLOSE_CASES - 1)
        .or(known.last())
        .copied()
        .filter(|width| *width > 0.0)
        .unwrap_or(1.0);
    distances
        .iter()
        .map(|distance| {
            let widths = distance.map_or(UNPLACED_WIDTHS, |distance| distance / width);
            (-0.5 * widths * widths).exp().max(LEAST)
        })
        .collect()
}
