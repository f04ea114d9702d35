//! What the path of a file says, by a pattern such as `{player}/{date}-{view}`.
//!
//! Fields in braces, `*` for whatever does not matter, everything else as it stands. The pattern is
//! held against the end of the path, folder by folder, without the file's ending; where a name can be
//! taken apart in several ways, the shortest first field that leads to a fit counts.

use std::fmt;
use std::path::Path;
use std::str::FromStr;

use jiff::civil::Date;
use thiserror::Error;

use crate::library::{Named, ServeType, Setting};
use crate::motion::{Side, View};

/// What a path can say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Field {
    Player,
    Date,
    View,
    Hand,
    Type,
    Setting,
    Rate,
}

/// Longest value but for a player's code, bytes: a day has ten, the names of the others are words.
const MOST_BYTES: usize = 40;

const FIELDS: [(&str, Field); 7] = [
    ("player", Field::Player),
    ("date", Field::Date),
    ("view", Field::View),
    ("hand", Field::Hand),
    ("type", Field::Type),
    ("setting", Field::Setting),
    ("rate", Field::Rate),
];

#[derive(Debug, Clone, PartialEq)]
enum Part {
    As(String),
    Any,
    Field(Field),
}

/// A pattern, understood.
#[derive(Debug, Clone, PartialEq)]
pub struct PathPattern {
    text: String,
    /// Parts of each name, folder by folder.
    names: Vec<Vec<Part>>,
}

/// Why a pattern is none.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PatternError {
    /// Braces that hold no known field.
    #[error(
        "'{{{found}}}' is nothing a path can say; use {{player}}, {{date}}, {{view}}, {{hand}}, \
         {{type}}, {{setting}} or {{rate}}, and * for what does not matter"
    )]
    Field {
        /// What stood in the braces.
        found: String,
    },
    /// A brace without its partner.
    #[error("a brace stands alone in '{found}'; fields are written {{player}}")]
    Brace {
        /// The pattern.
        found: String,
    },
    /// A code or `*` with another one right beside it.
    #[error(
        "nothing stands beside {{player}} or * in '{found}', so nobody knows where it ends; put a \
         sign between"
    )]
    Together {
        /// The name they stand in.
        found: String,
    },
    /// A field said twice.
    #[error("{{{found}}} is there twice; one is enough")]
    Twice {
        /// The field.
        found: &'static str,
    },
    /// No field at all.
    #[error("'{found}' holds no field; for example {{player}}/{{date}}-{{view}}")]
    Nothing {
        /// The pattern.
        found: String,
    },
}

/// Why a path does not fit a pattern.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("'{found}' does not fit '{expected}'; a file that fits is for example {example}")]
pub struct Misfit {
    /// The part of the path.
    pub found: String,
    /// The part of the pattern.
    pub expected: String,
    /// A path that fits the whole pattern.
    pub example: String,
}

/// What a path says of a recording; `None`: nothing.
#[derive(Debug, Clone, PartialEq, Default, serde::Serialize, serde::Deserialize)]
pub struct PathSays {
    /// The player's code.
    pub player: Option<String>,
    /// The day.
    pub date: Option<Date>,
    /// Where the camera stood.
    pub view: Option<View>,
    /// The hand that serves.
    pub hand: Option<Side>,
    /// The intended ball.
    pub serve_type: Option<ServeType>,
    /// What it shows.
    pub setting: Option<Setting>,
    /// The rate it was filmed at, Hz.
    pub rate_hz: Option<f64>,
}

impl FromStr for PathPattern {
    type Err = PatternError;

    fn from_str(text: &str) -> Result<Self, PatternError> {
        let names: Vec<Vec<Part>> = text
            .trim_matches('/')
            .split('/')
            .map(|name| parts(name, text))
            .collect::<Result<_, _>>()?;
        let fields: Vec<Field> = names
            .iter()
            .flatten()
            .filter_map(|part| if let Part::Field(field) = part { Some(*field) } else { None })
            .collect();
        if fields.is_empty() {
            return Err(PatternError::Nothing { found: text.to_owned() });
        }
        for (known, field) in FIELDS {
            if fields.iter().filter(|one| **one == field).count() > 1 {
                return Err(PatternError::Twice { found: known });
            }
        }
        Ok(Self { text: text.trim_matches('/').to_owned(), names })
    }
}

impl fmt::Display for PathPattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

fn parts(name: &str, pattern: &str) -> Result<Vec<Part>, PatternError> {
    let brace = || PatternError::Brace { found: pattern.to_owned() };
    let mut parts: Vec<Part> = Vec::new();
    let mut rest = name;
    while let Some(first) = rest.chars().next() {
        let part = match first {
            '{' => {
                let (inside, after) = rest[1..].split_once('}').ok_or_else(brace)?;
                rest = after;
                let known = FIELDS.iter().find(|(name, _)| *name == inside.trim());
                let (_, field) =
                    known.ok_or_else(|| PatternError::Field { found: inside.to_owned() })?;
                Part::Field(*field)
            }
            '}' => return Err(brace()),
            '*' => {
                rest = &rest[1..];
                Part::Any
            }
            _ => {
                let end = rest.find(['{', '}', '*']).unwrap_or(rest.len());
                let (as_is, after) = rest.split_at(end);
                rest = after;
                Part::As(as_is.to_owned())
            }
        };
        // A day or a view ends where it ends; a code may hold anything, as `*` does.
        let open = |part: &Part| matches!(part, Part::Any | Part::Field(Field::Player));
        if parts.last().is_some_and(open) && open(&part) {
            return Err(PatternError::Together { found: name.to_owned() });
        }
        parts.push(part);
    }
    Ok(parts)
}

impl PathPattern {
    /// Whether it says whose the recordings are.
    #[must_use]
    pub fn names_the_player(&self) -> bool {
        self.names.iter().flatten().any(|part| *part == Part::Field(Field::Player))
    }

    /// What the end of `path` says.
    ///
    /// # Errors
    /// [`Misfit`], with the first name that does not fit.
    pub fn read(&self, path: &Path) -> Result<PathSays, Misfit> {
        let mut says = PathSays::default();
        let held: Vec<String> = path
            .with_extension("")
            .components()
            .map(|part| part.as_os_str().to_string_lossy().into_owned())
            .collect();
        let expected: Vec<&str> = self.text.split('/').collect();
        let misfit = |found: &str, expected: &str| Misfit {
            found: found.to_owned(),
            expected: expected.to_owned(),
            example: self.example(),
        };
        let Some(from) = held.len().checked_sub(self.names.len()) else {
            return Err(misfit(&held.join("/"), &self.text));
        };
        for ((name, parts), expected) in held[from..].iter().zip(&self.names).zip(expected) {
            let Some(values) = Tried::none(name, parts).fit(name, parts) else {
                return Err(misfit(name, expected));
            };
            for (field, value) in values {
                says.take(field, value);
            }
        }
        Ok(says)
    }

    /// A path that fits, invented.
    fn example(&self) -> String {
        let value = |part: &Part| match part {
            Part::As(text) => text.clone(),
            Part::Any => "anything".to_owned(),
            Part::Field(field) => match field {
                Field::Player => "avocet",
                Field::Date => "2026-05-04",
                Field::View => "side",
                Field::Hand => "right",
                Field::Type => "flat",
                Field::Setting => "target",
                Field::Rate => "240",
            }
            .to_owned(),
        };
        let names: Vec<String> =
            self.names.iter().map(|parts| parts.iter().map(value).collect()).collect();
        format!("{}.mp4", names.join("/"))
    }
}

/// Where in a name a pattern's rest did not fit, so that no place is tried twice: else several `*` in a name of
/// one sign would take for ever.
struct Tried {
    /// By parts and bytes that were left.
    failed: Vec<Vec<bool>>,
}

impl Tried {
    fn none(name: &str, parts: &[Part]) -> Self {
        Self { failed: vec![vec![false; name.len() + 1]; parts.len() + 1] }
    }

    /// The fields' values in a name, if it fits.
    fn fit<'t>(&mut self, name: &'t str, parts: &[Part]) -> Option<Vec<(Field, &'t str)>> {
        let Some((first, rest)) = parts.split_first() else {
            return name.is_empty().then(Vec::new);
        };
        if self.failed[parts.len()][name.len()] {
            return None;
        }
        let found = match first {
            Part::As(text) => {
                name.strip_prefix(text.as_str()).and_then(|after| self.fit(after, rest))
            }
            Part::Any => ends(name).find_map(|end| self.fit(&name[end..], rest)),
            Part::Field(field) => {
                ends(name).skip(1).take_while(|end| field.may_take(*end)).find_map(|end| {
                    let (value, after) = name.split_at(end);
                    PathSays::default().take(*field, value).then_some(())?;
                    let mut values = self.fit(after, rest)?;
                    values.insert(0, (*field, value));
                    Some(values)
                })
            }
        };
        self.failed[parts.len()][name.len()] = found.is_none();
        found
    }
}

/// Every place at which a piece from the start of `name` may end, the empty one first.
fn ends(name: &str) -> impl Iterator<Item = usize> + '_ {
    name.char_indices().map(|(at, _)| at).chain(std::iter::once(name.len()))
}

impl Field {
    /// Whether a value may have so many bytes.
    fn may_take(self, bytes: usize) -> bool {
        self == Self::Player || bytes <= MOST_BYTES
    }
}

impl PathSays {
    /// Takes a value over; `false` where it is none of this field.
    fn take(&mut self, field: Field, value: &str) -> bool {
        let small = value.to_lowercase();
        match field {
            Field::Player => self.player = Some(value.trim().to_owned()).filter(|v| !v.is_empty()),
            Field::Date => self.date = date(value),
            Field::View => self.view = View::from_typed(&small),
            Field::Hand => {
                self.hand = match small.as_str() {
                    "l" => Some(Side::Left),
                    "r" => Some(Side::Right),
                    other => Side::from_typed(other),
                }
            }
            Field::Type => self.serve_type = ServeType::from_typed(&small),
            Field::Setting => self.setting = Setting::from_typed(&small),
            Field::Rate => {
                let number = small.trim_end_matches("fps").trim_end_matches("hz").trim();
                self.rate_hz = number.parse().ok().filter(|hz: &f64| hz.is_finite() && *hz > 0.0);
            }
        }
        match field {
            Field::Player => self.player.is_some(),
            Field::Date => self.date.is_some(),
            Field::View => self.view.is_some(),
            Field::Hand => self.hand.is_some(),
            Field::Type => self.serve_type.is_some(),
            Field::Setting => self.setting.is_some(),
            Field::Rate => self.rate_hz.is_some(),
        }
    }
}

/// A day as year, month and day, with hyphens, underscores, dots or nothing between.
fn date(text: &str) -> Option<Date> {
    let digits: String = text.chars().filter(char::is_ascii_digit).collect();
    let signs: Vec<char> = text.chars().filter(|c| !c.is_ascii_digit()).collect();
    let bounds: Vec<usize> =
        text.char_indices().filter(|(_, c)| !c.is_ascii_digit()).map(|(at, _)| at).collect();
    let apart = match signs.as_slice() {
        [] => true,
        [a, b] => a == b && ['-', '_', '.'].contains(a) && bounds == [4, 7],
        _ => false,
    };
    if digits.len() != 8 || !apart {
        return None;
    }
    let number = |range: std::ops::Range<usize>| digits[range].parse::<i16>().ok();
    let (month, day) = (i8::try_from(number(4..6)?).ok()?, i8::try_from(number(6..8)?).ok()?);
    Date::new(number(0..4)?, month, day).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(pattern: &str, path: &str) -> Result<PathSays, Misfit> {
        pattern.parse::<PathPattern>().unwrap().read(Path::new(path))
    }

    #[test]
    fn a_path_says_what_its_pattern_names() {
        let says = read("{player}/{date}-{view}", "/clips/avocet/2026-03-04-side.mp4").unwrap();
        assert_eq!(says.player.as_deref(), Some("avocet"));
        assert_eq!(says.date, Some(jiff::civil::date(2026, 3, 4)));
        assert_eq!(says.view, Some(View::Side));
        // Hyphens within a code, and a clip's number at the end.
        let says = read("{player}-{date}_{hand}*", "reed-bunting-20260304_R_017.MOV").unwrap();
        assert_eq!(says.player.as_deref(), Some("reed-bunting"));
        assert_eq!(
            (says.date, says.hand),
            (Some(jiff::civil::date(2026, 3, 4)), Some(Side::Right))
        );
        let says =
            read("{date}/*/{player} {type} {rate}fps", "2026.03.04/court 2/knot kick 240fps.mp4");
        let says = says.unwrap();
        assert_eq!((says.serve_type, says.rate_hz), (Some(ServeType::Kick), Some(240.0)));
        assert_eq!(says.player.as_deref(), Some("knot"));
    }

    #[test]
    fn a_path_that_does_not_fit_says_where_and_shows_one_that_does() {
        let told = read("{player}/{date}-{view}", "avocet/2026-03-04-sid.mp4").unwrap_err();
        assert_eq!(
            told.to_string(),
            "'2026-03-04-sid' does not fit '{date}-{view}'; a file that fits is for example \
             avocet/2026-05-04-side.mp4"
        );
        // The example itself fits, and no day that is none does.
        assert!(read("{player}/{date}-{view}", &told.example).is_ok());
        assert!(read("{player}/{date}-{view}", "avocet/2026-13-04-side.mp4").is_err());
        assert_eq!(
            read("{player}/{date}", "2026-03-04.mp4").unwrap_err().expected,
            "{player}/{date}"
        );
    }

    /// Found by `tests/fuzz`: every further `*` took a hundred times as long.
    #[test]
    fn a_pattern_of_many_parts_is_held_against_a_long_name_at_once() {
        let name = format!("avocet{}.mp4", "-".repeat(240));
        assert!(read("{player}-*-*-*-*-*-*-*-*-{date}", &name).is_err());
        let says = read("{player}-*-*-*-*-*-*-*-*-{date}", "a---------2026-03-04.mp4").unwrap();
        assert_eq!(says.date, Some(jiff::civil::date(2026, 3, 4)));
    }

    #[test]
    fn a_pattern_that_is_none_is_refused() {
        let told = |text: &str| text.parse::<PathPattern>().unwrap_err();
        assert_eq!(told("{players}"), PatternError::Field { found: "players".to_owned() });
        assert_eq!(told("{player"), PatternError::Brace { found: "{player".to_owned() });
        assert_eq!(told("player}"), PatternError::Brace { found: "player}".to_owned() });
        assert_eq!(told("{player}*"), PatternError::Together { found: "{player}*".to_owned() });
        assert_eq!(told("{player}/{player}"), PatternError::Twice { found: "player" });
        assert_eq!(told("clips"), PatternError::Nothing { found: "clips".to_owned() });
    }
}
