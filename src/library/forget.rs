//! Removing a person: from the store and from every derived file.
//!
//! The rows go in one transaction that also leaves tombstones and a chore. The chore, wiping the
//! files, is done at once or, after a crash, when the library is next opened for writing. What is
//! derived from the store is removed with it; whoever searches next builds it anew.
//!
//! A tombstone is a keyed blake3 under the library's secret: of the sender and pseudonym a player
//! came under, and of the motion in each recording. Without the secret nobody can test a guess;
//! with it the same person can be recognised in a later pack, and nothing says who it was.

use jiff::civil::Date;
use rusqlite::{OptionalExtension, params};

use super::prints::keyed_print;
use super::store::Turn;
use super::write::Writer;
use super::{CaseId, Counts, Library, PlayerId, RecordingId, StoreError, WriteError};

const WIPE: &str = "wipe";

/// A pack that left with cases of a player.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentPack {
    /// When it was made, as a timestamp in UTC.
    pub made: String,
    /// For whom, where that was said.
    pub recipient: Option<String>,
    /// blake3 of the pack's file, hex.
    pub file_hash: String,
    /// How many of the player's cases are in it.
    pub cases: usize,
}

/// What [`Library::forget`] did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Forgotten {
    /// What was removed; `players` is 1.
    pub removed: Counts,
    /// Packs that left with the player's cases before; what is in them is out of reach here.
    pub sent: Vec<SentPack>,
    /// Cases of other players whose free words still hold the player's code or name.
    pub mentions: Vec<CaseId>,
    /// Whether every file is wiped already; `false` while a reader keeps the old state open, and
    /// then the next opening for writing does it.
    pub wiped: bool,
}

impl Library {
    /// What [`Library::forget`] would remove and the packs the player's cases already left in.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`].
    pub fn before_forgetting(
        &self,
        player: PlayerId,
    ) -> Result<(Counts, Vec<SentPack>), StoreError> {
        self.player(player)?;
        let count = |sql: &str| -> Result<usize, StoreError> {
            self.connection
                .query_row(sql, [player.0], |row| row.get::<_, i64>(0))
                .map(|n| usize::try_from(n).unwrap_or(0))
                .map_err(StoreError::sql("counting"))
        };
        let of_plans = "FROM plans n JOIN cases c ON c.id = n.case_id";
        let removed = Counts {
            players: 1,
            recordings: count("SELECT count(*) FROM recordings WHERE player = ?1")?,
            serves: count("SELECT count(*) FROM serves WHERE player = ?1")?,
            cases: count("SELECT count(*) FROM cases WHERE player = ?1")?,
            plans: count(&format!("SELECT count(*) {of_plans} WHERE c.player = ?1"))?,
            follow_ups: count(&format!(
                "SELECT count(*) {of_plans} JOIN follow_ups f ON f.plan = n.id WHERE c.player = ?1"
            ))?,
        };
        let sent = self.list(
            "listing packs",
            "SELECT p.made, p.recipient, p.file_hash, count(*)
             FROM sent_cases s JOIN packs_sent p ON p.id = s.pack
             WHERE s.player = ?1 GROUP BY p.id ORDER BY p.id",
            [player.0],
            |row| {
                Ok(SentPack {
                    made: row.get(0)?,
                    recipient: row.get(1)?,
                    file_hash: row.get(2)?,
                    cases: super::read::count(row, 3)?,
                })
            },
        )?;
        Ok((removed, sent))
    }

    /// Removes a player and everything that belongs to the player from every file of the library,
    /// and leaves tombstones by which the player can be recognised in a later pack.
    ///
    /// The file is rewritten, the log emptied, what is derived removed. What a disk or a copy made
    /// earlier keeps is out of reach. This can not be undone. Cost: rewrites the store.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`WriteError::ReadOnly`]; [`WriteError::Locked`]; a failing disk.
    /// Once the rows are gone an error leaves the rest to the next opening for writing.
    pub fn forget(&mut self, player: PlayerId, day: Date) -> Result<Forgotten, WriteError> {
        // One turn from the first look to the last byte: nothing of the player comes in meanwhile.
        let turn = self.take_turn()?;
        let who = self.player(player)?;
        let (removed, sent) = self.before_forgetting(player)?;
        let prints = self.prints_of(player)?;
        let pseudonym = self.pseudonym(player)?;
        let left = if sent.is_empty() && !self.has_to_withdraw(&pseudonym)? {
            None
        } else {
            Some(pseudonym)
        };
        let names: Vec<String> =
            [Some(who.code.clone()), who.name.clone()].into_iter().flatten().collect();
        self.forget_waiting(&names, &turn)?;
        self.write_in(&turn, |w| {
            w.keep_no_history();
            w.erase_history(player, &names)?;
            w.leave_tombstones(&prints, day)?;
            w.ask_back(left.as_deref(), day)?;
            w.remove_received(player)?;
            w.remove_player(player)
        })?;
        let mentions = self.mentions(&[Some(who.code), who.name])?;
        let wiped = self.wipe(&turn)?;
        Ok(Forgotten { removed, sent, mentions, wiped })
    }

    /// Finishes what a crash, or a reader of the old state, kept from being wiped; where another
    /// process is at work, that is left to the next opening.
    pub(super) fn finish_wiping(&self) -> Result<(), StoreError> {
        if !self.is_wiping_due()? {
            return Ok(());
        }
        match self.take_turn() {
            Ok(turn) if self.is_wiping_due()? => self.wipe(&turn).map(|_| ()),
            Ok(_) | Err(WriteError::Locked(_) | WriteError::Replaced { .. }) => Ok(()),
            Err(WriteError::Store(error)) => Err(error),
            Err(_) => Ok(()),
        }
    }

    fn is_wiping_due(&self) -> Result<bool, StoreError> {
        self.connection
            .query_row("SELECT EXISTS (SELECT 1 FROM chores WHERE what = ?1)", [WIPE], |row| {
                row.get(0)
            })
            .map_err(StoreError::sql("looking for chores"))
    }

    /// Rewrites every file so that nothing removed stays in it; `false` if a reader or a process
    /// that builds an index is in the way.
    fn wipe(&self, _turn: &Turn) -> Result<bool, StoreError> {
        let building = self.wait_to_build()?;
        self.connection.execute_batch("VACUUM").map_err(StoreError::sql("rewriting the file"))?;
        // Reader by reader, at most as long as the connection waits for others.
        let busy: bool = self
            .connection
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))
            .map_err(StoreError::sql("emptying the log"))?;
        self.sweep_clips(true)?;
        if let Some(building) = &building {
            self.remove_derived(building)?;
        }
        let done = !busy && building.is_some();
        if done {
            self.drop_changes_of_gone()?;
            self.connection
                .execute("DELETE FROM chores WHERE what = ?1", [WIPE])
                .map_err(StoreError::sql("ending a chore"))?;
        }
        Ok(done)
    }

    /// Whether something of a player that left in a pack is still to be taken back.
    fn has_to_withdraw(&self, pseudonym: &str) -> Result<bool, StoreError> {
        self.connection
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM items_to_withdraw WHERE player = ?1)",
                [pseudonym],
                |row| row.get(0),
            )
            .map_err(StoreError::sql("looking for packs that left"))
    }

    /// The tombstones a player would leave.
    fn prints_of(&self, player: PlayerId) -> Result<Vec<[u8; 32]>, StoreError> {
        let mut prints = Vec::new();
        let origin: Option<(String, String)> = self
            .connection
            .query_row(
                "SELECT sender, uid FROM player_origins WHERE player = ?1",
                [player.0],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()
            .map_err(StoreError::sql("reading where a player came from"))?;
        if let Some((sender, uid)) = origin {
            prints.push(self.guest_print(&sender, &uid)?);
        }
        let recordings = self.list(
            "listing recordings",
            "SELECT id FROM recordings WHERE player = ?1",
            [player.0],
            |row| row.get(0).map(RecordingId),
        )?;
        for recording in recordings {
            let positions: Vec<u8> = self
                .connection
                .query_row(
                    "SELECT positions FROM recording_joints WHERE recording = ?1",
                    [recording.0],
                    |row| row.get(0),
                )
                .map_err(StoreError::sql("reading a recording"))?;
            // What came in a pack has no joints to know it by.
            if !positions.is_empty() {
                prints.push(self.motion_print(&positions)?);
            }
        }
        Ok(prints)
    }

    /// The keyed hash of a player of another library.
    fn guest_print(&self, sender: &str, uid: &str) -> Result<[u8; 32], StoreError> {
        self.keyed("guest", format!("{sender}\0{uid}").as_bytes())
    }

    /// The keyed hash of a recording's motion: its stored positions.
    fn motion_print(&self, positions: &[u8]) -> Result<[u8; 32], StoreError> {
        self.keyed("motion", positions)
    }

    /// blake3 of `value` under a key drawn from the library's secret for this one purpose.
    fn keyed(&self, purpose: &str, value: &[u8]) -> Result<[u8; 32], StoreError> {
        Ok(*keyed_print(&self.connection, purpose, value)?.as_bytes())
    }

    /// Cases whose free words hold one of these names, by id.
    fn mentions(&self, names: &[Option<String>]) -> Result<Vec<CaseId>, StoreError> {
        let mut found = Vec::new();
        for name in names.iter().flatten().filter(|name| !name.trim().is_empty()) {
            found.extend(self.list(
                "looking for mentions",
                "SELECT case_id FROM case_notes WHERE instr(lower(text), lower(?1))
                 UNION SELECT case_id FROM check_ins WHERE instr(lower(injuries), lower(?1))
                 UNION SELECT case_id FROM labels WHERE instr(lower(note), lower(?1))
                 UNION SELECT case_id FROM plans WHERE instr(lower(note), lower(?1))
                 UNION SELECT n.case_id FROM follow_ups f JOIN plans n ON n.id = f.plan
                    WHERE instr(lower(f.note), lower(?1))
                 UNION SELECT n.case_id FROM practice d JOIN plans n ON n.id = d.plan
                    WHERE instr(lower(d.note), lower(?1))
                 UNION SELECT n.case_id FROM plan_ends e JOIN plans n ON n.id = e.plan
                    WHERE instr(lower(e.reason), lower(?1))
                 UNION SELECT r.case_id FROM marks m JOIN recordings r ON r.id = m.recording
                    WHERE instr(lower(m.text), lower(?1))",
                [name],
                |row| row.get(0).map(CaseId),
            )?);
        }
        found.sort();
        found.dedup();
        Ok(found)
    }
}

impl Writer<'_> {
    /// Removes every version of what came of a player in packs; the rows shown stay.
    fn remove_received(&mut self, player: PlayerId) -> Result<(), WriteError> {
        self.run("removing what came of a player", || {
            self.db.execute(
                "DELETE FROM received_items WHERE (sender, owner) IN
                    (SELECT sender, uid FROM player_origins WHERE player = ?1)",
                [player.0],
            )
        })?;
        Ok(())
    }

    /// Lets the next packs take back a player whose cases left, under the pseudonym they left with.
    fn ask_back(&mut self, pseudonym: Option<&str>, day: Date) -> Result<(), WriteError> {
        let Some(pseudonym) = pseudonym else { return Ok(()) };
        // One scope: a pack is not made for one recipient.
        self.run("noting whom to take back", || {
            self.db.execute(
                "INSERT OR IGNORE INTO withdrawals_to_send VALUES ('', ?1, ?2)",
                params![pseudonym, day.to_string()],
            )?;
            // The player's pseudonym takes everything back.
            self.db.execute("DELETE FROM items_to_withdraw WHERE player = ?1", [pseudonym])
        })?;
        Ok(())
    }

    /// Leaves tombstones and the chore of wiping.
    fn leave_tombstones(&mut self, prints: &[[u8; 32]], day: Date) -> Result<(), WriteError> {
        self.run("leaving a tombstone", || {
            let mut insert =
                self.db.prepare_cached("INSERT OR IGNORE INTO tombstones VALUES (?1, ?2)")?;
            for print in prints {
                insert.execute(params![print, day.to_string()])?;
            }
            self.db.execute("INSERT OR IGNORE INTO chores VALUES (?1)", [WIPE])
        })?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::Path;

    use jiff::civil::date;
    use tempfile::TempDir;

    use super::*;
    use crate::library::envelope::raw_f32;
    use crate::library::tests::made::{self, holding};
    use crate::library::{Author, Clip, FaultLabel, LabelState, Marked, NewMark, Removal};
    use crate::video::Placed;

    /// Things of the player, and whether a file of the whole library holds them; words in the word
    /// index are stems in small letters.
    fn traces() -> Vec<(&'static str, Vec<u8>)> {
        vec![
            ("code", b"zebrafinch".to_vec()),
            ("name", b"Name of zebrafinch".to_vec()),
            ("note of the case", b"quokkanote".to_vec()),
            ("note of a label", b"numbatlabel".to_vec()),
            ("words on a picture", b"wallabywords".to_vec()),
            ("words on a picture that were taken off", b"dunnartwords".to_vec()),
            ("earlier note of a label", b"bilbyearlier".to_vec()),
            ("removed curve", raw_f32(&made::serve(31).curve.values[12..40])),
            ("file name", b"file-1.csv".to_vec()),
            ("content hash", made::hash(1).into_bytes()),
            ("clip", b"wombat.mp4".to_vec()),
            ("pictures of the clip", b"pictures of a person".to_vec()),
            ("picture cut from the clip", b"stillofaperson".to_vec()),
            ("body of the clip", b"bodyoftheclip".to_vec()),
            ("curve", raw_f32(&made::serve(10).curve.values[12..40])),
        ]
    }

    fn stocked(folder: &Path) -> (Library, PlayerId) {
        let mut library = Library::create(folder).unwrap();
        let gone = library.add_player(&made::player("zebrafinch")).unwrap();
        let stays = library.add_player(&made::player("p08")).unwrap();
        let added = made::add(&mut library, gone, 1, date(2026, 3, 4), 2).unwrap();
        let other = made::add(&mut library, stays, 2, date(2026, 3, 4), 2).unwrap();
        let label = FaultLabel {
            fault: "late_toss".to_owned(),
            state: LabelState::Added,
            severity: 0.5,
            by: Author::Coach("anna".to_owned()),
            note: Some("numbatlabel".to_owned()),
        };
        let clip = Clip {
            path: "/clips/wombat.mp4".to_owned(),
            hash: made::hash(70),
            kept: true,
            body: b"bodyoftheclip".to_vec(),
        };
        library
            .write(|w| {
                w.add_note(added.case, "quokkanote", None)?;
                w.add_note(other.case, "calm", None)?;
                w.set_label(added.case, &label)?;
                w.set_clip(added.recording, &clip)
            })
            .unwrap();
        for text in ["dunnartwords", "wallabywords"] {
            let what = Marked::Words { at: None, text: text.to_owned() };
            let mark =
                NewMark { recording: added.recording, serve: None, what, time_s: 0.0, frame: 0 };
            library.write(|w| w.set_mark(&mark, &label.by)).unwrap();
        }
        let off = library.marks(added.recording).unwrap()[0].clone();
        library.write(|w| w.remove_mark(&off, &label.by)).unwrap();
        // What was before: a label as it was, a recording that is removed.
        let first = FaultLabel { note: Some("bilbyearlier".to_owned()), ..label.clone() };
        library.write(|w| w.set_label(added.case, &first)).unwrap();
        library.write(|w| w.set_label(added.case, &label)).unwrap();
        let removed = made::add(&mut library, gone, 3, date(2026, 3, 5), 2).unwrap();
        let removal = Removal::Recording(removed.recording);
        library.write(|w| w.remove(&removal, &[], &Author::Program)).unwrap();
        let copy = library.clip_copy(&clip.hash);
        fs::create_dir_all(copy.parent().unwrap()).unwrap();
        fs::write(copy, "pictures of a person").unwrap();
        let place = Placed { frame: 3, area_px: [0, 0, 40, 60], size_px: (40, 60) };
        library.keep_stills(added.recording, &clip.hash, &[(place, b"stillofaperson")]).unwrap();
        library.sync().unwrap();
        (library, gone)
    }

    fn expect_gone(folder: &Path, context: &str) {
        for (what, needle) in traces() {
            assert_eq!(holding(folder, &needle), [""; 0], "{what} {context}");
        }
        assert_ne!(holding(folder, b"Name of p08"), [""; 0]);
        assert_ne!(holding(folder, &raw_f32(&made::serve(20).curve.values[12..40])), [""; 0]);
    }

    #[test]
    fn no_byte_of_a_forgotten_player_is_left_in_any_file() {
        let folder = TempDir::new().unwrap();
        let (mut library, gone) = stocked(folder.path());
        for (what, needle) in traces() {
            assert_ne!(holding(folder.path(), &needle), [""; 0], "{what} was never there");
        }
        let curves = format!("curves/{}.index", made::SET);
        let needle = raw_f32(&made::serve(10).curve.values[12..40]);
        assert!(holding(folder.path(), &needle).iter().any(|file| file.ends_with(&curves)));

        let forgotten = library.forget(gone, date(2026, 6, 1)).unwrap();
        let removed =
            Counts { players: 1, recordings: 1, serves: 2, cases: 1, ..Counts::default() };
        assert_eq!(forgotten.removed, removed);
        assert_eq!((forgotten.wiped, forgotten.sent, forgotten.mentions), (true, vec![], vec![]));
        expect_gone(folder.path(), "while the library is open");
        assert!(["curves", "words"].iter().all(|name| !folder.path().join(name).exists()));
        assert_eq!(library.find_words("quokkanote").unwrap().cases, Some(vec![]));
        assert_eq!(library.find_words("calm").unwrap().cases, Some(vec![CaseId(2)]));
        library.sync().unwrap();
        expect_gone(folder.path(), "once what is derived was built again");
        assert!(library.verify(false, &crate::work::Watch::default()).unwrap().findings.is_empty());
        drop(library);
        expect_gone(folder.path(), "after it was closed");
    }

    #[test]
    fn wiping_a_crash_cut_short_is_done_by_the_next_opening() {
        let folder = TempDir::new().unwrap();
        let (mut library, gone) = stocked(folder.path());
        let prints = library.prints_of(gone).unwrap();
        library
            .write(|w| {
                w.leave_tombstones(&prints, date(2026, 6, 1))?;
                w.remove_player(gone)
            })
            .unwrap();
        // As a crash leaves it: nothing brought up to the store, the log not folded in.
        std::mem::forget(library);
        assert_ne!(holding(folder.path(), b"quokkanote"), [""; 0]);
        // The lock of this process is still held by what was leaked: a copy of the folder.
        let copy = TempDir::new().unwrap();
        copy_all(folder.path(), copy.path());
        let library = Library::open(copy.path()).unwrap();
        expect_gone(copy.path(), "after the next opening");
        assert_eq!(library.counts().unwrap().players, 1);
    }

    fn copy_all(from: &Path, to: &Path) {
        for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
            let target = to.join(entry.file_name());
            if entry.path().is_dir() {
                fs::create_dir(&target).unwrap();
                copy_all(&entry.path(), &target);
            } else if !entry.file_name().to_string_lossy().ends_with("-shm") {
                fs::copy(entry.path(), target).unwrap();
            }
        }
    }

    #[test]
    fn a_reader_of_the_old_state_delays_the_wiping_and_is_told_of() {
        let folder = TempDir::new().unwrap();
        let (mut library, gone) = stocked(folder.path());
        library.connection.busy_timeout(std::time::Duration::from_millis(50)).unwrap();
        let reader = Library::open_read_only(folder.path()).unwrap();
        reader.connection.execute_batch("BEGIN; SELECT count(*) FROM players").unwrap();
        assert_eq!(reader.counts().unwrap().players, 2);
        assert!(!library.forget(gone, date(2026, 6, 1)).unwrap().wiped);
        assert_eq!(reader.counts().unwrap().players, 2);
        drop(reader);
        drop(library);
        let library = Library::open(folder.path()).unwrap();
        expect_gone(folder.path(), "once the reader is gone");
        assert_eq!(library.counts().unwrap().players, 1);
    }

    fn has_tombstone(library: &Library, print: &[u8; 32]) -> bool {
        let sql = "SELECT EXISTS (SELECT 1 FROM tombstones WHERE print = ?1)";
        library.connection.query_row(sql, [print], |row| row.get(0)).unwrap()
    }

    #[test]
    fn a_tombstone_knows_the_motion_again_and_names_nobody() {
        let folder = TempDir::new().unwrap();
        let (mut library, gone) = stocked(folder.path());
        let prints = library.prints_of(gone).unwrap();
        assert_eq!(prints.len(), 1);
        assert!(!has_tombstone(&library, &prints[0]));
        library.forget(gone, date(2026, 6, 1)).unwrap();
        assert!(has_tombstone(&library, &prints[0]));
        // Another library has another secret: its print of the same motion is another one.
        let other = TempDir::new().unwrap();
        let (other, player) = stocked(other.path());
        assert_ne!(other.prints_of(player).unwrap(), prints);
    }

    #[test]
    fn the_words_of_others_that_name_the_player_are_listed() {
        let folder = TempDir::new().unwrap();
        let (mut library, gone) = stocked(folder.path());
        let what = Marked::Words { at: None, text: "as Zebrafinch does".to_owned() };
        let mark = NewMark { recording: RecordingId(2), serve: None, what, time_s: 0.0, frame: 0 };
        let anna = Author::coach("anna").unwrap();
        library.write(|w| w.set_mark(&mark, &anna)).unwrap();
        let forgotten = library.forget(gone, date(2026, 6, 1)).unwrap();
        assert_eq!(forgotten.mentions, [CaseId(2)]);
    }
}
