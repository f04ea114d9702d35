//! What worked: which plans and drills past players improved with, and how far to trust it.

mod change;
mod gather;
mod improve;
mod near;
mod row;

pub use change::Followed;
pub use gather::{Evidence, Followings, Reported};
pub use improve::{Improvement, Improvements, improvements};
pub use row::Row;
