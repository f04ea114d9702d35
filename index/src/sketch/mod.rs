//! What is kept beside the curves so that most of them need not be read: segment means and a coarse
//! copy, both in bytes, and boxes around groups of them.
//!
//! See `docs/cascade.md` for what each is used for, and `docs/bounds.md` for why its bound holds.

mod layout;
mod make;
mod order;
mod quantiser;

pub(crate) use layout::{Layout, MAX_PAIRS, Pair, RUN, SEGMENT_FRAMES};
pub(crate) use make::{Clusters, RowSource, make};
pub(crate) use quantiser::{CODE_SLACK, Quantiser, mean_error};

/// The boxes and sketches of one set of curves, as bytes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sections<'a> {
    pub(crate) words: usize,
    pub(crate) groups: usize,
    pub(crate) block_boxes: &'a [u8],
    pub(crate) group_boxes: &'a [u8],
    pub(crate) sketches: &'a [u8],
}

/// Curves in a group: one per lane.
pub(crate) const GROUP: usize = crate::lanes::LANES;
/// Curves in a block: 16 groups.
pub(crate) const BLOCK: usize = GROUP * GROUP;
