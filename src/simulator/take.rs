//! A whole recording: several serves, and what a player does between them.

use super::body::{ArmAngles, Foot, Pose, arm, column, head, knuckles, leg, racket};
use super::chance::chance;
use super::course::{Channel, Keys, Tempo};
use super::motion::{Feet, MotionPlan, ServeMotion};
use super::sensor::Sensor;
use super::server::DemoServe;
use super::space::{Frame, V3, add, along, mix, smooth_step};
use super::template::faultless;
use super::truth::Truth;
use crate::motion::{Joint, Recording, Side};

/// What is recorded in one go.
#[derive(Debug, Clone)]
pub struct Take {
    /// The serves, in order; all by the same player.
    pub serves: Vec<DemoServe>,
    /// Between serves the player walks back and bounces the ball.
    pub walk_between: bool,
    /// A forehand-like swing is played before each serve after the first.
    pub forehands: bool,
}

/// Seconds over which one movement passes into the next.
const BLEND_S: f64 = 0.5;
const WALK_S: f64 = 1.8;
const BOUNCE_S: f64 = 2.2;
const FOREHAND_S: f64 = 2.0;

enum Movement<'a> {
    Serve(&'a DemoServe),
    Walk(&'a DemoServe),
    Prepared(Box<ServeMotion>),
}

struct Segment<'a> {
    from_s: f64,
    to_s: f64,
    movement: Movement<'a>,
}

impl Segment<'_> {
    fn pose(&self, time_s: f64) -> Pose {
        let own = time_s - self.from_s;
        match &self.movement {
            Movement::Serve(serve) => serve.pose(own + serve.span_s().0),
            Movement::Walk(serve) => walk(serve, own),
            Movement::Prepared(motion) => motion.pose(own),
        }
    }
}

impl Take {
    /// The take as `sensor` records it, with the truth of each serve in the recording's time.
    ///
    /// The same arguments give the same recording, bit for bit. Between serves joints pass from
    /// one movement to the next along straight lines, so bones may shorten there for half a
    /// second; never within a serve.
    #[must_use]
    pub fn record(&self, sensor: &Sensor, seed: u64) -> (Recording, Vec<Truth>) {
        let mut segments: Vec<Segment<'_>> = Vec::new();
        let mut truths = Vec::new();
        let mut now = 0.0;
        let mut push = |movement, length_s: f64| {
            let from_s = now;
            now += length_s;
            segments.push(Segment { from_s, to_s: now, movement });
            from_s
        };
        for (number, serve) in self.serves.iter().enumerate() {
            if number > 0 && self.walk_between {
                push(Movement::Walk(serve), WALK_S);
            }
            if number > 0 && self.forehands {
                push(Movement::Prepared(Box::new(forehand(serve))), FOREHAND_S);
            }
            if number > 0 && self.walk_between {
                push(Movement::Prepared(Box::new(bounces(serve))), BOUNCE_S);
            }
            let (first, last) = serve.span_s();
            let start = push(Movement::Serve(serve), last - first);
            truths.push(serve.truth.delayed(start - first));
        }
        let hand = self.serves.first().map_or(Side::Right, |serve| serve.hand);
        let recording = record_segments(&segments, hand, sensor, seed);
        let start_s = sensor.first_sample_s(0.0, &mut chance(seed, 0));
        (recording, truths.iter().map(|truth| truth.delayed(-start_s)).collect())
    }
}

/// A recording without any serve: the player of `serve` walks, bounces the ball and plays three
/// forehand-like swings.
#[must_use]
pub fn record_forehands(serve: &DemoServe, sensor: &Sensor, seed: u64) -> Recording {
    let mut segments: Vec<Segment<'_>> = Vec::new();
    let mut now = 0.0;
    for number in 0..5 {
        let (movement, length_s) = match number {
            0 => (Movement::Walk(serve), WALK_S),
            2 => (Movement::Prepared(Box::new(bounces(serve))), BOUNCE_S),
            _ => (Movement::Prepared(Box::new(forehand(serve))), FOREHAND_S),
        };
        segments.push(Segment { from_s: now, to_s: now + length_s, movement });
        now += length_s;
    }
    record_segments(&segments, serve.hand, sensor, seed)
}

fn record_segments(segments: &[Segment<'_>], hand: Side, sensor: &Sensor, seed: u64) -> Recording {
    let pose = |time_s: f64| {
        let i = segments.partition_point(|s| s.to_s < time_s).min(segments.len() - 1);
        let current = segments[i].pose(time_s);
        let mut blended = current;
        if i > 0 {
            let w = smooth_step(time_s, segments[i].from_s, segments[i].from_s + BLEND_S);
            // The serve's own first stage is quiet, so blending does not reach the toss.
            if w < 1.0 {
                let before = segments[i - 1].pose(time_s);
                for (joint, position) in blended.iter_mut().enumerate() {
                    *position = mix(before[joint], current[joint], w);
                }
            }
        }
        blended
    };
    let to_s = segments.last().map_or(0.0, |last| last.to_s);
    sensor.record(hand, 0.0, to_s, pose, &mut chance(seed, 0))
}

/// Seconds as stages: stage n is second n, far beyond any segment.
const CLOCK: Tempo =
    Tempo { events_s: [0.0, 1.0, 2.0, 3.0, 4.0, 5.0], ready_s: 1.0, recover_s: 1.0 };

fn prepared(serve: &DemoServe, keys: impl Fn(Channel) -> Keys) -> ServeMotion {
    ServeMotion::new(&MotionPlan {
        body: *serve.motion.body(),
        feet: Feet { foot_up: false, stance: 0.26, jump: false },
        tempo: CLOCK,
        off_stage: 9.0,
        keys: Channel::ALL.map(keys).to_vec(),
    })
}

/// Standing ready, the tossing hand bounces the ball four times.
fn bounces(serve: &DemoServe) -> ServeMotion {
    prepared(serve, |channel| {
        let ready = faultless(channel)[0].1;
        let (high, low) = match channel {
            Channel::TossElevation => (30.0, 12.0),
            Channel::TossElbow => (70.0, 20.0),
            Channel::TossPronation => (60.0, 60.0),
            Channel::TrunkLeanSide => (16.0, 18.0),
            _ => return vec![(-1.0, ready), (9.0, ready)],
        };
        let mut keys: Keys = (0..4)
            .flat_map(|n| {
                let start = 0.45 * f64::from(n);
                [(start, high), (start + 0.2, low)]
            })
            .collect();
        keys.push((2.2, ready));
        keys
    })
}

/// A swing beside the body at waist height: what a forehand looks like from afar.
fn forehand(serve: &DemoServe) -> ServeMotion {
    prepared(serve, |channel| {
        let ready = faultless(channel)[0].1;
        let swing: &[(f64, f64)] = match channel {
            Channel::TrunkHeading => &[(0.0, 60.0), (0.7, 92.0), (1.05, 20.0), (1.3, -10.0)],
            Channel::PelvisHeading => &[(0.0, 60.0), (0.7, 80.0), (1.05, 25.0), (1.3, 5.0)],
            Channel::HitElevation => &[(0.0, 40.0), (0.7, 58.0), (1.05, 62.0), (1.35, 92.0)],
            Channel::HitPlane => &[(0.0, 50.0), (0.7, -35.0), (1.05, 55.0), (1.35, 112.0)],
            Channel::HitElbow => &[(0.0, 80.0), (0.7, 40.0), (1.05, 35.0), (1.35, 95.0)],
            Channel::HitExternal => &[(0.0, -10.0), (0.7, 20.0), (1.05, 10.0), (1.35, 30.0)],
            Channel::TossElevation => &[(0.0, 40.0), (0.7, 70.0), (1.05, 60.0), (1.35, 30.0)],
            Channel::FrontKnee => &[(0.0, 20.0), (0.7, 32.0), (1.05, 20.0)],
            Channel::TrunkLeanNet => &[(0.0, 3.0), (1.05, 8.0)],
            _ => return vec![(-1.0, ready), (9.0, ready)],
        };
        let mut keys = swing.to_vec();
        keys.push((2.0, ready));
        keys
    })
}

/// Walks from where the serve ended back to the line: small steps, arms hanging, racket low.
fn walk(serve: &DemoServe, own_s: f64) -> Pose {
    let body = serve.motion.body();
    let h = body.stature_m;
    let mut pose = [[0.0; 3]; Joint::ALL.len()];
    let mut put = |joint: Joint, at: V3| pose[column(joint)] = at;
    let share = smooth_step(own_s, 0.0, WALK_S);
    let turn = Frame::leaning(-3.0, 0.0, 170.0);
    let hips = [-0.03 * h, (0.28 - 0.42 * share) * h, 0.505 * h];
    let stride = |phase: f64| {
        let swing = std::f64::consts::TAU * (own_s / 0.9 + phase);
        (0.10 * h * swing.sin(), 0.035 * h * swing.cos().max(0.0), 22.0 * swing.sin())
    };
    for (side, phase) in [(-1.0, 0.0), (1.0, 0.5)] {
        let of = |left: Joint| if side > 0.0 { left.mirrored() } else { left };
        let hip = along(hips, turn.right, side * body.half_hips_m);
        let (ahead, lifted, _) = stride(phase);
        let under = along(hip, turn.forward, ahead);
        let foot = Foot { heading_deg: 170.0, lift_deg: 0.0 };
        let ankle = [under[0], under[1], body.ankle_m + lifted];
        let (knee, ankle) = leg(body, hip, ankle, turn.forward);
        let (to_heel, to_ankle) = foot.beyond_toe(body);
        let toe = along(ankle, to_ankle, -1.0);
        put(of(Joint::LeftHip), hip);
        put(of(Joint::LeftKnee), knee);
        put(of(Joint::LeftAnkle), ankle);
        put(of(Joint::LeftToe), toe);
        put(of(Joint::LeftHeel), add(toe, to_heel));
    }
    let chest = along(hips, turn.up, body.trunk_m);
    for (side, phase) in [(-1.0, 0.5), (1.0, 0.0)] {
        let of = |left: Joint| if side > 0.0 { left.mirrored() } else { left };
        let shoulder = along(chest, turn.right, side * body.half_shoulders_m);
        let angles = ArmAngles {
            elevation: 16.0,
            plane: 45.0 + stride(phase).2,
            external: 0.0,
            elbow: 28.0,
            pronation: 20.0,
            wrist: 0.0,
        };
        let swung = arm(body, &turn, shoulder, &angles, side);
        let (thumb, index, little) = knuckles(body, &swung);
        put(of(Joint::LeftShoulder), shoulder);
        put(of(Joint::LeftElbow), swung.elbow);
        put(of(Joint::LeftWrist), swung.wrist);
        put(of(Joint::LeftThumb), thumb);
        put(of(Joint::LeftIndex), index);
        put(of(Joint::LeftLittle), little);
        put(of(Joint::LeftHand), mix(index, little, 0.4));
        if side > 0.0 {
            let (throat, tip) = racket(body, &swung, 45.0);
            put(Joint::RacketThroat, throat);
            put(Joint::RacketTip, tip);
        }
    }
    let face = [
        Joint::Nose,
        Joint::LeftEye,
        Joint::RightEye,
        Joint::LeftEar,
        Joint::RightEar,
        Joint::Head,
        Joint::Neck,
    ];
    for (joint, at) in face.into_iter().zip(head(body, chest, turn.up, 170.0, -10.0)) {
        put(joint, at);
    }
    pose
}
