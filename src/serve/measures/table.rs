//! The measures, their definitions and where definition and spread come from.

use super::{AngleKind, Flat, Rule, palm, special};
use crate::serve::{EventKind, MeasureDef};

/// Spreads from serve to serve of one player. Published for serves only for arm elevation at
/// impact (1.1-5.5, three serves each); knees, trunk and elbow stand on another stroke (R145-R148).
const SD_KNEE: (f64, &str) = (4.0, "R145 (another stroke, 2.9-9.0)");
const SD_ELBOW: (f64, &str) = (6.0, "R147 (another stroke, 6.4-13.9), lower end");
const SD_SHOULDER: (f64, &str) = (3.5, "markers, 3 serves each: 1.1-5.5 at impact");
const SD_TRUNK: (f64, &str) = (3.0, "R146 (another stroke, chest, 2.4-4.3)");
const SD_TURN: (f64, &str) = (4.0, "R146 (another stroke, chest, 2.4-4.3), upper end");

macro_rules! at {
    ($course:ident, $event:ident, $kind:ident, $flat:ident) => {
        at!($course, $event, $kind, $flat, 1.0)
    };
    ($course:ident, $event:ident, $kind:ident, $flat:ident, $sign:literal) => {
        Rule::At {
            course: |courses| &courses.$course,
            event: EventKind::$event,
            kind: AngleKind::$kind,
            sign: $sign,
            flat: Flat::$flat,
        }
    };
}

const fn def(
    id: &'static str,
    name: &'static str,
    definition: &'static str,
    moment: &'static str,
    unit: &'static str,
    within_player_sd: f64,
    source: &'static str,
) -> MeasureDef {
    MeasureDef { id, name, definition, moment, unit, within_player_sd, source }
}

const KNEE: &str = "180 minus the included angle hip-knee-ankle; 0 = straight";
const ELBOW: &str = "180 minus the included angle shoulder-elbow-wrist; 0 = straight";
const UPPER_ARM: &str = "included angle of the upper arm (shoulder to elbow) and the trunk (mid-shoulders to mid-hips); 0 = at the side, 90 = across";
const INCLINATION: &str = "included angle of the trunk (mid-hips to mid-shoulders) and the vertical, in any direction; 0 = upright";
const SIDE_TILT: &str = "trunk (mid-hips to mid-shoulders) off the vertical towards the tossing side, in the plane across the direction to the net; negative = to the hitting side";
const SHOULDER_TILT: &str =
    "elevation of the line from tossing to hitting shoulder; positive = hitting shoulder higher";
const OPENING: &str = "turn of the shoulder line about the vertical from the stance (ankles and hips) at the start of the toss; positive = opening to the net, negative = closed beyond the stance";
const SEPARATION: &str = "turn of the hip line minus turn of the shoulder line, about the vertical; positive = the pelvis is ahead";

pub(super) const TABLE: &[(MeasureDef, Rule)] = &[
    (
        def(
            "front_knee_flexion_trophy",
            "front knee bend at trophy",
            KNEE,
            "trophy",
            "deg",
            SD_KNEE.0,
            "definition as R025 (convention assumed there); spread: R145 (another stroke, 2.9-9.0)",
        ),
        at!(front_knee, Trophy, Hinge, FrontKnee),
    ),
    (
        def(
            "back_knee_flexion_trophy",
            "back knee bend at trophy",
            KNEE,
            "trophy",
            "deg",
            SD_KNEE.0,
            SD_KNEE.1,
        ),
        at!(back_knee, Trophy, Hinge, Knees),
    ),
    (
        def(
            "front_knee_flexion_contact",
            "front knee bend at contact",
            KNEE,
            "contact",
            "deg",
            SD_KNEE.0,
            "definition as R022 (recalled there); spread: R145 (another stroke, 2.9-9.0)",
        ),
        at!(front_knee, Contact, Hinge, Knees),
    ),
    (
        def(
            "back_knee_flexion_contact",
            "back knee bend at contact",
            KNEE,
            "contact",
            "deg",
            SD_KNEE.0,
            SD_KNEE.1,
        ),
        at!(back_knee, Contact, Hinge, Knees),
    ),
    (
        def(
            "knee_extension_lead",
            "leg drive before contact",
            "time from the front knee's fastest straightening after trophy to contact",
            "trophy to contact",
            "s",
            0.02,
            "our estimate",
        ),
        Rule::Own(special::knee_extension_lead),
    ),
    (
        def(
            "elbow_flexion_trophy",
            "hitting elbow bend at trophy",
            ELBOW,
            "trophy",
            "deg",
            SD_ELBOW.0,
            SD_ELBOW.1,
        ),
        at!(hit_elbow, Trophy, Elbow, No),
    ),
    (
        def(
            "elbow_flexion_racket_low",
            "hitting elbow bend at the racket low point",
            ELBOW,
            "racket_low",
            "deg",
            SD_ELBOW.0,
            "definition as R002 (there around the cocked position); spread: R147 (another stroke, 6.4-13.9), lower end",
        ),
        at!(hit_elbow, RacketLow, Elbow, No),
    ),
    (
        def(
            "elbow_flexion_contact",
            "hitting elbow bend at contact",
            ELBOW,
            "contact",
            "deg",
            SD_ELBOW.0,
            "definition as R028 and R020 (convention assumed there); spread: R147 (another stroke, 6.4-13.9), lower end",
        ),
        at!(hit_elbow, Contact, Elbow, No),
    ),
    (
        def(
            "shoulder_elevation_trophy",
            "hitting elbow height at trophy (upper arm to trunk)",
            UPPER_ARM,
            "trophy",
            "deg",
            SD_SHOULDER.0,
            SD_SHOULDER.1,
        ),
        at!(hit_elevation, Trophy, Arm, No),
    ),
    (
        def(
            "shoulder_elevation_contact",
            "hitting elbow height at contact (upper arm to trunk)",
            UPPER_ARM,
            "contact",
            "deg",
            SD_SHOULDER.0,
            "definition as R004 and R027 (convention assumed there); spread: markers, 3 serves each, 1.1-5.5 at impact",
        ),
        at!(hit_elevation, Contact, Arm, No),
    ),
    (
        def(
            "trunk_inclination_trophy",
            "trunk inclination at trophy",
            INCLINATION,
            "trophy",
            "deg",
            SD_TRUNK.0,
            "definition as R024 (direction pooled there); spread: R146 (another stroke, chest, 2.4-4.3)",
        ),
        at!(inclination, Trophy, Trunk, No),
    ),
    (
        def(
            "trunk_inclination_contact",
            "trunk inclination at contact",
            INCLINATION,
            "contact",
            "deg",
            SD_TRUNK.0,
            "definition as 90 minus R003; spread: R146 (another stroke, chest, 2.4-4.3)",
        ),
        at!(inclination, Contact, Trunk, No),
    ),
    (
        def(
            "trunk_backward_lean_trophy",
            "trunk lean away from the net at trophy",
            "trunk (mid-hips to mid-shoulders) off the vertical away from the net; negative = towards it",
            "trophy",
            "deg",
            SD_TRUNK.0,
            SD_TRUNK.1,
        ),
        at!(trunk_forward, Trophy, Lean, FromSide, -1.0),
    ),
    (
        def(
            "trunk_backward_lean_greatest",
            "greatest trunk lean away from the net",
            "trunk (mid-hips to mid-shoulders) off the vertical away from the net, at its greatest between release and contact; it does not wait for the knees, so a leg drive that comes late does not hide it",
            "release to contact",
            "deg",
            SD_TRUNK.0,
            "our estimate (R024 is the inclination at trophy in any direction, and its studies fix the trophy in different ways); spread: R146 (another stroke, chest, 2.4-4.3)",
        ),
        Rule::Own(special::greatest_backward_lean),
    ),
    (
        def(
            "trunk_side_tilt_trophy",
            "sideways trunk tilt at trophy",
            SIDE_TILT,
            "trophy",
            "deg",
            SD_TRUNK.0,
            SD_TRUNK.1,
        ),
        at!(trunk_side, Trophy, Lean, FromBehind),
    ),
    (
        def(
            "trunk_side_tilt_contact",
            "sideways trunk tilt at contact",
            SIDE_TILT,
            "contact",
            "deg",
            SD_TRUNK.0,
            SD_TRUNK.1,
        ),
        at!(trunk_side, Contact, Lean, FromBehind),
    ),
    (
        def(
            "shoulder_tilt_trophy",
            "shoulder tilt at trophy",
            SHOULDER_TILT,
            "trophy",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(shoulder_tilt, Trophy, Trunk, No),
    ),
    (
        def(
            "shoulder_tilt_contact",
            "shoulder tilt at contact",
            SHOULDER_TILT,
            "contact",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(shoulder_tilt, Contact, Trunk, No),
    ),
    (
        def(
            "trunk_opening_release",
            "trunk opening at release",
            OPENING,
            "release",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(shoulder_turn, Release, Turn, No),
    ),
    (
        def(
            "trunk_opening_trophy",
            "trunk opening at trophy",
            OPENING,
            "trophy",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(shoulder_turn, Trophy, Turn, No),
    ),
    (
        def(
            "trunk_opening_racket_low",
            "trunk opening at the racket low point",
            OPENING,
            "racket_low",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(shoulder_turn, RacketLow, Turn, No),
    ),
    (
        def(
            "trunk_opening_contact",
            "trunk opening at contact",
            OPENING,
            "contact",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(shoulder_turn, Contact, Turn, No),
    ),
    (
        def(
            "trunk_opening_time",
            "when the trunk opens",
            "time from contact to the moment the shoulders have turned 20 deg from their most closed position on the way to contact; negative = before contact",
            "release to contact",
            "s",
            0.02,
            "our estimate",
        ),
        Rule::Own(special::trunk_opening_time),
    ),
    (
        def(
            "trunk_turn_peak_lead",
            "fastest trunk turn before contact",
            "time from the shoulder line's fastest opening about the vertical to contact",
            "trophy to contact",
            "s",
            0.015,
            "definition near R012 and R013 (there about the trunk's long axis); spread: our estimate",
        ),
        Rule::Own(special::trunk_turn_peak_lead),
    ),
    (
        def(
            "shoulder_hip_separation_trophy",
            "hip-shoulder separation at trophy",
            SEPARATION,
            "trophy",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(separation, Trophy, Turn, No),
    ),
    (
        def(
            "shoulder_hip_separation_racket_low",
            "hip-shoulder separation at the racket low point",
            SEPARATION,
            "racket_low",
            "deg",
            SD_TURN.0,
            SD_TURN.1,
        ),
        at!(separation, RacketLow, Turn, No),
    ),
    (
        def(
            "contact_height_ratio",
            "wrist height at contact over stature",
            "height of the hitting wrist over the ground under the stance, over stature (given, else estimated from shank, thigh and trunk); the ball is about 0.25 higher (our estimate)",
            "contact",
            "ratio",
            0.015,
            "our estimate; racket contact itself: R092",
        ),
        Rule::Own(special::contact_height),
    ),
    (
        def(
            "racket_height_contact",
            "racket height at contact over stature",
            "height of the middle between racket throat and tip over the ground under the stance, over stature",
            "contact",
            "ratio",
            0.015,
            "definition as R092 (impact height over stature); spread: our estimate",
        ),
        Rule::Own(special::racket_height),
    ),
    (
        def(
            "contact_forward",
            "contact in front of the stance",
            "hitting wrist ahead of the front ankle's place at the start of the toss, towards the net, over stature",
            "contact",
            "ratio",
            0.02,
            "our estimate",
        ),
        Rule::Own(special::contact_forward),
    ),
    (
        def(
            "tossing_arm_fall_time",
            "when the tossing arm comes down",
            "time from contact to the moment the tossing wrist falls below its own shoulder; negative = before contact",
            "release to finish",
            "s",
            0.03,
            "our estimate",
        ),
        Rule::Own(special::tossing_arm_fall_time),
    ),
    (
        def(
            "tossing_wrist_to_trunk_contact",
            "tossing hand to trunk at contact",
            "distance of the tossing wrist from the line mid-hips to mid-shoulders, over estimated stature; small = folded in",
            "contact",
            "ratio",
            0.03,
            "our estimate",
        ),
        Rule::Own(special::tossing_wrist_to_trunk),
    ),
    (
        def(
            "tossing_elbow_flexion_contact",
            "tossing elbow bend at contact",
            ELBOW,
            "contact",
            "deg",
            SD_ELBOW.0,
            SD_ELBOW.1,
        ),
        at!(toss_elbow, Contact, Hinge, No),
    ),
    (
        def(
            "tossing_arm_release_time",
            "when the folded tossing arm lets go",
            "time from contact to the moment the tossing wrist is 0.08 statures further from the trunk's line than at its nearest around contact; positive = after contact",
            "contact to finish",
            "s",
            0.05,
            "our estimate",
        ),
        Rule::Own(special::tossing_arm_release_time),
    ),
    (
        def(
            "toss_start_to_contact_time",
            "start of the toss to contact",
            "time between the events",
            "toss_start to contact",
            "s",
            0.03,
            "our estimate",
        ),
        Rule::Between(EventKind::TossStart, EventKind::Contact),
    ),
    (
        def(
            "release_to_contact_time",
            "release to contact",
            "time between the events",
            "release to contact",
            "s",
            0.03,
            "our estimate",
        ),
        Rule::Between(EventKind::Release, EventKind::Contact),
    ),
    (
        def(
            "trophy_to_contact_time",
            "trophy to contact",
            "time between the events",
            "trophy to contact",
            "s",
            0.02,
            "our estimate",
        ),
        Rule::Between(EventKind::Trophy, EventKind::Contact),
    ),
    (
        def(
            "racket_low_to_contact_time",
            "racket low point to contact",
            "time between the events",
            "racket_low to contact",
            "s",
            0.01,
            "definition near R023 (there from greatest external rotation, recalled); spread: our estimate",
        ),
        Rule::Between(EventKind::RacketLow, EventKind::Contact),
    ),
    (
        def(
            "contact_to_finish_time",
            "contact to finish",
            "time between the events",
            "contact to finish",
            "s",
            0.04,
            "our estimate",
        ),
        Rule::Between(EventKind::Contact, EventKind::Finish),
    ),
    (
        def(
            "toss_top_to_trophy_time",
            "tossing hand's highest point to trophy",
            "time from the tossing wrist's highest point to trophy; positive = the knees are deepest later",
            "release to contact",
            "s",
            0.03,
            "our estimate",
        ),
        Rule::Own(special::toss_top_to_trophy),
    ),
    (
        def(
            "pause_time",
            "stop between loading and racket drop",
            "time between release and racket low point in which the hitting wrist moves, relative to the hips, at less than 6 % of its peak speed",
            "release to racket_low",
            "s",
            0.04,
            "our estimate",
        ),
        Rule::Own(special::pause_time),
    ),
    (
        def(
            "slow_down_time",
            "slowing down after contact",
            "time from contact until the hitting wrist, relative to the hips, moves at less than a quarter of its peak speed",
            "contact to finish",
            "s",
            0.03,
            "our estimate",
        ),
        Rule::Own(special::slow_down_time),
    ),
    (
        def(
            "palm_turn_after_contact",
            "pronation after contact (turn of the palm)",
            "turn of the palm (wrist, index and little-finger knuckles) about the forearm in the 0.10 s after contact; positive = thumb turning down, palm outwards",
            "contact to 0.10 s after",
            "deg",
            10.0,
            "our estimate; upper-arm and forearm turn together",
        ),
        Rule::Own(palm::palm_turn),
    ),
    (
        def(
            "palm_direction_after_contact",
            "where the palm faces after contact",
            "median over 0.06 to 0.14 s after contact, in three steps: 1 = outwards (to the hitting side), 0 = sideways (edge on), -1 = down",
            "0.06 to 0.14 s after contact",
            "step",
            0.5,
            "our estimate",
        ),
        Rule::Own(palm::palm_direction),
    ),
    (
        def(
            "palm_up_cocking",
            "palm to the sky in the racket drop",
            "greatest elevation of the palm's normal above the horizontal between trophy and racket low point",
            "trophy to racket_low",
            "deg",
            8.0,
            "our estimate",
        ),
        Rule::Own(palm::palm_up_cocking),
    ),
    (
        def(
            "arch_greatest",
            "greatest arch between thighs and trunk",
            "trunk (mid-hips to mid-shoulders) behind the line of the thighs (mid-knees to mid-hips), in the plane square to the line of the hips, at its greatest between release and contact; 0 = in line, negative = bent forward at the hips. Hip and lower back together",
            "release to contact",
            "deg",
            4.0,
            "our estimate; spread near R146 (another stroke, chest, 2.4-4.3)",
        ),
        Rule::Own(special::greatest_arch),
    ),
    (
        def(
            "shoulder_elevation_drop",
            "highest elbow in the racket drop",
            "greatest angle of the upper arm to the trunk between trophy and racket low point; it \
             does not matter when the elbow gets there, so a late arm does not count as a low one",
            "trophy to racket_low",
            "deg",
            SD_SHOULDER.0,
            SD_SHOULDER.1,
        ),
        Rule::Own(special::highest_elbow),
    ),
    (
        def(
            "forearm_lowest",
            "how far the forearm falls back",
            "lowest elevation of the forearm (elbow to wrist) over the horizontal between trophy and contact; 0 = level, 90 = it stays upright, negative = the hand falls below the elbow",
            "trophy to contact",
            "deg",
            SD_ELBOW.0,
            "our estimate; spread as for the elbow: R147 (another stroke, 6.4-13.9), lower end",
        ),
        Rule::Own(special::forearm_lowest),
    ),
    (
        def(
            "palm_up_kept",
            "palm to the sky through the racket drop",
            "elevation of the palm's normal above the horizontal that is kept for at least half of the time between trophy and racket low point; a palm that opens and closes again does not keep it",
            "trophy to racket_low",
            "deg",
            8.0,
            "our estimate",
        ),
        Rule::Own(palm::palm_up_kept),
    ),
    (
        def(
            "standstill_time",
            "hand and legs standing still before the racket drop",
            "time between release and racket low point in which the hitting wrist moves, relative to the hips, at less than 6 % of its peak speed and neither knee bends or straightens faster than 45 deg/s",
            "release to racket_low",
            "s",
            0.04,
            "our estimate",
        ),
        Rule::Own(special::standstill_time),
    ),
    (
        def(
            "palm_up_behind_head",
            "palm to the sky behind the head",
            "elevation of the palm's normal above the plane square to the trunk (mid-hips to mid-shoulders), kept for at least half of the time between trophy and racket low point in which the forearm (elbow to wrist) lies within 45 deg of level. Before, the forearm stands and the palm looks to the side however the wrist is bent; a trunk that leans back turns every palm to the sky",
            "trophy to racket_low",
            "deg",
            8.0,
            "our estimate",
        ),
        Rule::Own(palm::palm_up_behind_head),
    ),
];

const DEFS: [MeasureDef; TABLE.len()] = {
    let mut defs = [TABLE[0].0; TABLE.len()];
    let mut i = 0;
    while i < TABLE.len() {
        defs[i] = TABLE[i].0;
        i += 1;
    }
    defs
};

/// Every measure we know, in a fixed order; a serve's readings follow it.
pub const MEASURES: &[MeasureDef] = &DEFS;
