//! Each fault of a squad over time, for all and by level, age and coach.

use std::collections::{BTreeMap, BTreeSet};

use super::super::facts::{PlayerMoved, Slice, SliceFault, SquadFault, TrendBasis};
use super::super::{Change, FaultCourse, FaultLook, PlayersMoved, TrendVerdict, course};
use super::{CONFIDENCE, Read};
use crate::find::AGE_BANDS;
use crate::library::{Case, Level, Named, StoreError};
use crate::looks::{Followed, Over};

/// A follow-up's rating that says the fault is gone.
const CURED: i8 = 2;

/// What came of each player who had the fault; `None` for one who was looked at only once.
type CameOf = Vec<(usize, Option<Over>)>;

/// One fault as it was seen, and how its measure moved.
pub(super) struct FaultSeen {
    looks: Vec<FaultLook>,
    /// Where a measure shows it: its name, and what came of the players.
    moved: Option<(&'static str, CameOf)>,
}

impl FaultSeen {
    pub(super) fn of(read: &Read<'_>, fault: &str) -> Result<Self, StoreError> {
        let followed = Followed::by_id(read.catalogue, fault);
        let looks = read.looks(fault, followed.is_some());
        let Some(followed) = followed else { return Ok(Self { looks, moved: None }) };
        let had: BTreeSet<usize> =
            looks.iter().filter(|look| look.present).map(|look| look.player).collect();
        let came = had.into_iter().map(|player| {
            let own: Vec<&Case> = read.cases_of(player).map(|seen| &seen.case).collect();
            Ok((player, read.snapshot.over(read.catalogue, &own, fault)?))
        });
        let moved = Some((followed.def.name, came.collect::<Result<_, StoreError>>()?));
        Ok(Self { looks, moved })
    }

    /// Its course through the players `inside`, what says whether it gets better, and what that says.
    fn course(
        &self,
        inside: &dyn Fn(usize) -> bool,
        tried: usize,
    ) -> (FaultCourse, TrendBasis, TrendVerdict) {
        let looks = self.looks.iter().filter(|look| inside(look.player));
        let found = course(&looks.copied().collect::<Vec<_>>(), CONFIDENCE, tried);
        let Some((measure, players)) = &self.moved else {
            let (trend, no_trend_because) = match &found.trend {
                Ok(trend) => (Some(*trend), None),
                Err(why) => (None, Some(why.to_string())),
            };
            let verdict = found.verdict;
            return (found, TrendBasis::LabelsAndRatings { trend, no_trend_because }, verdict);
        };
        let players = players.iter().filter(|(player, _)| inside(*player));
        let moved = PlayersMoved::count(measure, players.map(|(_, over)| over.as_ref()));
        (found, TrendBasis::Measure(moved), moved.verdict(CONFIDENCE, tried))
    }

    /// All of it, for the squad.
    pub(super) fn facts(&self, read: &Read<'_>, id: &str, tried: usize) -> SquadFault {
        let (found, basis, verdict) = self.course(&|_| true, tried);
        let told = |changes: &[Change]| {
            changes.iter().map(|change| read.day(change.player, change.date)).collect()
        };
        let players = self.moved.iter().flat_map(|(_, players)| players);
        let moved = players.filter_map(|(player, over)| {
            let player = read.players[*player].code.clone();
            Some(PlayerMoved { player, over: over.clone()? })
        });
        SquadFault {
            fault: id.to_owned(),
            name: read.fault_name(id),
            now: found.now,
            ever: found.ever,
            basis,
            verdict,
            moved_players: moved.collect(),
            new: told(&found.new),
            cured: told(&found.cured),
            time_to_cure: found.time_to_cure,
            months: found.months,
        }
    }
}

impl Read<'_> {
    /// Every look at every player for one fault: the cases and, where no measure shows it, what its
    /// follow-ups were rated, also on days without a case.
    fn looks(&self, fault: &str, measured: bool) -> Vec<FaultLook> {
        let mut looks = Vec::new();
        for seen in &self.seen {
            let present = seen.standing.iter().any(|label| label.fault == fault);
            let (player, date) = (seen.player, seen.case.date);
            looks.push(FaultLook { player, date, present, called_cured: false });
        }
        for seen in self.seen.iter().filter(|_| !measured) {
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

/// The faults by level, age band and coach.
pub(super) fn slices(
    read: &Read<'_>,
    faults: &[SquadFault],
    followed: &BTreeMap<&str, FaultSeen>,
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
            let inside = |player: usize| values[player] == *value;
            let told = faults.iter().filter_map(|fault| {
                let seen = followed.get(fault.fault.as_str())?;
                let (found, basis, verdict) = seen.course(&inside, faults.len());
                Some(SliceFault {
                    fault: fault.fault.clone(),
                    name: fault.name.clone(),
                    now: found.now,
                    basis,
                    verdict,
                })
            });
            slices.push(Slice {
                by,
                value: value.1.clone(),
                players: values.iter().filter(|other| *other == value).count(),
                faults: told.collect(),
            });
        }
    }
    slices
}

fn order(level: Level) -> usize {
    Level::NAMES.iter().position(|(known, _)| *known == level).unwrap_or(usize::MAX)
}
