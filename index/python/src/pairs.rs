//! Pairs and sets of curves, without an index.

use curve_index::{Curve, Scratch, ValidDtwParams};
use numpy::{IntoPyArray, PyArray1};
use pyo3::prelude::*;

use crate::answers;
use crate::errors::refused;
use crate::input::{Many, One, params, thread_count, unlike};

/// Two curves of one channel list, and how to compare them.
fn pair<'a>(
    a: &'a One<'_>,
    b: &'a One<'_>,
    band_frames: Option<usize>,
    weights: Option<&Bound<'_, PyAny>>,
) -> PyResult<(Curve<'a>, Curve<'a>, ValidDtwParams)> {
    let params = params(a.shape().1, band_frames, weights)?;
    if b.shape().1 != a.shape().1 {
        return Err(unlike(1, a.shape().1, b.shape().1));
    }
    Ok((a.curve()?, b.curve()?, params))
}

/// The cost of aligning two curves.
///
/// The cost is the sum, along the best warping path inside the band, of the weighted squared differences
/// over all channels; no root is taken. Symmetric. The distance is its square root.
///
/// Parameters
/// ----------
/// a, b : array of float32, frames x channels
///     Lengths may differ, channels may not. Values are in whatever unit the channels have.
/// band_frames : int, optional
///     Frame i may meet frame j where abs(i - j) <= band_frames (for unequal lengths: measured from both
///     diagonals). None: any warping.
/// weights : sequence of float, one per channel, optional
///     Each multiplies its channel's squared differences: 0, or 1e-100 to 1e100. None: 1 for each.
/// cutoff : float, inf unless given
///     Above this cost the comparison is given up.
///
/// Returns
/// -------
/// float
///     The cost, in squared units of the channels; inf where it is above the cutoff.
///
/// Raises
/// ------
/// ValueError
///     A value that is not finite, curves of different channels, weights that do not fit.
#[pyfunction]
#[pyo3(signature = (a, b, *, band_frames=None, weights=None, cutoff=f64::INFINITY))]
pub(crate) fn dtw(
    a: &Bound<'_, PyAny>,
    b: &Bound<'_, PyAny>,
    band_frames: Option<usize>,
    weights: Option<&Bound<'_, PyAny>>,
    cutoff: f64,
) -> PyResult<f64> {
    let py = a.py();
    let (a, b) = (One::new(a, "a")?, One::new(b, "b")?);
    let (a, b, params) = pair(&a, &b, band_frames, weights)?;
    let cost = py.detach(|| curve_index::dtw(a, b, &params, cutoff, &mut Scratch::default()));
    Ok(cost.unwrap_or(f64::INFINITY))
}

/// Why two curves are as near as they are: the warping path and every part's share of the cost.
///
/// Where several paths cost the same, each step prefers, read from the end: the diagonal, then the query frame
/// before, then the candidate frame before. Time and memory: query frames x candidate frames.
///
/// Parameters
/// ----------
/// query, candidate : array of float32, frames x channels
///     Lengths may differ, channels may not.
/// band_frames, weights
///     As in `dtw`.
///
/// Returns
/// -------
/// Alignment
///     cost, path, parts and channel_shares.
///
/// Raises
/// ------
/// ValueError
///     As `dtw`.
#[pyfunction]
#[pyo3(signature = (query, candidate, *, band_frames=None, weights=None))]
pub(crate) fn explain<'py>(
    query: &Bound<'py, PyAny>,
    candidate: &Bound<'py, PyAny>,
    band_frames: Option<usize>,
    weights: Option<&Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyAny>> {
    let py = query.py();
    let (query, candidate) = (One::new(query, "query")?, One::new(candidate, "candidate")?);
    let (a, b, params) = pair(&query, &candidate, band_frames, weights)?;
    let why = py.detach(|| curve_index::explain(a, b, &params));
    answers::alignment(py, &why, a.frames(), a.channels())
}

/// The costs of all pairs of curves, each once.
///
/// Parameters
/// ----------
/// curves : array of float32, curves x frames x channels, or list of arrays, frames x channels
///     Curves in a list may differ in length.
/// band_frames, weights
///     As in `dtw`.
/// cutoff : float, inf unless given
///     A pair above this cost has inf.
/// threads : int
///     Threads that work at it; the answer does not depend on their number.
///
/// Returns
/// -------
/// array of float64, n (n - 1) / 2
///     Pairs (0,1), (0,2) .. (n-2,n-1): the order of `scipy.spatial.distance.squareform`.
///
/// Raises
/// ------
/// ValueError
///     As `dtw`.
#[pyfunction]
#[pyo3(signature = (
    curves, *, band_frames=None, weights=None, cutoff=f64::INFINITY, threads=1
))]
pub(crate) fn pairwise<'py>(
    curves: &Bound<'py, PyAny>,
    band_frames: Option<usize>,
    weights: Option<&Bound<'py, PyAny>>,
    cutoff: f64,
    threads: usize,
) -> PyResult<Bound<'py, PyArray1<f64>>> {
    let py = curves.py();
    let threads = thread_count(threads)?;
    let given = Many::new(curves)?;
    let curves = given.curves()?;
    let params = params(given.shape()?.1, band_frames, weights)?;
    let all = py.detach(|| curve_index::pairwise(&curves, &params, cutoff, threads));
    Ok(all.map_err(refused)?.into_costs().into_pyarray(py))
}

/// The typical curve of a set: its barycenter under dynamic time warping.
///
/// Each round aligns every curve with the barycenter and replaces each frame by the mean of the frames aligned
/// with it, until the sum of costs no longer falls (Petitjean et al. 2011, doi 10.1016/j.patcog.2010.09.013).
///
/// Parameters
/// ----------
/// curves : array of float32, curves x frames x channels, or list of arrays, frames x channels
///     At least one.
/// start : array of float32, frames x channels, optional
///     Where to start; the barycenter is as long. None: the curve with the smallest sum of costs to all
///     others, which asks for all pairs.
/// rounds : int
///     Most rounds.
/// band_frames, weights
///     As in `dtw`.
/// threads : int
///     Threads that look for the start.
///
/// Returns
/// -------
/// Barycenter
///     curve, and objective: the sum of costs at the start and after each round.
///
/// Raises
/// ------
/// ValueError
///     No curve, or as `dtw`.
#[pyfunction]
#[pyo3(signature = (
    curves, start=None, *, rounds=10, band_frames=None, weights=None, threads=1
))]
pub(crate) fn barycenter<'py>(
    curves: &Bound<'py, PyAny>,
    start: Option<&Bound<'py, PyAny>>,
    rounds: usize,
    band_frames: Option<usize>,
    weights: Option<&Bound<'py, PyAny>>,
    threads: usize,
) -> PyResult<Bound<'py, PyAny>> {
    let py = curves.py();
    let threads = thread_count(threads)?;
    let given = Many::new(curves)?;
    let curves = given.curves()?;
    let channels = given.shape()?.1;
    let params = params(channels, band_frames, weights)?;
    let start = start.map(|start| One::new(start, "start")).transpose()?;
    let start = start.as_ref().map(One::curve).transpose()?;
    let found = py.detach(|| {
        let start = match start {
            Some(start) => start,
            None => {
                let all = curve_index::pairwise(&curves, &params, f64::INFINITY, threads)?;
                curves[curve_index::medoid(&all)?]
            }
        };
        curve_index::barycentre(&curves, start, &params, rounds)
    });
    answers::barycenter(py, found.map_err(refused)?, channels)
}
