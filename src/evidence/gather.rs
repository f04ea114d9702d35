//! From the library to the table of rows.

use std::collections::BTreeMap;

use ndarray::Array1;

use super::improve::{Improvements, improvements};
use super::kept::{Needs, outcomes};
use super::near::{Who, distances, weights};
use super::outcomes::{Compared, EPOCH, Outcome};
use super::row::{Row, STYLES, Unseen};
use super::style::{Ways, mean_curve};
use crate::catalogue::Catalogue;
use crate::library::{CaseId, Library, PlayerId, ServeId, StoreError};
use crate::looks::{Followed, Mean, Reported, SEEN_AGAIN_DAYS, Snapshot, days_between};
use crate::matcher::{LikeError, Subject};
use crate::serve::Curve;
use crate::work::Watch;

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
    /// Beside each row: the case, and who and where the player was.
    looked: Vec<(CaseId, Compared)>,
    /// Who asks.
    asks: Option<Asks>,
    /// Whether the rows' styles were read off.
    styled: bool,
}

impl Evidence {
    /// Gathers the looks at every fault of `catalogue` among all other players: cases in which the
    /// fault stands (confirmed or added by a coach, or suspected and not rejected) and which were
    /// looked at again. How near each lies to `subject` is told fault by fault: [`Self::weight_by_nearness`].
    ///
    /// What came of a plan is [`Snapshot::came_of`]'s answer, so that plans nobody reported on count
    /// as well. A case without a plan for a fault, now or in the 90 days before, shows what comes by
    /// itself. Cost: reads what came of plans from its file, and the cases of the players whose rows
    /// changed since; without the file all cases. `watch` is told each player that is read.
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
        let asks = Asks::of(snapshot, catalogue, subject)?;
        let others = |player: PlayerId, _: CaseId| Some(player) != asks.player;
        let mut evidence = Self::of(snapshot, catalogue, Needs::All, &others, watch)?;
        evidence.starts = asks.starts.clone();
        evidence.of_a_serve = true;
        evidence.asks = Some(asks);
        Ok(evidence)
    }

    /// Gathers the looks at every fault of `catalogue` in those cases that `counts` keeps, no serve
    /// asking: every player weighs alike, and what to expect is told for where they started.
    ///
    /// What came of a plan is read off as in [`Evidence::gather`], at the same cost.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn gather_among(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        counts: impl Fn(PlayerId, CaseId) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        Self::of(snapshot, catalogue, Needs::All, &counts, watch)
    }

    /// As [`Self::gather_among`], but only what came of plans: enough to say how many improved with one.
    ///
    /// # Errors
    /// [`StoreError`] if the store cannot be read.
    pub fn gather_plans(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        counts: impl Fn(PlayerId, CaseId) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        Self::of(snapshot, catalogue, Needs::Plans, &counts, watch)
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

    fn of(
        snapshot: &Snapshot<'_>,
        catalogue: &Catalogue,
        needs: Needs,
        counts: &dyn Fn(PlayerId, CaseId) -> bool,
        watch: &Watch,
    ) -> Result<Self, StoreError> {
        let mut outcomes = outcomes(snapshot, catalogue, needs, watch)?;
        outcomes.retain(|outcome| {
            let (player, case) = outcome.of_case();
            counts(player, case)
        });
        let mut drills: Vec<String> =
            outcomes.iter().flat_map(|outcome| &outcome.drills).cloned().collect();
        drills.sort_unstable();
        drills.dedup();
        let mut evidence = Self {
            rows: Vec::new(),
            reported: Vec::new(),
            too_little: Vec::new(),
            unseen: Vec::new(),
            faults: catalogue.faults().map(|fault| fault.id.clone()).collect(),
            drills,
            followings: BTreeMap::new(),
            starts: BTreeMap::new(),
            of_a_serve: false,
            looked: Vec::new(),
            asks: None,
            styled: false,
        };
        // Until the library's last recording a player could have been seen again.
        let last = if outcomes.iter().any(|outcome| outcome.again.is_none()) {
            snapshot.library().last_recorded()?.map(|last| days_between(EPOCH, last))
        } else {
            None
        };
        let numbers: BTreeMap<&str, usize> = catalogue
            .faults()
            .enumerate()
            .map(|(place, fault)| (fault.id.as_str(), place))
            .collect();
        for outcome in outcomes {
            if let Some(&fault) = numbers.get(&*outcome.fault) {
                let time = last.map_or(0, |last| last - outcome.began);
                evidence.take(fault, outcome, time);
            }
        }
        Ok(evidence)
    }

    /// `time`: days there were to see the player again.
    fn take(&mut self, fault: usize, outcome: Outcome, time: i32) {
        let Outcome { player, planned, again, recorded, .. } = outcome;
        let compared = again.as_ref().is_some_and(|again| again.compared.is_some());
        if planned {
            let counts = self.followings.entry(fault).or_default();
            counts.plans += 1;
            *match &again {
                None => &mut counts.missing,
                Some(_) if !compared => &mut counts.not_comparable,
                Some(again) if again.by_follow_up => &mut counts.followed_up,
                Some(_) => &mut counts.seen_again,
            } += 1;
        }
        // A plan without a drill shows neither what a drill did nor what comes by itself.
        if planned && outcome.drills.is_empty() {
            return;
        }
        // Both ascend.
        let number = |drill: &String| self.drills.binary_search(drill).ok();
        let drills: Vec<usize> = outcome.drills.iter().filter_map(number).collect();
        let player = player.cast_unsigned();
        let Some(again) = again else {
            if recorded && time > *SEEN_AGAIN_DAYS.end() {
                self.unseen.push(Unseen { player, fault, drills });
            }
            return;
        };
        let (reported, too_little) = (again.reported(), again.too_little);
        let days = f64::from(again.days);
        let Some(compared) = again.compared else { return };
        self.rows.push(Row {
            player,
            fault,
            drills,
            start: compared.start,
            change: compared.change,
            detectable: compared.detectable,
            weight: 1.0,
            days,
            style: None,
        });
        self.reported.push(reported);
        self.too_little.push(too_little);
        self.looked.push((CaseId(outcome.case), compared));
    }

    /// Lets the cases with this fault count the more the nearer they lie to the serve that asks, and tells
    /// how each player serves; nothing where no serve asks.
    ///
    /// Other faults need no nearness to say what they say about this one. Cost: one alignment per serve of
    /// the cases with this fault; the first time the principal components of one curve per player.
    ///
    /// # Errors
    /// [`LikeError`] if the store cannot be read.
    pub fn weight_by_nearness(
        &mut self,
        library: &Library,
        fault: &str,
        watch: &Watch,
    ) -> Result<(), LikeError> {
        let (Some(asks), Some(fault)) = (&self.asks, self.number(fault)) else { return Ok(()) };
        let places: Vec<usize> =
            (0..self.rows.len()).filter(|&place| self.rows[place].fault == fault).collect();
        if places.is_empty() {
            return Ok(());
        }
        let looked: Vec<&Compared> = places.iter().map(|&place| &self.looked[place].1).collect();
        let weights = weighted(library, asks, &looked, watch)?;
        watch.check()?;
        if !self.styled {
            let styles = styles(library, asks, &self.rows, &self.looked)?;
            for (row, style) in self.rows.iter_mut().zip(styles) {
                row.style = style;
            }
            self.styled = true;
        }
        for (place, weight) in places.into_iter().zip(weights) {
            self.rows[place].weight = weight;
        }
        Ok(())
    }
}

/// The serve that asks.
#[derive(Debug, Clone)]
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
            let numbered = catalogue.faults().enumerate();
            let all = numbered.filter_map(|(place, fault)| Some((place, Followed::of(fault)?)));
            all.filter_map(of).collect()
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

/// Weights of the cases of one fault: the nearest serve of each says how near the case lies.
fn weighted(
    library: &Library,
    asks: &Asks,
    looked: &[&Compared],
    watch: &Watch,
) -> Result<Vec<f64>, LikeError> {
    let own = |one: &Compared| one.serves_in(&asks.curve.channel_set).collect::<Vec<ServeId>>();
    let mut among: Vec<ServeId> = looked.iter().flat_map(|one| own(one)).collect();
    among.sort_unstable();
    among.dedup();
    let far = distances(library, &asks.curve, &among, watch)?;
    let placed: Vec<(Option<f64>, Who)> = looked
        .iter()
        .map(|one| {
            let nearest = own(one).into_iter().filter_map(|id| far.get(&id).copied());
            (nearest.min_by(f64::total_cmp), one.who)
        })
        .collect();
    Ok(weights(&asks.who, &placed))
}

/// Where each case lies from the serve that asks, in the ways in which players' serves differ most;
/// `None` where its curves are of other channels, and everywhere with too few players.
fn styles(
    library: &Library,
    asks: &Asks,
    rows: &[Row],
    looked: &[(CaseId, Compared)],
) -> Result<Vec<Option<[f64; STYLES]>>, LikeError> {
    let nowhere = Ok(vec![None; looked.len()]);
    let Some(set) = library.curves(&asks.curve.channel_set)? else { return nowhere };
    // Several faults of one case share its curves.
    let mut cases: BTreeMap<CaseId, (u64, Array1<f64>)> = BTreeMap::new();
    for (row, (case, one)) in rows.iter().zip(looked) {
        if !cases.contains_key(case) {
            let own = one.serves_in(&asks.curve.channel_set);
            let own = own.filter_map(|id| Some(set.curve(id)?.values()));
            cases.extend(mean_curve(own).map(|curve| (*case, (row.player, curve))));
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
    Ok(looked
        .iter()
        .map(|(case, _)| {
            let score = ways.score(&cases.get(case)?.1);
            Some(std::array::from_fn(|way| score[way] - asking[way]))
        })
        .collect())
}
