//! What is derived from the store so that it can be found: a filter over cases, words, curves.

mod curves;
mod derived;
mod filter;
#[cfg(test)]
mod tests;
mod verify;
mod words;

pub use curves::{CurveSet, NearServe};
pub use derived::InStep;
pub use filter::{AGE_BANDS, Filter, FilterError, Selection, TermCut};
pub use verify::Verified;
pub use words::{Excerpt, Ignored, Part, WordHits, WordsFound, WordsHit, WordsOf, WordsQuery};
