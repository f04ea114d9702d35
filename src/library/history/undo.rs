//! Taking a change back.

use rusqlite::types::Value;
use rusqlite::{OptionalExtension, params_from_iter};

use super::ChangeKind;
use super::keep::Keeping;
use super::rows::{Columns, RowV1, conditions, identity, rows_of, value_of};
use super::tables::{TABLES, Table, table_named};
use super::words::named;
use crate::library::write::Writer;
use crate::library::{Author, ChangeId, StoreError, WriteError};

impl Writer<'_> {
    /// Takes a change back: every row it changed is again what it was. That is a change of its own
    /// and can be taken back.
    ///
    /// # Errors
    /// [`WriteError::ChangedSince`] if something was recorded upon it since; nothing is changed
    /// then. [`WriteError::AlreadyUndone`]; [`StoreError::NoSuch`].
    pub fn undo(&mut self, change: ChangeId, by: &Author) -> Result<(), WriteError> {
        let undone_by: Option<Option<i64>> = self.run("looking for a change", || {
            self.db
                .query_row("SELECT undone_by FROM history WHERE id = ?1", [change.0], |row| {
                    row.get(0)
                })
                .optional()
        })?;
        match undone_by {
            None => return Err(StoreError::NoSuch { what: change.to_string() }.into()),
            Some(Some(later)) => {
                return Err(WriteError::AlreadyUndone { change, by: ChangeId(later) });
            }
            Some(None) => {}
        }
        let mut rows = Vec::new();
        for row in rows_of(self.db, change)? {
            rows.push((table_named(&row.table)?, row));
        }
        let only = rows.iter().map(|(table, row)| identity(table.name, &row.key)).collect();
        self.keep(Keeping {
            kind: ChangeKind::Undone,
            by: Some(by.clone()),
            undoes: Some(change),
            only: Some(only),
        })?;
        for (table, row) in &rows {
            if !self.stands(table, row)? {
                return Err(WriteError::ChangedSince { change, what: named(table, &row.key) });
            }
        }
        self.run("putting back", || self.db.execute_batch("PRAGMA defer_foreign_keys = ON"))?;
        // What was changed is as it was first, the last change of it first, so that nothing hangs
        // any more on what came; that goes next, children before their parents; what went comes
        // back last, parents before their children.
        rows.reverse();
        rows.sort_by_key(|(table, row)| {
            let place = TABLES.iter().position(|one| one.name == table.name).unwrap_or(0) as i64;
            match (&row.before, &row.after) {
                (Some(_), Some(_)) if !table.with_parent => (0, 0),
                (None, _) => (1, -place),
                _ => (2, place),
            }
        });
        self.clear_places(&rows)?;
        for (table, row) in &rows {
            self.put_back(table, row).map_err(|source| match source.sqlite_error_code() {
                Some(rusqlite::ErrorCode::ConstraintViolation) => {
                    WriteError::ChangedSince { change, what: named(table, &row.key) }
                }
                _ => StoreError::sql("putting back")(source).into(),
            })?;
        }
        let touched: Vec<(String, i64)> = self.run("looking whom a change touches", || {
            self.db
                .prepare_cached("SELECT kind, item FROM history_of WHERE change = ?1")?
                .query_map([change.0], |row| Ok((row.get(0)?, row.get(1)?)))?
                .collect()
        })?;
        for (kind, id) in touched {
            match kind.as_str() {
                "serve" => self.retouch_serve(id)?,
                "case" => self.retouch("id", id)?,
                "player" => self.retouch("player", id)?,
                _ => {}
            }
        }
        self.note_changes();
        Ok(())
    }

    /// Gives up the places in their recordings of serves that leave or change them, so that none is
    /// in another's way.
    fn clear_places(&self, rows: &[(&Table, RowV1)]) -> Result<(), StoreError> {
        for (table, row) in rows {
            let moves = |columns: &Columns| columns.iter().any(|(column, _)| column == "place");
            if table.name == "serves" && row.before.as_ref().is_none_or(moves) {
                let sql = format!(
                    "UPDATE main.serves SET place = -1 - id WHERE {}",
                    conditions(&row.key, 1)
                );
                self.run("putting back", || {
                    let key = row.key.iter().map(|(_, value)| Value::from(value));
                    self.db.prepare_cached(&sql)?.execute(params_from_iter(key))
                })?;
            }
        }
        Ok(())
    }

    /// Whether a row is still what the change made of it.
    fn stands(&self, table: &Table, row: &RowV1) -> Result<bool, StoreError> {
        if table.with_parent {
            return Ok(true);
        }
        let condition = conditions(&row.key, 1);
        let sql = format!("SELECT * FROM main.{} WHERE {condition}", table.name);
        self.run("comparing with what was kept", || {
            let mut statement = self.db.prepare_cached(&sql)?;
            let mut found =
                statement.query(params_from_iter(row.key.iter().map(|(_, v)| Value::from(v))))?;
            Ok(match (found.next()?, &row.after) {
                (None, after) => after.is_none(),
                (Some(_), None) => false,
                (Some(there), Some(after)) => {
                    let mut same = true;
                    for (column, value) in after {
                        same &= value_of(there.get_ref(column.as_str())?) == *value;
                    }
                    same
                }
            })
        })
    }

    fn put_back(&self, table: &Table, row: &RowV1) -> rusqlite::Result<()> {
        let name = table.name;
        let key = || row.key.iter().map(|(_, value)| Value::from(value));
        match (&row.before, &row.after) {
            (None, _) => {
                let sql = format!("DELETE FROM main.{name} WHERE {}", conditions(&row.key, 1));
                self.db.prepare_cached(&sql)?.execute(params_from_iter(key()))?;
            }
            (Some(before), Some(_)) if !table.with_parent => {
                let mut set: Vec<String> = (before.iter().enumerate())
                    .map(|(at, (column, _))| format!("\"{column}\" = ?{}", at + 1))
                    .collect();
                let mut values: Vec<Value> = before.iter().map(|(_, v)| Value::from(v)).collect();
                if let Some(column) = table.derived {
                    values.push(Value::from(self.change_number(column)));
                    set.push(format!("\"{column}\" = ?{}", values.len()));
                }
                let condition = conditions(&row.key, values.len() + 1);
                values.extend(key());
                let sql = format!("UPDATE main.{name} SET {} WHERE {condition}", set.join(", "));
                self.db.prepare_cached(&sql)?.execute(params_from_iter(values))?;
            }
            (Some(before), _) => {
                let mut columns: Vec<String> = row
                    .key
                    .iter()
                    .chain(before)
                    .map(|(column, _)| format!("\"{column}\""))
                    .collect();
                let mut values: Vec<Value> =
                    row.key.iter().chain(before).map(|(_, value)| Value::from(value)).collect();
                if let Some(column) = table.derived {
                    columns.push(format!("\"{column}\""));
                    values.push(Value::from(self.change_number(column)));
                }
                let marks: Vec<String> = (1..=values.len()).map(|n| format!("?{n}")).collect();
                let or = if table.with_parent { "OR REPLACE " } else { "" };
                let sql = format!(
                    "INSERT {or}INTO main.{name} ({}) VALUES ({})",
                    columns.join(", "),
                    marks.join(", ")
                );
                self.db.prepare_cached(&sql)?.execute(params_from_iter(values))?;
            }
        }
        Ok(())
    }
}
