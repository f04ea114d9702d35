//! The query in the terms of one segment's bytes.

use std::ops::Range;

use super::envelope::Envelope;
use crate::params::{Curve, ValidDtwParams};
use crate::sketch::{Layout, Quantiser};

/// Everything here is rounded to the side that keeps bounds below the truth; the few roundings left in
/// `f64` (weights, scales, the cost itself: below 2e-11 relative for the longest path allowed) are
/// covered by comparing against a cutoff raised by this share.
pub(crate) const SLACK: f64 = 1e-9;

/// Largest gap (in steps) a sketch byte may add: its square twice still fits 16 bits.
pub(crate) const MOST_GAP: u32 = 127;

/// The envelope's segment means, as bytes.
///
/// A mean behind code x exceeds the upper envelope's mean by at least x - above steps and falls short
/// of the lower one's by at least below - x steps, each taken as 0 where negative.
#[derive(Debug)]
pub(crate) struct SketchTables {
    /// One word per word of a sketch.
    pub(crate) above: Vec<u32>,
    pub(crate) below: Vec<u32>,
    /// Two 16-bit weights per word, one per pair.
    pub(crate) weights: Vec<u32>,
    /// A bound is the integer sum divided by this.
    pub(crate) scale: f64,
}

/// Upper and lower limits as bytes: the codes at and below (above) which there is no gap.
fn limits(upper: f64, lower: f64, offset: f64, step: f64, slack: f64) -> (u8, u8) {
    // x - ceil((upper - offset) / step + slack) never overstates the gap above: the value behind x is
    // at least offset + (x - slack) step. Casts saturate, which only lowers gaps: codes end at 0 and
    // 255, too.
    let above = ((upper - offset) / step + slack).ceil() as u8;
    // The value behind x is at most offset + (x + 1 + slack) step.
    let below = (((lower - offset) / step - slack).floor() - 1.0) as u8;
    (above, below)
}

impl SketchTables {
    pub(crate) fn new(
        layout: &Layout,
        quantiser: &Quantiser,
        envelope: &Envelope,
        params: &ValidDtwParams,
        section: &Range<usize>,
    ) -> Self {
        let channels = layout.shape.channels();
        let words = layout.words();
        let (mut above, mut below) = (vec![[255_u8; 4]; words], vec![[0_u8; 4]; words]);
        let mut worth = vec![0.0_f64; 2 * words];
        for (number, pair) in layout.pairs.iter().enumerate() {
            let weight = params.weights()[pair.channel];
            let step = quantiser.pair_step[number];
            worth[number] = weight * (step * step) * pair.segments[0].len() as f64;
            for (half, segment) in pair.segments.iter().enumerate() {
                let dim = 2 * number + half;
                let inside = section.start <= segment.start && segment.end <= section.end;
                if weight == 0.0 || segment.is_empty() || !inside {
                    continue;
                }
                let places = || segment.clone().map(|frame| frame * channels + pair.channel);
                let mean = |values: &[f32]| {
                    places().map(|at| f64::from(values[at])).sum::<f64>() / segment.len() as f64
                };
                let size = |values: &[f32]| {
                    places().map(|at| f64::from(values[at].abs())).fold(0.0, f64::max)
                };
                let largest = size(&envelope.upper).max(size(&envelope.lower));
                // The query's means are rounded as the stored ones are.
                let error = crate::sketch::mean_error(segment.len(), largest) / step;
                let slack = quantiser.pair_slack[number] + error;
                (above[dim / 4][dim % 4], below[dim / 4][dim % 4]) = limits(
                    mean(&envelope.upper),
                    mean(&envelope.lower),
                    quantiser.mean_offset[dim],
                    step,
                    slack,
                );
            }
        }
        // The largest sum possible stays below 2^31: that many pairs of squares of MOST_GAP.
        let all: f64 = worth.iter().sum();
        let most = worth.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        let square = f64::from(2 * MOST_GAP * MOST_GAP);
        let scale = ((f64::from(i32::MAX) - 1e6) / square / all).min(32_767.0 / most);
        let weights = worth
            .chunks_exact(2)
            .map(|pair| {
                let integer = |worth: f64| (worth * scale) as u16;
                u32::from(integer(pair[0])) | u32::from(integer(pair[1])) << 16
            })
            .collect();
        let word = |bytes: Vec<[u8; 4]>| bytes.into_iter().map(u32::from_le_bytes).collect();
        Self { above: word(above), below: word(below), weights, scale }
    }
}

/// The query and its envelope in the bytes of the coarse copies.
#[derive(Debug)]
pub(crate) struct CoarseTables {
    /// Query values, one word per word of a copy: gaps above and below.
    pub(crate) above: Vec<u32>,
    pub(crate) below: Vec<u32>,
    /// The envelope's, likewise.
    pub(crate) envelope_above: Vec<u32>,
    pub(crate) envelope_below: Vec<u32>,
    /// The envelope's own codes.
    pub(crate) envelope_high: Vec<u32>,
    pub(crate) envelope_low: Vec<u32>,
    /// Root weights of the channels of each word of a frame, for even and for odd bytes; the other
    /// bytes are 0.
    pub(crate) even: Vec<u32>,
    pub(crate) odd: Vec<u32>,
    /// A bound is the integer sum divided by this.
    pub(crate) scale: f64,
}

/// No cell costs more than this; with [`FAR`] below 2^30, sums stay inside 31 bits.
pub(crate) const MOST_CELL: f64 = (1 << 29) as f64;
/// Costs are cut off here.
pub(crate) const FAR: i32 = 1 << 30;
/// The cutoff is scaled to lie below this.
const MOST_CUTOFF: f64 = (1 << 28) as f64;

impl CoarseTables {
    /// `cutoff`: finite; the scale is chosen so that it fits.
    pub(crate) fn new(
        layout: &Layout,
        quantiser: &Quantiser,
        query: Curve<'_>,
        envelope: &Envelope,
        params: &ValidDtwParams,
        cutoff: f64,
    ) -> Self {
        let channels = layout.shape.channels();
        let words = layout.frame_words();
        let frames = layout.shape.frames();
        let root: Vec<f64> = (0..channels)
            .map(|channel| params.weights()[channel].sqrt() * quantiser.coarse_step[channel])
            .collect();
        // Root scale: cells stay below MOST_CELL, roots below 128, the cutoff below MOST_CUTOFF.
        let most = root.iter().copied().fold(0.0, f64::max);
        let all: f64 = root.iter().map(|root| root / most * (root / most)).sum();
        let by_cell = (MOST_CELL / all).sqrt() / 255.0;
        let by_cutoff =
            if cutoff > 0.0 { MOST_CUTOFF.sqrt() / cutoff.sqrt() * most } else { 127.0 };
        let largest = by_cell.min(127.0).min(by_cutoff);
        // A whole number for the largest root loses nothing to rounding.
        let largest = if largest >= 1.0 { largest.floor() } else { largest };
        let factor = largest / most;
        let mut even = vec![[0_u8; 4]; words];
        let mut odd = vec![[0_u8; 4]; words];
        for (channel, root) in root.iter().enumerate() {
            // Raised by a hair so that the largest root becomes the whole number meant; the slack of
            // the cutoff covers it.
            let integer = (root * factor * (1.0 + 1e-12)) as u8;
            let side = if channel % 2 == 0 { &mut even } else { &mut odd };
            side[channel / 4][channel % 4] = integer;
        }
        let (mut above, mut below) =
            (vec![[255_u8; 4]; words * frames], vec![[0_u8; 4]; words * frames]);
        let (mut envelope_above, mut envelope_below) = (above.clone(), below.clone());
        let (mut envelope_high, mut envelope_low) = (above.clone(), below.clone());
        let slack = crate::sketch::CODE_SLACK;
        for frame in 0..frames {
            for channel in 0..channels {
                if params.weights()[channel] == 0.0 {
                    continue;
                }
                let (word, byte) = (frame * words + channel / 4, channel % 4);
                let at = frame * channels + channel;
                let offset = quantiser.coarse_offset[channel];
                let step = quantiser.coarse_step[channel];
                let limits = |upper: f32, lower: f32| {
                    limits(f64::from(upper), f64::from(lower), offset, step, slack)
                };
                let value = query.values()[at];
                (above[word][byte], below[word][byte]) = limits(value, value);
                (envelope_above[word][byte], envelope_below[word][byte]) =
                    limits(envelope.upper[at], envelope.lower[at]);
                let code = |value: f32| crate::sketch::code(f64::from(value), offset, step);
                envelope_high[word][byte] = code(envelope.upper[at]);
                envelope_low[word][byte] = code(envelope.lower[at]);
            }
        }
        let word = |bytes: Vec<[u8; 4]>| bytes.into_iter().map(u32::from_le_bytes).collect();
        Self {
            above: word(above),
            below: word(below),
            envelope_above: word(envelope_above),
            envelope_below: word(envelope_below),
            envelope_high: word(envelope_high),
            envelope_low: word(envelope_low),
            even: word(even),
            odd: word(odd),
            scale: factor * factor,
        }
    }
}

/// The largest integer sum that does not rule a candidate out.
pub(crate) fn threshold(cutoff: f64, scale: f64) -> i32 {
    // A float cast saturates: a cutoff beyond all sums rules nothing out.
    (cutoff * scale * (1.0 + SLACK)).floor() as i32
}
