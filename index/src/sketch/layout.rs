//! Which frames and channels a byte of a sketch stands for.

use std::ops::Range;

use crate::params::Shape;

/// Aimed-at length of a segment, frames.
pub(crate) const SEGMENT_FRAMES: usize = 8;
/// Frames in a run; files say so, though their runs are no longer read.
pub(crate) const RUN: usize = 8;
/// Most pairs of segments per channel.
pub(crate) const MAX_PAIRS: usize = 32;

/// Two neighbouring segments of one channel, equally long (a curve of one frame has only the first).
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Pair {
    pub(crate) channel: usize,
    pub(crate) segments: [Range<usize>; 2],
}

/// Where everything lies in sketches and coarse copies of curves of one shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Layout {
    pub(crate) shape: Shape,
    /// The pairs in the order of the sketch; pair p is bytes 2p and 2p + 1.
    pub(crate) pairs: Vec<Pair>,
}

impl Layout {
    /// The layout for a shape. With an odd number of frames the last one is in no segment; a bound
    /// that leaves a frame out is still a bound.
    pub(crate) fn new(shape: Shape) -> Self {
        let half = (shape.frames() / 2).max(1);
        let count = ((half + SEGMENT_FRAMES / 2) / SEGMENT_FRAMES).clamp(1, MAX_PAIRS);
        let mut spans = Vec::with_capacity(count);
        let mut start = 0;
        for number in 0..count {
            let len = half * (number + 1) / count - half * number / count;
            let second = (start + len).min(shape.frames())..(start + 2 * len).min(shape.frames());
            spans.push([start..start + len, second]);
            start += 2 * len;
        }
        // Even places first: half of the sketch then sees the whole curve, coarsely.
        let spread = (0..count).step_by(2).chain((1..count).step_by(2));
        let pairs = spread
            .flat_map(|at| {
                let segments = &spans[at];
                (0..shape.channels()).map(|channel| Pair { channel, segments: segments.clone() })
            })
            .collect();
        Self { shape, pairs }
    }

    /// 32-bit words per sketch: two pairs each.
    pub(crate) fn words(&self) -> usize {
        self.pairs.len().div_ceil(2)
    }

    /// 32-bit words per frame of the coarse copy: four channels each.
    pub(crate) fn frame_words(&self) -> usize {
        self.shape.channels().div_ceil(4)
    }

    /// Bytes of one coarse copy.
    pub(crate) fn coarse_len(&self) -> usize {
        self.shape.frames() * self.frame_words() * 4
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn segments_are_equal_in_pairs_disjoint_and_inside() {
        for frames in (1..200).chain([1460, 65_536]) {
            let layout = Layout::new(Shape::new(frames, 3).unwrap());
            let mut seen = vec![0; frames];
            for pair in layout.pairs.iter().filter(|pair| pair.channel == 1) {
                let [a, b] = &pair.segments;
                assert!(!a.is_empty() && (a.len() == b.len() || frames == 1), "{frames}: {pair:?}");
                a.clone().chain(b.clone()).for_each(|frame| seen[frame] += 1);
            }
            assert!(seen.iter().all(|&times| times <= 1), "{frames}");
            assert!(seen.iter().filter(|&&times| times == 0).count() <= frames % 2, "{frames}");
        }
    }
}
