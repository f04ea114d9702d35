//! What is judged: the serves of one player on one day, and what is known beside them.

use super::{Suspicion, detect};
use crate::catalogue::Catalogue;
use crate::catalogue::types::{Attempt, ServeType};
use crate::motion::{Capture, View};
use crate::serve::ServeReading;

/// What one serve's readings come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recorded {
    /// How joints were obtained.
    pub capture: Capture,
    /// Where the camera stood, where known.
    pub view: Option<View>,
    /// Sample rate, Hz.
    pub rate_hz: f64,
}

/// One serve as far as suspicions go.
#[derive(Debug, Clone, Copy)]
pub struct Observed<'a> {
    /// Its readings.
    pub readings: &'a [ServeReading],
    /// What they come from.
    pub recorded: Recorded,
    /// Its type, if known.
    pub serve_type: Option<ServeType>,
    /// Which stroke of the day it shows, by any number; `None`: one that no other serve shows.
    pub stroke: Option<usize>,
}

/// What is known about the player that day beside the recordings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conditions {
    /// Bevel (1 to 8) under the index knuckle, if asked.
    pub index_knuckle: Option<u8>,
    /// Bevel (1 to 8) under the heel pad, if asked.
    pub heel_pad: Option<u8>,
    /// First or second serves, if known.
    pub attempt: Option<Attempt>,
    /// The player's stature, m, if known.
    pub stature_m: Option<f64>,
}

/// The serves of one player on one day, practice swings apart.
#[derive(Debug, Clone, Default)]
pub struct ObservedDay<'a> {
    /// Practice swings.
    pub swings: Vec<Observed<'a>>,
    /// With a ball, or nobody said.
    pub balls: Vec<Observed<'a>>,
}

impl ObservedDay<'_> {
    /// What the day shows of every fault: from the serves with a ball if there are any, since a
    /// practice swing shows what the player can do, not what the serve does.
    #[must_use]
    pub fn suspicions(&self, catalogue: &Catalogue, conditions: &Conditions) -> Vec<Suspicion> {
        let serves = if self.balls.is_empty() { &self.swings } else { &self.balls };
        detect(catalogue, serves, conditions)
    }
}
