//! What is derived from the store so that it can be found: a filter over cases, words, curves.

mod curves;
mod derived;
mod filter;
mod heads;
#[cfg(test)]
mod tests;
mod verify;
mod words;

pub(crate) use curves::Among;
pub use curves::{CurveSet, NearServe};
pub use derived::InStep;
pub use filter::{AGE_BANDS, Cut, Filter, FilterError, Selection, TermCut};
pub(crate) use filter::{Ids, KeptServes};
pub(crate) use heads::{Kind, LATE_PLAYERS};
pub use verify::Verified;
pub use words::{Excerpt, Ignored, Part, WordHits, WordsFound, WordsHit, WordsOf, WordsQuery};
