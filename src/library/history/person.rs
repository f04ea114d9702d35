//! What was before, as far as it is one player's.

use rusqlite::OptionalExtension;

use super::rows::{Columns, RowV1, ValueV1, rows_of};
use super::tables::{Table, table_named};
use super::words::fields;
use super::{Change, ItemId};
use crate::library::person::{Cell, StoredRow};
use crate::library::{ChangeId, Library, PlayerId, StoreError};

/// A row as a change found and left it.
#[derive(Debug, Clone, PartialEq)]
pub struct PastRow {
    /// The change.
    pub change: ChangeId,
    /// Its table.
    pub table: String,
    /// What names it there.
    pub key: StoredRow,
    /// What it was; of an update only what differs. `None`: it was not there.
    pub before: Option<StoredRow>,
    /// What it became; of a row that came all but its bytes. `None`: it went.
    pub after: Option<StoredRow>,
}

impl Library {
    /// What was changed about a player and whatever is the player's, the last change first; other
    /// players whom the same change touched are left out.
    ///
    /// # Errors
    /// [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn history_of_player(&self, player: PlayerId) -> Result<Vec<Change>, StoreError> {
        let mut changes = self.history(ItemId::Player(player))?;
        for change in &mut changes {
            change.fields.clear();
            for row in rows_of(&self.connection, change.id)? {
                let table = table_named(&row.table)?;
                if !self.is_of_another(&row, table, player)? {
                    change.fields.extend(fields(table, &without_others(row, player)));
                }
            }
            change.touched.retain(|item| !matches!(item, ItemId::Player(id) if *id != player));
        }
        Ok(changes)
    }

    pub(in crate::library) fn past_rows(
        &self,
        player: PlayerId,
    ) -> Result<Vec<PastRow>, StoreError> {
        let changes: Vec<i64> = self.list(
            "reading what was",
            "SELECT change FROM history_of WHERE kind = 'player' AND item = ?1 ORDER BY change",
            [player.0],
            |row| row.get(0),
        )?;
        let mut past = Vec::new();
        for change in changes.into_iter().map(ChangeId) {
            for row in rows_of(&self.connection, change)? {
                if self.is_of_another(&row, table_named(&row.table)?, player)? {
                    continue;
                }
                let row = without_others(row, player);
                past.push(PastRow {
                    change,
                    table: row.table,
                    key: cells(row.key),
                    before: row.before.map(cells),
                    after: row.after.map(cells),
                });
            }
        }
        Ok(past)
    }

    /// Copies of clips that only earlier states of a player's recordings name: their hashes.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn past_clips_of(&self, player: PlayerId) -> Result<Vec<String>, StoreError> {
        self.list(
            "listing clips",
            "SELECT DISTINCT c.hash FROM history_clips c JOIN history_of o ON o.change = c.change
             WHERE o.kind = 'player' AND o.item = ?1
                AND c.hash NOT IN (SELECT hash FROM clips WHERE kept) ORDER BY c.hash",
            [player.0],
            |row| row.get(0),
        )
    }

    /// Whether a kept row is another player's: by the player it names last, else by whose the things
    /// are that it belongs to.
    fn is_of_another(
        &self,
        row: &RowV1,
        table: &Table,
        player: PlayerId,
    ) -> Result<bool, StoreError> {
        let value = |name: &str| {
            let sides = [row.after.as_ref(), Some(&row.key), row.before.as_ref()];
            let mut found = sides.into_iter().flatten().flatten();
            found.find(|(column, _)| column == name).map(|(_, value)| value)
        };
        match value(if table.name == "players" { "id" } else { "player" }) {
            Some(ValueV1::Integer(id)) => return Ok(*id != player.0),
            Some(ValueV1::Text(pseudonym)) => return Ok(*pseudonym != self.pseudonym(player)?),
            _ => {}
        }
        for (column, kind) in table.of {
            if let Some(ValueV1::Integer(id)) = value(column)
                && let Some(owner) = self.owner_of(kind, *id)?
            {
                return Ok(owner != player.0);
            }
        }
        Ok(false)
    }

    /// Whose something is; `None` for what is not there any more.
    fn owner_of(&self, kind: &str, id: i64) -> Result<Option<i64>, StoreError> {
        let sql = match kind {
            "player" => "SELECT id FROM players WHERE id = ?1",
            "recording" => "SELECT player FROM recordings WHERE id = ?1",
            "serve" => "SELECT player FROM serves WHERE id = ?1",
            "case" => "SELECT player FROM cases WHERE id = ?1",
            "plan" => {
                "SELECT c.player FROM plans n JOIN cases c ON c.id = n.case_id WHERE n.id = ?1"
            }
            "follow_up" => {
                "SELECT c.player FROM follow_ups f JOIN plans n ON n.id = f.plan
                 JOIN cases c ON c.id = n.case_id WHERE f.id = ?1"
            }
            "practice" => {
                "SELECT c.player FROM practice d JOIN plans n ON n.id = d.plan
                 JOIN cases c ON c.id = n.case_id WHERE d.id = ?1"
            }
            _ => return Ok(None),
        };
        self.connection
            .prepare_cached(sql)
            .and_then(|mut statement| statement.query_row([id], |row| row.get(0)).optional())
            .map_err(StoreError::sql("looking whose something is"))
    }
}

/// The row with the numbers of other players left out: one a recording came from or went to.
fn without_others(mut row: RowV1, player: PlayerId) -> RowV1 {
    let sides = [row.before.as_mut(), row.after.as_mut()];
    for (name, value) in sides.into_iter().flatten().flatten() {
        if name == "player" && !matches!(value, ValueV1::Integer(id) if *id == player.0) {
            *value = ValueV1::Text("another player".to_owned());
        }
    }
    row
}

fn cells(columns: Columns) -> StoredRow {
    let cell = |value| match value {
        ValueV1::Null => Cell::Nothing,
        ValueV1::Integer(number) => Cell::Whole(number),
        ValueV1::Real(number) => Cell::Number(number),
        ValueV1::Text(text) => Cell::Text(text),
        ValueV1::Blob(bytes) => Cell::Bytes(bytes),
    };
    columns.into_iter().map(|(name, value)| (name, cell(value))).collect()
}
