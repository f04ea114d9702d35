//! From a stored case to its judgement.

use std::collections::HashMap;
use std::rc::Rc;

use jiff::civil::Date;

use super::{Circumstances, Judgement, OpenFault, Sight, weigh};
use crate::catalogue::{
    Catalogue, Conditions, Finding, Observed, ObservedDay, Recorded, Suspicion, detect,
};
use crate::coaching::{Age, ShownDrill, Sore, harms, loads_sore, sore_on, standing};
use crate::evidence::Evidence;
use crate::intake::Looked;
use crate::library::{
    Author, Case, CaseId, CheckIn, DayViews, FaultLabel, LabelState, Library, Plan, Player,
    PlayerId, ServeId, ServeType, Setting, StoreError,
};
use crate::looks::Snapshot;
use crate::matcher::LikeError;
use crate::serve::ServeReading;
use crate::work::Watch;

/// A case judged, and what that rests on.
#[derive(Debug, Clone)]
pub struct Judging {
    /// The order of its faults.
    pub judgement: Judgement,
    /// The labels that stand, in the order of `judgement`.
    pub labels: Vec<FaultLabel>,
    /// Every fault of the catalogue as the day's serves show it: those with a ball if there are any.
    pub suspicions: Vec<Suspicion>,
    /// How old the player was on the day.
    pub age: Age,
    /// Drills to choose from for the limiting fault while no plan is in force, the fittest first;
    /// none that makes a fault worse which the case shows, or loads what hurts.
    pub offers: Vec<ShownDrill>,
    /// What the player told on the day.
    pub check_in: CheckIn,
    /// What hurts too much on the day judged for.
    pub sore: Vec<Sore>,
    /// The case's practice swings.
    pub swings: Vec<ServeId>,
    /// Its serves with a ball, or of which nobody said what they are.
    pub balls: Vec<ServeId>,
    /// Which of them are views of one stroke.
    pub views: Rc<DayViews>,
}

/// Judges a stored case: its labels, what its serves show with and without the ball, what is
/// answered about grip and ball, and how other players fared.
///
/// An answer about the grip that means a fault counts as a suspicion, unless a coach rejected it.
/// `on`: the day judged for, which says what plans are in force; the first of them comes first.
///
/// # Errors
/// [`LikeError`] if the store cannot be read.
pub fn judge(
    library: &Library,
    catalogue: &Catalogue,
    case: &Case,
    on: Date,
    watch: &Watch,
) -> Result<Judging, LikeError> {
    let snapshot = Snapshot::new(library);
    let others = |player: PlayerId, _: CaseId| player != case.player;
    let evidence = Evidence::gather_plans(&snapshot, catalogue, others, watch)?;
    Ok(judge_with(&snapshot, catalogue, case, on, &evidence)?)
}

/// The same with the `evidence` at hand: of other players only, gathered for any serve of the case or
/// for none.
///
/// How others fared counts everybody alike: where to begin belongs to the case, not to the one serve
/// of it that is looked at.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn judge_with(
    snapshot: &Snapshot<'_>,
    catalogue: &Catalogue,
    case: &Case,
    on: Date,
    evidence: &Evidence,
) -> Result<Judging, StoreError> {
    let library = snapshot.library();
    let player = library.player(case.player)?;
    let day = DayServes::of(snapshot, case, &player)?;
    let told = Told {
        check_in: library.check_in(case.id)?,
        // Told on a day that is over counts for the day judged for, too, if nothing was said since.
        sore: sore_on(library, player.id, on)?,
        player: Some(player),
    };
    Ok(settle(catalogue, case, told, &day, on, evidence))
}

/// What can be said of the day of a file that is not stored: its player and date, and what the
/// program suspects in its serves. Nobody was asked anything, and nothing was planned; the ids
/// are 0.
#[must_use]
pub fn unstored_case(catalogue: &Catalogue, looked: &Looked, player: Option<&Player>) -> Case {
    let owner = player.map_or(PlayerId(0), |player| player.id);
    Case {
        labels: looked.suspicions(catalogue, player.and_then(|player| player.stature_m)),
        ..Case::new(CaseId(0), owner, looked.file_date)
    }
}

/// What is known of the player beside the serves.
#[derive(Debug, Clone, Default)]
pub struct Told {
    /// The player, if the library knows the player.
    pub player: Option<Player>,
    /// What the player told on the day.
    pub check_in: CheckIn,
    /// What hurts too much.
    pub sore: Vec<Sore>,
}

/// As [`judge_with`] for the serves of a file that is not stored; `case`: its [`unstored_case`].
#[must_use]
pub fn judge_unstored(
    catalogue: &Catalogue,
    looked: &Looked,
    told: Told,
    case: &Case,
    evidence: &Evidence,
) -> Judging {
    let stature_m = told.player.as_ref().and_then(|player| player.stature_m);
    let day = DayServes::of_file(looked, stature_m);
    // Nothing was planned, so no day decides what is in force.
    settle(catalogue, case, told, &day, case.date, evidence)
}

fn settle(
    catalogue: &Catalogue,
    case: &Case,
    told: Told,
    day: &DayServes,
    on: Date,
    evidence: &Evidence,
) -> Judging {
    let observed = day.observed();
    let conditions = Conditions {
        index_knuckle: case.grip.and_then(|grip| grip.index_knuckle),
        heel_pad: case.grip.and_then(|grip| grip.heel_pad),
        stature_m: day.stature_m,
        attempt: told.check_in.attempt,
    };
    let suspicions = observed.suspicions(catalogue, &conditions);
    // With both, what each shows by itself.
    let both = !day.swings.is_empty() && !day.balls.is_empty();
    let swing = both.then(|| detect(catalogue, &observed.swings, &conditions));
    let plans = case.plans_in_force(on);
    let planned = plans.first().map(|plan| plan.limiting_fault.as_str());
    let seen: Vec<OpenFault> = candidates(case, &suspicions, &plans)
        .into_iter()
        .map(|label| {
            let improvement = evidence.improvement(&label.fault).overall;
            let sight = swing.as_ref().map_or(Sight::Unknown, |swing| {
                Sight::of(judged(swing, &label.fault), judged(&suspicions, &label.fault))
            });
            let shown = suspicions.iter().find(|suspicion| suspicion.fault == label.fault);
            let chance = shown.and_then(Suspicion::chance);
            OpenFault { improvement, sight, chance, label }
        })
        .collect();
    let setting = Circumstances {
        age: Age::on(case.date, told.player.as_ref().and_then(|player| player.born)),
        grip: case.grip,
        misses: case.ball.misses,
        planned,
    };
    let judgement = weigh(catalogue, &seen, &setting);
    let offers = match plans.is_empty() {
        true => offers(catalogue, case, &judgement, &told.sore),
        false => Vec::new(),
    };
    let mut labels: HashMap<String, FaultLabel> =
        seen.into_iter().map(|seen| (seen.label.fault.clone(), seen.label)).collect();
    Judging {
        labels: judgement.order.iter().filter_map(|one| labels.remove(&one.fault)).collect(),
        judgement,
        age: setting.age,
        offers,
        check_in: told.check_in,
        sore: told.sore,
        suspicions,
        swings: day.swings.iter().filter_map(|serve| serve.id).collect(),
        balls: day.balls.iter().filter_map(|serve| serve.id).collect(),
        views: Rc::clone(&day.views),
    }
}

/// Drills offered at most.
const OFFERS: usize = 3;

/// Drills for the limiting fault in the order its sight asks for.
fn offers(
    catalogue: &Catalogue,
    case: &Case,
    judgement: &Judgement,
    sore: &[Sore],
) -> Vec<ShownDrill> {
    let Some(first) = judgement.order.first() else { return Vec::new() };
    let mut drills = first.sight.drills(catalogue, &first.fault);
    drills.retain(|drill| harms(drill, case, &first.fault).is_none());
    drills.retain(|drill| !loads_sore(drill, sore));
    let offered = drills.into_iter().take(OFFERS);
    offered.map(|drill| ShownDrill::of(catalogue, &drill.id, &first.fault)).collect()
}

/// Labels that stand, the faults of plans in force, and what the answers about the grip mean.
fn candidates(case: &Case, suspicions: &[Suspicion], plans: &[&Plan]) -> Vec<FaultLabel> {
    let mut labels = standing(&case.labels);
    let by_program = |fault: &str, state, severity| FaultLabel {
        fault: fault.to_owned(),
        state,
        severity,
        by: Author::Program,
        note: None,
    };
    for suspicion in suspicions {
        let known = case.labels.iter().any(|label| label.fault == suspicion.fault);
        if let Finding::Answered { score, .. } = suspicion.finding
            && suspicion.suspected()
            && !known
        {
            labels.push(by_program(&suspicion.fault, LabelState::Suspected, score));
        }
    }
    // A plan is the coach's word on its fault, whether or not a label says so too.
    for plan in plans {
        if labels.iter().all(|label| label.fault != plan.limiting_fault) {
            let by = Author::Coach(plan.coach.clone().unwrap_or_else(|| "the coach".to_owned()));
            let label = by_program(&plan.limiting_fault, LabelState::Added, 0.0);
            labels.push(FaultLabel { by, ..label });
        }
    }
    labels
}

fn judged(suspicions: &[Suspicion], fault: &str) -> Option<bool> {
    let suspicion = suspicions.iter().find(|suspicion| suspicion.fault == fault)?;
    suspicion.score().map(|_| suspicion.suspected())
}

/// The serves of a case's day, those of practice swings apart.
#[derive(Default)]
struct DayServes {
    swings: Vec<DayServe>,
    balls: Vec<DayServe>,
    stature_m: Option<f64>,
    views: Rc<DayViews>,
}

struct DayServe {
    /// `None` where not stored.
    id: Option<ServeId>,
    readings: Rc<[ServeReading]>,
    recorded: Recorded,
    serve_type: Option<ServeType>,
    /// Of a stored day, by place among its serves.
    stroke: Option<usize>,
}

impl DayServe {
    fn observed(&self) -> Observed<'_> {
        let Self { recorded, serve_type, stroke, .. } = *self;
        Observed { readings: &self.readings, recorded, serve_type, stroke }
    }
}

impl DayServes {
    fn of(snapshot: &Snapshot<'_>, case: &Case, player: &Player) -> Result<Self, StoreError> {
        let views = snapshot.views(case.id)?;
        let mut day = Self { stature_m: player.stature_m, views, ..Self::default() };
        for &id in &case.serves {
            let recording = snapshot.recording(snapshot.head(id)?.recording)?;
            let swing = recording.setting == Some(Setting::PracticeSwing);
            let side = if swing { &mut day.swings } else { &mut day.balls };
            side.push(DayServe {
                id: Some(id),
                readings: snapshot.readings(id)?,
                recorded: Recorded {
                    capture: recording.capture,
                    view: recording.view,
                    rate_hz: recording.rate_hz,
                },
                serve_type: recording.serve_type,
                stroke: case.serves.iter().position(|one| *one == day.views.stroke(id)),
            });
        }
        Ok(day)
    }

    fn of_file(looked: &Looked, stature_m: Option<f64>) -> Self {
        let recorded = Recorded {
            capture: looked.recording.capture,
            view: looked.recording.view,
            rate_hz: looked.recording.rate_hz,
        };
        let serves = looked.found.serves.iter().map(|serve| DayServe {
            id: None,
            readings: serve.readings.clone().into(),
            recorded,
            serve_type: None,
            stroke: None,
        });
        Self { balls: serves.collect(), stature_m, ..Self::default() }
    }

    fn observed(&self) -> ObservedDay<'_> {
        ObservedDay {
            swings: self.swings.iter().map(DayServe::observed).collect(),
            balls: self.balls.iter().map(DayServe::observed).collect(),
        }
    }
}
