//! The course of one fault through a squad as it was seen: who has it, who got it, who lost it, and
//! when.

use jiff::civil::Date;
use serde::Serialize;

use super::{Share, Sighting, TimeToCure, Trend, TrendError, time_to_cure, trend, wilson};
use crate::looks::days_between;

/// One look at one player for one fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FaultLook {
    /// The player, numbered from 0.
    pub player: usize,
    /// When.
    pub date: Date,
    /// Whether the fault stands.
    pub present: bool,
    /// The coach called it gone in a follow-up of that day.
    pub called_cured: bool,
}

/// The share of players with a fault in one calendar month.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MonthShare {
    /// First day of the month.
    pub month: Date,
    /// Players with it at their last look of the month, of those looked at.
    pub share: Share,
}

/// Whether a fault gets better in a squad, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum TrendVerdict {
    /// Gets better, even after allowing for all the faults that were tried.
    Better,
    /// Gets better by its own interval; among so many faults one such may be chance.
    PerhapsBetter,
    /// Chance would do as much.
    NotClear,
    /// Gets worse by its own interval; among so many faults one such may be chance.
    PerhapsWorse,
    /// Gets worse, even after allowing for all the faults that were tried.
    Worse,
    /// Too few players carry it.
    TooLittle,
}

/// Fewer players who had a fault, or were without it, carry no verdict: the intervals of
/// [`trend`] are too sure of themselves when it hangs on a handful (chosen by us; a test holds
/// the rate of false verdicts).
pub const LEAST_PLAYERS: u32 = 5;

/// A player whose fault came or went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Change {
    /// The player.
    pub player: usize,
    /// The look at which it showed.
    pub date: Date,
}

/// One fault in one squad over one period.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultCourse {
    /// Players with it at their last look.
    pub now: Share,
    /// Players who ever had it in the period.
    pub ever: Share,
    /// By month, months without a look left out.
    pub months: Vec<MonthShare>,
    /// How its odds move.
    pub trend: Result<Trend, TrendError>,
    /// What that means: better is rarer.
    pub verdict: TrendVerdict,
    /// Players who have it now and did not at their first look.
    pub new: Vec<Change>,
    /// Players who had it and do not at their last look; the date is the first look without it.
    pub cured: Vec<Change>,
    /// Days from the first sight to the first look from which on it stays away.
    pub time_to_cure: TimeToCure,
}

/// Follows one fault through `looks`, at `confidence` (for example 0.9).
///
/// A fault is gone at the first look from which on it does not stand any more, or at which a
/// follow-up calls it gone; a fault that came back is not gone. That is only seen at looks, so these
/// times are overestimates. `tried`: how many faults are looked at together;
/// [`TrendVerdict::Better`] (rarer) and [`TrendVerdict::Worse`] (more common) need an interval that
/// allows for them (Bonferroni). A verdict also needs the players themselves to agree: more who lost
/// it than got it where it gets rarer, and the other way round; else the share only moved because
/// other players were looked at. The looks must carry a trend, and [`LEAST_PLAYERS`] players must
/// have had the fault and as many been without it. Of several looks at a player on one day the last given counts.
#[must_use]
pub fn course(looks: &[FaultLook], confidence: f64, tried: usize) -> FaultCourse {
    let mut looks: Vec<FaultLook> = looks
        .iter()
        .map(|look| FaultLook { present: look.present && !look.called_cured, ..*look })
        .collect();
    looks.sort_by_key(|look| (look.player, look.date));
    looks.reverse();
    looks.dedup_by_key(|look| (look.player, look.date));
    looks.reverse();
    let each: Vec<&[FaultLook]> = looks.chunk_by(|a, b| a.player == b.player).collect();
    let of_all = |with: &dyn Fn(&[FaultLook]) -> bool| {
        let count = each.iter().filter(|own| with(own)).count();
        wilson(count as u32, each.len() as u32, confidence)
    };
    let (mut new, mut cured, mut times) = (Vec::new(), Vec::new(), Vec::new());
    for own in &each {
        let Some(first) = own.iter().find(|look| look.present) else { continue };
        let player = first.player;
        // Somebody has a first present look, so there is a last one.
        let last = own.iter().rposition(|look| look.present).unwrap_or(0);
        let end = own.get(last + 1).unwrap_or(&own[last]);
        let gone = last + 1 < own.len();
        times.push((f64::from(days_between(first.date, end.date)), gone));
        if gone {
            cured.push(Change { player, date: end.date });
        } else if !own[0].present {
            new.push(Change { player, date: first.date });
        }
    }
    let beginning = looks.iter().map(|look| look.date).min();
    let numbered: Vec<Sighting> = looks
        .iter()
        .map(|look| Sighting {
            player: look.player,
            month: beginning
                .map_or(0.0, |begin| f64::from(days_between(begin, look.date)) / DAYS_IN_MONTH),
            present: look.present,
        })
        .collect();
    let found = trend(&numbered, confidence);
    let strict = trend(&numbered, 1.0 - (1.0 - confidence) / tried.max(1) as f64);
    let ever = of_all(&|own| own.iter().any(|look| look.present));
    let once_without = of_all(&|own| own.iter().any(|look| !look.present));
    let verdict = match (&found, &strict) {
        (Ok(one), Ok(strict)) if ever.with.min(once_without.with) >= LEAST_PLAYERS => {
            match verdict(one, strict) {
                TrendVerdict::Better | TrendVerdict::PerhapsBetter if cured.len() <= new.len() => {
                    TrendVerdict::NotClear
                }
                TrendVerdict::Worse | TrendVerdict::PerhapsWorse if new.len() <= cured.len() => {
                    TrendVerdict::NotClear
                }
                clear => clear,
            }
        }
        _ => TrendVerdict::TooLittle,
    };
    FaultCourse {
        now: of_all(&|own| own.last().is_some_and(|look| look.present)),
        ever,
        months: months(&looks, confidence),
        trend: found,
        verdict,
        new,
        cured,
        time_to_cure: time_to_cure(&times, confidence),
    }
}

const DAYS_IN_MONTH: f64 = 30.4375;

fn verdict(one: &Trend, strict: &Trend) -> TrendVerdict {
    if strict.interval.1 < 0.0 {
        TrendVerdict::Better
    } else if strict.interval.0 > 0.0 {
        TrendVerdict::Worse
    } else if one.interval.1 < 0.0 {
        TrendVerdict::PerhapsBetter
    } else if one.interval.0 > 0.0 {
        TrendVerdict::PerhapsWorse
    } else {
        TrendVerdict::NotClear
    }
}

/// `looks`: by player and date.
fn months(looks: &[FaultLook], confidence: f64) -> Vec<MonthShare> {
    let mut last_of: Vec<(Date, bool)> = looks
        .chunk_by(|a, b| a.player == b.player && a.date.first_of_month() == b.date.first_of_month())
        .filter_map(|own| own.last())
        .map(|look| (look.date.first_of_month(), look.present))
        .collect();
    last_of.sort_unstable();
    last_of
        .chunk_by(|a, b| a.0 == b.0)
        .map(|month| {
            let with = month.iter().filter(|look| look.1).count();
            MonthShare {
                month: month[0].0,
                share: wilson(with as u32, month.len() as u32, confidence),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn look(player: usize, month: i8, present: bool) -> FaultLook {
        FaultLook { player, date: date(2026, month, 5), present, called_cured: false }
    }

    /// By hand.
    #[test]
    fn new_cured_and_relapsed_are_told_apart() {
        let looks = [
            // Has it all along.
            look(0, 1, true),
            look(0, 3, true),
            // Cured: seen in January, gone from March on, 59 days later.
            look(1, 1, true),
            look(1, 3, false),
            look(1, 4, false),
            // Came back: not cured, and not new either.
            look(2, 1, true),
            look(2, 2, false),
            look(2, 3, true),
            // New in March.
            look(3, 1, false),
            look(3, 3, true),
            // Called cured by the coach although the program still suspects it.
            look(4, 1, true),
            FaultLook { called_cured: true, ..look(4, 2, true) },
        ];
        let found = course(&looks, 0.9, 1);
        assert_eq!(found.new, [Change { player: 3, date: date(2026, 3, 5) }]);
        let gone: Vec<usize> = found.cured.iter().map(|change| change.player).collect();
        assert_eq!(gone, [1, 4]);
        assert_eq!((found.now.with, found.now.of), (3, 5));
        assert_eq!((found.ever.with, found.ever.of), (5, 5));
        assert_eq!((found.time_to_cure.cured, found.time_to_cure.of), (2, 5));
        let shares: Vec<(i8, u32, u32)> = found
            .months
            .iter()
            .map(|each| (each.month.month(), each.share.with, each.share.of))
            .collect();
        assert_eq!(shares, [(1, 4, 5), (2, 0, 2), (3, 3, 4), (4, 0, 1)]);
    }

    #[test]
    fn nobody_looked_at_is_said() {
        let none = course(&[], 0.9, 3);
        assert_eq!(none.now.of, 0);
        assert_eq!(none.verdict, TrendVerdict::TooLittle);
        assert!(none.months.is_empty() && none.new.is_empty() && none.cured.is_empty());
    }
}
