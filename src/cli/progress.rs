//! A player before and after.

use std::path::Path;

use super::args::ProgressArgs;
use super::output::{Output, count};
use super::watch::Bars;
use super::{Exit, place, worked};
use crate::coaching::Cautions;
use crate::looks::{Change, describe_change, describe_value};
use crate::pages::{
    self, CourseStep, LookFacts, StepObject, describe_changes, describe_curves, describe_result,
};
use crate::words::Interface;

pub(super) fn run(
    args: &ProgressArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
    let player = library.player_by_code(&args.player)?;
    let bars = Bars::new(0, out);
    let watch = bars.watch();
    let course = pages::course(&library, &library.catalogue()?, player.id, &watch)?;
    if let Some(output) = &args.output {
        place::write_page(output, &pages::progress_page(&course, Interface::Terminal), &watch)?;
    }
    bars.finish();
    if let Some(output) = &args.output {
        out.say(&format!("wrote {}", output.display()));
    }
    if course.steps.is_empty() {
        out.say(&format!(
            "{}: {}; a change needs two: record a plan and a follow-up, or add a later recording",
            course.player,
            count(course.reviews, "review")
        ));
        return Ok(Exit::Nothing);
    }
    let mut cautions = course.cautions.clone();
    for step in &course.steps {
        if out.json {
            out.object(&StepObject::of(&course, step))?;
        } else {
            for line in describe_step(step, &mut cautions) {
                out.line(&line)?;
            }
        }
    }
    worked::end(&cautions, true, out)?;
    if !out.json {
        out.say(
            "like is compared with like; what came after a plan is associated with it, not proven \
             to be caused by it",
        );
    }
    Ok(Exit::Found)
}

fn describe_step(step: &CourseStep, cautions: &mut Cautions) -> Vec<String> {
    let look = |look: &LookFacts| match look.strokes {
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
    if let Some(text) = describe_changes(step) {
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
        add(&describe_curves(curves));
    }
    step.results.iter().filter_map(describe_result).for_each(|line| add(&line));
    lines
}
