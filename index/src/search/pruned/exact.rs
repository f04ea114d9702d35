//! The true cost of eight curves side by side: the bits of [`crate::dtw`] in every lane.

use std::ops::Range;

use crate::lanes::{Lanes, at_level};
use crate::params::{Curve, ValidDtwParams};

/// Curves at a time.
pub(crate) const WIDTH: usize = 8;

type Wide = [f64; WIDTH];

/// Working memory of [`exact`].
#[derive(Debug, Default)]
pub(crate) struct ExactScratch {
    values: Vec<Wide>,
    previous: Vec<Wide>,
    current: Vec<Wide>,
}

#[inline(always)]
fn smaller(a: Wide, b: Wide) -> Wide {
    std::array::from_fn(|lane| if a[lane] < b[lane] { a[lane] } else { b[lane] })
}

#[inline(always)]
fn exact_body<L: Lanes>(
    query: Curve<'_>,
    curves: &[Curve<'_>; WIDTH],
    params: &ValidDtwParams,
    section: &Range<usize>,
    cutoff: f64,
    scratch: &mut ExactScratch,
) -> Option<Wide> {
    // A product with 1 is the other factor, bit by bit: it may be left out.
    if params.weights().iter().all(|&weight| weight == 1.0) {
        exact_weighted::<true>(query, curves, params, section, cutoff, scratch)
    } else {
        exact_weighted::<false>(query, curves, params, section, cutoff, scratch)
    }
}

#[inline(always)]
fn exact_weighted<const UNIT: bool>(
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
    let lanes: [&[f32]; WIDTH] = std::array::from_fn(|lane| &curves[lane].values()[inside.clone()]);
    for (at, wide) in scratch.values.iter_mut().enumerate() {
        *wide = std::array::from_fn(|lane| f64::from(lanes[lane][at]));
    }
    for row in [&mut scratch.previous, &mut scratch.current] {
        row.clear();
        row.resize(frames + 1, [f64::INFINITY; WIDTH]);
    }
    scratch.previous[0] = [0.0; WIDTH];
    let query = &query.values()[inside];
    for (row, frame) in query.chunks_exact(channels).enumerate() {
        let (first, last) = params.columns(row, frames, frames);
        let mut left = [f64::INFINITY; WIDTH];
        let mut lowest = left;
        scratch.current[first] = left;
        let mut diagonal = scratch.previous[first];
        for column in first..=last {
            let values = &scratch.values[column * channels..(column + 1) * channels];
            // The order of operations of `naive::cell`, lane by lane.
            let mut cell = [0.0; WIDTH];
            for ((&value, wide), &weight) in frame.iter().zip(values).zip(params.weights()) {
                let value = f64::from(value);
                for lane in 0..WIDTH {
                    let difference = value - wide[lane];
                    let square = difference * difference;
                    cell[lane] += if UNIT { square } else { weight * square };
                }
            }
            let up = scratch.previous[column + 1];
            let best = smaller(smaller(diagonal, up), left);
            left = std::array::from_fn(|lane| cell[lane] + best[lane]);
            lowest = smaller(lowest, left);
            scratch.current[column + 1] = left;
            diagonal = up;
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
