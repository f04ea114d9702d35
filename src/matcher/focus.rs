//! Which parts of the body count how much.

use std::fmt;

use thiserror::Error;

use crate::serve::{BodyPart, channels};

/// Weight of a part that is named without one.
pub const FOCUS_WEIGHT: f64 = 4.0;
/// Largest weight that may be given.
const MOST: f64 = 1000.0;

/// Weights by part of the body; parts not named weigh 1.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Focus {
    parts: Vec<(BodyPart, f64)>,
}

/// Why a focus was not understood.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FocusError {
    /// There is no such part.
    #[error("focus: no body part is called '{found}'; choose from {}", parts())]
    Part {
        /// What was found.
        found: String,
    },
    /// Not a usable weight.
    #[error("focus: {part}: weight '{found}'; give 0 or 0.001 to {MOST}")]
    Weight {
        /// The part.
        part: &'static str,
        /// What was found.
        found: String,
    },
    /// A part that is named twice.
    #[error("focus: {part} is named twice; name it once")]
    Twice {
        /// The part.
        part: &'static str,
    },
    /// Nothing counts any more.
    #[error("focus: every part has weight 0; leave one out of the focus, or give it more weight")]
    Nothing,
}

fn parts() -> String {
    BodyPart::ALL.map(BodyPart::name).join(", ")
}

impl Focus {
    /// Reads parts separated by commas, each with an optional weight: `tossing_arm` (weighs
    /// [`FOCUS_WEIGHT`]), `front_leg=2`, `trunk=0`. A weight multiplies squared differences.
    ///
    /// ```
    /// use precedent::matcher::Focus;
    /// use precedent::serve::BodyPart;
    /// let focus = Focus::parse("tossing_arm,trunk=0.5")?;
    /// assert_eq!(focus.weight(BodyPart::TossingArm), 4.0);
    /// assert_eq!(focus.weight(BodyPart::Trunk), 0.5);
    /// assert_eq!(focus.weight(BodyPart::FrontLeg), 1.0);
    /// # Ok::<(), precedent::matcher::FocusError>(())
    /// ```
    ///
    /// # Errors
    /// [`FocusError`] naming the part.
    pub fn parse(text: &str) -> Result<Self, FocusError> {
        let mut focus = Self::default();
        for piece in text.split(',').map(str::trim).filter(|piece| !piece.is_empty()) {
            let (name, weight) = match piece.split_once('=') {
                Some((name, weight)) => (name.trim(), Some(weight.trim())),
                None => (piece, None),
            };
            let plain = name.replace([' ', '-'], "_");
            let Some(part) = BodyPart::from_name(&plain) else {
                return Err(FocusError::Part { found: name.to_owned() });
            };
            let weight = match weight {
                None => FOCUS_WEIGHT,
                Some(text) => text
                    .parse()
                    .ok()
                    .filter(|weight| *weight == 0.0 || (0.001..=MOST).contains(weight))
                    .ok_or_else(|| FocusError::Weight {
                        part: part.name(),
                        found: text.to_owned(),
                    })?,
            };
            if focus.parts.iter().any(|(known, _)| *known == part) {
                return Err(FocusError::Twice { part: part.name() });
            }
            focus.parts.push((part, weight));
        }
        if BodyPart::ALL.iter().all(|&part| focus.weight(part) == 0.0) {
            return Err(FocusError::Nothing);
        }
        Ok(focus)
    }

    /// The weight of a part.
    #[must_use]
    pub fn weight(&self, part: BodyPart) -> f64 {
        self.parts.iter().find(|(known, _)| *known == part).map_or(1.0, |(_, weight)| *weight)
    }

    /// One weight per channel of a set; `count` ones for a set whose channels we do not know.
    #[must_use]
    pub fn weights(&self, channel_set: &str, count: usize) -> Vec<f64> {
        let known = channels(channel_set);
        if known.len() == count {
            known.iter().map(|channel| self.weight(channel.part)).collect()
        } else {
            vec![1.0; count]
        }
    }

    /// Whether every part weighs the same.
    #[must_use]
    pub fn is_even(&self) -> bool {
        self.parts.iter().all(|(_, weight)| *weight == 1.0)
    }
}

impl fmt::Display for Focus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, (part, weight)) in self.parts.iter().enumerate() {
            write!(f, "{}{}={weight}", if at > 0 { "," } else { "" }, part.name())?;
        }
        Ok(())
    }
}
