//! Coarse copies of sixteen curves, turned into lanes.

use std::ops::Range;

use super::tables::{CoarseTables, FAR, Line};
use crate::lanes::{LANES, LINE, Lanes, prefetch_line};
use crate::params::ValidDtwParams;

pub(super) const FAR_LINE: Line = Line([FAR; LANES]);

/// What copies are held against.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Against<'a> {
    pub(crate) tables: &'a CoarseTables,
    pub(crate) params: &'a ValidDtwParams,
    pub(crate) section: &'a Range<usize>,
}

/// Working memory of bounds made of coarse copies.
#[derive(Debug, Default)]
pub(crate) struct WarpScratch {
    /// Words of the sixteen copies, lane by lane.
    pub(super) codes: Vec<Line>,
    /// Per run of frames its lowest, then its highest codes, word by word.
    pub(super) boxes: Vec<Line>,
    /// Per frame, in 16 bits: each word's even, then its odd bytes.
    pub(super) wide: Vec<Line>,
    /// What a candidate's frame adds to each of its cells.
    pub(super) heads: Vec<Line>,
    pub(super) rows: Rows,
    /// What the columns before each column cost at least.
    pub(super) owed: Vec<Line>,
    /// Per row of boxes: what any path costs at least from it on, 0 behind the last.
    pub(super) tails: Vec<Line>,
}

/// Rows of a warping matrix.
#[derive(Debug, Default)]
pub(super) struct Rows {
    pub(super) previous: Vec<Line>,
    pub(super) current: Vec<Line>,
}

impl Rows {
    /// Before the first row: everything is far away but what lies at `origin`.
    #[inline(always)]
    pub(super) fn start(&mut self, columns: usize, origin: usize) {
        for row in [&mut self.previous, &mut self.current] {
            row.clear();
            row.resize(columns + 1, FAR_LINE);
        }
        self.previous[origin] = Line([0; LANES]);
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
    pub(super) fn fetch(&mut self, done: usize, of: usize) {
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
pub(super) fn turn<L: Lanes>(
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
pub(super) fn turn_all<L: Lanes>(
    _: L,
    copies: &[&[u8]; LANES],
    bytes: Range<usize>,
    codes: &mut Vec<Line>,
) {
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

/// Where the frames of a section lie in a copy, of `words` words each.
pub(crate) fn frames_inside(section: &Range<usize>, words: usize) -> Range<usize> {
    section.start * words * 4..section.end * words * 4
}

/// Lines by lanes: of each lane its numbers, `lane_len(lines)` apart, appended to `by_lane`.
#[inline(always)]
pub(super) fn turn_back<L: Lanes>(_: L, lines: &mut Vec<Line>, by_lane: &mut Vec<i32>) {
    let (start, len) = (by_lane.len(), lane_len(lines.len()));
    lines.resize(len, FAR_LINE);
    by_lane.resize(start + LANES * len, 0);
    let to = &mut by_lane[start..];
    for first in (0..len).step_by(LANES) {
        // SAFETY: sixteen lines are at `first`, sixteen numbers of each lane where they are stored; `L` is what
        // `at_level` compiled for. No closures: they would not be compiled for its instructions.
        unsafe {
            let from = lines[first..first + LANES].as_ptr().cast::<u8>();
            let mut rows = [L::load(from); LANES];
            for (at, row) in rows.iter_mut().enumerate() {
                *row = L::load(from.add(at * LINE));
            }
            for (lane, numbers) in L::transpose(rows).into_iter().enumerate() {
                L::store(numbers, to[lane * len + first..][..LANES].as_mut_ptr().cast());
            }
        }
    }
}

/// How far apart the numbers of lanes lie that so many lines are turned into.
pub(super) fn lane_len(lines: usize) -> usize {
    lines.next_multiple_of(LANES)
}

/// `$body::<L, WORDS>`, or with `[true]` or `[false]` behind it `$body::<L, WORDS, ALIKE>`, for the number of words
/// per frame, 0 where only known at run time.
macro_rules! by_words {
    ($body:ident $([$alike:literal])? ($lanes:ident, $against:ident $(, $arg:expr)*)) => {
        match $against.tables.even.len() {
            1 => $body::<L, 1 $(, $alike)?>($lanes, $against $(, $arg)*),
            2 => $body::<L, 2 $(, $alike)?>($lanes, $against $(, $arg)*),
            3 => $body::<L, 3 $(, $alike)?>($lanes, $against $(, $arg)*),
            4 => $body::<L, 4 $(, $alike)?>($lanes, $against $(, $arg)*),
            _ => $body::<L, 0 $(, $alike)?>($lanes, $against $(, $arg)*),
        }
    };
}
pub(super) use by_words;
