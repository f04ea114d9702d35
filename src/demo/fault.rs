//! Faults as changes of the courses, planted with a known severity.

use super::course::{Channel, Course, Keys};

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
    /// Pulls keys between `from` and `to` towards `pivot`: the distance is multiplied by `factor`.
    fn pull(&mut self, channel: Channel, from: f64, to: f64, width: f64, pivot: f64, factor: f64) {
        for key in &mut self.keys[channel as usize] {
            let away = (from - key.0).max(key.0 - to).max(0.0) / width;
            let w = 0.5 * (1.0 + (std::f64::consts::PI * away.min(1.0)).cos());
            key.1 += w * (factor - 1.0) * (key.1 - pivot);
        }
    }

    /// Moves keys between `from` and `to` by `by` stages, fading linearly over `width`.
    /// Keys keep their order as long as `by` is smaller than `width`.
    fn shift(&mut self, channel: Channel, from: f64, to: f64, width: f64, by: f64) {
        for key in &mut self.keys[channel as usize] {
            key.0 = shifted(key.0, from, to, width, by);
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
    /// Much backward lean at trophy.
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

impl Fault {
    /// Changes the courses; severity 0 does nothing, 1 is as strong as it gets.
    pub(crate) fn plant(self, severity: f64, shape: &mut Shape) {
        let s = severity.clamp(0.0, 1.0);
        match self {
            Self::ShallowLegDrive => {
                for knee in [Channel::FrontKnee, Channel::BackKnee] {
                    shape.pull(knee, 0.8, 2.9, 0.5, 14.0, 1.0 - 0.74 * s);
                }
                shape.pull(Channel::FrontHeel, 2.4, 3.6, 0.4, 0.0, 1.0 - 0.6 * s);
            }
            Self::LateLegDrive => {
                for leg in [Channel::FrontKnee, Channel::BackKnee, Channel::FrontHeel] {
                    shape.shift(leg, 2.0, 3.0, 1.4, 0.8 * s);
                }
                shape.off_stage = shifted(shape.off_stage, 2.0, 3.0, 1.4, 0.8 * s);
            }
            Self::CollapsedFrontKnee => {
                shape.bump_between(Channel::FrontKnee, 3.2, 4.4, 0.5, 44.0 * s);
            }
            Self::TossingArmDropsEarly => {
                shape.shift(Channel::TossElevation, 2.2, 3.2, 1.1, -0.9 * s);
                shape.shift(Channel::TossElbow, 2.2, 3.2, 1.1, -0.9 * s);
            }
            Self::TrunkOpensEarly => {
                shape.shift(Channel::TrunkHeading, 2.3, 4.0, 1.2, -s);
                shape.shift(Channel::PelvisHeading, 2.3, 4.0, 1.2, -0.8 * s);
            }
            Self::LumbarArch => {
                shape.bump(Channel::TrunkLeanNet, 2.0, 0.9, -20.0 * s);
                shape.bump(Channel::TrunkLeanSide, 2.0, 0.9, -4.0 * s);
            }
            Self::ExcessiveSideTilt => {
                shape.bump(Channel::TrunkLeanSide, 4.0, 0.9, -26.0 * s);
            }
            Self::TossBehind => {
                shape.bump(Channel::TrunkLeanNet, 4.0, 0.8, -18.0 * s);
                shape.bump(Channel::HitPlane, 4.0, 0.12, -14.0 * s);
                shape.bump(Channel::PelvisNet, 4.0, 0.8, -0.04 * s);
                shape.bump(Channel::TossPlane, 1.5, 1.0, -22.0 * s);
                shape.bump(Channel::TossElevation, 1.6, 0.7, 8.0 * s);
            }
            Self::TossLow => {
                shape.stretch(0, 1.0 + 0.45 * s);
                shape.stretch(1, 1.0 - 0.62 * s);
                shape.stretch(2, 1.0 - 0.12 * s);
            }
            Self::RushedTempo => {
                shape.stretch(0, 1.0 - 0.6 * s);
                shape.stretch(1, 1.0 - 0.36 * s);
                shape.stretch(2, 1.0 - 0.12 * s);
            }
            Self::PauseInRhythm => shape.hold(2, 0.5 * s),
            Self::LowContact => {
                shape.bump_between(Channel::HitElbow, 3.9, 4.2, 0.5, 48.0 * s);
                shape.bump(Channel::HitElevation, 4.0, 0.5, -8.0 * s);
                shape.bump(Channel::GirdleTilt, 4.0, 0.8, -12.0 * s);
                shape.stretch(3, 1.0 + 0.25 * s);
                shape.stretch(4, 1.0 + 0.25 * s);
            }
            Self::LowHittingElbow => {
                shape.bump_between(Channel::HitElevation, 1.8, 3.0, 0.9, -34.0 * s);
                shape.bump(Channel::HitElevation, 4.0, 0.7, -26.0 * s);
            }
            Self::WaitersTray => {
                shape.bump_between(Channel::HitPronation, 2.4, 3.1, 0.5, 68.0 * s);
                shape.bump_between(Channel::HitWrist, 2.2, 3.3, 0.6, -22.0 * s);
                shape.bump(Channel::HitElevation, 3.0, 0.8, -6.0 * s);
            }
            Self::NoTurnAfterContact => {
                shape.pull(Channel::HitExternal, 4.05, 4.7, 0.2, 80.0, 1.0 - 0.85 * s);
                shape.pull(Channel::HitPronation, 4.05, 4.7, 0.2, -24.0, 1.0 - 0.95 * s);
                shape.bump_between(Channel::HitWrist, 4.05, 4.6, 0.2, 22.0 * s);
            }
            Self::ShortFinish => {
                shape.stretch(4, 1.0 - 0.55 * s);
                shape.bump(Channel::HitPlane, 5.0, 0.8, -46.0 * s);
                shape.bump(Channel::HitElevation, 5.0, 0.8, 34.0 * s);
                shape.bump(Channel::TrunkLeanNet, 5.0, 0.8, -16.0 * s);
            }
        }
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
