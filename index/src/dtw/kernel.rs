//! The reference kernel: one pair, banded, abandoned as soon as the cutoff is out of reach.

use crate::params::{Curve, ValidDtwParams};

/// Working memory of [`dtw`], kept by the caller so that a scan allocates once.
#[derive(Debug, Clone, Default)]
pub struct Scratch {
    /// `b`, channel by channel, as `f64`.
    columns: Vec<f64>,
    /// The previous row of the cost matrix, shifted by one: `previous[j + 1]` is column `j`.
    previous: Vec<f64>,
    /// The row under work, shifted likewise.
    current: Vec<f64>,
    /// Cell costs of the row under work.
    cells: Vec<f64>,
}

/// Smallest DTW cost of aligning `a` to `b` inside the band, or `None` if it is > `cutoff`.
///
/// `a`, `b`: frames x channels, of the same channel count as `params`, any positive lengths. Cost:
/// sum along the path of the weighted squared differences; no root is taken. Symmetric. With a
/// cutoff of infinity the answer is always `Some`; a cost equal to `cutoff` is `Some`.
///
/// Cost in time: O(frames x band x channels), in memory: O(frames x channels).
/// Source: Sakoe and Chiba 1978, doi 10.1109/TASSP.1978.1163055; abandoning as in Rakthanmanon et
/// al. 2012, doi 10.1145/2339530.2339576, with row minima.
///
/// ```
/// use curve_index::{Curve, DtwParams, Scratch, dtw};
/// let a = Curve::new(&[0.0, 0.0, 1.0], 1)?;
/// let b = Curve::new(&[0.0, 1.0, 3.0], 1)?;
/// let params = DtwParams::new(1).band_frames(1).check()?;
/// // Best path: 0-0, 0-0, 1-1, 1-3, so (1 - 3)^2 = 4 is all it costs.
/// assert_eq!(dtw(a, b, &params, f64::INFINITY, &mut Scratch::default()), Some(4.0));
/// assert_eq!(dtw(a, b, &params, 4.0, &mut Scratch::default()), Some(4.0));
/// assert_eq!(dtw(a, b, &params, 3.9, &mut Scratch::default()), None);
/// # Ok::<(), curve_index::ParamError>(())
/// ```
///
/// # Panics
/// If the curves and the parameters disagree about the number of channels.
#[must_use]
pub fn dtw(
    a: Curve<'_>,
    b: Curve<'_>,
    params: &ValidDtwParams,
    cutoff: f64,
    scratch: &mut Scratch,
) -> Option<f64> {
    let channels = params.channels();
    assert_eq!(a.channels(), channels, "curve and parameters disagree about channels");
    assert_eq!(b.channels(), channels, "curve and parameters disagree about channels");
    let (rows, columns) = (a.frames(), b.frames());

    scratch.columns.clear();
    scratch.columns.resize(channels * columns, 0.0);
    for (frame, values) in b.values().chunks_exact(channels).enumerate() {
        for (channel, &value) in values.iter().enumerate() {
            scratch.columns[channel * columns + frame] = f64::from(value);
        }
    }
    for row in [&mut scratch.previous, &mut scratch.current] {
        row.clear();
        row.resize(columns + 1, f64::INFINITY);
    }
    scratch.cells.resize(columns, 0.0);
    // The corner before the first cell: the only place a path may start.
    scratch.previous[0] = 0.0;

    for row in 0..rows {
        let (first, last) = params.columns(row, rows, columns);
        let cells = &mut scratch.cells[..=last - first];
        cells.fill(0.0);
        for (channel, &weight) in params.weights().iter().enumerate() {
            let query = f64::from(a.values()[row * channels + channel]);
            let line = &scratch.columns[channel * columns + first..=channel * columns + last];
            for (cell, &value) in cells.iter_mut().zip(line) {
                let difference = query - value;
                *cell += weight * (difference * difference);
            }
        }
        // Band limits never decrease, so cells left of `first` are never read again, and the
        // previous row right of its own `last` still holds infinity.
        let previous = &scratch.previous[first..=last + 1];
        let current = &mut scratch.current[first..=last + 1];
        let mut left = f64::INFINITY;
        let mut lowest = f64::INFINITY;
        current[0] = left;
        for (at, &cell) in cells.iter().enumerate() {
            let best = previous[at].min(previous[at + 1]).min(left);
            left = cell + best;
            current[at + 1] = left;
            lowest = lowest.min(left);
        }
        // Every path crosses every row and costs never fall along it.
        if lowest > cutoff {
            return None;
        }
        std::mem::swap(&mut scratch.previous, &mut scratch.current);
    }
    let cost = scratch.previous[columns];
    (cost <= cutoff).then_some(cost)
}
