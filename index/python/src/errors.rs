//! Which Python exception an error becomes; its text stays.

use curve_index::{GroupError, ParamError, QueryError, StoreError};
use pyo3::create_exception;
use pyo3::exceptions::{PyException, PyValueError};
use pyo3::prelude::*;

create_exception!(
    curve_index,
    IndexFileError,
    PyException,
    "An index file that is none, is damaged, has another format, is locked or open for reading only."
);

/// What was handed over does not hold: `ValueError`.
pub(crate) trait Refused: std::fmt::Display {}

impl Refused for ParamError {}
impl Refused for QueryError {}
impl Refused for GroupError {}

pub(crate) fn refused(error: impl Refused) -> PyErr {
    PyValueError::new_err(error.to_string())
}

/// `ValueError` for curves and ids, the fitting `OSError` where the system refused (its own word is the
/// cause), [`IndexFileError`] for all else.
pub(crate) fn of_store(py: Python<'_>, error: StoreError) -> PyErr {
    let text = error.to_string();
    match error {
        StoreError::Curve { .. } | StoreError::DuplicateId { .. } | StoreError::TooMany { .. } => {
            PyValueError::new_err(text)
        }
        StoreError::Io { source, .. } => {
            let cause = PyErr::from(source);
            let error = PyErr::from_type(cause.get_type(py), (text,));
            error.set_cause(py, Some(cause));
            error
        }
        _ => IndexFileError::new_err(text),
    }
}
