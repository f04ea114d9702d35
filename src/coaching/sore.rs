//! What hurts on a day, by what was told and logged until then.

use std::fmt;

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Serialize;

use super::practice::MUCH_PAIN;
use crate::catalogue::{BodyPart, Drill};
use crate::library::{Ache, CheckIn, HurtsWhen, Library, Pain, PlayerId, Practice, StoreError};
use crate::words;

/// How long a pain counts where nothing was told or logged after it, days. Our estimate: the time in
/// which somebody should have asked again.
const PAIN_COUNTS_DAYS: i64 = 14;

/// A place that hurts too much to be loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Sore {
    /// The place.
    pub place: BodyPart,
    /// Pain of 10.
    pub level: u8,
    /// The day it was said.
    pub said: Date,
}

/// What to do about it, as a sentence without its stop.
impl fmt::Display for Sore {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { place, level, said } = self;
        let (place, said) = (place.label(), words::day(*said));
        write!(
            f,
            "The {place} hurts, {level} of 10 on {said}: see a licensed clinician, and leave out \
             what loads the {place} until then"
        )
    }
}

/// Whether practice is not gone on with: much pain, or any at rest (our estimate).
pub(super) fn is_sore(ache: &Ache) -> bool {
    ache.level >= MUCH_PAIN || ache.when == Some(HurtsWhen::AtRest)
}

/// Whether a drill loads a place that hurts, so that it is not offered.
#[must_use]
pub fn loads_sore(drill: &Drill, sore: &[Sore]) -> bool {
    sore.iter().any(|one| drill.loads.contains(&one.place))
}

/// What hurts a player too much on a day.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn sore_on(library: &Library, player: PlayerId, day: Date) -> Result<Vec<Sore>, StoreError> {
    let (log, told) = (library.practice_of_player(player)?, library.check_ins_of(player)?);
    Ok(sore(&log, &told, day))
}

/// What hurts too much on a day by what was logged and told until then, each in the order of days.
/// Much pain in a place counts until less is logged there, none at all is logged, the player is
/// asked again, or [`PAIN_COUNTS_DAYS`] are over. On one day the log comes after what was told: an
/// all-clear in the morning does not take back what practice then did.
pub(super) fn sore(log: &[Practice], told: &[(Date, CheckIn)], day: Date) -> Vec<Sore> {
    enum Said<'a> {
        Told(&'a [Ache]),
        Logged(Pain),
    }
    let told =
        told.iter().filter_map(|(day, told)| Some((*day, Said::Told(told.pain.as_deref()?))));
    let logged = log.iter().filter_map(|done| Some((done.day, Said::Logged(done.pain?))));
    let mut said: Vec<(Date, Said<'_>)> = told.chain(logged).collect();
    // Stable: of one day what was told stays first.
    said.sort_by_key(|(day, _)| *day);
    let from = day.saturating_sub(PAIN_COUNTS_DAYS.days());
    let mut sore: Vec<Sore> = Vec::new();
    for (said, what) in said.into_iter().filter(|(said, _)| from <= *said && *said <= day) {
        match what {
            Said::Told(pain) => {
                sore.clear();
                let aches = pain.iter().filter(|ache| is_sore(ache));
                sore.extend(aches.map(|ache| Sore { place: ache.place, level: ache.level, said }));
            }
            Said::Logged(Pain { level: 0, .. }) => sore.clear(),
            Said::Logged(Pain { level, place: Some(place) }) => {
                sore.retain(|known| known.place != place);
                if level >= MUCH_PAIN {
                    sore.push(Sore { place, level, said });
                }
            }
            Said::Logged(Pain { place: None, .. }) => {}
        }
    }
    sore
}
