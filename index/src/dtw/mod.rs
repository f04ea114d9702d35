//! Pairs of curves: the cost of the best alignment, one pair or eight at a time, and the alignment itself.

mod exact;
mod kernel;
mod path;

pub(crate) use exact::{ExactScratch, WIDTH, exact};
pub use kernel::{Scratch, dtw};
pub use path::{Explanation, explain};
