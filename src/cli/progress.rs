//! A player before and after.

use std::path::Path;

use serde::Serialize;

use super::args::ProgressArgs;
use super::face::{Face, count};
use super::{Outcome, place, worked};
use crate::coaching::{Cautions, ShownDrill};
use crate::looks::{Change, Verdict, describe_change, describe_value};
use crate::pages::{self, Course, LookFacts, Step, told_changes, told_curves, told_result};

/// One before and after, as `--json` prints it.
#[derive(Serialize)]
struct StepObject<'a> {
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
    results: std::collections::BTreeMap<&'static str, ResultObject>,
}

#[derive(Serialize)]
struct LookObject<'a> {
    case: Option<&'a str>,
    date: String,
    serves: &'a [String],
    of: usize,
    what: &'a str,
}

#[derive(Serialize)]
struct MovedObject {
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

#[derive(Serialize)]
struct CurvesObject {
    within_before_spreads: Option<f64>,
    within_after_spreads: Option<f64>,
    between_spreads: f64,
    channels: usize,
    moved: Vec<ChannelObject>,
}

#[derive(Serialize)]
struct ChannelObject {
    channel: &'static str,
    part: &'static str,
    phase: &'static str,
    change: f64,
    detectable: f64,
    unit: &'static str,
}

#[derive(Serialize)]
struct ResultObject {
    before: Option<f64>,
    after: Option<f64>,
}

pub(super) fn run(
    args: &ProgressArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let library = place::for_reading(library)?;
    let player = library.player_by_code(&args.player)?;
    let course = pages::course(&library, &library.catalogue()?, player.id)?;
    if let Some(output) = &args.output {
        place::write_whole(output, pages::progress_page(&course).as_bytes())?;
        face.say(&format!("wrote {}", output.display()));
    }
    if course.steps.is_empty() {
        face.say(&format!(
            "{}: {}; a change needs two: record a plan and a follow-up, or add a later recording",
            course.player,
            count(course.reviews, "review")
        ));
        return Ok(Outcome::Nothing);
    }
    let mut cautions = course.cautions.clone();
    for step in &course.steps {
        if face.json {
            face.object(&object(&course, step))?;
        } else {
            for line in told(step, &mut cautions) {
                face.line(&line)?;
            }
        }
    }
    worked::end(&cautions, face)?;
    if !face.json {
        face.say(
            "like is compared with like; what came after a plan is associated with it, not proven \
             to be caused by it",
        );
    }
    Ok(Outcome::Found)
}

fn told(step: &Step, cautions: &mut Cautions) -> Vec<String> {
    let look = |look: &LookFacts| match look.serves.len() {
        0 => look.date.to_string(),
        some => format!("{} ({})", look.date, count(some, "serve")),
    };
    let days = match &step.after {
        Some(after) => format!("{} to {}", look(&step.before), look(after)),
        None => format!("{}, not followed up yet", look(&step.before)),
    };
    let mut lines = vec![match &step.plan {
        Some(plan) => format!("{}, {}: {days}", plan.id, plan.name),
        None => format!("no plan: {days}"),
    }];
    let mut add = |text: &str| lines.push(format!("   {text}"));
    for drill in step.plan.iter().flat_map(|plan| &plan.drills) {
        let text = cautions.in_full(drill);
        add(&format!("drill: {}, {}", text.name, text.dose_and_place()));
        for caution in text.cautions {
            add(&format!("take care: {caution}"));
        }
    }
    step.notes.iter().for_each(|note| add(note));
    if let Some(main) = &step.main {
        add(&format!("{}.", describe_change(main)));
    }
    if let Some(text) = told_changes(step) {
        add(&text);
    }
    let mut others: Vec<&Change> = step.others.iter().filter(|moved| moved.beyond()).collect();
    others.sort_by_key(|moved| moved.better() != Some(false));
    for moved in others {
        let word = match moved.better() {
            Some(true) => "better",
            Some(false) => "worse",
            None if moved.by() > 0.0 => "more",
            None => "less",
        };
        add(&format!(
            "   {}: {} to {}, {word}",
            moved.def.name,
            describe_value(moved, moved.before.value),
            describe_value(moved, moved.after.value)
        ));
    }
    if let Some(curves) = &step.curves {
        add(&told_curves(curves));
    }
    step.results.iter().filter_map(told_result).for_each(|line| add(&line));
    lines
}

fn object<'a>(course: &'a Course, step: &'a Step) -> StepObject<'a> {
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
    StepObject {
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
