use std::fmt;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::catalogue::{Place, ServeType};
use crate::motion::{Capture, Side, View};
use crate::serve::Serve;

use super::WriteError;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident = $letter:literal;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, concat!($letter, "{}"), self.0)
            }
        }

        impl std::str::FromStr for $name {
            type Err = String;

            fn from_str(text: &str) -> Result<Self, String> {
                text.strip_prefix($letter)
                    .and_then(|digits| digits.parse().ok())
                    .map(Self)
                    .ok_or_else(|| format!(concat!("an id like ", $letter, "12, found '{}'"), text))
            }
        }
    )*};
}

ids! {
    /// A player; people see the player's code instead.
    PlayerId = "p";
    /// A recording.
    RecordingId = "r";
    /// A serve.
    ServeId = "s";
    /// A case.
    CaseId = "c";
    /// A plan.
    PlanId = "n";
    /// A follow-up.
    FollowUpId = "f";
    /// Practice that was logged.
    PracticeId = "d";
    /// A change whose earlier state is kept.
    ChangeId = "h";
    /// A mark on a recording.
    MarkId = "m";
}

/// Writes an id as people see it (`s12`), where JSON would hold its number.
pub(crate) fn spelled<T: fmt::Display, S: serde::Serializer>(
    id: &T,
    to: S,
) -> Result<S::Ok, S::Error> {
    to.collect_str(id)
}

/// As [`spelled`], for several.
pub(crate) fn spelled_all<T: fmt::Display, S: serde::Serializer>(
    ids: &[T],
    to: S,
) -> Result<S::Ok, S::Error> {
    to.collect_seq(ids.iter().map(ToString::to_string))
}

/// As [`spelled`], for one that may be missing.
pub(crate) fn spelled_if<T: fmt::Display, S: serde::Serializer>(
    id: &Option<T>,
    to: S,
) -> Result<S::Ok, S::Error> {
    match id {
        Some(id) => to.collect_str(id),
        None => to.serialize_none(),
    }
}

/// Who says a thing. As text, in the store, in packs and in JSON: `program` or the coach's code.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Author {
    /// This program.
    Program,
    /// A coach, by code; one who came in a pack goes by a made-up one, `away-1a2b3c4d`.
    Coach(String),
}

impl Author {
    /// The program as text; no coach goes by it.
    const PROGRAM: &str = "program";

    /// The author a stored or received text names.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        if text == Self::PROGRAM { Self::Program } else { Self::Coach(text.to_owned()) }
    }

    /// A coach by the code somebody typed.
    ///
    /// # Errors
    /// [`WriteError::ProgramsVoice`] for the program's own name, in capitals too.
    pub fn coach(code: &str) -> Result<Self, WriteError> {
        let author = Self::Coach(code.to_owned());
        author.check()?;
        Ok(author)
    }

    /// Refuses a coach by the program's name.
    pub(crate) fn check(&self) -> Result<(), WriteError> {
        match self {
            Self::Coach(code) if code.trim().eq_ignore_ascii_case(Self::PROGRAM) => {
                Err(WriteError::ProgramsVoice { found: code.clone() })
            }
            _ => Ok(()),
        }
    }

    /// Whether a coach says it.
    #[must_use]
    pub fn is_coach(&self) -> bool {
        matches!(self, Self::Coach(_))
    }

    /// As it is stored.
    #[must_use]
    pub fn as_str(&self) -> &str {
        match self {
            Self::Program => Self::PROGRAM,
            Self::Coach(code) => code,
        }
    }
}

impl fmt::Display for Author {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl Serialize for Author {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.as_str())
    }
}

impl<'de> Deserialize<'de> for Author {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        String::deserialize(from).map(|text| Self::from_text(&text))
    }
}

/// How well a player plays, coarse on purpose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Learning the strokes.
    Beginner,
    /// Plays at a club.
    Club,
    /// Plays regional tournaments.
    Competition,
    /// Plays at national level.
    National,
    /// Plays for a living.
    Professional,
}

/// What a recording shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Setting {
    /// The motion without a ball.
    PracticeSwing,
    /// A ball, but no target that counts.
    BallNoTarget,
    /// Serves into the box.
    Target,
    /// Points that count.
    Match,
}

/// Who agrees for a player.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ConsentBy {
    /// The player.
    Player,
    /// A parent or guardian; the player was asked as well.
    Guardian,
}

/// What the player (or guardian) agreed to; by default nothing is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Consent {
    /// Recordings and cases may be kept here.
    pub keep: bool,
    /// Pseudonymous cases may leave in packs.
    pub share: bool,
    /// When this was agreed.
    pub date: Option<Date>,
    /// Who agreed, where that is recorded.
    pub by: Option<ConsentBy>,
}

/// Where index knuckle and heel pad sit, asked and never guessed from pose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grip {
    /// Bevel 1 to 8 under the index knuckle.
    pub index_knuckle: Option<u8>,
    /// Bevel 1 to 8 under the heel pad.
    pub heel_pad: Option<u8>,
}

/// Where misses went, as counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Misses {
    /// Into the net.
    pub net: u32,
    /// Beyond the service line.
    pub long: u32,
    /// Beside the box.
    pub wide: u32,
}

/// What the ball did, as reported.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct BallFlight {
    /// Typical serve speed, km/h.
    pub speed_kmh: Option<f64>,
    /// First serves in, percent.
    pub first_serve_pct: Option<f64>,
    /// Where misses went.
    pub misses: Option<Misses>,
}

/// A player.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Player {
    /// Id inside this library.
    pub id: PlayerId,
    /// Pseudonym, unique in the library; the only name that leaves it.
    pub code: String,
    /// Real name, if kept; never leaves the library.
    pub name: Option<String>,
    /// Serving hand, if stated.
    pub hand: Option<Side>,
    /// Level.
    pub level: Option<Level>,
    /// Birth date; packs carry only the age band.
    pub born: Option<Date>,
    /// Standing height, m.
    pub stature_m: Option<f64>,
    /// Squads the player belongs to.
    pub squads: Vec<String>,
    /// Coach (a code).
    pub coach: Option<String>,
    /// Consent.
    pub consent: Consent,
}

impl Player {
    /// A player of whom only the code is known; consent is open until it is recorded.
    #[must_use]
    pub fn new(code: &str) -> Self {
        Self {
            id: PlayerId(0),
            code: code.to_owned(),
            name: None,
            hand: None,
            level: None,
            born: None,
            stature_m: None,
            squads: Vec::new(),
            coach: None,
            consent: Consent::default(),
        }
    }
}

/// What is stored about one file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RecordingRow {
    /// Id.
    pub id: RecordingId,
    /// Whose.
    pub player: PlayerId,
    /// File name as it came, without folders.
    pub file_name: String,
    /// blake3 of the file's bytes (and of the options that change what is read), hex.
    pub content_hash: String,
    /// Day it was recorded.
    pub date: Date,
    /// How joints were obtained.
    pub capture: Capture,
    /// Format and layout as read.
    pub format: String,
    /// Camera view.
    pub view: Option<View>,
    /// Hz.
    pub rate_hz: f64,
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
}

/// A stored serve.
#[derive(Debug, Clone, PartialEq)]
pub struct ServeRow {
    /// Id.
    pub id: ServeId,
    /// Its recording.
    pub recording: RecordingId,
    /// Its case.
    pub case: CaseId,
    /// Whose.
    pub player: PlayerId,
    /// The serve as found.
    pub serve: Serve,
}

/// What was decided about a suspected fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LabelState {
    /// The program suspects it.
    Suspected,
    /// The coach confirmed the suspicion.
    Confirmed,
    /// The coach rejected the suspicion.
    Rejected,
    /// The coach added it unprompted.
    Added,
    /// The coach sees it and takes it for the limiting fault, whatever the program would begin with.
    Limiting,
}

/// A fault attached to a case; program's and coach's view are separate labels and both are kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FaultLabel {
    /// Catalogue id of the fault.
    pub fault: String,
    /// State.
    pub state: LabelState,
    /// 0 (just there) to 1 (as strong as it gets).
    pub severity: f64,
    /// Who says so.
    pub by: Author,
    /// Free words.
    pub note: Option<String>,
}

/// One drill in a plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedDrill {
    /// Catalogue id of the drill.
    pub drill: String,
    /// Dose in words ("3 x 10, five days a week").
    pub dose: String,
    /// Where it is to be done, if that was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
}

/// How a plan ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ending {
    /// It was done, for as long as it was meant to be.
    Ended,
    /// It was taken back: not to be done, or no further.
    Withdrawn,
    /// Another plan took its place.
    Replaced(PlanId),
}

/// The end of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanEnd {
    /// First day on which it is in force no longer.
    pub day: Date,
    /// How.
    pub how: Ending,
    /// Who says so.
    pub by: Author,
    /// Why, in free words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
}

/// What was planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Id.
    pub id: PlanId,
    /// The case it was made for.
    pub case: CaseId,
    /// Catalogue id of the limiting fault.
    pub limiting_fault: String,
    /// Drills from easy to full.
    pub drills: Vec<PlannedDrill>,
    /// First day.
    pub start: Date,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// The coach who made it (a code).
    pub coach: Option<String>,
    /// Free words.
    pub note: Option<String>,
    /// How it ended, if it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended: Option<PlanEnd>,
}

impl Plan {
    /// Whether it is in force on a day: begun, and not ended until then.
    #[must_use]
    pub fn in_force_on(&self, day: Date) -> bool {
        self.start <= day && self.ended.as_ref().is_none_or(|end| day < end.day)
    }

    /// Whether it was withdrawn.
    #[must_use]
    pub fn is_withdrawn(&self) -> bool {
        self.ended.as_ref().is_some_and(|end| end.how == Ending::Withdrawn)
    }
}

/// Words on a case, by one author at one time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// The words.
    pub text: String,
    /// Who says so; `None` where that was not recorded, or of words that came in a pack.
    pub by: Option<Author>,
    /// When, UTC; `None` where that was not recorded.
    pub at: Option<String>,
}

/// Later serves and results that show what a plan changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FollowUp {
    /// Id.
    pub id: FollowUpId,
    /// The plan it answers.
    pub plan: PlanId,
    /// Day.
    pub date: Date,
    /// Serves recorded then.
    pub serves: Vec<ServeId>,
    /// Ball results.
    pub ball: BallFlight,
    /// Coach's rating, -2 (worse) to +2 (gone).
    pub rating: Option<i8>,
    /// Sessions done since the plan.
    pub sessions_done: Option<u32>,
    /// Free words.
    pub note: Option<String>,
}

impl FollowUp {
    /// Whether it holds anything beside its day: serves, a result, a rating, sessions or words.
    #[must_use]
    pub fn says_something(&self) -> bool {
        !self.serves.is_empty()
            || self.ball != BallFlight::default()
            || self.rating.is_some()
            || self.sessions_done.is_some()
            || self.note.as_ref().is_some_and(|note| !note.trim().is_empty())
    }
}

/// Player context + serves + faults + plans + follow-ups of one review.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Case {
    /// Id.
    pub id: CaseId,
    /// Whose.
    pub player: PlayerId,
    /// Day of the review.
    pub date: Date,
    /// Serves looked at.
    pub serves: Vec<ServeId>,
    /// Program's and coach's labels.
    pub labels: Vec<FaultLabel>,
    /// Plans in the order they were made, ended ones too; at most two in force at any time.
    pub plans: Vec<Plan>,
    /// Follow-ups of those plans.
    pub follow_ups: Vec<FollowUp>,
    /// Grip, asked.
    pub grip: Option<Grip>,
    /// Ball flight, asked.
    pub ball: BallFlight,
    /// Free words of the coach, the oldest first.
    pub notes: Vec<Note>,
}

impl Case {
    /// A case of which nothing is known but whose it is and its day.
    #[must_use]
    pub fn new(id: CaseId, player: PlayerId, date: Date) -> Self {
        Self {
            id,
            player,
            date,
            serves: Vec::new(),
            labels: Vec::new(),
            plans: Vec::new(),
            follow_ups: Vec::new(),
            grip: None,
            ball: BallFlight::default(),
            notes: Vec::new(),
        }
    }

    /// The plans in force on `day`, by start and id: begun, and not ended until then. Where there
    /// is none, those that begin next: a plan made for Monday is what the player takes home.
    ///
    /// At most two. Ended and withdrawn ones are history and never among them.
    #[must_use]
    pub fn plans_in_force(&self, day: Date) -> Vec<&Plan> {
        let on = |day: Date| {
            let mut plans: Vec<&Plan> =
                self.plans.iter().filter(|plan| plan.in_force_on(day)).collect();
            plans.sort_by_key(|plan| (plan.start, plan.id));
            plans
        };
        let now = on(day);
        if !now.is_empty() {
            return now;
        }
        let starts = self.plans.iter().filter(|plan| plan.in_force_on(plan.start));
        let next = starts.map(|plan| plan.start).filter(|start| *start > day).min();
        next.map(on).unwrap_or_default()
    }

    /// Whether a plan counts as tried: any but a withdrawn one, and that too where a follow-up
    /// shows that it was done.
    #[must_use]
    pub fn was_tried(&self, plan: &Plan) -> bool {
        !plan.is_withdrawn() || self.follow_ups.iter().any(|one| one.plan == plan.id)
    }

    /// All notes as one text, the oldest first, one to a line; `None` without any.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let texts: Vec<&str> = self.notes.iter().map(|note| note.text.as_str()).collect();
        (!texts.is_empty()).then(|| texts.join("\n"))
    }
}
