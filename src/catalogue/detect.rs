//! From the readings of one session's serves to suspected faults with their evidence.

use serde::{Deserialize, Serialize};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

use super::Catalogue;
use super::types::{
    ADULT_STATURE_M, Attempt, Combine, Direction, Fault, FaultMeasure, GripAnswers, JointNeed,
    ServeType,
};
use crate::motion::{Capture, View};
use crate::serve::{MEASURES, Reading, ServeReading};

/// From this score on, a suspicion is shown as one.
pub const SUSPECTED: f64 = 0.5;

/// Readings with less trust than this do not count.
const LEAST_TRUST: f64 = 0.15;

/// Share of a normal spread within one "give or take" (9 times of 10 inside).
const NINE_OF_TEN: f64 = 1.644_853_626_951_472_2;

/// What one serve's readings come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recorded {
    /// How joints were obtained.
    pub capture: Capture,
    /// Where the camera stood, where known.
    pub view: Option<View>,
    /// Sample rate, Hz.
    pub rate_hz: f64,
}

/// One serve as far as suspicions go.
#[derive(Debug, Clone, Copy)]
pub struct Observed<'a> {
    /// Its readings.
    pub readings: &'a [ServeReading],
    /// What they come from.
    pub recorded: Recorded,
    /// Its type, if known.
    pub serve_type: Option<ServeType>,
}

/// What is known about the player that day beside the recordings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Conditions {
    /// Bevel (1 to 8) under the index knuckle, if asked.
    pub index_knuckle: Option<u8>,
    /// Bevel (1 to 8) under the heel pad, if asked.
    pub heel_pad: Option<u8>,
    /// First or second serves, if known.
    pub attempt: Option<Attempt>,
    /// The player's stature, m, if known.
    pub stature_m: Option<f64>,
}

/// The serves of one player on one day, practice swings apart.
#[derive(Debug, Clone, Default)]
pub struct ObservedDay<'a> {
    /// Practice swings.
    pub swings: Vec<Observed<'a>>,
    /// With a ball, or nobody said.
    pub balls: Vec<Observed<'a>>,
}

impl ObservedDay<'_> {
    /// What the day shows of every fault: from the serves with a ball if there are any, since a
    /// practice swing shows what the player can do, not what the serve does.
    #[must_use]
    pub fn suspicions(&self, catalogue: &Catalogue, conditions: &Conditions) -> Vec<Suspicion> {
        let serves = if self.balls.is_empty() { &self.swings } else { &self.balls };
        detect(catalogue, serves, conditions)
    }
}

/// What is known beside the readings, the type of the serves included.
struct Asked<'a> {
    serve_type: Option<ServeType>,
    conditions: &'a Conditions,
}

/// Statures outside this are typing errors and scale nothing, m.
const STATURES_M: std::ops::RangeInclusive<f64> = 0.8..=2.4;

/// Where a measure counts under some conditions, and in words how that differs from its own band.
#[derive(Debug, Clone, PartialEq)]
struct Band {
    starts: f64,
    full: f64,
    basis: String,
}

impl Band {
    /// A type of serve with a band of its own is judged by that; a second serve whose type nobody
    /// said by the band that asks least; one of which nothing is known as a flat serve. Then both
    /// ends scale with stature where the measure says so.
    fn of(measure: &FaultMeasure, serve_type: Option<ServeType>, conditions: &Conditions) -> Self {
        let own = (measure.starts, measure.full);
        let mut basis = measure.basis.clone();
        let mut add = |text: String| {
            basis.push(' ');
            basis.push_str(&text);
        };
        let typed = match (serve_type, conditions.attempt) {
            (Some(known), _) => measure.by_type.iter().find(|band| band.serve_type == known),
            (None, Some(Attempt::Second)) => {
                measure.by_type.iter().max_by(|a, b| match measure.direction {
                    Direction::Below => b.starts.total_cmp(&a.starts),
                    Direction::Above => a.starts.total_cmp(&b.starts),
                })
            }
            (None, _) => None,
        };
        let (mut starts, mut full) = typed.map_or(own, |band| (band.starts, band.full));
        match (typed, serve_type) {
            (Some(band), Some(_)) => {
                add(format!("Judged as a {}: {}", band.serve_type.label(), band.basis));
            }
            (Some(band), None) => add(format!(
                "A second serve of unknown spin, so judged as a {}: {}",
                band.serve_type.label(),
                band.basis
            )),
            (None, None) if !measure.by_type.is_empty() => {
                let others: Vec<String> = measure
                    .by_type
                    .iter()
                    .map(|band| format!("a {} from {}", band.serve_type.label(), band.starts))
                    .collect();
                add(format!(
                    "The type of serve is not known, so judged as flat; {} would count only {}.",
                    if others.len() == 1 { "another" } else { "others" },
                    others.join(", ")
                ));
            }
            (None, _) => {}
        }
        if measure.stature_power != 0.0 {
            match conditions.stature_m.filter(|stature| STATURES_M.contains(stature)) {
                Some(stature) => {
                    let factor = (stature / ADULT_STATURE_M).powf(measure.stature_power);
                    (starts, full) = (starts * factor, full * factor);
                    add(format!("Scaled to a stature of {stature:.2} m."));
                }
                None => add(format!(
                    "The player's stature is not known, so it is taken as {ADULT_STATURE_M} m."
                )),
            }
        }
        Self { starts, full, basis }
    }
}

/// One measure's share in a suspicion.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Evidence {
    /// The measure.
    pub measure: String,
    /// Median over the serves, in `unit`.
    pub value: f64,
    /// Unit.
    pub unit: String,
    /// Half width within which the player's usual value should lie 9 times of 10.
    pub give_or_take: f64,
    /// Lowest and highest serve.
    pub range: (f64, f64),
    /// Serves in which it could be read.
    pub serves: usize,
    /// Which side is the fault.
    pub direction: Direction,
    /// Where it begins to count.
    pub starts: f64,
    /// Where it counts fully.
    pub full: f64,
    /// Expected share of the way from `starts` to `full`, 0 to 1.
    pub score: f64,
    /// How far to trust the reading, 0 to 1.
    pub trust: f64,
    /// Published rows behind the band.
    pub sources: Vec<String>,
    /// How the band follows from them, "our estimate" or "common practice, no source", and how it
    /// was fitted to type of serve and stature.
    pub basis: String,
}

/// What can be said about one fault.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// Judged from measures.
    Scored {
        /// 0 (nothing of it) to 1 (as strong as it gets).
        score: f64,
        /// How far to trust the score, 0 to 1.
        trust: f64,
        /// The measures behind it.
        evidence: Vec<Evidence>,
        /// Measures of this fault that this recording could not give, and why.
        missing: Vec<String>,
    },
    /// Judged from what the player or coach answered.
    Answered {
        /// What the answer scores, 0 to 1.
        score: f64,
        /// The answer in words.
        answer: String,
    },
    /// Not judged, and why; never to be read as "fine".
    NotDetectable {
        /// The reason for a coach.
        why: String,
        /// The question to ask instead, where there is one.
        ask: Option<String>,
    },
}

/// A fault and what the serves say about it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suspicion {
    /// Catalogue id.
    pub fault: String,
    /// The finding.
    pub finding: Finding,
}

impl Suspicion {
    /// The score, where the fault could be judged.
    #[must_use]
    pub fn score(&self) -> Option<f64> {
        match self.finding {
            Finding::Scored { score, .. } | Finding::Answered { score, .. } => Some(score),
            Finding::NotDetectable { .. } => None,
        }
    }

    /// Whether the fault is suspected, at [`SUSPECTED`].
    #[must_use]
    pub fn suspected(&self) -> bool {
        self.score().is_some_and(|score| score >= SUSPECTED)
    }
}

/// Every fault of the catalogue judged from the readings of one day's serves.
///
/// `serves`: of one player and either all practice swings or none. Result: one suspicion per fault
/// in catalogue order.
///
/// How poor the sources are is judged measure by measure: serves from one source (capture, view,
/// rate) belong together, sources that cannot show a fault are left out for it, and of the others
/// the one counts that reads the measure best: with the smallest standard error of the player's
/// usual value, own error and spread within a player over the root of the number of serves. So a
/// slow clip does not veto a fast one, and a second view of the same serves does not count twice.
///
/// Over several serves the median counts; its uncertainty is the reading's own error (which does not
/// shrink with repetition) and the spread from serve to serve over the square root of their number.
/// The score of a measure is its expected place between `starts` and `full` under that uncertainty,
/// so a poor reading near a threshold scores near the middle instead of flipping. A fault is not
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
            Some(source) => source.serves.push(serve.readings),
            None => sources.push(Source { recorded: serve.recorded, serves: vec![serve.readings] }),
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
    serves: Vec<&'a [ServeReading]>,
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
    let score = match fault.combine {
        Combine::Mean => {
            weights.iter().zip(&evidence).map(|(weight, found)| weight * found.score).sum::<f64>()
                / total
        }
        Combine::Strongest => evidence.iter().map(|found| found.score).fold(0.0, f64::max),
    };
    if fault.only_with.is_empty() {
        return Finding::Scored { score, trust, evidence, missing };
    }
    let mut incomplete: Option<f64> = None;
    for measure in &fault.only_with {
        match read(measure, &sources, asked) {
            Ok(found) => {
                incomplete = Some(incomplete.map_or(found.score, |most| most.max(found.score)));
                evidence.push(found);
            }
            Err(why) => missing.push(format!("{}: {why}", measure.measure)),
        }
    }
    match incomplete {
        Some(most) => Finding::Scored { score: score.min(most), trust, evidence, missing },
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

/// A measure from the source that reads it best, the first of equals.
fn read(
    measure: &FaultMeasure,
    sources: &[&Source<'_>],
    asked: &Asked<'_>,
) -> Result<Evidence, String> {
    let spread = MEASURES.iter().find(|def| def.id == measure.measure);
    let spread = spread.map_or(0.0, |def| def.within_player_sd);
    let mut best: Option<(f64, Evidence)> = None;
    let mut missing = None;
    for source in sources {
        match read_from(measure, &source.serves, asked) {
            Ok((own, evidence)) => {
                let error = own.hypot(spread / (evidence.serves as f64).sqrt());
                if best.as_ref().is_none_or(|held| error < held.0) {
                    best = Some((error, evidence));
                }
            }
            Err(why) => missing = missing.or(Some(why)),
        }
    }
    best.map(|best| best.1)
        .ok_or_else(|| missing.unwrap_or_else(|| "no serve to read it from".into()))
}

/// A measure over the serves of one source, and the standard error of one reading.
fn read_from(
    measure: &FaultMeasure,
    serves: &[&[ServeReading]],
    asked: &Asked<'_>,
) -> Result<(f64, Evidence), String> {
    let mut values = Vec::new();
    let mut errors = Vec::new();
    let mut trusts = Vec::new();
    let mut reason = None;
    for readings in serves {
        match readings.iter().find(|found| found.measure == measure.measure) {
            Some(ServeReading {
                reading: Reading::Value { value, trust, give_or_take }, ..
            }) if *trust >= LEAST_TRUST && value.is_finite() => {
                values.push(*value);
                errors.push(*give_or_take);
                trusts.push(*trust);
            }
            Some(ServeReading { reading: Reading::Value { .. }, .. }) => {
                reason = reason.or(Some("the reading is too unsure".to_owned()))
            }
            Some(ServeReading { reading: Reading::NotMeasurable { why }, .. }) => {
                reason = reason.or(Some(why.clone()))
            }
            None => reason = reason.or(Some("not read from this recording".to_owned())),
        }
    }
    if values.is_empty() {
        return Err(reason.unwrap_or_else(|| "no serve to read it from".into()));
    }
    let value = median(&mut values.clone());
    let own = median(&mut errors) / NINE_OF_TEN;
    let between = spread(&values, value) / (values.len() as f64).sqrt();
    let error = own.hypot(between);
    let band = Band::of(measure, asked.serve_type, asked.conditions);
    let evidence = Evidence {
        measure: measure.measure.clone(),
        value,
        unit: measure.unit.clone(),
        give_or_take: NINE_OF_TEN * error,
        range: values
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v))),
        serves: values.len(),
        direction: measure.direction,
        starts: band.starts,
        full: band.full,
        score: ramp(value, error, band.starts, band.full),
        trust: median(&mut trusts),
        sources: measure.sources.clone(),
        basis: band.basis,
    };
    Ok((own, evidence))
}

/// Expected `clamp((x - starts) / (full - starts), 0, 1)` for x normal about `value`.
fn ramp(value: f64, error: f64, starts: f64, full: f64) -> f64 {
    let at = (value - starts) / (full - starts);
    let error = (error / (full - starts)).abs();
    if !(error.is_finite() && error > 1e-9) {
        return at.clamp(0.0, 1.0);
    }
    // E[(x - a)+] for x ~ N(at, error).
    let standard = Normal::standard();
    let above = |a: f64| {
        let z = (at - a) / error;
        (at - a) * standard.cdf(z) + error * standard.pdf(z)
    };
    (above(0.0) - above(1.0)).clamp(0.0, 1.0)
}

fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n % 2 == 1 { values[n / 2] } else { f64::midpoint(values[n / 2 - 1], values[n / 2]) }
}

/// Robust spread: 1.4826 times the median distance from `centre` (equals the standard deviation
/// of normal data).
fn spread(values: &[f64], centre: f64) -> f64 {
    let mut distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    1.482_602_218_505_602 * median(&mut distances)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(measure: &str, value: f64, give_or_take: f64) -> ServeReading {
        ServeReading {
            measure: measure.into(),
            reading: Reading::Value { value, trust: 0.9, give_or_take },
        }
    }

    fn source(capture: Capture, rate_hz: f64) -> Recorded {
        Recorded { capture, view: None, rate_hz }
    }

    fn markers<'a>(readings: &'a [ServeReading], serve_type: Option<ServeType>) -> Observed<'a> {
        Observed { readings, recorded: source(Capture::Markers, 240.0), serve_type }
    }

    /// All faults judged from serves of one source of which nothing else is known.
    fn judged(serves: &[&[ServeReading]], recorded: Recorded) -> Vec<Suspicion> {
        let observed = |readings| Observed { readings, recorded, serve_type: None };
        let serves: Vec<Observed<'_>> = serves.iter().map(|&each| observed(each)).collect();
        detect(Catalogue::builtin(), &serves, &Conditions::default())
    }

    fn of<'a>(found: &'a [Suspicion], fault: &str) -> &'a Suspicion {
        found.iter().find(|suspicion| suspicion.fault == fault).unwrap()
    }

    #[test]
    fn ramp_is_the_expected_clamp() {
        // Against numeric integration of the definition.
        for (at, error) in [(50.0, 5.0), (41.0, 8.0), (20.0, 3.0), (35.0, 20.0), (60.0, 4.0)] {
            let mut sum = 0.0;
            let steps = 20_000;
            let normal = Normal::new(at, error).unwrap();
            for n in 0..steps {
                let x = at + error * 8.0 * ((f64::from(n) + 0.5) / f64::from(steps) * 2.0 - 1.0);
                let share = ((x - 50.0) / (32.0 - 50.0)).clamp(0.0, 1.0);
                sum += share * normal.pdf(x) * error * 16.0 / f64::from(steps);
            }
            let got = ramp(at, error, 50.0, 32.0);
            assert!((got - sum).abs() < 1e-5, "at {at}: {got} against {sum}");
        }
        assert_eq!(ramp(41.0, 0.0, 50.0, 32.0), 0.5);
    }

    #[test]
    fn the_median_of_several_serves_counts() {
        let conditions = source(Capture::Markers, 240.0);
        let serves: Vec<Vec<ServeReading>> = [64.0, 66.0, 10.0, 65.0, 67.0]
            .iter()
            .map(|&knee| vec![value("front_knee_flexion_trophy", knee, 3.0)])
            .collect();
        let slices: Vec<&[ServeReading]> = serves.iter().map(Vec::as_slice).collect();
        let found = judged(&slices, conditions);
        assert!(!of(&found, "shallow_leg_drive").suspected());
        let found = judged(&slices[2..3], conditions);
        assert!(of(&found, "shallow_leg_drive").suspected());
    }

    #[test]
    fn what_cannot_be_seen_is_never_fine() {
        let catalogue = Catalogue::builtin();
        let found = judged(&[], source(Capture::Markers, 240.0));
        assert_eq!(found.len(), catalogue.faults().len());
        assert!(found.iter().all(|suspicion| suspicion.score().is_none()));
        let readings = [ServeReading {
            measure: "palm_turn_after_contact".into(),
            reading: Reading::NotMeasurable { why: "no hand joints".into() },
        }];
        let found = judged(&[&readings], source(Capture::Markers, 240.0));
        let Finding::NotDetectable { why, .. } = &of(&found, "no_turn_after_contact").finding
        else {
            panic!("must not be judged");
        };
        assert!(why.contains("no hand joints"), "{why}");
        let found = judged(&[&readings], source(Capture::DepthSensor, 15.0));
        let Finding::NotDetectable { why, .. } = &of(&found, "no_turn_after_contact").finding
        else {
            panic!("must not be judged");
        };
        assert!(why.starts_with("15 Hz"), "{why}");
    }

    /// A low contact alone also comes from a hanging elbow or bent legs: without the arm's bend it is
    /// no finding.
    #[test]
    fn a_fault_is_not_judged_without_the_measure_it_needs() {
        let conditions = source(Capture::OneCameraLifted, 60.0);
        let low = value("contact_height_ratio", 1.05, 0.12);
        let bent = value("elbow_flexion_contact", 75.0, 8.0);
        let unseen = ServeReading {
            measure: "elbow_flexion_contact".into(),
            reading: Reading::NotMeasurable { why: "one camera: may be off".into() },
        };
        let found = judged(&[&[low.clone(), bent.clone()]], conditions);
        assert!(of(&found, "low_contact").suspected());
        let found = judged(&[&[low, unseen]], conditions);
        let Finding::NotDetectable { why, ask } = &of(&found, "low_contact").finding else {
            panic!("must not be judged");
        };
        assert!(why.contains("elbow_flexion_contact: one camera"), "{why}");
        assert!(ask.as_deref().is_some_and(|ask| ask.contains("arm bent")));
        // The other way round the arm alone is enough.
        let found = judged(&[&[bent]], conditions);
        assert!(of(&found, "low_contact").suspected());
    }

    #[test]
    fn a_low_toss_explains_the_hurry() {
        let conditions = source(Capture::Markers, 120.0);
        let hurry = value("toss_start_to_contact_time", 0.85, 0.05);
        let sound = value("release_to_contact_time", 0.85, 0.05);
        let short = value("front_knee_flexion_trophy", 50.0, 3.0);
        let found = judged(&[&[hurry.clone(), sound, short.clone()]], conditions);
        assert!(of(&found, "rushed_tempo").suspected());
        let low = value("release_to_contact_time", 0.55, 0.05);
        let found = judged(&[&[hurry, low, short]], conditions);
        assert!(of(&found, "toss_low").suspected());
        let Finding::NotDetectable { why, .. } = &of(&found, "rushed_tempo").finding else {
            panic!("must not be judged");
        };
        assert!(why.contains("'Toss too low' is suspected"), "{why}");
    }

    #[test]
    fn the_grip_is_asked() {
        let catalogue = Catalogue::builtin();
        let serve = markers(&[], None);
        let mut conditions = Conditions::default();
        let found = detect(catalogue, &[serve], &conditions);
        let Finding::NotDetectable { ask, .. } = &of(&found, "grip_towards_bevel_1").finding else {
            panic!("must be asked");
        };
        assert!(ask.as_deref().unwrap().contains("heel pad"));
        // Common practice, no source: continental is knuckle and heel pad on bevel 2.
        conditions.index_knuckle = Some(2);
        conditions.heel_pad = Some(2);
        let found = detect(catalogue, &[serve], &conditions);
        assert_eq!(of(&found, "grip_towards_bevel_1").score(), Some(0.0));
        assert_eq!(of(&found, "forehand_grip").score(), Some(0.0));
        // On bevel 1 lie many sound continental grips; beyond it, doubt is left.
        conditions.heel_pad = Some(1);
        let found = detect(catalogue, &[serve], &conditions);
        assert_eq!(of(&found, "grip_towards_bevel_1").score(), Some(0.0));
        conditions.heel_pad = Some(8);
        let found = detect(catalogue, &[serve], &conditions);
        assert_eq!(of(&found, "grip_towards_bevel_1").score(), Some(0.6));
        conditions.index_knuckle = Some(3);
        let found = detect(catalogue, &[serve], &conditions);
        assert_eq!(of(&found, "forehand_grip").score(), Some(1.0));
    }

    /// A kick is hit about 17 cm further back than a flat serve (R091): with 1.75 m and a flat
    /// serve hit 0.13 statures in front, at 0.03.
    #[test]
    fn a_kick_is_judged_as_a_kick() {
        let catalogue = Catalogue::builtin();
        let kick = [value("contact_forward", 0.03, 0.02), value("arch_greatest", 44.0, 3.0)];
        let judged = |serve_type, attempt| {
            let conditions = Conditions { attempt, ..Conditions::default() };
            let found = detect(catalogue, &[markers(&kick, serve_type)], &conditions);
            (of(&found, "toss_behind").suspected(), of(&found, "lumbar_arch").suspected())
        };
        assert_eq!(judged(None, None), (true, true), "as a flat serve it would be far back");
        assert_eq!(judged(Some(ServeType::Kick), None), (false, false));
        assert_eq!(judged(Some(ServeType::Slice), None), (true, true));
        // A second serve whose type nobody said may be a kick.
        assert_eq!(judged(None, Some(Attempt::Second)), (false, false));
        assert_eq!(judged(None, Some(Attempt::First)), (true, true));
        // What it was judged as is said.
        let found = detect(catalogue, &[markers(&kick, None)], &Conditions::default());
        let Finding::Scored { evidence, .. } = &of(&found, "toss_behind").finding else {
            panic!("judged");
        };
        assert!(evidence[0].basis.contains("not known, so judged as flat"), "{evidence:?}");
    }

    /// The root of 1.30 over 1.75 is 0.862: 0.70 s leave a child of 1.30 m what 0.81 s leave an adult,
    /// so the toss is low for the adult alone.
    #[test]
    fn times_of_a_falling_ball_go_with_the_root_of_stature() {
        let catalogue = Catalogue::builtin();
        let readings = [
            value("release_to_contact_time", 0.58, 0.02),
            value("front_knee_flexion_trophy", 48.0, 3.0),
        ];
        let low = |stature_m| {
            let conditions = Conditions { stature_m, ..Conditions::default() };
            let found = detect(catalogue, &[markers(&readings, None)], &conditions);
            let Finding::Scored { score, evidence, .. } = &of(&found, "toss_low").finding else {
                panic!("judged");
            };
            (*score >= SUSPECTED, evidence[0].starts)
        };
        assert!(low(Some(1.75)).0 && low(None).0);
        let (suspected, starts) = low(Some(1.30));
        assert!(!suspected);
        assert!((starts - 0.75 * 0.862).abs() < 0.001, "{starts}");
        // A typing error scales nothing.
        assert_eq!(low(Some(130.0)), low(None));
    }

    /// A quick serve on a low toss with whole legs and a whole drop is a style.
    #[test]
    fn a_whole_quick_serve_is_a_style() {
        let recorded = source(Capture::Markers, 240.0);
        let quick = [
            value("release_to_contact_time", 0.55, 0.02),
            value("toss_start_to_contact_time", 0.85, 0.02),
        ];
        let cut_short = |knee: f64, forearm: f64| {
            let mut readings = quick.to_vec();
            readings.push(value("front_knee_flexion_trophy", knee, 3.0));
            readings.push(value("forearm_lowest", forearm, 3.0));
            let found = judged(&[&readings], recorded);
            of(&found, "toss_low").suspected() || of(&found, "rushed_tempo").suspected()
        };
        assert!(!cut_short(68.0, -10.0));
        assert!(cut_short(48.0, -10.0), "the knees are cut short");
        assert!(cut_short(68.0, 35.0), "the drop is cut short");
        // Whether it is whole cannot be read: not judged, never fine.
        let found = judged(&[&quick], recorded);
        let Finding::NotDetectable { why, .. } = &of(&found, "toss_low").finding else {
            panic!("must not be judged");
        };
        assert!(why.contains("a style if the rest of the serve is complete"), "{why}");
    }

    /// Two clips of the same serves: of each measure the better reading counts, whichever clip has it.
    #[test]
    fn of_several_recordings_the_best_reading_of_each_measure_counts() {
        let catalogue = Catalogue::builtin();
        let knee = |bend, give| value("front_knee_flexion_trophy", bend, give);
        let fast = [knee(66.0, 4.0), value("knee_extension_lead", 0.30, 0.03)];
        let slow = [knee(20.0, 30.0)];
        let observed = |readings, rate_hz| Observed {
            readings,
            recorded: source(Capture::OneCameraLifted, rate_hz),
            serve_type: None,
        };
        let clips: [Observed<'_>; 2] = [observed(&slow[..], 30.0), observed(&fast[..], 120.0)];
        for clips in [clips, [clips[1], clips[0]]] {
            let found = detect(catalogue, &clips, &Conditions::default());
            // The slow clip's poor reading neither counts nor is pooled with the good one.
            let Finding::Scored { evidence, .. } = &of(&found, "shallow_leg_drive").finding else {
                panic!("must be judged");
            };
            assert_eq!((evidence[0].value, evidence[0].serves), (66.0, 1));
            // Nor does the slow clip veto what the fast one shows: 50 Hz are needed.
            assert!(of(&found, "late_leg_drive").score().is_some());
        }
        let found = detect(catalogue, &clips[..1], &Conditions::default());
        assert_eq!(of(&found, "late_leg_drive").score(), None);
        // A measure only the slow clip has is read from it.
        let slow = [value("tossing_arm_fall_time", 0.1, 0.05)];
        let clips = [Observed { readings: &slow, ..clips[0] }, clips[1]];
        let found = detect(catalogue, &clips, &Conditions::default());
        assert!(of(&found, "tossing_arm_drops_early").score().is_some());
    }

    #[test]
    fn serves_with_a_ball_go_before_practice_swings() {
        let (straight, bent) = (
            [value("front_knee_flexion_trophy", 20.0, 4.0)],
            [value("front_knee_flexion_trophy", 70.0, 4.0)],
        );
        let (swing, ball) = (markers(&straight, None), markers(&bent, None));
        let suspected = |swings: &[Observed<'_>], balls: &[Observed<'_>]| {
            let day = ObservedDay { swings: swings.to_vec(), balls: balls.to_vec() };
            let found = day.suspicions(Catalogue::builtin(), &Conditions::default());
            of(&found, "shallow_leg_drive").suspected()
        };
        assert!(suspected(&[swing], &[]) && !suspected(&[swing], &[ball]));
        assert!(!suspected(&[ball], &[]) && suspected(&[ball], &[swing]));
    }
}
