//! Faults as changes of the courses, planted with a known severity.

use super::body::{Body, racket, upper};
use super::course::{Channel, Course, Keys};
use super::space::{V3, norm, scale, sub, twist_deg, unit};

/// The courses before they become seconds.
#[derive(Debug, Clone)]
pub(crate) struct Shape {
    /// Per channel, in the order of [`Channel::ALL`].
    pub keys: Vec<Keys>,
    /// Seconds of the events, contact at 0.
    pub events_s: [f64; 6],
    /// Stage time of take-off.
    pub off_stage: f64,
}

impl Shape {
    /// Adds `amount` at `stage`, fading to nothing `width` stages away on both sides.
    pub(crate) fn bump(&mut self, channel: Channel, stage: f64, width: f64, amount: f64) {
        self.bump_between(channel, stage, stage, width, amount);
    }

    /// Adds `amount` from stage `from` to stage `to`, fading out over `width` on either side.
    pub(crate) fn bump_between(
        &mut self,
        channel: Channel,
        from: f64,
        to: f64,
        width: f64,
        amount: f64,
    ) {
        for key in &mut self.keys[channel as usize] {
            let away = (from - key.0).max(key.0 - to).max(0.0) / width;
            if away < 1.0 {
                key.1 += amount * 0.5 * (1.0 + (std::f64::consts::PI * away).cos());
            }
        }
    }

    /// Stretches the time between event `gap` and the next one; contact stays at 0.
    pub(crate) fn stretch(&mut self, gap: usize, factor: f64) {
        let mut gaps: Vec<f64> = self.events_s.windows(2).map(|w| w[1] - w[0]).collect();
        gaps[gap] *= factor;
        self.events_s[4] = 0.0;
        for i in (0..4).rev() {
            self.events_s[i] = self.events_s[i + 1] - gaps[i];
        }
        self.events_s[5] = gaps[4];
    }
}

impl Shape {
    /// A channel's value at a stage.
    fn at(&self, channel: Channel, stage: f64) -> f64 {
        Course::new(&self.keys[channel as usize]).at(stage)
    }

    /// Seconds of a stage from 0 to 5.
    fn seconds(&self, stage: f64) -> f64 {
        let gap = (stage.max(0.0) as usize).min(4);
        let (from, to) = (self.events_s[gap], self.events_s[gap + 1]);
        from + (stage - gap as f64) * (to - from)
    }

    /// The stage at some seconds; the inverse of [`Self::seconds`].
    fn stage(&self, time_s: f64) -> f64 {
        let gap = self.events_s[1..5].partition_point(|&event| event <= time_s);
        let (from, to) = (self.events_s[gap], self.events_s[gap + 1]);
        gap as f64 + (time_s - from) / (to - from)
    }

    /// Puts a key on the channel's course at `stage`, which stays as it was there.
    fn pin(&mut self, channel: Channel, stage: f64) -> f64 {
        let value = self.at(channel, stage);
        let keys = &mut self.keys[channel as usize];
        let place = keys.partition_point(|key| key.0 < stage);
        if keys.get(place).is_none_or(|key| key.0 > stage) {
            keys.insert(place, (stage, value));
        }
        value
    }

    /// Pulls keys between `from` and `to` towards `pivot`: the distance is multiplied by `factor`.
    fn pull(&mut self, channel: Channel, from: f64, to: f64, width: f64, pivot: f64, factor: f64) {
        for key in &mut self.keys[channel as usize] {
            let away = (from - key.0).max(key.0 - to).max(0.0) / width;
            let w = 0.5 * (1.0 + (std::f64::consts::PI * away.min(1.0)).cos());
            key.1 += w * (factor - 1.0) * (key.1 - pivot);
        }
    }

    /// (stage, value) of a channel's greatest key between two stages.
    fn greatest(&self, channel: Channel, from: f64, to: f64) -> (f64, f64) {
        let inside = self.keys[channel as usize].iter().filter(|key| key.0 >= from && key.0 <= to);
        inside.copied().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((from, self.at(channel, from)))
    }

    /// Moves keys between `from` and `to` by `by` stages, fading linearly over `width`.
    /// Keys keep their order as long as `by` is smaller than `width`.
    fn shift(&mut self, channel: Channel, from: f64, to: f64, width: f64, by: f64) {
        for key in &mut self.keys[channel as usize] {
            key.0 = shifted(key.0, from, to, width, by);
        }
    }

    /// Retimes the keys between stages `from` and `to` so that what happened at `old` happens at
    /// `new`; both ends stay, so keys keep their order.
    fn retime(&mut self, channel: Channel, from: f64, to: f64, old: f64, new: f64) {
        for key in &mut self.keys[channel as usize] {
            if key.0 > from && key.0 < old {
                key.0 = from + (key.0 - from) * (new - from) / (old - from);
            } else if key.0 >= old && key.0 < to {
                key.0 = to - (to - key.0) * (to - new) / (to - old);
            }
        }
    }

    /// Stops a channel at `stage`: what would still come is multiplied by `rest`.
    fn stop(&mut self, channel: Channel, stage: f64, rest: f64) {
        let value = self.pin(channel, stage);
        for key in &mut self.keys[channel as usize] {
            if key.0 > stage {
                key.1 = value + rest * (key.1 - value);
            }
        }
    }

    /// Holds the body at `stage` for `pause_s`, keeping the later pace; only the front knee gives
    /// 8 degrees a second, so that the deepest bend stays at the start of the hold.
    fn hold(&mut self, stage: usize, pause_s: f64) {
        let gap = self.events_s[stage + 1] - self.events_s[stage];
        self.stretch(stage, (gap + pause_s) / gap);
        let share = pause_s / (gap + pause_s);
        let at = stage as f64;
        let later = |s: f64| {
            if s > at && s < at + 1.0 { at + share + (s - at) * (1.0 - share) } else { s }
        };
        for (course, keys) in self.keys.iter_mut().enumerate() {
            let value = Course::new(keys).at(at);
            let knee = course == Channel::FrontKnee as usize;
            let given = if knee { 8.0 * pause_s } else { 0.0 };
            keys.retain(|key| key.0 != at);
            for key in keys.iter_mut() {
                key.0 = later(key.0);
            }
            let place = keys.partition_point(|key| key.0 < at);
            keys.splice(place..place, [(at, value), (at + share, value - given)]);
        }
        self.off_stage = later(self.off_stage);
    }
}

fn shifted(stage: f64, from: f64, to: f64, width: f64, by: f64) -> f64 {
    let away = (from - stage).max(stage - to).max(0.0) / width;
    stage + by * (1.0 - away).max(0.0)
}

macro_rules! faults {
    ($($(#[$doc:meta])* $variant:ident = $id:literal,)*) => {
        /// A plantable fault; ids are those of the catalogue.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Fault {
            $($(#[$doc])* $variant,)*
        }

        impl Fault {
            /// Every plantable fault.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Catalogue id.
            #[must_use]
            pub fn id(self) -> &'static str {
                match self { $(Self::$variant => $id,)* }
            }

            /// The plantable fault with this catalogue id.
            #[must_use]
            pub fn from_id(id: &str) -> Option<Self> {
                match id { $($id => Some(Self::$variant),)* _ => None }
            }
        }
    };
}

faults! {
    /// Knees hardly bend.
    ShallowLegDrive = "shallow_leg_drive",
    /// The legs push after the racket has dropped.
    LateLegDrive = "late_leg_drive",
    /// The front knee is bent at contact.
    CollapsedFrontKnee = "collapsed_front_knee",
    /// The tossing arm comes down too soon.
    TossingArmDropsEarly = "tossing_arm_drops_early",
    /// The trunk faces the net before the racket has dropped.
    TrunkOpensEarly = "trunk_opens_early",
    /// Much arch between thighs and trunk as the legs drive.
    LumbarArch = "lumbar_arch",
    /// Much lean towards the tossing side at contact.
    ExcessiveSideTilt = "excessive_side_tilt",
    /// Ball, and so contact, too far back.
    TossBehind = "toss_behind",
    /// Ball thrown low, little time until contact.
    TossLow = "toss_low",
    /// Everything before contact hurried.
    RushedTempo = "rushed_tempo",
    /// A stop at trophy.
    PauseInRhythm = "pause_in_rhythm",
    /// Contact low, elbow bent.
    LowContact = "low_contact",
    /// Upper arm hangs at trophy and contact.
    LowHittingElbow = "low_hitting_elbow",
    /// Strings face the sky while the racket drops.
    WaitersTray = "waiters_tray",
    /// Palm does not turn outward after contact.
    NoTurnAfterContact = "no_turn_after_contact",
    /// The swing stops soon after contact.
    ShortFinish = "short_finish",
}

/// Turn of the hitting palm about the forearm in the tenth of a second after contact, degrees, thumb
/// turning down positive: what trunk, upper arm and forearm make of it together. Contact is, as in
/// the planted truth, 3 ms before the racket's tip is fastest.
fn palm_turn(shape: &Shape) -> f64 {
    const STEP_S: f64 = 0.002;
    let body = Body::new(1.75, 1.0, 1.0);
    // As the body will move: joined in seconds, not in stages.
    let courses: Vec<Course> = shape
        .keys
        .iter()
        .map(|keys| {
            let swing = keys.iter().filter(|key| key.0 >= 0.0);
            Course::new(&swing.map(|key| (shape.seconds(key.0), key.1)).collect::<Keys>())
        })
        .collect();
    let swing = |step: i32| {
        let at = |channel: Channel| courses[channel as usize].at(STEP_S * f64::from(step));
        let hips = [at(Channel::PelvisSide), at(Channel::PelvisNet), 0.0];
        let hit = upper(&body, scale(hips, body.stature_m), at).hit;
        (hit, at(Channel::RacketAngle))
    };
    let tip = |step: i32| {
        let (arm, angle) = swing(step);
        racket(&body, &arm, angle).1
    };
    let tips: Vec<V3> = (-31..=31).map(tip).collect();
    let fastest = (1..tips.len() - 1)
        .max_by(|&a, &b| {
            let speed = |i: usize| norm(sub(tips[i + 1], tips[i - 1]));
            speed(a).total_cmp(&speed(b))
        })
        .unwrap_or_default();
    let contact = fastest as i32 - 31 - 1;
    let hand = |step: i32| {
        let (arm, _) = swing(step);
        (unit(sub(arm.wrist, arm.elbow)), arm.thumb)
    };
    -(contact..contact + 50).map(|step| twist_deg(hand(step), hand(step + 1))).sum::<f64>()
}

/// A severity on the catalogue's own scale: what it asks of a measure.
///
/// The measure aimed at lies [`REACH`] times the severity of the way from where the catalogue
/// begins to count to where it counts fully, whatever the player's own value; below [`BLEND`] the
/// player's own value fades in, so that severity 0 changes nothing. Severity 0.38 is the middle
/// of the way, at which a fault is suspected.
#[derive(Debug, Clone, Copy)]
struct Aim {
    severity: f64,
    weight: f64,
}

const REACH: f64 = 1.3;
const BLEND: f64 = 0.35;

impl Aim {
    fn at(severity: f64) -> Self {
        let severity = severity.clamp(0.0, 1.0);
        Self { severity, weight: (severity / BLEND).min(1.0) }
    }

    /// How much to add to the measure's own value `own`; never towards the sound side.
    fn change(self, own: f64, starts: f64, full: f64) -> f64 {
        let change = starts + REACH * self.severity * (full - starts) - own;
        if change * (full - starts) > 0.0 { self.weight * change } else { 0.0 }
    }
}

impl Fault {
    /// Plants several faults, in the same order however they are listed.
    pub(crate) fn plant_all(faults: &[(Self, f64)], shape: &mut Shape) {
        let mut ordered = faults.to_vec();
        ordered.sort_by_key(|&(fault, _)| (fault.rank(), fault));
        for (fault, severity) in ordered {
            fault.plant(severity, shape);
        }
    }

    /// When it is planted among others: each aims at a value of the body it finds, so whatever
    /// would move that value afterwards comes first.
    fn rank(self) -> u8 {
        match self {
            // The others aim at seconds.
            Self::RushedTempo => 0,
            Self::TossLow => 1,
            // Depth before its moment before what is left of it at contact.
            Self::LateLegDrive => 3,
            Self::CollapsedFrontKnee => 4,
            // The stop halts, and the palm turns with, the swing the others made.
            Self::ShortFinish => 5,
            Self::NoTurnAfterContact => 6,
            // It holds whatever the others made.
            Self::PauseInRhythm => 7,
            _ => 2,
        }
    }

    /// Changes the courses; severity 0 does nothing, 1 is as strong as it gets.
    fn plant(self, severity: f64, shape: &mut Shape) {
        let aim = Aim::at(severity);
        let s = aim.severity;
        match self {
            Self::ShallowLegDrive => {
                let own = shape.at(Channel::FrontKnee, 2.0);
                let factor = 1.0 + aim.change(own, 50.0, 32.0) / (own - 14.0).max(10.0);
                for knee in [Channel::FrontKnee, Channel::BackKnee] {
                    shape.pull(knee, 0.8, 2.9, 0.5, 14.0, factor);
                }
                shape.pull(Channel::FrontHeel, 2.4, 3.6, 0.4, 0.0, 1.0 - 0.6 * s);
            }
            Self::LateLegDrive => {
                // The front knee straightens fastest a little before the legs let go.
                let push = shape.off_stage - 0.14;
                let lead = -shape.seconds(push);
                let by = shape.stage(-lead - aim.change(lead, 0.12, 0.05)) - push;
                for leg in [Channel::FrontKnee, Channel::BackKnee, Channel::FrontHeel] {
                    shape.shift(leg, 2.0, 3.0, 1.4, by);
                }
                shape.off_stage = shifted(shape.off_stage, 2.0, 3.0, 1.4, by);
            }
            Self::CollapsedFrontKnee => {
                let own = shape.at(Channel::FrontKnee, 4.0);
                let change = aim.change(own, 45.0, 62.0);
                shape.pin(Channel::FrontKnee, 4.0);
                let (deep_stage, deep) = shape.greatest(Channel::FrontKnee, 1.0, 3.8);
                // A push that is not half done at the racket's low point leaves no time to bend
                // again: the leg straightens less far.
                if shape.at(Channel::FrontKnee, 3.0) > 0.5 * (deep + own) {
                    let factor = 1.0 - change / (deep - own);
                    shape.pull(Channel::FrontKnee, deep_stage, 4.4, 0.5, deep, factor);
                } else {
                    shape.bump_between(Channel::FrontKnee, 3.4, 4.4, 0.5, change);
                }
            }
            Self::TossingArmDropsEarly => {
                // About here the tossing wrist falls below its shoulder.
                let falls = 3.05;
                let own = shape.seconds(falls);
                let new = shape.stage(own + aim.change(own, -0.20, -0.35)).max(1.8);
                for channel in [
                    Channel::TossElevation,
                    Channel::TossPlane,
                    Channel::TossExternal,
                    Channel::TossElbow,
                ] {
                    shape.retime(channel, 1.6, 4.3, falls, new);
                }
            }
            Self::TrunkOpensEarly => {
                // Against a stance of 88 degrees: nearly the whole turn lies before the racket's
                // low point and little is left for the swing.
                let own = shape.at(Channel::TrunkHeading, 3.0);
                let turned = own - aim.change(88.0 - own, 55.0, 80.0) / aim.weight.max(0.01);
                let weight = (s / 0.55).min(1.0);
                shape.turn_early(Channel::TrunkHeading, turned, weight);
                shape.turn_early(Channel::PelvisHeading, turned - 8.0, weight);
            }
            Self::LumbarArch => {
                // Back over the hips the way the pelvis faces, not away from the net.
                let change = aim.change(shape.greatest_arch(), 34.0, 52.0);
                let (away, back) = shape.at(Channel::PelvisHeading, 3.0).to_radians().sin_cos();
                shape.bump_between(Channel::TrunkLeanNet, 2.7, 3.2, 0.8, -change * back);
                shape.bump_between(Channel::TrunkLeanSide, 2.7, 3.2, 0.8, -change * away);
            }
            Self::ExcessiveSideTilt => {
                let change = aim.change(-shape.at(Channel::TrunkLeanSide, 4.0), 50.0, 62.0);
                shape.bump(Channel::TrunkLeanSide, 4.0, 0.9, -change);
            }
            Self::TossBehind => {
                // The wrist at contact goes with the pelvis and, on a trunk and arm of about 0.58
                // statures, with the lean.
                let per_deg = 0.009;
                let own = shape.at(Channel::PelvisNet, 4.0)
                    + per_deg * shape.at(Channel::TrunkLeanNet, 4.0)
                    + 0.08;
                let change = aim.change(own, 0.10, 0.0);
                shape.bump(Channel::PelvisNet, 4.0, 0.8, 0.2 * change);
                shape.bump(Channel::TrunkLeanNet, 4.0, 0.8, 0.8 * change / per_deg);
                shape.bump(Channel::TossPlane, 1.5, 1.0, -22.0 * s);
                shape.bump(Channel::TossElevation, 1.6, 0.7, 8.0 * s);
            }
            Self::TossLow => {
                // A lower ball is thrown with a slower arm, so the toss starts hardly later.
                let gaps = [1, 2].map(|gap| shape.events_s[gap + 1] - shape.events_s[gap]);
                let cut = -aim.change(-shape.events_s[1], 0.75, 0.55);
                let toss = shape.events_s[1] - shape.events_s[0];
                shape.stretch(1, 1.0 - 0.85 * cut / gaps[0]);
                shape.stretch(2, 1.0 - 0.15 * cut / gaps[1]);
                shape.stretch(0, 1.0 + 0.65 * cut / toss);
                shape.cut_knees_short(aim);
            }
            Self::RushedTempo => {
                // The start of the toss shows about 0.06 s after the hand is lowest.
                let cut = -aim.change(-shape.events_s[0] - 0.06, 1.15, 0.88);
                let toss = shape.events_s[1] - shape.events_s[0];
                let loading = shape.events_s[2] - shape.events_s[1];
                let quick = cut.min(toss - 0.2).max(0.0);
                shape.stretch(0, 1.0 - quick / toss);
                shape.stretch(1, 1.0 - ((cut - quick) / loading).min(0.6));
                shape.cut_knees_short(aim);
            }
            Self::PauseInRhythm => shape.hold(2, aim.change(0.03, 0.12, 0.35)),
            Self::LowContact => {
                let change = aim.change(shape.at(Channel::HitElbow, 4.0), 46.0, 70.0);
                shape.bump_between(Channel::HitElbow, 3.9, 4.2, 0.5, change);
                shape.bump(Channel::HitElevation, 4.0, 0.5, -14.0 * aim.weight * s);
                shape.bump(Channel::GirdleTilt, 4.0, 0.8, -24.0 * aim.weight * s);
            }
            Self::LowHittingElbow => {
                let highest = shape.greatest(Channel::HitElevation, 2.0, 3.0).1;
                let change = aim.change(highest, 85.0, 65.0);
                shape.bump_between(Channel::HitElevation, 1.8, 3.0, 0.9, change);
                // The hanging arm would turn the palm up by itself; that is another fault.
                shape.bump_between(Channel::HitPronation, 2.2, 2.9, 0.6, change);
                let change = aim.change(shape.at(Channel::HitElevation, 4.0), 92.0, 75.0);
                shape.bump(Channel::HitElevation, 4.0, 0.8, change);
            }
            Self::WaitersTray => {
                shape.bump_between(Channel::HitPronation, 2.4, 3.1, 0.5, 66.0 * s);
                shape.bump_between(Channel::HitWrist, 2.2, 3.3, 0.6, -22.0 * s);
            }
            Self::NoTurnAfterContact => {
                // What upper arm and forearm turn after contact, so far that the palm, which the
                // rest of the swing turns too, turns as aimed.
                let turns = [Channel::HitExternal, Channel::HitPronation];
                let now = turns.map(|channel| shape.pin(channel, 4.0));
                let turned = |factor: f64| {
                    let mut tried = shape.clone();
                    for (channel, now) in turns.into_iter().zip(now) {
                        tried.pull(channel, 4.0, 4.6, 0.4, now, factor);
                    }
                    tried
                };
                let own = palm_turn(shape);
                let aimed = own + aim.change(own, 60.0, 25.0);
                // Less of the turn, the palm turns less: halve the interval.
                let (mut less, mut more) = (-1.0, 1.0);
                for _ in 0..12 {
                    let middle = 0.5 * (less + more);
                    if palm_turn(&turned(middle)) > aimed {
                        more = middle;
                    } else {
                        less = middle;
                    }
                }
                *shape = turned(more);
            }
            Self::ShortFinish => {
                // About two thirds of the way to the finish the hand is a quarter as fast.
                let own = shape.seconds(4.65);
                let stop = shape.stage(own + aim.change(own, 0.24, 0.08));
                for channel in [
                    Channel::HitPlane,
                    Channel::HitElevation,
                    Channel::HitElbow,
                    Channel::TrunkHeading,
                    Channel::TrunkLeanNet,
                    Channel::TrunkLeanSide,
                    Channel::GirdleTilt,
                ] {
                    shape.stop(channel, stop, 1.0 - 0.85 * aim.weight);
                }
            }
        }
    }
}

impl Shape {
    /// Greatest lean of the trunk behind the thighs from trophy to contact, degrees, in the plane the
    /// pelvis faces. Thigh and shank are about as long, so the thigh leans back by half the bend.
    fn greatest_arch(&self) -> f64 {
        (20..40)
            .map(|tenth| {
                let stage = f64::from(tenth) / 10.0;
                let at = |channel| self.at(channel, stage);
                let (side, net) = at(Channel::PelvisHeading).to_radians().sin_cos();
                let lean = -(side * at(Channel::TrunkLeanSide) + net * at(Channel::TrunkLeanNet));
                lean - 0.25 * (at(Channel::FrontKnee) + at(Channel::BackKnee))
            })
            .fold(f64::NEG_INFINITY, f64::max)
    }

    /// What a hurry costs: the knees bend less, though not so little that it is a fault of its own.
    fn cut_knees_short(&mut self, aim: Aim) {
        let own = self.at(Channel::FrontKnee, 2.0);
        let factor = 1.0 + aim.weight * (51.0 - own).min(0.0) / (own - 14.0).max(10.0);
        for knee in [Channel::FrontKnee, Channel::BackKnee] {
            self.pull(knee, 0.8, 2.9, 0.5, 14.0, factor);
        }
    }

    /// Turns a heading to `turned` by the racket's low point and leaves it about there until
    /// contact; `weight` 0 leaves the course as it was.
    fn turn_early(&mut self, channel: Channel, turned: f64, weight: f64) {
        let contact = self.at(channel, 4.0);
        let early = [
            (2.45, self.at(channel, 2.35)),
            (2.85, turned - 2.0),
            (3.5, turned - 2.0),
            (4.0, contact.min(turned - 2.0)),
        ];
        let early = early.map(|(stage, aimed)| {
            let own = self.at(channel, stage);
            (stage, own + weight * (aimed - own))
        });
        let keys = &mut self.keys[channel as usize];
        keys.retain(|key| key.0 <= 2.0 || key.0 > 4.0);
        let place = keys.partition_point(|key| key.0 <= 2.0);
        keys.splice(place..place, early);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_round_trip() {
        for &fault in Fault::ALL {
            assert_eq!(Fault::from_id(fault.id()), Some(fault));
        }
        assert_eq!(Fault::from_id("sore_elbow"), None);
    }
}
