//! What a recording is: named joints over time in one canonical space, whatever file it came from.

mod filter;
mod gaps;
mod joint;
mod read;
mod recording;
mod spline;
#[cfg(test)]
mod tests;
pub mod write;

pub use filter::{Cutoff, FilterError, butterworth, choose_cutoff, lowpass};
pub use gaps::{Filled, Gap, MAX_FILLED_GAP_S, fill_gaps, gaps, resample};
pub use joint::{Joint, Side};
pub use read::{
    FilePlace, Layout, Processor, ReadError, ReadErrorKind, ReadOptions, SourceUnit, UnknownName,
    Up, read, read_bytes,
};
pub use recording::{Assumption, Capture, Dimensions, Recording, Unit, View};
