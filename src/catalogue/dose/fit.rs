//! Whether a dose's words fit beside a drill, and what they count fits a body.

use std::fmt;

use super::{Dose, clauses, tokens, whole, work_named};

/// Longest dose, in characters: one line beside the drill on a phone and on a sheet; our choice.
pub const MOST_DOSE_CHARACTERS: usize = 120;
/// Most repetitions of a drill in one session, sets times repetitions. Our estimate, on the safe
/// side of a long match (100 to 150 serves of one player, from memory): who writes more has mistyped
/// or has not thought of the shoulder.
pub const MOST_REPETITIONS: u32 = 200;

/// Why a dose does not fit.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum DoseProblem {
    /// Nothing is said.
    Empty,
    /// It does not fit beside the drill.
    Long {
        /// Characters found.
        characters: usize,
    },
    /// It is more than one line or holds control characters.
    Lines,
    /// Sets or repetitions of nothing.
    Nothing,
    /// More repetitions a session than anybody should be given.
    Many {
        /// Sets times repetitions.
        repetitions: u64,
    },
}

impl fmt::Display for DoseProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "it says nothing; say how many and how often, like 3 x 8"),
            Self::Long { characters } => write!(
                f,
                "{characters} characters, at most {MOST_DOSE_CHARACTERS} fit next to the drill; put \
                 the rest in the plan's note"
            ),
            Self::Lines => {
                write!(f, "it is more than one line; put the rest in the plan's note")
            }
            Self::Nothing => write!(f, "that is none at all; say how many, like 3 x 8"),
            Self::Many { repetitions } => write!(
                f,
                "{repetitions} repetitions a session, at most {MOST_REPETITIONS}; spread them over \
                 days"
            ),
        }
    }
}

impl Dose {
    /// Holds a dose's words against what fits beside a drill, and each count in them, wherever it
    /// stands, against what anybody should do of one drill in a session.
    ///
    /// ```
    /// use precedent::catalogue::{Dose, DoseProblem};
    /// assert_eq!(Dose::check("3 x 8, four days a week"), Ok(()));
    /// assert_eq!(Dose::check("3 x 80"), Err(DoseProblem::Many { repetitions: 240 }));
    /// ```
    ///
    /// # Errors
    /// [`DoseProblem`], the first there is.
    pub fn check(words: &str) -> Result<(), DoseProblem> {
        if words.trim().is_empty() {
            return Err(DoseProblem::Empty);
        }
        if words.contains(char::is_control) {
            return Err(DoseProblem::Lines);
        }
        let characters = words.chars().count();
        if characters > MOST_DOSE_CHARACTERS {
            return Err(DoseProblem::Long { characters });
        }
        for repetitions in repetitions(words) {
            if repetitions == 0 {
                return Err(DoseProblem::Nothing);
            }
            if repetitions > u64::from(MOST_REPETITIONS) {
                return Err(DoseProblem::Many { repetitions });
            }
        }
        Ok(())
    }
}

/// What is counted in a dose: "3 x 8" and "3x8" are 24, "20 balls" are 20; minutes, days and weeks
/// are no repetitions.
pub(super) fn repetitions(dose: &str) -> Vec<u64> {
    let mut found = Vec::new();
    for tokens in clauses(dose).map(tokens) {
        for (at, token) in tokens.iter().enumerate() {
            let Some(count) = whole(token) else { continue };
            let next = |steps: usize| tokens.get(at + steps).map(String::as_str);
            match (next(1), next(2).and_then(whole)) {
                (Some("x"), Some(each)) => found.push(count.saturating_mul(each)),
                (Some(unit), _) if work_named(unit).is_some() => found.push(count),
                _ => {}
            }
        }
    }
    found
}
