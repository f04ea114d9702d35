//! What people set on recordings: moments of serves, and what is drawn on the picture; and what the
//! program itself saw of the moments.
//!
//! A moment that a person set wins over what was heard, and that over the joints. All of it stays
//! side by side: [`ServeMoment`].

use rusqlite::Row;
use serde::{Deserialize, Serialize};

use super::read::{count, named, named_if};
use super::{Author, CaseId, Damage, Library, MarkId, RecordingId, ServeId, ServeRow, StoreError};
use crate::serve::{Event, EventKind};

/// A place in a clip's picture: column and row in pixels, phone rotation applied.
pub type Point = [f64; 2];

/// What was set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Marked {
    /// A moment of a serve.
    Moment {
        /// Which.
        event: EventKind,
    },
    /// An angle in the picture; its vertex is the second point.
    Angle {
        /// A point on one leg, the vertex, a point on the other.
        points: [Point; 3],
    },
    /// A line.
    Line {
        /// Its ends.
        points: [Point; 2],
    },
    /// An arrow.
    Arrow {
        /// From the first to the second.
        points: [Point; 2],
    },
    /// A ring.
    Ring {
        /// Its centre and a point of the ring.
        points: [Point; 2],
    },
    /// Words.
    Words {
        /// Where in the picture, if anywhere.
        at: Option<Point>,
        /// The words.
        text: String,
    },
}

impl Marked {
    /// Name in data: `moment`, `angle`, `line`, `arrow`, `ring`, `words`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Moment { .. } => "moment",
            Self::Angle { .. } => "angle",
            Self::Line { .. } => "line",
            Self::Arrow { .. } => "arrow",
            Self::Ring { .. } => "ring",
            Self::Words { .. } => "words",
        }
    }

    /// Its points, in order.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        match self {
            Self::Moment { .. } => &[],
            Self::Angle { points } => points,
            Self::Line { points } | Self::Arrow { points } | Self::Ring { points } => points,
            Self::Words { at, .. } => at.as_slice(),
        }
    }

    /// The words written.
    #[must_use]
    pub fn text(&self) -> Option<&str> {
        if let Self::Words { text, .. } = self { Some(text) } else { None }
    }

    /// The moment of a serve.
    #[must_use]
    pub fn event(&self) -> Option<EventKind> {
        if let Self::Moment { event } = self { Some(*event) } else { None }
    }

    /// The angle at the vertex as it lies in the picture's plane, 0 to 180 deg; of an angle only.
    ///
    /// ```
    /// use precedent::library::Marked;
    /// let right = Marked::Angle { points: [[10.0, 0.0], [0.0, 0.0], [0.0, 5.0]] };
    /// assert!((right.angle_in_picture_deg().unwrap() - 90.0).abs() < 1e-9);
    /// ```
    #[must_use]
    pub fn angle_in_picture_deg(&self) -> Option<f64> {
        let Self::Angle { points: [a, vertex, b] } = self else { return None };
        let from = |p: &Point| [p[0] - vertex[0], p[1] - vertex[1]];
        let (a, b) = (from(a), from(b));
        let (cross, dot) = (a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]);
        Some(cross.abs().atan2(dot).to_degrees())
    }

    fn of(
        kind: &str,
        event: Option<EventKind>,
        points: &[Point],
        text: Option<String>,
    ) -> Option<Self> {
        Some(match (kind, event, points, text) {
            ("moment", Some(event), [], None) => Self::Moment { event },
            ("angle", None, &[a, b, c], None) => Self::Angle { points: [a, b, c] },
            ("line", None, &[a, b], None) => Self::Line { points: [a, b] },
            ("arrow", None, &[a, b], None) => Self::Arrow { points: [a, b] },
            ("ring", None, &[a, b], None) => Self::Ring { points: [a, b] },
            ("words", None, &[], Some(text)) => Self::Words { at: None, text },
            ("words", None, &[at], Some(text)) => Self::Words { at: Some(at), text },
            _ => return None,
        })
    }
}

/// A mark as it is stored.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Mark {
    /// Id.
    #[serde(serialize_with = "crate::library::spelled")]
    pub id: MarkId,
    /// The recording it is set on.
    #[serde(serialize_with = "crate::library::spelled")]
    pub recording: RecordingId,
    /// The serve, of a moment.
    #[serde(serialize_with = "crate::library::spelled_if")]
    pub serve: Option<ServeId>,
    /// What was set.
    pub what: Marked,
    /// Time in the recording, seconds.
    pub time_s: f64,
    /// Nearest frame of the recording, from 0.
    pub frame: usize,
    /// Who set it.
    pub by: Author,
    /// When, UTC; `None` of what came in a pack.
    pub at: Option<String>,
}

/// Who or what says when a moment was.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Witness {
    /// The joints, by the event's rule.
    Joints,
    /// The sound of the hit.
    Sound,
    /// The ball in the picture.
    Ball,
    /// A person who set it.
    Person(Author),
}

impl Witness {
    /// In words: "from the joints", "heard", "by the ball", "set by ash".
    #[must_use]
    pub fn describe(&self) -> String {
        match self {
            Self::Joints => "from the joints".to_owned(),
            Self::Sound => "heard".to_owned(),
            Self::Ball => "by the ball".to_owned(),
            Self::Person(by) => format!("set by {by}"),
        }
    }

    fn of_program(name: &str) -> Option<Self> {
        match name {
            "joints" => Some(Self::Joints),
            "sound" => Some(Self::Sound),
            "ball" => Some(Self::Ball),
            _ => None,
        }
    }

    /// As it is stored of the program's own; a person's word is a mark.
    pub(super) fn name(&self) -> Option<&'static str> {
        match self {
            Self::Joints => Some("joints"),
            Self::Sound => Some("sound"),
            Self::Ball => Some("ball"),
            Self::Person(_) => None,
        }
    }
}

/// What one witness says of a moment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeenMoment {
    /// Which.
    pub event: EventKind,
    /// Who or what says so.
    pub witness: Witness,
    /// Time in the recording, seconds.
    pub time_s: f64,
    /// Nearest frame of the recording, from 0.
    pub frame: usize,
    /// Standard error, seconds.
    pub error_s: f64,
    /// How sure, 0 to 1.
    pub trust: f64,
}

impl SeenMoment {
    /// Half width within which the true moment should lie 9 times of 10, seconds.
    #[must_use]
    pub fn give_or_take_s(&self) -> f64 {
        1.645 * self.error_s
    }
}

/// A moment of a serve: what counts, by whose word, and what else was said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ServeMoment {
    /// As it counts.
    #[serde(flatten)]
    pub event: Event,
    /// Whose word that is.
    pub witness: Witness,
    /// When a person set it, UTC, where one did and that is known.
    pub set_at: Option<String>,
    /// What the others said.
    pub beside: Vec<SeenMoment>,
}

const MARKS: &str =
    "SELECT id, recording, serve, kind, event, time_s, frame, points, text, said_by, at
    FROM marks";

impl Library {
    /// What was set on a recording, by frame and id.
    ///
    /// # Errors
    /// [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn marks(&self, recording: RecordingId) -> Result<Vec<Mark>, StoreError> {
        self.read_marks("recording = ?1 ORDER BY frame, id", recording.0)
    }

    /// The moments that people set of a serve, in order of time.
    ///
    /// # Errors
    /// As [`Library::marks`].
    pub fn marks_of_serve(&self, serve: ServeId) -> Result<Vec<Mark>, StoreError> {
        self.read_marks("serve = ?1 ORDER BY time_s, id", serve.0)
    }

    /// The mark with this id.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; as [`Library::marks`].
    pub fn mark(&self, id: MarkId) -> Result<Mark, StoreError> {
        let found = self.read_marks("id = ?1", id.0)?.pop();
        found.ok_or_else(|| StoreError::NoSuch { what: id.to_string() })
    }

    fn read_marks(&self, condition: &str, id: i64) -> Result<Vec<Mark>, StoreError> {
        self.list("reading marks", &format!("{MARKS} WHERE {condition}"), [id], stored_mark)?
            .into_iter()
            .map(StoredMark::into_mark)
            .collect()
    }

    /// What the program saw of a serve's moments, in order of events; empty where its joints alone
    /// decide, and then the serve itself says it.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn moments_seen(&self, serve: ServeId) -> Result<Vec<SeenMoment>, StoreError> {
        let mut seen = self.list(
            "reading moments",
            "SELECT event, witness, time_s, frame, error_s, trust FROM moments_seen
             WHERE serve = ?1 ORDER BY witness",
            [serve.0],
            seen_moment,
        )?;
        seen.sort_by_key(|one| one.event);
        Ok(seen)
    }

    /// The six moments of a serve with their witnesses.
    ///
    /// # Errors
    /// As [`Library::marks`].
    pub fn moments(&self, serve: &ServeRow) -> Result<Vec<ServeMoment>, StoreError> {
        let marks = self.marks_of_serve(serve.id)?;
        let seen = self.moments_seen(serve.id)?;
        let moment = |event: &Event| {
            let set = marks.iter().find(|mark| mark.what.event() == Some(event.kind));
            let witness = witness(event.kind, &marks, &seen);
            let mut beside: Vec<SeenMoment> =
                seen.iter().filter(|one| one.event == event.kind).cloned().collect();
            beside.retain(|one| one.witness != witness);
            ServeMoment {
                event: *event,
                witness,
                set_at: set.and_then(|mark| mark.at.clone()),
                beside,
            }
        };
        Ok(serve.serve.events.iter().map(moment).collect())
    }

    /// What is written on the recordings of a case, the oldest first: notes, wherever notes go.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn words_on_pictures(&self, case: CaseId) -> Result<Vec<String>, StoreError> {
        self.list(
            "reading words on pictures",
            "SELECT m.text FROM marks m JOIN recordings r ON r.id = m.recording
             WHERE r.case_id = ?1 AND m.text IS NOT NULL ORDER BY m.id",
            [case.0],
            |row| row.get(0),
        )
    }

    /// Whether all marks and moments of a recording can be read and belong together.
    pub(super) fn check_marks(&self, recording: RecordingId) -> Result<(), StoreError> {
        let serves = self.serves_in(recording)?;
        for mark in self.marks(recording)? {
            if mark.serve.is_some_and(|serve| !serves.contains(&serve)) {
                let why = Damage::Value(format!("it marks a serve that is not in {recording}"));
                return Err(StoreError::Damaged { what: mark.id.to_string(), why });
            }
        }
        serves.into_iter().try_for_each(|serve| self.moments_seen(serve).map(|_| ()))
    }
}

/// Whose word counts for a moment: a person's, then what was heard or what the ball showed, then the
/// joints'.
pub(super) fn witness(event: EventKind, marks: &[Mark], seen: &[SeenMoment]) -> Witness {
    if let Some(mark) = marks.iter().find(|mark| mark.what.event() == Some(event)) {
        return Witness::Person(mark.by.clone());
    }
    let told = seen.iter().find(|one| one.event == event && one.witness != Witness::Joints);
    told.map_or(Witness::Joints, |one| one.witness.clone())
}

/// A row before its parts are put together.
struct StoredMark {
    id: MarkId,
    recording: RecordingId,
    serve: Option<ServeId>,
    kind: String,
    event: Option<EventKind>,
    time_s: f64,
    frame: usize,
    points: Option<String>,
    text: Option<String>,
    by: String,
    at: Option<String>,
}

fn stored_mark(row: &Row<'_>) -> rusqlite::Result<StoredMark> {
    Ok(StoredMark {
        id: MarkId(row.get(0)?),
        recording: RecordingId(row.get(1)?),
        serve: row.get::<_, Option<i64>>(2)?.map(ServeId),
        kind: row.get(3)?,
        event: named_if(row, 4)?,
        time_s: row.get(5)?,
        frame: count(row, 6)?,
        points: row.get(7)?,
        text: row.get(8)?,
        by: row.get(9)?,
        at: row.get(10)?,
    })
}

impl StoredMark {
    fn into_mark(self) -> Result<Mark, StoreError> {
        let damaged = |why: String| StoreError::Damaged {
            what: self.id.to_string(),
            why: Damage::Value(why),
        };
        let points: Vec<Point> = match &self.points {
            Some(text) => serde_json::from_str(text).map_err(|error| damaged(error.to_string()))?,
            None => Vec::new(),
        };
        let what = Marked::of(&self.kind, self.event, &points, self.text.clone())
            .filter(|what| what.event().is_some() == self.serve.is_some())
            .ok_or_else(|| damaged(format!("'{}' is not a mark with these parts", self.kind)))?;
        Ok(Mark {
            id: self.id,
            recording: self.recording,
            serve: self.serve,
            what,
            time_s: self.time_s,
            frame: self.frame,
            by: Author::from_text(&self.by),
            at: self.at,
        })
    }
}

fn seen_moment(row: &Row<'_>) -> rusqlite::Result<SeenMoment> {
    let witness: String = row.get(1)?;
    Ok(SeenMoment {
        event: named(row, 0)?,
        witness: Witness::of_program(&witness).ok_or_else(|| {
            rusqlite::Error::FromSqlConversionFailure(
                1,
                rusqlite::types::Type::Text,
                format!("unknown witness '{witness}'").into(),
            )
        })?,
        time_s: row.get(2)?,
        frame: count(row, 3)?,
        error_s: row.get(4)?,
        trust: row.get(5)?,
    })
}
