//! Numbers to bytes, and what a byte says about the number behind it.

use super::layout::Layout;
use crate::params::Shape;

/// Rounding slack of a code, in steps: a value behind code x lies in
/// [offset + (x - slack) step, offset + (x + 1 + slack) step], open to the outside at codes 0 and 255.
///
/// A code is the floor of (value - offset) / step in `f64`: one rounding of the difference and one of
/// the quotient, each 2^-53 relative, of a quotient below 256 wherever the code is not clamped. That
/// is below 1e-13 steps; the slack leaves room.
pub(crate) const CODE_SLACK: f64 = 1e-9;

/// Offsets and steps of all codes of one segment.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Quantiser {
    /// Coarse copy, per channel.
    pub(crate) coarse_offset: Vec<f64>,
    pub(crate) coarse_step: Vec<f64>,
    /// Sketch, per pair.
    pub(crate) pair_step: Vec<f64>,
    /// Sketch, per pair, in steps: how far a mean may be off through rounding, `CODE_SLACK` included.
    pub(crate) pair_slack: Vec<f64>,
    /// Sketch, two per pair.
    pub(crate) mean_offset: Vec<f64>,
}

/// The code of a value; clamped, never wrapped.
pub(crate) fn code(value: f64, offset: f64, step: f64) -> u8 {
    // A float cast saturates, and the quotient is no NaN: step > 0 and all are finite.
    ((value - offset) / step).floor() as u8
}

/// The value in the middle of a code's step.
pub(crate) fn middle(code: u8, offset: f64, step: f64) -> f64 {
    offset + (f64::from(code) + 0.5) * step
}

impl Quantiser {
    /// Offsets and steps that suit a sample of curves; `largest` is, per channel, at least the
    /// magnitude of every value that will be coded.
    ///
    /// Any positive steps are right; good ones give tight bounds. The range of a code is that of the
    /// sample without its outermost thousandths, so that a spike does not cost everybody resolution.
    pub(crate) fn fit(layout: &Layout, sample: &[Vec<f32>], largest: &[f64]) -> Self {
        let channels = layout.shape.channels();
        let ranges: Vec<(f64, f64)> = (0..channels)
            .map(|channel| {
                let values =
                    sample.iter().flat_map(|curve| curve[channel..].iter().step_by(channels));
                range(values.map(|&value| f64::from(value)).collect(), 0.02)
            })
            .collect();
        let widest = ranges.iter().map(|(low, high)| high - low).fold(0.0, f64::max);
        let coarse_step: Vec<f64> = (0..channels)
            .map(|channel| {
                let own = ranges[channel].1 - ranges[channel].0;
                // One step for channels of like range lets the kernel use one weight for all.
                let wide = if own * 4.0 >= widest { widest } else { own };
                (wide / 254.0).max(largest[channel] * 1e-7).max(1e-37)
            })
            .collect();
        let coarse_offset = (0..channels)
            .map(|channel| f64::midpoint(ranges[channel].0, ranges[channel].1))
            .zip(&coarse_step)
            .map(|(middle, step)| middle - 127.5 * step)
            .collect();

        let means: Vec<Vec<f64>> = sample.iter().map(|curve| means(layout, curve)).collect();
        let (mut pair_step, mut pair_slack) = (Vec::new(), Vec::new());
        let mut mean_offset = Vec::new();
        for (number, pair) in layout.pairs.iter().enumerate() {
            let both = [2 * number, 2 * number + 1]
                .map(|dim| range(means.iter().map(|means| means[dim]).collect(), 0.1));
            let wide = both.iter().map(|(low, high)| high - low).fold(0.0, f64::max);
            let step = (wide / 254.0).max(coarse_step[pair.channel] / 16.0);
            for (low, high) in both {
                mean_offset.push(f64::midpoint(low, high) - 127.5 * step);
            }
            pair_step.push(step);
            pair_slack.push(
                CODE_SLACK + mean_error(pair.segments[0].len(), largest[pair.channel]) / step,
            );
        }
        Self { coarse_offset, coarse_step, pair_step, pair_slack, mean_offset }
    }

    /// Whether curves with values up to `largest` (per channel) may be coded with this quantiser.
    pub(crate) fn covers(&self, layout: &Layout, largest: &[f64]) -> bool {
        let step_suits = |channel: usize| largest[channel] * 1e-7 <= self.coarse_step[channel];
        let mean_suits = |(number, pair): (usize, &super::Pair)| {
            let error = mean_error(pair.segments[0].len(), largest[pair.channel]);
            CODE_SLACK + error / self.pair_step[number] <= self.pair_slack[number]
        };
        (0..largest.len()).all(step_suits) && layout.pairs.iter().enumerate().all(mean_suits)
    }

    /// As stored: the five lists one behind the other.
    pub(crate) fn to_numbers(&self) -> Vec<f64> {
        [
            &self.coarse_offset,
            &self.coarse_step,
            &self.pair_step,
            &self.pair_slack,
            &self.mean_offset,
        ]
        .into_iter()
        .flatten()
        .copied()
        .collect()
    }

    /// From what was stored; `None` if it cannot be a quantiser of this layout.
    pub(crate) fn from_numbers(layout: &Layout, numbers: &[f64]) -> Option<Self> {
        let (channels, pairs) = (layout.shape.channels(), layout.pairs.len());
        let mut rest = numbers;
        let mut take = |count: usize| {
            let (head, tail) = rest.split_at_checked(count)?;
            rest = tail;
            Some(head.to_vec())
        };
        let made = Self {
            coarse_offset: take(channels)?,
            coarse_step: take(channels)?,
            pair_step: take(pairs)?,
            pair_slack: take(pairs)?,
            mean_offset: take(2 * pairs)?,
        };
        let positive = |list: &[f64]| list.iter().all(|&number| number > 0.0 && number.is_finite());
        let sound = rest.is_empty()
            && positive(&made.coarse_step)
            && positive(&made.pair_step)
            && made.pair_slack.iter().all(|&slack| slack >= 0.0)
            && made.coarse_offset.iter().chain(&made.mean_offset).all(|number| number.is_finite());
        sound.then_some(made)
    }

    /// Length of the stored form, numbers.
    pub(crate) fn len(layout: &Layout) -> usize {
        2 * layout.shape.channels() + 4 * layout.pairs.len()
    }
}

/// How far the mean of `frames` values of at most `largest` magnitude, summed one by one in `f64`,
/// may be off: (frames - 1) additions and one division, each 2^-53 relative of at most
/// frames x largest; doubled for safety.
pub(crate) fn mean_error(frames: usize, largest: f64) -> f64 {
    (frames + 1) as f64 * largest * f64::EPSILON
}

/// The segment means of a curve, two per pair; 0 for an empty segment.
pub(crate) fn means(layout: &Layout, curve: &[f32]) -> Vec<f64> {
    let channels = layout.shape.channels();
    let mut means = Vec::with_capacity(2 * layout.pairs.len());
    for pair in &layout.pairs {
        for segment in &pair.segments {
            let values =
                segment.clone().map(|frame| f64::from(curve[frame * channels + pair.channel]));
            means.push(values.sum::<f64>() / segment.len().max(1) as f64);
        }
    }
    means
}

/// Largest magnitude per channel.
pub(crate) fn largest(shape: Shape, curve: &[f32], so_far: &mut [f64]) {
    for frame in curve.chunks_exact(shape.channels()) {
        for (most, &value) in so_far.iter_mut().zip(frame) {
            *most = most.max(f64::from(value.abs()));
        }
    }
}

/// Smallest and largest value but for the outermost thousandths, with a margin.
fn range(mut values: Vec<f64>, margin: f64) -> (f64, f64) {
    if values.is_empty() {
        return (0.0, 0.0);
    }
    let skip = values.len() / 1000;
    let last = values.len() - 1 - skip;
    let low = *values.select_nth_unstable_by(skip, f64::total_cmp).1;
    let high = *values.select_nth_unstable_by(last, f64::total_cmp).1;
    let room = (high - low) * margin;
    (low - room, high + room)
}
