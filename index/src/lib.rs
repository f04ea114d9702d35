//! Exact nearest motion curves under dynamic time warping: slices in, ids and numbers out.
//!
//! # Conventions
//! - A curve is frames x channels of `f32`, row-major, time first; every value finite.
//! - The **cost** of aligning two curves is the sum, along the best warping path inside the band, of
//!   the weighted squared differences over all channels. No root is taken. The **distance** is the
//!   square root of the cost; both order curves alike.
//! - The band is a number of frames, never a fraction.
//! - Order is (cost, id): ties go to the smaller id, whatever the strategy and the thread count.
//! - Costs are `f64` sums in a fixed order without fused multiply-add: the same bits on every
//!   machine.
//!
//! ```
//! use curve_index::{DtwParams, Index, Nearest, Shape};
//! let mut builder = Index::in_memory(Shape::new(3, 1)?);
//! builder.push(7, &[0.0, 0.0, 0.0])?;
//! builder.push(8, &[0.0, 1.0, 3.0])?;
//! let index = builder.finish()?;
//! let params = DtwParams::new(1).band_frames(1).check()?;
//! let answer = index.nearest(&[0.0, 0.0, 1.0], &Nearest::new(&params, 1))?;
//! assert_eq!((answer.neighbours[0].id, answer.neighbours[0].cost), (7, 1.0));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#[cfg(target_endian = "big")]
compile_error!(
    "curve-index reads its little-endian file in place and needs a little-endian machine"
);

mod dtw;
mod group;
mod lanes;
pub mod naive;
mod params;
mod search;
mod sketch;
mod store;

pub use dtw::{Explanation, Scratch, dtw, explain};
pub use group::{Barycentre, Condensed, GroupError, barycentre, medoid, pairwise};
pub use params::{
    Curve, DtwParams, MAX_CHANNELS, MAX_FRAMES, Neighbour, ParamError, Shape, ValidDtwParams,
};
pub use search::{Answer, IdFilter, Nearest, QueryError, Stages, Strategy};
pub use store::{Builder, Index, StoreError};
