//! What is derived from the store so that it can be found: a filter over cases, words, curves.

mod curves;
mod filter;
#[cfg(test)]
mod tests;
mod words;

pub use curves::{CurveSet, NearServe};
pub use filter::{AGE_BANDS, Filter, FilterError, Selection, TermCut};
pub use words::{Ignored, WordHits};
