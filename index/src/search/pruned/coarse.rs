//! On coarse copies, sixteen side by side: DTW of boxes, then DTW of the codes themselves.

use std::ops::Range;

use super::tables::{COLUMNS, CoarseTables, FAR, Line, MOST_GAP, ROWS};
use crate::lanes::{LANES, LINE, Lanes, at_level, prefetch_line};
use crate::params::ValidDtwParams;
use crate::sketch::RUN;

const FAR_LINE: Line = Line([FAR; LANES]);

/// What copies are held against.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Against<'a> {
    pub(crate) tables: &'a CoarseTables,
    pub(crate) params: &'a ValidDtwParams,
    pub(crate) section: &'a Range<usize>,
}

/// Working memory of [`boxed`], [`boxed_runs`] and [`warp`].
#[derive(Debug, Default)]
pub(crate) struct WarpScratch {
    /// Words of the sixteen copies, lane by lane.
    codes: Vec<Line>,
    /// Per run of frames its lowest, then its highest codes, word by word.
    boxes: Vec<Line>,
    /// Per frame, in 16 bits: each word's even, then its odd bytes.
    wide: Vec<Line>,
    /// What a candidate's frame adds to each of its cells.
    heads: Vec<Line>,
    rows: Rows,
}

/// Rows of a warping matrix.
#[derive(Debug, Default)]
struct Rows {
    /// Bound of all frames (or boxes) from here on.
    rest: Vec<Line>,
    previous: Vec<Line>,
    current: Vec<Line>,
}

impl Rows {
    fn start(&mut self, columns: usize) {
        for row in [&mut self.previous, &mut self.current] {
            row.clear();
            row.resize(columns + 1, FAR_LINE);
        }
        self.previous[0] = Line([0; LANES]);
        self.rest.resize(columns + 1, FAR_LINE);
    }
}

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

/// Copies that the next call will read, to be fetched while this one works; what is left when it ends,
/// at once.
pub(crate) struct Ahead<'a> {
    copies: &'a [&'a [u8]],
    /// Of each copy.
    bytes: Range<usize>,
    lines: usize,
    fetched: usize,
}

impl<'a> Ahead<'a> {
    /// `bytes` of each of `copies`.
    pub(crate) fn new(copies: &'a [&'a [u8]], bytes: Range<usize>) -> Self {
        Self { copies, lines: bytes.len().div_ceil(LINE), bytes, fetched: 0 }
    }

    /// Fetches the share `done` / `of`.
    #[inline(always)]
    fn fetch(&mut self, done: usize, of: usize) {
        let until = self.lines * done / of;
        while self.fetched < until {
            let at = self.bytes.start + self.fetched * LINE;
            for copy in self.copies {
                prefetch_line(copy.as_ptr().wrapping_add(at));
            }
            self.fetched += 1;
        }
    }
}

impl Drop for Ahead<'_> {
    fn drop(&mut self) {
        self.fetch(1, 1);
    }
}

/// The words `bytes` of sixteen copies, turned into lanes; of each frame those that count.
#[inline(always)]
fn turn<L: Lanes>(
    lanes: L,
    copies: &[&[u8]; LANES],
    bytes: Range<usize>,
    tables: &CoarseTables,
    codes: &mut Vec<Line>,
) {
    turn_all::<L>(lanes, copies, bytes, codes);
    let (all, kept) = (tables.frame_words, tables.kept.as_slice());
    if kept.len() < all {
        for frame in 0..codes.len() / all {
            for (place, word) in kept.iter().enumerate() {
                codes[frame * kept.len() + place] = codes[frame * all + word];
            }
        }
    }
}

/// All words of each frame.
#[inline(always)]
fn turn_all<L: Lanes>(_: L, copies: &[&[u8]; LANES], bytes: Range<usize>, codes: &mut Vec<Line>) {
    let len = bytes.len();
    codes.resize((len / 4).max(LANES), Line([0; LANES]));
    let mut short = [[0_u8; LINE]; LANES];
    let mut parts = [&[][..]; LANES];
    for ((part, copy), short) in parts.iter_mut().zip(copies).zip(&mut short) {
        *part = &copy[bytes.clone()];
        if len < LINE {
            short[..len].copy_from_slice(part);
            *part = short;
        }
    }
    let last = len.max(LINE) - LINE;
    let mut from = 0;
    loop {
        // SAFETY: each part has a register's worth of bytes from `from` on, `codes` sixteen lines. No
        // closures: they would not be compiled for the instructions of `L`.
        unsafe {
            let mut rows = [L::load(parts[0][from..from + LINE].as_ptr()); LANES];
            for (row, part) in rows.iter_mut().zip(&parts) {
                *row = L::load(part[from..from + LINE].as_ptr());
            }
            let to = codes[from / 4..from / 4 + LANES].as_mut_ptr().cast::<u8>();
            for (at, word) in L::transpose(rows).into_iter().enumerate() {
                L::store(word, to.add(at * LINE));
            }
        }
        if from == last {
            return;
        }
        // The last block overlaps the one before.
        from = (from + LINE).min(last);
    }
}

/// Fills `rest`: from the last column on, the sums of `gaps`, cut off below [`FAR`]; whether any lane
/// is within `most`.
///
/// # Safety
/// The processor has the instructions of `L`; for each column a line per word is at `low`, and as many, which
/// `high` is at, behind them; `rest` has one line more than columns.
#[inline(always)]
unsafe fn owed<L: Lanes, const ALIKE: bool>(
    [low, high]: [*const u8; 2],
    [above, below]: [&[u32]; 2],
    tables: &CoarseTables,
    frames_of: impl Fn(usize) -> usize,
    rest: *mut u8,
    most: i32,
) -> bool {
    let words = tables.even.len();
    let columns = above.len() / words;
    // SAFETY: the caller's promise.
    unsafe {
        let nearly_far = L::splat(FAR as u32 - 1);
        let mut owed = L::splat(0);
        L::store(owed, rest.add(columns * LINE));
        for column in (0..columns).rev() {
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
                owed = L::min(L::add(owed, sum), nearly_far);
            }
            L::store(owed, rest.add(column * LINE));
        }
        L::le(owed, L::splat(most as u32)) != 0
    }
}

/// `$body::<L, WORDS, ALIKE>` for the number of words per frame, 0 where only known at run time, and
/// for weights that are all alike.
macro_rules! by_words {
    ($body:ident($lanes:ident, $against:ident $(, $arg:expr)*)) => {
        match ($against.tables.even.len(), $against.tables.alike) {
            (1, true) => $body::<L, 1, true>($lanes, $against $(, $arg)*),
            (2, true) => $body::<L, 2, true>($lanes, $against $(, $arg)*),
            (3, true) => $body::<L, 3, true>($lanes, $against $(, $arg)*),
            (4, true) => $body::<L, 4, true>($lanes, $against $(, $arg)*),
            (_, true) => $body::<L, 0, true>($lanes, $against $(, $arg)*),
            (1, false) => $body::<L, 1, false>($lanes, $against $(, $arg)*),
            (2, false) => $body::<L, 2, false>($lanes, $against $(, $arg)*),
            (3, false) => $body::<L, 3, false>($lanes, $against $(, $arg)*),
            (4, false) => $body::<L, 4, false>($lanes, $against $(, $arg)*),
            (_, false) => $body::<L, 0, false>($lanes, $against $(, $arg)*),
        }
    };
}

#[inline(always)]
fn boxed_body<L: Lanes>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    ahead: Ahead<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    by_words!(boxed_words(lanes, against, copies, ahead, most, scratch))
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
    let WarpScratch { codes, boxes, rows, .. } = scratch;
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
    let limits = [tables.columns_above.as_slice(), tables.columns_below.as_slice()];
    path::<L, WORDS, ALIKE, COLUMNS>(lanes, against, boxes, limits, ahead, most, rows)
}

#[inline(always)]
fn boxed_runs_body<L: Lanes>(
    lanes: L,
    against: Against<'_>,
    runs: &[&[u8]; LANES],
    ahead: Ahead<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    by_words!(boxed_runs_words(lanes, against, runs, ahead, most, scratch))
}

#[inline(always)]
fn boxed_runs_words<L: Lanes, const WORDS: usize, const ALIKE: bool>(
    lanes: L,
    against: Against<'_>,
    runs: &[&[u8]; LANES],
    ahead: Ahead<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    let Against { tables, section, .. } = against;
    let bytes = runs_inside(section, tables.frame_words);
    let WarpScratch { codes, rows, .. } = scratch;
    turn::<L>(lanes, runs, bytes, tables, codes);
    let limits = [tables.runs_above.as_slice(), tables.runs_below.as_slice()];
    path::<L, WORDS, ALIKE, RUN>(lanes, against, codes, limits, ahead, most, rows)
}

/// Where the frames of a section lie in a copy, of `words` words each.
pub(crate) fn frames_inside(section: &Range<usize>, words: usize) -> Range<usize> {
    section.start * words * 4..section.end * words * 4
}

/// Where the runs lie, of `words` words, that cover a section which begins with one.
pub(crate) fn runs_inside(section: &Range<usize>, words: usize) -> Range<usize> {
    debug_assert!(section.start.is_multiple_of(RUN));
    let run = 2 * words * 4;
    section.start / RUN * run..section.end.div_ceil(RUN) * run
}

/// The cheapest path of boxes of `COLUMNS` frames with boxes of [`ROWS`] query frames. `boxes`: per column
/// the lowest, then the highest codes; they may be wider than the frames inside the section.
#[inline(always)]
fn path<L: Lanes, const WORDS: usize, const ALIKE: bool, const COLUMNS: usize>(
    _: L,
    Against { tables, params, section }: Against<'_>,
    boxes: &[Line],
    limits: [&[u32]; 2],
    mut ahead: Ahead<'_>,
    most: i32,
    scratch: &mut Rows,
) -> Option<[i32; LANES]> {
    const { assert!(ROWS == 2 && COLUMNS >= 4, "what the proof of the bound needs") };
    const { assert!(COLUMNS.is_multiple_of(ROWS), "a last box of one frame, the number of frames odd") };
    let frames = section.len();
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let (rows, columns) = (frames.div_ceil(ROWS), frames.div_ceil(COLUMNS));
    scratch.start(columns);
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
        let rest = scratch.rest.as_mut_ptr().cast::<u8>();
        let frames_of = |column: usize| (frames - column * COLUMNS).min(COLUMNS);
        if !owed::<L, ALIKE>([low, high], limits, tables, frames_of, rest, most) {
            return None;
        }
        let limit = L::splat(most as u32);
        let far = L::splat(FAR as u32);
        for row in 0..rows {
            let last_frame = (row * ROWS + ROWS - 1).min(frames - 1);
            let first = params.columns(row * ROWS, frames, frames).0 / COLUMNS;
            let last = params.columns(last_frame, frames, frames).1 / COLUMNS;
            let twice = last_frame > row * ROWS;
            ahead.fetch(row + 1, rows);
            // Held in registers where their number is known.
            let mut held = [[far; 2]; 4];
            for (word, held) in held.iter_mut().take(WORDS).enumerate() {
                let at = row * words + word;
                *held = [L::splat(tables.rows_above[at]), L::splat(tables.rows_below[at])];
            }
            let previous = scratch.previous.as_ptr().cast::<u8>();
            let current = scratch.current.as_mut_ptr().cast::<u8>();
            let mut diagonal = L::load(previous.add(first * LINE));
            // Arrived in this row of boxes: with at least one of its frames still to pay, or none.
            let (mut open, mut left, mut lowest) = (far, far, far);
            L::store(far, current.add(first * LINE));
            for column in first..=last {
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
                let up = L::load(previous.add((column + 1) * LINE));
                open = L::min(L::min(diagonal, up), open);
                if twice {
                    open = L::min(L::add(open, cost), far);
                }
                // FAR plus one cell fits.
                left = L::min(L::add(L::min(open, left), cost), far);
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
    Some(scratch.previous[columns].0)
}

at_level! {
    /// DTW of sixteen coarse copies in boxes of [`COLUMNS`] frames with the query in boxes of [`ROWS`]:
    /// integers below scale times DTW, or `None` if all are above `most`.
    ///
    /// A path visits boxes the way a path visits cells. A cell in a box costs at least the gap between
    /// the two boxes. The cheapest path of boxes that charges each box visited once, and in a row of two
    /// frames one of them once more, is below the path's cost; `docs/bounds.md` proves it for boxes of
    /// two query frames and at least four of the candidate. What the columns right of a row's band owe to
    /// the envelope comes on top.
    /// After Sakurai, Yoshikawa and Faloutsos 2005, doi 10.1145/1065167.1065210; they take the shorter
    /// side of a box for all its cells, we count the query's frames.
    fn boxed = boxed_body(
        against: Against<'_>,
        copies: &[&[u8]; LANES],
        ahead: Ahead<'_>,
        most: i32,
        scratch: &mut WarpScratch,
    ) -> Option<[i32; LANES]>
}

at_level! {
    /// As [`boxed`], in boxes of [`RUN`] frames, which are kept: a quarter of the bytes to read, about half
    /// of the work, a bound less tight. The section begins with a run, so that only its last box may be of a single
    /// frame, as the proof has it; a last run that goes on behind the section is but a wider box.
    fn boxed_runs = boxed_runs_body(
        against: Against<'_>,
        runs: &[&[u8]; LANES],
        ahead: Ahead<'_>,
        most: i32,
        scratch: &mut WarpScratch,
    ) -> Option<[i32; LANES]>
}

#[inline(always)]
fn warp_body<L: Lanes>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    match against.tables.even.len() {
        1 => warp_words::<L, 1>(lanes, against, copies, most, scratch),
        2 => warp_words::<L, 2>(lanes, against, copies, most, scratch),
        3 => warp_words::<L, 3>(lanes, against, copies, most, scratch),
        4 => warp_words::<L, 4>(lanes, against, copies, most, scratch),
        _ => warp_words::<L, 0>(lanes, against, copies, most, scratch),
    }
}

/// Sixteen copies frame by frame in 16 bits, and what each frame's own squares add to its cells.
#[inline(always)]
fn widened<L: Lanes, const WORDS: usize>(
    lanes: L,
    Against { tables, section, .. }: Against<'_>,
    copies: &[&[u8]; LANES],
    scratch: &mut WarpScratch,
) {
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let (halves, frames) = (2 * words, section.len());
    let bytes = frames_inside(section, tables.frame_words);
    turn::<L>(lanes, copies, bytes, tables, &mut scratch.codes);
    scratch.wide.resize(frames * halves, FAR_LINE);
    scratch.heads.resize(frames, FAR_LINE);
    assert!(
        tables.odd.len() == words
            && tables.weights.len() == halves
            && scratch.codes.len() >= frames * words
    );
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let codes = scratch.codes.as_ptr().cast::<u8>();
        let wide = scratch.wide.as_mut_ptr().cast::<u8>();
        let heads = scratch.heads.as_mut_ptr().cast::<u8>();
        for frame in 0..frames {
            let mut head = L::splat(0);
            for word in 0..words {
                let two = L::widen(L::load(codes.add((frame * words + word) * LINE)));
                for (odd, half) in two.into_iter().enumerate() {
                    // At most 128 x 100: no overflow.
                    let weighted = L::mul_words(half, L::splat(tables.weights[2 * word + odd]));
                    head = L::add_dot_words(head, half, weighted);
                    L::store(half, wide.add((frame * halves + 2 * word + odd) * LINE));
                }
            }
            L::store(head, heads.add(frame * LINE));
        }
    }
}

#[inline(always)]
fn warp_words<L: Lanes, const WORDS: usize>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    let Against { tables, params, section } = against;
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let halves = 2 * words;
    let frames = section.len();
    widened::<L, WORDS>(lanes, against, copies, scratch);
    scratch.rows.start(frames);
    assert!(tables.minus.len() == frames * halves && tables.heads.len() == frames);
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let wide = scratch.wide.as_ptr().cast::<u8>();
        let heads = scratch.heads.as_ptr().cast::<u8>();
        let limit = L::splat(most as u32);
        let far = L::splat(FAR as u32);
        let mut row = 0;
        while row < frames {
            let previous = scratch.rows.previous.as_ptr().cast::<u8>();
            let current = scratch.rows.current.as_mut_ptr().cast::<u8>();
            // Two rows at a time, so that what a candidate's frame is made of is loaded once for both.
            let pair = row + 1 < frames;
            let columns =
                [row, row + usize::from(pair)].map(|row| params.columns(row, frames, frames));
            let minus =
                [row, row + usize::from(pair)].map(|row| tables.minus.as_ptr().add(row * halves));
            // Held in registers where their number is known.
            let mut held = [[far; 2]; 8];
            for (half, held) in held.iter_mut().take(2 * WORDS).enumerate() {
                *held = minus.map(|minus| L::splat(*minus.add(half)));
            }
            let own = [row, row + usize::from(pair)].map(|row| L::splat(tables.heads[row] as u32));
            let costs = |column: usize| -> [L::Reg; 2] {
                let head = L::load(heads.add(column * LINE));
                let mut costs = [L::add(head, own[0]), L::add(head, own[1])];
                for half in 0..halves {
                    let codes = L::load(wide.add((column * halves + half) * LINE));
                    let [upper, lower] = if WORDS == 0 {
                        [L::splat(*minus[0].add(half)), L::splat(*minus[1].add(half))]
                    } else {
                        *held.get_unchecked(half)
                    };
                    costs[0] = L::add_dot_words(costs[0], codes, upper);
                    costs[1] = L::add_dot_words(costs[1], codes, lower);
                }
                costs
            };
            let [(first, last), (lower_first, lower_last)] = columns;
            let mut lowest = far;
            let mut diagonal = L::load(previous.add(first * LINE));
            let (mut left, mut lower_left) = (far, far);
            L::store(far, current.add(lower_first * LINE));
            for column in first..=lower_last {
                let costs = costs(column);
                let mut cell = far;
                if column <= last {
                    let up = L::load(previous.add((column + 1) * LINE));
                    // FAR plus one cell fits.
                    let best = L::min(L::min(diagonal, up), left);
                    cell = L::min(L::add(best, costs[0]), far);
                    diagonal = up;
                }
                let mut below = cell;
                if pair {
                    below = far;
                    if column >= lower_first {
                        let best = L::min(L::min(left, cell), lower_left);
                        below = L::min(L::add(best, costs[1]), far);
                    }
                    lower_left = below;
                }
                left = cell;
                lowest = L::min(lowest, below);
                L::store(below, current.add((column + 1) * LINE));
            }
            if L::le(lowest, limit) == 0 {
                return None;
            }
            std::mem::swap(&mut scratch.rows.previous, &mut scratch.rows.current);
            row += 2;
        }
    }
    Some(scratch.rows.previous[frames].0)
}

at_level! {
    /// DTW of sixteen coarse copies: integers below warp scale times DTW, or `None` if all are above `most`.
    ///
    /// Codes stand for the middles of their steps, the query for the nearest multiple of a fraction of
    /// a step; a difference d' so read is off by at most e. Since 2 d' e >= -s d'^2 - e^2 / s for every
    /// share s in (0, 1), d^2 >= (1 - s) (d'^2 - e^2 / s): the charge e^2 / s is part of each cell, the
    /// factor 1 - s part of the scale. Values outside the codes' range are read as its ends, which only
    /// brings them closer together. Squares come as q^2 + c^2 - 2 q c. A row's smallest sum is below the whole.
    fn warp = warp_body(
        against: Against<'_>,
        copies: &[&[u8]; LANES],
        most: i32,
        scratch: &mut WarpScratch,
    ) -> Option<[i32; LANES]>
}

#[inline(always)]
fn represent_body<L: Lanes>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    most: &[i32; LANES],
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    match against.tables.even.len() {
        1 => represent_words::<L, 1>(lanes, against, copies, most, scratch),
        2 => represent_words::<L, 2>(lanes, against, copies, most, scratch),
        3 => represent_words::<L, 3>(lanes, against, copies, most, scratch),
        4 => represent_words::<L, 4>(lanes, against, copies, most, scratch),
        _ => represent_words::<L, 0>(lanes, against, copies, most, scratch),
    }
}

#[inline(always)]
fn represent_words<L: Lanes, const WORDS: usize>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    most: &[i32; LANES],
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    let Against { tables, params, section } = against;
    let words = if WORDS == 0 { tables.even.len() } else { WORDS };
    let halves = 2 * words;
    let frames = section.len();
    let band = params.band_frames();
    widened::<L, WORDS>(lanes, against, copies, scratch);
    scratch.rows.start(frames);
    assert!(tables.minus.len() == frames * halves && tables.exact_heads.len() == frames);
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let wide = scratch.wide.as_ptr().cast::<u8>();
        let heads = scratch.heads.as_ptr().cast::<u8>();
        // Per number of columns what they cost, met by the rows so far; none cost nothing.
        let met = scratch.rows.previous.as_mut_ptr().cast::<u8>();
        let limit = L::load(most.as_ptr().cast());
        let far = L::splat(FAR as u32);
        let mut row = 0;
        while row < frames {
            // Two rows at a time, so that what a frame is made of is loaded once for both.
            let lower = (row + 1).min(frames - 1);
            let (first, last) = params.columns(row, frames, frames);
            let (lower_first, lower_last) = params.columns(lower, frames, frames);
            let minus = [row, lower].map(|row| tables.minus.as_ptr().add(row * halves));
            let mut held = [[far; 2]; 8];
            for (half, held) in held.iter_mut().take(2 * WORDS).enumerate() {
                *held = minus.map(|minus| L::splat(*minus.add(half)));
            }
            let own = [row, lower].map(|row| L::splat(tables.exact_heads[row] as u32));
            let mut left = L::load(met.add(first * LINE));
            let (mut lower_left, mut lowest) = (left, far);
            for column in first..=lower_last {
                let head = L::load(heads.add(column * LINE));
                let mut costs = [L::add(head, own[0]), L::add(head, own[1])];
                for half in 0..halves {
                    let codes = L::load(wide.add((column * halves + half) * LINE));
                    let [upper, below] = if WORDS == 0 {
                        [L::splat(*minus[0].add(half)), L::splat(*minus[1].add(half))]
                    } else {
                        *held.get_unchecked(half)
                    };
                    costs[0] = L::add_dot_words(costs[0], codes, upper);
                    costs[1] = L::add_dot_words(costs[1], codes, below);
                }
                let at = met.add((column + 1) * LINE);
                let mut cell = L::load(at);
                // FAR plus one cell fits, and what is there is no more than FAR.
                if column <= last {
                    cell = L::min(cell, L::add(left, costs[0]));
                }
                left = cell;
                if column >= lower_first {
                    cell = L::min(cell, L::add(lower_left, costs[1]));
                    lowest = L::min(lowest, cell);
                }
                lower_left = cell;
                L::store(cell, at);
            }
            // From here on some column inside the band is the last one met; before, it may be none.
            if lower >= band && L::le(lowest, limit) == 0 {
                return None;
            }
            row += 2;
        }
    }
    Some(scratch.rows.previous[frames].0)
}

at_level! {
    /// What sixteen representatives cost at least, if every frame of theirs meets one frame of the query: integers
    /// below exact scale times the least sum over frames j of the cost of j with the query's frame i(j), where
    /// i(j) lies in the band and never decreases; or `None` if each is above its number in `most`.
    ///
    /// Any warping path holds such a choice, of the same cells for every curve; so by Minkowski the root of a
    /// curve's DTW cost is at least the root of this sum less the curve's distance to the representative, frame
    /// against frame. `docs/bounds.md` has the proof.
    fn represent = represent_body(
        against: Against<'_>,
        copies: &[&[u8]; LANES],
        most: &[i32; LANES],
        scratch: &mut WarpScratch,
    ) -> Option<[i32; LANES]>
}
