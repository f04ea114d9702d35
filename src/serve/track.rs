//! A recording's joints on an even time grid: gaps filled or left open, smoothed on demand.

use super::vector::{V3, mid, norm, sub};
pub use crate::motion::MAX_FILLED_GAP_S;
use crate::motion::{Dimensions, Joint, Recording, Side, butterworth, fill_gaps, gaps, resample};

/// The grid is at least this fine, so that events between the frames of a slow source can be read.
const GRID_HZ: f64 = 100.0;

/// Joints over an even grid. Missing stretches are NaN.
#[derive(Debug, Clone)]
pub(super) struct Track {
    /// Time of grid sample 0 in the recording, seconds.
    pub(super) start_s: f64,
    /// Grid step, seconds.
    pub(super) step_s: f64,
    /// Grid samples.
    pub(super) samples: usize,
    joints: Vec<(Joint, Vec<V3>)>,
}

impl Track {
    /// The `joints` of `recording` between two of its frames (both included).
    pub(super) fn build(
        recording: &Recording,
        joints: &[Joint],
        first: usize,
        last: usize,
    ) -> Self {
        let mut part = cut(recording, joints, first, last);
        fill_gaps(&mut part, MAX_FILLED_GAP_S);
        Self::of(&part)
    }

    /// A recording whose gaps are filled as far as they are to be.
    pub(super) fn of(recording: &Recording) -> Self {
        let multiple = (GRID_HZ / recording.rate_hz).ceil().max(1.0);
        let part = resample(recording, recording.rate_hz * multiple);
        let width = part.joints.len();
        let joints = part
            .joints
            .iter()
            .enumerate()
            .map(|(j, &joint)| {
                (joint, part.positions.iter().skip(j).step_by(width.max(1)).copied().collect())
            })
            .collect();
        Self {
            start_s: part.times_s[0],
            step_s: 1.0 / (recording.rate_hz * multiple),
            samples: part.times_s.len(),
            joints,
        }
    }

    /// Every joint low-passed at `cutoff_hz` (the racket's at `racket_hz`), each run between open
    /// gaps by itself.
    pub(super) fn smoothed(mut self, cutoff_hz: f64, racket_hz: f64) -> Self {
        let rate_hz = 1.0 / self.step_s;
        for (joint, path) in &mut self.joints {
            let racket = matches!(joint, Joint::RacketTip | Joint::RacketThroat);
            let cutoff_hz = if racket { racket_hz } else { cutoff_hz }.min(0.4 * rate_hz);
            for axis in 0..3 {
                let mut values: Vec<f64> = path.iter().map(|p| p[axis]).collect();
                for run in runs(&values) {
                    // The cutoff is inside the filter's bounds, so it never refuses.
                    let _within_bounds = butterworth(&mut values[run], cutoff_hz, rate_hz);
                }
                for (p, v) in path.iter_mut().zip(values) {
                    p[axis] = v;
                }
            }
        }
        self
    }

    /// The path of `joint`, if the source holds it.
    pub(super) fn path(&self, joint: Joint) -> Option<&[V3]> {
        self.joints.iter().find(|(held, _)| *held == joint).map(|(_, path)| path.as_slice())
    }

    /// Joints held.
    pub(super) fn held(&self) -> impl Iterator<Item = Joint> + '_ {
        self.joints.iter().map(|(joint, _)| *joint)
    }

    /// Left and right swapped in name and place (`x` becomes `-x`).
    pub(super) fn mirrored(mut self) -> Self {
        for (joint, path) in &mut self.joints {
            *joint = joint.mirrored();
            for p in path {
                p[0] = -p[0];
            }
        }
        self
    }

    /// The same track with every point mapped.
    pub(super) fn mapped(&self, map: impl Fn(V3) -> V3) -> Self {
        let mut mapped = self.clone();
        for (_, path) in &mut mapped.joints {
            for p in path {
                *p = map(*p);
            }
        }
        mapped
    }

    /// Time of a grid position in the recording, seconds.
    pub(super) fn time_s(&self, position: f64) -> f64 {
        self.start_s + position * self.step_s
    }

    /// Grid samples in `seconds`, at least one.
    pub(super) fn span(&self, seconds: f64) -> usize {
        ((seconds / self.step_s).round() as usize).max(1)
    }
}

/// A part of a recording: some joints, some frames.
pub(super) fn cut(recording: &Recording, joints: &[Joint], first: usize, last: usize) -> Recording {
    let columns: Vec<usize> = recording
        .joints
        .iter()
        .enumerate()
        .filter(|(_, joint)| joints.contains(joint))
        .map(|(column, _)| column)
        .collect();
    let width = recording.joints.len();
    let positions = (first..=last)
        .flat_map(|frame| columns.iter().map(move |&c| recording.positions[frame * width + c]))
        .collect();
    Recording {
        joints: columns.iter().map(|&c| recording.joints[c]).collect(),
        times_s: recording.times_s[first..=last].to_vec(),
        positions,
        confidence: None,
        rate_hz: recording.rate_hz,
        dimensions: recording.dimensions,
        unit: recording.unit,
        capture: recording.capture,
        view: recording.view,
        subject: None,
        format: recording.format.clone(),
        assumptions: Vec::new(),
    }
}

/// The frames from `first` to `last` with their gaps filled, less those at either end in which one of
/// the core joints is not seen yet or no longer: a serve is read from what is seen.
///
/// A gap that reaches over an end is filled from the frames beyond it, none of them outside `within`.
/// What is lost for longer than a gap may be takes no frames away.
pub(super) fn filled(
    recording: &Recording,
    (first, last): (usize, usize),
    within: std::ops::RangeInclusive<usize>,
) -> Recording {
    let beyond = (MAX_FILLED_GAP_S * recording.rate_hz).ceil() as usize + 1;
    let from = first.saturating_sub(beyond).max(*within.start()).min(first);
    let to = (last + beyond).min(*within.end()).max(last);
    let mut part = cut(recording, &recording.joints, from, to);
    fill_gaps(&mut part, MAX_FILLED_GAP_S);
    let (first, last) = (first - from, last - from);
    let open = gaps(&cut(&part, &Joint::CORE, first, last));
    let short = || open.iter().filter(|gap| gap.duration_s <= MAX_FILLED_GAP_S + 1e-9);
    let begins = short().filter(|gap| gap.first == 0).map(|gap| gap.last + 1).max().unwrap_or(0);
    let ends = short().filter(|gap| gap.last == last - first).map(|gap| gap.first).min();
    let ends = ends.map_or(last, |lost| first + lost.saturating_sub(1));
    let begins = (first + begins).min(ends);
    cut(&part, &recording.joints, begins, ends)
}

/// The stretches without NaN.
pub(super) fn runs(values: &[f64]) -> Vec<std::ops::Range<usize>> {
    let mut found: Vec<std::ops::Range<usize>> = Vec::new();
    for (i, value) in values.iter().enumerate() {
        match found.last_mut() {
            _ if value.is_nan() => {}
            Some(run) if run.end == i => run.end += 1,
            _ => found.push(i..i + 1),
        }
    }
    found
}

/// Left or right joint of a pair given by its left member.
pub(super) fn of_side(left: Joint, side: Side) -> Joint {
    match side {
        Side::Left => left,
        Side::Right => left.mirrored(),
    }
}

/// The person's stature as the lengths of shank, thigh and trunk suggest it, in the recording's unit.
///
/// Knee-ankle, hip-knee and hip-shoulder together are 0.779 of stature (segment fractions 0.246,
/// 0.245 and 0.288 after Drillis and Contini 1966, from memory). Medians over all frames in space;
/// in a picture, where limbs point towards the camera, the 90th percentile. `None` if a joint is
/// never seen or the body has no size.
pub(super) fn stature(recording: &Recording) -> Option<f64> {
    let quantile = match recording.dimensions {
        Dimensions::Two => 0.9,
        Dimensions::Three => 0.5,
    };
    let stride = (recording.frames() / 3000).max(1);
    let length = |ends: &dyn Fn(usize) -> Option<(V3, V3)>| {
        let mut lengths: Vec<f64> = (0..recording.frames())
            .step_by(stride)
            .filter_map(|frame| ends(frame).map(|(a, b)| norm(sub(a, b))))
            .collect();
        lengths.sort_by(f64::total_cmp);
        let last = lengths.len().checked_sub(1)?;
        Some(lengths[(last as f64 * quantile) as usize])
    };
    let both = |a: Joint, b: Joint| {
        let of = |side| {
            length(&|f| {
                Some((recording.at(f, of_side(a, side))?, recording.at(f, of_side(b, side))?))
            })
        };
        match (of(Side::Left), of(Side::Right)) {
            (Some(l), Some(r)) => Some((l + r) / 2.0),
            (one, other) => one.or(other),
        }
    };
    let trunk = length(&|f| {
        let middle =
            |left: Joint| Some(mid(recording.at(f, left)?, recording.at(f, left.mirrored())?));
        Some((middle(Joint::LeftShoulder)?, middle(Joint::LeftHip)?))
    })?;
    let whole =
        match (both(Joint::LeftHip, Joint::LeftKnee), both(Joint::LeftKnee, Joint::LeftAnkle)) {
            (Some(thigh), Some(shank)) => (trunk + thigh + shank) / 0.779,
            _ => trunk / 0.288,
        };
    (whole > 0.0).then_some(whole)
}
