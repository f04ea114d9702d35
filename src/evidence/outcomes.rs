//! What came of every plan, and of every fault nobody planned for, player by player.
//!
//! Whose question it is does not matter here: [`super::Evidence`] chooses among these and weighs them.

use std::sync::Arc;

use jiff::civil::{Date, date};
use serde::{Deserialize, Serialize};

use super::near::Who;
use crate::catalogue::Catalogue;
use crate::coaching::standing;
use crate::library::{Case, CaseId, Library, Plan, Player, PlayerId, ServeId, StoreError};
use crate::looks::{Followed, Reported, Snapshot, days_between};

/// A plan goes on working, or fading, for this long: what follows it is not called "by itself".
const LASTING_DAYS: i32 = 90;

/// From where the days of outcomes are counted.
pub(super) const EPOCH: Date = date(1970, 1, 1);

/// What came of one plan, or of one fault of one case that nobody planned for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Outcome {
    pub(super) player: i64,
    /// Among the player's, in the order of cases, faults and plans.
    pub(super) place: u32,
    pub(super) case: i64,
    /// The same for all of one part of a file, whose name says it.
    #[serde(skip)]
    pub(super) fault: Arc<str>,
    pub(super) planned: bool,
    /// Ids, each once, ascending.
    pub(super) drills: Vec<String>,
    /// From which day on a later look counts, in days from [`EPOCH`].
    pub(super) began: i32,
    /// Whether the case has serves.
    pub(super) recorded: bool,
    pub(super) again: Option<SeenAgain>,
}

/// The later look that decides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct SeenAgain {
    pub(super) by_follow_up: bool,
    pub(super) days: i32,
    rating: Option<i8>,
    speed_kmh: Option<f64>,
    first_serve_pct: Option<f64>,
    /// Whether too little was practised to tell; `None`: nobody knows how much.
    pub(super) too_little: Option<bool>,
    /// `None` where nothing compares.
    pub(super) compared: Option<Compared>,
}

impl SeenAgain {
    pub(super) fn reported(&self) -> Reported {
        let Self { rating, speed_kmh, first_serve_pct, .. } = *self;
        Reported { rating, speed_kmh, first_serve_pct }
    }
}

/// How the fault's measure moved, and who and where the player was before.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Compared {
    /// Larger is better.
    pub(super) start: f64,
    pub(super) change: f64,
    pub(super) detectable: f64,
    pub(super) who: Who,
    /// The serves of the case, by channel set.
    serves: Vec<(String, Vec<i64>)>,
}

impl Compared {
    /// The case's serves with curves of this channel set.
    pub(super) fn serves_in(&self, channel_set: &str) -> impl Iterator<Item = ServeId> + '_ {
        let own = self.serves.iter().find(|(set, _)| set == channel_set);
        own.into_iter().flat_map(|(_, serves)| serves.iter().copied().map(ServeId))
    }
}

/// The faults that a measure shows.
pub(super) fn followed(catalogue: &Catalogue) -> impl Iterator<Item = (&str, Followed)> {
    catalogue.faults().filter_map(|fault| Some((fault.id.as_str(), Followed::of(fault)?)))
}

/// All outcomes of a player, in order; none of one who is gone.
pub(super) fn outcomes_of(
    snapshot: &Snapshot<'_>,
    catalogue: &Catalogue,
    player: PlayerId,
) -> Result<Vec<Outcome>, StoreError> {
    let cases = snapshot.cases(player)?;
    if cases.is_empty() {
        return Ok(Vec::new());
    }
    let player = snapshot.library().player(player)?;
    let mut gathering = Gathering { snapshot, catalogue, player, found: Vec::new() };
    for place in 0..cases.len() {
        for (fault, followed) in followed(catalogue) {
            gathering.look(&cases, place, fault, followed)?;
        }
    }
    Ok(gathering.found)
}

/// All players, by id.
pub(super) fn all_players(library: &Library) -> Result<Vec<PlayerId>, StoreError> {
    library.list("listing players", "SELECT id FROM players ORDER BY id", [], |row| {
        row.get(0).map(PlayerId)
    })
}

struct Gathering<'a> {
    snapshot: &'a Snapshot<'a>,
    catalogue: &'a Catalogue,
    player: Player,
    found: Vec<Outcome>,
}

impl Gathering<'_> {
    /// What came of one fault after one case, if it stands there: of each plan for it, or by itself.
    fn look(
        &mut self,
        cases: &[Case],
        place: usize,
        fault: &str,
        followed: Followed,
    ) -> Result<(), StoreError> {
        let case = &cases[place];
        let tried = |case: &Case, plan: &Plan| plan.limiting_fault == fault && case.was_tried(plan);
        let mut planned = case.plans.iter().filter(|plan| tried(case, plan)).peekable();
        if planned.peek().is_some() {
            return planned.try_for_each(|plan| self.follow(case, Some(plan), fault, followed));
        }
        let lasting = |earlier: &Case| {
            earlier.plans.iter().any(|plan| {
                tried(earlier, plan) && days_between(plan.start, case.date) <= LASTING_DAYS
            })
        };
        if !standing(&case.labels).iter().any(|label| label.fault == fault)
            || cases[..place].iter().any(lasting)
        {
            return Ok(());
        }
        self.follow(case, None, fault, followed)
    }

    fn follow(
        &mut self,
        case: &Case,
        plan: Option<&Plan>,
        fault: &str,
        followed: Followed,
    ) -> Result<(), StoreError> {
        let came = self.snapshot.came_of(self.catalogue, case, plan, fault)?;
        let began = plan.map_or(case.date, |plan| plan.start);
        let mut drills: Vec<String> = plan
            .iter()
            .flat_map(|plan| &plan.drills)
            .map(|planned| planned.drill.clone())
            .collect();
        drills.sort_unstable();
        drills.dedup();
        let again = match &came.later {
            None => None,
            Some(later) => {
                let compared = match (came.verdict.change(), case.serves.first()) {
                    (Some(change), Some(&first)) => Some(Compared {
                        start: followed.sign * change.before.value,
                        change: followed.sign * change.by(),
                        detectable: change.detectable,
                        who: Who::of(&self.player, &*self.snapshot.head(first)?),
                        serves: self.by_set(&case.serves)?,
                    }),
                    _ => None,
                };
                let Reported { rating, speed_kmh, first_serve_pct } = later.reported;
                Some(SeenAgain {
                    by_follow_up: later.follow_up.is_some(),
                    days: days_between(began, later.date),
                    rating,
                    speed_kmh,
                    first_serve_pct,
                    too_little: came
                        .practised
                        .filter(|done| done.asked.is_some())
                        .map(|done| done.is_too_little()),
                    compared,
                })
            }
        };
        self.found.push(Outcome {
            player: self.player.id.0,
            place: u32::try_from(self.found.len()).unwrap_or(u32::MAX),
            case: case.id.0,
            fault: fault.into(),
            planned: plan.is_some(),
            drills,
            began: days_between(EPOCH, began),
            recorded: !case.serves.is_empty(),
            again,
        });
        Ok(())
    }

    fn by_set(&self, serves: &[ServeId]) -> Result<Vec<(String, Vec<i64>)>, StoreError> {
        let mut sets: Vec<(String, Vec<i64>)> = Vec::new();
        for &serve in serves {
            let head = self.snapshot.head(serve)?;
            match sets.iter_mut().find(|(set, _)| *set == head.channel_set) {
                Some((_, own)) => own.push(serve.0),
                None => sets.push((head.channel_set.clone(), vec![serve.0])),
            }
        }
        Ok(sets)
    }
}

impl Outcome {
    /// Whose it is, and the case it is of.
    pub(super) fn of_case(&self) -> (PlayerId, CaseId) {
        (PlayerId(self.player), CaseId(self.case))
    }
}
