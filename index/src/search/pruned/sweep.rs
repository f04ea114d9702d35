//! From all curves to candidates: boxes around blocks, boxes around groups, sketches.

use super::tables::{MOST_GAP, SketchTables, SketchWord};
use crate::lanes::{LANES, LINE, Lanes, at_level, prefetch, prefetch_line};
use crate::sketch::{GROUP, Sections};

/// Boxes or sketches are fetched so many ahead.
const AHEAD: usize = 4;

/// A curve its sketch does not rule out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub(crate) bound: i32,
    pub(crate) place: u32,
}

/// How many groups and curves were looked at, how many of these in boxes, how many warped and how
/// many compared exactly.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Seen {
    pub(crate) groups: u64,
    pub(crate) representatives: u64,
    pub(crate) curves: u64,
    pub(crate) boxed: u64,
    pub(crate) warped: u64,
    pub(crate) compared: u64,
}

impl Seen {
    pub(crate) fn add(&mut self, other: Self) {
        self.groups += other.groups;
        self.representatives += other.representatives;
        self.curves += other.curves;
        self.boxed += other.boxed;
        self.warped += other.warped;
        self.compared += other.compared;
    }
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
    ahead: *const u8,
    most: i32,
) -> Option<(L::Reg, u32)> {
    let words = tables.words.as_slice();
    // SAFETY: the caller's promise.
    unsafe {
        let limit = L::splat(most as u32);
        // Two sums, which need not wait for each other.
        let (mut even, mut odd) = (L::splat(0), L::splat(0));
        let (first, second) = words.split_at(words.len() / 2);
        for half in [first, second] {
            let pairs = half.chunks_exact(2);
            if let [last] = pairs.remainder() {
                odd = add_word::<L>(odd, last, low, high, ahead);
            }
            for pair in pairs {
                even = add_word::<L>(even, &pair[0], low, high, ahead);
                odd = add_word::<L>(odd, &pair[1], low, high, ahead);
            }
            let sum = L::add(even, odd);
            let mask = L::le(sum, limit);
            if mask == 0 {
                if half.as_ptr() == first.as_ptr() {
                    for one in second {
                        prefetch_line(ahead.wrapping_add(one.word as usize * LINE));
                    }
                }
                return None;
            }
            if half.as_ptr_range().end == words.as_ptr_range().end {
                return Some((sum, mask));
            }
        }
    }
    None
}

/// Adds the weighted squares of the gaps of one word, and has the same word at `ahead` fetched: all words at
/// once would wait for each other.
///
/// # Safety
/// As for [`bounds`].
#[inline(always)]
unsafe fn add_word<L: Lanes>(
    sum: L::Reg,
    one: &SketchWord,
    low: *const u8,
    high: *const u8,
    ahead: *const u8,
) -> L::Reg {
    let at = one.word as usize * LINE;
    prefetch_line(ahead.wrapping_add(at));
    // SAFETY: the caller's promise.
    unsafe {
        let above = L::sub_bytes(L::load(low.add(at)), L::splat(one.above));
        let below = L::sub_bytes(L::splat(one.below), L::load(high.add(at)));
        let gap = L::min_bytes(L::or(above, below), L::splat(MOST_GAP * 0x0101_0101));
        L::add_dot_words(sum, L::dot_bytes(gap, gap), L::splat(one.weights))
    }
}

/// Lanes that hold something: the first `count` of sixteen.
fn first(count: usize) -> u32 {
    if count >= LANES { 0xffff } else { (1 << count) - 1 }
}

#[inline(always)]
fn block_bounds_body<L: Lanes>(
    _: L,
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
            if let Some((sum, _)) = bounds::<L>(low, low.add(line), tables, low, i32::MAX) {
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
    _: L,
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
        if let Some((sum, _)) = bounds::<L>(low, low.add(line), tables, low, i32::MAX) {
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
    _: L,
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
        let found = unsafe {
            bounds::<L>(boxes.as_ptr(), boxes.as_ptr().add(line), tables, boxes.as_ptr(), most)
        };
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

#[inline(always)]
fn sweep_groups_body<L: Lanes>(
    _: L,
    sections: Sections<'_>,
    tables: &SketchTables,
    groups: &[(u32, u32)],
    most: i32,
    candidates: &mut Vec<Candidate>,
    seen: &mut Seen,
) {
    assert!(tables.suit(sections.words));
    let line = sections.words * LINE;
    let sketch_of = |group: u32| &sections.sketches[group as usize * line..][..line];
    for (number, &(group, wanted)) in groups.iter().enumerate() {
        let sketch = sketch_of(group);
        // They lie apart, so that the processor does not guess what comes next.
        let ahead = groups.get(number + AHEAD).map_or(sketch, |&(soon, _)| sketch_of(soon));
        seen.curves += u64::from(wanted.count_ones());
        let at = sketch.as_ptr();
        // SAFETY: `sketch` holds a line; `L` is what `at_level` compiled for.
        let found = unsafe { bounds::<L>(at, at, tables, ahead.as_ptr(), most) };
        let Some((sum, mask)) = found else { continue };
        let mut lanes = [0_i32; LANES];
        // SAFETY: sixteen numbers are a register.
        unsafe { L::store(sum, lanes.as_mut_ptr().cast()) };
        let mut mask = mask & wanted;
        while mask != 0 {
            let lane = mask.trailing_zeros();
            mask &= mask - 1;
            candidates.push(Candidate {
                bound: lanes[lane as usize],
                place: group * GROUP as u32 + lane,
            });
        }
    }
}

at_level! {
    /// Appends the curves in the wanted lanes of some groups whose bound is at most `most`. Places in the last
    /// group that hold no curve may come, too.
    fn sweep_groups = sweep_groups_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        groups: &[(u32, u32)],
        most: i32,
        candidates: &mut Vec<Candidate>,
        seen: &mut Seen,
    )
}
