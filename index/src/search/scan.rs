//! The plain scan: every curve that passes the filter meets the kernel.

use std::ops::Range;

use super::crew::Crew;
use super::top::Top;
use super::{Answer, Nearest, Stages, cut};
use crate::dtw::{Scratch, dtw};
use crate::params::{Curve, Neighbour};
use crate::store::{Index, Segment};

pub(crate) fn nearest(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
) -> Answer {
    let query = cut(query, section);
    let mut top = Top::new(what.k, what.max_cost);
    let mut stages = Stages::default();
    let threads = what.how.threads.get();
    Crew::with(threads, |crew| {
        for segment in index.parts() {
            let share = segment.rows().div_ceil(threads).max(1);
            let part = |number: usize| {
                let rows = number * share..((number + 1) * share).min(segment.rows());
                scan_rows(index, segment, rows, query, what, section)
            };
            for (found, seen) in crew.map(segment.rows().div_ceil(share), part) {
                top.absorb(found);
                stages.curves += seen.curves;
                stages.kernel += seen.kernel;
            }
        }
    });
    Answer { neighbours: top.into_sorted(), stages }
}

fn scan_rows(
    index: &Index,
    segment: &Segment,
    rows: Range<usize>,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
) -> (Top, Stages) {
    let mut top = Top::new(what.k, what.max_cost);
    let mut stages = Stages::default();
    let mut scratch = Scratch::default();
    for row in rows {
        let id = segment.ids()[row];
        if !segment.is_live(row) || what.how.filter.is_some_and(|filter| !filter.lets_through(id)) {
            continue;
        }
        stages.curves += 1;
        stages.kernel += 1;
        let curve = segment.curve(row);
        index.touch(bytemuck::cast_slice(curve.values()), what.how.mapped_bytes);
        let curve = cut(curve, section);
        if let Some(cost) = dtw(query, curve, what.params, top.cutoff(), &mut scratch) {
            top.offer(Neighbour { id, cost });
        }
    }
    (top, stages)
}
