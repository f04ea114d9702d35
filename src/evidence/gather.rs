//! From the library to the table of rows.

use std::collections::{BTreeMap, HashMap};
use std::rc::Rc;

use jiff::civil::Date;
use ndarray::Array1;

use super::improve::{Improvements, improvements};
use super::near::{Who, distances, weights};
use super::row::{Row, STYLES, Unseen};
use super::style::{Ways, mean_curve};
use crate::catalogue::Catalogue;
use crate::coaching::standing;
use crate::library::{Case, Library, Plan, Player, PlayerId, ServeHead, ServeId, StoreError};
use crate::looks::{Followed, Mean, Reported, SEEN_AGAIN_DAYS, Snapshot, days_between};
use crate::matcher::{LikeError, Subject};
use crate::serve::Curve;
use crate::work::{Stage, Watch};

/// A plan goes on working, or fading, for this long: what follows it is not called "by itself".
const LASTING_DAYS: i32 = 90;

/// How many plans for a fault could be followed, and how many could not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct Followings {
    /// Plans for the fault among other players.
    pub plans: usize,
    /// Of those with a follow-up that shows the measure.
    pub followed_up: usize,
    /// Without one that shows it, but a later review of the player does.
    pub seen_again: usize,
    /// Not seen again in time.
    pub missing: usize,
    /// Seen again, but the measure cannot be compared (not measurable, another set-up).
    pub not_comparable: usize,
}

/// Everything past cases tell about one serve's faults, gathered once.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// One look each; players, faults and drills numbered.
    pub rows: Vec<Row>,
    /// Beside each row.
    pub reported: Vec<Reported>,
    /// Beside each row: whether too little was practised to tell; `None`: nobody knows how much.
    pub too_little: Vec<Option<bool>>,
    /// Looks that were never followed by another though there was time for one.
    pub unseen: Vec<Unseen>,
    /// Catalogue ids of the faults, by number.
    pub faults: Vec<String>,
    /// Catalogue ids of the drills, by number.
    pub drills: Vec<String>,
    /// By number of the fault.
    pub followings: BTreeMap<usize, Followings>,
    /// The asking serve's own value of each fault's measure, larger is better.
    pub starts: BTreeMap<usize, f64>,
    /// Whether a serve asks: then rows weigh by how near they lie to it, else all alike.
    pub of_a_serve: bool,
}

impl Evidence {
    /// Gathers the looks at every fault of `catalogue` among all other players: cases in which the
    /// fault stands (confirmed or added by a coach, or suspected and not rejected) and which were
    /// looked at again, weighted by how near they lie to `subject`.
    ///
    /// What came of a plan is [`Snapshot::came_of`]'s answer, so that plans nobody reported on count
    /// as well. A case without a plan for a fault, now or in the 90 days before, shows what comes by
    /// itself. Cost: one pass over all cases, one alignment per serve of those that count, and the
    /// principal components of one curve per player. `watch` is told each player.
    ///
    /// # Errors
    /// [`LikeError`] if the serve is unknown or the store cannot be read.
    pub fn gather(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        subject: Subject<'_>,
        watch: &Watch,
    ) -> Result<Self, LikeError> {
        watch.check()?;
        let heads = snapshot.all_heads()?;
        let asks = Asks::of(snapshot, catalogue, subject)?;
        let others = |player: &Player, _: &Case| Some(player.id) != asks.player;
        let gathering = Gathering::of(snapshot, catalogue, &others, watch)?;
        watch.check()?;
        let mut rows = weighted(snapshot.library(), &asks, &heads, &gathering.found, watch)?;
        watch.check()?;
        let styles = styles(snapshot.library(), &asks, &heads, &gathering.found)?;
        for (row, style) in rows.iter_mut().zip(styles) {
            row.style = style;
        }
        Ok(gathering.into_evidence(catalogue, rows, asks.starts, true))
    }

    /// Gathers the looks at every fault of `catalogue` in those cases that `counts` keeps, no serve
    /// asking: every player weighs alike, and what to expect is told for where they started.
    ///
    /// What came of a plan is read off as in [`Evidence::gather`]. Cost: one pass over all cases.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn gather_among(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        counts: impl Fn(&Player, &Case) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        snapshot.all_heads()?;
        let gathering = Gathering::of(snapshot, catalogue, &counts, watch)?;
        let rows = gathering.found.iter().map(|found| found.row.clone()).collect();
        Ok(gathering.into_evidence(catalogue, rows, BTreeMap::new(), false))
    }

    /// Share of players with this fault who improved under a plan for it, overall and near the
    /// serve that asks, and without a plan; see [`improvements`]. Nothing for an unknown fault.
    #[must_use]
    pub fn improvement(&self, fault: &str) -> Improvements {
        self.number(fault)
            .map_or_else(Improvements::default, |fault| improvements(&self.rows, fault))
    }

    /// How many plans for this fault could be followed.
    #[must_use]
    pub fn followings(&self, fault: &str) -> Followings {
        self.number(fault).and_then(|n| self.followings.get(&n).copied()).unwrap_or_default()
    }

    pub(super) fn number(&self, fault: &str) -> Option<usize> {
        self.faults.iter().position(|id| id == fault)
    }
}

/// The faults that a measure shows, by their place in the catalogue.
fn followed(catalogue: &Catalogue) -> impl Iterator<Item = (usize, Followed)> {
    let faults = catalogue.faults().enumerate();
    faults.filter_map(|(place, fault)| Some((place, Followed::of(fault)?)))
}

/// The serve that asks.
struct Asks {
    player: Option<PlayerId>,
    who: Who,
    curve: Curve,
    /// Where it starts, by fault, larger is better; of a stored serve its day's best look.
    starts: BTreeMap<usize, f64>,
}

impl Asks {
    fn of(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        subject: Subject<'_>,
    ) -> Result<Self, LikeError> {
        let library = snapshot.library();
        let starts = |mean: &dyn Fn(Followed) -> Option<Mean>| {
            let of = |(fault, followed)| Some((fault, followed_start(followed, &mean(followed)?)));
            followed(catalogue).filter_map(of).collect()
        };
        match subject {
            Subject::Stored(id) => {
                let head = snapshot.head(id)?;
                let case = library.case(head.case)?;
                let session = snapshot.session(case.date, &case.serves)?;
                Ok(Self {
                    player: Some(head.player),
                    who: Who::of(&library.player(head.player)?, &head),
                    curve: library.curve(id)?,
                    starts: starts(&|followed| session.best(followed.def, None).map(|best| best.1)),
                })
            }
            Subject::Unstored(given) => {
                let player = given.player.map(|id| library.player(id)).transpose()?;
                let readings = given.serve.readings.as_slice();
                Ok(Self {
                    player: given.player,
                    who: Who {
                        level: player.as_ref().and_then(|player| player.level),
                        age: None,
                        hand: given.serve.hand,
                        source: given.source,
                    },
                    curve: given.serve.curve.clone(),
                    starts: starts(&|followed| Mean::of([readings], followed.def.id)),
                })
            }
        }
    }
}

/// A start of a fault's measure, larger is better.
fn followed_start(followed: Followed, mean: &Mean) -> f64 {
    followed.sign * mean.value
}

/// A row without its weight.
struct Unweighted {
    row: Row,
    who: Who,
    serves: Vec<ServeId>,
    reported: Reported,
    too_little: Option<bool>,
}

struct Gathering<'a> {
    snapshot: &'a Snapshot<'a>,
    catalogue: &'a Catalogue,
    found: Vec<Unweighted>,
    unseen: Vec<Unseen>,
    /// Day of the library's last recording: until then a player could have been seen again.
    last: Option<Date>,
    drills: Vec<String>,
    followings: BTreeMap<usize, Followings>,
}

impl<'a> Gathering<'a> {
    /// Looks at every fault in the cases that count.
    fn of(
        snapshot: &'a Snapshot<'a>,
        catalogue: &'a Catalogue,
        counts: &dyn Fn(&Player, &Case) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        let mut gathering = Self {
            snapshot,
            catalogue,
            found: Vec::new(),
            unseen: Vec::new(),
            last: snapshot.all_heads()?.values().map(|head| head.date).max(),
            drills: Vec::new(),
            followings: BTreeMap::new(),
        };
        let faults: Vec<&str> = catalogue.faults().map(|fault| fault.id.as_str()).collect();
        let players = snapshot.library().players()?;
        for (done, player) in players.iter().enumerate() {
            watch.step(Stage::Players, done, players.len())?;
            let cases = snapshot.cases(player.id)?;
            for (place, _) in cases.iter().enumerate().filter(|(_, case)| counts(player, case)) {
                for (fault, followed) in followed(catalogue) {
                    gathering.look(player, &cases, place, (fault, faults[fault]), followed)?;
                }
            }
        }
        Ok(gathering)
    }

    fn into_evidence(
        self,
        catalogue: &Catalogue,
        rows: Vec<Row>,
        starts: BTreeMap<usize, f64>,
        of_a_serve: bool,
    ) -> Evidence {
        Evidence {
            rows,
            reported: self.found.iter().map(|found| found.reported).collect(),
            too_little: self.found.iter().map(|found| found.too_little).collect(),
            unseen: self.unseen,
            faults: catalogue.faults().map(|fault| fault.id.clone()).collect(),
            drills: self.drills,
            followings: self.followings,
            starts,
            of_a_serve,
        }
    }

    /// What came of one fault after one case, if it stands there: of each plan for it, or by itself.
    fn look(
        &mut self,
        player: &Player,
        cases: &[Case],
        place: usize,
        (fault, id): (usize, &str),
        followed: Followed,
    ) -> Result<(), StoreError> {
        let case = &cases[place];
        let tried = |case: &Case, plan: &Plan| plan.limiting_fault == id && case.was_tried(plan);
        let mut planned = case.plans.iter().filter(|plan| tried(case, plan)).peekable();
        if planned.peek().is_some() {
            return planned
                .try_for_each(|plan| self.follow(player, case, Some(plan), (fault, id), followed));
        }
        let lasting = |earlier: &Case| {
            earlier.plans.iter().any(|plan| {
                tried(earlier, plan) && days_between(plan.start, case.date) <= LASTING_DAYS
            })
        };
        if !standing(&case.labels).iter().any(|label| label.fault == id)
            || cases[..place].iter().any(lasting)
        {
            return Ok(());
        }
        self.follow(player, case, None, (fault, id), followed)
    }

    fn follow(
        &mut self,
        player: &Player,
        case: &Case,
        plan: Option<&Plan>,
        (fault, id): (usize, &str),
        followed: Followed,
    ) -> Result<(), StoreError> {
        let came = self.snapshot.came_of(self.catalogue, case, plan, id)?;
        let drills = self.numbered(plan);
        let change = came.verdict.change();
        if plan.is_some() {
            let counts = self.followings.entry(fault).or_default();
            counts.plans += 1;
            *match (&came.later, change) {
                (None, _) => &mut counts.missing,
                (Some(_), None) => &mut counts.not_comparable,
                (Some(later), Some(_)) if later.follow_up.is_some() => &mut counts.followed_up,
                (Some(_), Some(_)) => &mut counts.seen_again,
            } += 1;
        }
        // A plan without a drill shows neither what a drill did nor what comes by itself.
        if plan.is_some() && drills.is_empty() {
            return Ok(());
        }
        let began = plan.map_or(case.date, |plan| plan.start);
        let player_number = player.id.0.cast_unsigned();
        let Some(later) = &came.later else {
            let time = self.last.map_or(0, |last| days_between(began, last));
            if !case.serves.is_empty() && time > *SEEN_AGAIN_DAYS.end() {
                self.unseen.push(Unseen { player: player_number, fault, drills });
            }
            return Ok(());
        };
        let (Some(change), Some(&first)) = (change, case.serves.first()) else { return Ok(()) };
        self.found.push(Unweighted {
            row: Row {
                player: player_number,
                fault,
                drills,
                start: followed_start(followed, &change.before),
                change: followed.sign * change.by(),
                detectable: change.detectable,
                weight: 1.0,
                days: f64::from(days_between(began, later.date)),
                style: None,
            },
            who: Who::of(player, &*self.snapshot.head(first)?),
            serves: case.serves.clone(),
            reported: later.reported,
            too_little: came
                .practised
                .filter(|done| done.asked.is_some())
                .map(|done| done.is_too_little()),
        });
        Ok(())
    }

    /// The drills of a plan, numbered, each once and ascending.
    fn numbered(&mut self, plan: Option<&Plan>) -> Vec<usize> {
        let mut drills = Vec::new();
        for planned in plan.map_or(&[][..], |plan| &plan.drills) {
            let known = self.drills.iter().position(|drill| *drill == planned.drill);
            drills.push(known.unwrap_or_else(|| {
                self.drills.push(planned.drill.clone());
                self.drills.len() - 1
            }));
        }
        drills.sort_unstable();
        drills.dedup();
        drills
    }
}

/// The rows with their weights: the nearest serve of each case says how near the case lies.
fn weighted(
    library: &Library,
    asks: &Asks,
    heads: &HashMap<ServeId, Rc<ServeHead>>,
    found: &[Unweighted],
    watch: &Watch,
) -> Result<Vec<Row>, LikeError> {
    let mut among: Vec<ServeId> = found
        .iter()
        .flat_map(|found| &found.serves)
        .filter(|id| heads.get(id).is_some_and(|head| head.channel_set == asks.curve.channel_set))
        .copied()
        .collect();
    among.sort_unstable();
    among.dedup();
    let far = distances(library, &asks.curve, &among, watch)?;
    let placed: Vec<(Option<f64>, Who)> = found
        .iter()
        .map(|found| {
            let nearest = found.serves.iter().filter_map(|id| far.get(id).copied());
            (nearest.min_by(f64::total_cmp), found.who)
        })
        .collect();
    // The width of the kernel belongs to each fault: its cases are what the question is about.
    let mut rows: Vec<Row> = found.iter().map(|found| found.row.clone()).collect();
    let mut by_fault: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (place, row) in rows.iter().enumerate() {
        by_fault.entry(row.fault).or_default().push(place);
    }
    for places in by_fault.values() {
        let cases: Vec<_> = places.iter().map(|&place| placed[place]).collect();
        for (&place, weight) in places.iter().zip(weights(&asks.who, &cases)) {
            rows[place].weight = weight;
        }
    }
    Ok(rows)
}

/// Where each case lies from the serve that asks, in the ways in which players' serves differ most;
/// `None` where its curves are of other channels, and everywhere with too few players.
fn styles(
    library: &Library,
    asks: &Asks,
    heads: &HashMap<ServeId, Rc<ServeHead>>,
    found: &[Unweighted],
) -> Result<Vec<Option<[f64; STYLES]>>, LikeError> {
    let nowhere = Ok(vec![None; found.len()]);
    let Some(set) = library.curves(&asks.curve.channel_set)? else { return nowhere };
    let own = |serves: &[ServeId]| {
        let alike = serves.iter().filter(|id| {
            heads.get(id).is_some_and(|head| head.channel_set == asks.curve.channel_set)
        });
        mean_curve(alike.filter_map(|&id| Some(set.curve(id)?.values())))
    };
    // Several faults of one case share its curves.
    let mut cases: BTreeMap<&[ServeId], (u64, Array1<f64>)> = BTreeMap::new();
    for one in found {
        if !cases.contains_key(&one.serves[..])
            && let Some(curve) = own(&one.serves)
        {
            cases.insert(&one.serves, (one.row.player, curve));
        }
    }
    let mut players: BTreeMap<u64, (Array1<f64>, f64)> = BTreeMap::new();
    for (player, curve) in cases.values() {
        let sum = players.entry(*player).or_insert_with(|| (Array1::zeros(curve.len()), 0.0));
        sum.0 += curve;
        sum.1 += 1.0;
    }
    let means: Vec<Array1<f64>> = players.into_values().map(|(sum, count)| sum / count).collect();
    let (Some(ways), Some(asking)) = (Ways::of(&means), mean_curve([asks.curve.values.as_slice()]))
    else {
        return nowhere;
    };
    let asking = ways.score(&asking);
    Ok(found
        .iter()
        .map(|one| {
            let score = ways.score(&cases.get(&one.serves[..])?.1);
            Some(std::array::from_fn(|way| score[way] - asking[way]))
        })
        .collect())
}
