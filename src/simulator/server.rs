//! One player: body, hand, level, style and habits; and one serve of that player.

use rand::Rng;

use super::body::{Body, Pose};
use super::chance::{Chance, chance, normal};
use super::course::{Channel, Keys, Tempo};
use super::fault::{Fault, Shape};
use super::motion::{Feet, MotionPlan, ServeMotion};
use super::template::{EVENTS_S, faultless};
use super::truth::{self, Truth};
use crate::library::{Level, ServeType};
use crate::motion::Side;

/// Departures from the template: degrees (or statures) per channel and event.
type Habits = [[f64; 6]; 24];

/// A player who can be asked for serves.
#[derive(Debug, Clone)]
pub struct Server {
    /// Body.
    pub body: Body,
    /// Serving hand.
    pub hand: Side,
    /// Level; shapes range of motion, tempo and steadiness, without being a fault.
    pub level: Level,
    /// Feet.
    pub feet: Feet,
    /// Short backswing: the racket goes up without swinging down first. A style.
    pub short_backswing: bool,
    /// Lasting personal departures from the template.
    habits: Habits,
    /// Personal tempo, 1 = the template's.
    pace: f64,
    /// What serve-to-serve variation is drawn from.
    seed: u64,
}

/// What one serve is to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// Planted faults with severity 0 to 1.
    pub faults: Vec<(Fault, f64)>,
    /// Intended ball.
    pub serve_type: ServeType,
    /// Serves of one session share the form of the day.
    pub session: u64,
    /// Number within the session.
    pub serve: u64,
    /// Serve-to-serve and day-to-day variation, 1 = as published, 0 = none.
    pub variation: f64,
}

impl Default for Ask {
    fn default() -> Self {
        Self {
            faults: Vec::new(),
            serve_type: ServeType::Flat,
            session: 0,
            serve: 0,
            variation: 1.0,
        }
    }
}

/// A serve in motion, with what was planted in it.
#[derive(Debug, Clone)]
pub struct DemoServe {
    pub(crate) motion: ServeMotion,
    /// Serving hand.
    pub hand: Side,
    /// Planted faults.
    pub faults: Vec<(Fault, f64)>,
    /// Events and angles, in the motion's own time (planned contact at 0).
    pub truth: Truth,
}

impl DemoServe {
    /// First and last second worth recording.
    #[must_use]
    pub fn span_s(&self) -> (f64, f64) {
        let tempo = self.motion.tempo();
        (tempo.seconds(-1.0), tempo.seconds(6.0))
    }

    /// Every joint at a time, as if the player were right-handed.
    pub(crate) fn pose(&self, time_s: f64) -> Pose {
        self.motion.pose(time_s)
    }
}

/// Spread between players, and from serve to serve of one steady player; degrees or statures.
///
/// Serve to serve: published spreads of the same player are 0.3 to 2.0 deg for outward rotation
/// and 1.1 to 5.5 deg for arm elevation (R040, R042), and 3 to 9 deg at the knee, 2 to 4 deg at
/// the chest, 6 to 14 deg at the elbow of an analogous stroke (R145 to R147). Between players:
/// the pooled spreads (R024, R025, R027, R028) include method and level, so about two thirds.
fn spreads(channel: Channel) -> (f64, f64) {
    match channel {
        Channel::TrunkHeading => (5.0, 2.0),
        Channel::PelvisHeading => (4.0, 1.8),
        Channel::TrunkLeanNet | Channel::TrunkLeanSide => (3.0, 1.3),
        Channel::GirdleTilt => (2.5, 1.0),
        Channel::HitElevation => (4.5, 1.8),
        Channel::HitPlane => (5.0, 2.0),
        Channel::HitExternal => (7.0, 2.0),
        Channel::HitElbow => (5.0, 2.4),
        Channel::HitPronation => (6.0, 3.0),
        Channel::HitWrist => (5.0, 2.5),
        Channel::RacketAngle => (4.0, 1.5),
        Channel::TossElevation | Channel::TossPlane => (5.0, 2.2),
        Channel::TossExternal => (6.0, 2.5),
        Channel::TossElbow => (4.0, 2.0),
        Channel::TossPronation => (8.0, 4.0),
        Channel::FrontKnee => (5.0, 2.2),
        Channel::FrontHeel => (2.0, 0.8),
        Channel::BackKnee => (4.0, 2.0),
        Channel::PelvisSide => (0.008, 0.003),
        Channel::PelvisNet => (0.012, 0.005),
        Channel::GazeHeading | Channel::GazeUp => (5.0, 2.0),
    }
}

/// Half of a departure lasts through the serve, half belongs to each event.
fn departures(chance: &mut Chance, size: impl Fn(Channel) -> f64) -> Habits {
    Channel::ALL.map(|channel| {
        let lasting = normal(chance);
        [(); 6].map(|()| size(channel) * 0.707 * (lasting + normal(chance)))
    })
}

/// Share of the professional's range, speed and steadiness.
fn quality(level: Level) -> f64 {
    match level {
        Level::Professional => 1.0,
        Level::National => 0.93,
        Level::Competition => 0.80,
        Level::Club => 0.58,
        Level::Beginner => 0.35,
    }
}

impl Server {
    /// A player without personal departures: the template in this body.
    #[must_use]
    pub fn plain(body: Body, hand: Side, level: Level) -> Self {
        Self {
            body,
            hand,
            level,
            feet: Feet { foot_up: false, stance: 0.26, jump: quality(level) > 0.5 },
            short_backswing: false,
            habits: [[0.0; 6]; 24],
            pace: 1.0,
            seed: 0,
        }
    }

    /// A player with habits drawn from `seed`.
    #[must_use]
    pub fn drawn(body: Body, hand: Side, level: Level, seed: u64) -> Self {
        let mut chance = chance(seed, 0);
        let mut server = Self::plain(body, hand, level);
        server.habits = departures(&mut chance, |channel| spreads(channel).0);
        server.pace = (0.06 * normal(&mut chance)).exp();
        server.feet.foot_up = chance.gen_bool(0.4);
        server.feet.stance = 0.26 + 0.02 * normal(&mut chance);
        server.short_backswing = chance.gen_bool(0.2);
        server.seed = seed;
        server
    }

    /// One serve.
    #[must_use]
    pub fn serve(&self, ask: &Ask) -> DemoServe {
        let plan = self.plan(ask);
        let motion = ServeMotion::new(&plan);
        let truth = truth::read(&motion);
        DemoServe { motion, hand: self.hand, faults: ask.faults.clone(), truth }
    }

    pub(super) fn plan(&self, ask: &Ask) -> MotionPlan {
        let quality = quality(self.level);
        let mut shape = Shape {
            keys: Channel::ALL.map(faultless).to_vec(),
            events_s: EVENTS_S,
            off_stage: 2.86,
        };
        for (course, (keys, habit)) in shape.keys.iter_mut().zip(&self.habits).enumerate() {
            depart(keys, habit, Channel::ALL[course]);
        }
        if self.short_backswing {
            short_backswing(&mut shape);
        }
        by_level(&mut shape, quality);
        by_serve_type(&mut shape, ask.serve_type);
        shape.events_s = shape.events_s.map(|each| each * self.pace);
        Fault::plant_all(&ask.faults, &mut shape);
        let mut pace = 1.0;
        if ask.variation > 0.0 {
            let size = ask.variation * (1.7 - 0.7 * quality);
            let mut day = chance(self.seed ^ 0x5e55_1011, ask.session);
            let mut now = chance(self.seed ^ (ask.session << 20) ^ 0x00c0_ffee, ask.serve);
            let of_day = departures(&mut day, |channel| 0.6 * size * spreads(channel).1);
            let of_now = departures(&mut now, |channel| size * spreads(channel).1);
            for (course, keys) in shape.keys.iter_mut().enumerate() {
                depart(keys, &of_day[course], Channel::ALL[course]);
                depart(keys, &of_now[course], Channel::ALL[course]);
            }
            pace *= (size * (0.012 * normal(&mut day) + 0.015 * normal(&mut now))).exp();
            for gap in 0..5 {
                let stretch = (size * 0.02 * normal(&mut now)).exp();
                shape.stretch(gap, stretch);
            }
        }
        MotionPlan {
            body: self.body,
            feet: self.feet,
            tempo: Tempo {
                events_s: shape.events_s.map(|each| each * pace),
                ready_s: 0.8,
                recover_s: 0.9,
            },
            off_stage: shape.off_stage,
            keys: shape.keys,
        }
    }
}

/// Adds departures given at the events to the keys, halved before the toss and after recovery.
fn depart(keys: &mut Keys, departure: &[f64; 6], channel: Channel) {
    // Feet and heels stay where the ground is; the knees stay above straight.
    if channel == Channel::FrontHeel {
        return;
    }
    for key in keys {
        let stage = key.0.clamp(0.0, 5.0);
        let before = (stage.floor() as usize).min(4);
        let part = stage - before as f64;
        let outside = if (0.0..=5.0).contains(&key.0) { 1.0 } else { 0.5 };
        key.1 += outside * (departure[before] * (1.0 - part) + departure[before + 1] * part);
        if matches!(
            channel,
            Channel::FrontKnee | Channel::BackKnee | Channel::HitElbow | Channel::TossElbow
        ) {
            key.1 = key.1.max(6.0);
        }
    }
}

fn by_level(shape: &mut Shape, quality: f64) {
    let less = 1.0 - quality;
    shape.bump(Channel::FrontKnee, 2.0, 0.8, -9.0 * less);
    shape.bump(Channel::HitExternal, 3.0, 1.0, -32.0 * less);
    shape.bump(Channel::TrunkHeading, 2.0, 1.5, -12.0 * less);
    shape.bump(Channel::TrunkLeanNet, 2.0, 1.0, 5.0 * less);
    shape.bump(Channel::TrunkLeanSide, 4.0, 1.0, 10.0 * less);
    shape.bump(Channel::GirdleTilt, 4.0, 1.0, -8.0 * less);
    shape.bump(Channel::HitElbow, 4.0, 0.4, 12.0 * less);
    shape.bump(Channel::HitElbow, 3.0, 0.8, -12.0 * less);
    shape.bump(Channel::RacketAngle, 3.0, 0.8, -12.0 * less);
    // Less speed: the swing from the low point takes longer, and so does its end.
    let slower = 1.0 / (0.42 + 0.58 * quality);
    shape.stretch(3, slower);
    shape.stretch(4, slower);
}

fn by_serve_type(shape: &mut Shape, serve_type: ServeType) {
    match serve_type {
        ServeType::Flat => {}
        ServeType::Slice => {
            shape.bump(Channel::TrunkHeading, 4.0, 0.9, 5.0);
            shape.bump(Channel::HitElevation, 4.0, 0.6, -4.0);
            shape.bump(Channel::HitPronation, 4.0, 0.4, -10.0);
            shape.bump(Channel::TossPlane, 1.0, 1.0, 8.0);
        }
        // Contact about 17 cm further back than the flat serve (R091).
        ServeType::Kick => {
            shape.bump(Channel::TrunkLeanNet, 4.0, 1.0, -9.0);
            shape.bump(Channel::TrunkLeanSide, 2.0, 1.2, -3.0);
            shape.bump(Channel::TrunkHeading, 4.0, 0.9, 10.0);
            shape.bump(Channel::HitPlane, 4.0, 0.5, -4.0);
            shape.bump(Channel::TossPlane, 1.5, 1.2, -8.0);
        }
    }
}

/// Racket and elbow go straight up beside the body instead of down and back first.
fn short_backswing(shape: &mut Shape) {
    shape.bump(Channel::HitElevation, 0.9, 0.8, 22.0);
    shape.bump(Channel::HitElbow, 0.8, 0.8, 62.0);
    shape.bump(Channel::HitExternal, 1.0, 0.8, 50.0);
    shape.bump(Channel::HitPlane, 0.9, 0.8, 8.0);
}
