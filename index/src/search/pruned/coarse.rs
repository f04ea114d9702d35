//! On coarse copies: LB_Improved of one curve, then DTW of sixteen.

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
    high: Vec<u32>,
    low: Vec<u32>,
    query_above: Vec<u32>,
    query_below: Vec<u32>,
    even: Vec<u32>,
    odd: Vec<u32>,
    bytes: Range<usize>,
    /// Bytes per frame.
    frame_len: usize,
    band_frames: usize,
}

impl KeoghTables {
    pub(crate) fn new(
        tables: &CoarseTables,
        params: &ValidDtwParams,
        section: &Range<usize>,
    ) -> Self {
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
            high: part(&tables.envelope_high, 0),
            low: part(&tables.envelope_low, 0),
            query_above: part(&tables.above, u32::MAX),
            query_below: part(&tables.below, 0),
            even: cycle(&tables.even),
            odd: cycle(&tables.odd),
            bytes: range.start * 4..range.end * 4,
            frame_len: words * 4,
            band_frames: params.band_frames().min(section.len() - 1),
        }
    }
}

/// Working memory of [`improved`].
#[derive(Debug, Default)]
pub(crate) struct KeoghScratch {
    high: Vec<u8>,
    low: Vec<u8>,
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
fn improved_body<L: Lanes>(
    tables: &KeoghTables,
    copy: &[u8],
    most: i64,
    scratch: &mut KeoghScratch,
) -> i64 {
    let copy = &copy[tables.bytes.clone()];
    let registers = tables.above.len() / LANES;
    let mut tail = [0_u8; LINE];
    let whole = copy.len() / LINE;
    tail[..copy.len() % LINE].copy_from_slice(&copy[whole * LINE..]);
    for list in [
        &tables.above,
        &tables.below,
        &tables.high,
        &tables.low,
        &tables.query_above,
        &tables.query_below,
        &tables.even,
        &tables.odd,
    ] {
        assert!(list.len() == registers * LANES && registers <= whole + 1);
    }
    // Frames shifted by the band: room for windows that reach over either end.
    let reach = tables.band_frames * tables.frame_len;
    let windows = (copy.len() + 2 * reach).next_multiple_of(LINE);
    let room = windows + 2 * reach + 2 * LINE;
    if scratch.high.len() != room {
        scratch.high = vec![0; room];
        scratch.low = vec![255; room];
    }
    scratch.high[..reach].fill(0);
    scratch.low[..reach].fill(255);
    let (high, low) = (scratch.high.as_mut_ptr(), scratch.low.as_mut_ptr());
    let mut out = [0_i32; LANES];
    // SAFETY: lengths are asserted above, the room of the scratch is chosen so that every load and
    // store below (at most 2 reach + a register behind a window) is inside; `L` is what `at_level`
    // compiled for.
    unsafe {
        let at = |list: &[u32], register: usize| {
            L::load(list.as_ptr().cast::<u8>().add(register * LINE))
        };
        let far = L::splat(FAR as u32);
        let mut sum = L::splat(0);
        for register in 0..registers {
            let from = register * LINE;
            let from = if register < whole { copy.as_ptr().add(from) } else { tail.as_ptr() };
            let codes = L::load(from);
            let (above, below) = (at(&tables.above, register), at(&tables.below, register));
            let gap = L::or(L::sub_bytes(codes, above), L::sub_bytes(below, codes));
            // Below FAR plus one cell: no overflow.
            let (even, odd) = (at(&tables.even, register), at(&tables.odd, register));
            sum = L::min(add_squares::<L>(sum, gap, even, odd), far);
            let inside = L::min_bytes(
                L::max_bytes(codes, at(&tables.low, register)),
                at(&tables.high, register),
            );
            L::store(inside, high.add(reach + register * LINE));
            L::store(inside, low.add(reach + register * LINE));
        }
        L::store(sum, out.as_mut_ptr().cast());
        let forth: i64 = out.iter().map(|&lane| i64::from(lane)).sum();
        if forth > most {
            return forth;
        }
        // Behind the last frame nothing is met.
        std::slice::from_raw_parts_mut(high.add(reach + copy.len()), LINE).fill(0);
        std::slice::from_raw_parts_mut(low.add(reach + copy.len()), LINE).fill(255);
        // Windows of 2 band + 1 frames by doubling; sources lie ahead and are still unchanged.
        let window = 2 * tables.band_frames + 1;
        let mut covered = 1;
        while covered < window {
            let step = covered.min(window - covered);
            let ahead = step * tables.frame_len;
            let mut from = 0;
            while from < windows {
                let (to_high, to_low) = (high.add(from), low.add(from));
                L::store(L::max_bytes(L::load(to_high), L::load(to_high.add(ahead))), to_high);
                L::store(L::min_bytes(L::load(to_low), L::load(to_low.add(ahead))), to_low);
                from += LINE;
            }
            covered += step;
        }
        let mut sum = L::splat(0);
        for register in 0..registers {
            let (highest, lowest) =
                (L::load(high.add(register * LINE)), L::load(low.add(register * LINE)));
            let above = at(&tables.query_above, register);
            let below = at(&tables.query_below, register);
            let gap = L::or(L::sub_bytes(lowest, above), L::sub_bytes(below, highest));
            let (even, odd) = (at(&tables.even, register), at(&tables.odd, register));
            sum = L::min(add_squares::<L>(sum, gap, even, odd), far);
        }
        L::store(sum, out.as_mut_ptr().cast());
        forth + out.iter().map(|&lane| i64::from(lane)).sum::<i64>()
    }
}

at_level! {
    /// LB_Improved of one coarse copy: an integer below scale times DTW. Stops after LB_Keogh where
    /// that is above `most` already.
    ///
    /// Let h be the candidate c clamped frame by frame to the query's envelope. Where c_j meets q_i,
    /// (c_j - q_i)^2 >= (c_j - h_j)^2 + (h_j - q_i)^2, because h_j lies between the two. So DTW is at
    /// least LB_Keogh plus DTW of h with the query, and that at least the query's gaps to h's own
    /// envelope. Codes are a monotone function of values, so the code of h_j is the code of c_j clamped
    /// to the codes of the envelope, and gaps of codes never overstate.
    /// Source: Lemire 2009, doi 10.1016/j.patcog.2008.11.030.
    fn improved = improved_body(
        tables: &KeoghTables,
        copy: &[u8],
        most: i64,
        scratch: &mut KeoghScratch,
    ) -> i64
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
