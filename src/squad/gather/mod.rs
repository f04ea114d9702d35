//! From the library to everything a head coach asks about a squad.

mod alike;
mod faults;
mod follow_up;
mod see_next;
#[cfg(test)]
pub(crate) mod tests;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;

use self::faults::FaultSeen;
use super::facts::{PlayerDay, Squad, SquadFault, TrendBasis};
use super::{DistancesError, GroupsParams};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions};
use crate::evidence::{Evidence, Worked};
use crate::find::{Filter, FilterError};
use crate::library::{
    Case, CaseId, FaultLabel, Library, Player, PlayerId, RecordingId, ServeHead, ServeId,
    StoreError,
};
use crate::looks::Snapshot;
use crate::matcher;
use crate::remedy::Remedy;
use crate::words::list;
use crate::work::{Stage, Stopped, Watch};

/// Coverage of every interval here.
pub const CONFIDENCE: f64 = 0.9;

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
struct SeenCase {
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
    seen: Vec<SeenCase>,
    heads: Vec<ServeHead>,
    /// Of serves that several clips show, the first view of each.
    strokes: HashMap<ServeId, ServeId>,
}

impl Read<'_> {
    /// The serve that somebody hit, by its first view: filmed from several places it is one.
    fn stroke(&self, head: &ServeHead) -> ServeId {
        self.strokes.get(&head.id).copied().unwrap_or(head.id)
    }

    /// How many serves these are, each counted once however many cameras saw it.
    fn count_of<'h>(&self, heads: impl IntoIterator<Item = &'h ServeHead>) -> usize {
        heads.into_iter().map(|head| self.stroke(head)).collect::<BTreeSet<_>>().len()
    }

    fn fault_name(&self, id: &str) -> String {
        self.catalogue.fault_name(id)
    }

    /// A player's cases, by date.
    fn cases_of(&self, player: usize) -> impl DoubleEndedIterator<Item = &SeenCase> {
        let from = self.seen.partition_point(|seen| seen.player < player);
        let to = self.seen.partition_point(|seen| seen.player <= player);
        self.seen[from..to].iter()
    }

    fn day(&self, player: usize, date: Date) -> PlayerDay {
        PlayerDay { player: self.players[player].code.clone(), date }
    }
}

/// Gathers a squad: its groups of similar serves, its faults over time, whom to see next.
///
/// A fault stands in a case as [`matcher::standing`] says: confirmed or added by a coach, or
/// suspected and not rejected. [`Snapshot::over`] says for each player who had it whether it got
/// better over the looks that `query` keeps; only a fault no measure shows is followed by what was
/// seen and rated. `watch` is told cases read, faults followed, pairs of serves compared and squads
/// resampled, the last two from any thread. Nothing is written.
///
/// Groups are made of looks, each by its typical serve, and all serves are placed by their look. A serve
/// that was filmed from several places counts once, and stands on the map by the view that most players
/// were filmed from.
/// Cost: one read of the squad's cases and curves, the alignments within each look, and n^2 / 2 for n
/// looks. Measured: see [`crate::squad`].
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
    let mut followed = BTreeMap::new();
    for (at, &id) in ids.iter().enumerate() {
        watch.step(Stage::Faults, at, ids.len())?;
        followed.insert(id, FaultSeen::of(&read, id)?);
    }
    let mut faults: Vec<SquadFault> =
        followed.iter().map(|(id, fault)| fault.facts(&read, id, ids.len())).collect();
    faults.sort_by(|a, b| {
        (b.now.with, b.ever.with).cmp(&(a.now.with, a.ever.with)).then(a.name.cmp(&b.name))
    });
    let slices = faults::slices(&read, &faults, &followed);
    let follow_up = follow_up::follow_up(&read)?;
    let see_next = see_next::see_next(&read, &follow_up, &faults, watch)?;
    let worked = worked(&read, &faults, watch)?;
    let alike = alike::alike(&read, watch)?;
    let notes = notes(&read, &faults, &selection.ignored);
    let ages = read.players.iter().map(|player| Age::on(query.today, player.born));
    let ages: Vec<Age> = ages.collect();
    let mut cautions = Cautions::of(catalogue, Age::of_all(ages));
    for fault in see_next.iter().flat_map(|one| &one.reasons).filter_map(|r| r.loads.as_ref()) {
        cautions.loading(catalogue, fault);
    }
    Ok(Squad {
        name: query.squad.clone(),
        filter: query.filter.to_string(),
        from: query.from.or_else(|| dates().min()),
        to: query.to.or_else(|| dates().max()),
        today: query.today,
        players: read.players.len(),
        serves: read.count_of(&read.heads),
        looks: read.seen.len(),
        selection,
        notes,
        alike,
        faults,
        slices,
        follow_up,
        worked,
        see_next,
        cautions,
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
            seen.push(SeenCase { player, case: case.clone(), standing });
        }
    }
    seen.sort_by_key(|seen| (seen.player, seen.case.date, seen.case.id));
    let mut clips: BTreeMap<CaseId, BTreeSet<RecordingId>> = BTreeMap::new();
    for head in &heads {
        clips.entry(head.case).or_default().insert(head.recording);
    }
    let mut strokes = HashMap::new();
    for head in heads.iter().filter(|head| clips[&head.case].len() > 1) {
        strokes.insert(head.id, snapshot.views(head.case)?.stroke(head.id));
    }
    Ok(Read { library, snapshot, catalogue, query, players, seen, heads, strokes })
}

/// What came of the squad's own plans, in the order of `faults`.
fn worked(
    read: &Read<'_>,
    faults: &[SquadFault],
    watch: &Watch,
) -> Result<Vec<Worked>, StoreError> {
    let cases: BTreeSet<CaseId> = read.seen.iter().map(|seen| seen.case.id).collect();
    let among = Evidence::gather_among(
        &read.snapshot,
        read.catalogue,
        |_, case| cases.contains(&case),
        watch,
    )?;
    let told = faults.iter().filter_map(|fault| among.worked(read.catalogue, &fault.fault));
    Ok(told.filter(|worked| worked.players > 0).collect())
}

fn notes(read: &Read<'_>, faults: &[SquadFault], ignored: &[crate::find::Ignored]) -> Vec<String> {
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
    let unmeasured: Vec<String> = faults
        .iter()
        .filter(|fault| matches!(fault.basis, TrendBasis::LabelsAndRatings { .. }))
        .map(|fault| fault.name.to_lowercase())
        .collect();
    if !unmeasured.is_empty() {
        notes.push(format!(
            "no measure shows {}: whether {} better rests on what was seen and rated",
            list(&unmeasured),
            if unmeasured.len() == 1 { "it gets" } else { "they get" }
        ));
    }
    notes
}
