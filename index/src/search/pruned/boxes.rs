//! DTW of boxes of frames, sixteen curves side by side.

use super::tables::{COLUMNS, CoarseTables, FAR, Line, MOST_GAP, ROWS};
use super::turn::{
    Against, Ahead, FAR_LINE, WarpScratch, by_words, frames_inside, turn, turn_back,
};
use crate::lanes::{LANES, LINE, Lanes, at_level};

/// Weighted squares of the gaps of four channels, added to `sum`; all weights are 1 if `ALIKE`.
///
/// # Safety
/// The processor has the instructions of `L`.
#[inline(always)]
unsafe fn add_squares<L: Lanes, const ALIKE: bool>(
    sum: L::Reg,
    gap: L::Reg,
    even: u32,
    odd: u32,
) -> L::Reg {
    if ALIKE {
        // SAFETY: the caller's promise.
        return unsafe {
            let gap = L::min_bytes(gap, L::splat(MOST_GAP * 0x0101_0101));
            L::add_dot_bytes(sum, gap, gap)
        };
    }
    // Even (odd) root weights are 0 at odd (even) bytes, so each 16-bit product is one byte's: at most
    // 255 x 10, no overflow.
    // SAFETY: the caller's promise.
    unsafe {
        let (even, odd) = (L::splat(even), L::splat(odd));
        let (even, odd) = (L::dot_bytes(gap, even), L::dot_bytes(gap, odd));
        L::add_dot_words(L::add_dot_words(sum, even, even), odd, odd)
    }
}

/// Fills `owed`: up to each column, the sums of the gaps of those before it, cut off below [`FAR`]; whether any
/// lane is within `most`.
///
/// # Safety
/// The processor has the instructions of `L`; for each column a line per word is at `low`, and as many, which
/// `high` is at, behind them; `owed` has one line more than columns.
#[inline(always)]
unsafe fn owe<L: Lanes, const ALIKE: bool>(
    [low, high]: [*const u8; 2],
    [above, below]: [&[u32]; 2],
    tables: &CoarseTables,
    frames_of: impl Fn(usize) -> usize,
    owed: *mut u8,
    most: i32,
) -> bool {
    let words = tables.even.len();
    let columns = above.len() / words;
    // SAFETY: the caller's promise.
    unsafe {
        let nearly_far = L::splat(FAR as u32 - 1);
        let mut all = L::splat(0);
        L::store(all, owed);
        for column in 0..columns {
            let mut sum = L::splat(0);
            for word in 0..words {
                let (at, line) = (column * words + word, (2 * column * words + word) * LINE);
                let gap = L::or(
                    L::sub_bytes(L::load(low.add(line)), L::splat(above[at])),
                    L::sub_bytes(L::splat(below[at]), L::load(high.add(line))),
                );
                sum = add_squares::<L, ALIKE>(sum, gap, tables.even[word], tables.odd[word]);
            }
            for _ in 0..frames_of(column) {
                all = L::min(L::add(all, sum), nearly_far);
            }
            L::store(all, owed.add((column + 1) * LINE));
        }
        L::le(all, L::splat(most as u32)) != 0
    }
}

#[inline(always)]
fn boxed_body<L: Lanes>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    ahead: Ahead<'_>,
    most: i32,
    scratch: &mut WarpScratch,
    tails: &mut Vec<i32>,
) -> Option<[i32; LANES]> {
    let found = if against.tables.alike {
        by_words!(boxed_words[true](lanes, against, copies, ahead, most, scratch))
    } else {
        by_words!(boxed_words[false](lanes, against, copies, ahead, most, scratch))
    };
    if found.is_some() {
        turn_back(lanes, &mut scratch.tails, tails);
    }
    found
}

#[inline(always)]
fn boxed_words<L: Lanes, const WORDS: usize, const ALIKE: bool>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    ahead: Ahead<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    let Against { tables, section, .. } = against;
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let frames = section.len();
    let columns = frames.div_ceil(COLUMNS);
    let WarpScratch { codes, boxes, .. } = scratch;
    turn::<L>(lanes, copies, frames_inside(section, tables.frame_words), tables, codes);
    boxes.resize(2 * columns * words, FAR_LINE);
    assert!(codes.len() >= frames * words);
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let codes = codes.as_ptr().cast::<u8>();
        let boxes = boxes.as_mut_ptr().cast::<u8>();
        for column in 0..columns {
            let run = column * COLUMNS..((column + 1) * COLUMNS).min(frames);
            for word in 0..words {
                let mut least = L::load(codes.add((run.start * words + word) * LINE));
                let mut largest = least;
                for frame in run.start + 1..run.end {
                    let code = L::load(codes.add((frame * words + word) * LINE));
                    least = L::min_bytes(least, code);
                    largest = L::max_bytes(largest, code);
                }
                L::store(least, boxes.add((2 * column * words + word) * LINE));
                L::store(largest, boxes.add(((2 * column + 1) * words + word) * LINE));
            }
        }
    }
    let boxes = std::mem::take(&mut scratch.boxes);
    let limits = [tables.columns_above.as_slice(), tables.columns_below.as_slice()];
    let found = path::<L, WORDS, ALIKE>(lanes, against, &boxes, limits, ahead, most, scratch);
    scratch.boxes = boxes;
    found
}

/// The cheapest path of boxes of [`COLUMNS`] frames with boxes of [`ROWS`] query frames, from the end to the
/// beginning, so that each row of boxes knows what is still to come. `boxes`: per column the lowest, then the
/// highest codes.
#[inline(always)]
fn path<L: Lanes, const WORDS: usize, const ALIKE: bool>(
    _: L,
    Against { tables, params, section }: Against<'_>,
    boxes: &[Line],
    limits: [&[u32]; 2],
    mut ahead: Ahead<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    const { assert!(ROWS == 2 && COLUMNS >= 4, "what the proof of the bound needs") };
    const { assert!(COLUMNS.is_multiple_of(ROWS), "a last box of one frame, the number of frames odd") };
    let frames = section.len();
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let (rows, columns) = (frames.div_ceil(ROWS), frames.div_ceil(COLUMNS));
    let WarpScratch { rows: lines, owed, tails, .. } = scratch;
    lines.start(columns, columns);
    owed.resize(columns + 1, FAR_LINE);
    tails.resize(rows + 1, FAR_LINE);
    tails[rows] = Line([0; LANES]);
    assert!(
        tables.even.len() == words
            && tables.odd.len() == words
            && boxes.len() >= 2 * columns * words
            && tables.rows_above.len() == rows * words
            && tables.rows_below.len() == rows * words
            && limits.iter().all(|limits| limits.len() == columns * words)
    );
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let low = boxes.as_ptr().cast::<u8>();
        let high = low.add(words * LINE);
        let owed = owed.as_mut_ptr().cast::<u8>();
        let tails = tails.as_mut_ptr().cast::<u8>();
        let frames_of = |column: usize| (frames - column * COLUMNS).min(COLUMNS);
        if !owe::<L, ALIKE>([low, high], limits, tables, frames_of, owed, most) {
            return None;
        }
        let limit = L::splat(most as u32);
        let far = L::splat(FAR as u32);
        for row in (0..rows).rev() {
            let last_frame = (row * ROWS + ROWS - 1).min(frames - 1);
            let first = params.columns(row * ROWS, frames, frames).0 / COLUMNS;
            let last = params.columns(last_frame, frames, frames).1 / COLUMNS;
            let twice = last_frame > row * ROWS;
            ahead.fetch(rows - row, rows);
            // Held in registers where their number is known.
            let mut held = [[far; 2]; 4];
            for (word, held) in held.iter_mut().take(WORDS).enumerate() {
                let at = row * words + word;
                *held = [L::splat(tables.rows_above[at]), L::splat(tables.rows_below[at])];
            }
            // Per column, from it to the end of the path.
            let below = lines.previous.as_ptr().cast::<u8>();
            let current = lines.current.as_mut_ptr().cast::<u8>();
            let mut diagonal = L::load(below.add((last + 1) * LINE));
            // On from this row of boxes: with at least one of its frames still to pay, or none.
            let (mut open, mut right, mut lowest) = (far, far, far);
            L::store(far, current.add((last + 1) * LINE));
            for column in (first..=last).rev() {
                let mut cost = L::splat(0);
                for word in 0..words {
                    let (at, row_at) = (2 * column * words + word, row * words + word);
                    let [above, below] = if WORDS == 0 {
                        let above = *tables.rows_above.get_unchecked(row_at);
                        [L::splat(above), L::splat(*tables.rows_below.get_unchecked(row_at))]
                    } else {
                        *held.get_unchecked(word)
                    };
                    let gap = L::or(
                        L::sub_bytes(L::load(low.add(at * LINE)), above),
                        L::sub_bytes(below, L::load(high.add(at * LINE))),
                    );
                    let even = *tables.even.get_unchecked(word);
                    let odd = *tables.odd.get_unchecked(word);
                    cost = add_squares::<L, ALIKE>(cost, gap, even, odd);
                }
                let down = L::load(below.add(column * LINE));
                open = L::min(L::min(diagonal, down), open);
                if twice {
                    open = L::min(L::add(open, cost), far);
                }
                // FAR plus one cell fits.
                right = L::min(L::add(L::min(open, right), cost), far);
                lowest = L::min(lowest, right);
                L::store(right, current.add(column * LINE));
                diagonal = down;
            }
            L::store(lowest, tails.add(row * LINE));
            let owed = L::load(owed.add(first * LINE));
            if L::le(L::add(lowest, owed), limit) == 0 {
                return None;
            }
            std::mem::swap(&mut lines.previous, &mut lines.current);
        }
    }
    Some(lines.previous[0].0)
}

at_level! {
    /// DTW of sixteen coarse copies in boxes of [`COLUMNS`] frames with the query in boxes of [`ROWS`]:
    /// integers below scale times DTW, or `None` if all are above `most`. For each lane, what is still to come from
    /// each row of boxes on is appended to `tails`.
    ///
    /// A path visits boxes the way a path visits cells. A cell in a box costs at least the gap between
    /// the two boxes. The cheapest path of boxes that charges each box visited once, and in a row of two
    /// frames one of them once more, is below the path's cost; `docs/bounds.md` proves it for boxes of
    /// two query frames and at least four of the candidate. What the columns left of a row's band owe to
    /// the envelope comes on top.
    /// After Sakurai, Yoshikawa and Faloutsos 2005, doi 10.1145/1065167.1065210; they take the shorter
    /// side of a box for all its cells, we count the query's frames.
    fn boxed = boxed_body(
        against: Against<'_>,
        copies: &[&[u8]; LANES],
        ahead: Ahead<'_>,
        most: i32,
        scratch: &mut WarpScratch,
        tails: &mut Vec<i32>,
    ) -> Option<[i32; LANES]>
}
