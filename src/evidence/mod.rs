//! What worked: which plans and drills past players improved with, and how far to trust it.

mod change;
mod fit;
mod gather;
mod improve;
mod kernel;
mod near;
mod pool;
mod row;
#[cfg(test)]
mod tests;
mod worked;

pub use change::Followed;
pub use gather::{Evidence, Followings, Reported};
pub use improve::{Improvement, Improvements, improvements};
pub use pool::{Claim, DrillEstimate, Estimate, Estimates, estimates};
pub use row::Row;
pub use worked::{Typical, Worked, WorkedDrill};
