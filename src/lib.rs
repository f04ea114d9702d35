//! The memory a serve coach lacks: recordings in, past serves like this one out.
//!
//! Rooms, left to right; a module may use those to its left, never to its right:
//! [`motion`] -> [`serve`] -> [`catalogue`] -> [`library`] -> [`packs`] -> `matcher` -> [`evidence`]/`squad` -> [`judgement`] ->
//! `report` -> the faces `cli` and `page`.
//!
//! # Conventions
//! SI units (metres, seconds); angles in degrees at the public surface, radians inside a
//! computation when the name ends in `_rad`. Time is the first axis. The canonical space is
//! right-handed with z up. Frames count from 0.

pub mod catalogue;
pub mod cli;
pub mod demo;
pub mod evidence;
pub mod intake;
pub mod judgement;
pub mod library;
pub mod matcher;
pub mod motion;
pub mod packs;
pub mod report;
pub mod serve;
pub mod squad;
