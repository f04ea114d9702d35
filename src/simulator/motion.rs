//! The body in time: courses for trunk and arms, legs solved so that feet stay where they stand.

use super::body::{
    ArmAngles, Body, Foot, Pose, Upper, arm, column, head, knuckles, leg, racket, upper,
};
use super::course::{Channel, Course, Keys, Tempo};
use super::space::{Frame, V3, add, along, mix, norm, scale, smooth_step, sub};
use crate::motion::Joint;

/// Gravity, m/s2.
const GRAVITY: f64 = 9.81;

/// What the feet do; a style, never a fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feet {
    /// The back foot is drawn up to the front one while loading.
    pub foot_up: bool,
    /// Distance between the toes at the start, statures.
    pub stance: f64,
    /// Whether the player leaves the ground.
    pub jump: bool,
}

/// Everything needed to move one body through one serve.
#[derive(Debug, Clone)]
pub(crate) struct MotionPlan {
    pub body: Body,
    pub feet: Feet,
    pub tempo: Tempo,
    /// Stage time at which the front toe lets go, if the player jumps.
    pub off_stage: f64,
    /// One set of keys per channel, in stage time, in the order of [`Channel::ALL`].
    pub keys: Vec<Keys>,
}

/// A serve that can be asked for the body at any time. Right-handed, toe of the front foot at
/// the origin, net along +y.
#[derive(Debug, Clone)]
pub(crate) struct ServeMotion {
    body: Body,
    feet: Feet,
    tempo: Tempo,
    courses: Vec<Course>,
    front: FrontLeg,
    back_off_s: f64,
    back_off: (Foot, V3),
    back_off_reach: f64,
    back_land_s: f64,
    back_start: V3,
    back_loaded: V3,
    back_land: V3,
}

/// The front leg's three parts: standing, in the air, landed.
#[derive(Debug, Clone, Copy)]
struct FrontLeg {
    off_s: f64,
    land_s: f64,
    /// Height and upward speed of the hips' middle at take-off.
    off_height_m: f64,
    off_speed: f64,
    /// Hip to ankle, horizontal part, at take-off and landing.
    off_offset: [f64; 2],
    land_offset: [f64; 2],
    land_toe: V3,
}

const FRONT_HEADING: f64 = 48.0;
const BACK_HEADING: f64 = 86.0;

impl ServeMotion {
    pub(crate) fn new(plan: &MotionPlan) -> Self {
        let tempo = plan.tempo;
        let courses = plan
            .keys
            .iter()
            .map(|keys| {
                let keys: Vec<_> = keys.iter().map(|&(s, v)| (tempo.seconds(s), v)).collect();
                Course::new(&keys)
            })
            .collect();
        let h = plan.body.stature_m;
        let off_s = tempo.seconds(plan.off_stage);
        let never = f64::INFINITY;
        let back_start = [0.03 * h, -plan.feet.stance * h, 0.0];
        let mut motion = Self {
            body: plan.body,
            feet: plan.feet,
            tempo,
            courses,
            front: FrontLeg {
                off_s: never,
                land_s: never,
                off_height_m: 0.0,
                off_speed: 0.0,
                off_offset: [0.0; 2],
                land_offset: [0.0; 2],
                land_toe: [0.0; 3],
            },
            back_off_s: never,
            back_off: (Foot { heading_deg: BACK_HEADING, lift_deg: 0.0 }, [0.0; 3]),
            back_off_reach: plan.body.leg_reach(20.0),
            back_land_s: tempo.seconds(6.0),
            back_start,
            back_loaded: if plan.feet.foot_up { [0.075 * h, -0.105 * h, 0.0] } else { back_start },
            back_land: [0.0; 3],
        };
        if plan.feet.jump {
            motion.take_off(off_s);
        }
        motion.back_take_off();
        let toe = if plan.feet.jump { motion.front.land_toe } else { [0.0; 3] };
        motion.back_land = add(toe, [0.17 * h, 0.04 * h, 0.0]);
        motion
    }

    /// Works out flight and landing from the standing leg's speed at take-off.
    fn take_off(&mut self, off_s: f64) {
        let step = 0.004;
        let height = |t: f64| self.standing_height(t, [0.0; 3]);
        let off_speed = (height(off_s) - height(off_s - step)) / step;
        // Hardly moving up: the toe stays down.
        if off_speed < 0.35 {
            self.feet.jump = false;
            return;
        }
        let (_, to_ankle) = self.front_foot(off_s).beyond_toe(&self.body);
        let hip = self.front_hip(off_s, height(off_s));
        self.front = FrontLeg {
            off_s,
            land_s: f64::INFINITY,
            off_height_m: height(off_s),
            off_speed,
            off_offset: [to_ankle[0] - hip[0], to_ankle[1] - hip[1]],
            // Lands with the ankle a little ahead of the hip.
            land_offset: [-0.01 * self.body.stature_m, 0.055 * self.body.stature_m],
            land_toe: [0.0; 3],
        };
        let mut t = off_s + 0.08;
        let (_, mut toe, _) = self.front_flying(t);
        while toe[2] > 0.0 && t < off_s + 1.5 {
            t += 0.001;
            toe = self.front_flying(t).1;
        }
        self.front.land_s = t;
        self.front.land_toe = [toe[0], toe[1], 0.0];
    }

    /// The back toe lets go with the front one, or before, when its heel cannot rise further.
    fn back_take_off(&mut self) {
        let latest = if self.feet.jump { self.front.off_s } else { self.tempo.seconds(4.0) + 0.06 };
        let mut t = self.tempo.seconds(1.75);
        loop {
            let hip = self.back_hip(t, self.front_leg(t).0);
            let (foot, toe) = self.back_standing(t, hip);
            if foot.lift_deg > 50.0 || t >= latest {
                self.back_off_s = t;
                let ankle = add(toe, foot.beyond_toe(&self.body).1);
                self.back_off = (foot, ankle);
                self.back_off_reach = norm(sub(ankle, hip)).min(self.body.leg_reach(15.0));
                return;
            }
            t += 0.002;
        }
    }

    fn value(&self, channel: Channel, t: f64) -> f64 {
        self.courses[channel as usize].at(t)
    }

    pub(crate) fn tempo(&self) -> &Tempo {
        &self.tempo
    }

    pub(crate) fn body(&self) -> &Body {
        &self.body
    }

    /// Whether the front foot is off the ground.
    pub(crate) fn in_the_air(&self, t: f64) -> bool {
        t > self.front.off_s && t < self.front.land_s
    }

    fn front_foot(&self, t: f64) -> Foot {
        Foot { heading_deg: FRONT_HEADING, lift_deg: self.value(Channel::FrontHeel, t) }
    }

    fn pelvis(&self, t: f64) -> Frame {
        // The pelvis follows a quarter of the trunk's lean.
        Frame::leaning(
            0.25 * self.value(Channel::TrunkLeanNet, t),
            0.25 * self.value(Channel::TrunkLeanSide, t),
            self.value(Channel::PelvisHeading, t),
        )
    }

    fn mid_hips(&self, t: f64, height_m: f64) -> V3 {
        let h = self.body.stature_m;
        [self.value(Channel::PelvisSide, t) * h, self.value(Channel::PelvisNet, t) * h, height_m]
    }

    fn front_hip(&self, t: f64, height_m: f64) -> V3 {
        along(self.mid_hips(t, height_m), self.pelvis(t).right, -self.body.half_hips_m)
    }

    fn back_hip(&self, t: f64, height_m: f64) -> V3 {
        along(self.mid_hips(t, height_m), self.pelvis(t).right, self.body.half_hips_m)
    }

    /// Height of the hips' middle when the front leg stands on `toe` with its knee's flexion.
    fn standing_height(&self, t: f64, toe: V3) -> f64 {
        let reach = self.body.leg_reach(self.value(Channel::FrontKnee, t));
        let ankle = add(toe, self.front_foot(t).beyond_toe(&self.body).1);
        let hip = self.front_hip(t, 0.0);
        let flat = (hip[0] - ankle[0]).hypot(hip[1] - ankle[1]);
        ankle[2] + (reach * reach - flat * flat).max(0.01).sqrt() - hip[2]
    }

    /// (height of the hips' middle, toe, ankle) while the front foot is in the air.
    fn front_flying(&self, t: f64) -> (f64, V3, V3) {
        let leg = &self.front;
        let since = t - leg.off_s;
        let height = leg.off_height_m + since * (leg.off_speed - 0.5 * GRAVITY * since);
        let hip = self.front_hip(t, height);
        let reach = self.body.leg_reach(self.value(Channel::FrontKnee, t));
        let w = smooth_step(since, 0.0, 0.30);
        let flat = [0, 1].map(|i| leg.off_offset[i] + w * (leg.land_offset[i] - leg.off_offset[i]));
        let drop = (reach * reach - flat[0] * flat[0] - flat[1] * flat[1]).max(0.01).sqrt();
        let ankle = [hip[0] + flat[0], hip[1] + flat[1], hip[2] - drop];
        let toe = sub(ankle, self.front_foot(t).beyond_toe(&self.body).1);
        (height, toe, ankle)
    }

    /// (height of the hips' middle, front toe, front ankle).
    fn front_leg(&self, t: f64) -> (f64, V3, V3) {
        if self.in_the_air(t) {
            return self.front_flying(t);
        }
        let toe = if t >= self.front.land_s { self.front.land_toe } else { [0.0; 3] };
        let ankle = add(toe, self.front_foot(t).beyond_toe(&self.body).1);
        (self.standing_height(t, toe), toe, ankle)
    }

    /// (foot, toe) of the back leg while it stands: the heel rises as far as the leg needs.
    fn back_standing(&self, t: f64, hip: V3) -> (Foot, V3) {
        let from = self.tempo.seconds(0.9);
        let w = smooth_step(t, from, self.tempo.seconds(1.75));
        let mut toe = mix(self.back_start, self.back_loaded, w);
        toe[2] =
            0.08 * self.body.stature_m * w * (1.0 - w) * f64::from(u8::from(self.feet.foot_up));
        let reach = self.body.leg_reach(self.value(Channel::BackKnee, t).max(4.0));
        let gap = |lift_deg: f64| {
            let foot = Foot { heading_deg: BACK_HEADING, lift_deg };
            norm(sub(add(toe, foot.beyond_toe(&self.body).1), hip)) - reach
        };
        let (mut low, mut high) = (0.0, 72.0);
        if gap(low) > 0.0 {
            for _ in 0..24 {
                let middle = 0.5 * (low + high);
                if gap(middle) > 0.0 {
                    low = middle;
                } else {
                    high = middle;
                }
            }
        }
        let foot = Foot { heading_deg: BACK_HEADING, lift_deg: low };
        (foot, toe)
    }

    /// (foot, ankle) of the back leg.
    fn back_leg(&self, t: f64, hip: V3) -> (Foot, V3) {
        if t <= self.back_off_s {
            let (foot, toe) = self.back_standing(t, hip);
            return (foot, add(toe, foot.beyond_toe(&self.body).1));
        }
        let (stood, stood_ankle) = self.back_off;
        let full = self.body.leg_reach(0.0);
        let (back, down, bend_s) =
            if self.feet.jump { (-0.52, -0.66, 0.30) } else { (-0.30, -0.84, 0.25) };
        let kicked = add(hip, [0.03 * full, back * full, down * full]);
        let leaving = smooth_step(t, self.back_off_s, self.back_off_s + bend_s);
        let step_from = 0.5 * (self.tempo.seconds(5.0) + self.tempo.seconds(4.0));
        let landing = smooth_step(t, step_from, step_from + 0.55 * (self.back_land_s - step_from));
        let landed = Foot { heading_deg: 30.0, lift_deg: 0.0 };
        let land_ankle = add(self.back_land, landed.beyond_toe(&self.body).1);
        let ankle = mix(mix(stood_ankle, kicked, leaving), land_ankle, landing);
        let arch = 0.10 * self.body.stature_m * landing * (1.0 - landing);
        let lift_air = stood.lift_deg + leaving * (80.0 - stood.lift_deg);
        let foot = Foot {
            heading_deg: BACK_HEADING + landing * (30.0 - BACK_HEADING),
            lift_deg: lift_air * (1.0 - landing),
        };
        let ankle = along(ankle, [0.0, 0.0, 1.0], arch);
        (foot, self.within_reach(hip, ankle))
    }

    /// The ankle drawn in smoothly where it nears the end of the leg, so that the knee does not
    /// snap straight.
    fn within_reach(&self, hip: V3, ankle: V3) -> V3 {
        let (full, knee) = (self.body.leg_reach(4.0), self.back_off_reach);
        let way = sub(ankle, hip);
        let reach = norm(way);
        if reach <= knee {
            return ankle;
        }
        let room = full - knee;
        let drawn = knee + room * (1.0 - (-(reach - knee) / room).exp());
        along(hip, way, drawn / reach)
    }

    /// Every joint at time `t`.
    pub(crate) fn pose(&self, t: f64) -> Pose {
        let mut pose = [[0.0; 3]; Joint::ALL.len()];
        let mut put = |joint: Joint, at: V3| pose[column(joint)] = at;
        let body = &self.body;

        let (height, front_toe, front_ankle) = self.front_leg(t);
        let pelvis = self.pelvis(t);
        let mid_hips = self.mid_hips(t, height);
        let front_hip = self.front_hip(t, height);
        let back_hip = self.back_hip(t, height);
        put(Joint::LeftHip, front_hip);
        put(Joint::RightHip, back_hip);

        let facing = pelvis.forward;
        let toes = |foot: &Foot| Frame::leaning(0.0, 0.0, foot.heading_deg).forward;
        let front_foot = self.front_foot(t);
        let pole = add(scale(toes(&front_foot), 1.2), facing);
        let (knee, ankle) = leg(body, front_hip, front_ankle, pole);
        let shift = sub(ankle, front_ankle);
        put(Joint::LeftKnee, knee);
        put(Joint::LeftAnkle, ankle);
        put(Joint::LeftToe, add(front_toe, shift));
        put(Joint::LeftHeel, add(add(front_toe, shift), front_foot.beyond_toe(body).0));

        let (back_foot, back_ankle) = self.back_leg(t, back_hip);
        let pole = add(scale(toes(&back_foot), 0.7), facing);
        let (knee, ankle) = leg(body, back_hip, back_ankle, pole);
        let (to_heel, to_ankle) = back_foot.beyond_toe(body);
        let toe = sub(ankle, to_ankle);
        put(Joint::RightKnee, knee);
        put(Joint::RightAnkle, ankle);
        put(Joint::RightToe, toe);
        put(Joint::RightHeel, add(toe, to_heel));

        let Upper { trunk, mid_shoulders, girdle, hit_shoulder, hit } =
            upper(body, mid_hips, |channel| self.value(channel, t));
        let toss_shoulder = along(mid_shoulders, girdle.right, -body.half_shoulders_m);
        put(Joint::RightShoulder, hit_shoulder);
        put(Joint::LeftShoulder, toss_shoulder);

        let (thumb, index, little) = knuckles(body, &hit);
        let (throat, tip) = racket(body, &hit, self.value(Channel::RacketAngle, t));
        put(Joint::RightElbow, hit.elbow);
        put(Joint::RightWrist, hit.wrist);
        put(Joint::RightThumb, thumb);
        put(Joint::RightIndex, index);
        put(Joint::RightLittle, little);
        put(Joint::RightHand, mix(index, little, 0.4));
        put(Joint::RacketThroat, throat);
        put(Joint::RacketTip, tip);

        let angles = ArmAngles {
            elevation: self.value(Channel::TossElevation, t),
            plane: self.value(Channel::TossPlane, t),
            external: self.value(Channel::TossExternal, t),
            elbow: self.value(Channel::TossElbow, t),
            pronation: self.value(Channel::TossPronation, t),
            wrist: -8.0,
        };
        let toss = arm(body, &trunk, toss_shoulder, &angles, -1.0);
        let (thumb, index, little) = knuckles(body, &toss);
        put(Joint::LeftElbow, toss.elbow);
        put(Joint::LeftWrist, toss.wrist);
        put(Joint::LeftThumb, thumb);
        put(Joint::LeftIndex, index);
        put(Joint::LeftLittle, little);
        put(Joint::LeftHand, mix(index, little, 0.4));

        let [nose, left_eye, right_eye, left_ear, right_ear, centre, neck] = head(
            body,
            mid_shoulders,
            trunk.up,
            self.value(Channel::GazeHeading, t),
            self.value(Channel::GazeUp, t),
        );
        put(Joint::Nose, nose);
        put(Joint::LeftEye, left_eye);
        put(Joint::RightEye, right_eye);
        put(Joint::LeftEar, left_ear);
        put(Joint::RightEar, right_ear);
        put(Joint::Head, centre);
        put(Joint::Neck, neck);
        pose
    }
}
