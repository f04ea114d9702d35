//! Two days of one player held against each other: measures and curves.

use curve_index::{DtwParams, Scratch, ValidDtwParams, dtw};
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::look::{Alike, Looked};
use crate::catalogue::{Catalogue, Direction};
use crate::drawing::channel::directions;
use crate::drawing::{Band, channels_of, warp_to_events};
use crate::matcher::{BAND_FRAMES, phase_frames};
use crate::pages::course::{ChannelMoved, CurvesMoved, Moved, StepDrawing};
use crate::serve::{
    CURVE_FRAMES, ChannelDef, Curve, MEASURES, MeasureDef, PHASES, Reading, channels,
};

/// Half width of the stated nine-of-ten interval of a reading, in standard errors.
const NINE_OF_TEN: f64 = 1.645;

/// Mean of a measure over the serves that have it, their number, and the mean square of one
/// reading's standard error.
pub(super) struct Mean {
    pub(super) value: f64,
    pub(super) count: usize,
    square_error: f64,
}

pub(super) fn mean(serves: &[&Looked], measure: &str) -> Option<Mean> {
    let values: Vec<(f64, f64)> = serves
        .iter()
        .flat_map(|looked| &looked.serve.readings)
        .filter(|entry| entry.measure == measure)
        .filter_map(|entry| match entry.reading {
            Reading::Value { value, give_or_take, .. } if value.is_finite() => {
                Some((value, give_or_take / NINE_OF_TEN))
            }
            _ => None,
        })
        .collect();
    let count = values.len();
    (count > 0).then(|| Mean {
        value: values.iter().map(|v| v.0).sum::<f64>() / count as f64,
        count,
        square_error: values.iter().map(|v| v.1 * v.1).sum::<f64>() / count as f64,
    })
}

/// Smallest change between two means that chance and measuring give less than once in twenty.
pub(super) fn detectable(def: &MeasureDef, before: &Mean, after: &Mean) -> f64 {
    let error = f64::midpoint(before.square_error, after.square_error).sqrt();
    def.detectable_change(before.count, after.count, error)
}

/// One measure before and after; `None` where a side has no reading.
pub(super) fn moved(
    def: &'static MeasureDef,
    alike: &Alike<'_>,
    larger_is_better: Option<bool>,
) -> Option<Moved> {
    let (before, after) = (mean(&alike.before, def.id)?, mean(&alike.after, def.id)?);
    Some(Moved {
        id: def.id,
        name: def.name,
        unit: def.unit,
        before: (before.value, before.count),
        after: (after.value, after.count),
        detectable: detectable(def, &before, &after),
        larger_is_better,
    })
}

/// The measure a fault is followed by: the first it names that both sides have.
pub(super) fn main_measure(catalogue: &Catalogue, fault: &str, alike: &Alike<'_>) -> Option<Moved> {
    catalogue.fault(fault)?.measures.iter().find_map(|shows| {
        let def = MEASURES.iter().find(|def| def.id == shows.measure)?;
        moved(def, alike, Some(shows.direction == Direction::Below))
    })
}

/// Every measure both sides have but the one already told, in the order of the table.
pub(super) fn other_measures(
    catalogue: &Catalogue,
    alike: &Alike<'_>,
    told: Option<&Moved>,
) -> Vec<Moved> {
    MEASURES
        .iter()
        .filter(|def| told.is_none_or(|told| told.id != def.id))
        .filter_map(|def| moved(def, alike, side(catalogue, def.id)))
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

/// What the curves of two days say; `None` where they do not share a channel set.
pub(super) fn curves(alike: &Alike<'_>) -> Option<CurvesMoved> {
    let (set, before, after) = one_set(alike)?;
    let defs = channels(set);
    let distances = Distances::new(defs.len())?;
    let within = |serves: &[&Looked]| {
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
fn one_set<'a>(alike: &Alike<'a>) -> Option<(&'a str, Vec<&'a Looked>, Vec<&'a Looked>)> {
    let whole = |looked: &&&Looked| {
        let curve = &looked.serve.curve;
        curve.values.len() == CURVE_FRAMES * curve.channels
            && channels(&curve.channel_set).len() == curve.channels
    };
    let of = |serves: &[&'a Looked], set: &str| -> Vec<&'a Looked> {
        let serves = serves.iter().filter(whole);
        serves.filter(|looked| looked.serve.curve.channel_set == set).copied().collect()
    };
    let sets = alike.after.iter().map(|looked| looked.serve.curve.channel_set.as_str());
    let pick = |set: &'a str| (set, of(&alike.before, set), of(&alike.after, set));
    sets.map(pick)
        .filter(|(_, before, after)| !before.is_empty() && !after.is_empty())
        .max_by_key(|(set, before, after)| (before.len() + after.len(), std::cmp::Reverse(*set)))
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
fn typical<'a>(serves: &[&'a Looked]) -> Option<&'a Looked> {
    let distances = Distances::new(serves.first()?.serve.curve.channels)?;
    let total = |looked: &&&'a Looked| -> f64 {
        serves
            .iter()
            .filter_map(|other| distances.apart(&looked.serve.curve, &other.serve.curve))
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
    before: &[&Looked],
    after: &[&Looked],
) -> Vec<ChannelMoved> {
    let Some(typical) = typical(after) else { return Vec::new() };
    let to = typical.serve.figures.event_samples;
    let phases = phase_frames(&to);
    let freedom = (before.len() + after.len() - 2) as f64;
    let Ok(student) = StudentsT::new(0.0, 1.0, freedom) else { return Vec::new() };
    let level = student.inverse_cdf(1.0 - 0.025 / PHASES.len() as f64);
    let mut found = Vec::new();
    for def in defs.iter().enumerate() {
        let means = |serves: &[&Looked], phase: usize| -> Vec<f64> {
            serves
                .iter()
                .map(|looked| {
                    let from = &looked.serve.figures.event_samples;
                    let course = course(&looked.serve.curve, def, from, &to);
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
    alike: &Alike<'_>,
    fault: Option<&str>,
    moved: Option<&CurvesMoved>,
) -> Option<StepDrawing> {
    let (_, before, after) = one_set(alike)?;
    let (behind, this) = (typical(&before)?, typical(&after)?);
    let events = this.serve.figures.event_samples;
    let mut all = channels_of(&this.serve.curve, &events, &[]);
    let defs = channels(&this.serve.curve.channel_set);
    for (channel, def) in all.iter_mut().zip(defs.iter().enumerate()) {
        let earlier: Vec<Vec<f64>> = before
            .iter()
            .map(|looked| {
                let from = &looked.serve.figures.event_samples;
                course(&looked.serve.curve, def, from, &events)
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
        seen: this.kind.drawn(),
    })
}
