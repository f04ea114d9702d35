//! Whose rows changed since when: what is derived player by player is kept in step by it.

use super::{Library, PlayerId, StoreError};

impl Library {
    /// The number of the last change of any player's rows; `None` where the store has no such numbers
    /// (it is of an earlier format), so that nothing derived can be trusted to be in step.
    pub(crate) fn last_player_change(&self) -> Result<Option<i64>, StoreError> {
        // Not the greatest row: a number stays given when its row is gone.
        let found = self.list(
            "reading the change counters",
            "SELECT coalesce((SELECT seq FROM main.sqlite_sequence WHERE name = 'player_changes'), 0)
             WHERE EXISTS (SELECT 1 FROM main.sqlite_schema WHERE name = 'player_changes')",
            [],
            |row| row.get(0),
        )?;
        Ok(found.into_iter().next())
    }

    /// The players whose rows changed after `change`, by id; those who are gone among them.
    pub(crate) fn players_changed_after(&self, change: i64) -> Result<Vec<PlayerId>, StoreError> {
        let mut players = self.list(
            "listing whose rows changed",
            "SELECT player FROM player_changes WHERE change > ?1",
            [change],
            |row| row.get(0).map(PlayerId),
        )?;
        players.sort_unstable();
        Ok(players)
    }

    /// Forgets the numbers of players who are gone. Only once nothing derived of them is left.
    pub(super) fn drop_changes_of_gone(&self) -> Result<(), StoreError> {
        let sql = "DELETE FROM player_changes WHERE player NOT IN (SELECT id FROM players)";
        self.connection
            .execute(sql, [])
            .map(|_| ())
            .map_err(StoreError::sql("forgetting whose rows changed"))
    }
}
