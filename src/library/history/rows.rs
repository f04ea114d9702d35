//! Rows as they are kept: frozen, sealed, named by their key.

use std::collections::BTreeSet;

use rusqlite::Connection;
use rusqlite::types::{Value, ValueRef};
use serde::{Deserialize, Serialize};

use super::tables::Table;
use crate::library::envelope::{seal_within, unseal_within};
use crate::library::{ChangeId, StoreError};

const ROW: [u8; 4] = *b"PHis";
const ROW_FORMAT: u16 = 1;
/// Longest earlier state of one row: a clip's body and some.
const ROW_LIMIT: usize = 300 << 20;

/// A value of a row, frozen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum ValueV1 {
    Null,
    Integer(i64),
    Real(f64),
    Text(String),
    Blob(Vec<u8>),
}

/// What a change did to one row, frozen. Of an update only what differs; of a row that came all
/// but its bytes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct RowV1 {
    pub(super) table: String,
    pub(super) key: Columns,
    pub(super) before: Option<Columns>,
    pub(super) after: Option<Columns>,
}

pub(super) type Columns = Vec<(String, ValueV1)>;

/// What one row was when the change began and is at its end.
pub(super) struct Net {
    pub(super) table: &'static Table,
    pub(super) key: Columns,
    pub(super) before: Option<Columns>,
    pub(super) after: Option<Columns>,
}

impl Net {
    pub(super) fn identity(&self) -> String {
        identity(self.table.name, &self.key)
    }

    /// Whether it is one of these rows, or goes with one of them as its parent.
    pub(super) fn is_among(&self, rows: &BTreeSet<String>) -> bool {
        let of_parent = || {
            let (_, parent) = self.table.of.first()?;
            let (_, id) = self.key.first()?;
            Some(identity(&format!("{parent}s"), &vec![("id".to_owned(), id.clone())]))
        };
        rows.contains(&self.identity())
            || (self.table.with_parent && of_parent().is_some_and(|parent| rows.contains(&parent)))
    }

    /// As it is stored: of an update what differs, of a row that came all but its bytes.
    fn row(&self) -> RowV1 {
        let (mut before, mut after) = (self.before.clone(), self.after.clone());
        match (&mut before, &mut after) {
            (Some(was), Some(is)) => {
                let same: BTreeSet<String> = was
                    .iter()
                    .zip(is.iter())
                    .filter(|(was, is)| was == is)
                    .map(|(was, _)| was.0.clone())
                    .collect();
                was.retain(|(column, _)| !same.contains(column));
                is.retain(|(column, _)| !same.contains(column));
            }
            (None, Some(is)) => is.retain(|(_, value)| !matches!(value, ValueV1::Blob(_))),
            _ => {}
        }
        RowV1 { table: self.table.name.to_owned(), key: self.key.clone(), before, after }
    }
}

pub(super) fn identity(table: &str, key: &Columns) -> String {
    format!("{table} {key:?}")
}

pub(super) fn value_of(value: ValueRef<'_>) -> ValueV1 {
    match value {
        ValueRef::Null => ValueV1::Null,
        ValueRef::Integer(number) => ValueV1::Integer(number),
        ValueRef::Real(number) => ValueV1::Real(number),
        ValueRef::Text(text) => ValueV1::Text(String::from_utf8_lossy(text).into_owned()),
        ValueRef::Blob(bytes) => ValueV1::Blob(bytes.to_vec()),
    }
}

impl From<&ValueV1> for Value {
    fn from(value: &ValueV1) -> Self {
        match value {
            ValueV1::Null => Self::Null,
            ValueV1::Integer(number) => Self::Integer(*number),
            ValueV1::Real(number) => Self::Real(*number),
            ValueV1::Text(text) => Self::Text(text.clone()),
            ValueV1::Blob(bytes) => Self::Blob(bytes.clone()),
        }
    }
}

pub(super) fn conditions(key: &Columns, from: usize) -> String {
    let parts: Vec<String> = (key.iter().enumerate())
        .map(|(at, (column, _))| format!("\"{column}\" = ?{}", from + at))
        .collect();
    parts.join(" AND ")
}

pub(super) fn rows_of(db: &Connection, change: ChangeId) -> Result<Vec<RowV1>, StoreError> {
    let bodies: Vec<Vec<u8>> = db
        .prepare_cached("SELECT body FROM history_rows WHERE change = ?1 ORDER BY place")
        .and_then(|mut statement| statement.query_map([change.0], |row| row.get(0))?.collect())
        .map_err(StoreError::sql("reading what was"))?;
    bodies
        .iter()
        .map(|body| {
            unseal_within::<RowV1, ROW_LIMIT>(ROW, ROW_FORMAT, body)
                .map_err(|why| StoreError::Damaged { what: format!("history {change}"), why })
        })
        .collect()
}

/// What became of a row, as it is stored.
pub(super) fn sealed(net: &Net) -> Result<Vec<u8>, StoreError> {
    seal_within(ROW, ROW_FORMAT, &net.row(), ROW_LIMIT)
        .map_err(|why| StoreError::Damaged { what: "history".to_owned(), why })
}
