//! From a stored case to its judgement.

use std::collections::HashMap;

use jiff::civil::Date;

use super::{Judgement, Seen, Setting, Sight, weigh};
use crate::catalogue::{Catalogue, Conditions, Finding, Suspicion, detect};
use crate::coaching::{Age, ShownDrill, harms, standing};
use crate::evidence::Evidence;
use crate::intake::Looked;
use crate::library::{
    Author, BallFlight, Case, CaseId, FaultLabel, LabelState, Library, Plan, Player, PlayerId,
    ServeId, ServeType, Setting as Shown, StoreError,
};
use crate::matcher::{LikeError, Subject, Unstored};
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
    /// none that makes a fault worse which the case shows.
    pub offers: Vec<ShownDrill>,
    /// The case's practice swings.
    pub swings: Vec<ServeId>,
    /// Its serves with a ball, or of which nobody said what they are.
    pub balls: Vec<ServeId>,
}

/// Judges a stored case: its labels, what its serves show with and without the ball, what is
/// answered about grip and ball, and how past players fared (`evidence`, gathered for one of its
/// serves; a case without serves has none).
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
    let player = library.player(case.player)?;
    let day = Day::of(library, case, &player)?;
    let evidence = match case.serves.first() {
        Some(&serve) => Some(Evidence::gather(library, catalogue, Subject::Stored(serve), watch)?),
        None => None,
    };
    Ok(settle(catalogue, case, Some(&player), &day, on, evidence.as_ref()))
}

/// What can be said of the day of a file that is not stored: its player and date, and what the
/// program suspects in its serves. Nobody was asked anything, and nothing was prescribed; the ids
/// are 0.
#[must_use]
pub fn unstored_case(catalogue: &Catalogue, looked: &Looked, player: Option<&Player>) -> Case {
    Case {
        id: CaseId(0),
        player: player.map_or(PlayerId(0), |player| player.id),
        date: looked.file_date,
        serves: Vec::new(),
        labels: looked.suspicions(catalogue, player.and_then(|player| player.stature_m)),
        plans: Vec::new(),
        follow_ups: Vec::new(),
        grip: None,
        ball: BallFlight::default(),
        notes: Vec::new(),
    }
}

/// As [`judge`] for serve `nth` (from 0) of a file that is not stored; `case`: its
/// [`unstored_case`]. The evidence is gathered for that serve.
///
/// # Errors
/// [`LikeError`] if the store cannot be read.
///
/// # Panics
/// If the file holds no such serve.
pub fn judge_unstored(
    library: &Library,
    catalogue: &Catalogue,
    looked: &Looked,
    nth: usize,
    player: Option<&Player>,
    case: &Case,
    watch: &Watch,
) -> Result<Judging, LikeError> {
    let subject = Subject::Unstored(Unstored::of(looked, nth, player.map(|player| player.id)));
    let evidence = Evidence::gather(library, catalogue, subject, watch)?;
    let day = Day::of_file(looked, player.and_then(|player| player.stature_m));
    // Nothing was prescribed, so no day decides what is in force.
    Ok(settle(catalogue, case, player, &day, case.date, Some(&evidence)))
}

fn settle(
    catalogue: &Catalogue,
    case: &Case,
    player: Option<&Player>,
    day: &Day,
    on: Date,
    evidence: Option<&Evidence>,
) -> Judging {
    let (swing, ball) =
        (day.suspicions(catalogue, case, true), day.suspicions(catalogue, case, false));
    let suspicions = if day.balls.is_empty() { swing.clone() } else { ball.clone() };
    let plans = case.plans_in_force(on);
    let planned = plans.first().map(|plan| plan.limiting_fault.as_str());
    let seen: Vec<Seen> = candidates(case, &suspicions, &plans)
        .into_iter()
        .map(|label| {
            let improved = evidence.map(|known| known.improvement(&label.fault));
            let sight = if day.swings.is_empty() || day.balls.is_empty() {
                Sight::Unknown
            } else {
                Sight::of(judged(&swing, &label.fault), judged(&ball, &label.fault))
            };
            Seen { improvement: improved.and_then(|i| i.near.or(i.overall)), sight, label }
        })
        .collect();
    let setting = Setting {
        age: Age::on(case.date, player.and_then(|player| player.born)),
        grip: case.grip,
        misses: case.ball.misses,
        planned,
    };
    let judgement = weigh(catalogue, &seen, &setting);
    let offers = if plans.is_empty() { offers(catalogue, case, &judgement) } else { Vec::new() };
    let mut labels: HashMap<String, FaultLabel> =
        seen.into_iter().map(|seen| (seen.label.fault.clone(), seen.label)).collect();
    Judging {
        labels: judgement.order.iter().filter_map(|one| labels.remove(&one.fault)).collect(),
        judgement,
        age: setting.age,
        offers,
        suspicions,
        swings: day.swings.iter().filter_map(|serve| serve.0).collect(),
        balls: day.balls.iter().filter_map(|serve| serve.0).collect(),
    }
}

/// Drills offered at most.
const OFFERS: usize = 3;

/// Drills for the limiting fault in the order its sight asks for.
fn offers(catalogue: &Catalogue, case: &Case, judgement: &Judgement) -> Vec<ShownDrill> {
    let Some(first) = judgement.order.first() else { return Vec::new() };
    let mut drills = first.sight.drills(catalogue, &first.fault);
    drills.retain(|drill| harms(drill, case, &first.fault).is_none());
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

/// The serves of a case's day, those of practice swings apart; without an id where not stored.
#[derive(Default)]
struct Day {
    swings: Vec<(Option<ServeId>, Vec<ServeReading>)>,
    balls: Vec<(Option<ServeId>, Vec<ServeReading>)>,
    conditions: Option<Conditions>,
    /// Of those with a ball.
    types: Vec<Option<ServeType>>,
    stature_m: Option<f64>,
}

impl Day {
    fn of(library: &Library, case: &Case, player: &Player) -> Result<Self, StoreError> {
        let mut day = Self { stature_m: player.stature_m, ..Self::default() };
        for &id in &case.serves {
            let row = library.serve(id)?;
            let recording = library.recording(row.recording)?;
            let these = Conditions::of(recording.capture, recording.rate_hz);
            // What the poorest recording cannot show is not claimed from the richest alone.
            if day.conditions.is_none_or(|known| these.rate_hz < known.rate_hz) {
                day.conditions = Some(these);
            }
            let swing = recording.setting == Some(Shown::PracticeSwing);
            if !swing {
                day.types.push(recording.serve_type);
            }
            let side = if swing { &mut day.swings } else { &mut day.balls };
            side.push((Some(id), row.serve.readings));
        }
        Ok(day)
    }

    fn of_file(looked: &Looked, stature_m: Option<f64>) -> Self {
        let serves = looked.found.serves.iter();
        Self {
            swings: Vec::new(),
            balls: serves.map(|serve| (None, serve.readings.clone())).collect(),
            conditions: Some(Conditions::of(looked.recording.capture, looked.recording.rate_hz)),
            types: Vec::new(),
            stature_m,
        }
    }

    fn suspicions(&self, catalogue: &Catalogue, case: &Case, swings: bool) -> Vec<Suspicion> {
        let side = if swings { &self.swings } else { &self.balls };
        let readings: Vec<&[ServeReading]> = side.iter().map(|one| one.1.as_slice()).collect();
        let conditions = self.conditions.map(|conditions| Conditions {
            index_knuckle: case.grip.and_then(|grip| grip.index_knuckle),
            heel_pad: case.grip.and_then(|grip| grip.heel_pad),
            serve_type: ServeType::of_all(self.types.iter().copied()),
            stature_m: self.stature_m,
            ..conditions
        });
        conditions.map_or_else(Vec::new, |conditions| detect(catalogue, &readings, &conditions))
    }
}
