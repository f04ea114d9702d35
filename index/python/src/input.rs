//! What Python hands over: borrowed where it lies as the engine reads it, else converted once.

use std::num::NonZeroUsize;

use curve_index::{Curve, DtwParams, GroupError, IdFilter, ValidDtwParams};
use numpy::ndarray::{ArrayView2, Axis};
use numpy::{
    PyArray1, PyArray2, PyArray3, PyArrayMethods, PyReadonlyArray2, PyReadonlyArray3,
    PyUntypedArrayMethods,
};
use pyo3::exceptions::PyValueError;
use pyo3::intern;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyList, PyTuple};

use crate::errors::refused;

/// One curve.
pub(crate) struct One<'py>(PyReadonlyArray2<'py, f32>);

/// Curves: one array, or a list of curves that may differ in length.
pub(crate) enum Many<'py> {
    Array(PyReadonlyArray3<'py, f32>),
    List(Vec<One<'py>>),
}

/// A `float32` array in C order of what may be any array or nested lists; the array itself where it is one.
fn converted<'py>(what: &Bound<'py, PyAny>) -> PyResult<Bound<'py, PyAny>> {
    let py = what.py();
    let how = PyDict::new(py);
    how.set_item(intern!(py, "order"), "C")?;
    how.set_item(intern!(py, "casting"), "same_kind")?;
    how.set_item(intern!(py, "copy"), false)?;
    let array = py.import(intern!(py, "numpy"))?.call_method1(intern!(py, "asarray"), (what,))?;
    let array = array.call_method(intern!(py, "astype"), ("float32",), Some(&how))?;
    // An array that lies askew in memory is in order for `astype`.
    let aligned = array.getattr(intern!(py, "flags"))?.getattr(intern!(py, "aligned"))?;
    if aligned.is_truthy()? { Ok(array) } else { array.call_method0(intern!(py, "copy")) }
}

fn axes(what: &str, axes: &str, found: &Bound<'_, PyAny>) -> PyErr {
    let found = found.getattr("shape").map_or_else(|_| "?".to_owned(), |shape| shape.to_string());
    PyValueError::new_err(format!(
        "{what}: expected an array of {axes}, found the shape {found}; reshape it"
    ))
}

/// The values of a curve, of which `Many::new` saw to it that they lie in order.
fn in_order<'a>(curve: ArrayView2<'a, f32>) -> PyResult<&'a [f32]> {
    curve.to_slice().ok_or_else(|| PyValueError::new_err("curves: not in C order; pass a copy"))
}

impl<'py> One<'py> {
    /// `what` names the argument in an error.
    pub(crate) fn new(given: &Bound<'py, PyAny>, what: &str) -> PyResult<Self> {
        if let Ok(array) = given.cast::<PyArray2<f32>>()
            && array.is_aligned()
            && array.is_c_contiguous()
        {
            return Ok(Self(array.try_readonly()?));
        }
        let array = converted(given)?;
        let array =
            array.cast::<PyArray2<f32>>().map_err(|_| axes(what, "frames x channels", &array))?;
        Ok(Self(array.try_readonly()?))
    }

    pub(crate) fn values(&self) -> PyResult<&[f32]> {
        Ok(self.0.as_slice()?)
    }

    /// Frames and channels.
    pub(crate) fn shape(&self) -> (usize, usize) {
        (self.0.shape()[0], self.0.shape()[1])
    }

    pub(crate) fn curve(&self) -> PyResult<Curve<'_>> {
        Curve::new(self.values()?, self.shape().1).map_err(refused)
    }
}

impl<'py> Many<'py> {
    pub(crate) fn new(given: &Bound<'py, PyAny>) -> PyResult<Self> {
        if given.is_instance_of::<PyList>() || given.is_instance_of::<PyTuple>() {
            let one =
                |(place, one): (usize, PyResult<_>)| One::new(&one?, &format!("curve {place}"));
            return Ok(Self::List(
                given.try_iter()?.enumerate().map(one).collect::<PyResult<_>>()?,
            ));
        }
        if let Ok(array) = given.cast::<PyArray3<f32>>()
            && array.is_aligned()
        {
            let array = array.try_readonly()?;
            // Only each curve has to lie in order: every second one of an array does, a transposed one not.
            if array.as_array().outer_iter().all(|curve| curve.is_standard_layout()) {
                return Ok(Self::Array(array));
            }
        }
        let array = converted(given)?;
        let array = array
            .cast::<PyArray3<f32>>()
            .map_err(|_| axes("curves", "curves x frames x channels", &array))?;
        Ok(Self::Array(array.try_readonly()?))
    }

    /// Frames and channels of the first curve, or of none where an array has that shape.
    ///
    /// An error where there is no curve to ask, or where channels differ.
    pub(crate) fn shape(&self) -> PyResult<(usize, usize)> {
        let list = match self {
            Self::Array(array) => return Ok((array.shape()[1], array.shape()[2])),
            Self::List(list) => list,
        };
        let first = list.first().ok_or_else(|| refused(GroupError::Empty))?.shape();
        let other = |one: &One<'_>| one.shape().1 != first.1;
        match list.iter().position(other) {
            Some(place) => Err(unlike(place, first.1, list[place].shape().1)),
            None => Ok(first),
        }
    }

    /// The values of every curve.
    pub(crate) fn rows(&self) -> PyResult<Vec<&[f32]>> {
        match self {
            Self::Array(array) => {
                let all = array.as_array();
                let one = |number| in_order(all.index_axis_move(Axis(0), number));
                (0..all.shape()[0]).map(one).collect()
            }
            Self::List(list) => list.iter().map(One::values).collect(),
        }
    }

    pub(crate) fn curves(&self) -> PyResult<Vec<Curve<'_>>> {
        let channels = self.shape()?.1;
        self.rows()?.into_iter().map(|row| Curve::new(row, channels).map_err(refused)).collect()
    }
}

/// The error of curves that differ in channels.
pub(crate) fn unlike(place: usize, expected: usize, found: usize) -> PyErr {
    refused(GroupError::Channels { place, expected, found })
}

/// Band and weights; `None` means no band, and 1 for every channel.
pub(crate) fn params(
    channels: usize,
    band_frames: Option<usize>,
    weights: Option<&Bound<'_, PyAny>>,
) -> PyResult<ValidDtwParams> {
    let mut params = DtwParams::new(channels);
    if let Some(band) = band_frames {
        params = params.band_frames(band);
    }
    if let Some(weights) = weights {
        let weights: Vec<f64> =
            weights.try_iter()?.map(|one| one?.extract()).collect::<PyResult<_>>()?;
        params = params.weights(&weights);
    }
    params.check().map_err(refused)
}

/// A number of threads.
pub(crate) fn thread_count(given: usize) -> PyResult<NonZeroUsize> {
    NonZeroUsize::new(given)
        .ok_or_else(|| PyValueError::new_err("threads: expected at least 1, found 0; give it one"))
}

/// Ids: an array of whole numbers, or anything that gives them one by one.
pub(crate) fn ids(given: &Bound<'_, PyAny>) -> PyResult<Vec<u64>> {
    if let Ok(array) = given.cast::<PyArray1<u64>>() {
        return Ok(array.to_vec()?);
    }
    let bad = |found: String| {
        PyValueError::new_err(format!(
            "ids: expected whole numbers from 0 to 2^64 - 1, found {found}; number the curves so"
        ))
    };
    if let Ok(dtype) = given.getattr("dtype")
        && !matches!(dtype.getattr("kind")?.extract()?, 'i' | 'u')
    {
        return Err(bad(format!("the type {dtype}")));
    }
    let id = |one: PyResult<Bound<'_, PyAny>>| {
        let one = one?;
        one.extract()
            .map_err(|_| bad(one.repr().map_or_else(|_| "?".to_owned(), |r| r.to_string())))
    };
    given.try_iter()?.map(id).collect()
}

/// The filter that `ids` and `not_ids` ask for together.
pub(crate) fn filter(
    only: Option<&Bound<'_, PyAny>>,
    except: Option<&Bound<'_, PyAny>>,
) -> PyResult<Option<IdFilter>> {
    match (only, except) {
        (None, None) => Ok(None),
        (Some(only), None) => Ok(Some(IdFilter::only(ids(only)?))),
        (None, Some(except)) => Ok(Some(IdFilter::except(ids(except)?))),
        (Some(_), Some(_)) => Err(PyValueError::new_err(
            "ids and not_ids: expected one of them, found both; take the second from the first",
        )),
    }
}
