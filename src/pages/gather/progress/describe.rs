//! What moved, in words: what is beyond chance and measuring, and what is within it.

use crate::pages::course::{CourseStep, CurvesMoved, ReportedResult};
use crate::words::{amount, count, list, signed};

/// How many of the other measures changed, and how many would by chance alone.
#[must_use]
pub fn describe_changes(step: &CourseStep) -> Option<String> {
    let compared = step.others.len();
    if compared == 0 {
        return None;
    }
    let beyond = step.others.iter().filter(|moved| moved.beyond()).count();
    let worse = step.others.iter().filter(|moved| moved.better() == Some(false)).count();
    let by_chance = (compared as f64 / 20.0).round().max(1.0);
    let mut text = match beyond {
        0 => format!(
            "Nothing else changed by more than chance and measuring error would give; {} compared.",
            count(compared, "other measure")
        ),
        _ => format!(
            "Elsewhere {beyond} of {} changed by more than chance and measuring error would give; \
             about {by_chance:.0} would by chance alone.",
            count(compared, "other measure")
        ),
    };
    if beyond > 0 {
        text.push_str(&match worse {
            0 => " None of them for the worse.".to_owned(),
            1 => " One of them for the worse.".to_owned(),
            some => format!(" {some} of them for the worse."),
        });
    }
    Some(text)
}

/// What the curves say, in one or two sentences.
#[must_use]
pub fn describe_curves(curves: &CurvesMoved) -> String {
    let mut text = format!(
        "The full motion, aligned in time: the two days are {:.2} apart (two players usually differ \
         by 1)",
        curves.between
    );
    let within: Vec<String> = [("before", curves.within_before), ("after", curves.within_after)]
        .into_iter()
        .filter_map(|(when, apart)| Some(format!("{:.2} {when}", apart?)))
        .collect();
    text.push_str(&if within.is_empty() {
        "; one serve a day does not tell how much serves of one day differ.".to_owned()
    } else {
        format!("; serves of the same day were {} apart.", list(&within))
    });
    text.push_str(&match (curves.channels, curves.moved.as_slice()) {
        (0, _) => " Too few serves to tell which parts moved.".to_owned(),
        (_, []) => " No part changed more than it does from serve to serve on one day.".to_owned(),
        (_, moved) => {
            let named: Vec<String> = moved
                .iter()
                .take(3)
                .map(|one| {
                    format!(
                        "{} in {} ({} {})",
                        one.label,
                        one.phase_label,
                        amount(one.by.abs(), one.unit),
                        one.direction
                    )
                })
                .collect();
            format!(" Changed more than from serve to serve on one day: {}.", list(&named))
        }
    });
    text
}

/// A reported result in one sentence; `None` where nothing was reported afterwards or before.
#[must_use]
pub fn describe_result(result: &ReportedResult) -> Option<String> {
    let number = |value: f64| format!("{value:.0}");
    let pair = |unit: &str| -> Option<String> {
        Some(match (result.before, result.after) {
            (Some(a), Some(b)) => format!("{} before, {}{unit} after", number(a), number(b)),
            (Some(a), None) => format!("{}{unit} before, not reported after", number(a)),
            (None, Some(b)) => format!("not reported before, {}{unit} after", number(b)),
            (None, None) => return None,
        })
    };
    match result.name {
        "rating" => {
            let word = match result.after? as i64 {
                ..=-2 => "worse",
                -1 => "a little worse",
                0 => "unchanged",
                1 => "better",
                _ => "gone",
            };
            Some(format!("Coach's rating: {} ({word}).", signed(result.after?)))
        }
        "sessions" => Some(format!("{} done.", count(result.after? as usize, "session"))),
        "speed_kmh" => Some(format!("Serve speed, as reported: {}.", pair(" km/h")?)),
        "first_serve_pct" => Some(format!("First serves in, as reported: {}.", pair(" %")?)),
        "net" => Some(format!("Misses into the net: {}.", pair("")?)),
        "long" => Some(format!("Misses long: {}.", pair("")?)),
        "wide" => Some(format!("Misses wide: {}.", pair("")?)),
        _ => None,
    }
}

/// All reported results in one sentence, where room is short: "Reported: serve speed 109, then 113
/// km/h; misses into the net 4, then 3."
pub(super) fn describe_results(results: &[ReportedResult]) -> Option<String> {
    let parts: Vec<String> = results
        .iter()
        .filter_map(|result| {
            let (what, unit) = match result.name {
                "rating" => return Some(format!("coach's rating {}", signed(result.after?))),
                "sessions" => return Some(count(result.after? as usize, "session")),
                "speed_kmh" => ("serve speed", " km/h"),
                "first_serve_pct" => ("first serves in", " %"),
                "net" => ("misses into the net", ""),
                "long" => ("long", ""),
                "wide" => ("wide", ""),
                _ => return None,
            };
            Some(match (result.before?, result.after?) {
                (before, after) if before == after => format!("{what} {after:.0}{unit}, as before"),
                (before, after) => format!("{what} {before:.0}, then {after:.0}{unit}"),
            })
        })
        .collect();
    (!parts.is_empty()).then(|| format!("Reported: {}.", parts.join("; ")))
}
