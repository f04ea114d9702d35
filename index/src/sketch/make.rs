//! From curves to sketches.

use super::layout::{Layout, RUN};
use super::quantiser::{Quantiser, code, largest, means};
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
    /// Runs of frames, curve by curve in order of position.
    pub(crate) runs: Vec<u8>,
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
    let order = super::order::order(&codes, &gains(layout, &quantiser));
    let mut places = vec![0_u32; count];
    for (place, &row) in order.iter().enumerate() {
        places[row as usize] = place as u32;
    }
    let (sketches, group_boxes, block_boxes) = boxes(&codes, dims, &order);
    drop(codes);

    let mut line = vec![0_u8; layout.coarse_len()];
    let frame_len = layout.frame_words() * 4;
    let mut runs = Vec::with_capacity(count * layout.runs_len());
    for &row in &order {
        rows.read(row as usize, &mut curve)?;
        let frames = curve.chunks_exact(layout.shape.channels());
        for (frame, into) in frames.zip(line.chunks_exact_mut(frame_len)) {
            for (channel, &value) in frame.iter().enumerate() {
                let offset = quantiser.coarse_offset[channel];
                into[channel] = code(f64::from(value), offset, quantiser.coarse_step[channel]);
            }
        }
        for run in line.chunks(RUN * frame_len) {
            for pick in [u8::min, u8::max] {
                let over = |at: usize| run[at..].iter().step_by(frame_len).copied().reduce(pick);
                runs.extend((0..frame_len).filter_map(over));
            }
        }
        coarse(&line)?;
    }
    let mut order = order;
    order.resize(count.next_multiple_of(GROUP), u32::MAX);
    Ok(Made { quantiser, order, places, block_boxes, group_boxes, sketches, runs })
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
