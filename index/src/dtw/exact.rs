//! The true cost of eight curves side by side: the bits of [`crate::dtw()`] in every lane.

use std::ops::Range;

use crate::lanes::{LANES, Lanes, at_level};
use crate::params::{Curve, ValidDtwParams};

/// Curves at a time.
pub(crate) const WIDTH: usize = 8;

/// Columns side by side.
const SIDE: usize = 3;

type Wide = [f64; WIDTH];

/// Working memory of [`exact`].
#[derive(Debug, Default)]
pub(crate) struct ExactScratch {
    values: Vec<Wide>,
    query: Vec<f64>,
    previous: Vec<Wide>,
    current: Vec<Wide>,
}

#[inline(always)]
fn smaller(a: Wide, b: Wide) -> Wide {
    std::array::from_fn(|lane| if a[lane] < b[lane] { a[lane] } else { b[lane] })
}

/// Cells of one row and `COLUMNS` columns: each sums in the order of `naive::cell`, lane by lane; side by
/// side, so that one sum need not wait for another's.
#[inline(always)]
fn cells<const UNIT: bool, const COLUMNS: usize>(
    frame: &[f64],
    values: &[Wide],
    weights: &[f64],
) -> [Wide; COLUMNS] {
    let mut cells = [[0.0; WIDTH]; COLUMNS];
    let columns: [&[Wide]; COLUMNS] =
        std::array::from_fn(|column| &values[column * frame.len()..(column + 1) * frame.len()]);
    for (channel, (&value, &weight)) in frame.iter().zip(weights).enumerate() {
        for (cell, column) in cells.iter_mut().zip(columns) {
            for lane in 0..WIDTH {
                let difference = value - column[channel][lane];
                let square = difference * difference;
                cell[lane] += if UNIT { square } else { weight * square };
            }
        }
    }
    cells
}

/// The values `inside` of each curve, as numbers of 64 bits, lane by lane.
#[inline(always)]
fn side_by_side<L: Lanes>(
    _: L,
    curves: &[Curve<'_>; WIDTH],
    inside: Range<usize>,
    values: &mut [Wide],
) {
    let curves = curves.map(|curve| &curve.values()[inside.clone()]);
    let mut blocks = values.chunks_exact_mut(LANES);
    let mut from = 0;
    for block in &mut blocks {
        // SAFETY: sixteen values are a register, and so many are left of each curve; `L` is what `at_level`
        // compiled for.
        unsafe {
            let mut rows = [L::load(curves[0][from..from + LANES].as_ptr().cast()); LANES];
            for (row, curve) in rows.iter_mut().zip(&curves) {
                *row = L::load(curve[from..from + LANES].as_ptr().cast());
            }
            for (wide, column) in block.iter_mut().zip(L::transpose(rows)) {
                let mut lanes = [0.0_f32; LANES];
                L::store(column, lanes.as_mut_ptr().cast());
                for lane in 0..WIDTH {
                    wide[lane] = f64::from(lanes[lane]);
                }
            }
        }
        from += LANES;
    }
    for (at, wide) in blocks.into_remainder().iter_mut().enumerate() {
        for (value, curve) in wide.iter_mut().zip(&curves) {
            *value = f64::from(curve[from + at]);
        }
    }
}

#[inline(always)]
fn exact_body<L: Lanes>(
    lanes: L,
    query: Curve<'_>,
    curves: &[Curve<'_>; WIDTH],
    params: &ValidDtwParams,
    section: &Range<usize>,
    cutoff: f64,
    scratch: &mut ExactScratch,
) -> Option<Wide> {
    // A product with 1 is the other factor, bit by bit: it may be left out.
    if params.weights().iter().all(|&weight| weight == 1.0) {
        exact_weighted::<L, true>(lanes, query, curves, params, section, cutoff, scratch)
    } else {
        exact_weighted::<L, false>(lanes, query, curves, params, section, cutoff, scratch)
    }
}

#[inline(always)]
fn exact_weighted<L: Lanes, const UNIT: bool>(
    lanes: L,
    query: Curve<'_>,
    curves: &[Curve<'_>; WIDTH],
    params: &ValidDtwParams,
    section: &Range<usize>,
    cutoff: f64,
    scratch: &mut ExactScratch,
) -> Option<Wide> {
    let channels = params.channels();
    let frames = section.len();
    let inside = section.start * channels..section.end * channels;
    scratch.values.resize(frames * channels, [0.0; WIDTH]);
    side_by_side::<L>(lanes, curves, inside.clone(), &mut scratch.values);
    scratch.query.clear();
    scratch.query.extend(query.values()[inside].iter().map(|&value| f64::from(value)));
    for row in [&mut scratch.previous, &mut scratch.current] {
        row.clear();
        row.resize(frames + 1, [f64::INFINITY; WIDTH]);
    }
    scratch.previous[0] = [0.0; WIDTH];
    for (row, frame) in scratch.query.chunks_exact(channels).enumerate() {
        let (first, last) = params.columns(row, frames, frames);
        let mut left = [f64::INFINITY; WIDTH];
        let mut lowest = left;
        scratch.current[first] = left;
        let mut diagonal = scratch.previous[first];
        let mut column = first;
        while column <= last {
            let side = SIDE.min(last + 1 - column);
            let values = &scratch.values[column * channels..(column + side) * channels];
            let cells = if side == SIDE {
                cells::<UNIT, SIDE>(frame, values, params.weights())
            } else {
                let mut cells = [[0.0; WIDTH]; SIDE];
                for (cell, values) in cells.iter_mut().zip(values.chunks_exact(channels)) {
                    [*cell] = self::cells::<UNIT, 1>(frame, values, params.weights());
                }
                cells
            };
            for cell in &cells[..side] {
                let up = scratch.previous[column + 1];
                let best = smaller(smaller(diagonal, up), left);
                left = std::array::from_fn(|lane| cell[lane] + best[lane]);
                lowest = smaller(lowest, left);
                scratch.current[column + 1] = left;
                diagonal = up;
                column += 1;
            }
        }
        if lowest.iter().all(|&lowest| lowest > cutoff) {
            return None;
        }
        std::mem::swap(&mut scratch.previous, &mut scratch.current);
    }
    Some(scratch.previous[frames])
}

at_level! {
    /// The costs of eight curves, or `None` if all are above `cutoff`.
    fn exact = exact_body(
        query: Curve<'_>,
        curves: &[Curve<'_>; WIDTH],
        params: &ValidDtwParams,
        section: &Range<usize>,
        cutoff: f64,
        scratch: &mut ExactScratch,
    ) -> Option<Wide>
}
