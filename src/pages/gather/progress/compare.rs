//! Two days of one player held against each other: measures and curves.

use std::rc::Rc;

use curve_index::{DtwParams, Scratch, ValidDtwParams, dtw};
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::catalogue::{Catalogue, Direction};
use crate::drawing::channel::directions;
use crate::drawing::{Band, Seen, channels_of, warp_to_events};
use crate::library::ServeRow;
use crate::looks::{Change, Pair, best};
use crate::matcher::{BAND_FRAMES, phase_frames};
use crate::pages::course::{ChannelMoved, CurvesMoved, StepDrawing};
use crate::serve::{CURVE_FRAMES, ChannelDef, Curve, MEASURES, PHASES, channels};

/// Every measure that looks of both days have but the one already told, in the order of the table.
pub(super) fn other_measures(
    catalogue: &Catalogue,
    pairs: &[Pair<'_>],
    told: Option<&Change>,
) -> Vec<Change> {
    MEASURES
        .iter()
        .filter(|def| told.is_none_or(|told| told.def.id != def.id))
        .filter_map(|def| Some(best(def, side(catalogue, def.id), pairs)?.1))
        .collect()
}

/// Whether a larger value is better; `None` where no fault reads the measure, or faults disagree.
fn side(catalogue: &Catalogue, measure: &str) -> Option<bool> {
    let mut sides = catalogue
        .faults()
        .flat_map(|fault| &fault.measures)
        .filter(|shows| shows.measure == measure)
        .map(|shows| shows.direction == Direction::Below);
    let first = sides.next()?;
    sides.all(|side| side == first).then_some(first)
}

/// The whole serves of two looks that compare.
pub(super) struct Sides {
    pub(super) before: Vec<Rc<ServeRow>>,
    pub(super) after: Vec<Rc<ServeRow>>,
    /// Where they are drawn from.
    pub(super) seen: Seen,
}

/// What the curves of two days say; `None` where they do not share a channel set.
pub(super) fn curves(sides: &Sides) -> Option<CurvesMoved> {
    let (set, before, after) = one_set(sides)?;
    let defs = channels(set);
    let distances = Distances::new(defs.len())?;
    let within = |serves: &[&ServeRow]| {
        let pairs = serves.iter().enumerate().flat_map(|(i, a)| {
            serves[..i].iter().map(|b| distances.apart(&a.serve.curve, &b.serve.curve))
        });
        root_mean_square(pairs.collect())
    };
    let between = root_mean_square(
        before
            .iter()
            .flat_map(|a| after.iter().map(|b| distances.apart(&a.serve.curve, &b.serve.curve)))
            .collect(),
    )?;
    let enough = before.len() + after.len() >= 4;
    let mut moved = if enough { channels_moved(defs, &before, &after) } else { Vec::new() };
    moved.sort_by(|a, b| {
        let scaled = |m: &ChannelMoved| {
            defs.iter().find(|def| def.name == m.name).map_or(0.0, |def| m.by.abs() / def.scale)
        };
        scaled(b).total_cmp(&scaled(a))
    });
    Some(CurvesMoved {
        within_before: within(&before),
        within_after: within(&after),
        between,
        moved,
        channels: if enough { defs.len() } else { 0 },
    })
}

/// The channel set most of the compared serves share, and those of each side that have it.
fn one_set(sides: &Sides) -> Option<(&str, Vec<&ServeRow>, Vec<&ServeRow>)> {
    let of = |serves: &[Rc<ServeRow>], set: &str| -> Vec<usize> {
        let has = |row: &ServeRow| {
            let curve = &row.serve.curve;
            curve.channel_set == set
                && curve.values.len() == CURVE_FRAMES * curve.channels
                && channels(&curve.channel_set).len() == curve.channels
        };
        (0..serves.len()).filter(|&at| has(&serves[at])).collect()
    };
    let sets = sides.after.iter().map(|row| row.serve.curve.channel_set.as_str());
    let pick = |set| (set, of(&sides.before, set), of(&sides.after, set));
    let (set, before, after) = sets
        .map(pick)
        .filter(|(_, before, after)| !before.is_empty() && !after.is_empty())
        .max_by_key(|(set, before, after)| (before.len() + after.len(), std::cmp::Reverse(*set)))?;
    fn rows(serves: &[Rc<ServeRow>], at: Vec<usize>) -> Vec<&ServeRow> {
        at.into_iter().map(|at| &*serves[at]).collect()
    }
    Some((set, rows(&sides.before, before), rows(&sides.after, after)))
}

struct Distances {
    params: ValidDtwParams,
}

impl Distances {
    fn new(channels: usize) -> Option<Self> {
        let params = DtwParams::new(channels).band_frames(BAND_FRAMES).check().ok()?;
        Some(Self { params })
    }

    /// Cost of the alignment per sample and channel; 0 = the same.
    fn apart(&self, a: &Curve, b: &Curve) -> Option<f64> {
        let curve = |curve: &'_ Curve| -> Option<Vec<f32>> {
            (curve.channels == self.params.channels()).then(|| curve.values.clone())
        };
        let (a, b) = (curve(a)?, curve(b)?);
        let a = curve_index::Curve::new(&a, self.params.channels()).ok()?;
        let b = curve_index::Curve::new(&b, self.params.channels()).ok()?;
        let cost = dtw(a, b, &self.params, f64::INFINITY, &mut Scratch::default())?;
        Some(cost / (CURVE_FRAMES * self.params.channels()) as f64)
    }
}

fn root_mean_square(squares: Vec<Option<f64>>) -> Option<f64> {
    let squares: Vec<f64> = squares.into_iter().flatten().collect();
    (!squares.is_empty()).then(|| (squares.iter().sum::<f64>() / squares.len() as f64).sqrt())
}

/// The serve of one day that lies closest to its others, the first of equals.
fn typical<'a>(serves: &[&'a ServeRow]) -> Option<&'a ServeRow> {
    let distances = Distances::new(serves.first()?.serve.curve.channels)?;
    let total = |row: &&&'a ServeRow| -> f64 {
        serves
            .iter()
            .filter_map(|other| distances.apart(&row.serve.curve, &other.serve.curve))
            .sum()
    };
    serves.iter().min_by(|a, b| total(a).total_cmp(&total(b))).copied()
}

/// A channel of a curve in its unit, re-timed to the events of another serve.
fn course(curve: &Curve, def: (usize, &ChannelDef), from: &[f32; 6], to: &[f32; 6]) -> Vec<f64> {
    let values = curve.values.iter().skip(def.0).step_by(curve.channels);
    let values: Vec<f64> = values.map(|&value| f64::from(value) * def.1.scale).collect();
    warp_to_events(&values, from, to)
}

/// Each channel in the phase where the two days lie furthest apart, if that is beyond what serves
/// of one day give: a two-sided t test with their pooled spread, at one in twenty for the channel
/// (Bonferroni over its five phases), and at least a quarter of the ordinary spread between players.
fn channels_moved(
    defs: &'static [ChannelDef],
    before: &[&ServeRow],
    after: &[&ServeRow],
) -> Vec<ChannelMoved> {
    let Some(typical) = typical(after) else { return Vec::new() };
    let to = typical.serve.figures.event_samples;
    let phases = phase_frames(&to);
    let freedom = (before.len() + after.len() - 2) as f64;
    let Ok(student) = StudentsT::new(0.0, 1.0, freedom) else { return Vec::new() };
    let level = student.inverse_cdf(1.0 - 0.025 / PHASES.len() as f64);
    let mut found = Vec::new();
    for def in defs.iter().enumerate() {
        let means = |serves: &[&ServeRow], phase: usize| -> Vec<f64> {
            serves
                .iter()
                .map(|row| {
                    let from = &row.serve.figures.event_samples;
                    let course = course(&row.serve.curve, def, from, &to);
                    let part = &course[phases[phase].clone()];
                    part.iter().sum::<f64>() / part.len() as f64
                })
                .collect()
        };
        let mut furthest: Option<ChannelMoved> = None;
        for (phase, about) in PHASES.iter().enumerate() {
            if phases[phase].len() < 2 {
                continue;
            }
            let (a, b) = (means(before, phase), means(after, phase));
            let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
            let squares = |values: &[f64]| {
                let middle = mean(values);
                values.iter().map(|value| (value - middle).powi(2)).sum::<f64>()
            };
            let spread = ((squares(&a) + squares(&b)) / freedom).sqrt();
            let detectable = level * spread * (1.0 / a.len() as f64 + 1.0 / b.len() as f64).sqrt();
            let by = mean(&b) - mean(&a);
            let real = by.is_finite() && by.abs() > detectable.max(def.1.scale / 4.0);
            if real && furthest.as_ref().is_none_or(|known| by.abs() > known.by.abs()) {
                let [larger, smaller] = directions(def.1);
                furthest = Some(ChannelMoved {
                    name: def.1.name,
                    label: def.1.label,
                    part: def.1.part,
                    phase: about.name,
                    phase_label: about.label,
                    by,
                    unit: if def.1.unit == "ratio" { "statures" } else { def.1.unit },
                    direction: if by > 0.0 { larger } else { smaller },
                    detectable,
                });
            }
        }
        found.extend(furthest);
    }
    found
}

/// The typical later serve with the typical earlier one behind it, and the channels that show the
/// fault and the furthest move, with the earlier serves as band.
pub(super) fn drawing(
    catalogue: &Catalogue,
    sides: &Sides,
    fault: Option<&str>,
    moved: Option<&CurvesMoved>,
) -> Option<StepDrawing> {
    let (_, before, after) = one_set(sides)?;
    let (behind, this) = (typical(&before)?, typical(&after)?);
    let events = this.serve.figures.event_samples;
    let mut all = channels_of(&this.serve.curve, &events, &[]);
    let defs = channels(&this.serve.curve.channel_set);
    for (channel, def) in all.iter_mut().zip(defs.iter().enumerate()) {
        let earlier: Vec<Vec<f64>> = before
            .iter()
            .map(|row| {
                let from = &row.serve.figures.event_samples;
                course(&row.serve.curve, def, from, &events)
            })
            .collect();
        channel.band = Band::around(&earlier, "earlier serve");
    }
    if let Some(fault) = fault {
        super::super::put_first(&mut all, catalogue, fault);
    }
    let second = moved
        .and_then(|moved| moved.moved.iter().find(|one| one.name != all[0].name))
        .and_then(|one| all.iter().position(|channel| channel.name == one.name));
    let mut shown = vec![all[0].clone()];
    shown.extend(second.map(|at| all[at].clone()));
    Some(StepDrawing {
        figures: this.serve.figures.clone(),
        events: this.serve.events.to_vec(),
        behind: behind.serve.figures.clone(),
        channels: shown,
        seen: sides.seen,
    })
}
