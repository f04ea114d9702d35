//! `curve-index` for Python: NumPy arrays in, NumPy arrays out.
//!
//! Arrays of `float32` whose curves lie in C order are read where they are; others are converted once. Every
//! computation runs detached from the interpreter, so other Python threads go on meanwhile. Errors keep the
//! engine's text; [`errors`] says which exception each becomes. Docstrings here are what `help()` shows; types
//! stand in `lib/curve_index/_engine.pyi`.

mod answers;
mod errors;
mod index;
mod input;
mod pairs;

use pyo3::prelude::*;

/// Exact nearest motion curves under dynamic time warping: the compiled part of `curve_index`.
#[pymodule]
mod _engine {
    #[pymodule_export]
    use super::errors::IndexFileError;
    #[pymodule_export]
    use super::index::Index;
    #[pymodule_export]
    use super::pairs::{barycenter, dtw, explain, pairwise};
}
