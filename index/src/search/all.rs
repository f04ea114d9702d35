//! Costs that are asked for one and all: nothing to rule out, so they are computed eight side by side.

use std::ops::Range;

use super::crew::Crew;
use super::filter::Resolved;
use super::{Answer, Nearest, Stages};
use crate::dtw::{ExactScratch, WIDTH, exact};
use crate::lanes::Level;
use crate::params::{Curve, Neighbour};
use crate::store::Index;

/// Of several threads each takes so many curves at a time, at least.
const SHARE: usize = 4 * WIDTH;

/// A curve by the number of its segment and its row there.
pub(super) type At = (u32, u32);

/// The costs of curves, in their order; above the cutoff of `what` they may be infinite instead.
pub(super) fn costs(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
    curves: &[At],
) -> Vec<f64> {
    let level = Level::best();
    let curve = |&(segment, row): &At| {
        let curve = index.parts()[segment as usize].curve(row as usize);
        index.touch(bytemuck::cast_slice(curve.values()), what.how.mapped_bytes);
        curve
    };
    let of_share = |share: &[At]| {
        let mut scratch = ExactScratch::default();
        let mut costs = Vec::with_capacity(share.len());
        for some in share.chunks(WIDTH) {
            // Lanes left over repeat the last.
            let eight: [Curve<'_>; WIDTH] =
                std::array::from_fn(|lane| curve(&some[lane.min(some.len() - 1)]));
            let cutoff = what.max_cost;
            let found = exact(level, query, &eight, what.params, section, cutoff, &mut scratch);
            let found = found.unwrap_or([f64::INFINITY; WIDTH]);
            costs.extend_from_slice(&found[..some.len()]);
        }
        costs
    };
    Crew::with(what.how.threads.get(), |crew| {
        let share = curves.len().div_ceil(8 * crew.threads()).next_multiple_of(WIDTH).max(SHARE);
        let shares: Vec<&[At]> = curves.chunks(share).collect();
        crew.map(shares.len(), |at| of_share(shares[at])).concat()
    })
}

/// All curves that pass, nearest first: the answer of the scan.
pub(super) fn nearest(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
    filter: Option<&Resolved>,
) -> Answer {
    let mut passing = Vec::new();
    for (number, segment) in (0_u32..).zip(index.parts()) {
        let passes = |row: &usize| match filter {
            Some(filter) => {
                filter.segments[number as usize].passes(segment.places()[*row] as usize)
            }
            None => segment.is_live(*row),
        };
        passing.extend((0..segment.rows()).filter(passes).map(|row| (number, row as u32)));
    }
    let costs = costs(index, query, what, section, &passing);
    let stages =
        Stages { curves: passing.len() as u64, kernel: passing.len() as u64, ..Stages::default() };
    let id = |&(segment, row): &At| index.parts()[segment as usize].ids()[row as usize];
    let mut neighbours: Vec<Neighbour> =
        passing.iter().zip(costs).map(|(at, cost)| Neighbour { id: id(at), cost }).collect();
    neighbours.sort_unstable_by(|a, b| a.cost.total_cmp(&b.cost).then(a.id.cmp(&b.id)));
    Answer { neighbours, stages }
}
