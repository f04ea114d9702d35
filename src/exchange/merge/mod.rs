//! Receiving packs, taking them back, and remembering what left.
//!
//! Every change here first changes the set of packs, then makes the rows of that sender what the
//! set says (`show`). Rows that came are told from the library's own by their origin: players,
//! cases and recordings by `*_origins`, plans and follow-ups by a uid that begins with `away/`,
//! labels by a voice that begins with `away-` or is the program's. What a coach here adds to a
//! received case is never touched.

mod check;
mod plans;
mod recordings;
mod show;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use rusqlite::{OptionalExtension, Row, TransactionBehavior, params};

use self::check::check_print;
use super::items::{Arrived, Brought, CaseItem, Item, Leaving};
use crate::library::keyed_print;
use crate::library::write::checks::check_code;
use crate::library::write::no_such;
use crate::library::{Damage, Library, PlayerId, StoreError, WriteError, Writer};

/// Begins the uid of a plan or follow-up that came.
const AWAY: &str = "away/";
/// Longest part of a code that is taken from an academy's name.
const ACADEMY_IN_CODE: usize = 15;

/// What stands in the store for an id of a sender's player: the same id of another is another.
fn away(sender: &str, owner: &str, uid: &str) -> String {
    format!("{AWAY}{}", blake3::hash(format!("{sender}\0{owner}\0{uid}").as_bytes()).to_hex())
}

/// The version shown of one player, case or recording.
struct Shown {
    item: i64,
    pack: String,
    academy: Option<String>,
}

/// By kind, owner and uid.
type Winners = BTreeMap<(String, String, String), Shown>;

impl Library {
    /// What [`Writer::receive`] would do; nothing is stored.
    ///
    /// # Errors
    /// As there.
    pub fn try_receive(&mut self, pack: &Arrived) -> Result<Brought, WriteError> {
        let _turn = self.take_turn()?;
        // Dropped without a commit, it is rolled back.
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::sql("beginning a change"))?;
        Writer::begin(&transaction)?.receive(pack)
    }
}

impl Writer<'_> {
    /// Takes a pack in. The same pack again changes nothing; the order of packs does not matter.
    ///
    /// # Errors
    /// [`WriteError::Invalid`] for a pack of this very library or a value that breaks a rule.
    pub fn receive(&mut self, pack: &Arrived) -> Result<Brought, WriteError> {
        self.keep_no_history();
        check_print("pack", &pack.id)?;
        if let Some(academy) = &pack.academy {
            check_code("academy", academy)?;
        }
        let own: String = self.run("reading the library's id", || {
            self.db.query_row("SELECT uid FROM library", [], |row| row.get(0))
        })?;
        if own == pack.sender {
            return Err(WriteError::Invalid {
                field: "pack",
                found: "made by this very library".to_owned(),
                rule: "a pack is for another library to receive; its cases are here already"
                    .to_owned(),
            });
        }
        let new = self.run("storing a pack", || {
            self.db.execute(
                "INSERT OR IGNORE INTO packs_received (id, sender, academy, made, received, signer)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![
                    pack.id,
                    pack.sender,
                    pack.academy,
                    pack.made,
                    jiff::Timestamp::now().to_string(),
                    pack.signer,
                ],
            )
        })?;
        let taken_back = self.withdraw(pack)?;
        self.run("storing a pack's words", || {
            let mut insert = self.db.prepare_cached(
                "INSERT OR IGNORE INTO received_names (pack, kind, id, name)
                 VALUES (?1, ?2, ?3, ?4)",
            )?;
            for (kind, id, name) in &pack.names {
                insert.execute([&pack.id, kind, id, name])?;
            }
            let mut whole = self.db.prepare_cached(
                "INSERT INTO received_names (pack, kind, id, name, toml)
                 VALUES (?1, ?2, ?3, ?3, ?4)
                 ON CONFLICT (pack, kind, id) DO UPDATE SET toml = excluded.toml",
            )?;
            for entry in &pack.entries {
                whole.execute([&pack.id, entry.kind.name(), &entry.id, &entry.toml])?;
            }
            Ok(())
        })?;
        let mut forgotten = HashMap::new();
        for item in &pack.items {
            item.check()?;
            let owner = item.owner();
            if !forgotten.contains_key(owner) {
                forgotten.insert(owner, self.has_tombstone(&pack.sender, owner)?);
            }
            if !forgotten[owner]
                && !self.is_withdrawn(pack, owner)?
                && !self.is_item_withdrawn(pack, item)?
            {
                self.store_item(pack, item)?;
            }
        }
        let mut brought = self.show(&pack.sender)?;
        self.sweep_items(&pack.sender)?;
        brought.taken_back = taken_back;
        brought.known = new == 0;
        brought.forgotten = forgotten.values().filter(|gone| **gone).count();
        Ok(brought)
    }

    /// Takes a pack back: what no other pack brought goes, what another pack brought in an
    /// earlier version is shown in that one.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn undo_pack(&mut self, pack: &str) -> Result<Brought, WriteError> {
        self.keep_no_history();
        let sender: Option<String> = self.run("looking for a pack", || {
            self.db
                .query_row("SELECT sender FROM packs_received WHERE id = ?1", [pack], |row| {
                    row.get(0)
                })
                .optional()
        })?;
        let sender = sender.ok_or_else(|| no_such(format!("pack {pack}")))?;
        self.run("removing a pack", || {
            self.db.execute("DELETE FROM packs_received WHERE id = ?1", [pack])
        })?;
        let brought = self.show(&sender)?;
        self.sweep_items(&sender)?;
        Ok(brought)
    }

    /// Removes versions that no pack holds any more; only after [`Self::show`], which compares with
    /// the versions shown before.
    fn sweep_items(&self, sender: &str) -> Result<(), StoreError> {
        self.run("removing what no pack holds", || {
            self.db.execute(
                "DELETE FROM received_items WHERE sender = ?1
                 AND NOT EXISTS (SELECT 1 FROM received_in r WHERE r.item = received_items.id)",
                [sender],
            )
        })?;
        Ok(())
    }

    /// Notes whom a sender takes back and takes their versions out of every pack made until then;
    /// returns how many of them are shown here. What is noted stays when the pack is taken back.
    fn withdraw(&mut self, pack: &Arrived) -> Result<usize, WriteError> {
        let mut shown = 0;
        for owner in &pack.withdrawn {
            check_print("withdrawn", owner)?;
            let key = params![pack.sender, owner, pack.made];
            shown += self.run("noting who is taken back", || {
                self.db.execute(
                    "INSERT INTO withdrawals_received (sender, player, made) VALUES (?1, ?2, ?3)
                     ON CONFLICT (sender, player) DO UPDATE SET made = max(made, excluded.made)",
                    key,
                )?;
                self.db.execute(
                    "DELETE FROM received_in
                     WHERE item IN (SELECT id FROM received_items WHERE sender = ?1 AND owner = ?2)
                     AND pack IN (SELECT id FROM packs_received WHERE made <= ?3)",
                    key,
                )?;
                self.db.query_row(
                    "SELECT count(*) FROM player_origins WHERE sender = ?1 AND uid = ?2",
                    params![pack.sender, owner],
                    |row| row.get::<_, i64>(0),
                )
            })?;
        }
        for key in &pack.withdrawn_items {
            let values = params![pack.sender, key.player, key.kind, key.uid, pack.made];
            self.run("noting what is taken back", || {
                self.db.execute(
                    "INSERT INTO item_withdrawals_received (sender, player, kind, uid, made)
                     VALUES (?1, ?2, ?3, ?4, ?5)
                     ON CONFLICT (sender, player, kind, uid)
                     DO UPDATE SET made = max(made, excluded.made)",
                    values,
                )?;
                self.db.execute(
                    "DELETE FROM received_in
                     WHERE item IN (SELECT id FROM received_items
                        WHERE sender = ?1 AND owner = ?2 AND kind = ?3 AND uid = ?4)
                     AND pack IN (SELECT id FROM packs_received WHERE made <= ?5)",
                    values,
                )
            })?;
        }
        Ok(usize::try_from(shown).unwrap_or(0))
    }

    /// Whether the sender took this very case or recording back after the pack was made.
    fn is_item_withdrawn(&self, pack: &Arrived, item: &Item) -> Result<bool, StoreError> {
        self.run("looking for what is taken back", || {
            self.db
                .prepare_cached(
                    "SELECT EXISTS (SELECT 1 FROM item_withdrawals_received
                     WHERE sender = ?1 AND player = ?2 AND kind = ?3 AND uid = ?4 AND made >= ?5)",
                )?
                .query_row(
                    params![pack.sender, item.owner(), item.kind(), item.uid(), pack.made],
                    |row| row.get(0),
                )
        })
    }

    /// Whether the sender took this player back after the pack was made.
    fn is_withdrawn(&self, pack: &Arrived, owner: &str) -> Result<bool, StoreError> {
        self.run("looking for who is taken back", || {
            self.db
                .prepare_cached(
                    "SELECT EXISTS (SELECT 1 FROM withdrawals_received
                     WHERE sender = ?1 AND player = ?2 AND made >= ?3)",
                )?
                .query_row(params![pack.sender, owner, pack.made], |row| row.get(0))
        })
    }

    /// Remembers a pack that leaves and whose cases are in it; returns its number.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn add_leaving(&mut self, pack: &Leaving) -> Result<i64, WriteError> {
        let players: BTreeSet<PlayerId> = pack.cases.iter().map(|(_, player)| *player).collect();
        Ok(self.run("recording a pack", || {
            self.db.execute(
                "INSERT INTO packs_sent (made, scope, file_hash, players, cases, serves, recipient)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![
                    pack.made,
                    pack.scope,
                    pack.file_hash,
                    players.len() as i64,
                    pack.cases.len() as i64,
                    pack.serves as i64,
                    pack.recipient,
                ],
            )?;
            let id = self.db.last_insert_rowid();
            let mut insert =
                self.db.prepare_cached("INSERT INTO sent_cases VALUES (?1, ?2, ?3)")?;
            for (case, player) in &pack.cases {
                insert.execute((id, case.0, player.0))?;
            }
            Ok(id)
        })?)
    }

    /// Takes [`Writer::add_leaving`] back, for a pack that could not be written.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn remove_leaving(&mut self, id: i64) -> Result<(), WriteError> {
        self.run("recording a pack", || {
            self.db.execute("DELETE FROM packs_sent WHERE id = ?1", [id])
        })?;
        Ok(())
    }

    fn has_tombstone(&self, sender: &str, owner: &str) -> Result<bool, StoreError> {
        let print = keyed_print(self.db, "guest", format!("{sender}\0{owner}").as_bytes())?;
        self.run("looking for a tombstone", || {
            self.db
                .prepare_cached("SELECT EXISTS (SELECT 1 FROM tombstones WHERE print = ?1)")?
                .query_row([print.as_bytes()], |row| row.get(0))
        })
    }

    fn store_item(&self, pack: &Arrived, item: &Item) -> Result<(), StoreError> {
        let body = item.line()?;
        let print = blake3::hash(&body).to_hex();
        let key = (&pack.sender, item.owner(), item.kind(), item.uid(), print.as_str());
        self.run("storing what came", || {
            self.db
                .prepare_cached(
                    "INSERT OR IGNORE INTO received_items (sender, owner, kind, uid, print, body)
                     VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                )?
                .execute(params![key.0, key.1, key.2, key.3, key.4, body])?;
            self.db
                .prepare_cached(
                    "INSERT OR IGNORE INTO received_in (pack, item)
                     SELECT ?1, id FROM received_items
                     WHERE sender = ?2 AND owner = ?3 AND kind = ?4 AND uid = ?5 AND print = ?6",
                )?
                .execute(params![pack.id, key.0, key.1, key.2, key.3, key.4])?;
            Ok(())
        })
    }

    fn load(&self, item: i64) -> Result<Option<Item>, StoreError> {
        let body: Option<Vec<u8>> = self.run("reading what came", || {
            self.db
                .prepare_cached("SELECT body FROM received_items WHERE id = ?1")?
                .query_row([item], |row| row.get(0))
                .optional()
        })?;
        body.map(|body| serde_json::from_slice(&body))
            .transpose()
            .map_err(|error| damaged(item, error.to_string()))
    }

    fn load_case(&self, item: i64) -> Result<Option<CaseItem>, StoreError> {
        match self.load(item)? {
            Some(Item::Case(case)) => Ok(Some(case)),
            Some(other) => Err(damaged(item, format!("a {}, expected a case", other.kind()))),
            None => Ok(None),
        }
    }

    /// Of every player, case and recording of a sender, the version in the pack made last.
    fn winners(&self, sender: &str) -> Result<Winners, StoreError> {
        let read = |row: &Row<'_>| {
            let key = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok((key, Shown { item: row.get(3)?, pack: row.get(4)?, academy: row.get(5)? }))
        };
        // The last of each key stays in the map.
        self.run("reading what came", || {
            self.db
                .prepare_cached(
                    "SELECT i.kind, i.owner, i.uid, i.id, p.id, p.academy
                     FROM received_items i JOIN received_in r ON r.item = i.id
                     JOIN packs_received p ON p.id = r.pack
                     WHERE i.sender = ?1 AND p.sender = ?1 ORDER BY p.made, i.print, p.id",
                )?
                .query_map([sender], read)?
                .collect()
        })
    }
}

fn damaged(item: i64, why: String) -> StoreError {
    StoreError::Damaged { what: format!("received item {item}"), why: Damage::Payload(why) }
}
