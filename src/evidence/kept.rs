//! The outcomes of all players on file: derived, kept in step with the store player by player.
//!
//! `outcomes/outcomes.parts` has two parts for each fault, what came of plans and what came by itself, so
//! that a question reads what it asks for. Players whose rows changed after the file was written are
//! gathered from the store, in place of what stands there.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::outcomes::{Outcome, all_players, followed, outcomes_of};
use crate::catalogue::Catalogue;
use crate::files::decode;
use crate::find::LATE_PLAYERS;
use crate::library::parts::{Covers, Parts};
use crate::library::{Finding, Library, PlayerId, StoreError, WriteError};
use crate::looks::Snapshot;
use crate::work::{Stage, Watch};

const NAME: &str = "outcomes";
const PLANNED: &str = "planned";
const BY_ITSELF: &str = "by itself";
/// Counts up when the file must be built anew though neither store nor catalogue changed.
const OUTCOMES_FORMAT: u32 = 2;

/// Which outcomes a question needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Needs {
    All,
    /// Only what came of plans.
    Plans,
}

/// The name of a part: what came of a fault with a plan for it, or without.
fn part_name(fault: &str, planned: bool) -> String {
    format!("{fault} {}", if planned { PLANNED } else { BY_ITSELF })
}

/// The fault of a part, and whether it was planned for; `None`: no name of a part.
fn of_part(name: &str) -> Option<(&str, bool)> {
    let (fault, what) = name.split_once(' ')?;
    [(PLANNED, true), (BY_ITSELF, false)]
        .into_iter()
        .find_map(|(word, planned)| (what == word).then_some((fault, planned)))
}

/// What the outcomes depend on beside the store: how each fault is followed, how much each drill asks.
fn base(library: &Library, catalogue: &Catalogue) -> String {
    let mut hasher = blake3::Hasher::new();
    for (fault, followed) in followed(catalogue) {
        let by =
            (followed.def.id, followed.def.within_player_sd.to_bits(), followed.sign.to_bits());
        hasher.update(format!("{fault} {by:?}\n").as_bytes());
    }
    for drill in catalogue.drills() {
        hasher.update(format!("{} {:?}\n", drill.id, drill.dose).as_bytes());
    }
    let faults = hasher.finalize().to_hex();
    let program = env!("CARGO_PKG_VERSION");
    format!("{} {OUTCOMES_FORMAT} {program} {}", library.uid(), &faults[..16])
}

fn file(library: &Library, catalogue: &Catalogue) -> Result<Option<Parts>, StoreError> {
    let Some(now) = library.last_player_change()? else { return Ok(None) };
    let base = base(library, catalogue);
    let parts = Parts::open(&library.parts_path(NAME));
    Ok(parts.filter(|parts| parts.covers().base == base && parts.covers().change <= now))
}

/// What a file holds of what is needed; `None` if any of it is damaged.
fn on_file(parts: &Parts, needs: Needs) -> Option<Vec<Outcome>> {
    let mut found = Vec::new();
    for name in parts.names() {
        let (fault, planned) = of_part(name)?;
        if needs == Needs::All || planned {
            let (own, _) = decode::<Vec<Outcome>, { 1 << 28 }>(&parts.read(name)?).ok()?;
            let fault: Arc<str> = fault.into();
            found.extend(own.into_iter().map(|one| Outcome { fault: fault.clone(), ..one }));
        }
    }
    Some(found)
}

/// The outcomes of everybody, by player and in the order of each.
pub(super) fn outcomes(
    snapshot: &Snapshot<'_>,
    catalogue: &Catalogue,
    needs: Needs,
    watch: &Watch,
) -> Result<Vec<Outcome>, StoreError> {
    let library = snapshot.library();
    let known = file(library, catalogue)?
        .and_then(|parts| Some((on_file(&parts, needs)?, parts.covers().change)));
    let Some((mut found, change)) = known else {
        let mut all = from_store(library, catalogue, watch)?;
        all.retain(|outcome| needs == Needs::All || outcome.planned);
        return Ok(all);
    };
    let late = library.players_changed_after(change)?;
    found.retain(|outcome| late.binary_search(&PlayerId(outcome.player)).is_err());
    for (done, &player) in late.iter().enumerate() {
        watch.step(Stage::Players, done, late.len())?;
        let own = outcomes_of(snapshot, catalogue, player)?;
        found.extend(own.into_iter().filter(|one| needs == Needs::All || one.planned));
    }
    found.sort_by_key(|outcome| (outcome.player, outcome.place));
    Ok(found)
}

/// The same without the file.
fn from_store(
    library: &Library,
    catalogue: &Catalogue,
    watch: &Watch,
) -> Result<Vec<Outcome>, StoreError> {
    let players = all_players(library)?;
    let mut found = Vec::new();
    for (done, &player) in players.iter().enumerate() {
        watch.step(Stage::Players, done, players.len())?;
        // Each with a view of its own: what was read of one is no use for the next.
        found.extend(outcomes_of(&Snapshot::new(library), catalogue, player)?);
    }
    Ok(found)
}

fn write(library: &Library, catalogue: &Catalogue, all: &[Outcome]) -> Result<(), StoreError> {
    let Some(change) = library.last_player_change()? else { return Ok(()) };
    let mut parts: BTreeMap<String, Vec<&Outcome>> = BTreeMap::new();
    for outcome in all {
        parts.entry(part_name(&outcome.fault, outcome.planned)).or_default().push(outcome);
    }
    let encoded: Result<Vec<(String, Vec<u8>)>, StoreError> = parts
        .into_iter()
        .map(|(name, own)| {
            let bytes = bincode::serde::encode_to_vec(own, bincode::config::standard());
            let failed = |error: bincode::error::EncodeError| StoreError::Curves {
                path: library.parts_path(NAME),
                why: error.to_string(),
            };
            Ok((name, bytes.map_err(failed)?))
        })
        .collect();
    library.write_parts(NAME, Covers { base: base(library, catalogue), change }, &encoded?)
}

/// Brings the outcomes on file up to the store, if whoever opened it may write and nobody is building just
/// then. Without it nothing is lost: a question gathers what the file lacks.
///
/// # Errors
/// [`StoreError`] if the store cannot be read or the file not be written.
pub fn sync_outcomes(library: &Library) -> Result<(), StoreError> {
    if !library.is_writable() {
        return Ok(());
    }
    let catalogue = library.catalogue()?;
    if is_in_step(library, &catalogue)? {
        return Ok(());
    }
    let Some(_turn) = library.try_to_build()? else { return Ok(()) };
    let _one_state = library.hold_state()?;
    if is_in_step(library, &catalogue)? {
        return Ok(());
    }
    let watch = Watch::default();
    let all = outcomes(&Snapshot::new(library), &catalogue, Needs::All, &watch)?;
    write(library, &catalogue, &all)
}

fn is_in_step(library: &Library, catalogue: &Catalogue) -> Result<bool, StoreError> {
    let Some(parts) = file(library, catalogue)? else { return Ok(false) };
    Ok(library.players_changed_after(parts.covers().change)?.len() <= LATE_PLAYERS)
}

/// Holds the outcomes on file against the store; those that disagree are written anew, with `rebuild` in
/// any case. Cost: gathers what came of every plan.
///
/// # Errors
/// [`StoreError`] if the store cannot be read; [`StoreError::Stopped`]. Damage is a finding, not an error.
pub fn verify_outcomes(
    library: &Library,
    rebuild: bool,
    watch: &Watch,
) -> Result<Vec<Finding>, WriteError> {
    let building = if library.is_writable() { library.wait_to_build()? } else { None };
    let _one_state = library.hold_state()?;
    let catalogue = library.catalogue()?;
    let stored = from_store(library, &catalogue, watch)?;
    let path = library.parts_path(NAME);
    let known = file(library, &catalogue)?;
    let held = match &known {
        Some(parts) => on_file(parts, Needs::All)
            .map(|_| outcomes(&Snapshot::new(library), &catalogue, Needs::All, watch))
            .transpose()?,
        None => None,
    };
    let problem = match held {
        Some(held) if held == stored => None,
        Some(_) => Some("what came of plans is not what the store says"),
        // Of another state of the catalogue or the program: written anew by the next change.
        None if known.is_none() && Parts::open(&path).is_some() => None,
        None if stored.is_empty() || !path.exists() => None,
        None => Some("the file of what came of plans is damaged"),
    };
    let mut repaired = false;
    if building.is_some() && (rebuild || problem.is_some()) {
        write(library, &catalogue, &stored)?;
        repaired = true;
    }
    let finding = |problem: &str| Finding {
        place: NAME,
        problem: problem.to_owned(),
        repaired,
        remedy: None,
    };
    Ok(problem.map(finding).into_iter().collect())
}
