//! The plan: its drills in full and in a line.

use crate::coaching::Cautions;
use crate::drawing::ladder_mark;
use crate::pages::ReviewData;
use crate::pages::redact::Redactor;
use crate::words::{day, list, sentence};

pub(super) struct RungView {
    pub(super) mark: String,
    pub(super) place: String,
    pub(super) what: String,
}

pub(super) struct DrillView {
    pub(super) name: String,
    pub(super) cue: String,
    pub(super) rungs: Vec<RungView>,
    pub(super) dose: String,
    pub(super) place: String,
    pub(super) step_up: String,
    pub(super) stop: String,
    pub(super) for_whom: String,
    pub(super) equipment: String,
    pub(super) support: String,
    pub(super) cautions: String,
}

pub(super) struct PlanView {
    pub(super) dates: String,
    pub(super) note: String,
    pub(super) drills: Vec<DrillView>,
    pub(super) more: Vec<String>,
}

pub(super) fn plan_view(
    data: &ReviewData,
    full: usize,
    texts: &Redactor,
    cautions: &mut Cautions,
) -> Option<PlanView> {
    let plan = data.plan.as_ref()?;
    let mut dates = Vec::new();
    dates.extend(plan.start.map(|date| format!("from {}", day(date))));
    dates.extend(plan.review_on.map(|date| format!("next review on {}", day(date))));
    let drills = plan
        .drills
        .iter()
        .take(full)
        .map(|drill| {
            let text = cautions.in_full(drill);
            DrillView {
                name: text.name.to_owned(),
                cue: text.cue.to_owned(),
                rungs: text
                    .steps
                    .iter()
                    .enumerate()
                    .map(|(index, step)| RungView {
                        mark: ladder_mark(index + 1, text.steps.len()).to_string(),
                        place: sentence(step.place.label()),
                        what: step.text.clone(),
                    })
                    .collect(),
                dose: text.dose.to_owned(),
                place: text.place.map(|place| sentence(place.label())).unwrap_or_default(),
                step_up: text.step_up.to_owned(),
                stop: text.stop.to_owned(),
                for_whom: text.for_whom.to_owned(),
                equipment: list(text.equipment),
                support: text.support.to_owned(),
                cautions: text.cautions.join(" "),
            }
        })
        .collect();
    let more = plan.drills.iter().skip(full).map(|drill| {
        let text = cautions.in_full(drill);
        let mut parts = vec![format!("{}:", text.name)];
        let told = text.dose_and_place();
        parts.extend(Some(told).filter(|told| !told.is_empty()).map(|told| told + "."));
        parts.extend(text.cautions.iter().cloned());
        parts.join(" ")
    });
    let more = more.collect();
    Some(PlanView {
        dates: sentence(&dates.join(", ")),
        note: plan.note.as_deref().map(|note| texts.clean(note)).unwrap_or_default(),
        drills,
        more,
    })
}
