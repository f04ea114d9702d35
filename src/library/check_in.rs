//! What a player tells on the day of a case and no clip shows. It says what hurts, so none of it
//! leaves the library.

use jiff::civil::Date;
use rusqlite::{OptionalExtension, Row};
use serde::{Deserialize, Serialize};

use super::read::{named, named_if, parsed};
use super::{Author, CaseId, Library, PlayerId, StoreError};
use crate::catalogue::{Attempt, BodyPart};

/// When it hurts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HurtsWhen {
    /// During the serve.
    Serving,
    /// After serving.
    Afterwards,
    /// The morning after.
    NextDay,
    /// At rest too.
    AtRest,
}

impl HurtsWhen {
    /// In a sentence: "the shoulder hurts ...".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Serving => "while serving",
            Self::Afterwards => "after serving",
            Self::NextDay => "the morning after",
            Self::AtRest => "at rest too",
        }
    }
}

/// The side from which one serves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Court {
    /// The right half, seen from behind the server.
    Deuce,
    /// The left half.
    Ad,
}

impl Court {
    /// Name for people.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Deuce => "deuce court",
            Self::Ad => "ad court",
        }
    }
}

/// Where in the box a serve was meant to go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Target {
    /// Towards the sideline.
    Wide,
    /// At the receiver.
    Body,
    /// Down the centre line.
    T,
}

impl Target {
    /// In a sentence: "second serves ...".
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::Wide => "wide",
            Self::Body => "at the body",
            Self::T => "down the T",
        }
    }
}

/// A place that hurts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Ache {
    /// Where.
    pub place: BodyPart,
    /// 1 to 10 (the worst).
    pub level: u8,
    /// When, if that was said.
    pub when: Option<HurtsWhen>,
}

/// What a player tells on the day of a case; `None`: not asked.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct CheckIn {
    /// What hurts, each place once; empty: asked, and nothing does.
    pub pain: Option<Vec<Ache>>,
    /// Injuries and operations, in free words.
    pub injuries: Option<String>,
    /// Serves a week, matches and practice together.
    pub serves_a_week: Option<u32>,
    /// Hours of tennis a week.
    pub tennis_hours: Option<f64>,
    /// Hours of all sports a week, tennis included.
    pub sport_hours: Option<f64>,
    /// First or second serves.
    pub attempt: Option<Attempt>,
    /// The side they were hit from.
    pub court: Option<Court>,
    /// Where they were meant to go.
    pub target: Option<Target>,
    /// Serves that missed wide on the left, seen from behind the server.
    pub wide_left: Option<u32>,
    /// The same on the right.
    pub wide_right: Option<u32>,
    /// Double faults, in the matches or the set that was asked about.
    pub double_faults: Option<u32>,
    /// Who recorded it last, if that is known.
    pub by: Option<Author>,
}

impl CheckIn {
    /// Whether nothing was asked.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self { by: self.by.clone(), ..Self::default() }
    }
}

const CHECK_INS: &str = "SELECT i.case_id, c.date, i.pain_asked, i.injuries, i.serves_a_week,
        i.tennis_hours, i.sport_hours, i.attempt, i.court, i.target, i.wide_left, i.wide_right,
        i.double_faults, i.said_by
    FROM check_ins i JOIN cases c ON c.id = i.case_id";

impl Library {
    /// What the player told on the day of a case; empty where nobody asked.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn check_in(&self, case: CaseId) -> Result<CheckIn, StoreError> {
        let found = self
            .connection
            .prepare_cached(&format!("{CHECK_INS} WHERE i.case_id = ?1"))
            .and_then(|mut statement| statement.query_row([case.0], check_in_row).optional())
            .map_err(StoreError::sql("reading a check-in"))?;
        found.map_or_else(|| Ok(CheckIn::default()), |told| Ok(self.with_pains(told)?.1))
    }

    /// All of a player's check-ins with their days, by day.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn check_ins_of(&self, player: PlayerId) -> Result<Vec<(Date, CheckIn)>, StoreError> {
        let told = self.list(
            "reading check-ins",
            &format!("{CHECK_INS} WHERE c.player = ?1 ORDER BY c.date, c.id"),
            [player.0],
            check_in_row,
        )?;
        told.into_iter().map(|told| self.with_pains(told)).collect()
    }

    fn with_pains(&self, told: Told) -> Result<(Date, CheckIn), StoreError> {
        let Told { case, day, pain_asked, mut check_in } = told;
        if pain_asked {
            check_in.pain = Some(self.list(
                "reading what hurts",
                "SELECT place, level, hurts_when FROM check_in_pains
                 WHERE case_id = ?1 ORDER BY level DESC, place",
                [case],
                |row| {
                    Ok(Ache { place: named(row, 0)?, level: row.get(1)?, when: named_if(row, 2)? })
                },
            )?);
        }
        Ok((day, check_in))
    }
}

/// A row without its places.
struct Told {
    case: i64,
    day: Date,
    pain_asked: bool,
    check_in: CheckIn,
}

fn check_in_row(row: &Row<'_>) -> rusqlite::Result<Told> {
    let by: Option<String> = row.get(13)?;
    Ok(Told {
        case: row.get(0)?,
        day: parsed(row, 1)?,
        pain_asked: row.get(2)?,
        check_in: CheckIn {
            pain: None,
            injuries: row.get(3)?,
            serves_a_week: row.get(4)?,
            tennis_hours: row.get(5)?,
            sport_hours: row.get(6)?,
            attempt: named_if(row, 7)?,
            court: named_if(row, 8)?,
            target: named_if(row, 9)?,
            wide_left: row.get(10)?,
            wide_right: row.get(11)?,
            double_faults: row.get(12)?,
            by: by.as_deref().map(Author::from_text),
        },
    })
}
