//! What goes back: the named tuples of `curve_index._answers`, filled with arrays that take the memory over.

use curve_index::{Barycentre, Explanation, Neighbour};
use numpy::{IntoPyArray, PyArrayMethods};
use pyo3::prelude::*;
use pyo3::sync::PyOnceLock;

pub(crate) fn neighbors(py: Python<'_>, found: Vec<Neighbour>) -> PyResult<Bound<'_, PyAny>> {
    static CLASS: PyOnceLock<Py<PyAny>> = PyOnceLock::new();
    let ids: Vec<u64> = found.iter().map(|one| one.id).collect();
    let costs: Vec<f64> = found.iter().map(|one| one.cost).collect();
    CLASS
        .import(py, "curve_index._answers", "Neighbors")?
        .call1((ids.into_pyarray(py), costs.into_pyarray(py)))
}

pub(crate) fn alignment<'py>(
    py: Python<'py>,
    why: &Explanation,
    frames: usize,
    channels: usize,
) -> PyResult<Bound<'py, PyAny>> {
    static CLASS: PyOnceLock<Py<PyAny>> = PyOnceLock::new();
    let steps = why.path.len();
    let path: Vec<i64> = why.path.iter().flat_map(|&(i, j)| [i as i64, j as i64]).collect();
    let parts: Vec<f64> = (0..frames * channels)
        .map(|at| why.part(at % channels, at / channels..at / channels + 1))
        .collect();
    CLASS.import(py, "curve_index._answers", "Alignment")?.call1((
        why.cost,
        path.into_pyarray(py).reshape([steps, 2])?,
        parts.into_pyarray(py).reshape([frames, channels])?,
        why.channel_shares().into_pyarray(py),
    ))
}

pub(crate) fn barycenter(
    py: Python<'_>,
    found: Barycentre,
    channels: usize,
) -> PyResult<Bound<'_, PyAny>> {
    static CLASS: PyOnceLock<Py<PyAny>> = PyOnceLock::new();
    let frames = found.values.len() / channels;
    CLASS.import(py, "curve_index._answers", "Barycenter")?.call1((
        found.values.into_pyarray(py).reshape([frames, channels])?,
        found.objective.into_pyarray(py),
    ))
}
