//! A player's before and after as JSON, the same for every interface.

use std::collections::BTreeMap;

use serde::Serialize;

use super::course::{CourseStep, LookFacts, PlayerCourse};
use crate::coaching::{Cautions, ShownDrill};
use crate::looks::{Change, Verdict};

/// One before and after of a player as a JSON object.
#[derive(Debug, Serialize)]
pub struct StepObject<'a> {
    player: &'a str,
    plan: Option<&'a str>,
    fault: Option<&'a str>,
    drills: &'a [ShownDrill],
    #[serde(skip_serializing_if = "Option::is_none")]
    cautions: Option<Cautions>,
    start: Option<String>,
    review_on: Option<String>,
    follow_up: Option<&'a str>,
    before: LookObject<'a>,
    after: Option<LookObject<'a>>,
    notes: &'a [String],
    /// What came of the plan, at the step that decides it; see `looks::Verdict::name`.
    verdict: Option<&'static str>,
    measure: Option<MovedObject>,
    elsewhere: Vec<MovedObject>,
    curves: Option<CurvesObject>,
    results: BTreeMap<&'static str, ResultObject>,
}

/// What one day showed.
#[derive(Debug, Serialize)]
pub struct LookObject<'a> {
    case: Option<&'a str>,
    date: String,
    serves: &'a [String],
    of: usize,
    what: &'a str,
}

/// A measure before and after.
#[derive(Debug, Serialize)]
pub struct MovedObject {
    measure: &'static str,
    unit: &'static str,
    before: f64,
    before_serves: usize,
    after: f64,
    after_serves: usize,
    change: f64,
    detectable: f64,
    beyond: bool,
    better: Option<bool>,
}

/// What the curves say.
#[derive(Debug, Serialize)]
pub struct CurvesObject {
    within_before_spreads: Option<f64>,
    within_after_spreads: Option<f64>,
    between_spreads: f64,
    channels: usize,
    moved: Vec<ChannelObject>,
}

/// A channel that moved.
#[derive(Debug, Serialize)]
pub struct ChannelObject {
    channel: &'static str,
    part: &'static str,
    phase: &'static str,
    change: f64,
    detectable: f64,
    unit: &'static str,
}

/// What was reported before and after.
#[derive(Debug, Serialize)]
pub struct ResultObject {
    before: Option<f64>,
    after: Option<f64>,
}

impl<'a> StepObject<'a> {
    /// One step of a player's course.
    #[must_use]
    pub fn of(course: &'a PlayerCourse, step: &'a CourseStep) -> Self {
        let look = |look: &'a LookFacts| LookObject {
            case: look.case.as_deref(),
            date: look.date.to_string(),
            serves: &look.serves,
            of: look.of,
            what: &look.what,
        };
        let moved = |moved: &Change| MovedObject {
            measure: moved.def.id,
            unit: moved.def.unit,
            before: moved.before.value,
            before_serves: moved.before.serves,
            after: moved.after.value,
            after_serves: moved.after.serves,
            change: moved.by(),
            detectable: moved.detectable,
            beyond: moved.beyond(),
            better: moved.better(),
        };
        let plan = step.plan.as_ref();
        let drills = plan.map_or(&[][..], |plan| &plan.drills);
        Self {
            player: &course.player,
            plan: plan.map(|plan| plan.id.as_str()),
            fault: plan.map(|plan| plan.fault.as_str()),
            drills,
            cautions: (!drills.is_empty()).then(|| course.cautions.with(drills)),
            start: plan.map(|plan| plan.start.to_string()),
            review_on: plan.and_then(|plan| plan.review_on).map(|day| day.to_string()),
            follow_up: step.follow_up.as_deref(),
            before: look(&step.before),
            after: step.after.as_ref().map(look),
            notes: &step.notes,
            verdict: step.verdict.as_ref().map(Verdict::name),
            measure: step.main.as_ref().map(moved),
            elsewhere: step.others.iter().map(moved).collect(),
            curves: step.curves.as_ref().map(|curves| CurvesObject {
                within_before_spreads: curves.within_before,
                within_after_spreads: curves.within_after,
                between_spreads: curves.between,
                channels: curves.channels,
                moved: curves
                    .moved
                    .iter()
                    .map(|one| ChannelObject {
                        channel: one.name,
                        part: one.part.name(),
                        phase: one.phase,
                        change: one.by,
                        detectable: one.detectable,
                        unit: one.unit,
                    })
                    .collect(),
            }),
            results: step
                .results
                .iter()
                .map(|one| (one.name, ResultObject { before: one.before, after: one.after }))
                .collect(),
        }
    }
}
