//! What a recording is: named joints over time in one canonical space, whatever file it came from.

mod joint;
mod recording;

pub use joint::{Joint, Side};
pub use recording::{Assumption, Capture, Dimensions, Recording, Unit, View};
