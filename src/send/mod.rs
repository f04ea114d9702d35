//! What goes to a player: the review and what belongs to it in one file that opens on a phone without
//! a network.
//!
//! Only the player's own pictures are in it; everybody else appears as a drawn figure without a name,
//! as in the player's copy of the review. Nothing leaves by itself: the file is written, somebody
//! sends it. The spoken review ([`spoken()`]) is the coach's voice over the clip.

mod bundle;
mod moving;
mod readme;
mod side;
mod spoken;
mod steps;

pub use bundle::{Bundle, BundleError, Contents, LeftOut, Why, bundle};
pub use spoken::{Part, SpokenError, clip_of, spoken, spoken_in_parts};
pub use steps::{Act, Step, StepsError};
