//! From all curves to candidates: boxes around blocks, boxes around groups, sketches.

use super::tables::{MOST_GAP, SketchTables};
use crate::lanes::{LANES, LINE, Lanes, at_level};
use crate::sketch::GROUP;

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

/// How many groups and curves were looked at.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Seen {
    pub(crate) groups: u64,
    pub(crate) curves: u64,
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
    most: i32,
) -> Option<(L::Reg, u32)> {
    let words = tables.above.len();
    // SAFETY: the caller's promise.
    unsafe {
        let limit = L::splat(most as u32);
        let gap_limit = L::splat(MOST_GAP * 0x0101_0101);
        let mut sums = [L::splat(0); 2];
        let half = words / 2;
        for (first, last) in [(0, half), (half, words)] {
            for word in first..last {
                let low = L::load(low.add(word * LINE));
                let high = L::load(high.add(word * LINE));
                let above = L::splat(*tables.above.get_unchecked(word));
                let below = L::splat(*tables.below.get_unchecked(word));
                let gap = L::or(L::sub_bytes(low, above), L::sub_bytes(below, high));
                let gap = L::min_bytes(gap, gap_limit);
                let weight = L::splat(*tables.weights.get_unchecked(word));
                let sum = &mut sums[word % 2];
                *sum = L::add_dot_words(*sum, L::dot_bytes(gap, gap), weight);
            }
            let sum = L::add(sums[0], sums[1]);
            let mask = L::le(sum, limit);
            if mask == 0 {
                return None;
            }
            if last == words {
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
    assert!(tables.above.len() == sections.words && tables.weights.len() == sections.words);
    bounds_out.clear();
    for boxes in sections.block_boxes.chunks_exact(2 * line) {
        let mut out = [i32::MAX; LANES];
        // SAFETY: `boxes` holds two lines; `L` is what `at_level` compiled for.
        unsafe {
            let low = boxes.as_ptr();
            if let Some((sum, _)) = bounds::<L>(low, low.add(line), tables, i32::MAX) {
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
    assert!(tables.above.len() == sections.words && tables.weights.len() == sections.words);
    let boxes = &sections.group_boxes[block as usize * 2 * line..][..2 * line];
    let mut out = [i32::MAX; LANES];
    // SAFETY: `boxes` holds two lines; `L` is what `at_level` compiled for.
    unsafe {
        let low = boxes.as_ptr();
        if let Some((sum, _)) = bounds::<L>(low, low.add(line), tables, i32::MAX) {
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
fn sweep_body<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    blocks: &[u32],
    most: i32,
    candidates: &mut Vec<Candidate>,
    seen: &mut Seen,
) {
    let line = sections.words * LINE;
    assert!(tables.above.len() == sections.words && tables.weights.len() == sections.words);
    for &block in blocks {
        let boxes = &sections.group_boxes[block as usize * 2 * line..][..2 * line];
        let groups = (sections.groups - block as usize * GROUP).min(GROUP);
        seen.groups += groups as u64;
        // SAFETY: `boxes` holds two lines; `L` is what `at_level` compiled for.
        let found = unsafe { bounds::<L>(boxes.as_ptr(), boxes.as_ptr().add(line), tables, most) };
        let mut mask = found.map_or(0, |(_, mask)| mask) & first(groups);
        while mask != 0 {
            let group = block as usize * GROUP + mask.trailing_zeros() as usize;
            mask &= mask - 1;
            sweep_group::<L>(sections, tables, group, most, 0xffff, candidates, seen);
        }
    }
}

#[inline(always)]
fn sweep_group<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    group: usize,
    most: i32,
    wanted: u32,
    candidates: &mut Vec<Candidate>,
    seen: &mut Seen,
) {
    let line = sections.words * LINE;
    let sketch = &sections.sketches[group * line..][..line];
    seen.curves += u64::from(wanted.count_ones());
    // SAFETY: `sketch` holds a line; `L` is what `at_level` compiled for.
    unsafe {
        let at = sketch.as_ptr();
        let Some((sum, mask)) = bounds::<L>(at, at, tables, most) else { return };
        let mut mask = mask & wanted;
        let mut out = [0_i32; LANES];
        L::store(sum, out.as_mut_ptr().cast());
        while mask != 0 {
            let lane = mask.trailing_zeros() as usize;
            mask &= mask - 1;
            candidates.push(Candidate { bound: out[lane], place: (group * GROUP + lane) as u32 });
        }
    }
}

at_level! {
    /// Appends the curves of `blocks` whose bound is at most `most`. Places in the last group that
    /// hold no curve may come, too.
    fn sweep = sweep_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        blocks: &[u32],
        most: i32,
        candidates: &mut Vec<Candidate>,
        seen: &mut Seen,
    )
}

#[inline(always)]
fn sweep_groups_body<L: Lanes>(
    sections: Sections<'_>,
    tables: &SketchTables,
    groups: &[(u32, u32)],
    most: i32,
    candidates: &mut Vec<Candidate>,
    seen: &mut Seen,
) {
    assert!(tables.above.len() == sections.words && tables.weights.len() == sections.words);
    for &(group, wanted) in groups {
        sweep_group::<L>(sections, tables, group as usize, most, wanted, candidates, seen);
    }
}

at_level! {
    /// The same for the wanted lanes of some groups, boxes left aside.
    fn sweep_groups = sweep_groups_body(
        sections: Sections<'_>,
        tables: &SketchTables,
        groups: &[(u32, u32)],
        most: i32,
        candidates: &mut Vec<Candidate>,
        seen: &mut Seen,
    )
}
