//! The alignment behind a cost, and where the cost comes from.

use std::ops::Range;

use crate::naive;
use crate::params::{Curve, ValidDtwParams};

/// Why two curves are as near as they are: the warping path and every part's share of the cost.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// The cost, equal to what the search reports.
    pub cost: f64,
    /// Pairs (query frame, candidate frame) from (0, 0) to the last frames of both.
    pub path: Vec<(usize, usize)>,
    channels: usize,
    /// Query frame x channel: cost spent there.
    costs: Vec<f64>,
}

impl Explanation {
    /// Cost spent on `channel` while the query was in `frames`.
    ///
    /// Adding up over channels and over sections that cover the query gives
    /// [`cost`](Self::cost), up to rounding.
    ///
    /// # Panics
    /// If the channel or the frames lie outside the query.
    #[must_use]
    pub fn part(&self, channel: usize, frames: Range<usize>) -> f64 {
        assert!(channel < self.channels, "channel {channel} of {}", self.channels);
        frames.map(|frame| self.costs[frame * self.channels + channel]).sum()
    }

    /// Share (0 to 1) of the cost per channel; all zero where the cost is zero.
    #[must_use]
    pub fn channel_shares(&self) -> Vec<f64> {
        let frames = self.costs.len() / self.channels;
        (0..self.channels).map(|channel| self.share(self.part(channel, 0..frames))).collect()
    }

    /// Share (0 to 1) of the cost per section of query frames; all zero where the cost is zero.
    ///
    /// # Panics
    /// If a section lies outside the query.
    #[must_use]
    pub fn section_shares(&self, sections: &[Range<usize>]) -> Vec<f64> {
        let part = |section: &Range<usize>| -> f64 {
            (0..self.channels).map(|channel| self.part(channel, section.clone())).sum()
        };
        sections.iter().map(|section| self.share(part(section))).collect()
    }

    fn share(&self, part: f64) -> f64 {
        if self.cost > 0.0 { part / self.cost } else { 0.0 }
    }
}

/// The best alignment of `query` with `candidate`, and what each channel and frame adds to its cost.
///
/// Where several paths cost the same, each step prefers, read from the end: the diagonal, then the
/// query frame before, then the candidate frame before. A cost on a cell belongs to its query frame.
/// Cost in time and memory: O(query frames x candidate frames).
///
/// ```
/// use curve_index::{Curve, DtwParams, explain};
/// let query = Curve::new(&[0.0, 0.0, 1.0], 1)?;
/// let candidate = Curve::new(&[0.0, 1.0, 3.0], 1)?;
/// let params = DtwParams::new(1).band_frames(1).check()?;
/// let why = explain(query, candidate, &params);
/// assert_eq!(why.cost, 4.0);
/// assert_eq!(why.path, [(0, 0), (1, 0), (2, 1), (2, 2)]);
/// assert_eq!(why.section_shares(&[0..2, 2..3]), [0.0, 1.0]);
/// # Ok::<(), curve_index::ParamError>(())
/// ```
///
/// # Panics
/// If the curves and the parameters disagree about the number of channels.
#[must_use]
pub fn explain(query: Curve<'_>, candidate: Curve<'_>, params: &ValidDtwParams) -> Explanation {
    let channels = params.channels();
    assert_eq!(query.channels(), channels, "curve and parameters disagree about channels");
    assert_eq!(candidate.channels(), channels, "curve and parameters disagree about channels");
    let matrix = naive::matrix(query, candidate, params);
    let (mut row, mut column) = (query.frames() - 1, candidate.frames() - 1);
    let mut path = vec![(row, column)];
    while (row, column) != (0, 0) {
        let at = |r: Option<usize>, c: Option<usize>| match (r, c) {
            (Some(r), Some(c)) => matrix[r][c],
            _ => f64::INFINITY,
        };
        let (up, left) = (row.checked_sub(1), column.checked_sub(1));
        let diagonal_cost = at(up, left);
        let up_cost = at(up, Some(column));
        let left_cost = at(Some(row), left);
        // The three are never all infinite inside the band, so the subtractions cannot wrap.
        if diagonal_cost <= up_cost && diagonal_cost <= left_cost {
            (row, column) = (row - 1, column - 1);
        } else if up_cost <= left_cost {
            row -= 1;
        } else {
            column -= 1;
        }
        path.push((row, column));
    }
    path.reverse();

    let mut costs = vec![0.0; query.frames() * channels];
    for &(i, j) in &path {
        let (a, b) = (query.frame(i), candidate.frame(j));
        for channel in 0..channels {
            let difference = f64::from(a[channel]) - f64::from(b[channel]);
            costs[i * channels + channel] += params.weights()[channel] * (difference * difference);
        }
    }
    let cost = matrix[query.frames() - 1][candidate.frames() - 1];
    Explanation { cost, path, channels, costs }
}
