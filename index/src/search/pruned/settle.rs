//! What bounds leave, compared exactly.

use std::sync::atomic::{AtomicUsize, Ordering};

use super::Job;
use super::coarse::{WarpScratch, warp};
use super::found::{Best, Found, as_cost, ruled_out};
use super::sift::Boxes;
use super::sweep::Seen;
use super::tables::{CoarseTables, threshold};
use crate::dtw::{ExactScratch, Scratch, WIDTH, dtw, exact};
use crate::lanes::LANES;
use crate::params::{Curve, Neighbour};
use crate::search::crew::Crew;
use crate::search::cut;

/// Working memory of the last stages.
#[derive(Debug, Default)]
pub(super) struct Memory {
    pub(super) warp: WarpScratch,
    exact: ExactScratch,
}

impl Job<'_> {
    /// Compares seeds exactly.
    pub(super) fn compare_seeds(&self, crew: &Crew, seeds: &[Found], best: &Best, seen: &mut Seen) {
        let eights: Vec<&[Found]> = seeds.chunks(WIDTH).collect();
        crew.share(eights.len(), &|at| {
            self.compare(eights[at], best, &mut ExactScratch::default());
        });
        seen.compared += seeds.len() as u64;
    }

    /// Warps some curves and compares exactly what that leaves, nearest first.
    pub(super) fn settle(
        &self,
        some: &[Found],
        coarse: &[CoarseTables],
        best: &Best,
        seen: &mut Seen,
        memory: &mut Memory,
    ) {
        let mut waiting = Vec::new();
        for batch in some.chunks(LANES) {
            self.warp_batch(batch, coarse, best.cutoff(), &mut memory.warp, &mut waiting);
        }
        seen.warped += some.len() as u64;
        seen.compared += self.compare_waiting(&mut waiting, best, &mut memory.exact, 1);
    }

    /// The same, by all threads.
    pub(super) fn settle_all(
        &self,
        crew: &Crew,
        some: &[Found],
        coarse: &[CoarseTables],
        best: &Best,
        seen: &mut Seen,
    ) {
        let batches: Vec<&[Found]> = some.chunks(LANES).collect();
        let next = AtomicUsize::new(0);
        let settled = crew.map(crew.threads().min(batches.len()), |_| {
            self.settle_batches(&batches, &next, coarse, best)
        });
        settled.into_iter().for_each(|own| seen.add(own));
    }

    /// Takes batches until none is left.
    pub(super) fn settle_batches(
        &self,
        batches: &[&[Found]],
        next: &AtomicUsize,
        coarse: &[CoarseTables],
        best: &Best,
    ) -> Seen {
        let mut memory = Memory::default();
        let mut waiting: Vec<Found> = Vec::new();
        let mut seen = Seen::default();
        while let Some(&batch) = batches.get(next.fetch_add(1, Ordering::Relaxed)) {
            let cutoff = best.cutoff();
            if batch.iter().all(|one| ruled_out(one.bound, cutoff)) {
                continue;
            }
            seen.warped += batch.len() as u64;
            self.warp_batch(batch, coarse, cutoff, &mut memory.warp, &mut waiting);
            if waiting.len() >= WIDTH {
                seen.compared += self.compare_waiting(&mut waiting, best, &mut memory.exact, WIDTH);
            }
        }
        seen.compared += self.compare_waiting(&mut waiting, best, &mut memory.exact, 1);
        seen
    }

    /// Adds those of up to sixteen curves that DTW of codes does not rule out to the waiting ones.
    fn warp_batch(
        &self,
        batch: &[Found],
        coarse: &[CoarseTables],
        cutoff: f64,
        scratch: &mut WarpScratch,
        waiting: &mut Vec<Found>,
    ) {
        for (tables, own_coarse) in coarse.iter().enumerate() {
            let own = self.of_tables(batch, tables);
            if own.is_empty() {
                continue;
            }
            let copies = self.copies(Boxes::Narrow, &own);
            let scale = own_coarse.warp_scale;
            let most = threshold(cutoff, scale);
            let found = warp(self.level, self.against(own_coarse), &copies, most, scratch);
            for (one, bound) in own.iter().zip(found.iter().flatten()) {
                if *bound <= most {
                    // The charge for blur may bring a bound below 0.
                    let bound = as_cost(f64::from((*bound).max(0)), scale);
                    waiting.push(Found { bound: bound.max(one.bound), ..*one });
                }
            }
        }
    }

    /// Compares the waiting curves exactly, nearest first, while at least `least` are left.
    fn compare_waiting(
        &self,
        waiting: &mut Vec<Found>,
        best: &Best,
        scratch: &mut ExactScratch,
        least: usize,
    ) -> u64 {
        waiting.sort_unstable_by(|a, b| b.bound.total_cmp(&a.bound));
        let mut compared = 0;
        while waiting.len() >= least && !waiting.is_empty() {
            let cutoff = best.cutoff();
            let eight = waiting.split_off(waiting.len().saturating_sub(WIDTH));
            // Last is nearest.
            if ruled_out(eight[eight.len() - 1].bound, cutoff) {
                waiting.clear();
                break;
            }
            let eight: Vec<Found> =
                eight.into_iter().filter(|one| !ruled_out(one.bound, cutoff)).collect();
            compared += eight.len() as u64;
            self.compare(&eight, best, scratch);
        }
        compared
    }

    /// The true costs of up to eight curves, offered to the best.
    fn compare(&self, some: &[Found], best: &Best, scratch: &mut ExactScratch) {
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
