//! One player's course: every plan, what was looked at before and after it, and what moved.

use jiff::civil::Date;

use crate::coaching::{Cautions, ShownDrill};
use crate::drawing::{Channel, MonthStrip, Viewpoint};
use crate::library::ServeId;
use crate::looks::{Change, Verdict};
use crate::serve::{BodyPart, Event, Figures};

/// One player over all reviews.
#[derive(Debug, Clone, PartialEq)]
pub struct PlayerCourse {
    /// The player's code.
    pub player: String,
    /// Reviews so far.
    pub reviews: usize,
    /// Before and after, one per follow-up and per plan that none of them decides, by day.
    pub steps: Vec<CourseStep>,
    /// Each fault that was worked on, over all reviews.
    pub months: Vec<MonthStrip>,
    /// The library's general cautions and those of the faults worked on; drills add their own as
    /// they are shown.
    pub cautions: Cautions,
}

/// One before and after.
#[derive(Debug, Clone, PartialEq)]
pub struct CourseStep {
    /// The plan between the two; `None` where nothing was planned.
    pub plan: Option<StepPlan>,
    /// What came of the plan, at the one step of each plan that decides it.
    pub verdict: Option<Verdict>,
    /// The follow-up (`f3`) that recorded the later look, if one did.
    pub follow_up: Option<String>,
    /// The review the plan was made in.
    pub before: LookFacts,
    /// The later look; `None` while nothing came after the plan.
    pub after: Option<LookFacts>,
    /// What is not alike in the two looks, or could not be compared, one sentence each.
    pub notes: Vec<String>,
    /// The fault's own measure.
    pub main: Option<Change>,
    /// Every other measure that both looks have, changed or not, in the order of the table.
    pub others: Vec<Change>,
    /// What the curves say.
    pub curves: Option<CurvesMoved>,
    /// What was reported: speed, first serves, misses, rating, sessions.
    pub results: Vec<ReportedResult>,
    /// For drawing: the later serve, and the earlier behind it.
    pub drawing: Option<StepDrawing>,
}

/// What was planned.
#[derive(Debug, Clone, PartialEq)]
pub struct StepPlan {
    /// Its id (`n2`).
    pub id: String,
    /// The fault's id.
    pub fault: String,
    /// The fault's name.
    pub name: String,
    /// First day.
    pub start: Date,
    /// Day of the next review.
    pub review_on: Option<Date>,
    /// Drills with their dose and cautions.
    pub drills: Vec<ShownDrill>,
}

/// What was looked at on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct LookFacts {
    /// The case (`c4`), where there is one of that day.
    pub case: Option<String>,
    /// Day.
    pub date: Date,
    /// Serves of that day that are compared (`s7`).
    pub serves: Vec<String>,
    /// How many that are where some were filmed from two places at once.
    pub strokes: usize,
    /// Serves of that day in all.
    pub of: usize,
    /// What they are ("into the box, markers").
    pub what: String,
}

/// How far apart the curves lie, in ordinary spreads between players: the root mean square along
/// the alignment by dynamic time warping.
#[derive(Debug, Clone, PartialEq)]
pub struct CurvesMoved {
    /// Serves of the earlier day among themselves; `None` for a single serve.
    pub within_before: Option<f64>,
    /// Serves of the later day among themselves.
    pub within_after: Option<f64>,
    /// Serves of the earlier day against those of the later.
    pub between: f64,
    /// Channels that moved by more than the serves of one day differ, furthest first.
    pub moved: Vec<ChannelMoved>,
    /// Channels looked at; 0 where there are too few serves to tell a move from chance.
    pub channels: usize,
}

/// Where one channel moved.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelMoved {
    /// Its stable name.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Part of the body.
    pub part: BodyPart,
    /// Stable name of the phase in which it moved most.
    pub phase: &'static str,
    /// Name of the phase for people.
    pub phase_label: &'static str,
    /// Mean of the later day minus mean of the earlier in that phase, in `unit`.
    pub by: f64,
    /// `deg` or `statures`.
    pub unit: &'static str,
    /// In words: "more bent".
    pub direction: &'static str,
    /// What chance gives from serve to serve, same unit.
    pub detectable: f64,
}

/// One thing reported, not measured from the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct ReportedResult {
    /// Stable name: `speed_kmh`, `first_serve_pct`, `net`, `long`, `wide`, `rating`, `sessions`.
    pub name: &'static str,
    /// Before the plan.
    pub before: Option<f64>,
    /// At the follow-up.
    pub after: Option<f64>,
}

/// The later serve with the earlier behind it: of each day the serve most like its others.
#[derive(Debug, Clone, PartialEq)]
pub struct StepDrawing {
    /// Later body.
    pub figures: Figures,
    /// Later events.
    pub events: Vec<Event>,
    /// Earlier body.
    pub behind: Figures,
    /// Its serve.
    pub behind_serve: ServeId,
    /// Channels with the earlier serves as their band: the fault's first, then the one that moved
    /// furthest.
    pub channels: Vec<Channel>,
    /// The side both are best drawn from.
    pub seen: Viewpoint,
}
