//! Two days of one player compared: measures and curves.

use std::num::NonZeroUsize;
use std::rc::Rc;

use curve_index::{DtwParams, Scratch, ValidDtwParams, dtw, medoid, pairwise};
use statrs::distribution::{ContinuousCDF, StudentsT};

use crate::catalogue::{Catalogue, Direction};
use crate::drawing::channel::directions;
use crate::drawing::{Band, Viewpoint, channels_of, warp_to_events};
use crate::library::ServeRow;
use crate::looks::{Change, Pair, best};
use crate::matcher::{BAND_FRAMES, phase_frames};
use crate::pages::course::{ChannelMoved, CurvesMoved, StepDrawing};
use crate::serve::{CURVE_FRAMES, ChannelDef, Curve, MEASURES, PHASES, channels};
use crate::work::{Stopped, Watch};

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

/// The serves of two looks that share a channel set, and how far apart their curves lie.
pub(super) struct Sides<'a> {
    set: &'a str,
    before: Side<'a>,
    after: Side<'a>,
    /// Cost of aligning each earlier serve with each later one.
    between: Vec<f64>,
}

/// The serves of one day, at least one.
struct Side<'a> {
    serves: Vec<&'a ServeRow>,
    /// Costs of aligning them with each other.
    within: Vec<f64>,
    /// The one that lies closest to its others, the first of equals.
    typical: &'a ServeRow,
}

impl<'a> Side<'a> {
    /// `None` where a curve does not fit the engine.
    fn of(serves: Vec<&'a ServeRow>, params: &ValidDtwParams) -> Option<Self> {
        let curves: Vec<_> = serves.iter().copied().filter_map(curve).collect();
        let within = pairwise(&curves, params, f64::INFINITY, NonZeroUsize::MIN).ok()?;
        let typical = *serves.get(medoid(&within).ok()?)?;
        Some(Self { serves, within: within.into_costs(), typical })
    }
}

fn curve(row: &ServeRow) -> Option<curve_index::Curve<'_>> {
    let curve = &row.serve.curve;
    curve_index::Curve::new(&curve.values, curve.channels).ok()
}

impl<'a> Sides<'a> {
    /// The serves of the channel set most of both looks share; `None` where they share none.
    ///
    /// Cost: one alignment per pair of serves, asking `watch` before each earlier serve.
    pub(super) fn of(
        before: &'a [Rc<ServeRow>],
        after: &'a [Rc<ServeRow>],
        watch: &Watch,
    ) -> Result<Option<Self>, Stopped> {
        let Some((set, before, after)) = one_set(before, after) else { return Ok(None) };
        let params = DtwParams::new(channels(set).len()).band_frames(BAND_FRAMES).check();
        let Ok(params) = params else { return Ok(None) };
        let (before, after) = (Side::of(before, &params), Side::of(after, &params));
        let (Some(before), Some(after)) = (before, after) else { return Ok(None) };
        let mut between = Vec::with_capacity(before.serves.len() * after.serves.len());
        let mut scratch = Scratch::default();
        for a in before.serves.iter().copied().filter_map(curve) {
            watch.check()?;
            let others = after.serves.iter().copied().filter_map(curve);
            between.extend(others.filter_map(|b| dtw(a, b, &params, f64::INFINITY, &mut scratch)));
        }
        Ok(Some(Self { set, before, after, between }))
    }

    /// What the curves of the two days say.
    pub(super) fn curves(&self) -> Option<CurvesMoved> {
        let defs = channels(self.set);
        // Cost per sample and channel.
        let apart = |costs: &[f64]| {
            let samples = (CURVE_FRAMES * defs.len() * costs.len()) as f64;
            (!costs.is_empty()).then(|| (costs.iter().sum::<f64>() / samples).sqrt())
        };
        let enough = self.before.serves.len() + self.after.serves.len() >= 4;
        let mut moved =
            if enough { channels_moved(defs, &self.before, &self.after) } else { Vec::new() };
        moved.sort_by(|a, b| {
            let scaled = |m: &ChannelMoved| {
                defs.iter().find(|def| def.name == m.name).map_or(0.0, |def| m.by.abs() / def.scale)
            };
            scaled(b).total_cmp(&scaled(a))
        });
        Some(CurvesMoved {
            within_before: apart(&self.before.within),
            within_after: apart(&self.after.within),
            between: apart(&self.between)?,
            moved,
            channels: if enough { defs.len() } else { 0 },
        })
    }
}

/// The channel set most of the compared serves share, and those of each side that have it.
fn one_set<'a>(
    before: &'a [Rc<ServeRow>],
    after: &'a [Rc<ServeRow>],
) -> Option<(&'a str, Vec<&'a ServeRow>, Vec<&'a ServeRow>)> {
    fn of<'a>(serves: &'a [Rc<ServeRow>], set: &str) -> Vec<&'a ServeRow> {
        let has = |row: &&ServeRow| {
            let held = &row.serve.curve;
            held.channel_set == set
                && held.values.len() == CURVE_FRAMES * held.channels
                && channels(&held.channel_set).len() == held.channels
                && curve(row).is_some()
        };
        serves.iter().map(|row| &**row).filter(has).collect()
    }
    let sets = after.iter().map(|row| row.serve.curve.channel_set.as_str());
    sets.map(|set| (set, of(before, set), of(after, set)))
        .filter(|(_, before, after)| !before.is_empty() && !after.is_empty())
        .max_by_key(|(set, before, after)| (before.len() + after.len(), std::cmp::Reverse(*set)))
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
    before: &Side<'_>,
    after: &Side<'_>,
) -> Vec<ChannelMoved> {
    let to = after.typical.serve.figures.event_samples;
    let (before, after) = (&before.serves[..], &after.serves[..]);
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

impl Sides<'_> {
    /// The typical later serve, drawn from where `seen` says, with the typical earlier one behind it,
    /// and the channels that show the fault and the furthest move, with the earlier serves as band.
    pub(super) fn drawing(
        &self,
        catalogue: &Catalogue,
        fault: Option<&str>,
        moved: Option<&CurvesMoved>,
        seen: Viewpoint,
    ) -> Option<StepDrawing> {
        let (behind, this) = (self.before.typical, self.after.typical);
        let events = this.serve.figures.event_samples;
        let mut all = channels_of(&this.serve.curve, &events, &[]);
        let defs = channels(&this.serve.curve.channel_set);
        for (channel, def) in all.iter_mut().zip(defs.iter().enumerate()) {
            let earlier = self.before.serves.iter().map(|row| {
                let from = &row.serve.figures.event_samples;
                course(&row.serve.curve, def, from, &events)
            });
            channel.band = Band::around(&earlier.collect::<Vec<_>>(), "earlier serve");
        }
        if let Some(fault) = fault {
            super::super::put_first(&mut all, catalogue, fault);
        }
        let first = all.first()?.clone();
        let second = moved
            .and_then(|moved| moved.moved.iter().find(|one| one.name != first.name))
            .and_then(|one| all.iter().find(|channel| channel.name == one.name));
        Some(StepDrawing {
            figures: this.serve.figures.clone(),
            events: this.serve.events.to_vec(),
            behind: behind.serve.figures.clone(),
            behind_serve: behind.id,
            channels: [first].into_iter().chain(second.cloned()).collect(),
            seen,
        })
    }
}
