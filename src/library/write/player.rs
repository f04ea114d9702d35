//! Players.

use rusqlite::{OptionalExtension, params};

use super::checks::check_player;
use super::{Writer, found, new_uid};
use crate::library::{ChangeKind, ConsentBy, Named, Player, PlayerId, WriteError};

impl Writer<'_> {
    /// Stores a new player and returns the id; the id in `player` is ignored.
    ///
    /// # Errors
    /// [`WriteError::CodeTaken`]; [`WriteError::Invalid`] for an empty, long or spaced code, a
    /// stature outside 0.5 to 2.6 m.
    pub fn add_player(&mut self, player: &Player) -> Result<PlayerId, WriteError> {
        check_player(player)?;
        self.check_code_free(player, None)?;
        self.keep_history(ChangeKind::Added, None)?;
        let id = self.run("storing a player", || {
            self.db
                .prepare_cached(
                    "INSERT INTO players (uid, code, name, hand, level, born, stature_m, coach,
                        consent_keep, consent_share, consent_date)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
                )?
                .execute(params![
                    new_uid(),
                    player.code,
                    player.name,
                    player.hand.map(Named::name),
                    player.level.map(Named::name),
                    player.born.map(|date| date.to_string()),
                    player.stature_m,
                    player.coach,
                    player.consent.keep,
                    player.consent.share,
                    player.consent.date.map(|date| date.to_string()),
                ])?;
            let id = PlayerId(self.db.last_insert_rowid());
            self.store_squads(id, &player.squads)?;
            self.store_giver(id, player.consent.by)?;
            Ok(id)
        })?;
        Ok(id)
    }

    /// Replaces everything known about the player with this id, consent included.
    ///
    /// # Errors
    /// As [`Writer::add_player`]; [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn update_player(&mut self, player: &Player) -> Result<(), WriteError> {
        check_player(player)?;
        self.check_code_free(player, Some(player.id))?;
        self.keep_history(ChangeKind::Amended, None)?;
        let changed = self.run("storing a player", || {
            let changed = self
                .db
                .prepare_cached(
                    "UPDATE players SET code = ?2, name = ?3, hand = ?4, level = ?5, born = ?6,
                        stature_m = ?7, coach = ?8, consent_keep = ?9, consent_share = ?10,
                        consent_date = ?11
                     WHERE id = ?1",
                )?
                .execute(params![
                    player.id.0,
                    player.code,
                    player.name,
                    player.hand.map(Named::name),
                    player.level.map(Named::name),
                    player.born.map(|date| date.to_string()),
                    player.stature_m,
                    player.coach,
                    player.consent.keep,
                    player.consent.share,
                    player.consent.date.map(|date| date.to_string()),
                ])?;
            self.store_squads(player.id, &player.squads)?;
            self.store_giver(player.id, player.consent.by)?;
            // The code is among the searchable words of each case.
            self.db
                .prepare_cached("UPDATE cases SET word_change = ?2 WHERE player = ?1")?
                .execute((player.id.0, self.word_change))?;
            Ok(changed)
        })?;
        self.words_changed.set(true);
        found(changed, || player.id.to_string())
    }

    fn store_giver(&self, player: PlayerId, by: Option<ConsentBy>) -> rusqlite::Result<()> {
        match by {
            Some(by) => self
                .db
                .prepare_cached(
                    "INSERT INTO consent_givers (player, given_by) VALUES (?1, ?2)
                     ON CONFLICT (player) DO UPDATE SET given_by = excluded.given_by
                        WHERE given_by <> excluded.given_by",
                )?
                .execute((player.0, by.name())),
            None => self
                .db
                .prepare_cached("DELETE FROM consent_givers WHERE player = ?1")?
                .execute([player.0]),
        }
        .map(drop)
    }

    fn store_squads(&self, player: PlayerId, squads: &[String]) -> rusqlite::Result<()> {
        self.db
            .prepare_cached("DELETE FROM player_squads WHERE player = ?1")?
            .execute([player.0])?;
        let mut insert = self.db.prepare_cached(
            "INSERT OR IGNORE INTO player_squads (player, place, squad) VALUES (?1, ?2, ?3)",
        )?;
        for (place, squad) in squads.iter().enumerate() {
            insert.execute((player.0, place as i64, squad))?;
        }
        Ok(())
    }

    pub(crate) fn check_code_free(
        &self,
        player: &Player,
        own: Option<PlayerId>,
    ) -> Result<(), WriteError> {
        let holder: Option<i64> = self.run("looking for a player", || {
            self.db
                .prepare_cached("SELECT id FROM players WHERE code = ?1")?
                .query_row([&player.code], |row| row.get(0))
                .optional()
        })?;
        match holder {
            Some(id) if own != Some(PlayerId(id)) => {
                Err(WriteError::CodeTaken { code: player.code.clone() })
            }
            _ => Ok(()),
        }
    }

    /// Removes a player and everything that belongs to the player, all earlier states included. The
    /// bytes in the file are overwritten; derived indexes follow when next used.
    ///
    /// # Errors
    /// [`NoSuch`](crate::library::StoreError::NoSuch).
    pub fn remove_player(&mut self, id: PlayerId) -> Result<(), WriteError> {
        self.keep_no_history();
        self.erase_history(id, &[])?;
        let changed = self.run("removing a player", || {
            self.db.execute("DELETE FROM players WHERE id = ?1", [id.0])
        })?;
        self.serves_changed.set(true);
        self.words_changed.set(true);
        found(changed, || id.to_string())
    }

    /// Removes a player of whom nothing is stored; whether that was so.
    ///
    /// # Errors
    /// [`Sql`](crate::library::StoreError::Sql).
    pub fn remove_idle_player(&mut self, id: PlayerId) -> Result<bool, WriteError> {
        let removed = self.run("removing a player", || {
            self.db.execute(
                "DELETE FROM players WHERE id = ?1
                     AND NOT EXISTS (SELECT 1 FROM cases WHERE player = ?1)
                     AND NOT EXISTS (SELECT 1 FROM recordings WHERE player = ?1)",
                [id.0],
            )
        })?;
        Ok(removed > 0)
    }
}
