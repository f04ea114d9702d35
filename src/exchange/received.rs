//! What goes between libraries: players, cases and recordings without names, as items.
//!
//! An item is a version of one player, case or recording of one sender. What the library shows of
//! received items is a function of the set of packs it holds: of several versions the one in the
//! pack made last is shown, ties to the greater print. Order and repetition do not matter. The
//! merge itself is in `merge/`.

use jiff::civil::Date;
use rusqlite::OptionalExtension;

use super::items::{
    CaseItem, FollowUpItem, HowEnded, Item, ItemKey, MomentItem, Origin, PackRow, PlanEndItem,
    PlanItem, PlayerItem, RecordingItem, ServeItem,
};
use crate::catalogue::Catalogue;
use crate::coaching::sessions_done;
use crate::find::AGE_BANDS;
use crate::library::read::count;
use crate::library::stored::ServeBytes;
use crate::library::{
    Author, CaseId, Ending, FaultLabel, Library, Plan, PlanId, PlannedDrill, PlayerId,
    RecordingRow, ServeId, StoreError, Witness,
};

impl Library {
    /// The packs received, by the day they were made.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn packs(&self) -> Result<Vec<PackRow>, StoreError> {
        let of = |kind: &str| {
            format!(
                "(SELECT count(*) FROM received_in r JOIN received_items i ON i.id = r.item
                  WHERE r.pack = p.id AND i.kind = '{kind}')"
            )
        };
        self.list(
            "listing packs",
            &format!(
                "SELECT id, sender, academy, made, received, signer, {}, {} FROM packs_received p
                 ORDER BY made, id",
                of("player"),
                of("case")
            ),
            [],
            |row| {
                Ok(PackRow {
                    id: row.get(0)?,
                    sender: row.get(1)?,
                    academy: row.get(2)?,
                    made: row.get(3)?,
                    received: row.get(4)?,
                    signer: row.get(5)?,
                    players: count(row, 6)?,
                    cases: count(row, 7)?,
                })
            },
        )
    }

    /// Where a case came from; `None` for the library's own.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn origin(&self, case: CaseId) -> Result<Option<Origin>, StoreError> {
        self.connection
            .prepare_cached(
                "SELECT p.academy, p.id, p.received, o.age_from, o.age_to FROM case_origins o
                 JOIN packs_received p ON p.id = o.pack WHERE o.case_id = ?1",
            )
            .and_then(|mut statement| {
                statement
                    .query_row([case.0], |row| {
                        let age: (Option<i64>, Option<i64>) = (row.get(3)?, row.get(4)?);
                        Ok(Origin {
                            academy: row.get(0)?,
                            pack: row.get(1)?,
                            received: row.get(2)?,
                            age: age.0.zip(age.1),
                        })
                    })
                    .optional()
            })
            .map_err(StoreError::sql("reading where a case came from"))
    }

    /// What senders call faults and drills of their own: kind, id, name; of several the one in the
    /// pack made last comes last.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn received_names(&self) -> Result<Vec<[String; 3]>, StoreError> {
        self.list(
            "reading names of received faults",
            "SELECT n.kind, n.id, n.name FROM received_names n JOIN packs_received p ON p.id = n.pack
             ORDER BY p.made, p.id",
            [],
            |row| Ok([row.get(0)?, row.get(1)?, row.get(2)?]),
        )
    }

    /// Whether a player came in a pack.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn is_received(&self, player: PlayerId) -> Result<bool, StoreError> {
        self.connection
            .prepare_cached("SELECT EXISTS (SELECT 1 FROM player_origins WHERE player = ?1)")
            .and_then(|mut statement| statement.query_row([player.0], |row| row.get(0)))
            .map_err(StoreError::sql("reading where a player came from"))
    }

    /// A case with its player and recordings as they may leave: pseudonyms for people and ids, no
    /// names, codes, birth dates or file names, words only `with_notes`, and even then no note
    /// that holds the player's code or name.
    ///
    /// Every pseudonym is a keyed blake3 under the library's secret: the same in every pack of
    /// this library, so that packs can be merged, and not to be undone or guessed without it.
    ///
    /// # Errors
    /// [`StoreError::NoSuch`]; [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn items_to_share(
        &self,
        case: CaseId,
        with_notes: bool,
        catalogue: &Catalogue,
    ) -> Result<Vec<Item>, StoreError> {
        let case = self.case(case)?;
        let who = self.player(case.player)?;
        let player = self.pseudonym(case.player)?;
        let names = [Some(who.code.to_lowercase()), who.name.as_ref().map(|n| n.to_lowercase())];
        let words = |note: &Option<String>| {
            note.clone().filter(|note| {
                let note = note.to_lowercase();
                with_notes && !names.iter().flatten().any(|name| note.contains(name.trim()))
            })
        };
        let mut items = vec![Item::Player(PlayerItem {
            player: player.clone(),
            hand: who.hand,
            level: who.level,
            stature_m: who.stature_m.map(|m| (m * 100.0).round() / 100.0),
        })];
        let mut labels = Vec::new();
        for label in &case.labels {
            labels.push(FaultLabel {
                by: self.speaker(&label.by)?,
                note: words(&label.note),
                ..label.clone()
            });
        }
        let mut plans = Vec::new();
        for plan in &case.plans {
            let mut follow_ups = Vec::new();
            for follow_up in case.follow_ups.iter().filter(|f| f.plan == plan.id) {
                let mut serves = Vec::new();
                for serve in &follow_up.serves {
                    let (hash, place) = self.place_of(serve.0)?;
                    serves.push((self.pseudonymise("recording", &hash)?, place));
                }
                follow_ups.push(FollowUpItem {
                    uid: self
                        .pseudonymise("follow-up", &self.uid_of("follow_ups", follow_up.id.0)?)?,
                    date: follow_up.date,
                    serves,
                    ball: follow_up.ball,
                    rating: follow_up.rating,
                    sessions_done: sessions_done(self, follow_up)?,
                    note: words(&follow_up.note),
                });
            }
            let drills = plan.drills.iter().map(|planned| PlannedDrill {
                drill: planned.drill.clone(),
                dose: words(&Some(planned.dose.clone()))
                    .unwrap_or_else(|| plain_dose(planned, catalogue)),
                place: planned.place,
            });
            plans.push(PlanItem {
                uid: self.pseudonymise("plan", &self.uid_of("plans", plan.id.0)?)?,
                limiting_fault: plan.limiting_fault.clone(),
                drills: drills.collect(),
                start: plan.start,
                review_on: plan.review_on,
                coach: plan.coach.as_deref().map(|coach| self.away_author(coach)).transpose()?,
                ended: self.end_item(plan, &words)?,
                note: words(&plan.note),
                follow_ups,
            });
        }
        let mut notes: Vec<String> = case.notes.iter().map(|note| note.text.clone()).collect();
        notes.extend(self.words_on_pictures(case.id)?);
        items.push(Item::Case(CaseItem {
            player: player.clone(),
            day: case.date,
            age: who.born.and_then(|born| age_band(case.date, born)),
            grip: case.grip,
            ball: case.ball,
            labels,
            plans,
            note: words_of(notes, &words),
        }));
        for row in self.recordings(Some(case.player))?.iter().filter(|row| row.date == case.date) {
            items.push(Item::Recording(self.recording_item(row, &player)?));
        }
        Ok(items)
    }

    fn recording_item(
        &self,
        row: &RecordingRow,
        player: &str,
    ) -> Result<RecordingItem, StoreError> {
        let mut serves = Vec::new();
        let mut moments = Vec::new();
        for (place, id) in self.serves_in(row.id)?.into_iter().enumerate() {
            let serve = self.serve(id)?.serve;
            moments.extend(self.moment_items(id, place)?);
            let bytes = ServeBytes::of(&serve)
                .map_err(|why| StoreError::Damaged { what: id.to_string(), why })?;
            serves.push(ServeItem {
                hand: serve.hand,
                channel_set: serve.curve.channel_set,
                channels: serve.curve.channels,
                curve: bytes.curve,
                figures: bytes.figures,
                details: bytes.details,
            });
        }
        Ok(RecordingItem {
            player: player.to_owned(),
            uid: self.pseudonymise("recording", &row.content_hash)?,
            day: row.date,
            capture: row.capture,
            view: row.view,
            rate_hz: row.rate_hz,
            setting: row.setting,
            serve_type: row.serve_type,
            serves,
            moments,
        })
    }

    /// What people set of a serve's moments, and what the program saw beside it.
    fn moment_items(&self, id: ServeId, serve: usize) -> Result<Vec<MomentItem>, StoreError> {
        let mut items = Vec::new();
        for mark in self.marks_of_serve(id)? {
            if let Some(event) = mark.what.event() {
                let witness = Witness::Person(self.speaker(&mark.by)?);
                let (time_s, frame) = (mark.time_s, mark.frame);
                items.push(MomentItem { serve, event, witness, time_s, frame, sure: None });
            }
        }
        items.extend(self.moments_seen(id)?.into_iter().map(|seen| MomentItem {
            serve,
            event: seen.event,
            witness: seen.witness,
            time_s: seen.time_s,
            frame: seen.frame,
            sure: Some((seen.error_s, seen.trust)),
        }));
        items.sort_by(|a, b| (a.event, &a.witness).cmp(&(b.event, &b.witness)));
        Ok(items)
    }

    fn end_item(
        &self,
        plan: &Plan,
        words: &dyn Fn(&Option<String>) -> Option<String>,
    ) -> Result<Option<PlanEndItem>, StoreError> {
        let Some(end) = &plan.ended else { return Ok(None) };
        let (how, next) = match end.how {
            Ending::Ended => (HowEnded::Ended, None),
            Ending::Withdrawn => (HowEnded::Withdrawn, None),
            Ending::Replaced(by) => (HowEnded::Replaced, Some(by)),
        };
        let uid = |id: PlanId| self.pseudonymise("plan", &self.uid_of("plans", id.0)?);
        Ok(Some(PlanEndItem {
            day: end.day,
            how,
            replaced_by: next.map(uid).transpose()?,
            by: self.speaker(&end.by)?,
            reason: words(&end.reason),
        }))
    }

    /// The program speaks as itself; a coach becomes a voice.
    fn speaker(&self, by: &Author) -> Result<Author, StoreError> {
        match by {
            Author::Program => Ok(Author::Program),
            Author::Coach(code) => self.away_author(code).map(Author::Coach),
        }
    }

    fn away_author(&self, by: &str) -> Result<String, StoreError> {
        Ok(format!("{AWAY_AUTHOR}{}", &self.pseudonymise("coach", &by.to_lowercase())?[..8]))
    }

    /// Cases and recordings that left in a pack before and are here no more: moved or removed.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn items_to_withdraw(&self) -> Result<Vec<ItemKey>, StoreError> {
        self.list(
            "listing what to take back",
            "SELECT player, kind, uid FROM items_to_withdraw ORDER BY player, kind, uid",
            [],
            |row| Ok(ItemKey { player: row.get(0)?, kind: row.get(1)?, uid: row.get(2)? }),
        )
    }

    /// Pseudonyms of players whose cases left in a pack before and who are forgotten since or agree
    /// to sharing no more, in order: every later pack takes them back.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn withdrawals(&self) -> Result<Vec<String>, StoreError> {
        let mut gone: Vec<String> = self.list(
            "listing withdrawals",
            "SELECT player FROM withdrawals_to_send",
            [],
            |row| row.get(0),
        )?;
        let unwilling: Vec<String> = self.list(
            "listing withdrawals",
            "SELECT DISTINCT p.uid FROM sent_cases s JOIN players p ON p.id = s.player
             WHERE p.consent_share = 0",
            [],
            |row| row.get(0),
        )?;
        for uid in unwilling {
            gone.push(self.pseudonymise("player", &uid)?);
        }
        gone.sort();
        gone.dedup();
        Ok(gone)
    }

    /// Content hash of a serve's recording, and the serve's place in it.
    fn place_of(&self, serve: i64) -> Result<(String, u32), StoreError> {
        self.connection
            .prepare_cached(
                "SELECT r.content_hash, s.place FROM serves s JOIN recordings r ON r.id = s.recording
                 WHERE s.id = ?1",
            )
            .and_then(|mut statement| {
                statement.query_row([serve], |row| Ok((row.get(0)?, row.get(1)?)))
            })
            .map_err(StoreError::sql("reading where a serve is"))
    }
}

/// The notes that may leave, as one text.
fn words_of(
    notes: Vec<String>,
    words: &dyn Fn(&Option<String>) -> Option<String>,
) -> Option<String> {
    let texts: Vec<String> = notes.into_iter().filter_map(|note| words(&Some(note))).collect();
    (!texts.is_empty()).then(|| texts.join("\n"))
}

/// Begins the voice of another academy's coach; eight hex digits follow.
pub(crate) const AWAY_AUTHOR: &str = "away-";

/// The dose as far as it is the catalogue's own words.
fn plain_dose(planned: &PlannedDrill, catalogue: &Catalogue) -> String {
    let own = catalogue.drill(&planned.drill).map(|drill| drill.dose.as_str());
    if own == Some(planned.dose.as_str()) { planned.dose.clone() } else { String::new() }
}

fn age_band(day: Date, born: Date) -> Option<(i64, i64)> {
    let age = i64::from(day.year()) - i64::from(born.year());
    AGE_BANDS
        .iter()
        .find(|(_, first, last)| (*first..=*last).contains(&age))
        .map(|&(_, first, last)| (first, last))
}
