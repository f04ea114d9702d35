//! All that the store holds of one player, table by table, for the player to have.
//!
//! A table whose rows go with a player's when the player is removed belongs to the player by its
//! foreign keys; a new one needs no word here. Every other table is named below, with how it refers
//! to players or why it refers to none; a test walks the schema.

use std::collections::BTreeMap;

use rusqlite::types::ValueRef;

use super::history::PastRow;
use super::{Damage, Library, PlayerId, StoreError};

/// How the rows of a table come to be a player's, where foreign keys do not say.
#[derive(Debug, Clone, Copy)]
enum Link {
    /// Rows for which this holds; `?1` is the player, `?2` the player's pseudonym in packs.
    Where(&'static str),
    /// Told as earlier states, without those of other players.
    History,
    /// Of no living player, for the reason that stands before it.
    Nobody,
}

const CAME: &str = "(sender, owner) IN (SELECT sender, uid FROM player_origins WHERE player = ?1)";
const TAKEN_BACK: &str =
    "(sender, player) IN (SELECT sender, uid FROM player_origins WHERE player = ?1)";

const LINKS: &[(&str, Link)] = &[
    // The library itself.
    ("library", Link::Nobody),
    // The library's secret.
    ("secrets", Link::Nobody),
    // Work of the program.
    ("chores", Link::Nobody),
    // For how long everybody is kept.
    ("retention", Link::Nobody),
    // The library itself.
    ("last_sound", Link::Nobody),
    // Faults and drills.
    ("catalogue_files", Link::Nobody),
    // The same as they were before.
    ("catalogue_versions", Link::Nobody),
    // Names of faults and drills.
    ("received_names", Link::Nobody),
    // Keyed hashes of forgotten people.
    ("tombstones", Link::Nobody),
    // Pseudonyms of forgotten people.
    ("withdrawals_to_send", Link::Nobody),
    (
        "packs_received",
        Link::Where(
            "id IN (SELECT r.pack FROM received_in r JOIN received_items i ON i.id = r.item
                JOIN player_origins o ON o.sender = i.sender AND o.uid = i.owner
                WHERE o.player = ?1)",
        ),
    ),
    ("received_items", Link::Where(CAME)),
    (
        "received_in",
        Link::Where(
            "item IN (SELECT i.id FROM received_items i
                JOIN player_origins o ON o.sender = i.sender AND o.uid = i.owner
                WHERE o.player = ?1)",
        ),
    ),
    ("withdrawals_received", Link::Where(TAKEN_BACK)),
    ("item_withdrawals_received", Link::Where(TAKEN_BACK)),
    ("packs_sent", Link::Where("id IN (SELECT pack FROM sent_cases WHERE player = ?1)")),
    ("items_to_withdraw", Link::Where("player = ?2")),
    ("player_changes", Link::Where("player = ?1")),
    ("history", Link::History),
    ("history_of", Link::History),
    ("history_rows", Link::History),
    ("history_clips", Link::History),
];

/// Columns that say something of other people in a row that is a player's too: the filter a pack
/// was chosen by, and how many were in it.
const OF_OTHERS: &[(&str, &str)] = &[
    ("packs_sent", "scope"),
    ("packs_sent", "players"),
    ("packs_sent", "cases"),
    ("packs_sent", "serves"),
];

/// A stored value.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing.
    Nothing,
    /// A whole number.
    Whole(i64),
    /// A number.
    Number(f64),
    /// A text.
    Text(String),
    /// Bytes: curves, joints, what packs brought.
    Bytes(Vec<u8>),
}

impl Cell {
    fn of(value: ValueRef<'_>) -> Self {
        match value {
            ValueRef::Null => Self::Nothing,
            ValueRef::Integer(number) => Self::Whole(number),
            ValueRef::Real(number) => Self::Number(number),
            ValueRef::Text(text) => Self::Text(String::from_utf8_lossy(text).into_owned()),
            ValueRef::Blob(bytes) => Self::Bytes(bytes.to_vec()),
        }
    }
}

/// A row by its columns.
pub type StoredRow = Vec<(String, Cell)>;

impl Library {
    /// Every row of every table that is a player's, table by table in the order of their names; not
    /// the history, which [`Library::past_rows_of`] tells.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Sql`]; what `visit` refuses.
    pub fn each_row_of<E: From<StoreError>>(
        &self,
        player: PlayerId,
        visit: &mut dyn FnMut(&str, StoredRow) -> Result<(), E>,
    ) -> Result<(), E> {
        self.player(player)?;
        let pseudonym = self.pseudonym(player)?;
        for (table, condition) in self.conditions()? {
            for row in self.rows_where(&table, &condition, player, &pseudonym)? {
                visit(&table, row)?;
            }
        }
        Ok(())
    }

    fn rows_where(
        &self,
        table: &str,
        condition: &str,
        player: PlayerId,
        pseudonym: &str,
    ) -> Result<Vec<StoredRow>, StoreError> {
        let sql = format!("SELECT * FROM \"{table}\" WHERE {condition}");
        let mut statement =
            self.connection.prepare(&sql).map_err(StoreError::sql("reading a player's rows"))?;
        let names: Vec<String> = statement.column_names().map(str::to_owned).collect();
        for (at, value) in [(1, &player.0 as &dyn rusqlite::ToSql), (2, &pseudonym)] {
            if at <= statement.parameter_count() {
                statement
                    .raw_bind_parameter(at, value)
                    .map_err(StoreError::sql("reading a player's rows"))?;
            }
        }
        let mut rows = statement.raw_query();
        let mut found = Vec::new();
        while let Some(row) = rows.next().map_err(StoreError::sql("reading a player's rows"))? {
            let mut cells = StoredRow::new();
            for (at, name) in names.iter().enumerate() {
                if !OF_OTHERS.contains(&(table, name.as_str())) {
                    let value =
                        row.get_ref(at).map_err(StoreError::sql("reading a player's rows"))?;
                    cells.push((name.clone(), Cell::of(value)));
                }
            }
            found.push(cells);
        }
        Ok(found)
    }

    /// What was before each change that touched a player, as it is kept: the change, the table, the
    /// row's key, before and after. Rows of other players that the same change touched are left out.
    ///
    /// # Errors
    /// [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn past_rows_of(&self, player: PlayerId) -> Result<Vec<PastRow>, StoreError> {
        self.past_rows(player)
    }

    /// Which rows of which table are a player's; the tables by name.
    fn conditions(&self) -> Result<BTreeMap<String, String>, StoreError> {
        let tables = self.tables()?;
        let mut owned = BTreeMap::from([("players".to_owned(), "id = ?1".to_owned())]);
        // Parents are settled before their children; the longest chain is shorter than the list.
        for _ in 0..tables.len() {
            for table in tables.iter().filter(|table| link(table).is_none() && *table != "players")
            {
                let condition = self.by_parents(table, &owned)?;
                owned.extend(condition.map(|condition| (table.clone(), condition)));
            }
        }
        for table in tables {
            match link(&table) {
                Some(Link::Where(condition)) => {
                    owned.insert(table, condition.to_owned());
                }
                Some(Link::History | Link::Nobody) => {}
                None if owned.contains_key(&table) => {}
                None => {
                    let why = "refers to no player by its keys and is not named".to_owned();
                    let what = format!("what table '{table}' is to players");
                    return Err(StoreError::Damaged { what, why: Damage::Value(why) });
                }
            }
        }
        Ok(owned)
    }

    fn tables(&self) -> Result<Vec<String>, StoreError> {
        self.list(
            "listing tables",
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'
             UNION SELECT name FROM sqlite_temp_schema WHERE type = 'table'
             ORDER BY name",
            [],
            |row| row.get(0),
        )
    }

    /// Rows that go when a row of an owned table goes.
    fn by_parents(
        &self,
        table: &str,
        owned: &BTreeMap<String, String>,
    ) -> Result<Option<String>, StoreError> {
        let keys: Vec<(String, String, Option<String>)> = self.list(
            "listing keys",
            "SELECT \"table\", \"from\", \"to\" FROM pragma_foreign_key_list(?1)
             WHERE on_delete = 'CASCADE' ORDER BY id",
            [table],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )?;
        let parts: Vec<String> = keys
            .iter()
            .filter(|(parent, ..)| parent != table)
            .filter_map(|(parent, from, to)| {
                let to = to.as_deref().unwrap_or("id");
                let condition = owned.get(parent)?;
                Some(format!("\"{from}\" IN (SELECT \"{to}\" FROM \"{parent}\" WHERE {condition})"))
            })
            .collect();
        Ok((!parts.is_empty()).then(|| parts.join(" OR ")))
    }
}

fn link(table: &str) -> Option<Link> {
    LINKS.iter().find(|(name, _)| *name == table).map(|(_, link)| *link)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use jiff::civil::date;
    use tempfile::TempDir;

    use super::*;
    use crate::library::tests::made;

    /// Names of columns by which the schema refers to a person or to what is a person's.
    const REFERS: &[&str] = &[
        "player",
        "owner",
        "case_id",
        "recording",
        "serve",
        "plan",
        "follow_up",
        "change",
        "look",
        "session",
        "mark",
    ];

    fn library() -> (TempDir, Library) {
        let folder = TempDir::new().unwrap();
        let library = Library::create(folder.path()).unwrap();
        (folder, library)
    }

    #[test]
    fn every_table_of_the_schema_is_a_players_or_says_why_not() {
        let (_folder, library) = library();
        let owned = library.conditions().unwrap();
        let tables = library.tables().unwrap();
        assert!(tables.len() > 30, "{tables:?}");
        for table in &tables {
            let columns: Vec<String> = library
                .list("x", "SELECT name FROM pragma_table_info(?1)", [table], |row| row.get(0))
                .unwrap();
            let refers = columns.iter().any(|column| REFERS.contains(&column.as_str()));
            match link(table) {
                Some(Link::Nobody) => {
                    // Pseudonyms of people who are no longer here.
                    assert!(!refers || table == "withdrawals_to_send", "{table}: {columns:?}");
                    assert!(!owned.contains_key(table), "{table}");
                }
                Some(Link::History) => assert!(!owned.contains_key(table), "{table}"),
                _ => assert!(owned.contains_key(table), "{table} is in nobody's report"),
            }
        }
        for (table, _) in LINKS {
            assert!(tables.iter().any(|known| known == table), "{table} is no table");
        }
    }

    #[test]
    fn a_new_table_comes_in_by_its_keys_and_a_loose_one_is_refused() {
        let (_folder, mut library) = library();
        let who = library.add_player(&made::player("zebrafinch")).unwrap();
        let other = library.add_player(&made::player("dotterel")).unwrap();
        let added = made::add(&mut library, who, 1, date(2026, 3, 4), 1).unwrap();
        made::add(&mut library, other, 2, date(2026, 3, 4), 1).unwrap();
        let db = &library.connection;
        db.execute_batch(
            "CREATE TABLE hats (recording INTEGER NOT NULL REFERENCES recordings (id)
                ON DELETE CASCADE, colour TEXT NOT NULL) STRICT;
             CREATE TABLE hat_pins (id INTEGER PRIMARY KEY, player INTEGER NOT NULL
                REFERENCES players ON DELETE CASCADE) STRICT;",
        )
        .unwrap();
        let insert = "INSERT INTO hats SELECT id, 'hat of ' || player FROM recordings";
        db.execute(insert, []).unwrap();
        let mut hats = Vec::new();
        library
            .each_row_of::<StoreError>(who, &mut |table, row| {
                if table == "hats" {
                    hats.push(row);
                }
                Ok(())
            })
            .unwrap();
        let expected = vec![
            ("recording".to_owned(), Cell::Whole(added.recording.0)),
            ("colour".to_owned(), Cell::Text(format!("hat of {}", who.0))),
        ];
        assert_eq!(hats, [expected]);
        library.connection.execute_batch("CREATE TABLE loose (who INTEGER) STRICT").unwrap();
        let said =
            library.each_row_of::<StoreError>(who, &mut |_, _| Ok(())).unwrap_err().to_string();
        assert!(said.contains("'loose'"), "{said}");
    }

    /// Counted by the database itself: every row of these tables is in exactly one report.
    #[test]
    fn every_row_is_in_one_report() {
        let (_folder, mut library) = library();
        let mut players = Vec::new();
        for (at, code) in (1..).zip(["zebrafinch", "dotterel", "knot"]) {
            let who = library.add_player(&made::player(code)).unwrap();
            made::add(&mut library, who, at, date(2026, 3, 4), 2).unwrap();
            players.push(who);
        }
        let mut counted: BTreeMap<String, i64> = BTreeMap::new();
        for who in players {
            library
                .each_row_of::<StoreError>(who, &mut |table, _| {
                    *counted.entry(table.to_owned()).or_default() += 1;
                    Ok(())
                })
                .unwrap();
        }
        let seen: BTreeSet<&str> = counted.keys().map(String::as_str).collect();
        for table in ["players", "player_squads", "recording_joints", "serve_data", "labels"] {
            assert!(table == "labels" || seen.contains(table), "{table}: {seen:?}");
        }
        for (table, count) in counted {
            let all: i64 = library
                .connection
                .query_row(&format!("SELECT count(*) FROM \"{table}\""), [], |row| row.get(0))
                .unwrap();
            assert_eq!(count, all, "{table}");
        }
    }
}
