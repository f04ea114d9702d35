//! A movement measured in space as one camera's joints marked by hand: with perspective, trembling
//! marks and wrists that the body hides.

use precedent::motion::{Capture, Dimensions, Joint, Recording, Unit, View};
use precedent::simulator::chance;
use rand::Rng;

/// The 13 joints that are marked.
const MARKED: [Joint; 13] = [
    Joint::Head,
    Joint::LeftShoulder,
    Joint::RightShoulder,
    Joint::LeftElbow,
    Joint::RightElbow,
    Joint::LeftWrist,
    Joint::RightWrist,
    Joint::LeftHip,
    Joint::RightHip,
    Joint::LeftKnee,
    Joint::RightKnee,
    Joint::LeftAnkle,
    Joint::RightAnkle,
];
/// How far off the camera stands, m, and its focal length, pixels.
const AWAY_M: f64 = 8.0;
const FOCAL_PX: f64 = 800.0;
/// A joint that is hidden, as the given marked files say it.
const HIDDEN: f32 = 0.3;
/// A wrist this far behind the middle of the trunk, m, and no further beside it, m, is hidden.
const BEHIND_M: f64 = 0.05;
const BESIDE_M: f64 = 0.06;

/// Where the camera stands.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Camera {
    /// Around the player: 0 from behind, 90 from the player's right, 180 from in front.
    pub around_deg: f64,
    /// Above the ground, m.
    pub high_m: f64,
    /// Which way along y the net lies, 1 or -1.
    pub net_y: f64,
}

/// The picture of `space` (metres), each mark off by `trembling` of a stature of 1.75 m.
///
/// A hidden wrist lies on a line between the frames that show it; before the first of them it stands
/// where it will appear.
pub(crate) fn photographed(
    space: &Recording,
    camera: Camera,
    trembling: f64,
    seed: u64,
) -> Recording {
    let Camera { around_deg, high_m, net_y } = camera;
    let (sin, cos) = around_deg.to_radians().sin_cos();
    let look = [sin * net_y, cos * net_y];
    let right = [look[1], -look[0]];
    let joints: Vec<Joint> =
        space.joints.iter().copied().filter(|joint| MARKED.contains(joint)).collect();
    let column = |joint| joints.iter().position(|held| *held == joint).expect("marked");
    let seen = |frame: usize, joint: Joint| space.at(frame, joint).unwrap_or([f64::NAN; 3]);
    let hips = (0..space.frames()).filter_map(|frame| space.at(frame, Joint::LeftHip));
    let hips: Vec<[f64; 3]> = hips.collect();
    let mean = |axis: usize| hips.iter().map(|hip| hip[axis]).sum::<f64>() / hips.len() as f64;
    let middle = [mean(0), mean(1), mean(2)];
    let feet = (0..space.frames()).filter_map(|frame| space.at(frame, Joint::LeftAnkle));
    let eye_m = feet.map(|foot| foot[2]).fold(f64::INFINITY, f64::min) + high_m;
    // The camera looks at the hips.
    let (up, level) = (middle[2] - eye_m).atan2(AWAY_M).sin_cos();
    // Across the picture, up it and away from the camera, m.
    let place = |p: [f64; 3]| {
        let [x, y] = [p[0] - middle[0], p[1] - middle[1]];
        let (away, z) = (x * look[0] + y * look[1] + AWAY_M, p[2] - eye_m);
        [x * right[0] + y * right[1], level * z - up * away, level * away + up * z]
    };
    let mut chance = chance(seed, 21);
    let mut normal = || {
        let (far, way) = (chance.gen_range(1e-12f64..1.0), chance.gen_range(0.0f64..1.0));
        (-2.0 * far.ln()).sqrt() * (std::f64::consts::TAU * way).cos()
    };
    let mut positions: Vec<[f64; 3]> = Vec::new();
    for frame in 0..space.frames() {
        for &joint in &joints {
            let [x, z, away] = place(seen(frame, joint));
            let off = 1.75 * trembling;
            let to_px = FOCAL_PX / away;
            positions.push([to_px * (x + off * normal()), 0.0 * x, to_px * (z + off * normal())]);
        }
    }
    let mut confidence = vec![1.0; positions.len()];
    for wrist in [Joint::LeftWrist, Joint::RightWrist] {
        let trunk = [Joint::LeftShoulder, Joint::RightShoulder, Joint::LeftHip, Joint::RightHip];
        let behind = |frame: usize| {
            let [x, z, away] = place(seen(frame, wrist));
            let [a, b, c, d] = trunk.map(|joint| place(seen(frame, joint)));
            let (left, right) =
                (a[0].min(b[0]).min(c[0].min(d[0])), a[0].max(b[0]).max(c[0].max(d[0])));
            away > (a[2] + b[2] + c[2] + d[2]) / 4.0 + BEHIND_M
                && (left - BESIDE_M..=right + BESIDE_M).contains(&x)
                && (c[1].min(d[1])..=a[1].max(b[1])).contains(&z)
        };
        let shown: Vec<usize> = (0..space.frames()).filter(|&frame| !behind(frame)).collect();
        let at = |frame: usize| frame * joints.len() + column(wrist);
        for frame in (0..space.frames()).filter(|&frame| behind(frame)) {
            let after = shown.partition_point(|&one| one < frame);
            let ends = (after.checked_sub(1).map(|i| shown[i]), shown.get(after).copied());
            let (from, to) = match ends {
                (Some(from), Some(to)) => (from, to),
                (one, other) => {
                    let only = one.or(other).expect("no wrist is hidden throughout");
                    (only, only)
                }
            };
            let part = (frame - from.min(frame)) as f64 / (to - from).max(1) as f64;
            let part = if from == to { 0.0 } else { part };
            let (a, b) = (positions[at(from)], positions[at(to)]);
            positions[at(frame)] = [0, 1, 2].map(|axis| a[axis] + part * (b[axis] - a[axis]));
            confidence[at(frame)] = HIDDEN;
        }
    }
    let view = match (around_deg + 180.0).rem_euclid(360.0) - 180.0 {
        deg if deg.abs() <= 30.0 => View::Behind,
        deg if deg.abs() >= 150.0 => View::Front,
        deg if (60.0..=120.0).contains(&deg.abs()) => View::Side,
        _ => View::Diagonal,
    };
    Recording {
        joints,
        positions,
        confidence: Some(confidence),
        dimensions: Dimensions::Two,
        capture: Capture::OneCameraFlat,
        unit: Unit::Pixel,
        view: Some(view),
        ..space.clone()
    }
}
