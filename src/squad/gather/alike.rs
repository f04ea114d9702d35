//! Who serves alike: comparable looks, their groups, typical serves, map and tree.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::atomic::{AtomicUsize, Ordering};

use curve_index::{Curve, DtwParams, Scratch, ValidDtwParams, barycentre, dtw};
use jiff::civil::Date;
use rayon::prelude::*;

use super::super::facts::{Alike, GroupDifference, GroupFacts, GroupFault, Placed};
use super::super::{
    Distances, DistancesError, Groups, groups, second_opinion, share_difference, squad_map, tree,
    wilson,
};
use super::{CONFIDENCE, Read, SquadError};
use crate::find::CurveSet;
use crate::library::{Named, PlayerId, ServeHead, ServeId};
use crate::looks::SetUp;
use crate::matcher::{BAND_FRAMES, Source, explain_pair, incomparable};
use crate::serve;
use crate::work::{Stage, Watch};

/// Rounds a typical serve may take; it stops earlier when nothing gets better.
const ROUNDS: usize = 10;
/// So many serves of a look are aligned with each other at most.
const MOST_OF_LOOK: usize = 48;
/// Differences told per group.
const DIFFERENCES: usize = 2;
/// Below this a group should not be trusted, above the other it is found again (Hennig 2007).
pub(crate) const SHAKY: f64 = 0.6;
pub(crate) const FIRM: f64 = 0.75;

/// `None` without a serve that has a curve.
pub(super) fn alike(read: &Read<'_>, watch: &Watch) -> Result<Option<Alike>, SquadError> {
    let Some((chosen, left_out)) = comparable(read) else { return Ok(None) };
    let Some(set) = read.library.curves(&chosen[0].channel_set)? else { return Ok(None) };
    let held: Vec<(&ServeHead, Curve<'_>)> =
        chosen.iter().filter_map(|head| Some((*head, set.curve(head.id)?))).collect();
    if held.is_empty() {
        return Ok(None);
    }
    let failed = |error: &dyn std::fmt::Display| DistancesError::Curves(error.to_string());
    let params = DtwParams::new(set.shape().channels())
        .band_frames(BAND_FRAMES)
        .check()
        .map_err(|error| failed(&error))?;
    // What is compared are looks, each by its typical serve; a look's other serves lie where it lies.
    let looks = looks(held, &params, watch)?;
    let held: Vec<(&ServeHead, Curve<'_>)> = looks.iter().map(Look::typical).collect();
    let curves: Vec<Curve<'_>> = held.iter().map(|(_, curve)| *curve).collect();
    let distances = Distances::measure(&curves, &params, watch)?;

    // Players numbered by code, as everywhere.
    let mut players: Vec<(String, PlayerId)> =
        held.iter().map(|(head, _)| (head.player_code.clone(), head.player)).collect();
    players.sort();
    players.dedup();
    let number: HashMap<PlayerId, usize> =
        players.iter().enumerate().map(|(at, (_, id))| (*id, at)).collect();
    let owners: Vec<usize> = held.iter().map(|(head, _)| number[&head.player]).collect();
    let found = groups(&distances, &owners, &read.query.groups, watch)?;
    watch.check()?;
    let map = squad_map(&distances).map_err(|error| SquadError::Map { why: error.to_string() })?;
    watch.check()?;
    let tree = tree(&distances, &owners);
    watch.check()?;

    let serves: Vec<ServeId> = held.iter().map(|(head, _)| head.id).collect();
    let codes: Vec<String> = players.into_iter().map(|(code, _)| code).collect();
    let group_of = mostly_in(&found, &owners, codes.len());
    let values: Vec<&[f32]> = curves.iter().map(Curve::values).collect();
    let second = second_opinion(&values, &owners, &group_of);
    let squad =
        Grouped { read, set: &set, params: &params, distances: &distances, curves: &curves };
    let mut facts = squad.facts(&found, &serves, &owners, &codes, &group_of, watch)?;
    let mut placed = Vec::new();
    for (at, look) in looks.iter().enumerate() {
        facts[found.labels[at]].serves += look.serves.len();
        placed.extend(look.serves.iter().enumerate().map(|(place, (head, _))| Placed {
            serve: head.id,
            player: owners[at],
            group: found.labels[at],
            place: map.places[at],
            typical: place == look.typical,
        }));
    }
    placed.sort_by_key(|placed| placed.serve);
    Ok(Some(Alike {
        serves: placed,
        looks: looks.len(),
        players: codes,
        group_of,
        left_out,
        groups: facts,
        silhouette: found.silhouette,
        tried: found.tried,
        second,
        kept: map.kept,
        tree,
    }))
}

/// What one day showed of one player in one set-up.
struct Look<'a> {
    /// By id; at least one.
    serves: Vec<(&'a ServeHead, Curve<'a>)>,
    /// Place of the serve that stands for it.
    typical: usize,
}

impl<'a> Look<'a> {
    fn typical(&self) -> (&'a ServeHead, Curve<'a>) {
        self.serves[self.typical]
    }
}

/// The looks of these serves, in the order of their first serves, with the serve of each that costs least to
/// align with the others.
fn looks<'a>(
    serves: Vec<(&'a ServeHead, Curve<'a>)>,
    params: &ValidDtwParams,
    watch: &Watch,
) -> Result<Vec<Look<'a>>, SquadError> {
    let mut found: Vec<Vec<(&ServeHead, Curve<'_>)>> = Vec::new();
    let mut places: HashMap<(PlayerId, Date, SetUp), usize> = HashMap::new();
    for (head, curve) in serves {
        let key = (head.player, head.date, SetUp::of(head));
        let place = *places.entry(key).or_insert_with(|| {
            found.push(Vec::new());
            found.len() - 1
        });
        found[place].push((head, curve));
    }
    let (done, all) = (AtomicUsize::new(0), found.len());
    let looks = found.into_par_iter().map(|serves| {
        watch.check()?;
        let typical = typical(&serves, params);
        watch.step(Stage::Looks, done.fetch_add(1, Ordering::Relaxed) + 1, all)?;
        Ok(Look { serves, typical })
    });
    looks.collect()
}

/// Place of the serve nearest to all others, ties to the first. Of very many serves an even choice stands
/// for all: a day has ten or twenty.
fn typical(serves: &[(&ServeHead, Curve<'_>)], params: &ValidDtwParams) -> usize {
    let step = serves.len().div_ceil(MOST_OF_LOOK).max(1);
    let chosen: Vec<usize> = (0..serves.len()).step_by(step).collect();
    // Of two, neither is nearer.
    if chosen.len() < 3 {
        return 0;
    }
    let mut sums = vec![0.0; chosen.len()];
    let mut scratch = Scratch::default();
    for (at, &a) in chosen.iter().enumerate() {
        for (other, &b) in chosen.iter().enumerate().skip(at + 1) {
            // Without a limit there is always an answer.
            let cost = dtw(serves[a].1, serves[b].1, params, f64::INFINITY, &mut scratch);
            let far = cost.unwrap_or(f64::INFINITY).sqrt();
            sums[at] += far;
            sums[other] += far;
        }
    }
    let nearest = (0..chosen.len()).min_by(|&a, &b| sums[a].total_cmp(&sums[b]).then(a.cmp(&b)));
    nearest.map_or(0, |at| chosen[at])
}

/// Serves to compare, and how many were left out and why.
type Comparable<'a> = (Vec<&'a ServeHead>, Vec<(usize, String)>);

/// The serves of the kind of source most players have, and how many others were left out and why. Of
/// several views of one serve the one counts that is of that very kind, else the first.
fn comparable<'a>(read: &'a Read<'_>) -> Option<Comparable<'a>> {
    let heads = &read.heads;
    type Key = (String, &'static str, Option<&'static str>);
    let key = |head: &ServeHead| -> Key {
        (head.channel_set.clone(), head.capture.name(), head.view.map(Named::name))
    };
    let source = |head: &ServeHead| Source { capture: head.capture, view: head.view };
    let mut kinds: BTreeMap<Key, &ServeHead> = BTreeMap::new();
    for head in heads {
        kinds.entry(key(head)).or_insert(head);
    }
    let goes_with = |first: &ServeHead, head: &ServeHead| {
        head.channel_set == first.channel_set && incomparable(source(first), source(head)).is_none()
    };
    let best = kinds.values().max_by_key(|first| {
        let own = || heads.iter().filter(|head| goes_with(first, head));
        let serves = read.count_of(own());
        let mut players: Vec<PlayerId> = own().map(|head| head.player).collect();
        players.sort_unstable();
        players.dedup();
        (players.len(), serves, std::cmp::Reverse(first.id))
    })?;
    let mut views: Vec<&ServeHead> = heads.iter().filter(|head| goes_with(best, head)).collect();
    views.sort_by_key(|head| (key(head) != key(best), head.id));
    let mut shown: BTreeSet<ServeId> = BTreeSet::new();
    let mut chosen = views;
    chosen.retain(|head| shown.insert(read.stroke(head)));
    chosen.sort_by_key(|head| head.id);
    let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
    for head in heads.iter().filter(|head| !goes_with(best, head)) {
        // Of a serve that is compared by another view, or was told of before, nothing is left out.
        if !shown.insert(read.stroke(head)) {
            continue;
        }
        let why = if head.channel_set == best.channel_set {
            incomparable(source(best), source(head)).unwrap_or_default()
        } else {
            format!("other channels ({}, not {})", head.channel_set, best.channel_set)
        };
        *reasons.entry(why).or_default() += 1;
    }
    Some((chosen, reasons.into_iter().map(|(why, count)| (count, why)).collect()))
}

/// The group with most of each player's looks; ties go to the larger group.
fn mostly_in(found: &Groups, owners: &[usize], players: usize) -> Vec<usize> {
    let k = found.groups.len();
    let mut counts = vec![0usize; players * k];
    for (&owner, &label) in owners.iter().zip(&found.labels) {
        counts[owner * k + label] += 1;
    }
    counts
        .chunks(k.max(1))
        .map(|own| (0..k).max_by_key(|&label| (own[label], std::cmp::Reverse(label))).unwrap_or(0))
        .collect()
}

struct Grouped<'a> {
    read: &'a Read<'a>,
    set: &'a CurveSet,
    params: &'a ValidDtwParams,
    distances: &'a Distances,
    curves: &'a [Curve<'a>],
}

impl Grouped<'_> {
    fn facts(
        &self,
        found: &Groups,
        serves: &[ServeId],
        owners: &[usize],
        codes: &[String],
        group_of: &[usize],
        watch: &Watch,
    ) -> Result<Vec<GroupFacts>, SquadError> {
        let mut facts = Vec::new();
        for (label, group) in found.groups.iter().enumerate() {
            watch.check()?;
            let row = self.read.library.serve(serves[group.medoid])?;
            let inside = |at: &usize| found.labels[*at] == label;
            let typical = self.typical(owners, codes.len(), &inside, group.medoid)?;
            let outside = |at: &usize| !inside(at);
            let differences = if found.groups.len() > 1 {
                let start = self.central(owners, codes.len(), &outside);
                let rest = self.typical(owners, codes.len(), &outside, start)?;
                let curve = serve::Curve {
                    channel_set: row.serve.curve.channel_set.clone(),
                    channels: self.set.shape().channels(),
                    values: typical.clone(),
                };
                let events = &row.serve.figures.event_samples;
                differences(&curve, events, &rest, self.params)
            } else {
                Vec::new()
            };
            let own: Vec<String> = (0..codes.len())
                .filter(|&player| group_of[player] == label)
                .map(|player| codes[player].clone())
                .collect();
            let letter = letter(label);
            let faults = self.faults(codes, group_of, label);
            let stability = (found.groups.len() > 1).then_some(group.stability);
            facts.push(GroupFacts {
                sentence: sentence(&letter, own.len(), stability, &differences, &faults),
                letter,
                players: own.len(),
                serves: 0,
                stability,
                medoid: serves[group.medoid],
                medoid_player: codes[owners[group.medoid]].clone(),
                codes: own,
                figures: row.serve.figures,
                typical,
                differences,
                faults,
            });
        }
        Ok(facts)
    }

    /// The barycentre of one serve of each player: the most central of those that `takes_part`.
    fn typical(
        &self,
        owners: &[usize],
        players: usize,
        takes_part: &dyn Fn(&usize) -> bool,
        start: usize,
    ) -> Result<Vec<f32>, SquadError> {
        let members: Vec<Curve<'_>> = self
            .one_each(owners, players, takes_part)
            .into_iter()
            .map(|at| self.curves[at])
            .collect();
        let found = barycentre(&members, self.curves[start], self.params, ROUNDS)
            .map_err(|error| DistancesError::Curves(error.to_string()))?;
        Ok(found.values)
    }

    fn one_each(
        &self,
        owners: &[usize],
        players: usize,
        takes_part: &dyn Fn(&usize) -> bool,
    ) -> Vec<usize> {
        let mut own = vec![Vec::new(); players];
        for at in (0..owners.len()).filter(takes_part) {
            own[owners[at]].push(at);
        }
        own.iter().filter_map(|own| self.most_central(own)).collect()
    }

    fn most_central(&self, items: &[usize]) -> Option<usize> {
        let sum = |at: usize| -> f64 {
            let row = self.distances.row(at);
            items.iter().map(|&other| f64::from(row[other])).sum()
        };
        items
            .iter()
            .map(|&at| (sum(at), at))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
            .map(|(_, at)| at)
    }

    fn central(
        &self,
        owners: &[usize],
        players: usize,
        takes_part: &dyn Fn(&usize) -> bool,
    ) -> usize {
        self.most_central(&self.one_each(owners, players, takes_part)).unwrap_or(0)
    }

    /// Faults at each player's last look, in the group and outside it.
    fn faults(&self, codes: &[String], group_of: &[usize], label: usize) -> Vec<GroupFault> {
        let read = self.read;
        // Per fault: with and of, here and in the rest.
        let mut counts: BTreeMap<&str, [u32; 2]> = BTreeMap::new();
        let mut of = [0u32; 2];
        for (number, player) in read.players.iter().enumerate() {
            let Ok(at) = codes.binary_search(&player.code) else { continue };
            let side = usize::from(group_of[at] != label);
            of[side] += 1;
            if let Some(last) = read.cases_of(number).next_back() {
                for fault in &last.standing {
                    counts.entry(&fault.fault).or_default()[side] += 1;
                }
            }
        }
        let mut faults: Vec<GroupFault> = counts
            .into_iter()
            .map(|(fault, with)| {
                let share = |side: usize| wilson(with[side], of[side], CONFIDENCE);
                let (here, rest) = (share(0), share(1));
                GroupFault {
                    fault: fault.to_owned(),
                    name: read.fault_name(fault),
                    here,
                    rest,
                    apart: share_difference(&here, &rest),
                }
            })
            .collect();
        faults.sort_by(|a, b| {
            let clear = |fault: &GroupFault| fault.apart.is_some_and(|apart| apart.is_clear());
            let by = |fault: &GroupFault| match fault.apart {
                Some(apart) => apart.by,
                None => fault.here.share().unwrap_or(0.0),
            };
            (clear(b).cmp(&clear(a))).then(by(b).total_cmp(&by(a))).then(a.fault.cmp(&b.fault))
        });
        faults
    }
}

/// "A", "B" ... "Z", "AA" ...
fn letter(number: usize) -> String {
    let last = char::from(b'A' + (number % 26) as u8);
    if number < 26 { last.to_string() } else { format!("{}{last}", letter(number / 26 - 1)) }
}

fn differences(
    typical: &serve::Curve,
    events: &[f32; 6],
    rest: &[f32],
    params: &ValidDtwParams,
) -> Vec<GroupDifference> {
    let Some(why) = explain_pair(typical, events, rest, params) else { return Vec::new() };
    why.differences
        .iter()
        .take(DIFFERENCES)
        .map(|difference| GroupDifference {
            channel: difference.channel,
            label: difference.label,
            phase: difference.phase_label,
            // The explanation says other minus this.
            by: -difference.mean,
            unit: difference.unit,
        })
        .collect()
}

fn sentence(
    letter: &str,
    players: usize,
    stability: Option<f64>,
    differences: &[GroupDifference],
    faults: &[GroupFault],
) -> String {
    let who = if players == 1 { "1 player".to_owned() } else { format!("{players} players") };
    let mut parts = Vec::new();
    if !differences.is_empty() {
        let told: Vec<String> = differences
            .iter()
            .map(|one| {
                let way = if one.by < 0.0 { "less" } else { "more" };
                let amount = if one.unit == "deg" {
                    format!("{:.0} deg", one.by.abs())
                } else {
                    format!("{:.0} % of body height", 100.0 * one.by.abs())
                };
                format!("{} {amount} {way} in the {}", one.label, one.phase)
            })
            .collect();
        parts.push(format!("typically {}", told.join(", ")));
    }
    let clear: Vec<String> = faults
        .iter()
        .filter(|fault| fault.apart.is_some_and(|apart| apart.is_clear() && apart.by > 0.0))
        .take(2)
        .map(|fault| {
            format!(
                "{} in {} of {} here, {} of {} elsewhere",
                fault.name.to_lowercase(),
                fault.here.with,
                fault.here.of,
                fault.rest.with,
                fault.rest.of
            )
        })
        .collect();
    if !clear.is_empty() {
        parts.push(clear.join("; "));
    } else if stability.is_some() {
        parts.push("no fault is clearly more common here".to_owned());
    } else {
        parts.push("no groups stand out: the squad is all one".to_owned());
    }
    let sure = match stability {
        Some(value) if value < SHAKY => {
            " It does not come back when the squad is resampled: do not rely on it."
        }
        Some(value) if value < FIRM => " It comes back only roughly when the squad is resampled.",
        _ => "",
    };
    let alone = if stability.is_some() && players == 1 {
        " One player, with a style of their own."
    } else {
        ""
    };
    format!("Group {letter}, {who}: {}.{sure}{alone}", parts.join("; "))
}
