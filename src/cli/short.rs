//! The answer of `like` on one screen: each precedent in two or three lines, each drill in one.
//!
//! What is left out here stands in `like --full` and in the JSON.

use std::collections::BTreeMap;

use super::output::{Output, count};
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, ShownDrill};
use crate::evidence::{Worked, WorkedDrill};
use crate::library::{CaseId, Ending, LabelState, Plan};
use crate::looks::FollowedPrecedent;
use crate::matcher::Precedent;
use crate::words::{self, amount, bare, day, sentence, signed};

/// Faults named of one precedent.
const FAULTS: usize = 2;
/// Different drills named among the precedents: each brings its cautions with it.
const DRILLS: usize = 2;
/// Drills told of what worked for a fault, the second only while fewer than [`IN_ALL`] are cautioned.
const WORKED: usize = 2;
/// Drills whose cautions fit.
const IN_ALL: usize = 3;

/// Writes precedents shortly, one after the other; a review that several come from is told once.
pub(super) struct Short {
    /// Where the review of each case was told: the precedent's rank.
    told: BTreeMap<CaseId, usize>,
    /// Drills named so far.
    named: Vec<String>,
}

impl Short {
    pub(super) fn new() -> Self {
        Self { told: BTreeMap::new(), named: Vec::new() }
    }

    /// Two or three lines of one precedent.
    pub(super) fn precedent(
        &mut self,
        followed: &FollowedPrecedent,
        catalogue: &Catalogue,
        cautions: &mut Cautions,
    ) -> Vec<String> {
        let precedent = &followed.precedent;
        let mut lines = vec![heading(precedent)];
        let near = match (&precedent.incomparable_because, &precedent.why) {
            (Some(why), _) => Some(format!("Compares poorly: {why}.")),
            (None, Some(why)) => Some(format!("{}.", sentence(&why.in_short()))),
            (None, None) => None,
        };
        let told = self.told.get(&precedent.case).map(|rank| format!("Same review as {rank}."));
        let near = near.into_iter().chain(told.clone()).collect::<Vec<_>>().join(" ");
        if !near.is_empty() {
            lines.push(format!("   {near}"));
        }
        if told.is_none() {
            self.told.insert(precedent.case, precedent.rank);
            lines.push(format!("   {}", self.review(followed, catalogue, cautions)));
        }
        lines
    }

    /// What was wrong, planned, and came of it.
    fn review(
        &mut self,
        followed: &FollowedPrecedent,
        catalogue: &Catalogue,
        cautions: &mut Cautions,
    ) -> String {
        let precedent = &followed.precedent;
        let faults: Vec<String> = precedent
            .faults
            .iter()
            .map(|label| {
                let name = catalogue.fault_name(&label.fault);
                let doubt = label.state == LabelState::Suspected;
                if doubt { format!("{name} (suspected)") } else { name }
            })
            .collect();
        let mut said = vec![match faults.as_slice() {
            [] => "No faults recorded".to_owned(),
            some => first(some, FAULTS),
        }];
        for (place, plan) in precedent.plans.iter().enumerate() {
            let drills = self.drills(plan, catalogue, cautions);
            let fault = catalogue.fault_name(&plan.limiting_fault);
            let about = match faults.first() {
                Some(only) if faults.len() == 1 && *only == fault => String::new(),
                Some(first) if *first == fault => " for the first".to_owned(),
                _ => format!(" for {}", words::lower_first(&fault)),
            };
            let withdrawn = plan.ended.as_ref().is_some_and(|end| end.how == Ending::Withdrawn);
            let withdrawn = if withdrawn { " (withdrawn)" } else { "" };
            let came = followed.came.get(place).map(|came| format!(": {}", came.in_short()));
            said.push(format!("Planned{about}: {drills}{withdrawn}{}", came.unwrap_or_default()));
        }
        said.extend(reported(precedent));
        said.join(". ") + "."
    }

    fn drills(&mut self, plan: &Plan, catalogue: &Catalogue, cautions: &mut Cautions) -> String {
        let drills = ShownDrill::of_plan(catalogue, plan);
        let mut names = Vec::new();
        for (planned, drill) in plan.drills.iter().zip(&drills) {
            let known = self.named.contains(&planned.drill);
            if known || self.named.len() < DRILLS {
                names.push(cautions.name(drill).to_owned());
                if !known {
                    self.named.push(planned.drill.clone());
                }
            }
        }
        match (names.len(), drills.len() - names.len()) {
            (0, 0) => "no drill".to_owned(),
            (0, 1) => "one drill (--full names it)".to_owned(),
            (0, left) => format!("{left} drills (--full names them)"),
            (_, 0) => names.join(", "),
            (_, left) => format!("{} and {left} more", names.join(", ")),
        }
    }
}

/// The first few, and how many there are besides.
fn first(names: &[String], most: usize) -> String {
    let shown = names[..names.len().min(most)].join(", ");
    match names.len().saturating_sub(most) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// Who, when, and how near.
fn heading(precedent: &Precedent) -> String {
    let mut who = vec![precedent.player.clone(), day(precedent.date)];
    who.extend(precedent.level.map(|level| words::level(level).to_owned()));
    who.extend(precedent.age.map(|age| format!("{age} years")));
    if precedent.same_set_up {
        who.push("same player, same set-up".to_owned());
    } else if precedent.same_player {
        who.push("same player".to_owned());
    }
    if precedent.origin.is_some() {
        who.push("from another academy".to_owned());
    }
    format!(
        "{}. {} ({}), {}; distance {:.1}",
        precedent.rank,
        precedent.serve,
        precedent.case,
        who.join(", "),
        precedent.distance
    )
}

/// What was reported at the last follow-up.
fn reported(precedent: &Precedent) -> Option<String> {
    let outcome = precedent.outcome.as_ref()?;
    let mut came = Vec::new();
    came.extend(outcome.rating.map(|rating| format!("rating {}", signed(f64::from(rating)))));
    came.extend(outcome.speed_change_kmh.map(|by| format!("{} km/h", signed(by))));
    came.extend(outcome.first_serve_change_pct.map(words::first_serves));
    if came.is_empty() {
        return None;
    }
    Some(format!("{} days later: {}", outcome.after_days, came.join(", ")))
}

/// What worked for one fault, a line a drill.
pub(super) fn worked(
    worked: &Worked,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    if worked.drills.is_empty() {
        return Ok(
            out.line(&format!("Nobody has followed up a plan for \"{}\" yet.", worked.name))?
        );
    }
    out.line(&format!("What worked for \"{}\" ({}):", worked.name, worked.measure))?;
    for (place, drill) in worked.drills.iter().take(WORKED).enumerate() {
        if place == 0 || cautions.drills_with_cautions() < IN_ALL {
            out.line(&format!("   {}", line(drill, &worked.unit, cautions)))?;
        }
    }
    Ok(())
}

fn line(drill: &WorkedDrill, unit: &str, cautions: &mut Cautions) -> String {
    let names: Vec<&str> = drill.done.drills().iter().map(|one| cautions.name(one)).collect();
    let change = match drill.change {
        Some(change) => format!(
            "; expect {} (90 % interval {} to {})",
            amount(change.mean, unit),
            bare(change.low, unit),
            amount(change.high, unit)
        ),
        None => String::new(),
    };
    let little = drill.practice.in_short(drill.claim).map(|said| format!("; {said}"));
    format!(
        "{}: {} of {} better by more than chance{change}; {}{}.",
        names.join(" with "),
        drill.improved,
        count(drill.players, "player"),
        drill.claim.in_short(),
        little.unwrap_or_default()
    )
}
