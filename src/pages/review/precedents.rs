//! Who served like this before: what was wrong, what was planned, what came of it.

use super::{COACH_STRIPS, Pair, pair};
use crate::coaching::Cautions;
use crate::drawing::{EventStrip, Viewpoint, event_strip};
use crate::looks::{Change, Unlike, Verdict};
use crate::pages::{OutcomeFacts, ReviewData, ShownPrecedent};
use crate::words::{self, day, sentence};

pub(super) struct PrecedentView {
    pub(super) who: String,
    pub(super) identity: String,
    pub(super) faults: String,
    pub(super) plan: String,
    pub(super) outcome: String,
    pub(super) differs: String,
    /// How well it compares beside its distance, where that must be said.
    pub(super) standing: String,
}

/// What the closest precedent is called beside a drawing of it.
pub(crate) fn closest_label(one: &ShownPrecedent, coach: bool) -> String {
    if coach {
        format!("closest precedent: {}, {}", one.player, one.serve)
    } else if one.own {
        format!("you, {}", day(one.date))
    } else {
        "the closest precedent".to_owned()
    }
}

pub(super) fn searched(data: &ReviewData, shown: usize, coach: bool) -> String {
    if let Some(none) = &data.precedents.none {
        return if coach { none.sentences() } else { none.for_player().to_owned() };
    }
    let all = words::count(data.precedents.searched, "serve");
    let mut text = match data.precedents.found.len().min(shown) {
        0 => format!("{} searched.", sentence(&all)),
        1 => format!("The closest of {all} searched."),
        some => format!("The {some} closest of {all} searched."),
    };
    if let Some(first) = &data.precedents.searched_first
        && data.precedents.searched > 0
    {
        text.push_str(&format!(
            " Those {first} come first: {} of them.",
            match data.precedents.comparable {
                n if n == data.precedents.searched => "all".to_owned(),
                n => n.to_string(),
            }
        ));
    }
    if let Some(filter) = data.precedents.filter.as_ref().filter(|_| coach) {
        text.push_str(&format!(" Filter: {filter}."));
    }
    text
}

fn outcome_words(outcomes: &[OutcomeFacts]) -> String {
    if outcomes.is_empty() {
        return "Nothing was planned.".to_owned();
    }
    let little = |outcome: &OutcomeFacts| {
        let little = outcome.practised.and_then(|done| done.too_little());
        little.map(|little| format!(" {}.", sentence(&little))).unwrap_or_default()
    };
    let words = |outcome: &OutcomeFacts| {
        let moved = |change: &Change, word: &str| {
            let by = words::apart(change.before.value, change.after.value, change.def.unit);
            format!("Afterwards: {} {word} by {by}", change.def.name)
        };
        match &outcome.verdict {
            Verdict::Better(change) => {
                format!("{}, more than chance allows.", moved(change, "better"))
            }
            Verdict::Worse(change) => {
                format!("{}, more than chance allows.{}", moved(change, "worse"), little(outcome))
            }
            Verdict::NoClearChange(change) => {
                let moved = moved(change, "changed");
                format!("{moved}, which may be chance alone.{}", little(outcome))
            }
            // Without its day: a player's copy tells no days of others.
            Verdict::NotComparable { why: Unlike::NoServe { .. } } => {
                "Followed up, but not recorded both times.".to_owned()
            }
            Verdict::NotComparable { why } => format!("Seen again, but {why}."),
            Verdict::NotYet { .. } => {
                "Not followed up, so nobody knows whether it helped.".to_owned()
            }
        }
    };
    match outcomes {
        [one] => words(one),
        several => {
            let each = |one: &OutcomeFacts| format!("{}: {}", one.fault, words(one));
            several.iter().map(each).collect::<Vec<_>>().join(" ")
        }
    }
}

pub(super) fn precedent_view(
    one: &ShownPrecedent,
    data: &ReviewData,
    coach: bool,
    compared: bool,
    cautions: &mut Cautions,
) -> PrecedentView {
    let mut who = match one.level {
        _ if one.own => format!("You, {}", day(one.date)),
        Some(level) => format!("A {}", words::level(level)),
        None => "A player".to_owned(),
    };
    if let Some(hand) = one.hand.filter(|_| !one.own) {
        who.push_str(&format!(", {}", words::handed(hand)));
    }
    if coach && one.own {
        who = format!("The same player, {}", day(one.date));
    }
    let other: Vec<String> = one.faults.iter().map(|fault| fault.to_lowercase()).collect();
    let faults = match (one.same_fault, data.limiting.as_ref()) {
        (true, Some(_)) => {
            let limiting =
                data.limiting.as_ref().map(|f| f.name.to_lowercase()).unwrap_or_default();
            let rest: Vec<_> = other.into_iter().filter(|fault| *fault != limiting).collect();
            if rest.is_empty() {
                "Had the same fault.".to_owned()
            } else {
                format!("Had the same fault. Also: {}.", rest.join("; "))
            }
        }
        _ if other.is_empty() => "No fault was noted.".to_owned(),
        _ => format!("Noted: {}.", other.join("; ")),
    };
    let plan = if one.drills.is_empty() {
        String::new()
    } else {
        let names: Vec<&str> = one.drills.iter().map(|drill| cautions.name(drill)).collect();
        format!("Drills: {}.", names.join("; "))
    };
    let most = |shares: Vec<(String, f64)>| {
        shares.into_iter().filter(|share| share.1.is_finite()).max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let parts = one.likeness.parts.iter().map(|(part, share)| (part.label().to_owned(), *share));
    let differs = most(parts.collect()).map_or_else(String::new, |(part, share)| {
        let phase = most(one.likeness.phases.clone()).map_or_else(String::new, |(phase, share)| {
            format!(", and in {phase} ({:.0} %)", share * 100.0)
        });
        format!("Differs most in the {part} ({:.0} %){phase}.", share * 100.0)
    });
    let identity = format!(
        "{}, serve {}, case {}, {}{}{}; distance {:.2}",
        one.player,
        one.serve,
        one.case,
        day(one.date),
        if one.context.is_empty() { "" } else { ", " },
        one.context,
        one.distance
    );
    PrecedentView {
        who,
        identity: if coach { identity } else { String::new() },
        faults,
        plan,
        outcome: outcome_words(&one.outcomes),
        differs: if compared { differs } else { String::new() },
        standing: standing(one, coach),
    }
}

fn standing(one: &ShownPrecedent, coach: bool) -> String {
    let player = if coach { "Same player" } else { "You" };
    match &one.poor_because {
        _ if one.same_set_up => format!("{player}, same set-up: the strongest comparison."),
        Some(why) => format!("Compares poorly: {why}."),
        None if one.own => format!("{player}, not known to be the same set-up."),
        None => String::new(),
    }
}

pub(super) fn precedent_strips(data: &ReviewData, you: &str) -> Vec<Pair> {
    let Some(this) = data.figures.as_ref() else { return Vec::new() };
    data.precedents
        .found
        .iter()
        .skip(1)
        .filter_map(|one| Some((one, one.figures.as_ref()?)))
        .take(COACH_STRIPS - 1)
        .map(|(one, figures)| {
            let label = format!("{}, {}, distance {:.2}", one.player, one.serve, one.distance);
            let behind = Some((figures, label.as_str()));
            let strip = EventStrip {
                this,
                this_label: you,
                behind,
                events: &data.events,
                seen: Viewpoint::FromBehind,
            };
            pair(|width| event_strip(&strip, width))
        })
        .collect()
}
