//! From all curves to candidates: boxes around blocks, boxes around groups, sketches.

use super::leads::{LeadTables, leads};
use super::tables::{FAR, Line, MOST_GAP, SketchTables};
use crate::lanes::{LANES, LINE, Lanes, at_level, prefetch};
use crate::sketch::GROUP;

/// Boxes or sketches are fetched so many ahead.
const AHEAD: usize = 4;

/// So many lanes of a group are held against leads where they lie; fewer wait for others.
const FULL: u32 = 12;

/// The byte sections of a segment.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sections<'a> {
    pub(crate) words: usize,
    pub(crate) groups: usize,
    pub(crate) block_boxes: &'a [u8],
    pub(crate) group_boxes: &'a [u8],
    pub(crate) sketches: &'a [u8],
}

/// A curve its sketch does not rule out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub(crate) bound: i32,
    pub(crate) place: u32,
}

/// How many groups and curves were looked at, and how many of these compared exactly.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Seen {
    pub(crate) groups: u64,
    pub(crate) curves: u64,
    pub(crate) leads: u64,
    pub(crate) compared: u64,
}

/// The integer bounds of sixteen boxes (or curves, where `high` is `low`), or `None` if all are above
/// `most`. Bit l of the mask is set where bound l is at most `most`.
///
/// The bound: for each byte the gap between the box and the envelope's mean, squared, times the
/// segment's length and the channel's weight. Jensen: the mean over a segment of the frames' gaps to
/// the envelope is at least the gap of the means, and a mean of squares at least the square of the
/// mean; summed over frames that is LB_Keogh, which DTW never undercuts.
///
/// # Safety
/// The processor has the instructions of `L`; `low` and `high` have as many registers as the tables
/// words.
#[inline(always)]
unsafe fn bounds<L: Lanes>(
    low: *const u8,
    high: *const u8,
    tables: &SketchTables,
    ahead: &[u8],
    most: i32,
) -> Option<(L::Reg, u32)> {
    let words = tables.words.as_slice();
    // SAFETY: the caller's promise.
    unsafe {
        let limit = L::splat(most as u32);
        let gap_limit = L::splat(MOST_GAP * 0x0101_0101);
        let mut sums = [L::splat(0); 2];
        let half = words.len() / 2;
        for (first, last) in [(0, half), (half, words.len())] {
            for slot in first..last {
                let at = *words.get_unchecked(slot) as usize * LINE;
                // All at once would wait for each other.
                prefetch(ahead.get(at..at + LINE).unwrap_or_default());
                let low = L::load(low.add(at));
                let high = L::load(high.add(at));
                let above = L::splat(*tables.above.get_unchecked(slot));
                let below = L::splat(*tables.below.get_unchecked(slot));
                let gap = L::or(L::sub_bytes(low, above), L::sub_bytes(below, high));
                let gap = L::min_bytes(gap, gap_limit);
                let weight = L::splat(*tables.weights.get_unchecked(slot));
                let sum = &mut sums[slot % 2];
                *sum = L::add_dot_words(*sum, L::dot_bytes(gap, gap), weight);
            }
            let sum = L::add(sums[0], sums[1]);
            let mask = L::le(sum, limit);
            if mask == 0 {
                for &word in &words[last..] {
                    let at = word as usize * LINE;
                    prefetch(ahead.get(at..at + LINE).unwrap_or_default());
                }
                return None;
            }
            if last == words.len() {
                return Some((sum, mask));
            }
        }
    }
    None
}

/// Lanes that hold something: the first `count` of sixteen.
fn first(count: usize) -> u32 {
    if count >= LANES { 0xffff } else { (1 << count) - 1 }
}

#[inline(always)]
fn block_bounds_body<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    bounds_out: &mut Vec<i32>,
) {
    let line = sections.words * LINE;
    assert!(tables.suit(sections.words));
    bounds_out.clear();
    for boxes in sections.block_boxes.chunks_exact(2 * line) {
        let mut out = [i32::MAX; LANES];
        // SAFETY: `boxes` holds two lines; `L` is what `at_level` compiled for.
        unsafe {
            let low = boxes.as_ptr();
            if let Some((sum, _)) = bounds::<L>(low, low.add(line), tables, &[], i32::MAX) {
                L::store(sum, out.as_mut_ptr().cast());
            }
        }
        bounds_out.extend_from_slice(&out);
    }
    bounds_out.truncate(sections.groups.div_ceil(GROUP));
}

at_level! {
    /// The bound of every block.
    fn block_bounds = block_bounds_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        bounds_out: &mut Vec<i32>,
    )
}

#[inline(always)]
fn group_bounds_body<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    block: u32,
    bounds_out: &mut Vec<i32>,
) {
    let line = sections.words * LINE;
    assert!(tables.suit(sections.words));
    let boxes = &sections.group_boxes[block as usize * 2 * line..][..2 * line];
    let mut out = [i32::MAX; LANES];
    // SAFETY: `boxes` holds two lines; `L` is what `at_level` compiled for.
    unsafe {
        let low = boxes.as_ptr();
        if let Some((sum, _)) = bounds::<L>(low, low.add(line), tables, &[], i32::MAX) {
            L::store(sum, out.as_mut_ptr().cast());
        }
    }
    bounds_out.clear();
    let groups = (sections.groups - block as usize * GROUP).min(GROUP);
    bounds_out.extend_from_slice(&out[..groups]);
}

at_level! {
    /// The bounds of the groups of a block.
    fn group_bounds = group_bounds_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        block: u32,
        bounds_out: &mut Vec<i32>,
    )
}

#[inline(always)]
fn near_groups_body<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    blocks: &[u32],
    most: i32,
    near: &mut Vec<(u32, u32)>,
) -> u64 {
    let line = sections.words * LINE;
    assert!(tables.suit(sections.words));
    let boxes_of = |block: u32| &sections.group_boxes[block as usize * 2 * line..][..2 * line];
    let mut seen = 0;
    for (number, &block) in blocks.iter().enumerate() {
        if let Some(&soon) = blocks.get(number + AHEAD) {
            prefetch(boxes_of(soon));
        }
        let boxes = boxes_of(block);
        let groups = (sections.groups - block as usize * GROUP).min(GROUP);
        seen += groups as u64;
        // SAFETY: `boxes` holds two lines; `L` is what `at_level` compiled for.
        let found =
            unsafe { bounds::<L>(boxes.as_ptr(), boxes.as_ptr().add(line), tables, &[], most) };
        let mut mask = found.map_or(0, |(_, mask)| mask) & first(groups);
        while mask != 0 {
            near.push((block * GROUP as u32 + mask.trailing_zeros(), 0xffff));
            mask &= mask - 1;
        }
    }
    seen
}

at_level! {
    /// Appends the groups of `blocks` whose boxes' bound is at most `most`, all lanes wanted; returns
    /// how many it looked at.
    fn near_groups = near_groups_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        blocks: &[u32],
        most: i32,
        near: &mut Vec<(u32, u32)>,
    ) -> u64
}

/// Sketches that passed, from several groups, until there are sixteen for [`leads`].
struct Waiting {
    /// Word by word, lane by lane.
    codes: Vec<Line>,
    places: [u32; LANES],
    count: usize,
}

impl Waiting {
    fn new(words: usize) -> Self {
        Self { codes: vec![Line([0; LANES]); words], places: [0; LANES], count: 0 }
    }

    /// Takes one lane of a group's sketches; there is room.
    fn take(&mut self, tables: &SketchTables, sketch: &[u8], lane: usize, place: u32) {
        let slot = self.count % LANES;
        for &word in &tables.words {
            let from = &sketch[word as usize * LINE + 4 * lane..];
            let code = from.first_chunk::<4>().copied().unwrap_or_default();
            self.codes[word as usize].0[slot] = i32::from_le_bytes(code);
        }
        self.places[slot] = place;
        self.count += 1;
    }

    /// Moves those that leads do not rule out to the candidates.
    #[inline(always)]
    fn drain<L: Lanes>(&mut self, tables: &LeadTables, most: i32, candidates: &mut Vec<Candidate>) {
        let wanted = first(self.count);
        self.count = 0;
        // SAFETY: as many lines as a sketch has words; `L` is what `at_level` compiled for.
        unsafe {
            let at = self.codes.as_ptr().cast();
            if let Some((sum, mask)) = leads::<L>(tables, at, wanted, most) {
                push::<L>(sum, mask, |lane| self.places[lane], candidates);
            }
        }
    }
}

/// Adds the lanes of `mask` to the candidates.
///
/// # Safety
/// The processor has the instructions of `L`.
#[inline(always)]
unsafe fn push<L: Lanes>(
    sum: L::Reg,
    mut mask: u32,
    place: impl Fn(usize) -> u32,
    candidates: &mut Vec<Candidate>,
) {
    let mut bounds = [0_i32; LANES];
    // SAFETY: the caller's promise.
    unsafe { L::store(sum, bounds.as_mut_ptr().cast()) };
    while mask != 0 {
        let lane = mask.trailing_zeros() as usize;
        mask &= mask - 1;
        candidates.push(Candidate { bound: bounds[lane], place: place(lane) });
    }
}

#[inline(always)]
fn sweep_groups_body<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    tighter: Option<&LeadTables>,
    groups: &[(u32, u32)],
    most: i32,
    candidates: &mut Vec<Candidate>,
    seen: &mut Seen,
) {
    assert!(tables.suit(sections.words));
    // A bound that leads could not tell from one out of reach.
    let tighter = tighter.filter(|_| most < FAR);
    let line = sections.words * LINE;
    let sketch_of = |group: u32| &sections.sketches[group as usize * line..][..line];
    let mut waiting = Waiting::new(sections.words);
    for (number, &(group, wanted)) in groups.iter().enumerate() {
        // They lie apart, so that the processor does not guess what comes next.
        let ahead = groups.get(number + AHEAD).map_or(&[][..], |&(soon, _)| sketch_of(soon));
        let sketch = sketch_of(group);
        seen.curves += u64::from(wanted.count_ones());
        let place = |lane: usize| group * GROUP as u32 + lane as u32;
        // SAFETY: `sketch` holds a line; `L` is what `at_level` compiled for.
        unsafe {
            let at = sketch.as_ptr();
            let Some((sum, mask)) = bounds::<L>(at, at, tables, ahead, most) else { continue };
            let mask = mask & wanted;
            let Some(tighter) = tighter else {
                push::<L>(sum, mask, place, candidates);
                continue;
            };
            seen.leads += u64::from(mask.count_ones());
            if mask.count_ones() >= FULL {
                if let Some((sum, mask)) = leads::<L>(tighter, at, mask, most) {
                    push::<L>(sum, mask, place, candidates);
                }
                continue;
            }
            let mut mask = mask;
            while mask != 0 {
                let lane = mask.trailing_zeros() as usize;
                mask &= mask - 1;
                waiting.take(tables, sketch, lane, place(lane));
                if waiting.count == LANES {
                    waiting.drain::<L>(tighter, most, candidates);
                }
            }
        }
    }
    if let (Some(tighter), true) = (tighter, waiting.count > 0) {
        waiting.drain::<L>(tighter, most, candidates);
    }
}

at_level! {
    /// Appends the curves in the wanted lanes of some groups whose bound (by leads, where there are
    /// tables for them, made of the same segment) is at most `most`, in no particular order. Places in
    /// the last group that hold no curve may come, too.
    fn sweep_groups = sweep_groups_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        tighter: Option<&LeadTables>,
        groups: &[(u32, u32)],
        most: i32,
        candidates: &mut Vec<Candidate>,
        seen: &mut Seen,
    )
}
