//! What travels between libraries: players, cases and recordings without names.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::catalogue::EntryKind;
use crate::library::{
    Author, BallFlight, CaseId, FaultLabel, Grip, Level, PlannedDrill, PlayerId, ServeType,
    Setting, StoreError, Witness,
};
use crate::motion::{Capture, Side, View};
use crate::serve::EventKind;

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
    /// Moments that the serves' joints alone do not say; not in packs of format 1 to 3.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moments: Vec<MomentItem>,
}

/// What a person or the program says of a moment of a serve; the serve's own events hold what counts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MomentItem {
    /// Place of the serve in its recording.
    pub serve: usize,
    /// Which moment.
    pub event: EventKind,
    /// Who or what says so; a coach is a voice.
    pub witness: Witness,
    /// Time in the recording, seconds.
    pub time_s: f64,
    /// Nearest frame of the recording, from 0.
    pub frame: usize,
    /// Standard error in seconds, and trust 0 to 1; of the program's word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sure: Option<(f64, f64)>,
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

/// A fault or drill of a sender's own catalogue.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OwnEntry {
    /// Fault or drill.
    pub kind: EntryKind,
    /// Its id.
    pub id: String,
    /// All of it, as the TOML of a catalogue file.
    pub toml: String,
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
    /// Those, and built-in ones the sender replaced, in full.
    pub entries: Vec<OwnEntry>,
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
    /// For whom, where receivers were named.
    pub recipient: Option<String>,
    /// blake3 of the file, hex.
    pub file_hash: String,
    /// How many serves are in it.
    pub serves: usize,
    /// The cases in it.
    pub cases: Vec<(CaseId, PlayerId)>,
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
