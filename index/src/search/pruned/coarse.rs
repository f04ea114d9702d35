//! On coarse copies: the full LB_Keogh of one curve, then DTW of sixteen.

use std::ops::Range;

use super::tables::{CoarseTables, FAR};
use crate::lanes::{LANES, LINE, Lanes, at_level};
use crate::params::ValidDtwParams;

/// One register's worth of memory.
#[derive(Debug, Clone, Copy)]
#[repr(C, align(64))]
pub(crate) struct Line(pub(crate) [i32; LANES]);

/// Words of a coarse copy within the section, padded to whole registers by words that cost nothing.
#[derive(Debug)]
pub(crate) struct KeoghTables {
    above: Vec<u32>,
    below: Vec<u32>,
    even: Vec<u32>,
    odd: Vec<u32>,
    bytes: Range<usize>,
}

impl KeoghTables {
    pub(crate) fn new(tables: &CoarseTables, section: &Range<usize>) -> Self {
        let words = tables.even.len();
        let range = section.start * words..section.end * words;
        let padded = range.len().next_multiple_of(LANES);
        let part = |from: &[u32], fill| {
            let mut part = from[range.clone()].to_vec();
            part.resize(padded, fill);
            part
        };
        let cycle = |from: &[u32]| (0..padded).map(|at| from[at % words]).collect();
        Self {
            above: part(&tables.envelope_above, u32::MAX),
            below: part(&tables.envelope_below, 0),
            even: cycle(&tables.even),
            odd: cycle(&tables.odd),
            bytes: range.start * 4..range.end * 4,
        }
    }
}

/// Weighted squares of the gaps of four channels, added to `sum`.
///
/// # Safety
/// The processor has the instructions of `L`.
#[inline(always)]
unsafe fn add_squares<L: Lanes>(sum: L::Reg, gap: L::Reg, even: L::Reg, odd: L::Reg) -> L::Reg {
    // Even (odd) root weights are 0 at odd (even) bytes, so each 16-bit product is one byte's: at most
    // 255 x 127, no overflow.
    // SAFETY: the caller's promise.
    unsafe {
        let (even, odd) = (L::dot_bytes(gap, even), L::dot_bytes(gap, odd));
        L::add_dot_words(L::add_dot_words(sum, even, even), odd, odd)
    }
}

#[inline(always)]
fn keogh_body<L: Lanes>(tables: &KeoghTables, copy: &[u8]) -> i64 {
    let copy = &copy[tables.bytes.clone()];
    let registers = tables.above.len() / LANES;
    let mut tail = [0_u8; LINE];
    let whole = copy.len() / LINE;
    tail[..copy.len() % LINE].copy_from_slice(&copy[whole * LINE..]);
    let lists = [&tables.above, &tables.below, &tables.even, &tables.odd];
    assert!(lists.iter().all(|list| list.len() == registers * LANES) && registers <= whole + 1);
    let mut out = [0_i32; LANES];
    // SAFETY: lengths are asserted above; `L` is what `at_level` compiled for.
    unsafe {
        let far = L::splat(FAR as u32);
        let mut sum = L::splat(0);
        for register in 0..registers {
            let at = register * LINE;
            let from = if register < whole { copy.as_ptr().add(at) } else { tail.as_ptr() };
            let codes = L::load(from);
            let above = L::load(tables.above.as_ptr().cast::<u8>().add(at));
            let below = L::load(tables.below.as_ptr().cast::<u8>().add(at));
            let even = L::load(tables.even.as_ptr().cast::<u8>().add(at));
            let odd = L::load(tables.odd.as_ptr().cast::<u8>().add(at));
            let gap = L::or(L::sub_bytes(codes, above), L::sub_bytes(below, codes));
            // Below FAR plus one cell: no overflow.
            sum = L::min(add_squares::<L>(sum, gap, even, odd), far);
        }
        L::store(sum, out.as_mut_ptr().cast());
    }
    out.iter().map(|&lane| i64::from(lane)).sum()
}

at_level! {
    /// LB_Keogh of one coarse copy: an integer below scale times DTW.
    fn keogh = keogh_body(tables: &KeoghTables, copy: &[u8]) -> i64
}

/// Working memory of [`warp`].
#[derive(Debug, Default)]
pub(crate) struct WarpScratch {
    /// Words of the sixteen copies, lane by lane.
    codes: Vec<Line>,
    /// Bound of all frames from here on.
    rest: Vec<Line>,
    previous: Vec<Line>,
    current: Vec<Line>,
}

#[inline(always)]
fn warp_body<L: Lanes>(
    tables: &CoarseTables,
    params: &ValidDtwParams,
    section: &Range<usize>,
    copies: &[&[u8]; LANES],
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    match tables.even.len() {
        1 => warp_words::<L, 1>(tables, params, section, copies, most, scratch),
        2 => warp_words::<L, 2>(tables, params, section, copies, most, scratch),
        3 => warp_words::<L, 3>(tables, params, section, copies, most, scratch),
        4 => warp_words::<L, 4>(tables, params, section, copies, most, scratch),
        _ => warp_words::<L, 0>(tables, params, section, copies, most, scratch),
    }
}

/// `WORDS`: words per frame, 0 where only known at run time.
#[inline(always)]
fn warp_words<L: Lanes, const WORDS: usize>(
    tables: &CoarseTables,
    params: &ValidDtwParams,
    section: &Range<usize>,
    copies: &[&[u8]; LANES],
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let frames = section.len();
    let bytes = section.start * words * 4..section.end * words * 4;
    scratch.codes.resize(frames * words, Line([0; LANES]));
    for (lane, copy) in copies.iter().enumerate() {
        for (line, word) in scratch.codes.iter_mut().zip(copy[bytes.clone()].chunks_exact(4)) {
            line.0[lane] = i32::from_le_bytes([word[0], word[1], word[2], word[3]]);
        }
    }
    let far = Line([FAR; LANES]);
    for row in [&mut scratch.previous, &mut scratch.current] {
        row.clear();
        row.resize(frames + 1, far);
    }
    scratch.previous[0] = Line([0; LANES]);
    scratch.rest.resize(frames + 1, far);
    let start = section.start * words;
    let part = start..start + frames * words;
    let above = &tables.above[part.clone()];
    let below = &tables.below[part.clone()];
    let envelope_above = &tables.envelope_above[part.clone()];
    let envelope_below = &tables.envelope_below[part];
    assert!(tables.even.len() == words && tables.odd.len() == words);
    let codes = scratch.codes.as_ptr().cast::<u8>();
    // SAFETY: registers read and written lie in the vectors sized above (columns are below `frames`);
    // `L` is what `at_level` compiled for.
    unsafe {
        let limit = L::splat(most as u32);
        let far = L::splat(FAR as u32);
        // Each frame still to come must be met by somebody: its gap to the envelope is owed.
        let nearly_far = L::splat(FAR as u32 - 1);
        let mut owed = L::splat(0);
        let rest = scratch.rest.as_mut_ptr().cast::<u8>();
        L::store(owed, rest.add(frames * LINE));
        for column in (0..frames).rev() {
            for word in 0..words {
                let at = column * words + word;
                let code = L::load(codes.add(at * LINE));
                let gap = L::or(
                    L::sub_bytes(code, L::splat(envelope_above[at])),
                    L::sub_bytes(L::splat(envelope_below[at]), code),
                );
                let even = L::splat(tables.even[word]);
                let odd = L::splat(tables.odd[word]);
                owed = add_squares::<L>(owed, gap, even, odd);
            }
            owed = L::min(owed, nearly_far);
            L::store(owed, rest.add(column * LINE));
        }
        if L::le(owed, limit) == 0 {
            return None;
        }
        for row in 0..frames {
            let (first, last) = params.columns(row, frames, frames);
            let previous = scratch.previous.as_ptr().cast::<u8>();
            let current = scratch.current.as_mut_ptr().cast::<u8>();
            let mut left = far;
            let mut lowest = far;
            let mut diagonal = L::load(previous.add(first * LINE));
            L::store(far, current.add(first * LINE));
            for column in first..=last {
                let mut cost = L::splat(0);
                for word in 0..words {
                    let code = L::load(codes.add((column * words + word) * LINE));
                    let at = row * words + word;
                    let gap = L::or(
                        L::sub_bytes(code, L::splat(*above.get_unchecked(at))),
                        L::sub_bytes(L::splat(*below.get_unchecked(at)), code),
                    );
                    let even = L::splat(*tables.even.get_unchecked(word));
                    let odd = L::splat(*tables.odd.get_unchecked(word));
                    cost = add_squares::<L>(cost, gap, even, odd);
                }
                let up = L::load(previous.add((column + 1) * LINE));
                let best = L::min(L::min(diagonal, up), left);
                // FAR plus one cell fits.
                left = L::min(L::add(best, cost), far);
                lowest = L::min(lowest, left);
                L::store(left, current.add((column + 1) * LINE));
                diagonal = up;
            }
            let owed = L::load(rest.add((last + 1) * LINE));
            if L::le(L::add(lowest, owed), limit) == 0 {
                return None;
            }
            std::mem::swap(&mut scratch.previous, &mut scratch.current);
        }
    }
    Some(scratch.previous[frames].0)
}

at_level! {
    /// DTW of sixteen coarse copies, gaps rounded down: integers below scale times DTW, or `None` if
    /// all are above `most`.
    ///
    /// A cell's gap never overstates the difference of the values behind the codes, so every path, and
    /// with it the best one, costs no more than in truth. A row's smallest cost plus what the columns
    /// right of the row's band still owe to the envelope is below the whole.
    fn warp = warp_body(
        tables: &CoarseTables,
        params: &ValidDtwParams,
        section: &Range<usize>,
        copies: &[&[u8]; LANES],
        most: i32,
        scratch: &mut WarpScratch,
    ) -> Option<[i32; LANES]>
}
