//! What a recording is: named joints over time in one canonical space, whatever file it came from.

mod joint;
#[expect(dead_code, reason = "the text layouts and the writers that use the rest follow")]
mod read;
mod recording;

pub use joint::{Joint, Side};
pub use read::{
    Layout, Place, Processor, ReadError, ReadErrorKind, ReadOptions, SourceUnit, UnknownName, Up,
    read, read_bytes, sniff,
};
pub use recording::{Assumption, Capture, Dimensions, Recording, Unit, View};
