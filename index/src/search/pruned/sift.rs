//! From candidates to the few worth warping: DTW of boxes.

use std::borrow::Cow;
use std::sync::atomic::AtomicUsize;

use super::coarse::{Ahead, WarpScratch, boxed, boxed_runs, frames_inside, runs_inside};
use super::found::{Best, Found, as_cost, by_bound, ruled_out, take_least};
use super::settle::Memory;
use super::sweep::Seen;
use super::tables::{CoarseTables, threshold};
use super::{Job, SEEDS};
use crate::lanes::LANES;
use crate::search::crew::Crew;

/// So many candidates are worth a look at the nearest of them, to lower the cutoff.
const MANY: usize = 512;
/// Most rounds of a look.
const ROUNDS: usize = 4;
/// At least so many candidates are worth a round with the nearest of them; tests have fewer.
const SIFT_WORTH: usize = if cfg!(test) { 64 } else { 4096 };
/// So many are of that round; tests have fewer.
const SIFT_FIRST: usize = if cfg!(test) { 48 } else { 1024 };
/// So many curves of a share show whether wide boxes rule enough of it out; tests have fewer.
const WIDE_TRIAL: usize = if cfg!(test) { 32 } else { 256 };
/// They do where they leave at most this part: a wide box costs a third of a narrow one, and what it leaves
/// is what narrow ones take longest for.
const WIDE_WORTH: (usize, usize) = (2, 5);

/// Of several threads each takes at least so many curves at a time.
const SHARE: usize = 4 * LANES;

/// Boxes of frames to warp.
#[derive(Debug, Clone, Copy)]
pub(super) enum Boxes {
    /// The runs that are kept.
    Wide,
    /// Half as wide, made of the coarse copies.
    Narrow,
}

/// Candidates in shares for some threads: for one of them, several only where each is worth a trial.
fn shares<'f>(some: &'f [Found], crew: &Crew) -> Vec<&'f [Found]> {
    let least = if crew.threads() == 1 { WIDE_TRIAL } else { SHARE };
    some.chunks(some.len().div_ceil(8 * crew.threads()).max(least)).collect()
}

impl<'a> Job<'a> {
    /// While many are left: takes those of the lowest bounds out, holds them against narrow boxes and settles
    /// what these leave, which may lower the cutoff; drops what it then rules out. Keeps the order.
    pub(super) fn look(
        &self,
        crew: &Crew,
        candidates: &mut Vec<Found>,
        coarse: &[CoarseTables],
        best: &Best,
        seen: &mut Seen,
    ) {
        let wanted = self.wanted().max(SEEDS);
        for _ in 0..ROUNDS {
            if candidates.len() < MANY.max(2 * wanted) {
                break;
            }
            let before = best.cutoff();
            let nearest = take_least(candidates, wanted);
            seen.narrow += nearest.len() as u64;
            // Boxes of sixteen curves are held by one; of two threads each takes its own.
            let share = if crew.threads() == 1 { nearest.len() } else { LANES };
            let shares: Vec<&[Found]> = nearest.chunks(share.max(1)).collect();
            let looked = crew.map(shares.len(), |at| {
                let (mut seen, mut memory) = (Seen::default(), Memory::default());
                let left = self.hold(Boxes::Narrow, shares[at], coarse, before, &mut memory.warp);
                self.settle(&left, coarse, best, &mut seen, &mut memory);
                seen
            });
            looked.into_iter().for_each(|own| seen.add(own));
            let cutoff = best.cutoff();
            candidates.retain(|one| !ruled_out(one.bound, cutoff));
            if cutoff > before * 0.9 {
                break;
            }
        }
    }

    /// DTW of boxes, and what that leaves settled. Of many curves those of the lowest bounds come first, which
    /// may lower the cutoff for the rest; these go on as they lie, so that a copy is read and read again soon
    /// after.
    pub(super) fn finish(
        &self,
        crew: &Crew,
        mut rest: Vec<Found>,
        coarse: &[CoarseTables],
        best: &Best,
        seen: &mut Seen,
    ) {
        let first = if rest.len() < SIFT_WORTH {
            std::mem::take(&mut rest)
        } else {
            let mut first = take_least(&mut rest, SIFT_FIRST);
            first.sort_unstable_by_key(|one| (one.segment, one.place));
            first
        };
        let cutoff = best.cutoff();
        let mut kept = Vec::new();
        let shares = shares(&first, crew);
        for (mut found, own) in crew.map(shares.len(), |at| self.sift(shares[at], coarse, cutoff)) {
            kept.append(&mut found);
            seen.add(own);
        }
        kept.sort_unstable_by(by_bound);
        self.settle_all(crew, &kept, coarse, best, seen);

        let cutoff = best.cutoff();
        rest.retain(|one| !ruled_out(one.bound, cutoff));
        let shares = self::shares(&rest, crew);
        let finished = crew.map(shares.len(), |at| {
            let (kept, mut seen) = self.sift(shares[at], coarse, best.cutoff());
            let batches: Vec<&[Found]> = kept.chunks(LANES).collect();
            seen.add(self.settle_batches(&batches, &AtomicUsize::new(0), coarse, best));
            seen
        });
        finished.into_iter().for_each(|own| seen.add(own));
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
                let ahead = self.ahead(boxes, soon);
                let bounds = match boxes {
                    Boxes::Wide => boxed_runs,
                    Boxes::Narrow => boxed,
                };
                let found =
                    bounds(self.level, self.against(own_coarse), &copies, ahead, most, scratch);
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
        let how = &self.what.how;
        match boxes {
            Boxes::Wide => how.reads_runs(self.index, segment.runs(one.place as usize)),
            Boxes::Narrow => how.reads(self.index, segment.coarse(one.place as usize)),
        }
    }

    /// What boxes of some curves are made of, to be fetched.
    fn ahead(&self, boxes: Boxes, some: &[Found]) -> Ahead<'a> {
        let words = self.index.layout().frame_words();
        let inside = match boxes {
            Boxes::Wide => runs_inside(&self.section, words),
            Boxes::Narrow => frames_inside(&self.section, words),
        };
        let bytes = |one: &Found| &self.bytes_of(boxes, one)[inside.clone()];
        Ahead::new(some.iter().map(bytes).collect())
    }

    /// Those of a batch whose segments use these tables, and what their boxes are made of; lanes left
    /// over repeat the last. A batch seldom holds curves of two quantisers.
    pub(super) fn lanes<'b>(
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
}
