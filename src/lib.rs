//! The memory a serve coach lacks: recordings in, past serves like this one out.
//!
//! A recording comes in as a file ([`motion`], [`video`]). The serves in it are found and measured
//! ([`serve`]), what they show is compared with the [`catalogue`] of faults and drills, and all of
//! it is kept in a [`library`] that takes files through one door ([`intake`]) and exchanges cases
//! with other academies ([`exchange`]); what a coach may record there, and how a drill may be
//! shown, is [`coaching`]'s. [`matcher`] finds the closest past serves, [`evidence`] says what worked
//! for them, [`judgement`] where to begin, [`squad`] what a group has in common; [`drawing`] and
//! [`pages`] put it on paper, [`send`] into one file for the player. [`doctor`] looks whether everything
//! is there, [`guide`] explains it. [`page`] is the coach's page in a browser and [`cli`] the command line
//! over all of it; what a refusal advises is a [`remedy`], which an interface words.
//!
//! The rooms stand below in their order: a module may use those above it, never those below.
//!
//! # Conventions
//! SI units (metres, seconds); angles in degrees at the public surface, radians inside a
//! computation when the name ends in `_rad`. Time is the first axis. The canonical space is
//! right-handed with z up. Frames count from 0.

pub mod remedy;

pub mod work;

mod files;

mod process;

pub mod motion;

pub mod video;

pub mod serve;

pub mod catalogue;

pub mod library;

mod words;

pub mod coaching;

pub mod find;

pub mod intake;

pub mod exchange;

pub mod matcher;

pub mod looks;

pub mod evidence;

pub mod judgement;

pub mod squad;

pub mod drawing;

pub mod pages;

pub mod send;

pub mod simulator;

pub mod demo;

pub mod doctor;

pub mod guide;

pub mod page;

pub mod cli;

#[cfg(test)]
#[path = "../tests/support/skip.rs"]
mod skip;
