//! What makes a stretch of movement a serve: signs with limits, and the words for a missing one.

/// The signs looked for, all in body-relative units. A serve shows every one of them, in a picture all but a faint one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sign {
    /// The hitting wrist rises above the shoulders (statures).
    Reach,
    /// The tossing wrist rises above the shoulders first (statures).
    Toss,
    /// Time from the top of the tossing arm to the top of the hitting arm (s).
    Lead,
    /// At the top of the toss the tossing wrist is above the hitting wrist (statures).
    TossAbove,
    /// Height of the hitting wrist over the shoulders at the top of the toss (statures).
    HittingLow,
    /// Distance between the wrists at the top of the toss (statures); two hands on one club, bat or
    /// ball stay together.
    Apart,
    /// Time both wrists are clearly above the shoulders, from the toss through the swing (s).
    BothUp,
    /// At the top of the swing the hitting wrist is above the tossing wrist (statures).
    HitAbove,
    /// The tossing arm has come down from its top when the hitting arm is at its top (statures).
    TossDown,
    /// The tossing wrist starts its rise below the shoulders (statures).
    StartsLow,
    /// The tossing wrist's top over the height the shoulders had when the body stood (statures).
    TossStanding,
    /// Horizontal travel of the hitting wrist past the body (statures).
    Travel,
    /// Drop of the hitting wrist after its top (statures).
    FollowThrough,
    /// Peak speed of the hitting wrist relative to the hips (statures per second).
    Speed,
    /// That speed over the peak speed of the rising tossing wrist: a recording that runs backwards
    /// in time has the fast hand up first.
    Faster,
}

/// Limits of a sign: at `least` it is just there, at `clear` nobody would doubt it.
struct Limits {
    least: f64,
    clear: f64,
}

impl Sign {
    pub(super) const ALL: [Self; 15] = [
        Self::Reach,
        Self::Toss,
        Self::TossAbove,
        Self::HittingLow,
        Self::BothUp,
        Self::Lead,
        Self::HitAbove,
        Self::TossDown,
        Self::Apart,
        Self::StartsLow,
        Self::TossStanding,
        Self::Travel,
        Self::FollowThrough,
        Self::Speed,
        Self::Faster,
    ];

    /// Set from what the movement needs, then checked against real takes; one stature is about
    /// 1.7 m, the straight arm about 0.33 and the head's centre about 0.1 above the shoulders.
    fn limits(self) -> Limits {
        let (least, clear) = match self {
            Self::Reach => (0.10, 0.20),
            Self::Toss => (0.03, 0.15),
            Self::Lead => (0.12, 0.40),
            Self::TossAbove => (0.04, 0.25),
            Self::HittingLow => (0.22, 0.10),
            // Fourteen serves before a depth sensor: 0.41 to 0.72.
            Self::Apart => (0.33, 0.45),
            Self::BothUp => (1.0, 0.6),
            Self::HitAbove => (0.15, 0.35),
            Self::TossDown => (0.10, 0.30),
            Self::StartsLow => (0.08, 0.25),
            Self::TossStanding => (-0.06, 0.10),
            Self::Travel => (0.20, 0.45),
            Self::FollowThrough => (0.15, 0.40),
            Self::Speed => (0.8, 1.8),
            // Markers of one right-hander: 2.4 to 3.1, run backwards 0.3 to 0.4; fifteen serves
            // mimed before a depth sensor: 0.6 to 1.7, backwards 0.6 to 1.3, not to be told apart.
            Self::Faster => (0.5, 1.0),
        };
        Limits { least, clear }
    }

    /// 0 at the limit, 1 where the sign is clear; negative where it is missing.
    pub(super) fn margin(self, value: f64) -> f64 {
        let Limits { least, clear } = self.limits();
        (value - least) / (clear - least)
    }

    /// What the sign is, in a few words.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Reach => "height of the hitting hand",
            Self::Toss => "height of the tossing hand",
            Self::Lead => "time from toss to swing",
            Self::TossAbove => "tossing hand above hitting hand in the toss",
            Self::HittingLow => "hitting hand not overhead in the toss",
            Self::Apart => "hands apart in the toss",
            Self::BothUp => "arms up one after the other",
            Self::HitAbove => "hitting hand above tossing hand at the top",
            Self::TossDown => "tossing arm coming down",
            Self::StartsLow => "tossing hand starting low",
            Self::TossStanding => "height of the tossing hand above the standing body",
            Self::Travel => "how far the hitting hand travels past the body",
            Self::FollowThrough => "follow-through",
            Self::Speed => "speed of the hitting hand",
            Self::Faster => "hitting hand faster than the tossing hand",
        }
    }

    /// The reason for a coach when this sign is missing.
    pub(super) fn missing(self, value: f64) -> String {
        let Limits { least, .. } = self.limits();
        match self {
            Self::Reach => format!(
                "no hand swings overhead (highest wrist {} the shoulders; a serve needs \
                 {least:.2} of body height above)",
                signed(value)
            ),
            Self::Toss => format!(
                "no toss: the other hand does not rise above the shoulders before the swing (its \
                 highest point is {} them)",
                signed(value)
            ),
            Self::Lead => format!(
                "no toss before the swing: both hands reach their highest point together \
                 ({value:.2} s apart; a serve needs {least:.2} s)"
            ),
            Self::TossAbove => {
                "no toss: the hitting hand is up before the other hand rises above it".to_owned()
            }
            Self::HittingLow => {
                "no toss before the swing: both hands are overhead together".to_owned()
            }
            Self::Apart => format!(
                "no toss before the swing: the hands stay together ({value:.2} of body height \
                 apart when the other hand is highest; a serve needs {least:.2}), as on a club or \
                 a large ball"
            ),
            Self::BothUp => {
                format!("no serve: both hands stay above the shoulders together for {value:.1} s")
            }
            Self::HitAbove => format!(
                "no overhead hit: at the top of the swing the hitting hand is only {value:.2} of \
                 body height above the other hand: both arms are up"
            ),
            Self::TossDown => format!(
                "no serve: the other arm stays up through the swing (it comes down by {value:.2} \
                 of body height; a serve needs {least:.2})"
            ),
            Self::StartsLow => {
                "no toss: the other hand is up from the start, and the recording does not show it \
                 rising"
                    .to_owned()
            }
            Self::TossStanding => format!(
                "no toss: the other hand is above the shoulders only because the trunk is bent \
                 (its highest point is {} where the shoulders were): picking something up, not \
                 tossing",
                signed(value)
            ),
            Self::Travel => format!(
                "no swing: the hitting hand goes up and down in place (it travels {value:.2} of \
                 body height past the body; a serve needs {least:.2})"
            ),
            Self::FollowThrough => format!(
                "no follow-through: after its highest point the hitting hand comes down by only \
                 {value:.2} of body height before the recording ends or it rises again"
            ),
            Self::Speed => {
                format!(
                    "no swing: the hitting hand never moves faster than {value:.1} body \
                     heights a second"
                )
            }
            Self::Faster => format!(
                "no serve: the hand that rises first is {:.1} times as fast as the hand that \
                 would hit; the recording seems to run backwards",
                1.0 / value
            ),
        }
    }
}

fn signed(statures: f64) -> String {
    if statures < 0.0 {
        format!("{:.2} of body height below", -statures)
    } else {
        format!("{statures:.2} of body height above")
    }
}
