//! What is told about a squad; plain values, ready for a page, a table or `--json`.
//!
//! Players appear by their codes only.

use jiff::civil::Date;
use serde::Serialize;

use super::{
    MonthShare, PlayersMoved, SecondOpinion, Share, ShareDifference, TimeToCure, Tree, Trend,
    TrendVerdict,
};
use crate::coaching::Cautions;
use crate::evidence::Worked;
use crate::find::Selection;
use crate::library::ServeId;
use crate::looks::Over;
use crate::serve::Figures;

/// A squad over a period.
#[derive(Debug, Clone, PartialEq)]
pub struct Squad {
    /// Its name; `None`: everybody.
    pub name: Option<String>,
    /// The filter, as typed.
    pub filter: String,
    /// First day.
    pub from: Option<Date>,
    /// Last day.
    pub to: Option<Date>,
    /// The day it was asked on.
    pub today: Date,
    /// Players.
    pub players: usize,
    /// Serves.
    pub serves: usize,
    /// Looks: days on which a player was reviewed.
    pub looks: usize,
    /// What the filter kept.
    pub selection: Selection,
    /// What the reader must know, one sentence each.
    pub notes: Vec<String>,
    /// Who serves alike; `None` without serves that can be compared.
    pub alike: Option<Alike>,
    /// Faults, the most common now first.
    pub faults: Vec<SquadFault>,
    /// The faults by level, age band and coach.
    pub slices: Vec<Slice>,
    /// Plans and what became of them.
    pub follow_up: FollowUpFacts,
    /// What worked here: faults with a plan that somebody was seen after, the most common first.
    pub worked: Vec<Worked>,
    /// Whom to see next, the most pressing first.
    pub see_next: Vec<SeeNext>,
    /// The library's general cautions for these players; drills add their own as they are shown.
    pub cautions: Cautions,
}

/// A player and a day.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlayerDay {
    /// Code.
    pub player: String,
    /// Day.
    pub date: Date,
}

/// One fault in the squad.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SquadFault {
    /// Catalogue id.
    pub fault: String,
    /// Name for people.
    pub name: String,
    /// Players with it at their last look.
    pub now: Share,
    /// Players who had it at some look.
    pub ever: Share,
    /// By month.
    pub months: Vec<MonthShare>,
    /// What says whether it gets better.
    #[serde(flatten)]
    pub basis: TrendBasis,
    /// What that says.
    pub verdict: TrendVerdict,
    /// How its measure moved in each player who had it and was looked at again, by code.
    pub moved_players: Vec<PlayerMoved>,
    /// Players who got it.
    pub new: Vec<PlayerDay>,
    /// Players who lost it.
    pub cured: Vec<PlayerDay>,
    /// How long that took.
    pub time_to_cure: TimeToCure,
}

/// What says whether a fault gets better in a squad; as JSON `rests_on` and the fields of one of
/// them.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "rests_on", rename_all = "snake_case")]
pub enum TrendBasis {
    /// The measure the fault is followed by, like with like.
    Measure(PlayersMoved),
    /// No measure shows the fault: what coaches saw and rated, and the program suspected.
    LabelsAndRatings {
        /// How its odds move by the month.
        trend: Option<Trend>,
        /// Why there is no trend.
        no_trend_because: Option<String>,
    },
}

impl TrendBasis {
    /// The trend of what was seen; `None` where a measure decides, or the looks carry none.
    #[must_use]
    pub fn trend(&self) -> Option<&Trend> {
        match self {
            Self::Measure(_) => None,
            Self::LabelsAndRatings { trend, .. } => trend.as_ref(),
        }
    }

    /// A verdict on this basis in words: a measure gets better, what was seen gets rarer.
    #[must_use]
    pub fn describe(&self, verdict: TrendVerdict) -> &'static str {
        let measured = matches!(self, Self::Measure(_));
        match verdict {
            TrendVerdict::Better if measured => "better",
            TrendVerdict::Better => "rarer",
            TrendVerdict::PerhapsBetter if measured => "perhaps better",
            TrendVerdict::PerhapsBetter => "perhaps rarer",
            TrendVerdict::NotClear => "no clear change",
            TrendVerdict::PerhapsWorse if measured => "perhaps worse",
            TrendVerdict::PerhapsWorse => "perhaps more common",
            TrendVerdict::Worse if measured => "worse",
            TrendVerdict::Worse => "more common",
            TrendVerdict::TooLittle => "too little to say",
        }
    }
}

/// How the measure of a fault moved in one player; as JSON `player` and the fields of [`Over`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlayerMoved {
    /// Code.
    pub player: String,
    /// From which look to which, and what came.
    #[serde(flatten)]
    pub over: Over,
}

/// A part of the squad: one level, age band or coach.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Slice {
    /// `level`, `age` or `coach`.
    pub by: &'static str,
    /// Which.
    pub value: String,
    /// Players.
    pub players: usize,
    /// The faults, in the squad's order.
    pub faults: Vec<SliceFault>,
}

/// One fault in a part of the squad.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SliceFault {
    /// Catalogue id.
    pub fault: String,
    /// Name for people.
    pub name: String,
    /// Players with it at their last look.
    pub now: Share,
    /// What says whether it gets better.
    #[serde(flatten)]
    pub basis: TrendBasis,
    /// What that says.
    pub verdict: TrendVerdict,
}

/// Who serves alike.
#[derive(Debug, Clone, PartialEq)]
pub struct Alike {
    /// The serves of the looks that were compared, by id.
    pub serves: Vec<Placed>,
    /// How many looks those are: what one day showed of one player in one set-up.
    pub looks: usize,
    /// Their players' codes, as the tree numbers them.
    pub players: Vec<String>,
    /// Group in which most of each player's looks lie.
    pub group_of: Vec<usize>,
    /// Serves that were not compared, and why.
    pub left_out: Vec<(usize, String)>,
    /// The groups, largest first; one if nothing parts the squad.
    pub groups: Vec<GroupFacts>,
    /// Mean silhouette width of the groups; `None` for one.
    pub silhouette: Option<f64>,
    /// Every number of groups tried, with its silhouette width.
    pub tried: Vec<(usize, f64)>,
    /// What another way of grouping says; `None` for one group or too few players.
    pub second: Option<SecondOpinion>,
    /// Share of the differences that the map shows, 0 to 1.
    pub kept: f64,
    /// The players as a tree.
    pub tree: Tree,
}

/// A serve on the map.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// The serve.
    pub serve: ServeId,
    /// Number of its player.
    pub player: usize,
    /// Number of its group.
    pub group: usize,
    /// x and y, in ordinary spreads between players.
    pub place: [f64; 2],
    /// Whether it stands for its look: the look's other serves lie where it does.
    pub typical: bool,
}

/// One group of similar serves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupFacts {
    /// "A", "B" ...
    pub letter: String,
    /// Players with at least half of their serves here.
    pub players: usize,
    /// Their codes.
    pub codes: Vec<String>,
    /// Serves.
    pub serves: usize,
    /// Mean Jaccard agreement with groups of resampled squads, 0 to 1; `None` for a single group.
    pub stability: Option<f64>,
    /// The serve that stands for the group.
    #[serde(serialize_with = "spelled")]
    pub medoid: ServeId,
    /// Code of its player.
    pub medoid_player: String,
    /// Its body, for drawing.
    #[serde(skip)]
    pub figures: Figures,
    /// The typical serve (DTW barycentre, one serve per player), frames x channels.
    #[serde(skip)]
    pub typical: Vec<f32>,
    /// Where it differs most from the typical serve of the rest, largest first.
    pub differences: Vec<GroupDifference>,
    /// Faults here against the rest, the clearest first.
    pub faults: Vec<GroupFault>,
    /// All of it in plain words.
    pub sentence: String,
}

/// Where a group differs from the rest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupDifference {
    /// Stable name of the channel.
    pub channel: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Phase for people.
    pub phase: &'static str,
    /// Group minus rest, in `unit`.
    pub by: f64,
    /// `deg` or `ratio` (statures).
    pub unit: &'static str,
}

/// A fault in a group and in the rest, one vote per player.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupFault {
    /// Catalogue id.
    pub fault: String,
    /// Name for people.
    pub name: String,
    /// Players of the group with it at their last look.
    pub here: Share,
    /// Of the other players.
    pub rest: Share,
    /// How far the two lie apart; `None` without a rest.
    pub apart: Option<ShareDifference>,
}

/// Plans and what became of them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FollowUpFacts {
    /// Plans made in the period.
    pub plans: usize,
    /// Answered by a follow-up.
    pub followed: usize,
    /// Not answered, but the player was looked at again, a week or more after the plan began.
    pub seen_again: usize,
    /// Ended without a follow-up or a later look.
    pub ended: usize,
    /// Still running.
    pub running: usize,
    /// Due and neither answered nor seen again, longest overdue first.
    pub overdue: Vec<Overdue>,
    /// Share of due plans with a follow-up, by coach.
    pub by_coach: Vec<(String, Share)>,
}

/// A plan whose follow-up is overdue.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Overdue {
    /// Code.
    pub player: String,
    /// The plan.
    pub plan: String,
    /// What it works on.
    pub fault: String,
    /// Who made it.
    pub coach: Option<String>,
    /// When it was due.
    pub due: Date,
    /// Days since then.
    pub days: i32,
}

/// A player to see next.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SeeNext {
    /// Code.
    pub player: String,
    /// Coach.
    pub coach: Option<String>,
    /// Last look.
    pub last_seen: Date,
    /// Why, the most pressing first.
    pub reasons: Vec<Reason>,
}

/// Why to see a player.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reason {
    /// Kind.
    pub kind: ReasonKind,
    /// In plain words.
    pub text: String,
    /// The fault that loads the body; what to ask about it first stands in [`Squad::cautions`], once.
    #[serde(skip)]
    pub loads: Option<String>,
}

/// Kinds of reasons, the most pressing first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ReasonKind {
    /// A fault's measure moved the wrong way by more than chance allows.
    Worse,
    /// A plan is due and nobody looked.
    Overdue,
    /// A fault that was not there before.
    NewFault,
    /// A fault that loads the body.
    Load,
}

fn spelled<T: std::fmt::Display, S: serde::Serializer>(id: &T, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(id)
}
