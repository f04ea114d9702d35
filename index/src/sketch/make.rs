//! From curves to sketches.

use super::layout::Layout;
use super::quantiser::{Quantiser, code, largest, means, middle};
use super::{BLOCK, GROUP};
use crate::lanes::LINE;

/// Curves looked at to choose offsets and steps.
const SAMPLE: usize = 4096;

/// Where the curves of a segment can be read again, row by row; `E`: why one cannot be.
pub(crate) trait RowSource<E> {
    fn rows(&self) -> usize;
    /// Fills `into`, frames x channels.
    fn read(&self, row: usize, into: &mut [f32]) -> Result<(), E>;
}

/// The sections beside the curves. The coarse copies are handed out curve by curve instead, because
/// there may be a gigabyte of them.
#[derive(Debug)]
pub(crate) struct Made {
    pub(crate) quantiser: Quantiser,
    /// Row at each position; the rest of the last group is `u32::MAX`.
    pub(crate) order: Vec<u32>,
    /// Position of each row.
    pub(crate) places: Vec<u32>,
    /// Around 256 curves: per 16 blocks, `words` registers of lowest, then of highest codes.
    pub(crate) block_boxes: Vec<u8>,
    /// Around 16 curves: per block, `words` registers of lowest, then of highest codes.
    pub(crate) group_boxes: Vec<u8>,
    /// Per group, `words` registers.
    pub(crate) sketches: Vec<u8>,
    /// `None` where values are so large that distances run out of `f32`.
    pub(crate) clusters: Option<Clusters>,
}

/// Clusters of curves, and a representative of each: a curve as coarse codes, read as the middles of their steps.
#[derive(Debug)]
pub(crate) struct Clusters {
    /// One bit per position, set where a cluster begins.
    pub(crate) starts: Vec<u64>,
    /// Coarse codes, cluster by cluster.
    pub(crate) representatives: Vec<u8>,
    /// Per channel what a step of a reach is worth.
    pub(crate) reach_step: Vec<f64>,
    /// Per curve, in order of position, and channel: at least the root of the sum over frames of the squared
    /// difference to the representative of its cluster, in steps.
    pub(crate) reach: Vec<u8>,
    /// The largest reach of each cluster, likewise.
    pub(crate) widest: Vec<u8>,
}

/// Makes all sections; `coarse` receives the coarse copies in order of position.
///
/// `like`: a quantiser to keep where it suits a small batch, so that a search prepares only one.
pub(crate) fn make<E>(
    layout: &Layout,
    rows: &dyn RowSource<E>,
    like: Option<&Quantiser>,
    coarse: &mut dyn FnMut(&[u8]) -> Result<(), E>,
) -> Result<Made, E> {
    let count = rows.rows();
    let mut curve = vec![0.0_f32; layout.shape.values()];
    let mut most = vec![0.0_f64; layout.shape.channels()];
    let mut sample = Vec::new();
    let step = count.div_ceil(SAMPLE).max(1);
    for row in 0..count {
        rows.read(row, &mut curve)?;
        largest(layout.shape, &curve, &mut most);
        if row % step == 0 {
            sample.push(curve.clone());
        }
    }
    let kept = like.filter(|like| count < BLOCK && like.covers(layout, &most));
    let quantiser = kept.cloned().unwrap_or_else(|| Quantiser::fit(layout, &sample, &most));
    drop(sample);

    let dims = layout.words() * 4;
    let mut codes = vec![0_u8; count * dims];
    for (row, line) in codes.chunks_exact_mut(dims.max(1)).enumerate() {
        rows.read(row, &mut curve)?;
        for (dim, mean) in means(layout, &curve).into_iter().enumerate() {
            line[dim] = code(mean, quantiser.mean_offset[dim], quantiser.pair_step[dim / 2]);
        }
    }
    let super::order::Order { rows: mut order, clusters: starts } =
        super::order::order(&codes, &gains(layout, &quantiser));
    let mut places = vec![0_u32; count];
    for (place, &row) in order.iter().enumerate() {
        places[row as usize] = place as u32;
    }
    let (sketches, group_boxes, block_boxes) = boxes(&codes, dims, &order);
    drop(codes);

    let mut line = vec![0_u8; layout.coarse_len()];
    let mut representatives = Vec::with_capacity(starts.len() * layout.coarse_len());
    let mut reach: Vec<f32> = Vec::with_capacity(count * layout.shape.channels());
    let ends = starts.iter().skip(1).map(|&start| start as usize).chain([count]);
    for (start, end) in starts.iter().map(|&start| start as usize).zip(ends) {
        let cluster = &order[start..end];
        let mut mean = vec![0.0_f64; layout.shape.values()];
        for &row in cluster {
            rows.read(row as usize, &mut curve)?;
            mean.iter_mut().zip(&curve).for_each(|(sum, &value)| *sum += f64::from(value));
        }
        mean.iter_mut().for_each(|sum| *sum /= cluster.len() as f64);
        coded(layout, &quantiser, mean.iter().copied(), &mut line);
        representatives.extend_from_slice(&line);
        let representative = middles(layout, &quantiser, &line);
        for &row in cluster {
            rows.read(row as usize, &mut curve)?;
            reach.extend(apart(layout, &representative, &curve));
            coded(layout, &quantiser, curve.iter().map(|&value| f64::from(value)), &mut line);
            coarse(&line)?;
        }
    }
    let clusters = clusters(layout.shape.channels(), &starts, representatives, &reach);
    order.resize(count.next_multiple_of(GROUP), u32::MAX);
    Ok(Made { quantiser, order, places, block_boxes, group_boxes, sketches, clusters })
}

/// The codes of a curve's values, frame by frame.
fn coded(
    layout: &Layout,
    quantiser: &Quantiser,
    values: impl Iterator<Item = f64>,
    line: &mut [u8],
) {
    let channels = layout.shape.channels();
    for (at, value) in values.enumerate() {
        let (frame, channel) = (at / channels, at % channels);
        let (offset, step) = (quantiser.coarse_offset[channel], quantiser.coarse_step[channel]);
        line[frame * layout.frame_words() * 4 + channel] = code(value, offset, step);
    }
}

/// The curve that a representative's codes stand for.
fn middles(layout: &Layout, quantiser: &Quantiser, line: &[u8]) -> Vec<f64> {
    let value = |(channel, &code): (usize, &u8)| {
        middle(code, quantiser.coarse_offset[channel], quantiser.coarse_step[channel])
    };
    let frames = line.chunks_exact(layout.frame_words() * 4);
    let channels = layout.shape.channels();
    frames.flat_map(|frame| frame[..channels].iter().enumerate().map(value)).collect()
}

/// Per channel, how far a curve is from a representative, frame against frame; rounded up.
fn apart(layout: &Layout, representative: &[f64], curve: &[f32]) -> Vec<f32> {
    let channels = layout.shape.channels();
    let mut squares = vec![0.0_f64; channels];
    for (frame, middles) in curve.chunks_exact(channels).zip(representative.chunks_exact(channels))
    {
        for ((square, &value), middle) in squares.iter_mut().zip(frame).zip(middles) {
            *square += (f64::from(value) - middle).powi(2);
        }
    }
    squares.into_iter().map(|square| (square.sqrt() as f32).next_up()).collect()
}

/// What is kept of clusters: reaches as whole numbers of steps, rounded up.
fn clusters(
    channels: usize,
    starts: &[u32],
    representatives: Vec<u8>,
    reach: &[f32],
) -> Option<Clusters> {
    let mut most = vec![0.0_f32; channels];
    for curve in reach.chunks_exact(channels) {
        most.iter_mut().zip(curve).for_each(|(most, &reach)| *most = most.max(reach));
    }
    if !most.iter().all(|most| most.is_finite()) {
        return None;
    }
    // Of 255 steps one is left for rounding up.
    let reach_step: Vec<f64> = most.iter().map(|&most| f64::from(most) / 254.0).collect();
    let steps =
        |(at, &reach): (usize, &f32)| (f64::from(reach) / reach_step[at % channels]) as u8 + 1;
    let reach: Vec<u8> = reach.iter().enumerate().map(steps).collect();
    let curves = reach.len() / channels;
    let mut bits = vec![0_u64; curves.div_ceil(64)];
    let mut widest = Vec::with_capacity(starts.len() * channels);
    let ends = starts.iter().skip(1).map(|&start| start as usize).chain([curves]);
    for (start, end) in starts.iter().map(|&start| start as usize).zip(ends) {
        bits[start / 64] |= 1 << (start % 64);
        let own = &reach[start * channels..end * channels];
        let most = |channel: usize| own[channel..].iter().step_by(channels).copied().max();
        widest.extend((0..channels).filter_map(most));
    }
    Some(Clusters { starts: bits, representatives, reach_step, reach, widest })
}

/// What a step of each byte is worth, relative to the largest.
fn gains(layout: &Layout, quantiser: &Quantiser) -> Vec<f32> {
    let worth: Vec<f64> = layout
        .pairs
        .iter()
        .zip(&quantiser.pair_step)
        .map(|(pair, step)| step * (pair.segments[0].len() as f64).sqrt())
        .collect();
    let most = worth.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let mut gains: Vec<f32> = worth.iter().flat_map(|worth| [(worth / most) as f32; 2]).collect();
    gains.resize(layout.words() * 4, 0.0);
    gains
}

/// Where byte `dim` of lane `lane` lies in a run of registers.
fn slot(dim: usize, lane: usize) -> usize {
    dim / 4 * LINE + lane * 4 + dim % 4
}

/// Sketches in lanes, and the boxes around groups and blocks. Lanes without a curve keep code 0;
/// boxes without a curve keep lowest 255, highest 0. Both are masked out by their number.
fn boxes(codes: &[u8], dims: usize, order: &[u32]) -> (Vec<u8>, Vec<u8>, Vec<u8>) {
    let line = dims / 4 * LINE;
    let groups = order.len().div_ceil(GROUP);
    let blocks = groups.div_ceil(GROUP);
    let mut sketches = vec![0_u8; groups * line];
    let empty = |count: usize| -> Vec<u8> {
        let one = std::iter::repeat_n(255, line).chain(std::iter::repeat_n(0, line));
        std::iter::repeat_n(one, count).flatten().collect()
    };
    let mut group_boxes = empty(blocks);
    let mut block_boxes = empty(blocks.div_ceil(GROUP));
    let stretch = |boxes: &mut [u8], number: usize, dim: usize, code: u8| {
        let at = number / GROUP * 2 * line + slot(dim, number % GROUP);
        boxes[at] = boxes[at].min(code);
        boxes[at + line] = boxes[at + line].max(code);
    };
    for (place, &row) in order.iter().enumerate() {
        let group = place / GROUP;
        for dim in 0..dims {
            let code = codes[row as usize * dims + dim];
            sketches[group * line + slot(dim, place % GROUP)] = code;
            stretch(&mut group_boxes, group, dim, code);
            stretch(&mut block_boxes, group / GROUP, dim, code);
        }
    }
    (sketches, group_boxes, block_boxes)
}
