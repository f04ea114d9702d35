//! The query in the terms of one segment's bytes.

use std::ops::Range;

use super::envelope::Envelope;
use crate::lanes::LANES;
use crate::params::{Curve, ValidDtwParams};
use crate::sketch::{Layout, Pair, Quantiser};

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
    /// Words of a sketch that count, ascending; the others are of channels without weight or of frames
    /// outside the section.
    pub(crate) words: Vec<SketchWord>,
    /// A bound is the integer sum divided by this.
    pub(crate) scale: f64,
}

/// What is held against one word of a sketch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SketchWord {
    pub(crate) word: u32,
    pub(crate) above: u32,
    pub(crate) below: u32,
    /// Two 16-bit weights, one per pair.
    pub(crate) weights: u32,
}

/// Upper and lower limits as bytes: the codes at and below (above) which there is no gap.
fn limits(upper: f64, lower: f64, offset: f64, step: f64, slack: f64) -> (u8, u8) {
    // x - ceil((upper - offset) / step + slack) never overstates the gap above: the value behind x is
    // at least offset + (x - slack) step. Clamping only lowers gaps: codes end at 0 and 255, too.
    let above = ((upper - offset) / step + slack).clamp(0.0, 255.0);
    // The value behind x is at most offset + (x + 1 + slack) step.
    let below = ((lower - offset) / step - slack).clamp(1.0, 256.0);
    // Casts cut off what is behind the point: a floor; a ceiling where that took something away.
    let whole = above as i32;
    let above = whole + i32::from(f64::from(whole) < above);
    (above as u8, (below as i32 - 1) as u8)
}

/// What the square of a step costs in each pair: a frame's weight times the segment's length; 0 for the
/// pair that fills the last word.
fn worth(layout: &Layout, quantiser: &Quantiser, params: &ValidDtwParams) -> Vec<f64> {
    let of_pair = layout.pairs.iter().zip(&quantiser.pair_step).map(|(pair, step)| {
        params.weights()[pair.channel] * (step * step) * pair.segments[0].len() as f64
    });
    let mut worth: Vec<f64> = of_pair.collect();
    worth.resize(2 * layout.words(), 0.0);
    worth
}

/// Whether a segment holds frames, all of them of the section.
fn inside(section: &Range<usize>, segment: &Range<usize>) -> bool {
    !segment.is_empty() && section.start <= segment.start && segment.end <= section.end
}

/// The envelope's mean limits, upper and lower, over one segment of one channel.
fn mean_limits(
    envelope: &Envelope,
    channels: usize,
    channel: usize,
    segment: &Range<usize>,
) -> [f64; 2] {
    let mean = |values: &[f32]| {
        let at = segment.clone().map(|frame| f64::from(values[frame * channels + channel]));
        at.sum::<f64>() / segment.len() as f64
    };
    [mean(&envelope.upper), mean(&envelope.lower)]
}

/// What limits on means over a segment of a pair are widened by, in steps: what the stored means and the
/// query's own are rounded by.
fn slack(
    quantiser: &Quantiser,
    number: usize,
    envelope: &Envelope,
    channels: usize,
    channel: usize,
    segment: &Range<usize>,
) -> f64 {
    let largest = segment.clone().fold(0.0_f32, |most, frame| {
        let at = frame * channels + channel;
        most.max(envelope.upper[at].abs()).max(envelope.lower[at].abs())
    });
    let error = crate::sketch::mean_error(segment.len(), f64::from(largest));
    quantiser.pair_slack[number] + error / quantiser.pair_step[number]
}

/// Words of a sketch with a byte of a channel that has weight and of a segment inside the section.
fn counted(layout: &Layout, params: &ValidDtwParams, section: &Range<usize>) -> Vec<u32> {
    let counts = |pair: &Pair| {
        params.weights()[pair.channel] != 0.0
            && pair.segments.iter().any(|segment| inside(section, segment))
    };
    let words = (0_u32..).zip(layout.pairs.chunks(2));
    words.filter(|(_, pairs)| pairs.iter().any(counts)).map(|(word, _)| word).collect()
}

/// Makes weights of 16 bits, and of all squares a sum below 2^30: that many pairs of squares of
/// [`MOST_GAP`].
fn sketch_scale(worth: &[f64]) -> f64 {
    let all: f64 = worth.iter().sum();
    let most = worth.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let square = f64::from(2 * MOST_GAP * MOST_GAP);
    ((f64::from(FAR) - 1e6) / square / all).min(32_767.0 / most)
}

/// Two 16-bit weights per word, rounded down.
fn whole_weights(worth: &[f64], scale: f64) -> Vec<u32> {
    let integer = |worth: f64| (worth * scale) as u16;
    let word = |two: &[f64]| u32::from(integer(two[0])) | u32::from(integer(two[1])) << 16;
    worth.chunks_exact(2).map(word).collect()
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
        let worth = worth(layout, quantiser, params);
        for (number, pair) in layout.pairs.iter().enumerate() {
            let weight = params.weights()[pair.channel];
            for (half, segment) in pair.segments.iter().enumerate() {
                let dim = 2 * number + half;
                if weight == 0.0 || !inside(section, segment) {
                    continue;
                }
                let [upper, lower] = mean_limits(envelope, channels, pair.channel, segment);
                (above[dim / 4][dim % 4], below[dim / 4][dim % 4]) = limits(
                    upper,
                    lower,
                    quantiser.mean_offset[dim],
                    quantiser.pair_step[number],
                    slack(quantiser, number, envelope, channels, pair.channel, segment),
                );
            }
        }
        let scale = sketch_scale(&worth);
        let weights = whole_weights(&worth, scale);
        let (above, below) = (packed(above), packed(below));
        let at = |&word: &u32| SketchWord {
            word,
            above: above[word as usize],
            below: below[word as usize],
            weights: weights[word as usize],
        };
        Self { words: counted(layout, params, section).iter().map(at).collect(), scale }
    }

    /// Whether the tables are of sketches of so many words.
    pub(crate) fn suit(&self, words: usize) -> bool {
        self.words.last().is_none_or(|last| (last.word as usize) < words)
            && self.words.is_sorted_by_key(|one| one.word)
    }
}

/// One register's worth of memory.
#[derive(Debug, Clone, Copy)]
#[repr(C, align(64))]
pub(crate) struct Line(pub(crate) [i32; LANES]);

// SAFETY: sixteen plain numbers, every pattern of which is valid, zero included.
unsafe impl bytemuck::Zeroable for Line {}
// SAFETY: as above; size equals alignment, so there is no padding.
unsafe impl bytemuck::Pod for Line {}

/// Query frames in a box, when coarse copies are held against the query box by box.
pub(crate) const ROWS: usize = 2;
/// Candidate frames in a box.
pub(crate) const COLUMNS: usize = 4;

/// The query and its envelope in the bytes of the coarse copies; everything covers the section only.
#[derive(Debug, Clone)]
pub(crate) struct CoarseTables {
    /// Words of a frame.
    pub(crate) frame_words: usize,
    /// Those with a channel that has weight, ascending; everything below is of these only.
    pub(crate) kept: Vec<usize>,
    /// Limits of boxes of [`ROWS`] query frames, one word per word of a frame.
    pub(crate) rows_above: Vec<u32>,
    pub(crate) rows_below: Vec<u32>,
    /// The envelope's limits over [`COLUMNS`] frames.
    pub(crate) columns_above: Vec<u32>,
    pub(crate) columns_below: Vec<u32>,
    /// Root weights of the channels of each word of a frame, for even and for odd bytes; the other
    /// bytes are 0.
    pub(crate) even: Vec<u32>,
    pub(crate) odd: Vec<u32>,
    /// Whether all root weights are 1, or 0 where limits let everything pass.
    pub(crate) alike: bool,
    /// A bound made of gaps is the integer sum divided by this.
    pub(crate) scale: f64,
    /// Weights in 16 bits: per word of a frame its even, then its odd channels.
    pub(crate) weights: Vec<u32>,
    /// Query values times twice their weights, negated, likewise; per frame.
    pub(crate) minus: Vec<u32>,
    /// What a query frame adds to each of its cells.
    pub(crate) heads: Vec<i32>,
    /// A bound made of warped codes is the integer sum divided by this.
    pub(crate) warp_scale: f64,
    /// As `heads`, where codes stand for the very middles of their steps: in representatives of clusters.
    pub(crate) exact_heads: Vec<i32>,
    pub(crate) exact_scale: f64,
    /// Heads before the charge for the blur of codes.
    squares: Vec<f64>,
    /// That charge for a cell, times the share given away.
    blur: f64,
    /// The same for the query's own rounding alone.
    exact_blur: f64,
    /// A sum of root weights' squares divided by this is a cost.
    root_scale: f64,
}

/// No cell costs more than this; with [`FAR`] below 2^30, sums stay inside 31 bits.
pub(crate) const MOST_CELL: f64 = (1 << 29) as f64;
/// Costs are cut off here.
pub(crate) const FAR: i32 = 1 << 30;
/// The cutoff is scaled to lie below this.
const MOST_CUTOFF: f64 = (1 << 28) as f64;
/// Largest root weight: twice its square times a code fits 16 bits.
const MOST_ROOT: f64 = 10.0;
/// How far a code may be off, in steps: half a step, and a hair for what `f64` rounds.
const HALF: f64 = 0.5 + HAIR;
const HAIR: f64 = 1e-6;

/// The most (or least) of each byte over runs of `frames` frames of `words` words.
fn over(
    bytes: &[[u8; 4]],
    words: usize,
    frames: usize,
    pick: impl Fn(u8, u8) -> u8,
) -> Vec<[u8; 4]> {
    let mut found = Vec::with_capacity(bytes.len().div_ceil(frames) + words);
    for run in bytes.chunks(words * frames) {
        let (first, others) = run.split_at(words);
        let start = found.len();
        found.extend_from_slice(first);
        let found = found[start..].as_flattened_mut();
        for other in others.chunks_exact(words) {
            for (best, &byte) in found.iter_mut().zip(other.as_flattened()) {
                *best = pick(*best, byte);
            }
        }
    }
    found
}

fn packed(bytes: Vec<[u8; 4]>) -> Vec<u32> {
    bytes.into_iter().map(u32::from_le_bytes).collect()
}

/// Two numbers of 16 bits in a word.
fn pair(low: i16, high: i16) -> u32 {
    u32::from(low as u16) | u32::from(high as u16) << 16
}

/// Channels that count, with the place of their word among those kept.
fn counted_channels(kept: &[usize], channels: usize) -> impl Iterator<Item = (usize, usize)> {
    kept.iter().enumerate().flat_map(move |(place, word)| {
        (4 * word..channels.min(4 * word + 4)).map(move |channel| (place, channel))
    })
}

/// Whole numbers in place of what a step costs in each channel.
struct Weighing {
    /// A sum of root weights' squares divided by this is a cost.
    scale: f64,
    /// Root weights are the same wherever they are not 0: this one, before scaling.
    alike: Option<f64>,
    even: Vec<[u8; 4]>,
    odd: Vec<[u8; 4]>,
    /// Squares of root weights.
    whole: Vec<i16>,
}

impl Weighing {
    /// `root`: per channel the root of what a step costs.
    fn new(kept: &[usize], root: &[f64], cutoff: f64) -> Self {
        // Root scale: cells stay below MOST_CELL, roots up to MOST_ROOT, the cutoff below MOST_CUTOFF.
        let most = root.iter().copied().fold(0.0, f64::max);
        let all: f64 = root.iter().map(|root| root / most * (root / most)).sum();
        let by_cell = (MOST_CELL / all).sqrt() / 256.0;
        let by_cutoff =
            if cutoff > 0.0 { MOST_CUTOFF.sqrt() / cutoff.sqrt() * most } else { MOST_ROOT };
        let largest = by_cell.min(MOST_ROOT).min(by_cutoff);
        // A whole number for the largest root loses nothing to rounding.
        let largest = if largest >= 1.0 { largest.floor() } else { largest };
        let factor = largest / most;
        // Roots that are all the same need not be told: a cost in steps squared.
        let alike = largest >= 1.0 && root.iter().all(|&root| root == most || root == 0.0);
        // Raised by a hair so that the largest becomes the whole number meant; the slack of the cutoff
        // covers it.
        let raised = 1.0 + 1e-12;
        let mut even = vec![[0_u8; 4]; kept.len()];
        let mut odd = even.clone();
        for (place, channel) in counted_channels(kept, root.len()) {
            let side = if channel % 2 == 0 { &mut even } else { &mut odd };
            side[place][channel % 4] = (root[channel] * factor * raised) as u8;
        }
        let whole = root.iter().map(|root| ((root * factor).powi(2) * raised) as i16).collect();
        Self { scale: factor * factor, alike: alike.then_some(most), even, odd, whole }
    }

    /// Weights in pairs, as the halves of a word are: even channels, odd channels.
    fn pairs(&self, kept: &[usize]) -> Vec<u32> {
        let at = |channel: usize| self.whole.get(channel).copied().unwrap_or(0);
        let halves = kept.iter().flat_map(|word| [0, 1].map(|odd| 4 * word + odd));
        halves.map(|first| pair(at(first), at(first + 2))).collect()
    }
}

/// Of one channel's values of a frame, the limits above and below, byte by byte.
struct Limits {
    above: Vec<[u8; 4]>,
    below: Vec<[u8; 4]>,
}

impl Limits {
    /// `channels`: those that count and have weight, with the place of their word; `values`: of a frame and channel
    /// of the section, the highest and the lowest.
    fn new(
        quantiser: &Quantiser,
        channels: &[(usize, usize)],
        [words, frames]: [usize; 2],
        values: impl Fn(usize, usize) -> [f32; 2],
    ) -> Self {
        let above = vec![[255_u8; 4]; words * frames];
        let mut made = Self { above, below: vec![[0_u8; 4]; words * frames] };
        for &(place, channel) in channels {
            let (offset, step) = (quantiser.coarse_offset[channel], quantiser.coarse_step[channel]);
            for frame in 0..frames {
                let [upper, lower] = values(frame, channel).map(f64::from);
                let (word, byte) = (frame * words + place, channel % 4);
                (made.above[word][byte], made.below[word][byte]) =
                    limits(upper, lower, offset, step, crate::sketch::CODE_SLACK);
            }
        }
        made
    }

    /// Over `frames` frames each.
    fn over(&self, words: usize, frames: usize) -> [Vec<u32>; 2] {
        [
            packed(over(&self.above, words, frames, u8::max)),
            packed(over(&self.below, words, frames, u8::min)),
        ]
    }
}

impl CoarseTables {
    /// `cutoff`: finite; the scale is chosen so that it fits.
    pub(crate) fn new(
        layout: &Layout,
        quantiser: &Quantiser,
        query: Curve<'_>,
        envelope: &Envelope,
        params: &ValidDtwParams,
        section: &Range<usize>,
        cutoff: f64,
    ) -> Self {
        let (channels, frames) = (layout.shape.channels(), section.len());
        let has_weight = |channel: usize| params.weights()[channel] != 0.0;
        let kept: Vec<usize> = (0..layout.frame_words())
            .filter(|word| (4 * word..channels.min(4 * word + 4)).any(has_weight))
            .collect();
        let words = kept.len();
        let root: Vec<f64> = (0..channels)
            .map(|channel| params.weights()[channel].sqrt() * quantiser.coarse_step[channel])
            .collect();
        let weighing = Weighing::new(&kept, &root, cutoff);
        let counted: Vec<(usize, usize)> =
            counted_channels(&kept, channels).filter(|&(_, channel)| has_weight(channel)).collect();
        let at = |frame: usize, channel: usize| (section.start + frame) * channels + channel;
        let own = |frame, channel| [query.values()[at(frame, channel)]; 2];
        let around = |frame, channel| {
            let at = at(frame, channel);
            [envelope.upper[at], envelope.lower[at]]
        };
        let size = [words, frames];
        let [rows_above, rows_below] =
            Limits::new(quantiser, &counted, size, own).over(words, ROWS);
        let [columns_above, columns_below] =
            Limits::new(quantiser, &counted, size, around).over(words, COLUMNS);

        let mut minus = vec![0_i16; frames * words * 4];
        let mut squares = vec![0.0_f64; frames];
        let (mut blur, mut exact_blur) = (0.0, 0.0);
        for (place, channel) in counted {
            let weight = f64::from(weighing.whole[channel]);
            if weight == 0.0 {
                continue;
            }
            blur += weight * (HALF + 0.25 / weight).powi(2);
            exact_blur += weight * (HAIR + 0.25 / weight).powi(2);
            let (offset, step) = (quantiser.coarse_offset[channel], quantiser.coarse_step[channel]);
            for (frame, square) in squares.iter_mut().enumerate() {
                let value = f64::from(query.values()[at(frame, channel)]);
                let code = ((value - offset) / step).clamp(0.0, 256.0) - 128.5;
                let product = (2.0 * weight * code).round();
                // Per word: the even channels, then the odd ones.
                let byte = channel % 4;
                let half = 4 * (frame * words + place) + byte % 2 * 2 + byte / 2;
                minus[half] = -product as i16;
                *square += product * product / (4.0 * weight);
            }
        }
        let mut made = Self {
            frame_words: layout.frame_words(),
            rows_above,
            rows_below,
            columns_above,
            columns_below,
            alike: weighing.alike.is_some(),
            scale: weighing.alike.map_or(weighing.scale, |root| root.powi(-2)),
            weights: weighing.pairs(&kept),
            even: packed(weighing.even),
            odd: packed(weighing.odd),
            minus: minus.chunks_exact(2).map(|two| pair(two[0], two[1])).collect(),
            heads: vec![0; frames],
            warp_scale: weighing.scale,
            exact_heads: vec![0; frames],
            exact_scale: weighing.scale,
            squares,
            blur,
            exact_blur,
            root_scale: weighing.scale,
            kept,
        };
        made.suit(cutoff);
        made
    }

    /// Whether the scale leaves room for a cutoff; where there is none yet, any does.
    pub(crate) fn suits(&self, cutoff: f64) -> bool {
        cutoff.is_infinite() || cutoff * self.root_scale <= MOST_CUTOFF * (1.0 + SLACK)
    }

    /// Makes bounds of warped codes tight for a cutoff; infinite where there is none yet.
    pub(crate) fn suit(&mut self, cutoff: f64) {
        let Self { squares, root_scale, .. } = self;
        self.warp_scale = charge(squares, self.blur, *root_scale, cutoff, &mut self.heads);
        self.exact_scale =
            charge(squares, self.exact_blur, *root_scale, cutoff, &mut self.exact_heads);
    }
}

/// Takes the charge for blur off `squares`; the scale of what is left.
fn charge(squares: &[f64], blur: f64, root_scale: f64, cutoff: f64, heads: &mut [i32]) -> f64 {
    // The share that the blur of codes gives away least by, were the path as long as the section
    // and its cost the cutoff. Any share between 0 and 1 is right, but a small one charges each cell so
    // much that sums of a long path run out: for a cutoff beyond the scale's a large one is taken.
    let frames = squares.len() as f64;
    let sum = cutoff * root_scale;
    let spent = blur * frames / if sum <= 2.0 * MOST_CUTOFF { sum.max(1.0) } else { 1.0 };
    let share = spent.sqrt().clamp(1e-4, 0.5);
    // Sums stay above -1.3e9, far inside 31 bits. Without the charge a cell is a square less what the
    // floor takes, at most 1. Integer weights w add up to at most 2^13, because a cell is below
    // MOST_CELL, and each channel that counts has one of at least 1; so the blur, a sum of
    // w / 4 + 1 / 4 + 1 / (16 w), is below 4,609. A path has fewer than 2 MAX_FRAMES = 2^17 cells. At the largest
    // share, 1/2, they are charged 2^17 x 2 x 4,609 = 1.21e9; a smaller one comes with blur x frames below
    // sum / 4, and then they are charged 2 (blur x frames x sum)^(1/2), less than sum, which is at most 2^29.
    let charge = blur / share + 0.01;
    for (head, square) in heads.iter_mut().zip(squares) {
        *head = (square - charge).floor() as i32;
    }
    root_scale / (1.0 - share)
}

/// The largest integer sum that does not rule a candidate out.
pub(crate) fn threshold(cutoff: f64, scale: f64) -> i32 {
    // A float cast saturates: a cutoff beyond all sums rules nothing out.
    (cutoff * scale * (1.0 + SLACK)).floor() as i32
}
