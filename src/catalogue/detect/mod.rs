//! From the readings of one session's serves to suspected faults with their evidence.

mod band;
mod finding;
mod observed;
mod read;
#[cfg(test)]
mod tests;

use self::band::Asked;
use self::read::read;
pub use finding::{Evidence, Finding, LIKELY, SUSPECTED, Suspicion, describe_chance};
pub use observed::{Conditions, Observed, ObservedDay, Recorded};

use super::Catalogue;
use super::types::{Combine, Fault, FaultMeasure, GripAnswers, JointNeed, ServeType};
use crate::motion::Capture;
use crate::serve::ServeReading;

/// Every fault of the catalogue judged from the readings of one day's serves.
///
/// `serves`: of one player and either all practice swings or none. Result: one suspicion per fault
/// in catalogue order.
///
/// How poor the sources are is judged measure by measure: serves from one source (capture, view,
/// rate) belong together, sources that cannot show a fault are left out for it, and of the others
/// the one counts that reads the measure best: with the smallest standard error of the player's
/// usual value, own error and spread within a player over the root of the number of serves. So a
/// slow clip does not veto a fast one, and a second view of the same serves does not count twice; of
/// two views of one stroke in one source the one counts that reads the measure better.
///
/// Over several serves the median counts; its uncertainty is the reading's own error (which does not
/// shrink with repetition) and the spread from serve to serve over the square root of their number.
/// The score of a measure is its expected place between `starts` and `full` under that uncertainty,
/// so a poor reading near a threshold scores near the middle instead of flipping. Its chance is the
/// share of the same uncertainty that lies beyond `starts`: the mean over a fault's measures, or the
/// greatest, as their scores are combined; below [`LIKELY`] a fault is to be looked at and not
/// suspected. A fault is not
/// judged without a measure it needs, nor while a suspected one explains what its measures show; one
/// that is a style in a serve otherwise whole ([`Fault::only_with`]) scores no more than what is
/// missing in it. No serves: everything not detectable.
///
/// Bands follow the type of the serves ([`ServeType::of_all`]) and `conditions`; [`Evidence`] holds
/// the band used and says why.
#[must_use]
pub fn detect(
    catalogue: &Catalogue,
    serves: &[Observed<'_>],
    conditions: &Conditions,
) -> Vec<Suspicion> {
    let serve_type = ServeType::of_all(serves.iter().map(|serve| serve.serve_type));
    let asked = Asked { serve_type, conditions };
    let mut sources: Vec<Source<'_>> = Vec::new();
    for serve in serves {
        match sources.iter_mut().find(|source| source.recorded == serve.recorded) {
            Some(source) => source.add(serve),
            None => {
                let strokes = vec![(serve.stroke, vec![serve.readings])];
                sources.push(Source { recorded: serve.recorded, strokes });
            }
        }
    }
    let mut all: Vec<Suspicion> = catalogue
        .faults()
        .map(|fault| Suspicion { fault: fault.id.clone(), finding: judge(fault, &sources, &asked) })
        .collect();
    let explained: Vec<Option<Finding>> = catalogue
        .faults()
        .zip(&all)
        .map(|(fault, own)| own.score().and_then(|_| explained(catalogue, fault, &all)))
        .collect();
    for (own, explained) in all.iter_mut().zip(explained) {
        if let Some(finding) = explained {
            own.finding = finding;
        }
    }
    all
}

/// That a suspected fault already accounts for what this one's measures show.
fn explained(catalogue: &Catalogue, fault: &Fault, all: &[Suspicion]) -> Option<Finding> {
    let by = all.iter().find(|one| one.suspected() && fault.explained_by.contains(&one.fault))?;
    let name = &catalogue.fault(&by.fault)?.name;
    Some(Finding::NotDetectable {
        why: format!(
            "'{name}' is suspected and shows in the same measures: look again once it is gone"
        ),
        ask: fault.ask.clone(),
    })
}

/// Serves recorded in the same way.
struct Source<'a> {
    recorded: Recorded,
    /// The views of each stroke.
    strokes: Vec<(Option<usize>, Vec<&'a [ServeReading]>)>,
}

impl<'a> Source<'a> {
    fn add(&mut self, serve: &Observed<'a>) {
        let known = |one: &&mut (Option<usize>, Vec<_>)| one.0.is_some() && one.0 == serve.stroke;
        match self.strokes.iter_mut().find(known) {
            Some((_, views)) => views.push(serve.readings),
            None => self.strokes.push((serve.stroke, vec![serve.readings])),
        }
    }
}

fn judge(fault: &Fault, sources: &[Source<'_>], asked: &Asked<'_>) -> Finding {
    if let Some(answers) = &fault.answers
        && let Some((score, answer)) = answered(answers, asked.conditions)
    {
        return Finding::Answered { score, answer };
    }
    let sources = match in_sight(fault, sources) {
        Ok(sources) => sources,
        Err(why) => return Finding::NotDetectable { why, ask: fault.ask.clone() },
    };
    let mut evidence = Vec::new();
    let mut weights = Vec::new();
    let mut missing = Vec::new();
    for measure in &fault.measures {
        match read(measure, &sources, asked) {
            Ok(found) => {
                weights.push(measure.weight * found.trust);
                evidence.push(found);
            }
            Err(why) => missing.push(format!("{}: {why}", measure.measure)),
        }
    }
    let total: f64 = weights.iter().sum();
    let unread =
        |needed: &&FaultMeasure| evidence.iter().all(|read| read.measure != needed.measure);
    let blind = fault.measures.iter().filter(|measure| measure.needed).any(|one| unread(&one));
    if total <= 0.0 || blind {
        return Finding::NotDetectable { why: missing.join("; "), ask: fault.ask.clone() };
    }
    let trust =
        weights.iter().zip(&evidence).map(|(weight, found)| weight * found.trust).sum::<f64>()
            / total;
    let combined = |of: fn(&Evidence) -> f64| match fault.combine {
        Combine::Mean => {
            weights.iter().zip(&evidence).map(|(weight, found)| weight * of(found)).sum::<f64>()
                / total
        }
        Combine::Strongest => evidence.iter().map(of).fold(0.0, f64::max),
    };
    let (score, chance) = (combined(|found| found.score), combined(|found| found.chance));
    if fault.only_with.is_empty() {
        return Finding::Scored { score, chance, trust, evidence, missing };
    }
    let mut incomplete: Option<(f64, f64)> = None;
    for measure in &fault.only_with {
        match read(measure, &sources, asked) {
            Ok(found) => {
                let (score, chance) = incomplete.unwrap_or_default();
                incomplete = Some((score.max(found.score), chance.max(found.chance)));
                evidence.push(found);
            }
            Err(why) => missing.push(format!("{}: {why}", measure.measure)),
        }
    }
    match incomplete {
        Some(most) => Finding::Scored {
            score: score.min(most.0),
            chance: chance.min(most.1),
            trust,
            evidence,
            missing,
        },
        None => Finding::NotDetectable {
            why: format!(
                "a style if the rest of the serve is complete, and that cannot be read: {}",
                missing.join("; ")
            ),
            ask: fault.ask.clone(),
        },
    }
}

fn answered(answers: &GripAnswers, conditions: &Conditions) -> Option<(f64, String)> {
    let parts = [
        ("index knuckle", &answers.index_knuckle, conditions.index_knuckle),
        ("heel pad", &answers.heel_pad, conditions.heel_pad),
    ];
    let mut words = Vec::new();
    let mut all = true;
    for (name, accepted, answer) in parts {
        if accepted.is_empty() {
            continue;
        }
        let bevel = answer?;
        words.push(format!("{name} on bevel {bevel}"));
        all &= accepted.contains(&bevel);
    }
    Some((if all { answers.score } else { 0.0 }, words.join(", ")))
}

/// The sources that can show the fault, or why none can, by the fastest.
fn in_sight<'a, 'b>(
    fault: &Fault,
    sources: &'a [Source<'b>],
) -> Result<Vec<&'a Source<'b>>, String> {
    let needs = &fault.needs;
    match needs.joints {
        JointNeed::Ask => return Err("joints do not show it: ask".into()),
        JointNeed::SeenOrAsked => {
            return Err("not measured: look for it in the clip, or ask".into());
        }
        JointNeed::Ball => return Err("needs the ball's path, which joints do not hold".into()),
        JointNeed::Core | JointNeed::Hands | JointNeed::Racket => {}
    }
    let rate = |source: &&Source<'_>| source.recorded.rate_hz;
    let Some(fastest) = sources.iter().max_by(|a, b| rate(a).total_cmp(&rate(b))) else {
        return Err("no serve to judge".into());
    };
    let fast = |source: &&Source<'_>| source.recorded.rate_hz >= needs.min_rate_hz;
    let deep =
        |source: &&Source<'_>| !needs.three_d || source.recorded.capture != Capture::OneCameraFlat;
    let seen: Vec<&Source<'_>> = sources.iter().filter(fast).filter(deep).collect();
    if !seen.is_empty() {
        return Ok(seen);
    }
    Err(if fast(&fastest) {
        "needs three dimensions, this is a flat picture".into()
    } else {
        format!(
            "{:.0} Hz is too slow, at least {:.0} Hz needed",
            fastest.recorded.rate_hz, needs.min_rate_hz
        )
    })
}
