//! The faults, the measures that show them, and what could not be measured.

use super::PLAYER_REASONS;
use crate::coaching::{Cautions, ShownDrill};
use crate::drawing::{Gauge, gauge};
use crate::pages::redact::Redactor;
use crate::pages::{Asked, MeasureRow, ReviewData, ReviewFault};
use crate::serve::Reading;
use crate::words::{about, about_moment, amount, bare, list, moments, sentence};

pub(super) struct MeasureView {
    pub(super) name: String,
    pub(super) definition: String,
    pub(super) said: String,
    pub(super) trust: String,
    pub(super) against: String,
    pub(super) source: String,
    /// The other view of the serve it is read from.
    pub(super) from: String,
    pub(super) gauge: String,
    pub(super) measured: bool,
}

pub(super) struct FaultView {
    pub(super) name: String,
    pub(super) sentence: String,
    pub(super) why: String,
    pub(super) score: String,
    pub(super) decided: String,
    pub(super) order: String,
    pub(super) shown: Vec<MeasureView>,
}

pub(super) fn measure_view(row: &MeasureRow) -> MeasureView {
    let (said, trust, value) = match &row.reading {
        Reading::Value { value, trust, give_or_take } if value.is_finite() => (
            if row.is_moment() {
                about_moment(*value, *give_or_take)
            } else {
                about(*value, *give_or_take, &row.unit)
            },
            format!("trust {trust:.2}"),
            Some((*value, *give_or_take)),
        ),
        Reading::Value { .. } => {
            ("not measurable from this recording".to_owned(), String::new(), None)
        }
        Reading::NotMeasurable { why } => {
            (format!("not measurable from this recording: {why}"), String::new(), None)
        }
    };
    let span = |(low, high): (f64, f64)| {
        if row.is_moment() {
            moments(low, high)
        } else {
            format!("{} to {}", bare(low, &row.unit), amount(high, &row.unit))
        }
    };
    let mut against: Vec<String> = Vec::new();
    against.extend(row.reference.as_ref().map(|r| format!("Reference {}.", span((r.0, r.1)))));
    against.extend(row.precedents.map(|p| format!("Precedents {}.", span(p))));
    if against.is_empty() && value.is_some() {
        against.push("Nothing published for this definition, and too few precedents.".to_owned());
    }
    let line = Gauge {
        name: &row.name,
        unit: &row.unit,
        value,
        reference: row.reference.as_ref().map(|r| (r.0, r.1)),
        precedents: row.precedents,
    };
    let said = match (&row.from, value) {
        (Some(from), Some(_)) => format!("{said}, {}", from.seen),
        _ => said,
    };
    MeasureView {
        name: sentence(&row.name),
        definition: row.definition.clone(),
        said,
        trust,
        against: against.join(" "),
        source: row.reference.as_ref().map(|r| r.2.clone()).unwrap_or_default(),
        from: row.from.as_ref().map(|from| from.serve.clone()).unwrap_or_default(),
        gauge: gauge(&line, 112.0).to_string(),
        measured: value.is_some(),
    }
}

pub(super) fn fault_view(fault: &ReviewFault, data: &ReviewData, texts: &Redactor) -> FaultView {
    FaultView {
        name: fault.name.clone(),
        sentence: texts.clean(&fault.to_player),
        why: texts.clean(&fault.why),
        score: fault
            .score
            .filter(|score| score.is_finite())
            .map_or_else(|| "not detectable".to_owned(), |score| format!("{score:.2}")),
        decided: fault.decided.clone().unwrap_or_default(),
        order: fault.order.clone().unwrap_or_default(),
        shown: fault
            .measures
            .iter()
            .filter_map(|&at| data.measures.get(at))
            .map(measure_view)
            .collect(),
    }
}

/// Drills to choose from, to the coach.
pub(super) fn offered(drills: &[ShownDrill], cautions: &mut Cautions) -> String {
    let names: Vec<&str> = drills.iter().map(|drill| cautions.name(drill)).collect();
    if names.is_empty() {
        String::new()
    } else {
        format!(" Drills to choose from: {}.", names.join(", "))
    }
}

/// One line per reason: "Palm rotation, wrist snap: no hand joints". A player reads the reasons
/// that keep most from being measured, with a name each and a count.
pub(super) fn not_measurable(measures: &[MeasureRow], coach: bool) -> Vec<String> {
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for row in measures {
        let why = match &row.reading {
            Reading::NotMeasurable { why } => why.as_str(),
            Reading::Value { value, .. } if !value.is_finite() => "no value",
            Reading::Value { .. } => continue,
        };
        match reasons.iter_mut().find(|reason| reason.0 == why) {
            Some(reason) => reason.1.push(&row.name),
            None => reasons.push((why, vec![&row.name])),
        }
    }
    let mut further = 0;
    if !coach {
        reasons.sort_by_key(|(_, names)| std::cmp::Reverse(names.len()));
        let cut = reasons.split_off(reasons.len().min(PLAYER_REASONS));
        further = cut.iter().map(|(_, names)| names.len()).sum();
    }
    let mut lines: Vec<String> = reasons
        .into_iter()
        .map(|(why, names)| {
            let said = match names.as_slice() {
                [first, rest @ ..] if !coach && rest.len() > 1 => {
                    format!("{first} and {} others", rest.len())
                }
                all => list(all),
            };
            format!("Not measurable from this recording ({why}): {said}.")
        })
        .collect();
    if further > 0 {
        lines.push(format!(
            "For other reasons not measurable: {further} more; your coach has the list."
        ));
    }
    lines
}

/// What was answered, a line each; what is still to be asked, in one line.
pub(super) fn asked_lines(asked: &[Asked], coach: bool, texts: &Redactor) -> Vec<String> {
    let answered = asked.iter().filter_map(|one| {
        let answer = texts.clean(one.answer.as_ref()?);
        Some(format!("{}: {answer} (as told, not measured).", sentence(&one.what)))
    });
    let mut lines: Vec<String> = answered.collect();
    let open: Vec<&str> =
        asked.iter().filter(|one| one.answer.is_none()).map(|one| one.what.as_str()).collect();
    if !open.is_empty() {
        let open = list(&open);
        lines.push(match coach {
            true => format!("Not asked yet: {open}. Ask, and record the answers."),
            false => format!("Your coach will ask you about: {open}."),
        });
    }
    lines
}
