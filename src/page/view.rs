//! What several places show in the same way.

use super::desk::{Desk, today};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions, PlansInForce, ShownDrill, sore_on};
use crate::drawing::{EventStrip, Viewpoint, event_strip};
use crate::library::{BallFlight, Library, Misses, Plan, PlannedDrill, Player, StoreError};
use crate::motion::Side;
use crate::serve::Serve;
use crate::words::day;

/// Room for a drawing on a screen, and on a phone.
const WIDE: f64 = 720.0;
const NARROW: f64 = 358.0;

/// What stands around every place.
#[derive(Debug)]
pub(super) struct Frame {
    pub(super) title: String,
    /// The coach's code; `None` where nobody was let in, or nothing could be read.
    pub(super) coach: Option<String>,
    /// What was looked for.
    pub(super) words: String,
}

impl Frame {
    pub(super) fn of(desk: &Desk, title: impl Into<String>) -> Self {
        let coach = Some(desk.coach.to_string());
        Self { title: title.into(), coach, words: String::new() }
    }

    pub(super) fn bare(title: &str) -> Self {
        Self { title: title.to_owned(), coach: None, words: String::new() }
    }
}

/// A step of a drill, from easy to full.
#[derive(Debug)]
pub(super) struct StepView {
    pub(super) place: &'static str,
    pub(super) text: String,
}

/// A drill with all that stands beside it.
#[derive(Debug)]
pub(super) struct DrillView {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) cue: String,
    pub(super) steps: Vec<StepView>,
    pub(super) dose: String,
    pub(super) step_up: String,
    pub(super) stop: String,
    pub(super) for_whom: String,
    pub(super) equipment: String,
    pub(super) support: String,
    pub(super) cautions: Vec<String>,
}

impl DrillView {
    /// A drill as its cautions hand it out; `dose` with its place, as planned or as the catalogue has
    /// it.
    pub(super) fn of(drill: &ShownDrill, cautions: &mut Cautions) -> Self {
        let text = cautions.in_full(drill);
        let steps = text
            .steps
            .iter()
            .map(|step| StepView { place: step.place.label(), text: step.text.clone() });
        Self {
            id: drill.id().to_owned(),
            name: text.name.to_owned(),
            cue: text.cue.to_owned(),
            steps: steps.collect(),
            dose: text.dose_and_place(),
            step_up: text.step_up.to_owned(),
            stop: text.stop.to_owned(),
            for_whom: text.for_whom.to_owned(),
            equipment: text.equipment.join(", "),
            support: text.support.to_owned(),
            cautions: text.cautions.to_vec(),
        }
    }
}

/// What must be said wherever something is told to this player: by age, and by what hurts.
pub(super) fn cautions_for(
    library: &Library,
    catalogue: &Catalogue,
    player: &Player,
) -> Result<Cautions, StoreError> {
    let on = today();
    let sore = sore_on(library, player.id, on)?;
    Ok(Cautions::of(catalogue, Age::on(on, player.born)).hurting(&sore))
}

/// A plan with its drills in full.
#[derive(Debug)]
pub(super) struct PlanView {
    pub(super) id: String,
    pub(super) fault: String,
    pub(super) name: String,
    pub(super) start: String,
    pub(super) review_on: Option<String>,
    pub(super) drills: Vec<DrillView>,
}

impl PlanView {
    pub(super) fn of(catalogue: &Catalogue, plan: &Plan, cautions: &mut Cautions) -> Self {
        let drills = ShownDrill::of_plan(catalogue, plan);
        Self {
            id: plan.id.to_string(),
            fault: plan.limiting_fault.clone(),
            name: catalogue.fault_name(&plan.limiting_fault),
            start: day(plan.start),
            review_on: plan.review_on.map(day),
            drills: drills.iter().map(|drill| DrillView::of(drill, cautions)).collect(),
        }
    }

    pub(super) fn of_all(plans: &PlansInForce, cautions: &mut Cautions) -> Vec<Self> {
        let plans = plans.plans.iter().map(|plan| Self {
            id: plan.plan.to_string(),
            fault: plan.fault.clone(),
            name: plan.name.clone(),
            start: day(plan.start),
            review_on: plan.review_on.map(day),
            drills: plan.drills.iter().map(|drill| DrillView::of(drill, cautions)).collect(),
        });
        plans.collect()
    }
}

/// The names of a plan's drills; what must be said about them is noted in `cautions`.
pub(super) fn drill_names(
    catalogue: &Catalogue,
    plan: &Plan,
    cautions: &mut Cautions,
) -> Vec<String> {
    let shown = |planned: &PlannedDrill| {
        cautions.name(&ShownDrill::planned(catalogue, planned, &plan.limiting_fault)).to_owned()
    };
    plan.drills.iter().map(shown).collect()
}

/// What the ball did, as the fields of a form hold it.
#[derive(Debug, Default)]
pub(super) struct BallView {
    pub(super) speed: String,
    pub(super) first_serve: String,
    pub(super) net: String,
    pub(super) long: String,
    pub(super) wide: String,
}

impl BallView {
    pub(super) fn of(ball: &BallFlight) -> Self {
        let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        let misses = |count: fn(Misses) -> u32| {
            ball.misses.map(|misses| count(misses).to_string()).unwrap_or_default()
        };
        Self {
            speed: number(ball.speed_kmh),
            first_serve: number(ball.first_serve_pct),
            net: misses(|misses| misses.net),
            long: misses(|misses| misses.long),
            wide: misses(|misses| misses.wide),
        }
    }
}

/// A serve at its six moments, drawn for a screen and for a phone; the style sheet shows one.
#[derive(Debug)]
pub(super) struct StripView {
    pub(super) wide: String,
    pub(super) narrow: String,
    /// Left-handers are drawn mirrored, and that is said.
    pub(super) mirrored: bool,
}

impl StripView {
    pub(super) fn of(serve: &Serve, label: &str, seen: Viewpoint) -> Self {
        let strip = EventStrip {
            this: &serve.figures,
            this_label: label,
            behind: None,
            events: &serve.events,
            seen,
        };
        let drawn = |width| event_strip(&strip, width).to_string();
        Self { wide: drawn(WIDE), narrow: drawn(NARROW), mirrored: serve.hand == Side::Left }
    }
}
