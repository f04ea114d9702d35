//! A serve in, its precedents out: the closest past serves, their cases, and why they are alike.
//!
//! The distance is the engine's: the square root of the dynamic-time-warping cost over all
//! channels of the curve, each in ordinary spreads between players, inside a band of
//! [`BAND_FRAMES`] of the 101 samples. Serves of comparable sources and views come first, the
//! others behind them, each marked; within a group order is (distance, serve id).

mod align;
mod answer;
mod candidates;
mod comparable;
mod focus;
mod like;
#[cfg(test)]
mod tests;
mod unstored;
mod why;

pub use crate::coaching::standing;
use candidates::Candidates;

pub use align::align;
pub use answer::{Answer, Outcome, Precedent, PrecedentObject, WhyNone};
pub use comparable::{Source, incomparable, same_set_up, searched_first};
pub use focus::{FOCUS_WEIGHT, Focus, FocusError};
pub use like::{BAND_FRAMES, LikeError, Query, Subject, Unstored, like};
pub use why::{Difference, Share, Why, explain_pair, phase_frames};
