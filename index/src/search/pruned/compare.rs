//! Curves compared exactly.

use std::sync::OnceLock;

use super::Job;
use super::found::{Best, Found};
use super::sweep::Seen;
use super::tables::CoarseTables;
use crate::dtw::{ExactScratch, Scratch, WIDTH, dtw, exact};
use crate::params::{Curve, Neighbour};
use crate::search::crew::Crew;
use crate::search::cut;

impl Job<'_> {
    /// Compares seeds exactly, and makes tables for the cutoff that comes of it: of the last seeds too, or nearly so
    /// where others can compare those meanwhile. (What is done then makes the tables tight for its own cutoff.)
    pub(super) fn compare_seeds(
        &self,
        crew: &Crew,
        seeds: &[Found],
        best: &Best,
        seen: &mut Seen,
    ) -> Vec<CoarseTables> {
        let eights: Vec<&[Found]> = seeds.chunks(WIDTH).collect();
        let tables = OnceLock::new();
        // They take about as long as an eight and a half.
        let place = eights.len().saturating_sub(2 * (crew.threads() - 1));
        crew.share(eights.len() + 1, &|at| match eights.get(at - usize::from(at > place)) {
            Some(eight) if at != place => self.compare(eight, best, &mut ExactScratch::default()),
            _ => _ = tables.set(self.coarse_tables(best.cutoff())),
        });
        seen.compared += seeds.len() as u64;
        tables.into_inner().unwrap_or_else(|| self.coarse_tables(best.cutoff()))
    }

    /// The true costs of up to eight curves, offered to the best.
    pub(super) fn compare(&self, some: &[Found], best: &Best, scratch: &mut ExactScratch) {
        let row = |one: &Found| {
            let segment = self.parts[one.segment as usize].segment;
            (segment, segment.row_at(one.place as usize))
        };
        let curve = |one: &Found| {
            let (segment, row) = row(one);
            let curve = segment.curve(row);
            self.reads(bytemuck::cast_slice(curve.values()));
            curve
        };
        let cutoff = best.cutoff();
        let mut found = Vec::with_capacity(some.len());
        if some.len() <= 2 {
            let mut scratch = Scratch::default();
            for one in some {
                let (segment, row) = row(one);
                let (a, b) = (cut(self.query, &self.section), cut(curve(one), &self.section));
                if let Some(cost) = dtw(a, b, self.what.params, cutoff, &mut scratch) {
                    found.push(Neighbour { id: segment.ids()[row], cost });
                }
            }
        } else {
            let curves: [Curve<'_>; WIDTH] =
                std::array::from_fn(|lane| curve(&some[lane.min(some.len() - 1)]));
            let params = self.what.params;
            let costs =
                exact(self.level, self.query, &curves, params, &self.section, cutoff, scratch);
            for (one, &cost) in some.iter().zip(costs.iter().flatten()) {
                let (segment, row) = row(one);
                if cost <= cutoff {
                    found.push(Neighbour { id: segment.ids()[row], cost });
                }
            }
        }
        best.offer(&found);
    }
}
