//! The estimates with names and sentences: what a coach reads.

use std::collections::BTreeMap;

use serde::Serialize;
use statrs::statistics::{Data, Median};

use super::gather::{Evidence, Followings};
use super::improve::{Improvements, improvements};
use super::pool::{Claim, DrillEstimate, Estimate, FEW_PLAYERS, estimates};
use super::practice::{KnownPractice, practice};
use super::row::{Row, effective, votes};
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, ShownDrill, ShownTogether};
use crate::looks::{Followed, beyond};

/// A typical value and the players it rests on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Typical {
    /// Median over players.
    pub median: f64,
    /// Players who have it.
    pub players: usize,
}

/// What happened to players with one fault who did one drill, or one plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WorkedDrill {
    /// One for a drill, several for a plan: `drills`, `name` and `cautions` in JSON.
    #[serde(flatten)]
    pub done: ShownTogether,
    /// Change of each player, positive = better, smallest first; nobody is named.
    pub changes: Vec<f64>,
    /// Beside each change, whether it is for the better; `None` within what chance and measuring
    /// give. Of a player seen after several such plans the mean change and the mean of their
    /// detectable changes.
    pub better: Vec<Option<bool>>,
    /// Smallest change that is more than chance and measuring give, mean over these players.
    pub detectable: f64,
    /// Players who changed for the better by more than chance and measuring give.
    pub improved: usize,
    /// Players.
    pub players: usize,
    /// What they count like for this question.
    pub effective: f64,
    /// Change to be expected of a player who starts where this one starts; `None` where fewer
    /// than 3 players with this fault can be counted at all.
    pub change: Option<Estimate>,
    /// How much of it is more than comes by itself.
    pub gain: Option<Estimate>,
    /// What may be said.
    pub claim: Claim,
    /// Days after which those who improved were seen improved, from 3 such players on.
    pub typical_days: Option<f64>,
    /// Coach's rating, -2 to 2.
    pub rating: Option<Typical>,
    /// Serve speed later minus first, km/h.
    pub speed_kmh: Option<Typical>,
    /// First serves in later minus first, percentage points.
    pub first_serve_pct: Option<Typical>,
    /// How much was practised.
    pub practice: KnownPractice,
    /// How far to trust it, a few sentences.
    pub trust: String,
}

/// What worked for one fault, for one serve.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Worked {
    /// Catalogue id of the fault.
    pub fault: String,
    /// Its name.
    pub name: String,
    /// The measure that is followed.
    pub measure: String,
    /// Its unit.
    pub unit: String,
    /// Drills, the largest expected change first.
    pub drills: Vec<WorkedDrill>,
    /// Plans of several drills, in the same way.
    pub plans: Vec<WorkedDrill>,
    /// Change to be expected without a plan.
    pub by_itself: Option<Estimate>,
    /// Players who had a plan for the fault and were seen again.
    pub players: usize,
    /// What they count like for this question.
    pub effective: f64,
    /// Players seen again without a plan for it.
    pub without_plan: usize,
    /// How many plans could be followed.
    pub followings: Followings,
    /// How many improved.
    pub improvement: Improvements,
    /// Drills of the catalogue for this fault that nobody here was seen after; names in JSON.
    #[serde(serialize_with = "crate::coaching::names")]
    pub untried: Vec<ShownDrill>,
    /// What the reader must know, one sentence each.
    pub notes: Vec<String>,
}

/// What worked for one fault as a JSON object, told apart from a precedent by its key.
#[derive(Debug, Serialize)]
pub struct WorkedObject<'a> {
    worked: &'a Worked,
    cautions: Cautions,
}

/// What worked for one fault among the lines of a report: its fields and the cautions.
#[derive(Debug, Serialize)]
pub struct WorkedListed<'a> {
    #[serde(flatten)]
    worked: &'a Worked,
    cautions: Cautions,
}

impl Worked {
    /// Every drill it shows.
    pub fn shown(&self) -> impl Iterator<Item = &ShownDrill> {
        let done = self.drills.iter().chain(&self.plans).flat_map(|one| one.done.drills());
        done.chain(&self.untried)
    }

    /// As one JSON object, with what must be said about its drills beside `general`.
    #[must_use]
    pub fn object(&self, general: &Cautions) -> WorkedObject<'_> {
        WorkedObject { worked: self, cautions: general.with(self.shown()) }
    }

    /// The same with the fields of [`Worked`] beside the cautions, for a line of a larger report.
    #[must_use]
    pub fn listed(&self, general: &Cautions) -> WorkedListed<'_> {
        WorkedListed { worked: self, cautions: general.with(self.shown()) }
    }
}

impl Evidence {
    /// What worked for this fault among other players, nearest first in weight; `None` for a fault
    /// that no measure shows or the catalogue does not know.
    ///
    /// Nobody is named in it. With too few players it says so and what the catalogue reasons.
    #[must_use]
    pub fn worked(&self, catalogue: &Catalogue, fault: &str) -> Option<Worked> {
        let number = self.number(fault)?;
        let entry = catalogue.fault(fault)?;
        let followed = Followed::of(entry)?;
        let unit = followed.def.unit;
        let found = estimates(&self.rows, &self.unseen, number, self.starts.get(&number).copied());
        let (all_drills, all_plans) = match &found {
            Some(found) => (found.drills.clone(), found.plans.clone()),
            None => self.stories(number),
        };
        let told = |one: &DrillEstimate| {
            self.drill(catalogue, (number, fault), one, found.is_some(), unit)
        };
        let drills: Vec<WorkedDrill> = all_drills.iter().map(told).collect();
        let plans = all_plans.iter().filter(|plan| plan.drills.len() > 1).map(told).collect();
        let untried = catalogue
            .drills_for(fault)
            .into_iter()
            .filter(|drill| {
                drills.iter().all(|one| one.done.drills().iter().all(|done| done.id() != drill.id))
            })
            .map(|drill| ShownDrill::of(catalogue, &drill.id, fault))
            .collect();
        let with: Vec<&Row> =
            self.rows.iter().filter(|row| row.fault == number && !row.drills.is_empty()).collect();
        let (players, effective) = effective(&votes(with));
        let followings = self.followings(fault);
        let nearness = self.of_a_serve.then_some(effective);
        let mut notes = vec![counted(&followings, players, nearness)];
        if players < FEW_PLAYERS {
            notes.push(format!(
                "Too little to estimate from; go by the catalogue's reasoning: {}",
                entry.evidence_text
            ));
        }
        if let Some(found) = &found {
            notes.extend(compared(found.by_itself, found.compared, unit));
            if let (Some(chance), [first, second, ..]) =
                (found.first_beats_second, drills.as_slice())
                && chance < 0.9
            {
                notes.push(format!(
                    "The order may be chance: the chance that {} is ahead of {} is {:.0} in 100.",
                    first.done.mentioned(),
                    second.done.mentioned(),
                    100.0 * chance
                ));
            }
        }
        Some(Worked {
            fault: fault.to_owned(),
            name: entry.name.clone(),
            measure: followed.def.name.to_owned(),
            unit: unit.to_owned(),
            drills,
            plans,
            by_itself: found.as_ref().and_then(|found| found.by_itself),
            players,
            effective,
            without_plan: found.as_ref().map_or(0, |found| found.compared),
            followings,
            improvement: improvements(&self.rows, number),
            untried,
            notes,
        })
    }

    /// Drills and plans of a fault with too few players to estimate anything.
    fn stories(&self, fault: usize) -> (Vec<DrillEstimate>, Vec<DrillEstimate>) {
        let nothing = Estimate { mean: 0.0, low: 0.0, high: 0.0, above_zero: 0.5 };
        let mut plans: Vec<Vec<usize>> = Vec::new();
        for row in self.rows.iter().filter(|row| row.fault == fault && !row.drills.is_empty()) {
            let mut drills = row.drills.clone();
            drills.sort_unstable();
            if !plans.contains(&drills) {
                plans.push(drills);
            }
        }
        let mut drills: Vec<usize> = plans.iter().flatten().copied().collect();
        drills.sort_unstable();
        drills.dedup();
        let story = |drills: Vec<usize>| DrillEstimate {
            drills,
            players: 0,
            effective: 0.0,
            change: nothing,
            gain: None,
            claim: Claim::TooFew,
        };
        (
            drills.into_iter().map(|drill| story(vec![drill])).collect(),
            plans.into_iter().map(story).collect(),
        )
    }

    fn drill(
        &self,
        catalogue: &Catalogue,
        (fault, fault_id): (usize, &str),
        one: &DrillEstimate,
        estimated: bool,
        unit: &str,
    ) -> WorkedDrill {
        let did = |row: &Row| {
            row.fault == fault
                && !row.drills.is_empty()
                && if let [drill] = one.drills[..] {
                    row.drills.contains(&drill)
                } else {
                    row.drills.len() == one.drills.len()
                        && one.drills.iter().all(|drill| row.drills.contains(drill))
                }
        };
        let mut by_player: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
        for (place, row) in self.rows.iter().enumerate().filter(|(_, row)| did(row)) {
            by_player.entry(row.player).or_default().push(place);
        }
        let each = |of: &dyn Fn(usize) -> Option<f64>| -> Vec<f64> {
            by_player
                .values()
                .filter_map(|places| {
                    let values: Vec<f64> = places.iter().filter_map(|&place| of(place)).collect();
                    let count = values.len() as f64;
                    (count > 0.0).then(|| values.iter().sum::<f64>() / count)
                })
                .collect()
        };
        let typical = |values: Vec<f64>| {
            let players = values.len();
            (players > 0).then(|| Typical { median: Data::new(values).median(), players })
        };
        let limits = each(&|place| Some(self.rows[place].detectable));
        let mut dots: Vec<(f64, f64)> =
            each(&|place| Some(self.rows[place].change)).into_iter().zip(limits).collect();
        dots.sort_by(|a, b| a.0.total_cmp(&b.0));
        let players = dots.len();
        let detectable = dots.iter().map(|dot| dot.1).sum::<f64>() / (players as f64).max(1.0);
        let better: Vec<Option<bool>> = dots
            .iter()
            .map(|&(change, detectable)| beyond(change, detectable).then_some(change > 0.0))
            .collect();
        let changes = dots.into_iter().map(|dot| dot.0).collect();
        let improved = better.iter().filter(|better| **better == Some(true)).count();
        let (_, effective) =
            effective(&votes(self.rows.iter().filter(|row| did(row)).collect::<Vec<_>>()));
        let days = each(&|place| self.rows[place].improved().then_some(self.rows[place].days));
        let practice = practice(by_player.values().map(|places| {
            places.iter().filter_map(|&place| self.too_little[place]).reduce(|a, b| a && b)
        }));
        let reported = |of: &dyn Fn(usize) -> Option<f64>| typical(each(of));
        let entries: Vec<_> =
            one.drills.iter().filter_map(|&drill| catalogue.drill(&self.drills[drill])).collect();
        let done = one.drills.iter().map(|&drill| &self.drills[drill]);
        let done = done.map(|id| ShownDrill::of(catalogue, id, fault_id)).collect();
        let support = entries.first().map(|drill| drill.support.as_str());
        WorkedDrill {
            done: ShownTogether::of(done),
            changes,
            better,
            detectable,
            improved,
            players,
            effective,
            change: estimated.then_some(one.change),
            gain: one.gain.filter(|_| estimated),
            claim: one.claim,
            typical_days: typical(days)
                .filter(|days| days.players >= FEW_PLAYERS)
                .map(|days| days.median),
            rating: reported(&|place| self.reported[place].rating.map(f64::from)),
            speed_kmh: reported(&|place| self.reported[place].speed_kmh),
            first_serve_pct: reported(&|place| self.reported[place].first_serve_pct),
            trust: trust(one, players, support, unit, self.of_a_serve) + &practice.said(one.claim),
            practice,
        }
    }
}

/// How far to trust one drill's estimate.
fn trust(
    one: &DrillEstimate,
    players: usize,
    support: Option<&str>,
    unit: &str,
    of_a_serve: bool,
) -> String {
    let who = people(players);
    match (one.claim, one.gain) {
        (Claim::BeyondChance, Some(gain)) => {
            let few = if players < 10 { ", few enough that one more could shift this" } else { "" };
            format!(
                "{who}{few}: associated with {} more than would have come anyway (90 % interval {} to \
                 {}), not proven to come from it.",
                said(gain.mean, unit),
                bare(gain.low, unit),
                said(gain.high, unit)
            )
        }
        (Claim::NotBeyondChance, Some(gain)) if gain.low > 0.0 => format!(
            "{who}: perhaps more than would have come anyway ({} to {} beyond that, 90 % interval), but \
             we claim it only from a chance of 97.5 in 100.",
            bare(gain.low, unit),
            said(gain.high, unit)
        ),
        (Claim::NotBeyondChance, Some(gain)) => format!(
            "{who}: no more than might have come anyway ({} to {} beyond that, 90 % interval), \
             so nothing can be claimed.",
            bare(gain.low, unit),
            said(gain.high, unit)
        ),
        (Claim::NothingToCompare, _) => format!(
            "{who}, but too few with this fault were seen again without a plan: how much would \
             have come anyway is not known."
        ),
        _ => {
            let story = if players == 1 {
                "One player: a story, not a result".to_owned()
            } else if players < FEW_PLAYERS {
                format!("{who}: stories, not a result")
            } else if of_a_serve {
                format!("{who}, but hardly any with a serve like this one")
            } else {
                format!("{who}, but too few for this fault overall")
            };
            match support {
                Some(support) if !support.starts_with("none found") => {
                    format!("{story}. From the catalogue: {support}.")
                }
                _ => format!("{story}; no published support was found either."),
            }
        }
    }
}

/// How many plans and players stand behind it; `effective`: what they count like for the serve that
/// asks, if one does.
fn counted(followings: &Followings, players: usize, effective: Option<f64>) -> String {
    if followings.plans == 0 {
        let others = if effective.is_some() { " else" } else { "" };
        return format!("Nobody{others} has had a plan for this fault yet.");
    }
    let Followings { plans, followed_up, seen_again, missing, not_comparable } = *followings;
    let mut parts = vec![format!("{followed_up} followed up")];
    for (count, what) in [
        (seen_again, "only seen again later"),
        (missing, "not seen again in time"),
        (not_comparable, "seen again, but not comparable"),
    ] {
        if count > 0 {
            parts.push(format!("{count} {what}"));
        }
    }
    let missed = if missing > 0 { "; those not seen again may have done worse" } else { "" };
    let nearness = effective.map_or_else(String::new, |effective| {
        format!("; weighted by likeness to this serve, they count as {effective:.1}")
    });
    format!(
        "{} for this fault: {}{missed}. {} counted once each{nearness}.",
        if plans == 1 { "1 plan".to_owned() } else { format!("{plans} plans") },
        parts.join(", "),
        people(players)
    )
}

fn compared(by_itself: Option<Estimate>, players: usize, unit: &str) -> Option<String> {
    let by_itself = by_itself?;
    Some(format!(
        "Without a plan, {} with this fault changed by about {} from such a start (90 % interval \
         {} to {}): that much comes back on its own after a bad day.",
        people(players).to_lowercase(),
        said(by_itself.mean, unit),
        bare(by_itself.low, unit),
        said(by_itself.high, unit)
    ))
}

pub(super) fn people(count: usize) -> String {
    if count == 1 { "1 player".to_owned() } else { format!("{count} players") }
}

fn bare(value: f64, unit: &str) -> String {
    let places = match unit {
        "s" | "m" | "ratio" | "statures" | "" => 2,
        _ => 0,
    };
    let text = format!("{value:.places$}");
    // No minus before nothing.
    if text.trim_start_matches(['-', '0', '.']).is_empty() {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// A number with its unit: "12 deg", "0.04 s".
pub(super) fn said(value: f64, unit: &str) -> String {
    let number = bare(value, unit);
    if unit.is_empty() || unit == "ratio" { number } else { format!("{number} {unit}") }
}
