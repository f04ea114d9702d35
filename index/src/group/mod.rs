//! Sets of curves: all pairs, the typical curve, the most central member.

mod barycentre;
mod medoid;
mod near;
mod pairwise;

pub use barycentre::{Barycentre, barycentre};
pub use medoid::medoid;
pub use pairwise::{Condensed, pairwise};

use thiserror::Error;

use crate::params::{Curve, ValidDtwParams};

/// Why a set of curves was refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum GroupError {
    /// A barycentre or a medoid of nothing.
    #[error("curves: none given, at least one is needed; pass the members of the group")]
    Empty,
    /// Curves and parameters, or curves among themselves, differ in shape.
    #[error(
        "curve {place}: expected {expected} channels, found {found}; \
         compare curves of one channel list"
    )]
    Channels {
        /// Place of the curve in the set.
        place: usize,
        /// Channels of the parameters.
        expected: usize,
        /// Channels of the curve.
        found: usize,
    },
}

fn check(curves: &[Curve<'_>], params: &ValidDtwParams) -> Result<(), GroupError> {
    let expected = params.channels();
    match curves.iter().position(|curve| curve.channels() != expected) {
        Some(place) => {
            Err(GroupError::Channels { place, expected, found: curves[place].channels() })
        }
        None => Ok(()),
    }
}
