//! Sketches once more: DTW of segment means, by how far each match leads.

use std::ops::Range;

use super::envelope::Envelope;
use super::tables::{
    FAR, MOST_GAP, counted, inside, limits, mean_limits, sketch_scale, slack, whole_weights, worth,
};
use crate::lanes::{LANES, LINE, Lanes, at_level};
use crate::params::{Curve, ValidDtwParams};
use crate::sketch::{Layout, Quantiser};

/// Most classes of leads; more are tighter and cost their square.
pub(crate) const CLASSES: usize = 3;

/// The query's limits per pair of classes, for the segments inside the section; bounds are in the
/// units of the segment's sketch tables.
#[derive(Debug)]
pub(crate) struct LeadTables {
    /// In order of time.
    spans: Vec<Span>,
    /// Behind the last word of any.
    end: u32,
}

/// Two neighbouring segments: the even and the odd bytes of some words of a sketch.
#[derive(Debug)]
struct Span {
    /// Those of its words that count.
    words: Vec<u32>,
    /// Two 16-bit weights per word.
    weights: Vec<u32>,
    /// The whole envelope's limits: one word above and one below per word.
    envelope: Vec<[u32; 2]>,
    /// Whether the half counts; one outside the section does not.
    counts: [bool; 2],
    moves: Vec<Move>,
    /// Of each move likewise.
    limits: Vec<[u32; 2]>,
}

/// From one class of leads to another.
#[derive(Debug, Clone, Copy)]
struct Move {
    from: u8,
    to: u8,
    /// Whether a path can do so in the span's first (second) segment.
    possible: [bool; 2],
}

/// Where the matches of a frame lie that belong to each class.
struct Classes {
    count: usize,
    reach: usize,
    section: Range<usize>,
}

impl Classes {
    fn new(params: &ValidDtwParams, section: &Range<usize>) -> Self {
        let reach = params.band_frames().min(section.len() - 1);
        Self { count: CLASSES.min(2 * reach + 1), reach, section: section.clone() }
    }

    /// The query frames a candidate's frame may first meet in this class, first and last; the frame
    /// behind the section's last one stands for its end, where any class will do.
    fn matches(&self, frame: usize, class: usize) -> Option<(usize, usize)> {
        if frame == self.section.end {
            return (class == 0).then_some((self.section.start, frame - 1));
        }
        if frame == self.section.start {
            // A path begins with both first frames; any one class will do.
            return (class == 0).then_some((frame, frame));
        }
        let width = 2 * self.reach + 1;
        // Frames plus reach, so that nothing falls below 0.
        let low = frame + class * width / self.count;
        let high = frame + (class + 1) * width / self.count - 1;
        let low = low.max(self.section.start + self.reach) - self.reach;
        let high = high.min(self.section.end - 1 + self.reach);
        let high = high.checked_sub(self.reach)?;
        (low <= high).then_some((low, high))
    }
}

/// Highest and lowest means a segment of one channel may meet: per class it begins in and class the
/// next segment begins in, channels side by side.
struct Reached {
    upper: Vec<f64>,
    lower: Vec<f64>,
    possible: [[bool; CLASSES]; CLASSES],
}

fn reached(query: Curve<'_>, classes: &Classes, segment: &Range<usize>) -> Reached {
    let channels = query.channels();
    let values = query.values();
    let mut found = Reached {
        upper: vec![0.0; CLASSES * CLASSES * channels],
        lower: vec![0.0; CLASSES * CLASSES * channels],
        possible: [[false; CLASSES]; CLASSES],
    };
    let (mut most, mut least) = (vec![0.0_f32; channels], vec![0.0_f32; channels]);
    for from in 0..classes.count {
        let Some((first, _)) = classes.matches(segment.start, from) else { continue };
        let ends: [Option<usize>; CLASSES] = std::array::from_fn(|to| {
            let inside = to < classes.count;
            let last = inside.then(|| classes.matches(segment.end, to)).flatten()?.1;
            (last >= first).then_some(last)
        });
        found.possible[from] = ends.map(|end| end.is_some());
        for frame in segment.clone() {
            // What this frame may meet: no earlier than the first frame of the segment, no later
            // than the one behind it, and inside the band.
            let low = first.max(frame.saturating_sub(classes.reach));
            let mut next = low;
            most.fill(f32::NEG_INFINITY);
            least.fill(f32::INFINITY);
            for (to, end) in ends.iter().enumerate() {
                let Some(end) = end else { continue };
                while next <= *end.min(&(frame + classes.reach)) {
                    let row = &values[next * channels..(next + 1) * channels];
                    for ((most, least), &value) in most.iter_mut().zip(&mut least).zip(row) {
                        *most = if value > *most { value } else { *most };
                        *least = if value < *least { value } else { *least };
                    }
                    next += 1;
                }
                let at = (from * CLASSES + to) * channels;
                for (sum, &value) in found.upper[at..at + channels].iter_mut().zip(&most) {
                    *sum += f64::from(value);
                }
                for (sum, &value) in found.lower[at..at + channels].iter_mut().zip(&least) {
                    *sum += f64::from(value);
                }
            }
        }
    }
    let len = segment.len() as f64;
    found.upper.iter_mut().chain(&mut found.lower).for_each(|sum| *sum /= len);
    found
}

impl LeadTables {
    /// `None` where leads tell nothing: without a band there is but one class.
    pub(crate) fn new(
        layout: &Layout,
        quantiser: &Quantiser,
        query: Curve<'_>,
        envelope: &Envelope,
        params: &ValidDtwParams,
        section: &Range<usize>,
    ) -> Option<Self> {
        let channels = layout.shape.channels();
        let classes = Classes::new(params, section);
        if classes.count == 1 {
            return None;
        }
        let worth = worth(layout, quantiser, params);
        let weights = whole_weights(&worth, sketch_scale(&worth));
        let counted = counted(layout, params, section);
        let mut order: Vec<usize> = (0..layout.pairs.len()).step_by(channels).collect();
        order.sort_unstable_by_key(|&first| layout.pairs[first].segments[0].start);
        let spans = order.into_iter().filter_map(|first| {
            let segments = &layout.pairs[first].segments;
            let counts = [inside(section, &segments[0]), inside(section, &segments[1])];
            if counts == [false; 2] {
                return None;
            }
            let (first_word, end_word) = (first / 2, (first + channels).div_ceil(2));
            let span_words = end_word - first_word;

            let met: Vec<Option<Reached>> = (0..2)
                .map(|half| counts[half].then(|| reached(query, &classes, &segments[half])))
                .collect();
            let mut moves = Vec::new();
            for from in 0..classes.count {
                for to in 0..classes.count {
                    let can =
                        |half: usize| met[half].as_ref().is_some_and(|met| met.possible[from][to]);
                    let possible = [can(0), can(1)];
                    if possible != [false; 2] {
                        moves.push(Move { from: from as u8, to: to as u8, possible });
                    }
                }
            }
            // Bytes above and below, first the envelope's, then each move's.
            let mut bytes = vec![[[255_u8; 4], [0; 4]]; (1 + moves.len()) * span_words];
            for (half, met) in met.iter().enumerate() {
                let Some(met) = met else { continue };
                let segment = &segments[half];
                for channel in 0..channels {
                    let number = first + channel;
                    if params.weights()[channel] == 0.0 {
                        continue;
                    }
                    let step = quantiser.pair_step[number];
                    let slack = slack(quantiser, number, envelope, channels, channel, segment);
                    let dim = 2 * number + half;
                    let offset = quantiser.mean_offset[dim];
                    let (word, byte) = (dim / 4 - first_word, dim % 4);
                    let mut put = |place: usize, upper: f64, lower: f64| {
                        let [above, below] = &mut bytes[place * span_words + word];
                        (above[byte], below[byte]) = limits(upper, lower, offset, step, slack);
                    };
                    let [upper, lower] = mean_limits(envelope, channels, channel, segment);
                    put(0, upper, lower);
                    for (place, one) in moves.iter().enumerate() {
                        if one.possible[half] {
                            let pair = usize::from(one.from) * CLASSES + usize::from(one.to);
                            let from = pair * channels + channel;
                            put(1 + place, met.upper[from], met.lower[from]);
                        }
                    }
                }
            }
            // A word may hold a byte of another span; its limits let everything pass.
            let words: Vec<u32> = counted
                .iter()
                .copied()
                .filter(|&word| (first_word..end_word).contains(&(word as usize)))
                .collect();
            let of_place = |place: usize| {
                let at = |&word: &u32| place * span_words + word as usize - first_word;
                words.iter().map(|word| bytes[at(word)].map(u32::from_le_bytes)).collect::<Vec<_>>()
            };
            let envelope = of_place(0);
            let limits = (1..=moves.len()).flat_map(of_place).collect();
            let weights = words.iter().map(|&word| weights[word as usize]).collect();
            Some(Span { words, weights, envelope, counts, moves, limits })
        });
        let spans: Vec<Span> = spans.take(MOST_SPANS).collect();
        let end = spans.iter().flat_map(|span| &span.words).max().map_or(0, |last| last + 1);
        (!spans.is_empty()).then_some(Self { spans, end })
    }
}

/// Most spans whose rest is kept; of longer sketches only the first so many are looked at.
const MOST_SPANS: usize = 32;

/// The squares of the gaps of a span's words: of both segments together, and of the first alone.
///
/// # Safety
/// The processor has the instructions of `L`; `sketch` has a line every `line` bytes for each of the span's words, which are
/// as many as `limits`, and `WORDS` unless that is 0.
#[inline(always)]
unsafe fn squares<L: Lanes, const WORDS: usize>(
    span: &Span,
    sketch: *const u8,
    line: usize,
    limits: &[[u32; 2]],
) -> [L::Reg; 2] {
    let words = if WORDS == 0 { limits.len() } else { WORDS };
    // SAFETY: the caller's promise.
    unsafe {
        let most = L::splat(MOST_GAP * 0x0101_0101);
        let even = L::splat(0x00ff_00ff);
        let mut sums = [L::splat(0); 2];
        for word in 0..words {
            let code = L::load(sketch.add(*span.words.get_unchecked(word) as usize * line));
            let [above, below] = *limits.get_unchecked(word);
            let gap =
                L::or(L::sub_bytes(code, L::splat(above)), L::sub_bytes(L::splat(below), code));
            let gap = L::min_bytes(gap, most);
            let weight = L::splat(*span.weights.get_unchecked(word));
            // Where a byte meets 0, it adds nothing.
            let first = L::dot_bytes(gap, L::and(gap, even));
            sums[0] = L::add_dot_words(sums[0], L::dot_bytes(gap, gap), weight);
            sums[1] = L::add_dot_words(sums[1], first, weight);
        }
        sums
    }
}

/// `sums` after both segments of a span.
///
/// # Safety
/// The processor has the instructions of `L`; `sketch` has a line every `line` bytes for each of the span's words, which are
/// `WORDS` unless that is 0.
#[inline(always)]
unsafe fn step<L: Lanes, const WORDS: usize>(
    span: &Span,
    sketch: *const u8,
    line: usize,
    mut sums: [L::Reg; CLASSES],
) -> [L::Reg; CLASSES] {
    let words = if WORDS == 0 { span.weights.len() } else { WORDS };
    // SAFETY: the caller's promise; a span has as many limits as moves times words.
    unsafe {
        let far = L::splat(FAR as u32);
        let mut second = [far; CLASSES * CLASSES];
        let mut next = [far; CLASSES];
        for (number, one) in span.moves.iter().enumerate() {
            let limits = span.limits.get_unchecked(number * words..(number + 1) * words);
            let [both, first] = squares::<L, WORDS>(span, sketch, line, limits);
            if one.possible[0] {
                let (from, to) = (usize::from(one.from), usize::from(one.to));
                next[to] = L::min(next[to], L::add(sums[from], first));
            }
            second[number] = L::sub(both, first);
        }
        if span.counts[0] {
            sums = next;
        }
        if span.counts[1] {
            next = [far; CLASSES];
            for (number, one) in span.moves.iter().enumerate() {
                if one.possible[1] {
                    let (from, to) = (usize::from(one.from), usize::from(one.to));
                    next[to] = L::min(next[to], L::add(sums[from], second[number]));
                }
            }
            sums = next;
        }
        sums
    }
}

#[inline(always)]
fn leads_body<L: Lanes>(
    tables: &LeadTables,
    sketch: &[u8],
    stride: usize,
    wanted: u32,
    most: i32,
) -> Option<([i32; LANES], u32)> {
    assert!(tables.end as usize * stride * LINE <= sketch.len());
    let (sketch, line) = (sketch.as_ptr(), stride * LINE);
    // SAFETY: words end before `tables.end`; `L` is what `at_level` compiled for.
    unsafe {
        let limit = L::splat(most as u32);
        let mut rest = [L::splat(0); MOST_SPANS + 1];
        let spans = tables.spans.as_slice();
        for (number, span) in spans.iter().enumerate().rev() {
            let own = match span.words.len() {
                6 => squares::<L, 6>(span, sketch, line, &span.envelope),
                _ => squares::<L, 0>(span, sketch, line, &span.envelope),
            };
            rest[number] = L::add(rest[number + 1], own[0]);
        }
        let mut sums = [L::splat(0); CLASSES];
        let mut found = None;
        for (number, span) in spans.iter().enumerate() {
            sums = match span.words.len() {
                1 => step::<L, 1>(span, sketch, line, sums),
                2 => step::<L, 2>(span, sketch, line, sums),
                3 => step::<L, 3>(span, sketch, line, sums),
                4 => step::<L, 4>(span, sketch, line, sums),
                6 => step::<L, 6>(span, sketch, line, sums),
                _ => step::<L, 0>(span, sketch, line, sums),
            };
            let mut lowest = sums[0];
            for &sum in &sums[1..] {
                lowest = L::min(lowest, sum);
            }
            // FAR and all that may follow fit.
            let mask = L::le(L::add(lowest, rest[number + 1]), limit) & wanted;
            if mask == 0 {
                return None;
            }
            found = Some((lowest, mask));
        }
        let (lowest, mask) = found?;
        let mut lanes = [0_i32; LANES];
        L::store(lowest, lanes.as_mut_ptr().cast());
        Some((lanes, mask))
    }
}

at_level! {
    /// DTW of sixteen sketches by leads: integers below scale times DTW and in which of the `wanted` lanes
    /// they are at most `most`; `None` where in none. `most` is below [`FAR`].
    ///
    /// A path gives each frame j of the candidate the first query frame m(j) it meets; m never falls,
    /// and its lead m(j) - j is at most the band either way. Leads are cut into classes. Where the
    /// leads at the beginning of a segment and of the next one are of known classes, every frame of
    /// the segment meets a query frame between the two and inside its band, so it has a gap to the
    /// highest and lowest of those, per channel, and the segment costs at least its length times the
    /// squared gap of the means (Jensen, as for sketches). The best chain of classes is below the path.
    ///
    /// `sketch`: for each word of a sketch a line, and behind it others, `stride` in all.
    fn leads = leads_body(
        tables: &LeadTables,
        sketch: &[u8],
        stride: usize,
        wanted: u32,
        most: i32,
    ) -> Option<([i32; LANES], u32)>
}
