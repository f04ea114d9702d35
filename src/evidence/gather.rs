//! From the library to the table of rows.

use std::collections::{BTreeMap, HashMap};

use jiff::Unit;
use jiff::civil::Date;
use ndarray::Array1;

use super::change::Followed;
use super::improve::{Improvements, improvements};
use super::near::{Who, distances, weights};
use super::row::{Row, STYLES, Unseen};
use super::style::{Ways, mean_curve};
use crate::catalogue::Catalogue;
use crate::library::{
    Case, Library, Plan, Player, PlayerId, ServeHead, ServeId, Setting, StoreError,
};
use crate::matcher::{LikeError, Source, Subject, incomparable, standing};
use crate::serve::{Curve, ServeReading};
use crate::work::{Stage, Watch};

/// Days in which a later recording shows what a plan, or nothing, was followed by. A review a month
/// is usual; a week is too soon, half a season too late. Common practice, no source.
const SEEN_AGAIN_DAYS: std::ops::RangeInclusive<i32> = 7..=150;
/// A plan goes on working, or fading, for this long: what follows it is not called "by itself".
const LASTING_DAYS: i32 = 90;

/// Results of one player beside the measure, as recorded at the follow-up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reported {
    /// Coach's rating, -2 to 2.
    pub rating: Option<i8>,
    /// Serve speed later minus first, km/h.
    pub speed_kmh: Option<f64>,
    /// First serves in later minus first, percentage points.
    pub first_serve_pct: Option<f64>,
}

/// How many plans for a fault could be followed, and how many could not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct Followings {
    /// Plans for the fault among other players.
    pub plans: usize,
    /// Of those with a follow-up that shows the measure.
    pub followed_up: usize,
    /// Without one, but a later recording of the player shows the measure.
    pub seen_again: usize,
    /// Never seen again.
    pub missing: usize,
    /// Seen again, but the measure cannot be compared (not measurable, another kind of source).
    pub not_comparable: usize,
}

/// Everything past cases tell about one serve's faults, gathered once.
#[derive(Debug, Clone)]
pub struct Evidence {
    /// One look each; players, faults and drills numbered.
    pub rows: Vec<Row>,
    /// Beside each row.
    pub reported: Vec<Reported>,
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
    /// What followed is read off the plan's last follow-up with serves or, where none is recorded,
    /// off the player's next case within 7 to 150 days, so that plans nobody reported on count as
    /// well. A case without a plan for a fault, now or in the 90 days before, shows what comes by
    /// itself. Cost: one pass over all cases, one alignment per serve of those that count, and the
    /// principal components of one curve per player. `watch` is told each player.
    ///
    /// # Errors
    /// [`LikeError`] if the serve is unknown or the store cannot be read.
    pub fn gather(
        library: &Library,
        catalogue: &Catalogue,
        subject: Subject<'_>,
        watch: &Watch,
    ) -> Result<Self, LikeError> {
        watch.check()?;
        let heads: HashMap<ServeId, ServeHead> =
            library.serve_heads()?.into_iter().map(|head| (head.id, head)).collect();
        let asks = Asks::of(library, &heads, subject)?;
        let others = |player: &Player, _: &Case| Some(player.id) != asks.player;
        let gathering = Gathering::of(library, catalogue, &heads, &others, watch)?;
        watch.check()?;
        let mut rows = weighted(library, &asks, &heads, &gathering.found, watch)?;
        watch.check()?;
        let styles = styles(library, &asks, &heads, &gathering.found)?;
        for (row, style) in rows.iter_mut().zip(styles) {
            row.style = style;
        }
        let starts = followed(catalogue)
            .filter_map(|(fault, followed)| {
                let readings = asks.readings.iter().map(Vec::as_slice);
                Some((fault, followed.mean(readings)?.0))
            })
            .collect();
        Ok(gathering.told(catalogue, rows, starts, true))
    }

    /// Gathers the looks at every fault of `catalogue` in those cases that `counts` keeps, no serve
    /// asking: every player weighs alike, and what to expect is told for where they started.
    ///
    /// What followed a case is read off as in [`Evidence::gather`]. Cost: one pass over all cases.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn gather_among(
        library: &Library,
        catalogue: &Catalogue,
        counts: impl Fn(&Player, &Case) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        let heads: HashMap<ServeId, ServeHead> =
            library.serve_heads()?.into_iter().map(|head| (head.id, head)).collect();
        let gathering = Gathering::of(library, catalogue, &heads, &counts, watch)?;
        let rows = gathering.found.iter().map(|found| found.row.clone()).collect();
        Ok(gathering.told(catalogue, rows, BTreeMap::new(), false))
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
    /// Of all serves of its case, where it is stored.
    readings: Vec<Vec<ServeReading>>,
}

impl Asks {
    fn of(
        library: &Library,
        heads: &HashMap<ServeId, ServeHead>,
        subject: Subject<'_>,
    ) -> Result<Self, LikeError> {
        match subject {
            Subject::Stored(id) => {
                let head = match heads.get(&id) {
                    Some(head) => head.clone(),
                    None => library.serve_head(id)?,
                };
                let case = library.case(head.case)?;
                Ok(Self {
                    player: Some(head.player),
                    who: Who::of(&library.player(head.player)?, &head),
                    curve: library.curve(id)?,
                    readings: like_with_like(library, heads, &case.serves)?.1,
                })
            }
            Subject::Unstored(given) => {
                let player = given.player.map(|id| library.player(id)).transpose()?;
                Ok(Self {
                    player: given.player,
                    who: Who {
                        level: player.as_ref().and_then(|player| player.level),
                        age: None,
                        hand: given.serve.hand,
                        source: given.source,
                    },
                    curve: given.serve.curve.clone(),
                    readings: vec![given.serve.readings.clone()],
                })
            }
        }
    }
}

/// Readings of those serves that compare: with a ball if any is with a ball. And whether they are.
fn like_with_like(
    library: &Library,
    heads: &HashMap<ServeId, ServeHead>,
    serves: &[ServeId],
) -> Result<(bool, Vec<Vec<ServeReading>>), StoreError> {
    let swing = |id: &&ServeId| {
        heads.get(id).is_some_and(|head| head.setting == Some(Setting::PracticeSwing))
    };
    let with_ball = !serves.iter().all(|id| swing(&id));
    let readings = serves
        .iter()
        .filter(|id| !with_ball || !swing(id))
        .map(|&id| library.readings(id))
        .collect::<Result<_, _>>()?;
    Ok((with_ball, readings))
}

/// A row without its weight.
struct Unweighted {
    row: Row,
    who: Who,
    serves: Vec<ServeId>,
    reported: Reported,
}

struct Gathering<'a> {
    library: &'a Library,
    heads: &'a HashMap<ServeId, ServeHead>,
    readings: HashMap<Vec<ServeId>, (bool, Vec<Vec<ServeReading>>)>,
    found: Vec<Unweighted>,
    unseen: Vec<Unseen>,
    /// Day of the library's last recording: until then a player could have been seen again.
    last: Option<Date>,
    drills: Vec<String>,
    followings: BTreeMap<usize, Followings>,
}

/// A later look at a player.
struct Later<'a> {
    date: Date,
    serves: &'a [ServeId],
    reported: Reported,
    by_follow_up: bool,
}

impl<'a> Gathering<'a> {
    /// Looks at every fault in the cases that count.
    fn of(
        library: &'a Library,
        catalogue: &Catalogue,
        heads: &'a HashMap<ServeId, ServeHead>,
        counts: &dyn Fn(&Player, &Case) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        let mut gathering = Self {
            library,
            heads,
            readings: HashMap::new(),
            found: Vec::new(),
            unseen: Vec::new(),
            last: heads.values().map(|head| head.date).max(),
            drills: Vec::new(),
            followings: BTreeMap::new(),
        };
        let faults: Vec<&str> = catalogue.faults().map(|fault| fault.id.as_str()).collect();
        let players = library.players()?;
        for (done, player) in players.iter().enumerate() {
            watch.step(Stage::Players, done, players.len())?;
            let cases = library.cases(Some(player.id))?;
            for (place, _) in cases.iter().enumerate().filter(|(_, case)| counts(player, case)) {
                for (fault, followed) in followed(catalogue) {
                    gathering.look(player, &cases, place, (fault, faults[fault]), followed)?;
                }
            }
        }
        Ok(gathering)
    }

    fn told(
        self,
        catalogue: &Catalogue,
        rows: Vec<Row>,
        starts: BTreeMap<usize, f64>,
        of_a_serve: bool,
    ) -> Evidence {
        Evidence {
            rows,
            reported: self.found.iter().map(|found| found.reported).collect(),
            unseen: self.unseen,
            faults: catalogue.faults().map(|fault| fault.id.clone()).collect(),
            drills: self.drills,
            followings: self.followings,
            starts,
            of_a_serve,
        }
    }

    /// What came of one fault after one case, if it stands there.
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
        let plan = case.plans.iter().find(|plan| tried(case, plan));
        if plan.is_none() && !standing(&case.labels).iter().any(|label| label.fault == id) {
            return Ok(());
        }
        let lasting = |earlier: &Case| {
            earlier
                .plans
                .iter()
                .any(|plan| tried(earlier, plan) && days(plan.start, case.date) <= LASTING_DAYS)
        };
        if plan.is_none() && cases[..place].iter().any(lasting) {
            return Ok(());
        }
        let later = later(case, plan, &cases[place + 1..]);
        if plan.is_some() {
            self.followings.entry(fault).or_default().plans += 1;
        }
        let drills = self.numbered(plan);
        // A plan without a drill shows neither what a drill did nor what comes by itself.
        let tells = plan.is_none() || !drills.is_empty();
        let Some(later) = later else {
            if plan.is_some() {
                self.followings.entry(fault).or_default().missing += 1;
            }
            let time = self.last.map_or(0, |last| days(case.date, last));
            if tells && !case.serves.is_empty() && time > *SEEN_AGAIN_DAYS.end() {
                self.unseen.push(Unseen { player: player.id.0.cast_unsigned(), fault, drills });
            }
            return Ok(());
        };
        let change = self.change(&case.serves, later.serves, followed)?;
        if plan.is_some() {
            let counts = self.followings.entry(fault).or_default();
            match (&change, later.by_follow_up) {
                (None, _) => counts.not_comparable += 1,
                (Some(_), true) => counts.followed_up += 1,
                (Some(_), false) => counts.seen_again += 1,
            }
        }
        let (Some((start, change, detectable)), Some(head)) =
            (change, case.serves.first().and_then(|id| self.heads.get(id)))
        else {
            return Ok(());
        };
        if !tells {
            return Ok(());
        }
        let began = plan.map_or(case.date, |plan| plan.start);
        self.found.push(Unweighted {
            row: Row {
                player: player.id.0.cast_unsigned(),
                fault,
                drills,
                start,
                change,
                detectable,
                weight: 1.0,
                days: f64::from(days(began, later.date)),
                style: None,
            },
            who: Who::of(player, head),
            serves: case.serves.clone(),
            reported: later.reported,
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

    /// Start, change and detectable change, larger is better; `None` where the two looks do not
    /// compare.
    fn change(
        &mut self,
        before: &[ServeId],
        after: &[ServeId],
        followed: Followed,
    ) -> Result<Option<(f64, f64, f64)>, StoreError> {
        let source = |serves: &[ServeId]| {
            let head = self.heads.get(serves.first()?)?;
            Some(Source { capture: head.capture, view: head.view })
        };
        let comparable = match (source(before), source(after)) {
            (Some(a), Some(b)) => incomparable(a, b).is_none(),
            _ => false,
        };
        if !comparable {
            return Ok(None);
        }
        for serves in [before, after] {
            if !self.readings.contains_key(serves) {
                let read = like_with_like(self.library, self.heads, serves)?;
                self.readings.insert(serves.to_vec(), read);
            }
        }
        let ((ball, first), (later_ball, second)) = (&self.readings[before], &self.readings[after]);
        if ball != later_ball {
            return Ok(None);
        }
        let mean = |serves: &[Vec<ServeReading>]| followed.mean(serves.iter().map(Vec::as_slice));
        let (Some((start, n)), Some((end, m))) = (mean(first), mean(second)) else {
            return Ok(None);
        };
        Ok(Some((start, end - start, followed.def.detectable_change(n, m, 0.0))))
    }
}

/// The plan's last follow-up with serves, else the next case in time.
fn later<'a>(case: &'a Case, plan: Option<&Plan>, next: &'a [Case]) -> Option<Later<'a>> {
    let change = |then: Option<f64>, now: Option<f64>| Some(then? - now?);
    let answered = plan.and_then(|plan| {
        let mut all = case.follow_ups.iter().filter(|follow_up| follow_up.plan == plan.id);
        all.rfind(|follow_up| !follow_up.serves.is_empty())
    });
    if let Some(follow_up) = answered {
        return Some(Later {
            date: follow_up.date,
            serves: &follow_up.serves,
            reported: Reported {
                rating: follow_up.rating,
                speed_kmh: change(follow_up.ball.speed_kmh, case.ball.speed_kmh),
                first_serve_pct: change(follow_up.ball.first_serve_pct, case.ball.first_serve_pct),
            },
            by_follow_up: true,
        });
    }
    let next = next.iter().find(|next| {
        SEEN_AGAIN_DAYS.contains(&days(case.date, next.date)) && !next.serves.is_empty()
    })?;
    Some(Later {
        date: next.date,
        serves: &next.serves,
        reported: Reported {
            rating: None,
            speed_kmh: change(next.ball.speed_kmh, case.ball.speed_kmh),
            first_serve_pct: change(next.ball.first_serve_pct, case.ball.first_serve_pct),
        },
        by_follow_up: false,
    })
}

fn days(from: Date, to: Date) -> i32 {
    from.until((Unit::Day, to)).map_or(0, |span| span.get_days())
}

/// The rows with their weights: the nearest serve of each case says how near the case lies.
fn weighted(
    library: &Library,
    asks: &Asks,
    heads: &HashMap<ServeId, ServeHead>,
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
    heads: &HashMap<ServeId, ServeHead>,
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
