//! One pair of curves: the cost of the best alignment, and the alignment itself.

mod kernel;
mod path;

pub use kernel::{Scratch, dtw};
pub use path::{Explanation, explain};
