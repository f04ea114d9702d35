use serde::Serialize;

use crate::catalogue::{Catalogue, Drill, Place};

/// With or without the ball: where a fault was seen on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Sight {
    /// Practice swings and serves with a ball were not both recorded, or one could not be judged.
    #[default]
    Unknown,
    /// In both: the movement itself has it.
    Both,
    /// Only with the ball: the movement is there, the ball disturbs it.
    OnlyBall,
    /// Only in practice swings.
    OnlySwing,
}

impl Sight {
    /// From whether the fault is suspected without and with the ball; `None` = not judged.
    #[must_use]
    pub fn of(swing: Option<bool>, ball: Option<bool>) -> Self {
        match (swing, ball) {
            (Some(true), Some(true)) => Self::Both,
            (Some(false), Some(true)) => Self::OnlyBall,
            (Some(true), Some(false)) => Self::OnlySwing,
            _ => Self::Unknown,
        }
    }

    /// What kind of plan it asks for, to the coach; `None` where nothing is known.
    ///
    /// That a new movement is learned slowly, off court or without a target, so that the ball's
    /// result does not matter yet, is common practice, no source.
    #[must_use]
    pub fn advice(self) -> Option<&'static str> {
        match self {
            Self::Unknown => None,
            Self::Both => Some(
                "It is in the practice swing too: learn the movement first, slowly and without a \
                 ball, and bring the ball in last.",
            ),
            Self::OnlyBall => Some(
                "The practice swing does not have it: the movement is there, and the ball gets in \
                 its way. Keep the swing and bring the ball back in steps: soft balls against \
                 a wall, then short serves without a target.",
            ),
            Self::OnlySwing => Some(
                "Only the practice swing has it: with the ball it is gone, so it can wait; make \
                 the practice swing like the serve, not the other way round.",
            ),
        }
    }

    /// Drills of a fault in the order this asks for: the first step without a ball where the
    /// movement has to be learned, with one where the ball is what disturbs it. Otherwise, and
    /// among equals, the catalogue's order.
    #[must_use]
    pub fn drills<'a>(self, catalogue: &'a Catalogue, fault: &str) -> Vec<&'a Drill> {
        let without = |place: Place| matches!(place, Place::OffCourt | Place::PracticeSwing);
        let mut drills: Vec<&Drill> = catalogue.drills_for(fault);
        drills.sort_by_key(|drill| {
            let swings = drill.places().next().is_some_and(without);
            let balls = drill.places().any(|place| !without(place));
            match self {
                Self::Both => !swings,
                Self::OnlyBall => !balls || swings,
                Self::Unknown | Self::OnlySwing => false,
            }
        });
        drills
    }
}
