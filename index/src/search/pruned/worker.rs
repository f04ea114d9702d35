//! What one thread does: shares of blocks, each from its boxes to the kernel.

use std::sync::atomic::{AtomicUsize, Ordering};

use super::Job;
use super::boxes::boxed;
use super::cluster::CROWD;
use super::found::{Best, Done, Found, as_cost, by_bound, ruled_out};
use super::seeds::Near;
use super::sweep::{Candidate, Seen, near_groups, sweep_groups};
use super::tables::{CoarseTables, ROWS, threshold};
use super::turn::{Ahead, WarpScratch, frames_inside, lane_len};
use super::warp::{Tails, warp};
use crate::dtw::{ExactScratch, WIDTH};
use crate::lanes::LANES;

/// Curves are settled in shares of so many at most.
pub(super) const SHARE: usize = 256;
/// Settled at once is what has a bound below this part of the cutoff.
const AT_ONCE: f64 = 0.5;

/// A curve that boxes do not rule out, and where its tails are: what is still to come at least, per row of boxes.
#[derive(Debug, Clone, Copy)]
struct Boxed {
    found: Found,
    /// In the worker's memory.
    tails: usize,
}

/// One thread's work on a query.
pub(super) struct Worker<'j, 'a> {
    job: &'j Job<'a>,
    best: &'j Best,
    /// Compared already.
    done: &'j Done,
    coarse: Vec<CoarseTables>,
    seen: Seen,
    scratch: WarpScratch,
    exact: ExactScratch,
    tails: Vec<i32>,
    groups: Vec<(u32, u32)>,
    candidates: Vec<Candidate>,
    found: Vec<Found>,
}

impl<'j, 'a> Worker<'j, 'a> {
    pub(super) fn new(
        job: &'j Job<'a>,
        best: &'j Best,
        done: &'j Done,
        coarse: &[CoarseTables],
    ) -> Self {
        Self {
            job,
            best,
            done,
            coarse: coarse.to_vec(),
            seen: Seen::default(),
            scratch: WarpScratch::default(),
            exact: ExactScratch::default(),
            tails: Vec::new(),
            groups: Vec::new(),
            candidates: Vec::new(),
            found: Vec::new(),
        }
    }

    /// Takes shares of blocks until none is left. What seems near is settled at once, so that the cutoff falls; the
    /// rest is put off, and comes back in order of its bounds.
    pub(super) fn sweep_shares(
        mut self,
        shares: &[&[Near]],
        next: &AtomicUsize,
    ) -> (Vec<Found>, Seen) {
        let (mut soon, mut later) = (Vec::new(), Vec::new());
        while let Some(share) = shares.get(next.fetch_add(1, Ordering::Relaxed)) {
            // The bounds of warped codes are tightest at the cutoff they are made for.
            self.job.suit(&mut self.coarse, self.best.cutoff());
            self.sweep(share);
            let most = self.best.cutoff() * AT_ONCE;
            for one in self.found.drain(..) {
                if f64::from(one.bound) < most { &mut soon } else { &mut later }.push(one);
            }
            self.settle(&mut soon);
            soon.clear();
        }
        let cutoff = self.best.cutoff();
        later.retain(|one| !ruled_out(one.bound, cutoff));
        later.sort_unstable_by(by_bound);
        (later, self.seen)
    }

    /// Takes shares of curves, in order of their bounds, until none is left.
    pub(super) fn settle_shares(mut self, shares: &[&[Found]], next: &AtomicUsize) -> Seen {
        while let Some(share) = shares.get(next.fetch_add(1, Ordering::Relaxed)) {
            self.job.suit(&mut self.coarse, self.best.cutoff());
            self.settle_share(share);
        }
        self.seen
    }

    fn settle(&mut self, some: &mut [Found]) {
        some.sort_unstable_by(by_bound);
        some.chunks(SHARE).for_each(|share| self.settle_share(share));
    }

    /// So few at a time that what is read and kept of them stays near the processor.
    fn settle_share(&mut self, share: &[Found]) {
        for tables in 0..self.coarse.len() {
            let own = |one: &&Found| self.job.parts[one.segment as usize].tables == tables;
            let own: Vec<Found> = share.iter().filter(own).copied().collect();
            self.settle_own(&own, tables);
        }
    }

    /// Finds what boxes of groups, sketches and representatives leave of some blocks.
    fn sweep(&mut self, share: &[Near]) {
        for run in share.chunk_by(|a, b| a.1 == b.1) {
            let segment = run[0].1;
            let part = &self.job.parts[segment as usize];
            let tables = &self.job.sketch_tables()[part.tables];
            let cutoff = self.best.cutoff();
            let most = threshold(cutoff, tables.scale);
            let near = run.iter().filter(|near| !ruled_out(near.0, cutoff));
            let numbers: Vec<u32> = near.map(|&(.., block)| block).collect();
            let (sections, level) = (part.sections, self.job.level);
            let Self { groups, candidates, seen, .. } = self;
            groups.clear();
            candidates.clear();
            seen.groups += near_groups(level, sections, tables, &numbers, most, groups);
            if self.job.filter.is_some() {
                groups.iter_mut().for_each(|one| one.1 = self.job.lanes(segment, one.0));
                groups.retain(|one| one.1 != 0);
            }
            sweep_groups(level, sections, tables, groups, most, candidates, seen);
            let start = self.found.len();
            let passing = self.job.passing(segment, candidates, tables.scale);
            self.found.extend(passing.filter(|one| !self.done.holds(one)));
            let (coarse, scratch) = (&self.coarse[part.tables], &mut self.scratch);
            let own = &mut self.found[start..];
            self.seen.representatives +=
                self.job.represent(part, coarse, cutoff, CROWD, scratch, own);
        }
        let cutoff = self.best.cutoff();
        self.found.retain(|one| !ruled_out(one.bound, cutoff));
    }

    /// From boxes to the kernel, of each stage's curves the nearest first.
    fn settle_own(&mut self, some: &[Found], tables: usize) {
        let mut boxed = self.hold(some, tables);
        boxed.sort_unstable_by(|a, b| by_bound(&a.found, &b.found));
        let mut waiting = Vec::new();
        for batch in boxed.chunks(LANES) {
            if ruled_out(batch[0].found.bound, self.best.cutoff()) {
                break;
            }
            self.warp(batch, tables, &mut waiting);
            self.compare_waiting(&mut waiting, WIDTH);
        }
        self.compare_waiting(&mut waiting, 1);
    }

    /// Keeps what DTW of boxes does not rule out, with the better bound.
    fn hold(&mut self, some: &[Found], tables: usize) -> Vec<Boxed> {
        let coarse = &self.coarse[tables];
        let words = self.job.index.layout().frame_words();
        let inside = frames_inside(&self.job.section, words);
        let rows = self.rows();
        let mut kept = Vec::new();
        self.tails.clear();
        let mut batches = some.chunks(LANES).map(|batch| (batch, self.job.copies(batch)));
        let mut next = batches.next();
        while let Some((batch, copies)) = next {
            let cutoff = self.best.cutoff();
            if ruled_out(batch[0].bound, cutoff) {
                break;
            }
            next = batches.next();
            let soon = next.as_ref().map_or(&[][..], |(batch, copies)| &copies[..batch.len()]);
            let ahead = Ahead::new(soon, inside.clone());
            let most = threshold(cutoff, coarse.scale);
            let against = self.job.against(coarse);
            self.seen.boxed += batch.len() as u64;
            let (level, scratch, tails) = (self.job.level, &mut self.scratch, &mut self.tails);
            let first = tails.len();
            let found = boxed(level, against, &copies, ahead, most, scratch, tails);
            for (lane, (one, bound)) in batch.iter().zip(found.iter().flatten()).enumerate() {
                if *bound <= most {
                    let bound = as_cost(f64::from(*bound), coarse.scale);
                    let found = Found { bound: bound.max(one.bound), ..*one };
                    kept.push(Boxed { found, tails: first + lane * rows });
                }
            }
        }
        kept
    }

    /// Numbers kept of each curve's tails.
    fn rows(&self) -> usize {
        lane_len(self.job.section.len().div_ceil(ROWS) + 1)
    }

    /// Adds those of up to sixteen curves that DTW of codes does not rule out to the waiting ones.
    fn warp(&mut self, batch: &[Boxed], tables: usize, waiting: &mut Vec<Found>) {
        let coarse = &self.coarse[tables];
        let found: Vec<Found> = batch.iter().map(|one| one.found).collect();
        let copies = self.job.copies(&found);
        let rows = self.rows();
        let of_lanes = std::array::from_fn(|lane| {
            let first = batch[lane.min(batch.len() - 1)].tails;
            bytemuck::cast_slice(&self.tails[first..first + rows])
        });
        // A hair less for what `f32` rounds.
        let ratio = (coarse.warp_scale / coarse.scale * (1.0 - 1e-6)) as f32;
        let tails = Tails { of_lanes: &of_lanes, ratio };
        let most = threshold(self.best.cutoff(), coarse.warp_scale);
        let against = self.job.against(coarse);
        self.seen.warped += batch.len() as u64;
        let bounds = warp(self.job.level, against, &copies, tails, most, &mut self.scratch);
        for (one, bound) in found.iter().zip(bounds.iter().flatten()) {
            if *bound <= most {
                // The charge for blur may bring a bound below 0.
                let bound = as_cost(f64::from((*bound).max(0)), coarse.warp_scale);
                waiting.push(Found { bound: bound.max(one.bound), ..*one });
            }
        }
    }

    /// Compares the waiting curves exactly, nearest first, while at least `least` are left.
    fn compare_waiting(&mut self, waiting: &mut Vec<Found>, least: usize) {
        waiting.sort_unstable_by(|a, b| by_bound(b, a));
        while waiting.len() >= least {
            let cutoff = self.best.cutoff();
            let mut eight = waiting.split_off(waiting.len().saturating_sub(WIDTH));
            eight.retain(|one| !ruled_out(one.bound, cutoff));
            if eight.is_empty() {
                // The others are farther still.
                waiting.clear();
                break;
            }
            self.seen.compared += eight.len() as u64;
            self.job.compare(&eight, self.best, &mut self.exact);
        }
    }
}

impl<'a> Job<'a> {
    /// The coarse copies of up to sixteen curves; lanes left over repeat the last.
    fn copies(&self, batch: &[Found]) -> [&'a [u8]; LANES] {
        let len = self.coarse_len;
        std::array::from_fn(|lane| {
            let one = &batch[lane.min(batch.len() - 1)];
            let place = one.place as usize;
            let copy = &self.parts[one.segment as usize].coarse[place * len..(place + 1) * len];
            if lane < batch.len() { self.reads(copy) } else { copy }
        })
    }
}
