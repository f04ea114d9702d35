//! Recordings as files in open formats: what the readers read back.

mod c3d;
mod keypoints;
mod text;

use thiserror::Error;

pub use c3d::{C3dStyle, c3d};
pub use keypoints::keypoints_33;
pub use text::{table, trc};

use super::Dimensions;

/// Why a recording cannot be written so.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum WriteError {
    /// A marker format holds positions in space.
    #[error(
        "{format} holds three dimensions, the recording has {found:?}; write a table or keypoints"
    )]
    Flat {
        /// The format asked for.
        format: &'static str,
        /// The dimensions found.
        found: Dimensions,
    },
    /// No frame, or more than the format can count.
    #[error("{format} holds 1 to {most} frames, the recording has {found}; shorten it first")]
    Frames {
        /// The format asked for.
        format: &'static str,
        /// Most frames.
        most: u64,
        /// Frames found.
        found: u64,
    },
    /// Frames at uneven times, where the format knows only a rate.
    #[error("{format} holds evenly spaced frames only; resample the recording first")]
    UnevenTime {
        /// The format asked for.
        format: &'static str,
    },
}
