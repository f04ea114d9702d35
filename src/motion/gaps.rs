//! Gaps: finding, filling, and putting frames on an even grid.

use super::filter::stretches;
use super::spline::Spline;
use super::{Joint, Recording};

/// Gaps up to this long are filled by a spline; longer ones stay open and cut a serve.
pub const MAX_FILLED_GAP_S: f64 = 0.2;

/// A run of frames in which one joint was not measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// The joint.
    pub joint: Joint,
    /// First frame without it, from 0.
    pub first: usize,
    /// Last frame without it.
    pub last: usize,
    /// Length in seconds: the frames times the nominal frame time, or the time they span.
    pub duration_s: f64,
    /// Measured both before and after; only such a gap can be filled.
    pub inside: bool,
}

/// Every gap of `recording`, by joint, then by frame.
#[must_use]
pub fn gaps(recording: &Recording) -> Vec<Gap> {
    let frames = recording.frames();
    let mut list = Vec::new();
    for (column, &joint) in recording.joints.iter().enumerate() {
        let mut from = 0;
        let ends = std::iter::once(frames..frames);
        for stretch in stretches(recording, column).into_iter().chain(ends) {
            if stretch.start > from {
                let (first, last) = (from, stretch.start - 1);
                let span = recording.times_s[last] - recording.times_s[first];
                list.push(Gap {
                    joint,
                    first,
                    last,
                    duration_s: span + 1.0 / recording.rate_hz,
                    inside: first > 0 && stretch.start < frames,
                });
            }
            from = stretch.end;
        }
    }
    list
}

/// What [`fill_gaps`] did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Filled {
    /// Gaps that are filled now.
    pub filled: Vec<Gap>,
    /// Gaps that remain: too long, or at the start or end.
    pub left: Vec<Gap>,
}

/// Fills gaps of at most `max_s` seconds with a cubic spline through the joint's measured
/// frames (not-a-knot ends); longer gaps, and gaps at the start or end, stay and are reported.
///
/// A spline never crosses a gap that stays. Where the source gives confidence, filled frames
/// get 0. O(joints x frames).
pub fn fill_gaps(recording: &mut Recording, max_s: f64) -> Filled {
    let width = recording.joints.len();
    let (filled, left): (Vec<Gap>, Vec<Gap>) = gaps(recording)
        .into_iter()
        // Rounding of the times must not decide: a tolerance of a thousandth of a frame.
        .partition(|gap| gap.inside && gap.duration_s <= max_s + 1e-3 / recording.rate_hz);
    for column in 0..width {
        let joint = recording.joints[column];
        let of_joint = |gaps: &[Gap]| -> Vec<Gap> {
            gaps.iter().filter(|gap| gap.joint == joint).copied().collect()
        };
        let to_fill = of_joint(&filled);
        if to_fill.is_empty() {
            continue;
        }
        // Pieces between the gaps that stay.
        let mut from = 0;
        let stays = of_joint(&left);
        let ends = stays.iter().map(|gap| (gap.first, gap.last + 1));
        for (end, next) in ends.chain([(recording.frames(), recording.frames())]) {
            fill_piece(recording, column, from..end, &to_fill);
            from = next;
        }
    }
    Filled { filled, left }
}

fn fill_piece(
    recording: &mut Recording,
    column: usize,
    piece: std::ops::Range<usize>,
    to_fill: &[Gap],
) {
    let width = recording.joints.len();
    let inside: Vec<&Gap> = to_fill.iter().filter(|gap| piece.contains(&gap.first)).collect();
    if inside.is_empty() {
        return;
    }
    let known: Vec<usize> =
        piece.filter(|frame| !recording.positions[frame * width + column][0].is_nan()).collect();
    let x: Vec<f64> = known.iter().map(|&frame| recording.times_s[frame]).collect();
    for axis in 0..3 {
        let y: Vec<f64> =
            known.iter().map(|&frame| recording.positions[frame * width + column][axis]).collect();
        let Some(spline) = Spline::new(&x, &y) else { return };
        for frame in inside.iter().flat_map(|gap| gap.first..=gap.last) {
            let value = spline.at(recording.times_s[frame]);
            recording.positions[frame * width + column][axis] = value;
        }
    }
    if let Some(confidence) = &mut recording.confidence {
        for frame in inside.iter().flat_map(|gap| gap.first..=gap.last) {
            confidence[frame * width + column] = 0.0;
        }
    }
}

/// The same recording at `rate_hz` even frames a second, from its first time to its last.
///
/// Cubic spline per joint and stretch between gaps (not-a-knot ends). A new frame that falls
/// into a gap is a gap; so is one nearer than a frame to a joint measured only once. Confidence
/// is taken from the nearest old frame. Frequencies above half the new rate are not removed:
/// [`super::lowpass`] first when going down. O(joints x frames).
///
/// # Panics
/// If `rate_hz` is not a finite number above 0.
#[must_use]
pub fn resample(recording: &Recording, rate_hz: f64) -> Recording {
    assert!(rate_hz.is_finite() && rate_hz > 0.0, "a rate above 0 Hz, not {rate_hz}");
    let width = recording.joints.len();
    let (Some(&start), Some(&end)) = (recording.times_s.first(), recording.times_s.last()) else {
        return Recording { rate_hz, ..recording.clone() };
    };
    // A last frame that rounding puts a hair beyond the end is kept, at the end.
    let frames = ((end - start) * rate_hz + 1e-6).floor() as usize + 1;
    let times_s: Vec<f64> = (0..frames).map(|i| start + i as f64 / rate_hz).collect();
    let mut positions = vec![[f64::NAN; 3]; frames * width];
    for column in 0..width {
        for stretch in stretches(recording, column) {
            let x = &recording.times_s[stretch.clone()];
            let (first, last) = (x[0], x[x.len() - 1] + 1e-6 / rate_hz);
            let from = times_s.partition_point(|&t| t < first - 1e-6 / rate_hz);
            let to = times_s.partition_point(|&t| t <= last);
            #[expect(clippy::needless_range_loop, reason = "the axis indexes every position")]
            for axis in 0..3 {
                let y: Vec<f64> = stretch
                    .clone()
                    .map(|frame| recording.positions[frame * width + column][axis])
                    .collect();
                let spline = Spline::new(x, &y);
                for (frame, &time) in times_s.iter().enumerate().take(to).skip(from) {
                    positions[frame * width + column][axis] =
                        spline.as_ref().map_or(y[0], |spline| spline.at(time));
                }
            }
        }
    }
    let confidence = recording.confidence.as_ref().map(|confidence| {
        let nearest = |time: f64| {
            let after = recording.times_s.partition_point(|&t| t < time);
            let before = after.saturating_sub(1);
            let after = after.min(recording.frames() - 1);
            let (a, b) = (recording.times_s[before], recording.times_s[after]);
            if (time - a).abs() <= (b - time).abs() { before } else { after }
        };
        times_s
            .iter()
            .flat_map(|&time| {
                let frame = nearest(time);
                confidence[frame * width..(frame + 1) * width].iter().copied()
            })
            .collect()
    });
    Recording { times_s, positions, confidence, rate_hz, ..recording.clone() }
}
