//! What a search for precedents gives.

use std::fmt;

use jiff::civil::Date;
use serde::{Serialize, Serializer};

use super::Why;
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, ShownDrill};
use crate::exchange::Origin;
use crate::find::Cut;
use crate::library::{
    CaseId, FaultLabel, FollowUp, Level, Plan, PlayerId, RecordingId, ServeId, ServeType, Setting,
};
use crate::motion::{Capture, Side, View};
use crate::words::sentence;

/// The precedents, and how they were found.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The precedents: comparable sources first, then by distance and serve id.
    pub precedents: Vec<Precedent>,
    /// What the filter did.
    pub cut: Cut,
    /// Serves the filter kept that were left out as the serve's own (recording or player).
    pub left_out: usize,
    /// Serves that were searched: kept, not left out, of the same channel set.
    pub searched: usize,
    /// Why that is none.
    pub none: Option<WhyNone>,
    /// How many of those come from a comparable source and view.
    pub comparable: usize,
    /// What those are, where one camera saw the serve ("filmed by one camera from the side").
    pub searched_first: Option<String>,
    /// What the reader must know about this answer, one sentence each; why nothing could be searched
    /// comes first.
    pub notes: Vec<String>,
}

/// Why nothing could be searched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WhyNone {
    /// The filter keeps nothing, or nothing is stored: in words.
    Cut {
        /// As the filter says it.
        why: String,
        /// Whether there is a filter.
        filtered: bool,
    },
    /// All that is stored, or that the filter keeps, is the serve's own.
    OwnAlone {
        /// How many the filter keeps; `None`: there is no filter.
        filtered: Option<usize>,
        /// Whether all of the player's serves count as its own, not only those of the day.
        player: bool,
    },
    /// The rest was recorded with other channels.
    OtherChannels {
        /// How many.
        serves: usize,
        /// The channels of this one.
        channel_set: String,
        /// Whether a filter chose them.
        filtered: bool,
    },
}

impl WhyNone {
    /// What is so, and what to do about it.
    fn parts(&self) -> (String, &'static str) {
        match self {
            Self::Cut { why, .. } => (why.clone(), ""),
            Self::OwnAlone { filtered: None, player: true } => {
                ("nobody else's serve is stored yet".to_owned(), "add recordings of other players")
            }
            Self::OwnAlone { filtered: None, player: false } => (
                "nobody else's serve is stored yet, and none of another day".to_owned(),
                "add recordings of other players, or of other days",
            ),
            Self::OwnAlone { filtered: Some(serves), player } => (
                format!(
                    "all {serves} serves that match the filter are {}",
                    if *player { "this player's own" } else { "from this same day" }
                ),
                "widen the filter, or drop it",
            ),
            Self::OtherChannels { serves, channel_set, filtered } => (
                format!(
                    "{serves} serves {}, but none has the channels of this one ({channel_set})",
                    if *filtered { "match the filter" } else { "are stored" }
                ),
                "add recordings of the same kind",
            ),
        }
    }

    /// In one or two sentences, for a page.
    #[must_use]
    pub fn sentences(&self) -> String {
        if let Self::Cut { why, .. } = self {
            return format!("{}.", sentence(why.trim_start_matches(NO_MATCH)));
        }
        let (so, next) = self.parts();
        format!("{}. {}.", sentence(&so), sentence(next))
    }

    /// The same for a player, who has no filter and adds nothing.
    #[must_use]
    pub fn for_player(&self) -> &'static str {
        match self {
            Self::OwnAlone { filtered: None, .. } | Self::Cut { filtered: false, .. } => {
                "Nobody else's serve is stored yet."
            }
            _ => "No serve your coach searched can be compared with this one.",
        }
    }
}

/// What the answer to a search that found nothing begins with.
const NO_MATCH: &str = "no match: ";

/// As one note among others: "no match: ...".
impl fmt::Display for WhyNone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Self::Cut { why, .. } = self {
            return f.write_str(why);
        }
        let (so, next) = self.parts();
        write!(f, "{NO_MATCH}{so}; {next}")
    }
}

/// One past serve close to this one, with its case.
///
/// As JSON: `serve`, `case` and `player` are what people type (`s12`, `c3`, the code).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Precedent {
    /// From 1.
    pub rank: usize,
    /// The serve.
    #[serde(serialize_with = "spelled")]
    pub serve: ServeId,
    /// Its case.
    #[serde(serialize_with = "spelled")]
    pub case: CaseId,
    /// The player's code.
    pub player: String,
    /// The player.
    #[serde(skip)]
    pub player_id: PlayerId,
    /// The recording it was cut from.
    #[serde(serialize_with = "spelled")]
    pub recording: RecordingId,
    /// Square root of the alignment cost, in ordinary spreads between players; 0 = the same.
    pub distance: f64,
    /// The same per sample and channel: how many ordinary spreads the two lie apart on average.
    pub spreads_apart: f64,
    /// Whether it is the same player's.
    pub same_player: bool,
    /// Whether it is the same player's, recorded in the same way from the same place: the
    /// strongest comparison.
    pub same_set_up: bool,
    /// Whether source and view compare well with this serve's.
    pub comparable: bool,
    /// Why not, where they do not.
    pub incomparable_because: Option<String>,
    /// Day of the recording.
    pub date: Date,
    /// Serving hand.
    pub hand: Side,
    /// Level, where known.
    pub level: Option<Level>,
    /// Age reached in the year of the recording, where known.
    pub age: Option<i16>,
    /// Standing height, m, where known.
    pub stature_m: Option<f64>,
    /// How joints were obtained.
    pub capture: Capture,
    /// Camera view, where known.
    pub view: Option<View>,
    /// What the recording shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// The case's faults as they stand: a coach's word before the program's, rejected ones left
    /// out; strongest first.
    pub faults: Vec<FaultLabel>,
    /// What was planned; in JSON with the cautions, see [`Precedent::object`].
    #[serde(skip)]
    pub plans: Vec<Plan>,
    /// All follow-ups of those plans, by day.
    pub follow_ups: Vec<FollowUp>,
    /// What was reported at the last follow-up; whether it worked is said by [`crate::looks`].
    pub outcome: Option<Outcome>,
    /// Where the case came from, if another academy's pack brought it.
    pub origin: Option<Origin>,
    /// Why they are alike or differ; `None` where the channel set's channels are unknown.
    pub why: Option<Why>,
}

impl Precedent {
    /// As one JSON object, with what must be said about its drills beside `general`.
    #[must_use]
    pub fn object(&self, catalogue: &Catalogue, general: &Cautions) -> PrecedentObject<'_> {
        let drills: Vec<ShownDrill> =
            self.plans.iter().flat_map(|plan| ShownDrill::of_plan(catalogue, plan)).collect();
        let cautions = (!drills.is_empty()).then(|| general.with(&drills));
        PrecedentObject { precedent: self, plans: &self.plans, cautions }
    }
}

/// A precedent as a JSON object: its fields, its plans, and the cautions of their drills.
#[derive(Debug, Serialize)]
pub struct PrecedentObject<'a> {
    #[serde(flatten)]
    precedent: &'a Precedent,
    plans: &'a [Plan],
    #[serde(skip_serializing_if = "Option::is_none")]
    cautions: Option<Cautions>,
}

/// What was reported after a plan, read off the last follow-up against the case; a later figure, not
/// an effect, and no verdict.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Outcome {
    /// Days from the case to the last follow-up.
    pub after_days: i32,
    /// Coach's rating, -2 (worse) to +2 (gone).
    pub rating: Option<i8>,
    /// Serve speed then minus now, km/h, where both are recorded.
    pub speed_change_kmh: Option<f64>,
    /// First serves in then minus now, percentage points, where both are recorded.
    pub first_serve_change_pct: Option<f64>,
}

fn spelled<T: std::fmt::Display, S: Serializer>(id: &T, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(id)
}
