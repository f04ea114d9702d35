//! What plans ask of a player in a week, held against age and against what hurts.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Serialize;

use super::cautions::years_on;
use super::practice::MUCH_PAIN;
use crate::catalogue::{Asked, BodyPart, Catalogue, Practiser, Warning, Week, check_doses};
use crate::library::{Library, Pain, PlannedDrill, Player, Practice, StoreError};
use crate::words;

/// How long a pain that was logged counts where nothing was logged after it, days. Our estimate:
/// the time in which somebody should have asked again.
const PAIN_COUNTS_DAYS: i64 = 14;

/// What the drills of plans add up to in a week, and what speaks against it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Load {
    /// How many plans are added up.
    pub plans: usize,
    /// What they add up to.
    pub week: Week,
    /// What speaks against it, or is not known: refusals first, see
    /// [`check_doses`].
    pub warnings: Vec<Warning>,
}

impl Load {
    /// Adds up the drills of plans that run beside each other.
    ///
    /// Drills the catalogue does not have are not in the numbers, and that is said.
    #[must_use]
    pub fn of(catalogue: &Catalogue, plans: &[&[PlannedDrill]], practiser: &Practiser) -> Self {
        let (mut asked, mut unknown) = (Vec::new(), Vec::new());
        for planned in plans.iter().copied().flatten() {
            match catalogue.drill(&planned.drill) {
                Some(drill) => {
                    let own = planned.dose.trim().is_empty();
                    let dose = if own { &drill.dose } else { &planned.dose };
                    asked.push(Asked { drill, dose, place: planned.place });
                }
                None => unknown.push(catalogue.drill_name(&planned.drill)),
            }
        }
        let mut warnings = check_doses(catalogue, &asked, practiser);
        warnings.extend(unknown.into_iter().map(|name| Warning {
            drill: None,
            limit: None,
            refused: false,
            text: format!("'{name}' is not in these numbers: not in this library's catalogue."),
            sources: Vec::new(),
        }));
        Self { plans: plans.len(), week: Week::of(&asked), warnings }
    }

    /// The sum in one sentence without its stop; `None` where nothing could be counted.
    #[must_use]
    pub fn sum(&self) -> Option<String> {
        let week = &self.week;
        let counted = [
            (week.serves, "serves"),
            (week.throws, "throws"),
            (week.swings, "practice swings"),
            (week.minutes, "minutes"),
        ];
        let parts: Vec<String> = counted
            .into_iter()
            .filter(|(span, _)| span.most > 0.0)
            .map(|(span, what)| format!("{span} {what}"))
            .collect();
        if parts.is_empty() {
            return None;
        }
        let together = if self.plans > 1 { ", the plans together" } else { "" };
        let mut text = format!("a week{together}: {}", words::list(&parts));
        if week.arm_a_day > 0.0 {
            text.push_str(&format!("; at most {:.0} serves and throws on one day", week.arm_a_day));
        }
        Some(text)
    }
}

/// The player as a dose of this day is held against: the age then, and what hurt last.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn practiser(library: &Library, player: &Player, day: Date) -> Result<Practiser, StoreError> {
    Ok(practiser_of(player, day, &library.practice_of_player(player.id)?))
}

/// The same with the practice log at hand, in the order of days.
#[must_use]
pub fn practiser_of(player: &Player, day: Date, log: &[Practice]) -> Practiser {
    let age_years = years_on(day, player.born);
    Practiser { age_years, serves_a_week: None, sore: sore(log, day) }
}

/// What hurts on a day by what was logged until then, in the order of days: much pain in a place
/// counts until less is logged there, none at all is logged, or [`PAIN_COUNTS_DAYS`] are over.
fn sore(log: &[Practice], day: Date) -> Vec<BodyPart> {
    let from = day.saturating_sub(PAIN_COUNTS_DAYS.days());
    let mut sore: Vec<BodyPart> = Vec::new();
    for pain in
        log.iter().filter(|done| from <= done.day && done.day <= day).filter_map(|done| done.pain)
    {
        match pain {
            Pain { level: 0, .. } => sore.clear(),
            Pain { level, place: Some(place) } => {
                sore.retain(|known| *known != place);
                if level >= MUCH_PAIN {
                    sore.push(place);
                }
            }
            Pain { place: None, .. } => {}
        }
    }
    sore
}
