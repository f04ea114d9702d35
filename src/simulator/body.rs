//! The jointed body: segment lengths from stature and the arms, trunk, head and racket from
//! joint angles. Always the right-hander standing at the origin and serving along +y.

use super::course::Channel;
use super::space::{Frame, V3, add, along, cross, mix, norm, rotate, scale, sub, unit};
use crate::motion::Joint;

/// One moment of the body: a position for every joint, in the order of [`Joint::ALL`].
pub(crate) type Pose = [V3; Joint::ALL.len()];

/// Column of a joint in a [`Pose`].
pub(crate) fn column(joint: Joint) -> usize {
    joint as usize
}

/// Segment lengths in metres.
///
/// Shares of stature after Drillis & Contini (1966), *Body Segment Parameters*, as reprinted in
/// Winter, *Biomechanics and Motor Control of Human Movement* (from memory): upper arm 0.186,
/// forearm 0.146, hand 0.108, thigh 0.245, shank 0.246, ankle height 0.039, foot length 0.152,
/// shoulder height 0.818, hip height 0.530. Half the distance between shoulder joints (0.105)
/// and between hip joints (0.050) are our reading of its breadths, narrowed to joint centres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Body {
    /// Standing height.
    pub stature_m: f64,
    /// Shoulder to elbow.
    pub upper_arm_m: f64,
    /// Elbow to wrist.
    pub forearm_m: f64,
    /// Wrist to fingertip.
    pub hand_m: f64,
    /// Hip to knee.
    pub thigh_m: f64,
    /// Knee to ankle.
    pub shank_m: f64,
    /// Ankle above the sole.
    pub ankle_m: f64,
    /// Heel to toe.
    pub foot_m: f64,
    /// Middle of the hips to middle of the shoulders.
    pub trunk_m: f64,
    /// Half the distance between the shoulder joints.
    pub half_shoulders_m: f64,
    /// Half the distance between the hip joints.
    pub half_hips_m: f64,
    /// Racket length; 0.685 m (27 in) for adults, shorter for juniors.
    pub racket_m: f64,
}

impl Body {
    /// A body of average proportions. `arms` and `legs` stretch those segments (1 = average).
    #[must_use]
    pub fn new(stature_m: f64, arms: f64, legs: f64) -> Self {
        let h = stature_m;
        Self {
            stature_m,
            upper_arm_m: 0.186 * h * arms,
            forearm_m: 0.146 * h * arms,
            hand_m: 0.108 * h * arms,
            thigh_m: 0.245 * h * legs,
            shank_m: 0.246 * h * legs,
            ankle_m: 0.039 * h,
            foot_m: 0.152 * h,
            trunk_m: (0.818 - 0.530) * h,
            half_shoulders_m: 0.105 * h,
            half_hips_m: 0.050 * h,
            // Common practice, no source: 27 in from about 1.50 m up, 25 in below, 23 in for the small.
            racket_m: if h > 1.50 {
                0.685
            } else if h > 1.35 {
                0.635
            } else {
                0.585
            },
        }
    }

    /// Hip-to-ankle distance at a knee flexion.
    pub(crate) fn leg_reach(&self, knee_flexion_deg: f64) -> f64 {
        let included = (180.0 - knee_flexion_deg).to_radians();
        let (a, b) = (self.thigh_m, self.shank_m);
        (a * a + b * b - 2.0 * a * b * included.cos()).sqrt()
    }
}

/// The angles of one arm, degrees.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ArmAngles {
    pub elevation: f64,
    pub plane: f64,
    pub external: f64,
    pub elbow: f64,
    pub pronation: f64,
    pub wrist: f64,
}

/// One arm in space. `thumb` points from the little finger's side to the thumb's side.
pub(crate) struct Arm {
    pub elbow: V3,
    pub wrist: V3,
    pub hand: V3,
    pub thumb: V3,
}

/// Trunk, shoulder line and hitting arm at one moment.
pub(crate) struct Upper {
    pub trunk: Frame,
    pub mid_shoulders: V3,
    pub girdle: Frame,
    pub hit_shoulder: V3,
    pub hit: Arm,
}

/// The upper body over the middle of its hips, from the value of each channel.
pub(crate) fn upper(body: &Body, mid_hips: V3, at: impl Fn(Channel) -> f64) -> Upper {
    let trunk = Frame::leaning(
        at(Channel::TrunkLeanNet),
        at(Channel::TrunkLeanSide),
        at(Channel::TrunkHeading),
    );
    let mid_shoulders = along(mid_hips, trunk.up, body.trunk_m);
    let girdle = trunk.tilted(at(Channel::GirdleTilt));
    let hit_shoulder = along(mid_shoulders, girdle.right, body.half_shoulders_m);
    let angles = ArmAngles {
        elevation: at(Channel::HitElevation),
        plane: at(Channel::HitPlane),
        external: at(Channel::HitExternal),
        elbow: at(Channel::HitElbow),
        pronation: at(Channel::HitPronation),
        wrist: at(Channel::HitWrist),
    };
    let hit = arm(body, &trunk, hit_shoulder, &angles, 1.0);
    Upper { trunk, mid_shoulders, girdle, hit_shoulder, hit }
}

/// An arm from its shoulder. `side` is +1 for the hitting (right) arm, -1 for the other, whose
/// angles mean the same seen in a mirror.
///
/// Angles follow the shoulder, elbow and wrist recommendations of the International Society of
/// Biomechanics (Wu et al. 2005, doi 10.1016/j.jbiomech.2004.05.042) in spirit: plane of
/// elevation, elevation, axial rotation; elevation is against the long axis of the trunk and
/// axial rotation is positive outward.
pub(crate) fn arm(body: &Body, trunk: &Frame, shoulder: V3, angles: &ArmAngles, side: f64) -> Arm {
    let frame = Frame { right: scale(trunk.right, side), forward: trunk.forward, up: trunk.up };
    let (se, ce) = angles.elevation.to_radians().sin_cos();
    let (sp, cp) = angles.plane.to_radians().sin_cos();
    let (sr, cr) = angles.external.to_radians().sin_cos();
    let (sf, cf) = angles.elbow.to_radians().sin_cos();
    let (su, cu) = angles.pronation.to_radians().sin_cos();
    let (sw, cw) = angles.wrist.to_radians().sin_cos();
    // In the frame whose right axis points away from the body.
    let upper = [se * cp, se * sp, -ce];
    let raising = [ce * cp, ce * sp, se];
    let forward = [-sp, cp, 0.0];
    let bend = add(scale(forward, cr), scale(raising, sr));
    let forearm = add(scale(upper, cf), scale(bend, sf));
    let inward = add(scale(upper, -sf), scale(bend, cf));
    let hinge = cross(upper, bend);
    let palm = add(scale(hinge, -cu), scale(inward, -su));
    let thumb = add(scale(inward, cu), scale(hinge, -su));
    let hand = add(scale(forearm, cw), scale(palm, sw));
    let elbow = along(shoulder, frame.to_space(upper), body.upper_arm_m);
    let wrist = along(elbow, frame.to_space(forearm), body.forearm_m);
    Arm { elbow, wrist, hand: frame.to_space(hand), thumb: frame.to_space(thumb) }
}

/// Where the knuckles of a hand lie; shares of hand length are ours, read off a hand.
pub(crate) fn knuckles(body: &Body, arm: &Arm) -> (V3, V3, V3) {
    let at = |length: f64, across: f64| {
        along(along(arm.wrist, arm.hand, length * body.hand_m), arm.thumb, across * body.hand_m)
    };
    (at(0.30, 0.28), at(0.52, 0.20), at(0.46, -0.20))
}

/// Throat and tip of a racket held near the butt.
pub(crate) fn racket(body: &Body, arm: &Arm, racket_angle_deg: f64) -> (V3, V3) {
    let (s, c) = racket_angle_deg.to_radians().sin_cos();
    let shaft = add(scale(arm.hand, c), scale(arm.thumb, s));
    let grip = along(arm.wrist, arm.hand, 0.40 * body.hand_m);
    let held = 0.08;
    (along(grip, shaft, 0.50 * body.racket_m - held), along(grip, shaft, body.racket_m - held))
}

/// The head's joints: (nose, left eye, right eye, left ear, right ear, head centre, neck).
pub(crate) fn head(
    body: &Body,
    mid_shoulders: V3,
    trunk_up: V3,
    gaze_heading_deg: f64,
    gaze_up_deg: f64,
) -> [V3; 7] {
    let h = body.stature_m;
    let neck = along(mid_shoulders, trunk_up, 0.012 * h);
    let up = unit(mix(trunk_up, [0.0, 0.0, 1.0], 0.5));
    let gaze = Frame::leaning(0.0, 0.0, gaze_heading_deg);
    let lift = |v: V3| rotate(v, gaze.right, gaze_up_deg.to_radians());
    let (right, forward, crown) = (gaze.right, lift(gaze.forward), lift(gaze.up));
    let centre = along(neck, unit(add(up, scale(crown, 0.6))), 0.090 * h);
    let at = |r: f64, f: f64, u: f64| {
        along(along(along(centre, right, r * h), forward, f * h), crown, u * h)
    };
    [
        at(0.0, 0.062, -0.008),
        at(-0.018, 0.052, 0.008),
        at(0.018, 0.052, 0.008),
        at(-0.042, 0.0, 0.0),
        at(0.042, 0.0, 0.0),
        centre,
        neck,
    ]
}

/// Knee of a leg from `hip` to `ankle`, bending towards `pole`; the ankle is drawn in when it
/// is out of reach. Returns (knee, ankle).
pub(crate) fn leg(body: &Body, hip: V3, ankle: V3, pole: V3) -> (V3, V3) {
    let (a, b) = (body.thigh_m, body.shank_m);
    let way = sub(ankle, hip);
    let reach = norm(way).clamp((a - b).abs() + 0.02, body.leg_reach(2.0));
    let down = unit(way);
    let ankle = along(hip, down, reach);
    let along_leg = (a * a - b * b + reach * reach) / (2.0 * reach);
    let out = (a * a - along_leg * along_leg).max(0.0).sqrt();
    let sideways = unit(along(pole, down, -super::space::dot(pole, down)));
    (along(along(hip, down, along_leg), sideways, out), ankle)
}

/// A foot: heading of the toes, heel lifted about the toe by `lift_deg`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Foot {
    pub heading_deg: f64,
    pub lift_deg: f64,
}

impl Foot {
    /// (toe to heel, toe to ankle).
    pub(crate) fn beyond_toe(&self, body: &Body) -> (V3, V3) {
        let frame = Frame::leaning(0.0, 0.0, self.heading_deg);
        let turn = |v: V3| rotate(v, frame.right, -self.lift_deg.to_radians());
        let heel = scale(frame.forward, -body.foot_m);
        let ankle = along(scale(frame.forward, -0.75 * body.foot_m), frame.up, body.ankle_m);
        (turn(heel), turn(ankle))
    }
}

#[cfg(test)]
mod tests {
    use super::super::space::{angle_deg, dot};
    use super::*;

    fn angles(elevation: f64, plane: f64, external: f64, elbow: f64, pronation: f64) -> ArmAngles {
        ArmAngles { elevation, plane, external, elbow, pronation, wrist: 0.0 }
    }

    #[test]
    fn arm_angles_mean_what_they_say() {
        let body = Body::new(1.8, 1.0, 1.0);
        let upright = Frame::leaning(0.0, 0.0, 0.0);
        let origin = [0.0; 3];
        // Hanging arm, elbow square, no rotation: forearm forward, thumb up, for both arms.
        for side in [1.0, -1.0] {
            let hang = arm(&body, &upright, origin, &angles(0.0, 0.0, 0.0, 90.0, 0.0), side);
            assert!(angle_deg(sub(hang.wrist, hang.elbow), [0.0, 1.0, 0.0]) < 1e-6);
            assert!(angle_deg(hang.thumb, [0.0, 0.0, 1.0]) < 1e-6);
            // Pronated: thumbs point to the middle of the body.
            let down = arm(&body, &upright, origin, &angles(0.0, 0.0, 0.0, 90.0, 90.0), side);
            assert!(angle_deg(down.thumb, [-side, 0.0, 0.0]) < 1e-6);
        }
        // Arm out sideways, rotated outward: forearm up at 90, back at 180.
        let up = arm(&body, &upright, origin, &angles(90.0, 0.0, 90.0, 90.0, 0.0), 1.0);
        assert!(angle_deg(sub(up.wrist, up.elbow), [0.0, 0.0, 1.0]) < 1e-6);
        let back = arm(&body, &upright, origin, &angles(90.0, 0.0, 180.0, 90.0, 0.0), 1.0);
        assert!(angle_deg(sub(back.wrist, back.elbow), [0.0, -1.0, 0.0]) < 1e-6);
        assert!(dot(back.hand, back.thumb).abs() < 1e-9);
    }

    #[test]
    fn a_leg_keeps_its_lengths_and_bends_forward() {
        let body = Body::new(1.7, 1.0, 1.0);
        let hip = [0.0, 0.0, 0.8];
        let (knee, ankle) = leg(&body, hip, [0.1, 0.05, 0.12], [0.0, 1.0, 0.0]);
        assert!((norm(sub(knee, hip)) - body.thigh_m).abs() < 1e-9);
        assert!((norm(sub(ankle, knee)) - body.shank_m).abs() < 1e-9);
        assert!(knee[1] > 0.1);
    }

    #[test]
    fn a_lifted_heel_turns_about_the_toe() {
        let body = Body::new(1.8, 1.0, 1.0);
        let (flat, _) = Foot { heading_deg: 40.0, lift_deg: 0.0 }.beyond_toe(&body);
        let (raised, _) = Foot { heading_deg: 40.0, lift_deg: 30.0 }.beyond_toe(&body);
        assert!(flat[2].abs() < 1e-12);
        assert!((raised[2] - body.foot_m * 0.5).abs() < 1e-9);
    }
}
