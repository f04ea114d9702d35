//! What goes between libraries: players, cases and recordings without names, as items.
//!
//! An item is a version of one player, case or recording of one sender. What the library shows of
//! received items is a function of the set of packs it holds: of several versions the one in the
//! pack made last is shown, ties to the greater print. Order and repetition do not matter. The
//! merge itself is in `merge/`.

use jiff::civil::Date;
use rusqlite::OptionalExtension;
use serde::{Deserialize, Serialize};

use crate::catalogue::Catalogue;
use crate::coaching::sessions_done;
use crate::find::AGE_BANDS;
use crate::library::read::count;
use crate::library::stored::ServeBytes;
use crate::library::{
    Author, BallFlight, CaseId, Ending, FaultLabel, Grip, Level, Library, Note, Plan, PlanId,
    PlannedDrill, PlayerId, RecordingRow, ServeType, Setting, StoreError,
};
use crate::motion::{Capture, Side, View};

/// One version of a player, case or recording, as it travels: one JSON object.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Item {
    /// A player.
    Player(PlayerItem),
    /// A case, without its recordings.
    Case(CaseItem),
    /// A recording with its serves, without its joints.
    Recording(RecordingItem),
}

/// A player without a name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlayerItem {
    /// Pseudonym: 64 hex digits.
    pub player: String,
    /// Serving hand.
    pub hand: Option<Side>,
    /// Level.
    pub level: Option<Level>,
    /// Standing height, m, to the centimetre.
    pub stature_m: Option<f64>,
}

/// A case. A player has one case a day, so player and day name it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CaseItem {
    /// Pseudonym of the player.
    pub player: String,
    /// Day.
    pub day: Date,
    /// Ages reached in the year of the case, both ends included.
    pub age: Option<(i64, i64)>,
    /// Grip.
    pub grip: Option<Grip>,
    /// What the ball did.
    pub ball: BallFlight,
    /// Labels; a coach is a voice like `away-1a2b3c4d`.
    pub labels: Vec<FaultLabel>,
    /// Plans with their follow-ups.
    pub plans: Vec<PlanItem>,
    /// The coach's words, if they were allowed to leave.
    pub note: Option<String>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanItem {
    /// Id: 64 hex digits.
    pub uid: String,
    /// Catalogue id of the limiting fault.
    pub limiting_fault: String,
    /// Drills; the dose only where it is the catalogue's own or words were allowed to leave.
    pub drills: Vec<PlannedDrill>,
    /// First day.
    pub start: Date,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// Voice of the coach.
    pub coach: Option<String>,
    /// How it ended, if it did; not in packs of format 1 and 2.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<PlanEndItem>,
    /// Words, if allowed.
    pub note: Option<String>,
    /// Follow-ups.
    pub follow_ups: Vec<FollowUpItem>,
}

/// The end of a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlanEndItem {
    /// First day on which it is in force no longer.
    pub day: Date,
    /// How it ended.
    pub how: HowEnded,
    /// Id of the plan that took its place; it may be in another pack.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<String>,
    /// Voice of the coach who said so, or the program.
    pub by: Author,
    /// Why, if words were allowed to leave.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// How a plan that travels ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HowEnded {
    /// Done for as long as it was meant to be.
    Ended,
    /// Taken back.
    Withdrawn,
    /// Another plan took its place.
    Replaced,
}

impl HowEnded {
    /// As the store spells it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Ended => "ended",
            Self::Withdrawn => "withdrawn",
            Self::Replaced => "replaced",
        }
    }
}

/// A follow-up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FollowUpItem {
    /// Id: 64 hex digits.
    pub uid: String,
    /// Day.
    pub date: Date,
    /// Serves: id of the recording and place in it. The recording may be in another pack.
    pub serves: Vec<(String, u32)>,
    /// What the ball did.
    pub ball: BallFlight,
    /// Rating, -2 to 2.
    pub rating: Option<i8>,
    /// Sessions done.
    pub sessions_done: Option<u32>,
    /// Words, if allowed.
    pub note: Option<String>,
}

/// A recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordingItem {
    /// Pseudonym of the player.
    pub player: String,
    /// Id: 64 hex digits.
    pub uid: String,
    /// Day it was recorded, which is that of its case.
    pub day: Date,
    /// How joints were obtained.
    pub capture: Capture,
    /// Camera view.
    pub view: Option<View>,
    /// Hz.
    pub rate_hz: f64,
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// Serves in order of time, at least one.
    pub serves: Vec<ServeItem>,
}

/// A serve in the store's own frozen encoding, as hex digits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ServeItem {
    /// The hand that held the racket.
    pub hand: Side,
    /// Channel list of the curve.
    pub channel_set: String,
    /// Number of channels.
    pub channels: usize,
    /// 101 x channels `f32`, little-endian.
    #[serde(with = "hex")]
    pub curve: Vec<u8>,
    /// 101 x joints x 3 `f32`, little-endian.
    #[serde(with = "hex")]
    pub figures: Vec<u8>,
    /// Events, readings and notes of the program: a sealed value (magic, format, checksum).
    #[serde(with = "hex")]
    pub details: Vec<u8>,
}

impl Item {
    /// Pseudonym of the player it belongs to.
    #[must_use]
    pub fn owner(&self) -> &str {
        match self {
            Self::Player(item) => &item.player,
            Self::Case(item) => &item.player,
            Self::Recording(item) => &item.player,
        }
    }

    /// `player`, `case` or `recording`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Player(_) => "player",
            Self::Case(_) => "case",
            Self::Recording(_) => "recording",
        }
    }

    /// What tells it from others of its kind and player.
    #[must_use]
    pub fn uid(&self) -> String {
        match self {
            Self::Player(_) => String::new(),
            Self::Case(item) => item.day.to_string(),
            Self::Recording(item) => item.uid.clone(),
        }
    }

    /// As one line of JSON, the same for equal items.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] for a figure JSON can not hold.
    pub fn line(&self) -> Result<Vec<u8>, StoreError> {
        serde_json::to_vec(self).map_err(|error| StoreError::Damaged {
            what: self.kind().to_owned(),
            why: crate::library::Damage::Payload(error.to_string()),
        })
    }
}

/// What names a case or recording among all of a sender.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ItemKey {
    /// Pseudonym of the player.
    pub player: String,
    /// `case` or `recording`.
    pub kind: String,
    /// The case's day, or the recording's id.
    pub uid: String,
}

/// A pack that arrived: opened, checked and not yet stored.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrived {
    /// Id of the pack: 64 hex digits.
    pub id: String,
    /// Uid of the library that made it.
    pub sender: String,
    /// What the sender is called.
    pub academy: Option<String>,
    /// When it was made: `2026-03-04T05:06:07.089Z`, so that text sorts as time.
    pub made: String,
    /// Public key it is signed with, hex, its signature checked; `None`: not signed.
    pub signer: Option<String>,
    /// Pseudonyms of players the sender takes back.
    pub withdrawn: Vec<String>,
    /// Cases and recordings the sender takes back.
    pub withdrawn_items: Vec<ItemKey>,
    /// Faults and drills of the sender's own: kind, id, name.
    pub names: Vec<(String, String, String)>,
    /// What it holds.
    pub items: Vec<Item>,
}

/// What receiving a pack, or taking one back, did to what the library shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Brought {
    /// Whether this very pack was here already.
    pub known: bool,
    /// Players that came.
    pub players: usize,
    /// Cases that came.
    pub cases: usize,
    /// Recordings that came, or came in another version.
    pub recordings: usize,
    /// Serves in them.
    pub serves: usize,
    /// Cases shown in another version than before.
    pub replaced: usize,
    /// Players not taken because they were forgotten here.
    pub forgotten: usize,
    /// Players of this library whom the sender takes back with it.
    pub taken_back: usize,
    /// Cases not shown because a case of this library is there on that day.
    pub in_the_way: usize,
    /// Players that went.
    pub players_gone: usize,
    /// Cases that went.
    pub cases_gone: usize,
    /// Recordings that went.
    pub recordings_gone: usize,
}

/// A pack this library holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PackRow {
    /// Id.
    pub id: String,
    /// Uid of the library that made it.
    pub sender: String,
    /// What the sender is called.
    pub academy: Option<String>,
    /// When it was made, UTC.
    pub made: String,
    /// When it was received, UTC.
    pub received: String,
    /// Public key it was signed with, hex.
    pub signer: Option<String>,
    /// Players in it.
    pub players: usize,
    /// Cases in it.
    pub cases: usize,
}

/// Where a received case came from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Origin {
    /// What the sender is called, if it says.
    pub academy: Option<String>,
    /// Id of the pack.
    pub pack: String,
    /// When it was received, UTC.
    pub received: String,
    /// Ages reached in the year of the case, both ends included: all a pack says of a birth date.
    pub age: Option<(i64, i64)>,
}

impl Origin {
    /// In words: "from the pack of North Side, received 2026-05-01".
    #[must_use]
    pub fn describe(&self) -> String {
        let academy = self.academy.as_deref().unwrap_or("an academy that gave no name");
        // A time in UTC begins with its day.
        let day = self.received.get(..10).unwrap_or(&self.received);
        format!("from the pack of {academy}, received {day}")
    }
}

/// A pack that leaves, for the library's own record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Leaving {
    /// When it was made, UTC.
    pub made: String,
    /// The filter it was chosen by.
    pub scope: String,
    /// blake3 of the file, hex.
    pub file_hash: String,
    /// How many serves are in it.
    pub serves: usize,
    /// The cases in it.
    pub cases: Vec<(CaseId, PlayerId)>,
}

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
        items.push(Item::Case(CaseItem {
            player: player.clone(),
            day: case.date,
            age: who.born.and_then(|born| age_band(case.date, born)),
            grip: case.grip,
            ball: case.ball,
            labels,
            plans,
            note: words_of(&case.notes, &words),
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
        for id in self.serves_in(row.id)? {
            let serve = self.serve(id)?.serve;
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
        })
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
fn words_of(notes: &[Note], words: &dyn Fn(&Option<String>) -> Option<String>) -> Option<String> {
    let texts: Vec<String> =
        notes.iter().filter_map(|note| words(&Some(note.text.clone()))).collect();
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

/// Bytes as small hex digits.
mod hex {
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    const DIGITS: &[u8; 16] = b"0123456789abcdef";

    pub(super) fn serialize<S: Serializer>(bytes: &[u8], to: S) -> Result<S::Ok, S::Error> {
        let digits = |byte: &u8| [byte >> 4, byte & 15].map(|n| char::from(DIGITS[usize::from(n)]));
        to.serialize_str(&bytes.iter().flat_map(digits).collect::<String>())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<u8>, D::Error> {
        let text = String::deserialize(from)?;
        let value = |digit: u8| match digit {
            b'0'..=b'9' => Ok(digit - b'0'),
            b'a'..=b'f' => Ok(digit - b'a' + 10),
            _ => Err(D::Error::custom("not small hex digits")),
        };
        let (pairs, rest) = text.as_bytes().as_chunks::<2>();
        if !rest.is_empty() {
            return Err(D::Error::custom("an odd number of hex digits"));
        }
        pairs.iter().map(|&[high, low]| Ok(value(high)? << 4 | value(low)?)).collect()
    }
}
