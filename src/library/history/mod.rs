//! What was before a change: kept with it in one transaction, listed, and put back.
//!
//! While a change is made, temporary triggers copy every row it inserts, updates or deletes, those
//! that go with a parent included, so that no caller can leave one out. At its end what each row
//! was and is goes into `history_rows`, sealed. Putting back makes every row what it was, if it
//! still is what the change made of it. Numbers that only say what derived indexes must catch up

mod keep;
mod person;
mod rows;
mod tables;
mod undo;
mod words;

use std::fmt;

use serde::Serialize;

pub(super) use keep::Keeping;
pub use person::PastRow;
use rows::rows_of;
use tables::table_named;
use words::fields;

use super::{
    Author, CaseId, ChangeId, FollowUpId, Library, PlanId, PlayerId, PracticeId, RecordingId,
    ServeId, StoreError,
};

/// What a change did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ChangeKind {
    /// Something new was stored: a player, a recording with its serves.
    Added,
    /// Faults, grip, ball or words of a case were recorded.
    Judged,
    /// A plan was made.
    Planned,
    /// A plan was ended, withdrawn or replaced.
    PlanEnded,
    /// A follow-up was recorded.
    FollowedUp,
    /// Practice was logged.
    Practised,
    /// Marks were set on a recording or taken away.
    Marked,
    /// Something recorded was put right.
    Amended,
    /// A recording or serve went to another player or day.
    Moved,
    /// Something was removed.
    Removed,
    /// An earlier change was taken back.
    Undone,
}

/// Anything of the library that has a history.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ItemId {
    /// A player.
    Player(PlayerId),
    /// A recording.
    Recording(RecordingId),
    /// A serve.
    Serve(ServeId),
    /// A case.
    Case(CaseId),
    /// A plan.
    Plan(PlanId),
    /// A follow-up.
    FollowUp(FollowUpId),
    /// Logged practice.
    Practice(PracticeId),
}

impl ItemId {
    fn parts(self) -> (&'static str, i64) {
        match self {
            Self::Player(id) => ("player", id.0),
            Self::Recording(id) => ("recording", id.0),
            Self::Serve(id) => ("serve", id.0),
            Self::Case(id) => ("case", id.0),
            Self::Plan(id) => ("plan", id.0),
            Self::FollowUp(id) => ("follow_up", id.0),
            Self::Practice(id) => ("practice", id.0),
        }
    }

    fn of(kind: &str, id: i64) -> Option<Self> {
        Some(match kind {
            "player" => Self::Player(PlayerId(id)),
            "recording" => Self::Recording(RecordingId(id)),
            "serve" => Self::Serve(ServeId(id)),
            "case" => Self::Case(CaseId(id)),
            "plan" => Self::Plan(PlanId(id)),
            "follow_up" => Self::FollowUp(FollowUpId(id)),
            "practice" => Self::Practice(PracticeId(id)),
            _ => return None,
        })
    }
}

impl fmt::Display for ItemId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Player(id) => id.fmt(f),
            Self::Recording(id) => id.fmt(f),
            Self::Serve(id) => id.fmt(f),
            Self::Case(id) => id.fmt(f),
            Self::Plan(id) => id.fmt(f),
            Self::FollowUp(id) => id.fmt(f),
            Self::Practice(id) => id.fmt(f),
        }
    }
}

impl std::str::FromStr for ItemId {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let digits = text.get(1..).and_then(|digits| digits.parse().ok());
        let kind = match text.chars().next() {
            Some('p') => "player",
            Some('r') => "recording",
            Some('s') => "serve",
            Some('c') => "case",
            Some('n') => "plan",
            Some('f') => "follow_up",
            Some('d') => "practice",
            _ => "",
        };
        digits.and_then(|id| Self::of(kind, id)).ok_or_else(|| {
            format!(
                "the id of a player (p2), recording (r3), serve (s12), case (c1), plan (n4), \
                 follow-up (f5) or logged practice (d6), found '{text}'"
            )
        })
    }
}

impl Serialize for ItemId {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

/// A change and what was before it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Id.
    #[serde(serialize_with = "crate::library::spelled")]
    pub id: ChangeId,
    /// When, UTC.
    pub at: String,
    /// Who made it, where that was said.
    pub by: Option<Author>,
    /// What it did.
    pub kind: ChangeKind,
    /// The change it took back.
    #[serde(serialize_with = "crate::library::spelled_if")]
    pub undoes: Option<ChangeId>,
    /// The change that took it back.
    #[serde(serialize_with = "crate::library::spelled_if")]
    pub undone_by: Option<ChangeId>,
    /// Whom and what it touched.
    pub touched: Vec<ItemId>,
    /// What it changed, in words and values a person can read.
    pub fields: Vec<FieldChange>,
}

/// One value before and after a change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FieldChange {
    /// What it belongs to: `recording r3`, `label late_toss by anna`.
    pub of: String,
    /// Its name in the store; `None` where all of it came or went.
    pub field: Option<String>,
    /// What it was; `None`: nothing.
    pub before: Option<String>,
    /// What it is; `None`: nothing.
    pub after: Option<String>,
}

impl Library {
    /// What was changed about something, the last change first. What is there no more keeps its
    /// history under the id it had.
    ///
    /// # Errors
    /// [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn history(&self, item: ItemId) -> Result<Vec<Change>, StoreError> {
        let (kind, id) = item.parts();
        let changes = self.list(
            "reading what was",
            "SELECT h.id, h.at, h.said_by, h.kind, h.undoes, h.undone_by
             FROM history_of o JOIN history h ON h.id = o.change
             WHERE o.kind = ?1 AND o.item = ?2 ORDER BY h.id DESC",
            (kind, id),
            |row| {
                Ok(Change {
                    id: ChangeId(row.get(0)?),
                    at: row.get(1)?,
                    by: row.get::<_, Option<String>>(2)?.map(|by| Author::from_text(&by)),
                    kind: super::read::named(row, 3)?,
                    undoes: row.get::<_, Option<i64>>(4)?.map(ChangeId),
                    undone_by: row.get::<_, Option<i64>>(5)?.map(ChangeId),
                    touched: Vec::new(),
                    fields: Vec::new(),
                })
            },
        )?;
        changes.into_iter().map(|change| self.filled(change)).collect()
    }

    fn filled(&self, mut change: Change) -> Result<Change, StoreError> {
        let touched = self.list(
            "reading whom a change touched",
            "SELECT kind, item FROM history_of WHERE change = ?1",
            [change.id.0],
            |row| Ok(ItemId::of(&row.get::<_, String>(0)?, row.get(1)?)),
        )?;
        change.touched = touched.into_iter().flatten().collect();
        change.touched.sort();
        for row in rows_of(&self.connection, change.id)? {
            change.fields.extend(fields(table_named(&row.table)?, &row));
        }
        Ok(change)
    }

    /// The change that [`Writer::undo`](crate::library::Writer::undo) would take back for something: its last that stands and is
    /// no taking back itself.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn last_change(&self, item: ItemId) -> Result<Option<ChangeId>, StoreError> {
        let (kind, id) = item.parts();
        self.connection
            .query_row(
                "SELECT max(h.id) FROM history_of o JOIN history h ON h.id = o.change
                 WHERE o.kind = ?1 AND o.item = ?2 AND h.undone_by IS NULL AND h.undoes IS NULL",
                (kind, id),
                |row| row.get::<_, Option<i64>>(0),
            )
            .map(|id| id.map(ChangeId))
            .map_err(StoreError::sql("reading what was"))
    }

    /// Whether every earlier state can be read.
    pub(super) fn check_history(&self) -> Result<(), StoreError> {
        for change in
            self.list("reading what was", "SELECT id FROM history", [], |row| row.get(0))?
        {
            rows_of(&self.connection, ChangeId(change))?;
        }
        Ok(())
    }
}
