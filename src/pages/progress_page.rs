//! A player's progress as one page.

use askama::Template;

use super::course::{CourseStep, PlayerCourse};
use super::gather::{describe_changes, describe_curves, describe_result};
use super::review::{NARROW, Pair, WIDE};
use crate::coaching::Cautions;
use crate::drawing::style_variables;
use crate::drawing::{EventStrip, event_strip, month_strip, ribbon};
use crate::looks::{Change, describe_change, describe_value};
use crate::words::{Interface, apart, count, day, sentence};

/// What fits a page before it becomes a list nobody reads.
const STRIPS: usize = 3;

struct StepView {
    title: String,
    when: String,
    sentence: String,
    notes: Vec<String>,
    strip: Option<Pair>,
    ribbons: Vec<Pair>,
    curves: String,
    elsewhere: String,
    /// Measure, before, after, verdict, class.
    changes: Vec<(String, String, String, String, &'static str)>,
    results: Vec<String>,
    /// Name, dose, cautions.
    drills: Vec<(String, String, String)>,
}

#[derive(Template)]
#[template(path = "progress.html")]
struct Page {
    title: String,
    style: String,
    interface: Interface,
    player: String,
    reviews: String,
    headline: String,
    months: Vec<Pair>,
    steps: Vec<StepView>,
    cautions: Vec<String>,
}

/// A player's course as one self-contained HTML file: no script, no outside resource, printable.
///
/// Holds this player only, the latest step first. All texts are escaped. `interface`: where it is read.
#[must_use]
pub fn progress_page(course: &PlayerCourse, interface: Interface) -> String {
    let mut cautions = course.cautions.clone();
    let steps =
        course.steps.iter().rev().map(|step| step_view(step, interface, &mut cautions)).collect();
    let page = Page {
        title: format!("Progress, {}", course.player),
        style: format!("{}{}", style_variables(), include_str!("templates/style.css")),
        interface,
        player: course.player.clone(),
        reviews: count(course.reviews, "review"),
        headline: headline(course),
        months: course
            .months
            .iter()
            .take(STRIPS)
            .filter_map(|strip| {
                Some(Pair {
                    wide: month_strip(strip, WIDE)?.to_string(),
                    narrow: month_strip(strip, NARROW)?.to_string(),
                })
            })
            .collect(),
        steps,
        cautions: cautions.lines(),
    };
    let mut out = String::new();
    // Writing into a String cannot fail, and the template has no fallible expressions.
    page.render_into(&mut out).expect("a String takes every text");
    out
}

/// The latest step that can be judged, in one sentence.
fn headline(course: &PlayerCourse) -> String {
    match course.steps.iter().rev().find_map(|step| step.main.as_ref()) {
        Some(moved) => {
            let by = apart(moved.before.value, moved.after.value, moved.def.unit);
            let name = sentence(moved.def.name);
            match moved.better() {
                Some(true) => format!("{name}: better by {by}, beyond chance and measuring error."),
                Some(false) => format!("{name}: worse by {by}, beyond chance and measuring error."),
                None if moved.beyond() => format!("{name}: changed by {by}."),
                None => format!("{name}: no change beyond chance and measuring error so far."),
            }
        }
        None if course.steps.is_empty() => "One look so far; a change needs two.".to_owned(),
        // What the plan aims at was not read both times; the rest may well have been.
        None if course.steps.iter().any(|step| step.curves.is_some()) => {
            "The plan's fault could not be measured both before and after.".to_owned()
        }
        None => "No two looks can be compared yet.".to_owned(),
    }
}

fn step_view(step: &CourseStep, interface: Interface, cautions: &mut Cautions) -> StepView {
    let dates = match &step.after {
        Some(after) => format!("{} to {}", day(step.before.date), day(after.date)),
        None => format!("from {}", day(step.before.date)),
    };
    let mut when = Vec::new();
    if let Some(plan) = &step.plan {
        when.push(format!("Plan from {}", day(plan.start)));
        when.extend(plan.review_on.map(|on| format!("review due {}", day(on))));
    }
    if let Some(after) = &step.after
        && !step.before.serves.is_empty()
    {
        when.push(format!(
            "{} before and {} after: {}",
            count(step.before.strokes, "serve"),
            after.strokes,
            after.what
        ));
    }
    let sentence_of_step = match (&step.main, &step.after) {
        (Some(main), _) => format!("{}.", describe_change(main)),
        (None, None) => interface
            .says(
                "Not followed up yet: record later serves and results with follow-up.",
                "Not followed up yet: next time, press Follow it up under the plan.",
            )
            .to_owned(),
        (None, Some(_)) if step.others.is_empty() => String::new(),
        (None, Some(_)) if step.plan.is_some() => String::new(),
        (None, Some(_)) => "No plan lies between the two.".to_owned(),
    };
    let drawing = step.drawing.as_ref();
    let (now, then) = (
        step.after.as_ref().map_or_else(String::new, |after| day(after.date)),
        day(step.before.date),
    );
    StepView {
        title: match &step.plan {
            Some(plan) => format!("{}, {dates}", plan.name),
            None => format!("Without a plan, {dates}"),
        },
        when: sentence(&when.join("; ")),
        sentence: sentence_of_step,
        notes: step.notes.clone(),
        strip: drawing.map(|drawing| {
            let strip = EventStrip {
                this: &drawing.figures,
                this_label: &now,
                behind: Some((&drawing.behind, &then)),
                events: &drawing.events,
                seen: drawing.seen,
            };
            Pair {
                wide: event_strip(&strip, WIDE).to_string(),
                narrow: event_strip(&strip, NARROW).to_string(),
            }
        }),
        ribbons: drawing
            .iter()
            .flat_map(|drawing| &drawing.channels)
            .map(|channel| Pair {
                wide: ribbon(channel, "after", WIDE).to_string(),
                narrow: ribbon(channel, "after", NARROW).to_string(),
            })
            .collect(),
        curves: step.curves.as_ref().map(describe_curves).unwrap_or_default(),
        elsewhere: describe_changes(step).unwrap_or_default(),
        changes: changed(step),
        results: step.results.iter().filter_map(describe_result).collect(),
        drills: step
            .plan
            .iter()
            .flat_map(|plan| &plan.drills)
            .map(|drill| {
                let text = cautions.in_full(drill);
                (text.name.to_owned(), text.dose_and_place(), text.cautions.join(" "))
            })
            .collect(),
    }
}

/// What changed beyond chance and measuring, worse ones first.
fn changed(step: &CourseStep) -> Vec<(String, String, String, String, &'static str)> {
    let mut moved: Vec<&Change> = step.others.iter().filter(|moved| moved.beyond()).collect();
    moved.sort_by_key(|moved| moved.better() != Some(false));
    moved
        .into_iter()
        .map(|moved| {
            let (word, class) = match moved.better() {
                Some(true) => ("better", "better"),
                Some(false) => ("worse", "worse"),
                None if moved.by() > 0.0 => ("more", ""),
                None => ("less", ""),
            };
            (
                sentence(moved.def.name),
                describe_value(moved, moved.before.value),
                describe_value(moved, moved.after.value),
                format!(
                    "{word} by {}",
                    apart(moved.before.value, moved.after.value, moved.def.unit)
                ),
                class,
            )
        })
        .collect()
}
