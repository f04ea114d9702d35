//! From a phone clip to joints: decoded by ffmpeg, one person followed by a pose network.
//!
//! [`setup()`] fetches networks and runtime once; [`read_clip`] then works without a network.
//!
//! # What one camera gives
//! * Joints in space come from a network's idea of a body, in metres about the mid-hip point of
//!   each frame. Jump, steps and height above the ground are not in them: a contact height is a
//!   height above the hips. Depth is the weakest axis.
//! * Up is the picture's vertical; a phone held at a slant slants the body.
//! * The picture-plane joints are what was seen; use them for drawing and, from the views that
//!   support it, for two-dimensional measures.
//! * The networks see no racket.
//!
//! The pipeline follows the public description of the network family (Bazarevsky et al. 2020,
//! arXiv 2006.10204): a detector finds a person, a landmark network reads one region, and the
//! next region comes from the landmarks themselves, steadied by a one-euro filter.

mod ball;
mod decode;
mod detector;
mod encode;
mod errors;
mod film;
mod frame;
mod frames;
mod kept;
mod landmarks;
mod lift;
mod model;
mod one_euro;
mod pare;
mod probe;
mod read;
mod runtime;
mod setup;
mod sketch;
mod sound;
mod stills;
mod track;
mod trust;
mod view;

#[cfg(test)]
mod tests;

pub use ball::{BallFlightSeen, Toss, follow_ball};
pub use detector::Candidate;
pub use encode::{Encoder, NewClip, join_voices, voice_length_s};
pub use errors::{ClipError, SetupError};
pub use film::{Film, FilmSize, film};
pub use frame::{Frame, Region};
pub use frames::Frames;
pub use kept::{Kept, KeptError};
pub use landmarks::{BODY, Pose};
pub use model::{ModelChoice, ModelError, PoseModel};
pub use probe::{ClipInfo, has_clip_ending, is_clip, probe};
pub use read::{ClipOptions, ClipReading, read_clip, read_clip_with};
pub use setup::{
    CACHE_VARIABLE, GET_DECODER, Installed, PieceState, SetupReport, SetupStep, checked_models,
    decoder, folder, installed, setup,
};
pub use sound::Sound;
pub use stills::{BONES, Cut, MIN_SEEN, Placed, Still, stills};
pub use track::Person;
pub use trust::{BodyAngle, OneCameraError, one_camera_error};
pub use view::{Facing, ViewEstimate};
