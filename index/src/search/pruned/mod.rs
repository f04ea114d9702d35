//! The pruned search: boxes, sketches, coarse copies, and the kernel only where they do not decide.
//!
//! Every stage rules a curve out only by a lower bound of its cost that exceeds the cost of the k-th
//! best curve known so far (never one that equals it), so the answer is the scan's. See
//! `docs/cascade.md`.

mod choose;
mod coarse;
mod envelope;
mod exact;
mod leads;
mod sweep;
mod tables;
#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::ops::Range;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

use super::crew::Crew;
use super::filter::Resolved;
use super::top::Top;
use super::{Answer, Nearest, Neighbour, Stages, cut, scan};
use crate::dtw::{Scratch, dtw};
use crate::lanes::{LANES, Level};
use crate::params::Curve;
use crate::sketch::{Quantiser, RUN};
use crate::store::{Index, Segment};
use choose::Sweep;
use coarse::{Ahead, WarpScratch, boxed, boxed_runs, frames_inside, runs_inside, warp};
use envelope::{Envelope, envelope};
pub(crate) use exact::{ExactScratch, WIDTH, exact};
pub(crate) use sweep::Sections;
use sweep::Seen;
use tables::{CoarseTables, SLACK, SketchTables, threshold};

/// At least so many promising curves are compared exactly to get a first cutoff.
const SEEDS: usize = 32;
/// More candidates than this are worth a round of exact comparisons to lower the cutoff.
const MANY: usize = 512;
/// At least so many candidates are worth a round with the nearest of them; tests have fewer.
const SIFT_WORTH: usize = if cfg!(test) { 64 } else { 4096 };
/// So many are of that round; tests have fewer.
const SIFT_FIRST: usize = if cfg!(test) { 48 } else { 1024 };
/// So many curves of a share show whether wide boxes rule enough of it out; tests have fewer.
const WIDE_TRIAL: usize = if cfg!(test) { 32 } else { 256 };
/// They do where they leave at most this part: a wide box costs a third of a narrow one, and what it leaves
/// is what narrow ones take longest for.
const WIDE_WORTH: (usize, usize) = (2, 5);
/// Most such rounds.
const ROUNDS: usize = 4;
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

/// Curves compared already.
struct Done {
    /// Ascending.
    places: Vec<(u32, u32)>,
    /// Whether the bit of a place's lowest ten bits is set, for a quick no.
    bits: [u64; 16],
}

impl Done {
    fn new(curves: &[Found]) -> Self {
        let mut places: Vec<(u32, u32)> =
            curves.iter().map(|one| (one.segment, one.place)).collect();
        places.sort_unstable();
        let mut bits = [0; 16];
        for (_, place) in &places {
            bits[(place / 64 % 16) as usize] |= 1 << (place % 64);
        }
        Self { places, bits }
    }

    fn holds(&self, one: &Found) -> bool {
        self.bits[(one.place / 64 % 16) as usize] >> (one.place % 64) & 1 == 1
            && self.places.binary_search(&(one.segment, one.place)).is_ok()
    }
}

/// Takes the `count` of the lowest bounds out, lowest first; the others keep their order.
fn take_least(candidates: &mut Vec<Found>, count: usize) -> Vec<Found> {
    let mut least: Vec<Found> = Vec::with_capacity(2 * count);
    let mut most = f32::INFINITY;
    for one in candidates.iter() {
        if one.bound <= most {
            least.push(*one);
            if least.len() == 2 * count {
                least.select_nth_unstable_by(count - 1, by_bound);
                least.truncate(count);
                most = least[count - 1].bound;
            }
        }
    }
    least.sort_unstable_by(by_bound);
    least.truncate(count);
    if let Some(last) = least.last() {
        candidates.retain(|one| by_bound(one, last).is_gt());
    }
    least
}

/// A segment and the tables it shares with segments of the same quantiser.
struct Part<'a> {
    segment: &'a Segment,
    sections: Sections<'a>,
    tables: usize,
}

/// Boxes of frames to warp.
#[derive(Debug, Clone, Copy)]
enum Boxes {
    /// The runs that are kept.
    Wide,
    /// Half as wide, made of the coarse copies.
    Narrow,
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
    /// Whether all segments have runs and the section begins with one.
    wide: bool,
    parts: Vec<Part<'a>>,
    quantisers: Vec<&'a Quantiser>,
    /// Of the envelope: bounds.
    sketch_tables: Vec<SketchTables>,
    /// Of the query itself: no bounds, but better guesses at who is near.
    guess_tables: Vec<SketchTables>,
}

/// What is left when all curves were looked at, but for those compared already.
struct Begun {
    candidates: Vec<Found>,
    coarse: Vec<CoarseTables>,
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
    nearest_of(index, query, what, section, resolved.as_deref())
}

/// The same of the curves behind an id, whatever the filter.
pub(crate) fn behind(index: &Index, query: Curve<'_>, id: u64, what: &Nearest<'_>) -> Answer {
    let behind = Resolved::behind(index, id);
    nearest_of(index, query, what, &(0..query.frames()), Some(&behind))
}

fn nearest_of(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
    resolved: Option<&Resolved>,
) -> Answer {
    let passing = resolved.map_or_else(|| index.len(), |resolved| resolved.passing);
    let stages = Stages { curves: passing as u64, ..Stages::default() };
    if what.k == 0 || passing == 0 {
        return Answer { neighbours: Vec::new(), stages };
    }
    if what.k >= passing && what.max_cost == f64::INFINITY {
        // Every cost is asked for: nothing can be ruled out.
        return scan::nearest(index, query, what, section);
    }
    Crew::with(what.how.threads.get(), |crew| {
        Job::new(index, query, what, section, resolved, passing).run(crew, stages)
    })
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
        let wide = section.start.is_multiple_of(RUN)
            && parts.iter().all(|part: &Part<'_>| part.segment.has_runs());
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
            wide,
            parts,
            quantisers,
            sketch_tables,
            guess_tables,
        }
    }

    fn run(&self, crew: &Crew, mut stages: Stages) -> Answer {
        let top = Top::new(self.what.k, self.what.max_cost);
        let cutoff = AtomicU64::new(top.cutoff().to_bits());
        let best = Best { top: Mutex::new(top), cutoff };
        let mut seen = Seen::default();

        let begun = if self.is_sparse() {
            self.begin_listed(crew, &best, &mut seen)
        } else {
            self.begin_all(crew, &best, &mut seen)
        };
        let Begun { mut candidates, mut coarse } = begun;
        let cutoff = best.cutoff();
        candidates.retain(|one| !ruled_out(one.bound, cutoff));
        self.look(&mut candidates, &coarse, &best, &mut seen);

        // DTW of boxes.
        let cutoff = best.cutoff();
        coarse.iter_mut().for_each(|tables| tables.lower(cutoff));
        let mut candidates = self.sift_all(crew, candidates, &coarse, &best, &mut seen);
        stages.groups = seen.groups;
        stages.sketches = seen.curves;
        stages.leads = seen.leads;
        stages.runs = seen.wide;
        stages.coarse = seen.narrow;
        stages.kernel += seen.compared;
        candidates.sort_unstable_by(by_bound);

        // DTW on coarse copies, sixteen at a time, nearest first; the kernel on what is left.
        let batches: Vec<&[Found]> = candidates.chunks(LANES).collect();
        let next = AtomicUsize::new(0);
        let counts = crew.map(crew.threads().min(batches.len()), |_| {
            self.warp_all(&batches, &next, &coarse, &best)
        });
        for (warped, compared) in counts {
            stages.warped += warped;
            stages.kernel += compared;
        }
        let top = best.top.into_inner().unwrap_or_else(PoisonError::into_inner);
        Answer { neighbours: top.into_sorted(), stages }
    }

    /// Seeds, then a sweep of all curves by their boxes and sketches.
    fn begin_all(&self, crew: &Crew, best: &Best, seen: &mut Seen) -> Begun {
        let guesses = self.guesses();
        let seeds = self.seeds(&guesses, seen);
        let done = self.compare_seeds(crew, &seeds, best, seen);
        let cutoff = best.cutoff();
        let near = self.near(cutoff);
        let tables = || self.coarse_tables(cutoff);
        let (mut coarse, leads) = crew.both(tables, || self.lead_tables(near.len()));
        let sweep = Sweep { near, guesses, leads, done: &done, coarse: &coarse };
        let candidates = self.sweep_all(crew, sweep, best, seen);
        if cutoff.is_infinite() {
            // What they were made for says nothing.
            coarse = self.coarse_tables(best.cutoff());
        }
        Begun { candidates, coarse }
    }

    /// Under a narrow filter: what it lets through, with the bounds of their sketches.
    fn begin_listed(&self, crew: &Crew, best: &Best, seen: &mut Seen) -> Begun {
        let mut listed = self.listed(seen);
        let seeds = self.nearest_of(listed.clone());
        let done = self.compare_seeds(crew, &seeds, best, seen);
        listed.retain(|one| !done.holds(one));
        Begun { candidates: listed, coarse: self.coarse_tables(best.cutoff()) }
    }

    /// Compares seeds exactly.
    fn compare_seeds(&self, crew: &Crew, seeds: &[Found], best: &Best, seen: &mut Seen) -> Done {
        let eights: Vec<&[Found]> = seeds.chunks(WIDTH).collect();
        crew.share(eights.len(), &|at| {
            self.compare(eights[at], best, &mut ExactScratch::default());
        });
        seen.compared += seeds.len() as u64;
        Done::new(seeds)
    }

    /// While many are left: takes those of the lowest bounds out, holds them against narrow boxes and compares
    /// what these leave exactly, which may lower the cutoff; drops what it then rules out. Keeps the order.
    fn look(
        &self,
        candidates: &mut Vec<Found>,
        coarse: &[CoarseTables],
        best: &Best,
        seen: &mut Seen,
    ) {
        let wanted = self.wanted().max(SEEDS);
        let mut warp_scratch = WarpScratch::default();
        let mut scratch = ExactScratch::default();
        for _ in 0..ROUNDS {
            if candidates.len() < MANY.max(2 * wanted) {
                break;
            }
            let before = best.cutoff();
            let nearest = take_least(candidates, wanted);
            seen.narrow += nearest.len() as u64;
            let mut left = self.hold(Boxes::Narrow, &nearest, coarse, before, &mut warp_scratch);
            seen.compared += self.compare_waiting(&mut left, best, &mut scratch, 1);
            let cutoff = best.cutoff();
            candidates.retain(|one| !ruled_out(one.bound, cutoff));
            if cutoff > before * 0.9 {
                break;
            }
        }
    }

    /// Keeps what DTW of boxes does not rule out. Of many curves those of the lowest bounds come first: what
    /// boxes find nearest among them is compared exactly, which may lower the cutoff for the rest.
    fn sift_all(
        &self,
        crew: &Crew,
        candidates: Vec<Found>,
        coarse: &[CoarseTables],
        best: &Best,
        seen: &mut Seen,
    ) -> Vec<Found> {
        let (first, mut rest) = if candidates.len() < SIFT_WORTH {
            (candidates, Vec::new())
        } else {
            let mut rest = candidates;
            let mut first = take_least(&mut rest, SIFT_FIRST);
            first.sort_unstable_by_key(|one| (one.segment, one.place));
            (first, rest)
        };
        let mut kept = self.sift_some(crew, &first, coarse, best.cutoff(), seen);
        if !rest.is_empty() {
            let mut nearest = take_least(&mut kept, self.wanted().max(SEEDS));
            let mut scratch = ExactScratch::default();
            seen.compared += self.compare_waiting(&mut nearest, best, &mut scratch, 1);
            let cutoff = best.cutoff();
            rest.retain(|one| !ruled_out(one.bound, cutoff));
            kept.append(&mut self.sift_some(crew, &rest, coarse, cutoff, seen));
        }
        kept
    }

    /// Sifts by shares.
    fn sift_some(
        &self,
        crew: &Crew,
        some: &[Found],
        coarse: &[CoarseTables],
        cutoff: f64,
        seen: &mut Seen,
    ) -> Vec<Found> {
        let share = some.len().div_ceil(8 * crew.threads()).max(256);
        let shares: Vec<&[Found]> = some.chunks(share).collect();
        let sifted = crew.map(shares.len(), |at| self.sift(shares[at], coarse, cutoff));
        let mut kept = Vec::new();
        for (mut found, own) in sifted {
            kept.append(&mut found);
            seen.wide += own.wide;
            seen.narrow += own.narrow;
        }
        kept
    }

    /// Keeps what DTW of boxes does not rule out, with the better bound. The first few tell whether wide
    /// boxes are worth holding the others against.
    fn sift(&self, some: &[Found], coarse: &[CoarseTables], cutoff: f64) -> (Vec<Found>, Seen) {
        let mut scratch = WarpScratch::default();
        let mut seen = Seen::default();
        let mut kept = Vec::new();
        let (first, rest) = some.split_at(some.len().min(WIDE_TRIAL));
        let mut wide = self.wide;
        for some in [first, rest] {
            let left = if wide {
                seen.wide += some.len() as u64;
                Cow::Owned(self.hold(Boxes::Wide, some, coarse, cutoff, &mut scratch))
            } else {
                Cow::Borrowed(some)
            };
            wide &= left.len() * WIDE_WORTH.1 <= some.len() * WIDE_WORTH.0;
            seen.narrow += left.len() as u64;
            kept.append(&mut self.hold(Boxes::Narrow, &left, coarse, cutoff, &mut scratch));
        }
        (kept, seen)
    }

    /// Holds curves against the query in boxes of one kind, and keeps what is not ruled out.
    fn hold(
        &self,
        boxes: Boxes,
        some: &[Found],
        coarse: &[CoarseTables],
        cutoff: f64,
        scratch: &mut WarpScratch,
    ) -> Vec<Found> {
        let mut kept = Vec::new();
        let mut batches = some.chunks(LANES).peekable();
        while let Some(batch) = batches.next() {
            let soon = batches.peek().copied().unwrap_or_default();
            for (tables, own_coarse) in coarse.iter().enumerate() {
                let (own, copies) = self.lanes(boxes, batch, tables);
                if own.is_empty() {
                    continue;
                }
                let most = threshold(cutoff, own_coarse.scale);
                let (params, section) = (self.what.params, &self.section);
                let ahead = self.ahead(boxes, soon);
                let bounds = match boxes {
                    Boxes::Wide => boxed_runs,
                    Boxes::Narrow => boxed,
                };
                let found =
                    bounds(self.level, own_coarse, params, section, &copies, ahead, most, scratch);
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

    /// The bytes of a curve that make boxes of one kind.
    fn bytes_of(&self, boxes: Boxes, one: &Found) -> &'a [u8] {
        let segment = self.parts[one.segment as usize].segment;
        match boxes {
            Boxes::Wide => segment.runs(one.place as usize),
            Boxes::Narrow => segment.coarse(one.place as usize),
        }
    }

    /// What boxes of some curves are made of, to be fetched.
    fn ahead(&self, boxes: Boxes, some: &[Found]) -> Ahead<'a> {
        let words = self.parts[0].segment.layout().frame_words();
        let inside = match boxes {
            Boxes::Wide => runs_inside(&self.section, words),
            Boxes::Narrow => frames_inside(&self.section, words),
        };
        let bytes = |one: &Found| &self.bytes_of(boxes, one)[inside.clone()];
        Ahead::new(some.iter().map(bytes).collect())
    }

    /// Those of a batch whose segments use these tables, and what their boxes are made of; lanes left
    /// over repeat the last. A batch seldom holds curves of two quantisers.
    fn lanes<'b>(
        &self,
        boxes: Boxes,
        batch: &'b [Found],
        tables: usize,
    ) -> (Vec<&'b Found>, [&'a [u8]; LANES]) {
        let of_tables = |one: &&Found| self.parts[one.segment as usize].tables == tables;
        let own: Vec<&Found> = batch.iter().filter(of_tables).collect();
        let copies = std::array::from_fn(|lane| {
            own.get(lane.min(own.len().saturating_sub(1)))
                .map_or(&[][..], |one| self.bytes_of(boxes, one))
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
                let (own, copies) = self.lanes(Boxes::Narrow, batch, tables);
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
