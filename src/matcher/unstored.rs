//! A file that is not stored and a session that is: do they show the same serves?

use super::Precedent;
use super::like::Unstored;
use crate::library::{Case, CaseId, Library, SeenServe, ServeId, StoreError, same_serves};
use crate::serve::{ClipsCompared, SAME_FROM};
use crate::work::Watch;

/// What is known of a file's own session.
#[derive(Debug, Default)]
pub(super) struct OwnSession {
    /// Serves of that day: they are no past serves.
    pub(super) serves: Vec<ServeId>,
    /// What was left out and why, or what may be the same.
    pub(super) notes: Vec<String>,
}

/// A session that may show what a file shows.
struct Alike<'a> {
    case: &'a Case,
    /// The serve that is the one in question then, where it has one.
    serve: Option<ServeId>,
    /// Serves that are the same then.
    pairs: usize,
    /// Chance that they are, 0 to 1, where the times between the serves leave one way; else 0.
    chance: f64,
}

/// The session of a file whose player is known: by its day, where that was told, else by the times
/// between its serves, as clips of one day are laid beside each other.
///
/// Among many sessions one is alike by chance the sooner: so much surer it has to be, unless the file
/// was written on its day. One serve has no rhythm, and is compared with that day's only.
pub(super) fn own_session(
    library: &Library,
    given: &Unstored<'_>,
    watch: &Watch,
) -> Result<OwnSession, StoreError> {
    let Some(player) = given.player else { return Ok(OwnSession::default()) };
    let mut cases = library.cases(Some(player))?;
    if let Some(told) = given.day {
        cases.retain(|case| case.date == told && !case.serves.is_empty());
        let note = |case: &Case| {
            let (id, day) = (case.id, case.date);
            format!("{id} of {day} is left out: what was done on the same day is no past serve")
        };
        return Ok(OwnSession {
            notes: cases.iter().map(note).collect(),
            serves: cases.into_iter().flat_map(|case| case.serves).collect(),
        });
    }
    let Some((looked, nth)) = given.file else { return Ok(OwnSession::default()) };
    let seen = looked.seen();
    cases.retain(|case| seen.len() > 1 || case.date == looked.file_date);
    let mut alike = Vec::new();
    for case in &cases {
        watch.check()?;
        alike.extend(compared(library, case, &seen, nth)?);
    }
    let written_then = |one: &Alike<'_>| one.case.date == looked.file_date;
    let is_known = |one: &Alike<'_>| {
        let tried = if written_then(one) { 1.0 } else { cases.len() as f64 };
        one.chance >= 1.0 - (1.0 - SAME_FROM) / tried
    };
    let known = alike.iter().filter(|one| is_known(one));
    if let Some(only) = known.max_by(|a, b| a.chance.total_cmp(&b.chance)) {
        let (id, day) = (only.case.id, only.case.date);
        let this = only.serve.map(|serve| format!(", this one as {serve}")).unwrap_or_default();
        let note = format!(
            "{id} of {day} is left out: by the times between them it shows the same serves{this}"
        );
        return Ok(OwnSession { serves: only.case.serves.clone(), notes: vec![note] });
    }
    // A way that rests on two contacts, one interval, fits many a session.
    let likely = alike.iter().filter(|one| one.chance > 0.0 || one.pairs > 2 || written_then(one));
    let note = |one: &Alike<'_>| {
        format!("{}; if it is, say its day, and that session is left out", may_be(one))
    };
    Ok(OwnSession { serves: Vec::new(), notes: likely.map(note).collect() })
}

/// What is said of precedents that may be the very serve of a file whose player nobody said.
pub(super) fn may_be_itself(
    library: &Library,
    given: &Unstored<'_>,
    precedents: &[Precedent],
) -> Result<Vec<String>, StoreError> {
    let Some((looked, nth)) = given.file.filter(|_| given.player.is_none()) else {
        return Ok(Vec::new());
    };
    let seen = looked.seen();
    let mut tried: Vec<CaseId> = Vec::new();
    let mut notes = Vec::new();
    for one in precedents {
        if tried.contains(&one.case) {
            continue;
        }
        tried.push(one.case);
        let case = library.case(one.case)?;
        let found = compared(library, &case, &seen, nth)?;
        notes.extend(found.filter(|alike| alike.chance > 0.0).map(|alike| {
            format!("{}; if it is, say whose it is, and that session is left out", may_be(&alike))
        }));
    }
    Ok(notes)
}

fn may_be(one: &Alike<'_>) -> String {
    let (id, day) = (one.case.id, one.case.date);
    match one.serve {
        Some(serve) => {
            format!("{serve} in {id} of {day} may be this very serve, filmed from another place")
        }
        None => format!("{id} of {day} may show the same serves, filmed from another place"),
    }
}

/// What the times between serves say of a file and a session; `None`: they show different serves.
fn compared<'a>(
    library: &Library,
    case: &'a Case,
    seen: &[SeenServe],
    nth: usize,
) -> Result<Option<Alike<'a>>, StoreError> {
    let mut stored = Vec::with_capacity(case.serves.len());
    for &serve in &case.serves {
        stored.push(library.seen_serve(serve)?);
    }
    // Serves of a clip stand together.
    stored.sort_by_key(|one| one.recording);
    let mut best: Option<Alike<'_>> = None;
    for clip in stored.chunk_by(|a, b| a.recording == b.recording) {
        let both = [clip, seen].concat();
        for pair in same_serves(&both, &[]).clips {
            let (chance, pairs) = match pair.found {
                ClipsCompared::Same(way) => (way.chance, way.pairs),
                ClipsCompared::Unsure(mut ways) => (0.0, ways.swap_remove(0).pairs),
                ClipsCompared::Apart => continue,
            };
            let serve = pairs.iter().find(|pair| pair.1 == clip.len() + nth);
            let serve = serve.and_then(|pair| both[pair.0].serve);
            if best.as_ref().is_none_or(|best| best.chance < chance) {
                best = Some(Alike { case, serve, pairs: pairs.len(), chance });
            }
        }
    }
    Ok(best)
}
