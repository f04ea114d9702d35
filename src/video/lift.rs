//! From poses to recordings in the canonical space.

use super::landmarks::Pose;
use crate::motion::{Assumption, Capture, Dimensions, Joint, Recording, Unit, View};

/// Our joints and the landmark each is read from, canonical order.
pub(super) const MAP: [(Joint, usize); 27] = [
    (Joint::Nose, 0),
    (Joint::LeftEye, 2),
    (Joint::RightEye, 5),
    (Joint::LeftEar, 7),
    (Joint::RightEar, 8),
    (Joint::LeftShoulder, 11),
    (Joint::RightShoulder, 12),
    (Joint::LeftElbow, 13),
    (Joint::RightElbow, 14),
    (Joint::LeftWrist, 15),
    (Joint::RightWrist, 16),
    (Joint::LeftThumb, 21),
    (Joint::RightThumb, 22),
    (Joint::LeftIndex, 19),
    (Joint::RightIndex, 20),
    (Joint::LeftLittle, 17),
    (Joint::RightLittle, 18),
    (Joint::LeftHip, 23),
    (Joint::RightHip, 24),
    (Joint::LeftKnee, 25),
    (Joint::RightKnee, 26),
    (Joint::LeftAnkle, 27),
    (Joint::RightAnkle, 28),
    (Joint::LeftHeel, 29),
    (Joint::RightHeel, 30),
    (Joint::LeftToe, 31),
    (Joint::RightToe, 32),
];

/// Everything both recordings of a clip share.
pub(super) struct Common<'a> {
    pub(super) times_s: &'a [f64],
    pub(super) poses: &'a [Option<Pose>],
    pub(super) view: Option<View>,
    pub(super) format: &'a str,
    pub(super) assumptions: Vec<Assumption>,
}

/// Joints in space: metres about the mid-hip point, x to the picture's right, y away from the
/// camera, z up (the picture's vertical, taken for the plumb line).
pub(super) fn lifted(common: &Common<'_>) -> Recording {
    build(common, Dimensions::Three, Unit::Metre, Capture::OneCameraLifted, |pose, k| {
        let [x, y, z] = pose.world_m[k];
        [x, z, -y]
    })
}

/// Joints in the picture: pixels, x to the picture's right, z up from its upper edge (so z is
/// minus the pixel row), y 0.
pub(super) fn flat(common: &Common<'_>) -> Recording {
    build(common, Dimensions::Two, Unit::Pixel, Capture::OneCameraFlat, |pose, k| {
        let [x, y] = pose.picture_px[k];
        [x, 0.0, -y]
    })
}

fn build(
    common: &Common<'_>,
    dimensions: Dimensions,
    unit: Unit,
    capture: Capture,
    place: impl Fn(&Pose, usize) -> [f64; 3],
) -> Recording {
    let mut positions = Vec::with_capacity(common.poses.len() * MAP.len());
    let mut confidence = Vec::with_capacity(positions.capacity());
    for pose in common.poses {
        for (_, landmark) in MAP {
            match pose {
                Some(pose) => {
                    positions.push(place(pose, landmark));
                    confidence.push(pose.visibility[landmark] as f32);
                }
                None => {
                    positions.push([f64::NAN; 3]);
                    confidence.push(0.0);
                }
            }
        }
    }
    let mut steps: Vec<f64> = common.times_s.windows(2).map(|p| p[1] - p[0]).collect();
    steps.sort_by(f64::total_cmp);
    Recording {
        joints: MAP.iter().map(|(joint, _)| *joint).collect(),
        times_s: common.times_s.to_vec(),
        positions,
        confidence: Some(confidence),
        rate_hz: steps.get(steps.len() / 2).map_or(0.0, |step| 1.0 / step),
        dimensions,
        unit,
        capture,
        view: common.view,
        subject: None,
        format: common.format.to_owned(),
        assumptions: common.assumptions.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_map_is_in_canonical_order_and_names_each_joint_once() {
        let order: Vec<usize> = MAP
            .iter()
            .map(|(joint, _)| Joint::ALL.iter().position(|j| j == joint).unwrap())
            .collect();
        assert!(order.windows(2).all(|pair| pair[0] < pair[1]), "{order:?}");
        // Landmarks alternate left and right from 1 on; ours must agree.
        for (joint, landmark) in MAP.iter().skip(3) {
            let left = landmark % 2 == 1;
            assert_eq!(joint.name().starts_with("left_"), left, "{joint:?}");
        }
    }

    #[test]
    fn axes_become_right_handed_with_z_up_and_gaps_are_nan() {
        let mut pose = Pose {
            picture_px: [[0.0; 2]; 33],
            visibility: [1.0; 33],
            world_m: [[0.0; 3]; 33],
            flag: 1.0,
            steering_px: [[0.0; 2]; 2],
        };
        pose.world_m[0] = [0.1, -0.6, -0.2]; // right, above the hips, towards the camera
        pose.picture_px[0] = [50.0, 20.0];
        let common = Common {
            times_s: &[0.0, 0.02, 0.05],
            poses: &[Some(pose), None, None],
            view: None,
            format: "clip",
            assumptions: Vec::new(),
        };
        let space = lifted(&common);
        assert_eq!(space.at(0, Joint::Nose), Some([0.1, -0.2, 0.6]));
        assert_eq!(space.at(1, Joint::Nose), None);
        assert_eq!(flat(&common).at(0, Joint::Nose), Some([50.0, 0.0, -20.0]));
    }
}
