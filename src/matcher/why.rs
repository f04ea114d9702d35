//! Why two serves are as near as they are: shares of the distance by part and phase, and the
//! largest differences in degrees or statures.

use std::ops::Range;

use curve_index::{Explanation, ValidDtwParams, explain};
use serde::Serialize;

use crate::serve::{BodyPart, CURVE_FRAMES, Curve, PHASES, channels};

/// How many single differences are told.
const DIFFERENCES: usize = 3;

/// Part of the squared distance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Share {
    /// Stable name: of a part of the body or of a phase.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// 0 to 1; over all parts (or all phases) they add up to 1, or all are 0 for equal curves.
    pub share: f64,
    /// Root mean square difference of its channels, in ordinary spreads between players;
    /// unweighted, along the alignment.
    pub spreads: f64,
}

/// Where one channel differs in one phase.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// Stable name of the channel.
    pub channel: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Stable name of the phase.
    pub phase: &'static str,
    /// Name of the phase for people.
    pub phase_label: &'static str,
    /// Mean of precedent minus this serve along the alignment, in `unit`.
    pub mean: f64,
    /// `deg` or `ratio` (statures).
    pub unit: &'static str,
    /// Share of the whole squared distance, 0 to 1.
    pub share: f64,
}

/// Why a precedent is near, and where it is not.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Why {
    /// By part of the body.
    pub parts: Vec<Share>,
    /// By phase of this serve.
    pub phases: Vec<Share>,
    /// The largest differences, largest first.
    pub differences: Vec<Difference>,
    /// All of it in one sentence.
    pub sentence: String,
}

/// The samples of each phase, from the sample positions of the six events.
///
/// Phases cover all samples without gaps; a phase too short to hold a sample is empty.
#[must_use]
pub fn phase_frames(event_samples: &[f32; 6]) -> [Range<usize>; 5] {
    let mut edges = [0; 6];
    edges[5] = CURVE_FRAMES;
    for inner in 1..5 {
        // A sample belongs to the phase it lies in; out-of-order or unknown positions collapse.
        let at = event_samples[inner].clamp(0.0, CURVE_FRAMES as f32).ceil() as usize;
        edges[inner] = at.max(edges[inner - 1]).min(CURVE_FRAMES);
    }
    std::array::from_fn(|phase| edges[phase]..edges[phase + 1])
}

/// Explains the distance between a serve and another of the same channel set.
///
/// `event_samples` are the query's. `None` if the set's channels are unknown or a curve does not
/// fit it. Cost: one full alignment, 101 x 101 cells.
#[must_use]
pub fn explain_pair(
    query: &Curve,
    event_samples: &[f32; 6],
    other: &[f32],
    params: &ValidDtwParams,
) -> Option<Why> {
    let defs = channels(&query.channel_set);
    if defs.len() != query.channels || params.channels() != query.channels {
        return None;
    }
    let a = curve_index::Curve::new(&query.values, query.channels).ok()?;
    let b = curve_index::Curve::new(other, query.channels).ok()?;
    if a.frames() != CURVE_FRAMES || b.frames() != CURVE_FRAMES {
        return None;
    }
    let told = explain(a, b, params);
    let phases = phase_frames(event_samples);
    // Signed and squared sums per channel and phase, along the path, unweighted.
    let mut sums = vec![[Sum::default(); 5]; defs.len()];
    for &(i, j) in &told.path {
        let phase = phases.iter().position(|frames| frames.contains(&i)).unwrap_or(4);
        for (channel, sums) in sums.iter_mut().enumerate() {
            let difference = f64::from(b.frame(j)[channel]) - f64::from(a.frame(i)[channel]);
            sums[phase].add(difference);
        }
    }
    let whole = |part: f64| if told.cost > 0.0 { part / told.cost } else { 0.0 };
    let share_of =
        |channel: usize, phase: usize| whole(cost_in(&told, channel, phases[phase].clone()));

    let parts: Vec<Share> = BodyPart::ALL
        .into_iter()
        .filter_map(|part| {
            let mine: Vec<usize> = (0..defs.len()).filter(|&c| defs[c].part == part).collect();
            let sum = mine.iter().flat_map(|&c| &sums[c]).fold(Sum::default(), Sum::and);
            let share = mine.iter().map(|&c| whole(cost_in(&told, c, 0..CURVE_FRAMES))).sum();
            (!mine.is_empty()).then(|| Share {
                name: part.name(),
                label: part.label(),
                share,
                spreads: sum.root_mean_square(),
            })
        })
        .collect();
    let phase_shares: Vec<Share> = PHASES
        .iter()
        .enumerate()
        .map(|(phase, def)| Share {
            name: def.name,
            label: def.label,
            share: (0..defs.len()).map(|channel| share_of(channel, phase)).sum(),
            spreads: sums
                .iter()
                .map(|of| &of[phase])
                .fold(Sum::default(), Sum::and)
                .root_mean_square(),
        })
        .collect();
    let mut differences: Vec<Difference> = Vec::new();
    let mut ranked: Vec<(f64, usize, usize)> = (0..defs.len())
        .flat_map(|channel| (0..5).map(move |phase| (channel, phase)))
        .map(|(channel, phase)| (share_of(channel, phase), channel, phase))
        .filter(|(share, ..)| *share > 0.0)
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    for (share, channel, phase) in ranked.into_iter().take(DIFFERENCES) {
        let def = &defs[channel];
        differences.push(Difference {
            channel: def.name,
            label: def.label,
            phase: PHASES[phase].name,
            phase_label: PHASES[phase].label,
            mean: sums[channel][phase].mean() * def.scale,
            unit: def.unit,
            share,
        });
    }
    let sentence = sentence(told.cost, &parts, &phase_shares, &differences);
    Some(Why { parts, phases: phase_shares, differences, sentence })
}

fn cost_in(told: &Explanation, channel: usize, frames: Range<usize>) -> f64 {
    if frames.is_empty() { 0.0 } else { told.part(channel, frames) }
}

#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    count: f64,
    signed: f64,
    squared: f64,
}

impl Sum {
    fn add(&mut self, value: f64) {
        self.count += 1.0;
        self.signed += value;
        self.squared += value * value;
    }

    fn and(self, other: &Self) -> Self {
        Self {
            count: self.count + other.count,
            signed: self.signed + other.signed,
            squared: self.squared + other.squared,
        }
    }

    fn mean(&self) -> f64 {
        if self.count > 0.0 { self.signed / self.count } else { 0.0 }
    }

    fn root_mean_square(&self) -> f64 {
        if self.count > 0.0 { (self.squared / self.count).sqrt() } else { 0.0 }
    }
}

impl Why {
    /// The same in fewer words, without a full stop: the part and phase most alike, and the largest
    /// difference.
    #[must_use]
    pub fn in_short(&self) -> String {
        let alike = alike(&self.parts, &self.phases);
        let (Some((part, phase)), Some(most)) = (alike, self.differences.first()) else {
            return self.sentence.clone();
        };
        format!(
            "most alike: {part}, {phase}; least: {} ({}: {})",
            most.label,
            most.phase_label,
            amount(most)
        )
    }
}

/// Where two serves are nearest to each other: part of the body and phase.
fn alike(parts: &[Share], phases: &[Share]) -> Option<(&'static str, &'static str)> {
    let closest = |shares: &[Share]| {
        let seen = shares.iter().filter(|share| share.spreads > 0.0 || share.share > 0.0);
        seen.min_by(|a, b| a.spreads.total_cmp(&b.spreads)).map(|share| share.label)
    };
    Some((closest(parts)?, closest(phases)?))
}

fn sentence(cost: f64, parts: &[Share], phases: &[Share], differences: &[Difference]) -> String {
    if cost <= 0.0 {
        return "the same motion, sample by sample".to_owned();
    }
    let mut text = String::new();
    if let Some((part, phase)) = alike(parts, phases) {
        text.push_str(&format!("most alike in the {part} and the {phase}"));
    }
    if let Some(most) = parts.iter().max_by(|a, b| a.share.total_cmp(&b.share)) {
        let percent = (most.share * 100.0).round();
        let label = most.label;
        text.push_str(&format!("; {percent:.0} % of the difference is in the {label}"));
    }
    if let Some(one) = differences.first() {
        text.push_str(&format!(
            "; biggest gap: {} ({}: {})",
            one.label,
            one.phase_label,
            amount(one)
        ));
    }
    text
}

fn amount(one: &Difference) -> String {
    let (size, unit) = match one.unit {
        "ratio" => (one.mean.abs() * 100.0, "% of body height"),
        unit => (one.mean.abs(), unit),
    };
    let way = if one.mean < 0.0 { "less" } else { "more" };
    // A mean near zero means that it differs both ways.
    if size < 0.5 { "now more, now less".to_owned() } else { format!("{size:.0} {unit} {way}") }
}
