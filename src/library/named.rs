//! One stable name per enum value: the spelling in the store, in filters and in `--json`.

use super::{
    ChangeKind, ConsentBy, Court, HurtsWhen, LabelState, Level, ServeType, Setting, Target,
};
use crate::catalogue::{Attempt, BodyPart, Miss, Place};
use crate::motion::{Capture, Dimensions, Side, Unit, View};
use crate::serve::EventKind;

/// A value with one stable spelling.
pub trait Named: Sized + Copy + PartialEq + 'static {
    /// What such a value is called, for messages: `level`, `hand` ...
    const WHAT: &'static str;
    /// Every value with its name, in order.
    const NAMES: &'static [(Self, &'static str)];

    /// The stable name, for example `practice_swing`.
    fn name(self) -> &'static str {
        Self::NAMES.iter().find(|(value, _)| *value == self).map_or("", |(_, name)| name)
    }

    /// The value with this name.
    fn from_name(name: &str) -> Option<Self> {
        Self::NAMES.iter().find(|(_, known)| *known == name).map(|(value, _)| *value)
    }

    /// The value whose name somebody typed, with spaces or hyphens for the underscores.
    fn from_typed(name: &str) -> Option<Self> {
        Self::from_name(&name.trim().replace([' ', '-'], "_"))
    }

    /// All names, for messages: `beginner, club, competition`.
    fn names() -> String {
        Self::NAMES.iter().map(|(_, name)| *name).collect::<Vec<_>>().join(", ")
    }
}

macro_rules! named {
    ($($what:literal $type:ty { $($value:ident = $name:literal,)* })*) => {$(
        impl Named for $type {
            const WHAT: &'static str = $what;
            const NAMES: &'static [(Self, &'static str)] = &[$((Self::$value, $name),)*];
        }
    )*};
}

named! {
    "level" Level {
        Beginner = "beginner",
        Club = "club",
        Competition = "competition",
        National = "national",
        Professional = "professional",
    }
    "giver of consent" ConsentBy { Player = "player", Guardian = "guardian", }
    "type of serve" ServeType { Flat = "flat", Slice = "slice", Kick = "kick", }
    "setting" Setting {
        PracticeSwing = "practice_swing",
        BallNoTarget = "ball_no_target",
        Target = "target",
        Match = "match",
    }
    "place" Place {
        OffCourt = "off_court",
        PracticeSwing = "practice_swing",
        Wall = "wall",
        ServiceLine = "service_line",
        Baseline = "baseline",
    }
    "part of the body" BodyPart {
        Shoulder = "shoulder",
        Elbow = "elbow",
        Wrist = "wrist",
        Back = "back",
        Trunk = "trunk",
        Hip = "hip",
        Knee = "knee",
        Foot = "foot",
    }
    "time of pain" HurtsWhen {
        Serving = "serving",
        Afterwards = "afterwards",
        NextDay = "next_day",
        AtRest = "at_rest",
    }
    "serve of the point" Attempt { First = "first", Second = "second", }
    "court" Court { Deuce = "deuce", Ad = "ad", }
    "target" Target { Wide = "wide", Body = "body", T = "t", }
    "label state" LabelState {
        Suspected = "suspected",
        Confirmed = "confirmed",
        Rejected = "rejected",
        Added = "added",
        Limiting = "limiting",
    }
    "change" ChangeKind {
        Added = "added",
        Judged = "judged",
        Planned = "planned",
        PlanEnded = "plan_ended",
        FollowedUp = "followed_up",
        Practised = "practised",
        Marked = "marked",
        Amended = "amended",
        Moved = "moved",
        Removed = "removed",
        Undone = "undone",
    }
    "moment" EventKind {
        TossStart = "toss_start",
        Release = "release",
        Trophy = "trophy",
        RacketLow = "racket_low",
        Contact = "contact",
        Finish = "finish",
    }
    "miss" Miss { Net = "net", Long = "long", Wide = "wide", }
    "hand" Side { Left = "left", Right = "right", }
    "capture" Capture {
        Markers = "markers",
        DepthSensor = "depth_sensor",
        SeveralCameras = "several_cameras",
        OneCameraLifted = "one_camera_lifted",
        OneCameraFlat = "one_camera_flat",
        Generated = "generated",
        Unknown = "unknown",
    }
    "view" View {
        Behind = "behind",
        Front = "front",
        Side = "side",
        Diagonal = "diagonal",
    }
    "dimensions" Dimensions { Two = "two", Three = "three", }
    "unit" Unit { Metre = "metre", Pixel = "pixel", Arbitrary = "arbitrary", }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn round_trip<T: Named + std::fmt::Debug + serde::Serialize>() {
        for &(value, name) in T::NAMES {
            assert_eq!(T::from_name(name), Some(value));
            assert_eq!(value.name(), name);
            // The same spelling as in `--json`.
            assert_eq!(serde_json::to_value(value).unwrap(), serde_json::Value::from(name));
        }
        assert_eq!(T::from_name("no such"), None);
    }

    #[test]
    fn names_round_trip_and_match_json() {
        round_trip::<Level>();
        round_trip::<ConsentBy>();
        round_trip::<ServeType>();
        round_trip::<Setting>();
        round_trip::<LabelState>();
        round_trip::<ChangeKind>();
        round_trip::<EventKind>();
        round_trip::<Miss>();
        round_trip::<BodyPart>();
        round_trip::<HurtsWhen>();
        round_trip::<Attempt>();
        round_trip::<Court>();
        round_trip::<Target>();
        round_trip::<Side>();
        round_trip::<Capture>();
        round_trip::<View>();
        round_trip::<Dimensions>();
        round_trip::<Unit>();
    }
}
