//! Keeping what was: the copies that triggers make while a change is made, and their storing.

use std::collections::{BTreeMap, BTreeSet};

use rusqlite::{Connection, OptionalExtension, Row, params};

use super::ChangeKind;
use super::rows::{Columns, Net, RowV1, ValueV1, rows_of, sealed, value_of};
use super::tables::{TABLES, Table};
use super::words::named;
use crate::library::read::count;
use crate::library::store::FORMAT;
use crate::library::write::Writer;
use crate::library::{Author, ChangeId, Named, PlayerId, StoreError, WriteError};

/// A change whose rows are being kept.
#[derive(Debug)]
pub(in crate::library) struct Keeping {
    pub(super) kind: ChangeKind,
    pub(super) by: Option<Author>,
    pub(super) undoes: Option<ChangeId>,
    /// The rows an undoing may touch: those of the change it takes back.
    pub(super) only: Option<BTreeSet<String>>,
}

/// The columns of a table but for the derived one.
fn columns_of(db: &Connection, table: &Table) -> rusqlite::Result<Vec<String>> {
    db.prepare_cached("SELECT name FROM pragma_table_info(?1, 'main')")?
        .query_map([table.name], |row| row.get::<_, String>(0))?
        .filter(|name| {
            name.as_ref().ok().map(String::as_str) != table.derived || table.derived.is_none()
        })
        .collect()
}

/// Lays the triggers that copy what changes; all of it is of this connection alone.
fn begin_copying(db: &Connection) -> rusqlite::Result<()> {
    let mut sql = "CREATE TEMP TABLE kept_log (seq INTEGER PRIMARY KEY, of INTEGER);".to_owned();
    for (number, table) in TABLES.iter().enumerate() {
        let columns = columns_of(db, table)?;
        let list = |before: &str| {
            let named: Vec<String> = columns.iter().map(|c| format!("{before}\"{c}\"")).collect();
            named.join(", ")
        };
        sql += &format!(
            "CREATE TEMP TABLE kept_{number} (seq, side, {}, PRIMARY KEY (seq, side));",
            list("")
        );
        let (old, new) = ((0, list("OLD.")), (1, list("NEW.")));
        for (way, sides) in
            [("INSERT", &[&new][..]), ("UPDATE", &[&old, &new][..]), ("DELETE", &[&old][..])]
        {
            if table.with_parent && way == "INSERT" {
                continue;
            }
            let name = table.name;
            sql += &format!(
                "CREATE TEMP TRIGGER kept_{name}_{way} AFTER {way} ON main.{name} BEGIN
                 INSERT INTO kept_log (of) VALUES ({number});"
            );
            for (side, values) in sides {
                sql += &format!(
                    "INSERT INTO kept_{number} VALUES
                        ((SELECT max(seq) FROM kept_log), {side}, {values});"
                );
            }
            sql += "END;";
        }
    }
    db.execute_batch(&sql)
}

fn end_copying(db: &Connection) -> rusqlite::Result<()> {
    let mut sql = "DROP TABLE temp.kept_log;".to_owned();
    for (number, table) in TABLES.iter().enumerate() {
        for way in ["INSERT", "UPDATE", "DELETE"] {
            sql += &format!("DROP TRIGGER IF EXISTS temp.kept_{}_{way};", table.name);
        }
        sql += &format!("DROP TABLE temp.kept_{number};");
    }
    db.execute_batch(&sql)
}

/// What became of every row that was touched, in the order they were first touched.
fn copied(db: &Connection) -> rusqlite::Result<Vec<Net>> {
    let log: Vec<(i64, usize)> = db
        .prepare_cached("SELECT seq, of FROM temp.kept_log ORDER BY seq")?
        .query_map([], |row| Ok((row.get(0)?, count(row, 1)?)))?
        .collect::<Result<_, _>>()?;
    let mut nets: Vec<Net> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for (seq, number) in log {
        let table = &TABLES[number];
        let mut key = Columns::new();
        let mut side = |side: i64| -> rusqlite::Result<Option<Columns>> {
            let sql = format!("SELECT * FROM temp.kept_{number} WHERE seq = ?1 AND side = ?2");
            let mut statement = db.prepare_cached(&sql)?;
            let names: Vec<String> = statement.column_names().map(str::to_owned).collect();
            let read = |row: &Row<'_>| -> rusqlite::Result<(Columns, Columns)> {
                let mut of_key = Columns::new();
                let mut others = Columns::new();
                for (at, name) in names.iter().enumerate().skip(2) {
                    let value = (name.clone(), value_of(row.get_ref(at)?));
                    if table.key.contains(&name.as_str()) {
                        of_key.push(value)
                    } else {
                        others.push(value)
                    }
                }
                Ok((of_key, others))
            };
            let found = statement.query_row([seq, side], read).optional()?;
            Ok(found.map(|(of_key, others)| {
                key = of_key;
                others
            }))
        };
        let (before, after) = (side(0)?, side(1)?);
        let net = Net { table, key, before, after };
        match places.get(&net.identity()) {
            Some(&place) => nets[place].after = net.after,
            None => {
                places.insert(net.identity(), nets.len());
                nets.push(net);
            }
        }
    }
    nets.retain(|net| net.before != net.after);
    Ok(nets)
}

impl Writer<'_> {
    /// From here on what this transaction changes is kept, as one change: the first of its calls
    /// in a transaction says what it is.
    ///
    /// Cost: some milliseconds, and a copy of every row that is changed or removed.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn keep_history(&self, kind: ChangeKind, by: Option<&Author>) -> Result<(), WriteError> {
        self.keep(Keeping { kind, by: by.cloned(), undoes: None, only: None })
    }

    pub(super) fn keep(&self, keeping: Keeping) -> Result<(), WriteError> {
        if self.begin_keeping(keeping) {
            self.run("beginning to keep what was", || begin_copying(self.db))?;
        }
        Ok(())
    }

    /// Stores what was before this transaction's changes.
    pub(in crate::library) fn store_history(&self, keeping: &Keeping) -> Result<(), WriteError> {
        let nets = self.run("keeping what was", || {
            let nets = copied(self.db)?;
            end_copying(self.db)?;
            Ok(nets)
        })?;
        if let Some(only) = &keeping.only
            && let Some(other) = nets.iter().find(|net| !net.is_among(only))
            && let Some(change) = keeping.undoes
        {
            return Err(WriteError::ChangedSince { change, what: named(other.table, &other.key) });
        }
        if nets.is_empty() {
            return Ok(());
        }
        let touched = self.touched(&nets)?;
        let change = self.run("keeping what was", || {
            self.db
                .prepare_cached(
                    "INSERT INTO history (at, said_by, kind, store_format, undoes)
                     VALUES (?1, ?2, ?3, ?4, ?5)",
                )?
                .execute(params![
                    jiff::Timestamp::now().to_string(),
                    keeping.by.as_ref().map(Author::as_str),
                    keeping.kind.name(),
                    FORMAT,
                    keeping.undoes.map(|change| change.0),
                ])?;
            let change = self.db.last_insert_rowid();
            let mut insert = self.db.prepare_cached(
                "INSERT INTO history_of (change, kind, item) VALUES (?1, ?2, ?3)",
            )?;
            for (kind, item) in &touched {
                insert.execute((change, kind, item))?;
            }
            if let Some(undone) = keeping.undoes {
                // What the undone change had taken back itself stands again.
                self.db.execute(
                    "UPDATE history SET undone_by = NULL
                     WHERE id = (SELECT undoes FROM history WHERE id = ?1)",
                    [undone.0],
                )?;
                self.db.execute(
                    "UPDATE history SET undone_by = ?2 WHERE id = ?1",
                    (undone.0, change),
                )?;
            }
            Ok(change)
        })?;
        for (place, net) in nets.iter().enumerate() {
            let body = sealed(net)?;
            self.run("keeping what was", || {
                self.db
                    .prepare_cached(
                        "INSERT INTO history_rows (change, place, body) VALUES (?1, ?2, ?3)",
                    )?
                    .execute(params![change, place as i64, body])?;
                if let Some(hash) = kept_clip(net) {
                    self.db.execute(
                        "INSERT OR IGNORE INTO history_clips (change, hash) VALUES (?1, ?2)",
                        params![change, hash],
                    )?;
                }
                Ok(())
            })?;
        }
        Ok(())
    }

    /// Whom and what these rows belong to.
    fn touched(&self, nets: &[Net]) -> Result<BTreeSet<(&'static str, i64)>, StoreError> {
        let mut touched = BTreeSet::new();
        for net in nets {
            let sides = [Some(&net.key), net.before.as_ref(), net.after.as_ref()];
            for (name, value) in sides.into_iter().flatten().flatten() {
                let kind = net.table.of.iter().find(|(column, _)| column == name);
                if let (Some((_, kind)), ValueV1::Integer(id)) = (kind, value) {
                    touched.insert((*kind, *id));
                }
            }
        }
        for (kind, table, column, parent) in [
            ("serve", "serves", "recording", "recording"),
            ("recording", "recordings", "case_id", "case"),
            ("follow_up", "follow_ups", "plan", "plan"),
            ("practice", "practice", "plan", "plan"),
            ("plan", "plans", "case_id", "case"),
            ("case", "cases", "player", "player"),
        ] {
            let ids: Vec<i64> =
                touched.iter().filter(|(of, _)| *of == kind).map(|(_, id)| *id).collect();
            for id in ids {
                let found: Option<i64> = self.run("looking whom a change touches", || {
                    self.db
                        .prepare_cached(&format!("SELECT {column} FROM {table} WHERE id = ?1"))?
                        .query_row([id], |row| row.get(0))
                        .optional()
                })?;
                touched.extend(found.map(|id| (parent, id)));
            }
        }
        Ok(touched)
    }

    /// Erases every earlier state that holds anything of a player, and every earlier word of
    /// others that holds one of these names.
    pub(in crate::library) fn erase_history(
        &self,
        player: PlayerId,
        names: &[String],
    ) -> Result<(), WriteError> {
        self.run("erasing what was", || {
            self.db.execute(
                "DELETE FROM history WHERE id IN
                    (SELECT change FROM history_of WHERE kind = 'player' AND item = ?1)",
                [player.0],
            )
        })?;
        let changes: Vec<i64> = self.run("erasing what was", || {
            self.db.prepare("SELECT id FROM history")?.query_map([], |row| row.get(0))?.collect()
        })?;
        for change in changes {
            let rows = rows_of(self.db, ChangeId(change))?;
            if rows.iter().any(|row| names.iter().any(|name| names_them(row, name))) {
                self.run("erasing what was", || {
                    self.db.execute("DELETE FROM history WHERE id = ?1", [change])
                })?;
            }
        }
        Ok(())
    }
}

impl Writer<'_> {
    /// Erases the earlier states of a player of whom no case is left.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub(crate) fn erase_history_of_gone(&self, player: PlayerId) -> Result<(), WriteError> {
        self.run("erasing what was", || {
            self.db.execute(
                "DELETE FROM history WHERE id IN
                    (SELECT change FROM history_of WHERE kind = 'player' AND item = ?1)
                 AND NOT EXISTS (SELECT 1 FROM cases WHERE player = ?1)",
                [player.0],
            )
        })?;
        Ok(())
    }
}

/// Hash of the copy of a clip this row named before.
fn kept_clip(net: &Net) -> Option<String> {
    if net.table.name != "clips" {
        return None;
    }
    let value = |name: &str| {
        net.before.as_ref()?.iter().find(|(column, _)| column == name).map(|(_, value)| value)
    };
    match (value("kept"), value("hash")) {
        (Some(ValueV1::Integer(1)), Some(ValueV1::Text(hash))) => Some(hash.clone()),
        _ => None,
    }
}

/// Whether free words of an earlier state hold a name, as a word of its own.
fn names_them(row: &RowV1, name: &str) -> bool {
    let name = name.to_lowercase();
    let texts = [&row.before, &row.after].into_iter().flatten().flatten();
    texts
        .filter(|(column, _)| matches!(column.as_str(), "note" | "text" | "reason" | "dose"))
        .filter_map(|(_, value)| if let ValueV1::Text(text) = value { Some(text) } else { None })
        .any(|text| text.to_lowercase().contains(&name))
}
