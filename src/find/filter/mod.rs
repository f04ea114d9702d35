//! Which past serves take part: `player=p07 level=club,competition date>=2026-03 words="late toss"`.
//!
//! Terms are joined by "and", values within a term by a comma for "or". A filter gives the set of
//! serves before any search, so k answers come back whenever k serves match.

mod ids;
mod known;
mod parse;
mod select;

use std::fmt;
use std::ops::Bound;

use jiff::civil::Date;
use thiserror::Error;

pub(crate) use ids::Ids;
pub(crate) use select::KeptServes;
pub use select::{Cut, Selection, TermCut};

use crate::catalogue::Miss;
use crate::library::StoreError;

/// A parsed filter; see [`Filter::parse`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Filter {
    terms: Vec<Term>,
}

/// One condition, with the text it came from.
#[derive(Debug, Clone, PartialEq)]
struct Term {
    /// As typed, for messages.
    text: String,
    /// First character of the term in the filter, from 1.
    column: usize,
    /// `!=`: everything but.
    negated: bool,
    test: Test,
}

#[derive(Debug, Clone, PartialEq)]
enum Test {
    /// A column holds one of these names.
    OneOf { key: Key, values: Vec<String> },
    /// Recorded between these days, both included.
    Days(Vec<(Option<Date>, Option<Date>)>),
    /// Age in the year of the recording, both ends included.
    Ages(Vec<(i64, i64)>),
    /// A reported figure lies between these, both ends included or not.
    Figures { key: Key, spans: Vec<(Bound<f64>, Bound<f64>)> },
    /// More misses went to one of these sides than to either other one.
    Misses(Vec<Miss>),
    /// There is a follow-up.
    FollowUp(bool),
    /// The case holds these words.
    Words(String),
}

/// What a term asks about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Key {
    Player,
    Squad,
    Coach,
    Hand,
    Level,
    Type,
    Setting,
    View,
    Capture,
    Fault,
    Limiting,
    Drill,
    Place,
    IndexKnuckle,
    HeelPad,
    Misses,
    Attempt,
    Court,
    Target,
    Pain,
    Speed,
    FirstServe,
    Age,
    Date,
    FollowUp,
    Words,
}

impl Key {
    const ALL: [(Self, &'static str); 26] = [
        (Self::Player, "player"),
        (Self::Squad, "squad"),
        (Self::Coach, "coach"),
        (Self::Hand, "hand"),
        (Self::Level, "level"),
        (Self::Age, "age"),
        (Self::Type, "type"),
        (Self::Setting, "setting"),
        (Self::View, "view"),
        (Self::Capture, "capture"),
        (Self::Fault, "fault"),
        (Self::Limiting, "limiting"),
        (Self::Drill, "drill"),
        (Self::Place, "place"),
        (Self::IndexKnuckle, "index-knuckle"),
        (Self::HeelPad, "heel-pad"),
        (Self::Misses, "misses"),
        (Self::Attempt, "attempt"),
        (Self::Court, "court"),
        (Self::Target, "target"),
        (Self::Pain, "pain"),
        (Self::Speed, "speed"),
        (Self::FirstServe, "first-serve"),
        (Self::Date, "date"),
        (Self::FollowUp, "follow-up"),
        (Self::Words, "words"),
    ];

    fn name(self) -> &'static str {
        Self::ALL.iter().find(|(key, _)| *key == self).map_or("", |(_, name)| name)
    }
}

/// The age bands a filter knows, by the age reached in the year of the recording, the way junior
/// competition groups players (common practice, no source).
pub const AGE_BANDS: [(&str, i64, i64); 7] = [
    ("u10", 0, 10),
    ("u12", 11, 12),
    ("u14", 13, 14),
    ("u16", 15, 16),
    ("u18", 17, 18),
    ("adult", 19, 34),
    ("senior", 35, 150),
];

/// Why a filter was not understood, or asks for something this library does not have.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FilterError {
    /// Not of the form `key=value`.
    #[error(
        "filter, column {column}: '{found}' is not a term; write key=value, for example level=club, or \
         words=\"leg drive\" to search for words"
    )]
    NotATerm {
        /// First character, from 1.
        column: usize,
        /// What was found.
        found: String,
    },
    /// There is no such key.
    #[error("filter, column {column}: unknown key '{found}'; known are {allowed}")]
    UnknownKey {
        /// First character, from 1.
        column: usize,
        /// What was found.
        found: String,
        /// All keys.
        allowed: String,
    },
    /// The sign does not go with the key.
    #[error("filter, column {column}: '{key}' does not go with '{found}'; use {allowed}")]
    Sign {
        /// First character, from 1.
        column: usize,
        /// The key.
        key: &'static str,
        /// The sign.
        found: &'static str,
        /// Signs that do.
        allowed: &'static str,
    },
    /// The value is not one the key can have.
    #[error("filter, column {column}: {key} has no '{found}'; {allowed}")]
    Value {
        /// First character, from 1.
        column: usize,
        /// The key.
        key: &'static str,
        /// What was found.
        found: String,
        /// What is allowed.
        allowed: String,
    },
    /// A quotation mark that never closes.
    #[error("filter, column {column}: the quotation mark is never closed; add one")]
    Quote {
        /// The mark, from 1.
        column: usize,
    },
    /// Words that can not be searched, in strict mode.
    #[error(
        "filter, column {column}: these words cannot be searched for: {ignored}; leave them \
         out"
    )]
    Words {
        /// First character, from 1.
        column: usize,
        /// What is in the way.
        ignored: String,
    },
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl Filter {
    /// Reads a filter: terms separated by spaces, each `key=value`, `key=value,other` (or),
    /// `key!=value` (everything but; unknown passes), and for `date`, `age`, `speed` and
    /// `first-serve` also `<`, `<=`, `>`, `>=`. Values with spaces stand in double quotes; `_` in
    /// a key is read as `-`. An empty text filters nothing.
    ///
    /// Keys: `player`, `squad`, `coach`, `hand`, `level`, `age` (`u14`, `13`, `12-15`), `type`,
    /// `setting`, `view`, `capture`, `fault` (not rejected by a coach), `limiting` (planned for, or
    /// named by a coach), `drill`, `index-knuckle` and `heel-pad` (bevel 1 to 8), `misses` (`net`,
    /// `long`, `wide`: where more went than to either other side), `attempt` (`first`, `second`), `court`
    /// (`deuce`, `ad`), `target` (`wide`, `body`, `t`), `pain` (a part of the body, `any`, `none`), `speed` (km/h, `120-140`),
    /// `first-serve` (percent in), `date` (`2026`, `2026-03`, `2026-03-04`), `follow-up` (`yes`, `no`), `words`.
    ///
    /// ```
    /// use precedent::find::Filter;
    /// let filter = Filter::parse(r#"level=club,national age=u14 words="late toss""#)?;
    /// assert_eq!(filter.to_string(), r#"level=club,national age=u14 words="late toss""#);
    /// let error = Filter::parse("hand=left levle=club").unwrap_err();
    /// assert!(error.to_string().starts_with("filter, column 11: unknown key 'levle'"));
    /// # Ok::<(), precedent::find::FilterError>(())
    /// ```
    ///
    /// # Errors
    /// [`FilterError`] with the column, what was found and what is allowed.
    pub fn parse(text: &str) -> Result<Self, FilterError> {
        parse::parse(text)
    }

    /// Whether it lets every serve through.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.terms.is_empty()
    }

    /// Both filters as one.
    #[must_use]
    pub fn and(mut self, other: Self) -> Self {
        self.terms.extend(other.terms);
        self
    }
}

impl fmt::Display for Filter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, term) in self.terms.iter().enumerate() {
            write!(f, "{}{}", if at > 0 { " " } else { "" }, term.text)?;
        }
        Ok(())
    }
}
