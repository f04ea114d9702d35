//! Both arms of a serve as courses over the grid, from which the moments are read.

use crate::motion::Joint;
use crate::serve::track::Track;
use crate::serve::vector::{V3, angle_deg, mid, norm, sub};

/// Upper arm off the trunk from which on the arm counts as raised.
const RAISED_ARM_DEG: f64 = 55.0;

/// The arms over the track's grid, the hitting one named right; lengths in the recording's unit.
pub(super) struct Arms<'a> {
    track: &'a Track,
    hip: [&'a [V3]; 2],
    /// Left, right.
    shoulder: [&'a [V3]; 2],
    /// Hitting wrist and elbow.
    pub hit: &'a [V3],
    pub elbow: &'a [V3],
    /// The wrists over the middle of the hips.
    pub hit_height: Vec<f64>,
    pub toss_height: Vec<f64>,
    /// The hitting wrist over the middle of the shoulders.
    pub hit_over_shoulders: Vec<f64>,
    /// Way of the hitting wrist from the sample before to the one after, about the hips.
    pub wrist_speed: Vec<f64>,
    /// Rise of the tossing wrist over the hips, a sample.
    pub upward: Vec<f64>,
}

impl<'a> Arms<'a> {
    /// The words say which joint the source lacks.
    pub(super) fn of(track: &'a Track) -> Result<Self, String> {
        let path = |joint| path(track, joint);
        let hip = [path(Joint::LeftHip)?, path(Joint::RightHip)?];
        let shoulder = [path(Joint::LeftShoulder)?, path(Joint::RightShoulder)?];
        let (hit, toss) = (path(Joint::RightWrist)?, path(Joint::LeftWrist)?);
        let elbow = path(Joint::RightElbow)?;
        let hips = |i: usize| mid(hip[0][i], hip[1][i]);
        let over = |f: &dyn Fn(usize) -> f64| -> Vec<f64> { (0..track.samples).map(f).collect() };
        let around = |i: usize| (i.saturating_sub(1), (i + 1).min(track.samples - 1));
        let toss_height = over(&|i| toss[i][2] - hips(i)[2]);
        let upward = over(&|i| {
            let (a, b) = around(i);
            (toss_height[b] - toss_height[a]) / (b - a).max(1) as f64
        });
        Ok(Self {
            track,
            hip,
            shoulder,
            hit,
            elbow,
            hit_height: over(&|i| hit[i][2] - hips(i)[2]),
            toss_height,
            hit_over_shoulders: over(&|i| hit[i][2] - mid(shoulder[0][i], shoulder[1][i])[2]),
            wrist_speed: over(&|i| {
                let (a, b) = around(i);
                norm(sub(sub(hit[b], hips(b)), sub(hit[a], hips(a))))
            }),
            upward,
        })
    }

    /// The samples around one, within the track.
    pub(super) fn near(&self, at: usize, before_s: f64, after_s: f64) -> std::ops::Range<usize> {
        let from = at.saturating_sub(self.track.span(before_s));
        from..(at + self.track.span(after_s) + 1).min(self.track.samples)
    }

    /// Last sample after its top in which the tossing wrist keeps this share of its height over the
    /// shoulders.
    pub(super) fn toss_up_until(&self, toss_top: f64, share: f64) -> usize {
        let over = |i: usize| {
            let shoulders = mid(self.shoulder[0][i], self.shoulder[1][i]);
            self.toss_height[i] + self.hips(i)[2] - shoulders[2]
        };
        let top = (toss_top.round() as usize).min(self.toss_height.len() - 1);
        let up = |&i: &usize| over(i) >= share * over(top);
        (top..self.toss_height.len()).take_while(up).last().unwrap_or(top)
    }

    /// Middle of the hips.
    pub(super) fn hips(&self, i: usize) -> V3 {
        mid(self.hip[0][i], self.hip[1][i])
    }

    /// Whether the hitting upper arm is away from the trunk.
    pub(super) fn raised(&self, i: usize) -> bool {
        let trunk = sub(self.hips(i), mid(self.shoulder[0][i], self.shoulder[1][i]));
        angle_deg(sub(self.elbow[i], self.shoulder[1][i]), trunk) >= RAISED_ARM_DEG
    }
}

/// The path of a joint, or in words that there is none.
pub(super) fn path(track: &Track, joint: Joint) -> Result<&[V3], String> {
    track.path(joint).ok_or_else(|| format!("no {}", joint.name().replace('_', " ")))
}
