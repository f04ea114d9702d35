//! What goes to a player: the review and what belongs to it in one file that opens on a phone without
//! a network.
//!
//! Only the player's own pictures are in it; everybody else appears as a drawn figure without a name,
//! as in the player's copy of the review. Nothing leaves by itself: the file is written, somebody
//! sends it.

mod bundle;
mod moving;
mod readme;
mod side;

pub use bundle::{Bundle, BundleError, bundle};
