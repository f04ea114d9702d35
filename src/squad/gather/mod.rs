//! From the library to everything a head coach asks about a squad.

mod alike;
mod follow_up;
mod see_next;
#[cfg(test)]
pub(crate) mod tests;

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use super::facts::{FaultFacts, PlayerDay, Slice, SliceFault, Squad};
use super::{DistancesError, FaultLook, GroupsParams, course};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions};
use crate::evidence::{Evidence, Worked};
use crate::find::{AGE_BANDS, Filter, FilterError};
use crate::library::{
    Case, CaseId, FaultLabel, Level, Library, Named, Player, PlayerId, ServeHead, ServeId,
    StoreError,
};
use crate::looks::Snapshot;
use crate::matcher;
use crate::remedy::Remedy;
use crate::work::{Stage, Stopped, Watch};

/// Coverage of every interval here.
pub const CONFIDENCE: f64 = 0.9;
/// A follow-up's rating that means "cured".
const CURED: i8 = 2;

/// What is asked.
#[derive(Debug, Clone)]
pub struct SquadQuery {
    /// The squad; `None`: everybody.
    pub squad: Option<String>,
    /// Which serves take part.
    pub filter: Filter,
    /// First day that counts.
    pub from: Option<Date>,
    /// Last day that counts.
    pub to: Option<Date>,
    /// The day it is asked on: what is overdue depends on it.
    pub today: Date,
    /// How to group.
    pub groups: GroupsParams,
}

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SquadError {
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The filter asks for what this library does not have.
    #[error(transparent)]
    Filter(#[from] FilterError),
    /// No distances.
    #[error(transparent)]
    Distances(#[from] DistancesError),
    /// A period that ends before it begins.
    #[error("period: there is no day from {from} to {to}; swap the two")]
    Period {
        /// First day.
        from: Date,
        /// Last day.
        to: Date,
    },
    /// A name that a filter cannot hold.
    #[error("squad: '{found}' holds a quotation mark; name squads without one")]
    Name {
        /// What was given.
        found: String,
    },
    /// The work was stopped.
    #[error("{0}")]
    Stopped(#[from] Stopped),
    /// The map's equations were not solved.
    #[error("map: {why}; {}", Remedy::LeaveOutOdd)]
    Map {
        /// Why.
        why: String,
    },
}

/// A case and what is wrong in it.
struct Seen {
    player: usize,
    case: Case,
    standing: Vec<FaultLabel>,
}

/// Everything that was read, players by code.
struct Read<'a> {
    library: &'a Library,
    snapshot: Snapshot<'a>,
    catalogue: &'a Catalogue,
    query: &'a SquadQuery,
    players: Vec<Player>,
    /// By player and date.
    seen: Vec<Seen>,
    heads: Vec<ServeHead>,
}

impl Read<'_> {
    fn fault_name(&self, id: &str) -> String {
        self.catalogue.fault_name(id)
    }

    /// A player's cases, by date.
    fn cases_of(&self, player: usize) -> impl DoubleEndedIterator<Item = &Seen> {
        self.seen.iter().filter(move |seen| seen.player == player)
    }

    fn day(&self, player: usize, date: Date) -> PlayerDay {
        PlayerDay { player: self.players[player].code.clone(), date }
    }

    /// Every look at every player for one fault: the cases, and follow-ups on days without one.
    fn looks(&self, fault: &str) -> Vec<FaultLook> {
        let mut looks = Vec::new();
        for seen in &self.seen {
            let present = seen.standing.iter().any(|label| label.fault == fault);
            let (player, date) = (seen.player, seen.case.date);
            looks.push(FaultLook { player, date, present, called_cured: false });
        }
        for seen in &self.seen {
            for plan in seen.case.plans.iter().filter(|plan| plan.limiting_fault == fault) {
                let answers = seen.case.follow_ups.iter().filter(|one| one.plan == plan.id);
                for answer in answers.filter(|one| self.query.to.is_none_or(|to| one.date <= to)) {
                    let called_cured = answer.rating.is_some_and(|rating| rating >= CURED);
                    let same = looks
                        .iter_mut()
                        .find(|look| look.player == seen.player && look.date == answer.date);
                    match same {
                        Some(look) => look.called_cured |= called_cured,
                        // A rating is a look; a follow-up that only counts sessions is none.
                        None if answer.rating.is_some() => looks.push(FaultLook {
                            player: seen.player,
                            date: answer.date,
                            present: !called_cured,
                            called_cured,
                        }),
                        None => {}
                    }
                }
            }
        }
        looks
    }
}

/// Gathers a squad: its groups of similar serves, its faults over time, whom to see next.
///
/// A fault stands in a case as [`matcher::standing`] says: confirmed or added by a coach, or
/// suspected and not rejected. `watch` is told cases read, pairs of serves compared and squads
/// resampled, the last two from any thread. Nothing is written.
///
/// Cost: one read of the squad's cases and curves and n^2 / 2 alignments for n serves. Measured on
/// two cores: see `examples/squad_scale.rs`.
///
/// # Errors
/// [`SquadError`]; a squad without serves is no error: [`Squad::selection`] says why.
pub fn gather(
    library: &Library,
    catalogue: &Catalogue,
    query: &SquadQuery,
    watch: &Watch,
) -> Result<Squad, SquadError> {
    let filter = whole_filter(query)?;
    let selection = library.select(&filter)?;
    let read = read(library, catalogue, query, &selection.serves, watch)?;
    let dates = || read.seen.iter().map(|seen| seen.case.date);
    let ids: BTreeSet<&str> = read
        .seen
        .iter()
        .flat_map(|seen| &seen.standing)
        .map(|label| label.fault.as_str())
        .collect();
    let looks: BTreeMap<&str, Vec<FaultLook>> =
        ids.iter().map(|&id| (id, read.looks(id))).collect();
    let mut faults: Vec<FaultFacts> =
        looks.iter().map(|(id, looks)| fault_facts(&read, id, looks, ids.len())).collect();
    faults.sort_by(|a, b| {
        (b.now.with, b.ever.with).cmp(&(a.now.with, a.ever.with)).then(a.name.cmp(&b.name))
    });
    let slices = slices(&read, &faults, &looks);
    let follow_up = follow_up::follow_up(&read)?;
    let see_next = see_next::see_next(&read, &follow_up, &faults, watch)?;
    let worked = worked(&read, &faults, watch)?;
    let alike = alike::alike(&read, watch)?;
    let notes = notes(&read, &selection.ignored);
    let ages = read.players.iter().map(|player| Age::on(query.today, player.born));
    let ages: Vec<Age> = ages.collect();
    Ok(Squad {
        name: query.squad.clone(),
        filter: query.filter.to_string(),
        from: query.from.or_else(|| dates().min()),
        to: query.to.or_else(|| dates().max()),
        today: query.today,
        players: read.players.len(),
        serves: read.heads.len(),
        looks: read.seen.len(),
        selection,
        notes,
        alike,
        faults,
        slices,
        follow_up,
        worked,
        see_next,
        cautions: Cautions::of(catalogue, Age::of_all(ages)),
    })
}

fn whole_filter(query: &SquadQuery) -> Result<Filter, SquadError> {
    let mut filter = Filter::default();
    if let Some(name) = &query.squad {
        if name.contains('"') {
            return Err(SquadError::Name { found: name.clone() });
        }
        filter = filter.and(Filter::parse(&format!("squad=\"{name}\""))?);
    }
    if let (Some(from), Some(to)) = (query.from, query.to)
        && from > to
    {
        return Err(SquadError::Period { from, to });
    }
    for (sign, day) in [(">=", query.from), ("<=", query.to)] {
        if let Some(day) = day {
            filter = filter.and(Filter::parse(&format!("date{sign}{day}"))?);
        }
    }
    Ok(filter.and(query.filter.clone()))
}

fn read<'a>(
    library: &'a Library,
    catalogue: &'a Catalogue,
    query: &'a SquadQuery,
    serves: &[ServeId],
    watch: &Watch,
) -> Result<Read<'a>, SquadError> {
    let wanted: BTreeSet<ServeId> = serves.iter().copied().collect();
    let heads: Vec<ServeHead> =
        library.serve_heads()?.into_iter().filter(|head| wanted.contains(&head.id)).collect();
    let ids: BTreeSet<PlayerId> = heads.iter().map(|head| head.player).collect();
    let mut players: Vec<Player> =
        ids.into_iter().map(|id| library.player(id)).collect::<Result<_, _>>()?;
    players.sort_by(|a, b| a.code.cmp(&b.code));
    let cases: BTreeSet<CaseId> = heads.iter().map(|head| head.case).collect();
    let snapshot = Snapshot::new(library);
    let mut seen = Vec::with_capacity(cases.len());
    for (player, known) in players.iter().enumerate() {
        watch.step(Stage::Players, player, players.len())?;
        let own = snapshot.cases(known.id)?;
        for case in own.iter().filter(|case| cases.contains(&case.id)) {
            let standing = matcher::standing(&case.labels);
            seen.push(Seen { player, case: case.clone(), standing });
        }
    }
    seen.sort_by_key(|seen| (seen.player, seen.case.date, seen.case.id));
    Ok(Read { library, snapshot, catalogue, query, players, seen, heads })
}

fn fault_facts(read: &Read<'_>, id: &str, looks: &[FaultLook], tried: usize) -> FaultFacts {
    let found = course(looks, CONFIDENCE, tried);
    let told = |changes: &[super::Change]| {
        changes.iter().map(|change| read.day(change.player, change.date)).collect()
    };
    FaultFacts {
        fault: id.to_owned(),
        name: read.fault_name(id),
        now: found.now,
        ever: found.ever,
        verdict: found.verdict,
        no_trend_because: found.trend.err().map(|why| why.to_string()),
        trend: found.trend.ok(),
        new: told(&found.new),
        cured: told(&found.cured),
        time_to_cure: found.time_to_cure,
        months: found.months,
    }
}

/// What came of the squad's own plans, in the order of `faults`.
fn worked(
    read: &Read<'_>,
    faults: &[FaultFacts],
    watch: &Watch,
) -> Result<Vec<Worked>, StoreError> {
    let cases: BTreeSet<CaseId> = read.seen.iter().map(|seen| seen.case.id).collect();
    let among = Evidence::gather_among(
        &read.snapshot,
        read.catalogue,
        |_, case| cases.contains(&case.id),
        watch,
    )?;
    let told = faults.iter().filter_map(|fault| among.worked(read.catalogue, &fault.fault));
    Ok(told.filter(|worked| worked.players > 0).collect())
}

/// The faults by level, age band and coach.
fn slices(
    read: &Read<'_>,
    faults: &[FaultFacts],
    looks: &BTreeMap<&str, Vec<FaultLook>>,
) -> Vec<Slice> {
    let mut kinds: Vec<(&'static str, Vec<(usize, String)>)> = Vec::new();
    let of = |value: &dyn Fn(usize) -> (usize, String)| -> Vec<(usize, String)> {
        (0..read.players.len()).map(value).collect()
    };
    kinds.push((
        "level",
        of(&|player| match read.players[player].level {
            Some(level) => (order(level), level.name().to_owned()),
            None => (usize::MAX, "not known".to_owned()),
        }),
    ));
    kinds.push((
        "age",
        of(&|player| {
            let last = read.cases_of(player).next_back().map(|seen| seen.case.date.year());
            let born = read.players[player].born.map(|born| born.year());
            let age = last.zip(born).map(|(last, born)| i64::from(last - born));
            age.and_then(|age| {
                AGE_BANDS.iter().position(|&(_, low, high)| (low..=high).contains(&age))
            })
            .map_or((usize::MAX, "not known".to_owned()), |at| (at, AGE_BANDS[at].0.to_owned()))
        }),
    ));
    kinds.push((
        "coach",
        of(&|player| match &read.players[player].coach {
            Some(coach) => (0, coach.clone()),
            None => (usize::MAX, "not known".to_owned()),
        }),
    ));
    let mut slices = Vec::new();
    for (by, values) in kinds {
        let distinct: BTreeSet<&(usize, String)> = values.iter().collect();
        for value in distinct {
            let inside = |look: &&FaultLook| values[look.player] == *value;
            let told = faults
                .iter()
                .map(|fault| {
                    let own: Vec<FaultLook> = looks
                        .get(fault.fault.as_str())
                        .map(|looks| looks.iter().filter(inside).copied().collect())
                        .unwrap_or_default();
                    let found = course(&own, CONFIDENCE, faults.len());
                    SliceFault {
                        fault: fault.fault.clone(),
                        name: fault.name.clone(),
                        now: found.now,
                        verdict: found.verdict,
                        trend: found.trend.ok(),
                    }
                })
                .collect();
            slices.push(Slice {
                by,
                value: value.1.clone(),
                players: values.iter().filter(|other| *other == value).count(),
                faults: told,
            });
        }
    }
    slices
}

fn order(level: Level) -> usize {
    Level::NAMES.iter().position(|(known, _)| *known == level).unwrap_or(usize::MAX)
}

fn notes(read: &Read<'_>, ignored: &[crate::find::Ignored]) -> Vec<String> {
    let mut notes = Vec::new();
    if !ignored.is_empty() {
        let all: Vec<String> = ignored.iter().map(ToString::to_string).collect();
        notes.push(format!("words left out of the search: {}", all.join(", ")));
    }
    let open: Vec<&str> = read
        .players
        .iter()
        .filter(|player| !player.consent.keep)
        .map(|player| player.code.as_str())
        .collect();
    if !open.is_empty() {
        let shown = open.iter().take(8).copied().collect::<Vec<_>>().join(", ");
        let more = if open.len() > 8 { " and others" } else { "" };
        notes.push(format!(
            "{} of {} players have no recorded consent to keep recordings ({shown}{more}); ask \
             before the next one",
            open.len(),
            read.players.len()
        ));
    }
    let few = (0..read.players.len()).filter(|&player| read.cases_of(player).count() < 2).count();
    if few > 0 {
        notes.push(format!(
            "{few} of {} players had only one look in this period: nothing can be said about \
             whether they changed",
            read.players.len()
        ));
    }
    notes
}
