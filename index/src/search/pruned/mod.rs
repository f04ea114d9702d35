//! The pruned search: boxes, sketches, coarse copies, and the kernel only where they do not decide.
//!
//! Every stage rules a curve out only by a lower bound of its cost that exceeds the cost of the k-th
//! best curve known so far (never one that equals it), so the answer is the scan's. See
//! `docs/cascade.md`.

mod coarse;
mod envelope;
mod exact;
mod sweep;
mod tables;

use std::ops::Range;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use super::filter::Resolved;
use super::top::Top;
use super::{Answer, Nearest, Neighbour, Stages, cut, scan};
use crate::dtw::{Scratch, dtw};
use crate::lanes::{LANES, Level};
use crate::params::Curve;
use crate::sketch::{GROUP, Quantiser};
use crate::store::{Index, Segment};
use coarse::{WarpScratch, boxed, warp};
use envelope::{Envelope, envelope};
pub(crate) use exact::{ExactScratch, WIDTH, exact};
pub(crate) use sweep::Sections;
use sweep::{Candidate, Seen, block_bounds, group_bounds, sweep, sweep_groups};
use tables::{CoarseTables, SLACK, SketchTables, threshold};

/// At least so many promising curves are compared exactly to get a first cutoff.
const SEEDS: usize = 32;
/// Curves whose sketches are read to find them, per seed.
const LOOKED_AT: usize = 8;
/// More candidates than this are worth a round of exact comparisons to lower the cutoff.
const MANY: usize = 512;
/// Most such rounds.
const ROUNDS: usize = 4;
/// Blocks looked into per block needed.
const BLOCKS_PER_BLOCK: usize = 4;
/// A filter that lets fewer than one curve in so many through is swept group by group.
const SPARSE: usize = 12;

/// A curve still in the running.
#[derive(Debug, Clone, Copy)]
struct Found {
    /// A lower bound of its cost, rounded to `f32`; for order and for a stop with room for the rounding.
    bound: f32,
    segment: u32,
    place: u32,
}

/// By bound, ties by place, so that the order is no accident.
fn by_bound(a: &Found, b: &Found) -> std::cmp::Ordering {
    a.bound.total_cmp(&b.bound).then((a.segment, a.place).cmp(&(b.segment, b.place)))
}

/// Keeps the `count` least, in order.
fn keep_least(list: &mut Vec<(f32, u32, u32)>, count: usize) {
    let by = |a: &(f32, u32, u32), b: &(f32, u32, u32)| {
        a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2)))
    };
    if count < list.len() {
        list.select_nth_unstable_by(count, by);
        list.truncate(count);
    }
    list.sort_unstable_by(by);
}

/// A segment and the tables it shares with segments of the same quantiser.
struct Part<'a> {
    segment: &'a Segment,
    sections: Sections<'a>,
    tables: usize,
}

/// The query, prepared.
struct Job<'a> {
    what: &'a Nearest<'a>,
    section: Range<usize>,
    /// The whole query; the section is cut where needed.
    query: Curve<'a>,
    envelope: Envelope,
    filter: Option<&'a Resolved>,
    /// Curves that are live and let through.
    passing: usize,
    level: Level,
    parts: Vec<Part<'a>>,
    quantisers: Vec<&'a Quantiser>,
    /// Of the envelope: bounds.
    sketch_tables: Vec<SketchTables>,
    /// Of the query itself: no bounds, but better guesses at who is near.
    guess_tables: Vec<SketchTables>,
}

/// The k best so far, shared by all threads.
struct Best {
    top: Mutex<Top>,
    /// The cutoff's bits; costs are not negative, so bits order as numbers do.
    cutoff: AtomicU64,
}

impl Best {
    fn cutoff(&self) -> f64 {
        f64::from_bits(self.cutoff.load(Ordering::Relaxed))
    }

    fn offer(&self, found: &[Neighbour]) {
        let mut top = self.top.lock().unwrap_or_else(PoisonError::into_inner);
        found.iter().for_each(|&one| top.offer(one));
        self.cutoff.store(top.cutoff().to_bits(), Ordering::Relaxed);
    }
}

pub(crate) fn nearest(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
) -> Answer {
    let resolved = what.how.filter.map(|filter| filter.resolve(index));
    let passing = resolved.as_ref().map_or_else(|| index.len(), |resolved| resolved.passing);
    let stages = Stages { curves: passing as u64, ..Stages::default() };
    if what.k == 0 || passing == 0 {
        return Answer { neighbours: Vec::new(), stages };
    }
    if what.k >= passing && what.max_cost == f64::INFINITY {
        // Every cost is asked for: nothing can be ruled out.
        return scan::nearest(index, query, what, section);
    }
    let job = Job::new(index, query, what, section, resolved.as_deref(), passing);
    job.run(stages)
}

impl<'a> Job<'a> {
    fn new(
        index: &'a Index,
        query: Curve<'a>,
        what: &'a Nearest<'a>,
        section: &Range<usize>,
        filter: Option<&'a Resolved>,
        passing: usize,
    ) -> Self {
        let envelope = envelope(query, what.params, section);
        let mut quantisers: Vec<&Quantiser> = Vec::new();
        let mut parts = Vec::with_capacity(index.parts().len());
        for segment in index.parts() {
            let quantiser = segment.quantiser();
            let known = quantisers.iter().position(|&known| known == quantiser);
            let tables = known.unwrap_or_else(|| {
                quantisers.push(quantiser);
                quantisers.len() - 1
            });
            parts.push(Part { segment, sections: segment.sections(), tables });
        }
        let tables_of = |envelope: &Envelope| -> Vec<SketchTables> {
            let tables = quantisers.iter().map(|quantiser| {
                SketchTables::new(index.layout(), quantiser, envelope, what.params, section)
            });
            tables.collect()
        };
        let sketch_tables = tables_of(&envelope);
        let itself = Envelope { upper: query.values().to_vec(), lower: query.values().to_vec() };
        let guess_tables = tables_of(&itself);
        Self {
            what,
            section: section.clone(),
            query,
            envelope,
            filter,
            passing,
            level: Level::best(),
            parts,
            quantisers,
            sketch_tables,
            guess_tables,
        }
    }

    fn run(&self, mut stages: Stages) -> Answer {
        let top = Top::new(self.what.k, self.what.max_cost);
        let cutoff = AtomicU64::new(top.cutoff().to_bits());
        let best = Best { top: Mutex::new(top), cutoff };
        let mut exact_scratch = ExactScratch::default();

        let mut seen = Seen::default();
        // Under a narrow filter the few groups that hold anything, else blocks by their boxes.
        let listed = self.listed(&mut seen);
        let seeds = match &listed {
            Some(listed) => self.nearest_of(listed.clone()),
            None => self.seeds(&mut seen),
        };
        for eight in seeds.chunks(WIDTH) {
            self.compare(eight, &best, &mut exact_scratch);
        }
        stages.kernel += seeds.len() as u64;
        let mut done: Vec<(u32, u32)> = seeds.iter().map(|one| (one.segment, one.place)).collect();
        done.sort_unstable();

        // Sketches, by shares of the blocks.
        let threads = self.what.how.threads.get();
        let mut cutoff = best.cutoff();
        let mut candidates = listed.unwrap_or_else(|| {
            let near = self.near(cutoff);
            let share = near.len().div_ceil(4 * threads).max(64);
            let shares: Vec<&[(u32, u32)]> = near.chunks(share).collect();
            let swept = in_parallel(threads, shares.len(), |at| self.sweep(shares[at], cutoff));
            let mut candidates = Vec::new();
            for (found, swept) in swept {
                candidates.extend(found);
                seen.groups += swept.groups;
                seen.curves += swept.curves;
            }
            candidates
        });
        stages.groups = seen.groups;
        stages.sketches = seen.curves;
        candidates.retain(|one| {
            !ruled_out(one.bound, cutoff) && done.binary_search(&(one.segment, one.place)).is_err()
        });

        // Many left: the nearest of them may give a lower cutoff.
        for _ in 0..ROUNDS {
            let wanted = self.wanted().max(SEEDS);
            if candidates.len() < MANY.max(2 * wanted) {
                break;
            }
            candidates.select_nth_unstable_by(wanted, by_bound);
            let nearest: Vec<Found> = candidates.drain(..wanted).collect();
            stages.kernel += nearest.len() as u64;
            for eight in nearest.chunks(WIDTH) {
                self.compare(eight, &best, &mut exact_scratch);
            }
            let before = std::mem::replace(&mut cutoff, best.cutoff());
            candidates.retain(|one| !ruled_out(one.bound, cutoff));
            if cutoff > before * 0.9 {
                break;
            }
        }

        // DTW of boxes, on coarse copies.
        let coarse = self.coarse_tables(cutoff);
        stages.coarse = candidates.len() as u64;
        let share = candidates.len().div_ceil(4 * threads).max(256);
        let shares: Vec<&[Found]> = candidates.chunks(share).collect();
        let sifted =
            in_parallel(threads, shares.len(), |at| self.sift(shares[at], &coarse, cutoff));
        let mut candidates: Vec<Found> = sifted.into_iter().flatten().collect();
        candidates.sort_unstable_by(by_bound);

        // DTW on coarse copies, sixteen at a time, nearest first; the kernel on what is left.
        let batches: Vec<&[Found]> = candidates.chunks(LANES).collect();
        let next = AtomicUsize::new(0);
        let counts = in_parallel(threads, threads.min(batches.len()), |_| {
            self.warp_all(&batches, &next, &coarse, &best)
        });
        for (warped, compared) in counts {
            stages.warped += warped;
            stages.kernel += compared;
        }
        let top = best.top.into_inner().unwrap_or_else(PoisonError::into_inner);
        Answer { neighbours: top.into_sorted(), stages }
    }

    /// The most promising curves: the sketches nearest to the query's own, of the nearest groups of the
    /// nearest blocks. A guess, made well to get a low cutoff early; nothing is ruled out by it.
    fn seeds(&self, seen: &mut Seen) -> Vec<Found> {
        let enough = self.wanted().saturating_mul(LOOKED_AT) / GROUP;
        if enough == 0 {
            return Vec::new();
        }
        let mut bounds = Vec::new();
        let mut blocks = Vec::new();
        for (number, part) in (0_u32..).zip(&self.parts) {
            let tables = &self.guess_tables[part.tables];
            block_bounds(self.level, part.sections, tables, &mut bounds);
            let cost = |bound: i32| as_cost(f64::from(bound), tables.scale);
            blocks
                .extend((0_u32..).zip(&bounds).map(|(block, &bound)| (cost(bound), number, block)));
        }
        // Twice as many blocks as could be enough, were all full; then the nearest of their groups.
        keep_least(&mut blocks, (enough / GROUP + 1) * BLOCKS_PER_BLOCK);
        let mut seeds = Vec::new();
        let mut candidates = Vec::new();
        // Under a wide filter these may hold too few; then the next blocks are looked at.
        let mut groups = Vec::new();
        for &(_, number, block) in &blocks {
            let part = &self.parts[number as usize];
            let tables = &self.guess_tables[part.tables];
            group_bounds(self.level, part.sections, tables, block, &mut bounds);
            let cost = |bound: i32| as_cost(f64::from(bound), tables.scale);
            let first = block * GROUP as u32;
            groups
                .extend((first..).zip(&bounds).map(|(group, &bound)| (cost(bound), number, group)));
        }
        keep_least(&mut groups, enough);
        for &(_, number, group) in &groups {
            let part = &self.parts[number as usize];
            let tables = &self.guess_tables[part.tables];
            candidates.clear();
            let wanted = [(group, 0xffff)];
            sweep_groups(
                self.level,
                part.sections,
                tables,
                &wanted,
                i32::MAX,
                &mut candidates,
                seen,
            );
            seeds.extend(self.passing(number, &candidates, tables.scale));
        }
        self.nearest_of(seeds)
    }

    /// How many seeds to compare.
    fn wanted(&self) -> usize {
        // A range query knows its cutoff; k beyond all curves comes only with one.
        if self.what.k >= self.passing { 0 } else { SEEDS.max(self.what.k + self.what.k / 2) }
    }

    /// The nearest of `seeds`, as many as wanted, by their bounds.
    fn nearest_of(&self, mut seeds: Vec<Found>) -> Vec<Found> {
        let wanted = self.wanted();
        if seeds.len() > wanted {
            seeds.select_nth_unstable_by(wanted, by_bound);
            seeds.truncate(wanted);
        }
        seeds.sort_unstable_by(by_bound);
        seeds
    }

    /// Candidates that are live and let through.
    fn passing(
        &self,
        segment: u32,
        candidates: &[Candidate],
        scale: f64,
    ) -> impl Iterator<Item = Found> {
        let passing = candidates.iter().filter(move |one| self.passes(segment, one.place));
        passing.map(move |one| Found {
            bound: as_cost(f64::from(one.bound), scale),
            segment,
            place: one.place,
        })
    }

    /// Under a narrow filter: all that it lets through, with the bounds of their sketches.
    fn listed(&self, seen: &mut Seen) -> Option<Vec<Found>> {
        let filter = self.filter?;
        let rows: usize = self.parts.iter().map(|part| part.segment.rows()).sum();
        if filter.passing.saturating_mul(SPARSE) > rows {
            return None;
        }
        let mut listed = Vec::with_capacity(filter.passing);
        let mut candidates = Vec::new();
        for (number, (part, places)) in (0_u32..).zip(self.parts.iter().zip(&filter.segments)) {
            let tables = &self.sketch_tables[part.tables];
            candidates.clear();
            let groups = places.groups();
            let (sections, level) = (part.sections, self.level);
            sweep_groups(level, sections, tables, &groups, i32::MAX, &mut candidates, seen);
            listed.extend(self.passing(number, &candidates, tables.scale));
        }
        Some(listed)
    }

    /// Blocks whose boxes the cutoff does not rule out: (segment, block).
    fn near(&self, cutoff: f64) -> Vec<(u32, u32)> {
        let mut near = Vec::new();
        let mut bounds = Vec::new();
        for (number, part) in (0_u32..).zip(&self.parts) {
            let tables = &self.sketch_tables[part.tables];
            block_bounds(self.level, part.sections, tables, &mut bounds);
            let most = threshold(cutoff, tables.scale);
            let inside = (0_u32..).zip(&bounds).filter(|&(_, &bound)| bound <= most);
            near.extend(inside.map(|(block, _)| (number, block)));
        }
        near
    }

    /// Sweeps some blocks and keeps what sketches do not rule out.
    fn sweep(&self, blocks: &[(u32, u32)], cutoff: f64) -> (Vec<Found>, Seen) {
        let mut seen = Seen::default();
        let mut found = Vec::new();
        let mut candidates: Vec<Candidate> = Vec::new();
        for run in blocks.chunk_by(|a, b| a.0 == b.0) {
            let segment = run[0].0;
            let part = &self.parts[segment as usize];
            let tables = &self.sketch_tables[part.tables];
            let most = threshold(cutoff, tables.scale);
            let numbers: Vec<u32> = run.iter().map(|&(_, block)| block).collect();
            candidates.clear();
            let (sections, level) = (part.sections, self.level);
            sweep(level, sections, tables, &numbers, most, &mut candidates, &mut seen);
            found.extend(self.passing(segment, &candidates, tables.scale));
        }
        (found, seen)
    }

    /// Keeps what DTW of boxes on the coarse copy does not rule out, with the better bound.
    fn sift(&self, some: &[Found], coarse: &[CoarseTables], cutoff: f64) -> Vec<Found> {
        let mut scratch = WarpScratch::default();
        let mut kept = Vec::new();
        for batch in some.chunks(LANES) {
            for (tables, own_coarse) in coarse.iter().enumerate() {
                let (own, copies) = self.lanes(batch, tables);
                if own.is_empty() {
                    continue;
                }
                let most = threshold(cutoff, own_coarse.scale);
                let (params, section) = (self.what.params, &self.section);
                let found =
                    boxed(self.level, own_coarse, params, section, &copies, most, &mut scratch);
                for (one, bound) in own.into_iter().zip(found.iter().flatten()) {
                    if *bound <= most {
                        let bound = as_cost(f64::from(*bound), own_coarse.scale);
                        kept.push(Found { bound: bound.max(one.bound), ..*one });
                    }
                }
            }
        }
        kept
    }

    /// Those of a batch whose segments use these tables, and their coarse copies; lanes left over
    /// repeat the last. A batch seldom holds curves of two quantisers.
    fn lanes<'b>(&self, batch: &'b [Found], tables: usize) -> (Vec<&'b Found>, [&'a [u8]; LANES]) {
        let part = |one: &Found| &self.parts[one.segment as usize];
        let own: Vec<&Found> = batch.iter().filter(|one| part(one).tables == tables).collect();
        let copies = std::array::from_fn(|lane| {
            own.get(lane.min(own.len().saturating_sub(1)))
                .map_or(&[][..], |one| part(one).segment.coarse(one.place as usize))
        });
        (own, copies)
    }

    /// Takes batches until none is left, or none can hold anything.
    fn warp_all(
        &self,
        batches: &[&[Found]],
        next: &AtomicUsize,
        coarse: &[CoarseTables],
        best: &Best,
    ) -> (u64, u64) {
        let mut scratch = WarpScratch::default();
        let mut exact_scratch = ExactScratch::default();
        let mut waiting: Vec<Found> = Vec::new();
        let (mut warped, mut compared) = (0, 0);
        while let Some(&batch) = batches.get(next.fetch_add(1, Ordering::Relaxed)) {
            let cutoff = best.cutoff();
            if ruled_out(batch[0].bound, cutoff) {
                break;
            }
            for (tables, own_coarse) in coarse.iter().enumerate() {
                let (own, copies) = self.lanes(batch, tables);
                if own.is_empty() {
                    continue;
                }
                warped += own.len() as u64;
                let scale = own_coarse.warp_scale;
                let most = [threshold(cutoff, scale), threshold(cutoff, own_coarse.scale)];
                let (params, section) = (self.what.params, &self.section);
                let found =
                    warp(self.level, own_coarse, params, section, &copies, most, &mut scratch);
                for (one, bound) in own.into_iter().zip(found.iter().flatten()) {
                    if *bound <= most[0] {
                        // The charge for blur may bring a bound below 0.
                        let bound = as_cost(f64::from((*bound).max(0)), scale);
                        waiting.push(Found { bound: bound.max(one.bound), ..*one });
                    }
                }
            }
            if waiting.len() >= WIDTH {
                compared += self.compare_waiting(&mut waiting, best, &mut exact_scratch, WIDTH);
            }
        }
        compared += self.compare_waiting(&mut waiting, best, &mut exact_scratch, 1);
        (warped, compared)
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
        let cutoff = best.cutoff();
        let mut found = Vec::with_capacity(some.len());
        if some.len() <= 2 {
            let mut scratch = Scratch::default();
            for one in some {
                let (segment, row) = row(one);
                let (a, b) =
                    (cut(self.query, &self.section), cut(segment.curve(row), &self.section));
                if let Some(cost) = dtw(a, b, self.what.params, cutoff, &mut scratch) {
                    found.push(Neighbour { id: segment.ids()[row], cost });
                }
            }
        } else {
            let curves: [Curve<'_>; WIDTH] = std::array::from_fn(|lane| {
                let (segment, row) = row(&some[lane.min(some.len() - 1)]);
                segment.curve(row)
            });
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

    fn coarse_tables(&self, cutoff: f64) -> Vec<CoarseTables> {
        // Without k costs there is no cutoff yet; any scale does.
        let cutoff = if cutoff.is_finite() { cutoff } else { 0.0 };
        let layout = self.parts[0].segment.layout();
        let one = |quantiser: &&Quantiser| {
            CoarseTables::new(
                layout,
                quantiser,
                self.query,
                &self.envelope,
                self.what.params,
                &self.section,
                cutoff,
            )
        };
        self.quantisers.iter().map(one).collect()
    }

    /// Whether a place holds a curve that is live and let through.
    fn passes(&self, segment: u32, place: u32) -> bool {
        let part = &self.parts[segment as usize];
        if place as usize >= part.segment.rows() {
            return false;
        }
        match self.filter {
            Some(filter) => filter.segments[segment as usize].passes(place as usize),
            None => part.segment.is_live(part.segment.row_at(place as usize)),
        }
    }
}

/// An integer bound as a cost; where `f32` runs out, something lower.
fn as_cost(bound: f64, scale: f64) -> f32 {
    let cost = bound / scale;
    // Subnormal numbers would round by more than `ruled_out` allows for.
    if cost < f64::from(f32::MIN_POSITIVE) { 0.0 } else { cost.min(f64::from(f32::MAX)) as f32 }
}

/// Whether a bound rules out a curve; the bound may have been rounded up to the next `f32`.
fn ruled_out(bound: f32, cutoff: f64) -> bool {
    f64::from(bound) * (1.0 - 1e-6) > cutoff * (1.0 + SLACK)
}

/// `work(0) .. work(count - 1)`, by up to `threads` threads.
fn in_parallel<T: Send>(threads: usize, count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    if threads == 1 || count <= 1 {
        return (0..count).map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::with_capacity(count));
    rayon::scope(|scope| {
        for _ in 0..threads.min(count) {
            scope.spawn(|_| {
                loop {
                    let number = next.fetch_add(1, Ordering::Relaxed);
                    if number >= count {
                        break;
                    }
                    let made = work(number);
                    done.lock().unwrap_or_else(PoisonError::into_inner).push((number, made));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_else(PoisonError::into_inner);
    done.sort_unstable_by_key(|(number, _)| *number);
    done.into_iter().map(|(_, made)| made).collect()
}
