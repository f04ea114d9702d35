//! What plans ask of a player in a week, held against age and against what hurts.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Serialize;

use super::cautions::years_on;
use super::sore::sore;
use crate::catalogue::{Asked, Catalogue, Practiser, Warning, Week, check_doses};
use crate::library::{CheckIn, Library, PlannedDrill, Player, Practice, StoreError};
use crate::words;

/// How long the number of serves a week that a player told counts, days. Our estimate: a season's
/// part, after which somebody should have asked again.
const SERVES_COUNT_DAYS: i64 = 90;

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

/// The player as a dose of this day is held against: the age then, how much is served already, what
/// hurt last.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn practiser(library: &Library, player: &Player, day: Date) -> Result<Practiser, StoreError> {
    let (log, told) = (library.practice_of_player(player.id)?, library.check_ins_of(player.id)?);
    Ok(practiser_of(player, day, &log, &told))
}

/// The same with the practice log and the check-ins at hand, each in the order of days.
#[must_use]
pub fn practiser_of(
    player: &Player,
    day: Date,
    log: &[Practice],
    told: &[(Date, CheckIn)],
) -> Practiser {
    let from = day.saturating_sub(SERVES_COUNT_DAYS.days());
    let asked = told.iter().rev().filter(|(told, _)| from <= *told && *told <= day);
    Practiser {
        age_years: years_on(day, player.born),
        serves_a_week: asked.filter_map(|(_, told)| told.serves_a_week).next(),
        sore: sore(log, told, day).into_iter().map(|sore| sore.place).collect(),
    }
}
