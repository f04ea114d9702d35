//! From candidates to the few worth warping: DTW of boxes.

use std::borrow::Cow;
use std::sync::atomic::AtomicUsize;

use super::coarse::{Against, Ahead, WarpScratch, boxed, boxed_runs, frames_inside, runs_inside};
use super::found::{Best, Found, as_cost, by_bound, ruled_out, take_least};
use super::settle::Memory;
use super::sweep::Seen;
use super::tables::{CoarseTables, threshold};
use super::{Job, SEEDS};
use crate::lanes::{LANES, Level};
use crate::search::crew::Crew;

/// So many candidates are worth a look at the nearest of them, to lower the cutoff.
const MANY: usize = 512;
/// Most rounds of a look.
const ROUNDS: usize = 4;
/// At least so many candidates are worth a round with the nearest of them.
const SIFT_WORTH: usize = 4096;
/// So many are of that round.
const SIFT_FIRST: usize = 1024;
/// So many curves of a share show whether wide boxes rule enough of it out.
const WIDE_TRIAL: usize = 256;
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

/// DTW of boxes of one kind.
type Held = fn(
    Level,
    Against<'_>,
    &[&[u8]; LANES],
    Ahead<'_>,
    i32,
    &mut WarpScratch,
) -> Option<[i32; LANES]>;

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
            let shares: Vec<&[Found]> = nearest.chunks(share).collect();
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
            let (mut kept, mut seen) = self.sift(shares[at], coarse, best.cutoff());
            // So that sixteen give up together.
            kept.sort_unstable_by(by_bound);
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
        let words = self.index.layout().frame_words();
        let (bounds, inside) = match boxes {
            Boxes::Wide => (boxed_runs as Held, runs_inside(&self.section, words)),
            Boxes::Narrow => (boxed as Held, frames_inside(&self.section, words)),
        };
        let mut kept = Vec::new();
        for (tables, own_coarse) in coarse.iter().enumerate() {
            let own = self.of_tables(some, tables);
            let most = threshold(cutoff, own_coarse.scale);
            let mut batches = own.chunks(LANES).map(|batch| (batch, self.copies(boxes, batch)));
            let mut next = batches.next();
            while let Some((batch, copies)) = next {
                next = batches.next();
                let soon = next.as_ref().map_or(&[][..], |(batch, copies)| &copies[..batch.len()]);
                let ahead = Ahead::new(soon, inside.clone());
                let found =
                    bounds(self.level, self.against(own_coarse), &copies, ahead, most, scratch);
                for (one, bound) in batch.iter().zip(found.iter().flatten()) {
                    if *bound <= most {
                        let bound = as_cost(f64::from(*bound), own_coarse.scale);
                        kept.push(Found { bound: bound.max(one.bound), ..*one });
                    }
                }
            }
        }
        kept
    }

    /// Those of some curves whose segments use these tables.
    pub(super) fn of_tables<'f>(&self, some: &'f [Found], tables: usize) -> Cow<'f, [Found]> {
        if self.quantisers.len() == 1 {
            return Cow::Borrowed(some);
        }
        let own = |one: &&Found| self.parts[one.segment as usize].tables == tables;
        some.iter().filter(own).copied().collect()
    }

    /// The bytes that make boxes of one kind, of up to sixteen curves; lanes left over repeat the last.
    pub(super) fn copies(&self, boxes: Boxes, batch: &[Found]) -> [&'a [u8]; LANES] {
        let mut copies = [&[][..]; LANES];
        for (copy, one) in copies.iter_mut().zip(batch) {
            *copy = self.bytes_of(boxes, one);
        }
        if let Some(&last) = batch.len().checked_sub(1).and_then(|last| copies.get(last)) {
            copies.iter_mut().skip(batch.len()).for_each(|copy| *copy = last);
        }
        copies
    }

    fn bytes_of(&self, boxes: Boxes, one: &Found) -> &'a [u8] {
        let (part, place) = (&self.parts[one.segment as usize], one.place as usize);
        match boxes {
            Boxes::Wide => {
                let len = self.runs_len;
                self.reads_runs(&part.runs[place * len..(place + 1) * len])
            }
            Boxes::Narrow => {
                let len = self.coarse_len;
                self.reads(&part.coarse[place * len..(place + 1) * len])
            }
        }
    }
}
