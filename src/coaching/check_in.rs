//! What a coach asks on the day because no clip shows it: pain, how much tennis, old injuries, which
//! serves, where they went.

use std::fmt;

use thiserror::Error;

use super::sore::is_sore;
use crate::catalogue::{Attempt, BodyPart};
use crate::library::{Ache, BallFlight, CheckIn, HurtsWhen, Named};
use crate::words;

/// Highest pain.
const SCALE: u8 = 10;
/// Most serves a week; above it somebody has mistyped. Our choice: three hours of nothing but serves
/// a day.
const MOST_SERVES: u32 = 5_000;
/// Hours of all sports a week that juniors are advised not to pass, besides their age in years
/// (R112, expert advice).
const JUNIOR_SPORT_HOURS: f64 = 16.0;
/// The same of organised tennis (R113, expert advice).
const JUNIOR_TENNIS_HOURS: f64 = 12.0;

/// Why what a player told was not taken; nothing of it is stored then.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CheckInRefusal {
    /// No such part of the body.
    #[error(
        "'{found}' is not one of the places that can hurt; choose from {}, or say none",
        BodyPart::names()
    )]
    Place {
        /// What was said.
        found: String,
    },
    /// A place, and not how much it hurts.
    #[error("{found}: how much does it hurt? Say it, 1 to {}, like shoulder=3", SCALE)]
    Level {
        /// What was said.
        found: String,
    },
    /// No such time.
    #[error("'{found}' does not say when it hurts; choose from {}", HurtsWhen::names())]
    When {
        /// What was said.
        found: String,
    },
    /// One place twice.
    #[error("the {} is named twice; name it once, with the worst of it", .place.label())]
    Twice {
        /// The place.
        place: BodyPart,
    },
    /// Nothing hurts, and something does.
    #[error("nothing hurts and the {} hurts; say one of the two", .place.label())]
    Both {
        /// The place.
        place: BodyPart,
    },
    /// More serves than a week holds.
    #[error("{found} serves a week, at most {}; count them again", MOST_SERVES)]
    Serves {
        /// As said.
        found: u32,
    },
    /// More tennis than sport.
    #[error(
        "{tennis} hours of tennis and {sport} of all sports; tennis is one of them, so correct one"
    )]
    Hours {
        /// Hours of tennis, as text.
        tennis: String,
        /// Hours of all sports, as text.
        sport: String,
    },
    /// More misses on the two sides than went wide.
    #[error("{sides} wide left and right together, and {wide} wide; correct one")]
    Sides {
        /// Both sides together.
        sides: u32,
        /// Misses that went wide.
        wide: u32,
    },
}

impl CheckInRefusal {
    /// The field of [`CheckIn`] it is about.
    #[must_use]
    pub fn field(&self) -> &'static str {
        match self {
            Self::Place { .. }
            | Self::Level { .. }
            | Self::When { .. }
            | Self::Twice { .. }
            | Self::Both { .. } => "pain",
            Self::Serves { .. } => "serves_a_week",
            Self::Hours { .. } => "tennis_hours",
            Self::Sides { .. } => "wide_left",
        }
    }
}

/// What hurts from what somebody typed: `shoulder=5@serving`, or `none`; `None` of no entry.
///
/// # Errors
/// [`CheckInRefusal`].
pub fn aches_from_typed<'a>(
    entries: impl IntoIterator<Item = &'a str>,
) -> Result<Option<Vec<Ache>>, CheckInRefusal> {
    let (mut none, mut aches): (bool, Vec<Ache>) = (false, Vec::new());
    for entry in entries {
        if entry.trim() == "none" {
            none = true;
        } else {
            aches.push(ache_from_typed(entry)?);
        }
    }
    match (none, aches.first()) {
        (true, Some(ache)) => Err(CheckInRefusal::Both { place: ache.place }),
        (false, None) => Ok(None),
        _ => Ok(Some(aches)),
    }
}

fn ache_from_typed(entry: &str) -> Result<Ache, CheckInRefusal> {
    let (said, when) = match entry.split_once('@') {
        Some((said, when)) => (said, Some(when)),
        None => (entry, None),
    };
    let (place, level) = said.split_once('=').unwrap_or((said, ""));
    let unknown = || CheckInRefusal::Place { found: place.trim().to_owned() };
    let place = BodyPart::from_typed(place).ok_or_else(unknown)?;
    let level = level.trim().parse().ok().filter(|level| (1..=SCALE).contains(level));
    let level = level.ok_or_else(|| CheckInRefusal::Level { found: entry.trim().to_owned() })?;
    let time = |found: &str| {
        let unknown = || CheckInRefusal::When { found: found.trim().to_owned() };
        HurtsWhen::from_typed(found).ok_or_else(unknown)
    };
    Ok(Ache { place, level, when: when.map(time).transpose()? })
}

/// What is known once `said` is said over `known`, held against the rules and against what else is
/// known of the ball; what is left out stays as it was known.
///
/// # Errors
/// [`CheckInRefusal`].
pub fn check_in_over(
    said: &CheckIn,
    known: CheckIn,
    ball: &BallFlight,
) -> Result<CheckIn, CheckInRefusal> {
    let CheckIn { pain, injuries, .. } = said.clone();
    let told = CheckIn {
        pain: pain.or(known.pain),
        injuries: injuries.filter(|text| !text.trim().is_empty()).or(known.injuries),
        serves_a_week: said.serves_a_week.or(known.serves_a_week),
        tennis_hours: said.tennis_hours.or(known.tennis_hours),
        sport_hours: said.sport_hours.or(known.sport_hours),
        attempt: said.attempt.or(known.attempt),
        court: said.court.or(known.court),
        target: said.target.or(known.target),
        wide_left: said.wide_left.or(known.wide_left),
        wide_right: said.wide_right.or(known.wide_right),
        double_faults: said.double_faults.or(known.double_faults),
        by: said.by.clone().or(known.by),
    };
    let pain = told.pain.as_deref().unwrap_or_default();
    for (at, ache) in pain.iter().enumerate() {
        if !(1..=SCALE).contains(&ache.level) {
            return Err(CheckInRefusal::Level { found: ache.place.label().to_owned() });
        }
        if pain[..at].iter().any(|other| other.place == ache.place) {
            return Err(CheckInRefusal::Twice { place: ache.place });
        }
    }
    if let Some(found) = told.serves_a_week.filter(|serves| *serves > MOST_SERVES) {
        return Err(CheckInRefusal::Serves { found });
    }
    if let (Some(tennis), Some(sport)) = (told.tennis_hours, told.sport_hours)
        && tennis > sport
    {
        let (tennis, sport) = (tennis.to_string(), sport.to_string());
        return Err(CheckInRefusal::Hours { tennis, sport });
    }
    let sides = told.wide_left.unwrap_or(0).saturating_add(told.wide_right.unwrap_or(0));
    match ball.misses {
        Some(misses) if sides > misses.wide => {
            Err(CheckInRefusal::Sides { sides, wide: misses.wide })
        }
        _ => Ok(told),
    }
}

/// What a junior's hours in a week are held against; never a limit that was shown to be safe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MuchSport {
    text: String,
}

impl MuchSport {
    /// What the hours told are more than, for juniors and players of unknown age.
    #[must_use]
    pub fn of(told: &CheckIn, age_years: Option<u32>) -> Vec<Self> {
        if age_years.is_some_and(|age| age >= 18) {
            return Vec::new();
        }
        let mut much = Vec::new();
        let most =
            age_years.map_or(JUNIOR_SPORT_HOURS, |age| f64::from(age).min(JUNIOR_SPORT_HOURS));
        let hours = told.sport_hours.or(told.tennis_hours);
        if let Some(hours) = hours.filter(|hours| *hours > most) {
            let age = age_years.map_or_else(
                || "The player's age is not known, so the advice for juniors is used".to_owned(),
                |age| format!("The player is {age}"),
            );
            much.push(Self {
                text: format!(
                    "{hours} hours of sport a week. {age}: no more hours a week than years of age, \
                     and {JUNIOR_SPORT_HOURS} at most (expert advice, no trial). Plan less, and \
                     leave easy days between heavy ones."
                ),
            });
        }
        if let Some(hours) = told.tennis_hours.filter(|hours| *hours > JUNIOR_TENNIS_HOURS) {
            much.push(Self {
                text: format!(
                    "{hours} hours of tennis a week: juniors are advised {JUNIOR_TENNIS_HOURS} at \
                     most in organised tennis (expert advice, no trial). The rules of federation \
                     and club come first."
                ),
            });
        }
        much
    }
}

impl fmt::Display for MuchSport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// What was asked and what was told, in the order a coach asks; `None`: still to be asked. Each
/// answer stands by itself: "shoulder, 5 of 10, while serving".
#[must_use]
pub fn told_answers(told: &CheckIn) -> Vec<(&'static str, Option<String>)> {
    let amount = |number: f64, what: &str| format!("{number} hours of {what}");
    let week = [
        told.serves_a_week.map(|serves| format!("{serves} serves")),
        told.tennis_hours.map(|hours| amount(hours, "tennis")),
        told.sport_hours.map(|hours| amount(hours, "all sports together")),
    ];
    let which = [
        told.attempt.map(|attempt| match attempt {
            Attempt::First => "first serves".to_owned(),
            Attempt::Second => "second serves".to_owned(),
        }),
        told.court.map(|court| format!("from the {}", court.label())),
        told.target.map(|target| target.label().to_owned()),
    ];
    let sides = [
        told.wide_left.map(|count| format!("{count} left")),
        told.wide_right.map(|count| format!("{count} right")),
    ];
    let joined = |parts: &[Option<String>]| {
        let said: Vec<String> = parts.iter().flatten().cloned().collect();
        (!said.is_empty()).then(|| words::list(&said))
    };
    vec![
        ("pain", told.pain.as_deref().map(describe_pain)),
        ("injuries", told.injuries.clone()),
        ("how much tennis a week", joined(&week)),
        ("which serves", joined(&which).map(|text| text.replace(" and ", ", "))),
        ("wide misses by side, seen from behind", joined(&sides)),
        ("double faults", told.double_faults.map(|count| count.to_string())),
    ]
}

/// "shoulder, 5 of 10, while serving; knee, 2 of 10", or "none".
fn describe_pain(pain: &[Ache]) -> String {
    if pain.is_empty() {
        return "none".to_owned();
    }
    let each = pain.iter().map(|ache| {
        let when = ache.when.map(|when| format!(", {}", when.label())).unwrap_or_default();
        format!("{}, {} of {SCALE}{when}", ache.place.label(), ache.level)
    });
    each.collect::<Vec<_>>().join("; ")
}

/// The worst that is too much to go on with, if anything is.
pub(super) fn worst(pain: &[Ache]) -> Option<&Ache> {
    pain.iter().filter(|ache| is_sore(ache)).max_by_key(|ache| ache.level)
}
