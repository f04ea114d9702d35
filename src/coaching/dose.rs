use std::fmt;

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
                "{characters} characters, at most {MOST_DOSE_CHARACTERS} fit next to the drill; \
                 put the rest in the plan's note"
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

/// Holds a dose in words against what fits beside a drill and what a body takes.
pub(super) fn check_dose(dose: &str) -> Result<(), DoseProblem> {
    if dose.trim().is_empty() {
        return Err(DoseProblem::Empty);
    }
    if dose.contains(char::is_control) {
        return Err(DoseProblem::Lines);
    }
    let characters = dose.chars().count();
    if characters > MOST_DOSE_CHARACTERS {
        return Err(DoseProblem::Long { characters });
    }
    for repetitions in repetitions(dose) {
        if repetitions == 0 {
            return Err(DoseProblem::Nothing);
        }
        if repetitions > u64::from(MOST_REPETITIONS) {
            return Err(DoseProblem::Many { repetitions });
        }
    }
    Ok(())
}

/// What is counted in a dose: "3 x 8" and "3x8" are 24, "20 balls" are 20; minutes, days and weeks
/// are no repetitions.
fn repetitions(dose: &str) -> Vec<u64> {
    const COUNTED: [&str; 8] =
        ["serves", "balls", "throws", "tosses", "swings", "jumps", "repetitions", "times"];
    // Digits apart from letters, so that "3x8" reads like "3 x 8".
    let mut words: Vec<String> = Vec::new();
    let mut last = None;
    for c in dose.chars() {
        let kind = match c {
            c if c.is_ascii_digit() => Some('0'),
            c if c.is_alphabetic() || c == '\u{d7}' => Some('a'),
            _ => None,
        };
        match words.last_mut() {
            Some(word) if kind.is_some() && last == kind => word.push(c),
            _ if kind.is_some() => words.push(c.to_string()),
            _ => {}
        }
        last = kind;
    }
    let number = |word: &String| {
        let digits = word.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| word.parse::<u64>().unwrap_or(u64::MAX))
    };
    let mut found = Vec::new();
    for (at, word) in words.iter().enumerate() {
        let Some(count) = number(word) else { continue };
        match (words.get(at + 1).map(String::as_str), words.get(at + 2).and_then(number)) {
            (Some("x" | "X" | "\u{d7}"), Some(each)) => found.push(count.saturating_mul(each)),
            (Some(what), _) if COUNTED.contains(&what) => found.push(count),
            _ => {}
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Catalogue;

    #[test]
    fn repetitions_are_read_as_a_coach_writes_them() {
        for (dose, counted) in [
            ("3 x 8, four days a week", vec![24]),
            ("3x8", vec![24]),
            ("2 \u{d7} 10 throws", vec![20, 10]),
            ("10 throws, 15 swings, 20 balls, three days a week", vec![10, 15, 20]),
            ("5 minutes a day, 6 weeks", vec![]),
            ("until 2027", vec![]),
            ("Every serve", vec![]),
        ] {
            assert_eq!(repetitions(dose), counted, "{dose}");
        }
    }

    #[test]
    fn a_dose_fits_the_page_and_the_body() {
        assert_eq!(check_dose("3 x 8, five days a week"), Ok(()));
        assert_eq!(check_dose("10 x 20"), Ok(()));
        assert_eq!(check_dose(" "), Err(DoseProblem::Empty));
        assert_eq!(check_dose("3 x 8\nand more"), Err(DoseProblem::Lines));
        assert_eq!(check_dose("0 x 8"), Err(DoseProblem::Nothing));
        assert_eq!(check_dose("3 x 80"), Err(DoseProblem::Many { repetitions: 240 }));
        assert_eq!(check_dose("500 serves a day"), Err(DoseProblem::Many { repetitions: 500 }));
        assert_eq!(check_dose(&"a".repeat(121)), Err(DoseProblem::Long { characters: 121 }));
        let many = DoseProblem::Many { repetitions: u64::MAX };
        assert_eq!(check_dose("99999999999999999999 x 9"), Err(many));
    }

    #[test]
    fn every_dose_of_the_catalogue_fits() {
        for drill in Catalogue::builtin().drills() {
            assert_eq!(check_dose(&drill.dose), Ok(()), "{}: {}", drill.id, drill.dose);
        }
    }
}
