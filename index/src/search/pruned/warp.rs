//! DTW of the codes themselves, and of representatives, sixteen side by side.

use super::tables::{CoarseTables, FAR, ROWS};
use super::turn::{Against, FAR_LINE, WarpScratch, by_words, frames_inside, turn, turn_all};
use crate::lanes::{LANES, LINE, Lanes, at_level};

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

/// What the cells of two rows cost.
struct Cells<'a, L: Lanes> {
    /// Codes in 16 bits and the heads of frames, as [`widened`] leaves them.
    wide: *const u8,
    heads: *const u8,
    /// 16-bit halves of a frame.
    halves: usize,
    /// The query's frames, negated.
    minus: [&'a [u32]; 2],
    /// The same in registers, where their number is known.
    held: [[L::Reg; 2]; 8],
    /// What the query's frames add to each of their cells.
    own: [L::Reg; 2],
}

impl<'a, L: Lanes> Cells<'a, L> {
    /// Two rows at a time, so that what a candidate's frame is made of is loaded once for both.
    ///
    /// # Safety
    /// The processor has the instructions of `L`.
    #[inline(always)]
    unsafe fn new<const WORDS: usize>(
        tables: &'a CoarseTables,
        heads: &[i32],
        rows: [usize; 2],
        codes: [*const u8; 2],
    ) -> Self {
        let halves = 2 * tables.even.len();
        let minus = [
            &tables.minus[rows[0] * halves..(rows[0] + 1) * halves],
            &tables.minus[rows[1] * halves..(rows[1] + 1) * halves],
        ];
        // SAFETY: the caller's promise.
        unsafe {
            let mut held = [[L::splat(0); 2]; 8];
            for (half, held) in held.iter_mut().take(2 * WORDS).enumerate() {
                *held = [L::splat(minus[0][half]), L::splat(minus[1][half])];
            }
            let own = [L::splat(heads[rows[0]] as u32), L::splat(heads[rows[1]] as u32)];
            Self { wide: codes[0], heads: codes[1], halves, minus, held, own }
        }
    }

    /// In one column.
    ///
    /// # Safety
    /// The processor has the instructions of `L`, and the column's frame lies in what [`widened`] left.
    #[inline(always)]
    unsafe fn at<const WORDS: usize>(&self, column: usize) -> [L::Reg; 2] {
        let halves = if WORDS == 0 { self.halves } else { 2 * WORDS };
        // SAFETY: the caller's promise.
        unsafe {
            let head = L::load(self.heads.add(column * LINE));
            let mut costs = [L::add(head, self.own[0]), L::add(head, self.own[1])];
            for half in 0..halves {
                let codes = L::load(self.wide.add((column * halves + half) * LINE));
                let [upper, lower] = if WORDS == 0 {
                    let [upper, lower] = self.minus;
                    [L::splat(*upper.get_unchecked(half)), L::splat(*lower.get_unchecked(half))]
                } else {
                    *self.held.get_unchecked(half)
                };
                costs[0] = L::add_dot_words(costs[0], codes, upper);
                costs[1] = L::add_dot_words(costs[1], codes, lower);
            }
            costs
        }
    }
}

/// What is still to come from each row of boxes on, 0 behind the last.
#[derive(Clone, Copy)]
pub(super) struct Tails<'a> {
    /// Of each of sixteen curves, numbers of 32 bits,
    pub(super) of_lanes: &'a [&'a [u8]; LANES],
    /// and what they are multiplied by.
    pub(super) ratio: f32,
}

#[inline(always)]
fn warp_body<L: Lanes>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    tails: Tails<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    by_words!(warp_words(lanes, against, copies, tails, most, scratch))
}

#[inline(always)]
fn warp_words<L: Lanes, const WORDS: usize>(
    lanes: L,
    against: Against<'_>,
    copies: &[&[u8]; LANES],
    tails: Tails<'_>,
    most: i32,
    scratch: &mut WarpScratch,
) -> Option<[i32; LANES]> {
    let Against { tables, params, section } = against;
    let frames = section.len();
    widened::<L, WORDS>(lanes, against, copies, scratch);
    let rows = frames.div_ceil(ROWS);
    turn_all(lanes, tails.of_lanes, 0..4 * (rows + 1), &mut scratch.tails);
    for line in &mut scratch.tails[..=rows] {
        for one in &mut line.0 {
            let scaled = (*one as f32 * tails.ratio).clamp(0.0, (FAR / 2) as f32);
            // SAFETY: it is a number within `i32`: neither the ratio nor any tail is below 0 or infinite. The
            // conversion that looks for itself takes several times as long.
            *one = unsafe { scaled.to_int_unchecked() };
        }
    }
    let WarpScratch { wide, heads, rows: lines, tails, .. } = scratch;
    lines.start(frames, 0);
    assert!(tables.heads.len() == frames && tails.len() > rows);
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let codes = [wide.as_ptr().cast::<u8>(), heads.as_ptr().cast::<u8>()];
        let limit = L::splat(most as u32);
        let far = L::splat(FAR as u32);
        for upper in (0..frames).step_by(ROWS) {
            let previous = lines.previous.as_ptr().cast::<u8>();
            let current = lines.current.as_mut_ptr().cast::<u8>();
            let pair = upper + 1 < frames;
            let lower = upper + usize::from(pair);
            let cells = Cells::<L>::new::<WORDS>(tables, &tables.heads, [upper, lower], codes);
            let (first, last) = params.columns(upper, frames, frames);
            let (lower_first, lower_last) = params.columns(lower, frames, frames);
            let mut lowest = far;
            let mut diagonal = L::load(previous.add(first * LINE));
            let (mut left, mut lower_left) = (far, far);
            L::store(far, current.add(lower_first * LINE));
            for column in first..=lower_last {
                let costs = cells.at::<WORDS>(column);
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
            // FAR plus a tail, which is below FAR, fits.
            let tail = L::load(tails.as_ptr().add(upper / ROWS + 1).cast());
            if L::le(L::add(lowest, tail), limit) == 0 {
                return None;
            }
            std::mem::swap(&mut lines.previous, &mut lines.current);
        }
    }
    Some(lines.previous[frames].0)
}

at_level! {
    /// DTW of sixteen coarse copies: integers below warp scale times DTW, or `None` if all are above `most`.
    ///
    /// Codes stand for the middles of their steps, the query for the nearest multiple of a fraction of
    /// a step; a difference d' so read is off by at most e. Since 2 d' e >= -s d'^2 - e^2 / s for every
    /// share s in (0, 1), d^2 >= (1 - s) (d'^2 - e^2 / s): the charge e^2 / s is part of each cell, the
    /// factor 1 - s part of the scale. Values outside the codes' range are read as its ends, which only
    /// brings them closer together. Squares come as q^2 + c^2 - 2 q c. After two
    /// rows their smallest sum and the tail of those to come are below the whole.
    fn warp = warp_body(
        against: Against<'_>,
        copies: &[&[u8]; LANES],
        tails: Tails<'_>,
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
    by_words!(represent_words(lanes, against, copies, most, scratch))
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
    let frames = section.len();
    let band = params.band_frames();
    widened::<L, WORDS>(lanes, against, copies, scratch);
    let WarpScratch { wide, heads, rows: lines, .. } = scratch;
    lines.start(frames, 0);
    assert!(tables.exact_heads.len() == frames);
    // SAFETY: registers read and written lie in the vectors sized or asserted above; `L` is what
    // `at_level` compiled for.
    unsafe {
        let codes = [wide.as_ptr().cast::<u8>(), heads.as_ptr().cast::<u8>()];
        // Per number of columns what they cost, met by the rows so far; none cost nothing.
        let met = lines.previous.as_mut_ptr().cast::<u8>();
        let limit = L::load(most.as_ptr().cast());
        let far = L::splat(FAR as u32);
        for upper in (0..frames).step_by(2) {
            let lower = (upper + 1).min(frames - 1);
            let heads = &tables.exact_heads;
            let cells = Cells::<L>::new::<WORDS>(tables, heads, [upper, lower], codes);
            let (first, last) = params.columns(upper, frames, frames);
            let (lower_first, lower_last) = params.columns(lower, frames, frames);
            let mut left = L::load(met.add(first * LINE));
            let (mut lower_left, mut lowest) = (left, far);
            for column in first..=lower_last {
                let costs = cells.at::<WORDS>(column);
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
        }
    }
    Some(lines.previous[frames].0)
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
