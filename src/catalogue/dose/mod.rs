//! A dose as numbers: read from its words, added up over a plan's week, held against age, load and
//! what hurts.
//!
//! The words stay the truth: a coach writes "2 x 8 serves, three or four days a week", and what
//! could not be read of it is kept and said, never dropped. What a week adds up to is serves and
//! throws, since both load the hitting arm. The limits are data (`data/general.toml`) with their
//! sources: none is shown to be safe, for no source read gives a safe number of serves; they are
//! what a set, a match or a week of matches asks (R099, R103, R106, R107) or our estimate.

mod fit;
mod limits;
#[cfg(test)]
mod tests;
mod week;

use std::fmt;

use serde::{Deserialize, Serialize};

use super::types::Work;

pub use fit::{DoseProblem, MOST_DOSE_CHARACTERS, MOST_REPETITIONS};
pub use limits::{Limit, LimitOf, Practiser, Warning, check_doses};
pub use week::{Asked, Week};

/// From the least to the most.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Span {
    /// Least.
    pub least: f64,
    /// Most.
    pub most: f64,
}

impl Span {
    /// One number.
    #[must_use]
    pub fn exactly(number: f64) -> Self {
        Self { least: number, most: number }
    }

    fn times(self, other: Self) -> Self {
        Self { least: self.least * other.least, most: self.most * other.most }
    }

    fn plus(self, other: Self) -> Self {
        Self { least: self.least + other.least, most: self.most + other.most }
    }
}

impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.least.round() == self.most.round() {
            write!(f, "{:.0}", self.most)
        } else {
            write!(f, "{:.0} to {:.0}", self.least, self.most)
        }
    }
}

/// How hard, as a share of the player's full effort.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Effort {
    /// About a quarter.
    Quarter,
    /// About half.
    Half,
    /// About three quarters.
    ThreeQuarters,
    /// All of it.
    Full,
}

/// Sets of repetitions on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sets {
    /// Sets.
    pub sets: u32,
    /// Repetitions in each.
    pub repetitions: u32,
    /// What is repeated, where the words say so.
    pub work: Option<Work>,
    /// Done once with each side.
    pub each_side: bool,
}

impl Sets {
    /// Repetitions a day, both sides together.
    #[must_use]
    pub fn a_day(&self) -> f64 {
        f64::from(self.sets) * f64::from(self.repetitions) * if self.each_side { 2.0 } else { 1.0 }
    }
}

/// A dose's words as numbers.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Dose {
    /// What is done on a day with it.
    pub sets: Vec<Sets>,
    /// Minutes on such a day.
    pub minutes: Option<f64>,
    /// Days a week.
    pub days_a_week: Option<Span>,
    /// For how many weeks.
    pub weeks: Option<u32>,
    /// How hard.
    pub effort: Option<Effort>,
    /// Words that say something else, in their order.
    pub unread: Vec<String>,
}

impl Dose {
    /// Reads what can be read of a dose's words; clauses stand between commas or semicolons.
    ///
    /// Never fails: what is not understood stands in [`Dose::unread`]. Numbers up to twelve may be
    /// words. A unit holds for its own number only.
    ///
    /// ```
    /// use precedent::catalogue::Dose;
    /// let dose = Dose::read("2 x 8 serves, three or four days a week, half speed");
    /// assert_eq!(dose.sets[0].a_day(), 16.0);
    /// assert_eq!(dose.days_a_week.unwrap().most, 4.0);
    /// assert!(dose.unread.is_empty());
    /// ```
    #[must_use]
    pub fn read(words: &str) -> Self {
        let mut dose = Self::default();
        for clause in clauses(words) {
            let tokens = tokens(clause);
            if !dose.clause(&tokens.iter().map(String::as_str).collect::<Vec<_>>()) {
                dose.unread.push(clause.to_owned());
            }
        }
        dose
    }

    /// Reads a clause, or its parts where the commas between them are missing: "3 x 10 daily".
    fn clause(&mut self, words: &[&str]) -> bool {
        self.part(words)
            || (1..words.len()).any(|at| {
                let mut tried = self.clone();
                let read = tried.part(&words[..at]) && tried.clause(&words[at..]);
                if read {
                    *self = tried;
                }
                read
            })
    }

    /// Reads one thing said; what is not understood changes nothing.
    fn part(&mut self, words: &[&str]) -> bool {
        let words = words.strip_prefix(&["for"]).unwrap_or(words);
        let words = words.strip_suffix(&["at", "most"]).unwrap_or(words);
        match words {
            ["every", "day"] | ["daily"] => self.days_a_week = Some(Span::exactly(7.0)),
            ["a" | "per" | "each", "day"] => {
                self.days_a_week = self.days_a_week.or(Some(Span::exactly(7.0)));
            }
            ["a" | "per" | "each", "session"] => {}
            ["every", "other", "day"] => self.days_a_week = Some(Span { least: 3.0, most: 4.0 }),
            [rest @ .., "days" | "day" | "times", "a" | "per", "week"] => match span(rest) {
                Some(days) if days.most <= 7.0 => self.days_a_week = Some(days),
                _ => return false,
            },
            [n, "week" | "weeks"] => match number(n) {
                Some(weeks) => self.weeks = Some(weeks),
                None => return false,
            },
            [n, "minute" | "minutes"] | [n, "minute" | "minutes", "before", "serving"] => {
                match number(n) {
                    Some(minutes) => self.minutes = Some(f64::from(minutes)),
                    None => return false,
                }
            }
            [n, "minute" | "minutes", "a" | "per" | "every", "day"] => match number(n) {
                Some(minutes) => {
                    self.minutes = Some(f64::from(minutes));
                    self.days_a_week = self.days_a_week.or(Some(Span::exactly(7.0)));
                }
                None => return false,
            },
            ["quarter", "speed" | "effort"] => self.effort = Some(Effort::Quarter),
            ["half", "speed" | "effort"] => self.effort = Some(Effort::Half),
            ["three", "quarters" | "quarter", "speed" | "effort"] => {
                self.effort = Some(Effort::ThreeQuarters);
            }
            ["full", "speed" | "effort"] => self.effort = Some(Effort::Full),
            [sets, "x", repetitions, what @ ..] => {
                let (Some(sets), Some(repetitions)) = (number(sets), number(repetitions)) else {
                    return false;
                };
                return self.put(sets, repetitions, what);
            }
            [n, what @ ..] if !what.is_empty() => {
                return number(n).is_some_and(|repetitions| self.put(1, repetitions, what));
            }
            _ => return false,
        }
        true
    }

    fn put(&mut self, sets: u32, repetitions: u32, what: &[&str]) -> bool {
        let each_side = what.ends_with(&["each", "side"]);
        let what = what.strip_suffix(&["each", "side"]).unwrap_or(what);
        let work = match what {
            [] => None,
            [.., unit] => match work_named(unit) {
                None => return false,
                work => work,
            },
        };
        if sets == 0 || repetitions == 0 {
            return false;
        }
        self.sets.push(Sets { sets, repetitions, work, each_side });
        true
    }
}

/// What a unit counts; `None` for one that counts no repetitions.
fn work_named(unit: &str) -> Option<Work> {
    match unit {
        "serve" | "serves" | "ball" | "balls" | "kicks" => Some(Work::Serves),
        "throw" | "throws" => Some(Work::Throws),
        "swing" | "swings" | "toss" | "tosses" => Some(Work::Swings),
        "repetitions" | "times" | "holds" | "jumps" => Some(Work::Exercise),
        _ => None,
    }
}

/// What stands between commas or semicolons.
fn clauses(words: &str) -> impl Iterator<Item = &str> {
    words.split([',', ';']).map(str::trim).filter(|clause| !clause.is_empty())
}

/// The words of a clause in small letters; "3x8" reads like "3 x 8".
fn tokens(clause: &str) -> Vec<String> {
    let clause = clause.to_lowercase().replace('\u{d7}', "x");
    let words =
        clause.split_whitespace().map(|word| word.trim_matches(|c| !char::is_alphanumeric(c)));
    let mut tokens = Vec::new();
    for word in words.filter(|word| !word.is_empty()) {
        let digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
        match word.split_once('x').filter(|(sets, each)| digits(sets) && digits(each)) {
            Some((sets, each)) => {
                let parts = [sets, "x", each].into_iter().filter(|part| !part.is_empty());
                tokens.extend(parts.map(str::to_owned));
            }
            None => tokens.push(word.to_owned()),
        }
    }
    tokens
}

/// A whole number in digits, or up to twelve in words; the greatest there is where it is greater.
fn whole(word: &str) -> Option<u64> {
    const WORDS: [&str; 13] = [
        "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    let named = WORDS.iter().position(|known| *known == word).and_then(|n| u64::try_from(n).ok());
    let digits = !word.is_empty() && word.bytes().all(|b| b.is_ascii_digit());
    named.or_else(|| digits.then(|| word.parse().unwrap_or(u64::MAX)))
}

fn number(word: &str) -> Option<u32> {
    // More of anything than this on one day is a typing error.
    whole(word).and_then(|n| u32::try_from(n).ok()).filter(|&n| n <= 1000)
}

/// "3", "three or four", "3 to 4", "3-4".
fn span(words: &[&str]) -> Option<Span> {
    let (least, most) = match words {
        [one] => match one.split_once('-') {
            Some((a, b)) => (number(a)?, number(b)?),
            None => (number(one)?, number(one)?),
        },
        [a, "or" | "to", b] => (number(a)?, number(b)?),
        _ => return None,
    };
    (least <= most).then(|| Span { least: f64::from(least), most: f64::from(most) })
}
