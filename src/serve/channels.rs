//! The channels of a comparable curve: what each is, its part of the body, its fixed scale.

use super::body::{Courses, value_at};
use super::{CURVE_FRAMES, Curve, EventKind};
use serde::{Deserialize, Serialize};

/// A part of the body that channels belong to; likeness is explained and weighted by it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BodyPart {
    /// The arm that holds the racket.
    HittingArm,
    /// The arm that tosses the ball.
    TossingArm,
    /// Pelvis, trunk and shoulders.
    Trunk,
    /// The leg on the net side (the tossing arm's side).
    FrontLeg,
    /// The leg on the hitting arm's side.
    BackLeg,
}

impl BodyPart {
    /// Every part.
    pub const ALL: [Self; 5] =
        [Self::HittingArm, Self::TossingArm, Self::Trunk, Self::FrontLeg, Self::BackLeg];

    /// Name in data: `hitting_arm`, `tossing_arm`, `trunk`, `front_leg`, `back_leg`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::HittingArm => "hitting_arm",
            Self::TossingArm => "tossing_arm",
            Self::Trunk => "trunk",
            Self::FrontLeg => "front_leg",
            Self::BackLeg => "back_leg",
        }
    }

    /// Name for people: "hitting arm" ...
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Self::HittingArm => "hitting arm",
            Self::TossingArm => "tossing arm",
            Self::Trunk => "trunk",
            Self::FrontLeg => "front leg",
            Self::BackLeg => "back leg",
        }
    }

    /// The part with this name in data.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|part| part.name() == name)
    }
}

/// One channel of a curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChannelDef {
    /// Stable name in data.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Unit of the unscaled values: `deg` or `ratio` (statures).
    pub unit: &'static str,
    /// Zero and sign.
    pub definition: &'static str,
    /// Part of the body.
    pub part: BodyPart,
    /// Fixed population scale in `unit`: what a curve's value of 1 stands for.
    pub scale: f64,
    /// Where the scale comes from (row ids of published tables, or how we chose it).
    pub source: &'static str,
}

/// The stretch between two neighbouring events, for explaining where two serves differ.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phase {
    /// Stable name in data.
    pub name: &'static str,
    /// Name for people.
    pub label: &'static str,
    /// Begins here.
    pub from: EventKind,
    /// Ends here.
    pub to: EventKind,
}

/// The phases of a serve, in order of time, without gaps.
pub const PHASES: &[Phase] = &[
    Phase { name: "toss", label: "toss", from: EventKind::TossStart, to: EventKind::Release },
    Phase { name: "loading", label: "loading", from: EventKind::Release, to: EventKind::Trophy },
    Phase {
        name: "cocking",
        label: "racket drop",
        from: EventKind::Trophy,
        to: EventKind::RacketLow,
    },
    Phase {
        name: "acceleration",
        label: "swing up",
        from: EventKind::RacketLow,
        to: EventKind::Contact,
    },
    Phase {
        name: "follow_through",
        label: "follow-through",
        from: EventKind::Contact,
        to: EventKind::Finish,
    },
];

/// Channel set of every source in space: shoulders, elbows, wrists, hips, knees and ankles.
pub const CORE_SET: &str = "core-1";
/// Channel set of pictures from one camera: what the picture plane shows; compare only the same view.
pub const FLAT_SET: &str = "flat-1";

type Series = fn(&Courses) -> &Vec<f64>;

macro_rules! channel_table {
    ($($name:literal, $label:literal, $unit:literal, $part:ident, $scale:literal, $course:ident, $flat:literal, $definition:literal, $source:literal;)*) => {
        const TABLE: &[(ChannelDef, Series, bool)] = &[$((
            ChannelDef {
                name: $name, label: $label, unit: $unit, definition: $definition,
                part: BodyPart::$part, scale: $scale, source: $source,
            },
            |courses| &courses.$course,
            $flat,
        ),)*];
    };
}

channel_table! {
    "front_knee_flexion", "front knee bend", "deg", FrontLeg, 12.0, front_knee, true,
        "180 minus the included angle hip-knee-ankle of the tossing side; 0 = straight",
        "between the spreads of R025 (9.7) and R022 (14)";
    "back_knee_flexion", "back knee bend", "deg", BackLeg, 12.0, back_knee, true,
        "180 minus the included angle hip-knee-ankle of the hitting side; 0 = straight",
        "as the front knee: no published spread read";
    "trunk_forward", "trunk lean towards the net", "deg", Trunk, 8.0, trunk_forward, true,
        "mid-hips to mid-shoulders off the vertical towards the net, negative away from it; in a picture: in the picture plane, towards the tossing side",
        "spread of trunk inclination R024 (7.1) and R018 (7), rounded up for one direction's sign";
    "trunk_side", "trunk lean to the tossing side", "deg", Trunk, 8.0, trunk_side, false,
        "mid-hips to mid-shoulders off the vertical towards the tossing side, across the direction to the net",
        "as the lean to the net";
    "pelvis_turn", "hip turn", "deg", Trunk, 15.0, pelvis_turn, false,
        "hip line about the vertical from the stance at the start of the toss; positive = opening to the net",
        "chosen by us near the spread between real takes; no published spread of this definition read";
    "shoulder_turn", "shoulder turn", "deg", Trunk, 18.0, shoulder_turn, false,
        "shoulder line about the vertical from the stance at the start of the toss; positive = opening to the net",
        "chosen by us near the spread between real takes; no published spread of this definition read";
    "hitting_arm_elevation", "hitting elbow height", "deg", HittingArm, 17.0, hit_elevation, true,
        "included angle of shoulder-elbow and mid-shoulders to mid-hips; 0 = at the side, 90 = across",
        "R027 (16.9)";
    "hitting_elbow_flexion", "hitting elbow bend", "deg", HittingArm, 16.0, hit_elbow, true,
        "180 minus the included angle shoulder-elbow-wrist; 0 = straight",
        "R028 (15.9)";
    "hitting_wrist_height", "hitting wrist height", "ratio", HittingArm, 0.06, hit_height, true,
        "height of the wrist over the middle of the hips, in statures estimated from the body",
        "chosen by us near the spread between real takes; no published spread read";
    "tossing_arm_elevation", "tossing elbow height", "deg", TossingArm, 17.0, toss_elevation, true,
        "included angle of shoulder-elbow and mid-shoulders to mid-hips; 0 = at the side, 90 = across",
        "as the hitting arm: no published spread read";
    "tossing_elbow_flexion", "tossing elbow bend", "deg", TossingArm, 16.0, toss_elbow, true,
        "180 minus the included angle shoulder-elbow-wrist; 0 = straight",
        "as the hitting arm: no published spread read";
    "tossing_wrist_height", "tossing wrist height", "ratio", TossingArm, 0.06, toss_height, true,
        "height of the wrist over the middle of the hips, in statures estimated from the body",
        "as the hitting wrist";
}

const CORE: [ChannelDef; TABLE.len()] = {
    let mut core = [TABLE[0].0; TABLE.len()];
    let mut i = 0;
    while i < TABLE.len() {
        core[i] = TABLE[i].0;
        i += 1;
    }
    core
};

const FLAT_COUNT: usize = {
    let (mut i, mut count) = (0, 0);
    while i < TABLE.len() {
        if TABLE[i].2 {
            count += 1;
        }
        i += 1;
    }
    count
};

const FLAT: [ChannelDef; FLAT_COUNT] = {
    let mut flat = [TABLE[0].0; FLAT_COUNT];
    let (mut i, mut count) = (0, 0);
    while i < TABLE.len() {
        if TABLE[i].2 {
            flat[count] = TABLE[i].0;
            count += 1;
        }
        i += 1;
    }
    flat
};

/// The channels of a set, in the order of a curve's columns; empty for a set we do not know.
#[must_use]
pub fn channels(set: &str) -> &'static [ChannelDef] {
    match set {
        CORE_SET => &CORE,
        FLAT_SET => &FLAT,
        _ => &[],
    }
}

/// The curve of a serve: even steps of time from `start` to `finish` (grid positions).
///
/// `Err` names the first channel that is unseen somewhere.
pub(super) fn curve(
    courses: &Courses,
    flat: bool,
    start: f64,
    finish: f64,
) -> Result<Curve, &'static ChannelDef> {
    let columns: Vec<&(ChannelDef, Series, bool)> =
        TABLE.iter().filter(|row| row.2 || !flat).collect();
    let mut values = Vec::with_capacity(CURVE_FRAMES * columns.len());
    for sample in 0..CURVE_FRAMES {
        let at = start + (finish - start) * sample as f64 / (CURVE_FRAMES - 1) as f64;
        for (def, course, _) in &columns {
            let value = value_at(course(courses), at) / def.scale;
            if !value.is_finite() {
                return Err(def);
            }
            values.push(value as f32);
        }
    }
    Ok(Curve {
        channel_set: if flat { FLAT_SET } else { CORE_SET }.to_owned(),
        channels: columns.len(),
        values,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sets_are_whole_and_phases_follow_each_other() {
        assert_eq!(channels(CORE_SET).len(), 12);
        assert_eq!(channels(FLAT_SET).len(), 9);
        assert!(channels("core-0").is_empty());
        for def in channels(CORE_SET) {
            assert!(def.scale > 0.0 && !def.source.is_empty(), "{}", def.name);
        }
        for pair in PHASES.windows(2) {
            assert_eq!(pair[0].to, pair[1].from);
        }
        assert_eq!((PHASES[0].from, PHASES[4].to), (EventKind::TossStart, EventKind::Finish));
        for part in BodyPart::ALL {
            assert_eq!(BodyPart::from_name(part.name()), Some(part));
        }
    }
}
