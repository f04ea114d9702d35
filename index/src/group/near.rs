//! Pairs within a cutoff, by searches of an index of the set.

use std::num::NonZeroUsize;

use crate::params::{Curve, Shape, ValidDtwParams};
use crate::search::{Nearest, behind};
use crate::store::Index;

/// Sets of fewer curves are compared pair by pair.
const WORTH: usize = 128;

/// An index of a set of curves, to find the pairs within a cutoff.
pub(super) struct Near<'a> {
    index: Index,
    what: Nearest<'a>,
}

impl<'a> Near<'a> {
    /// `None` where pairs are compared one by one: few curves, no cutoff, unlike lengths, or curves that no
    /// index takes.
    pub(super) fn new(
        curves: &[Curve<'_>],
        params: &'a ValidDtwParams,
        cutoff: f64,
    ) -> Option<Self> {
        let frames = curves.first()?.frames();
        let alike = curves.iter().all(|curve| curve.frames() == frames);
        if curves.len() < WORTH || !alike || !cutoff.is_finite() || cutoff < 0.0 {
            return None;
        }
        let mut builder = Index::in_memory(Shape::new(frames, params.channels()).ok()?);
        for (number, curve) in (0..).zip(curves) {
            builder.push(number, curve.values()).ok()?;
        }
        let index = builder.finish().ok()?;
        let what = Nearest::new(params, usize::MAX).threads(NonZeroUsize::MIN).max_cost(cutoff);
        Some(Self { index, what })
    }

    /// Fills what is within the cutoff of `curves[row]` and the curves behind it.
    pub(super) fn fill(&self, curves: &[Curve<'_>], row: usize, line: &mut [f64]) {
        for found in behind(&self.index, curves[row], row as u64, &self.what).neighbours {
            // Ids are numbers of curves, all behind `row`.
            line[found.id as usize - row - 1] = found.cost;
        }
    }
}
