//! What is no serve, what breaks one, and sources that hold too little.
//!
//! The movements are drawn here with a few lines each: invented, only to try the signs.

use super::*;
use crate::motion::{Capture, Dimensions, Joint, Unit, View};

type Point = [f64; 3];

/// A person of about 1.75 m facing +y at 30 Hz: both wrists and the trunk's forward bend over time.
fn person(seconds: f64, pose: impl Fn(f64) -> (Point, Point, f64)) -> Recording {
    let joints = Joint::CORE.to_vec();
    let frames = (seconds * 30.0) as usize;
    let mut positions = Vec::new();
    for frame in 0..frames {
        let (left, right, bend_deg) = pose(frame as f64 / 30.0);
        let (sin, cos) = bend_deg.to_radians().sin_cos();
        for &joint in &joints {
            let side = if joint.side() == Some(Side::Left) { -1.0 } else { 1.0 };
            let shoulder = [0.19 * side, 0.5 * sin, 0.95 + 0.5 * cos];
            let wrist = if side < 0.0 { left } else { right };
            positions.push(match joint {
                Joint::LeftShoulder | Joint::RightShoulder => shoulder,
                Joint::LeftElbow | Joint::RightElbow => [
                    (shoulder[0] + wrist[0]) / 2.0 + 0.08 * side,
                    (shoulder[1] + wrist[1]) / 2.0 - 0.05,
                    (shoulder[2] + wrist[2]) / 2.0,
                ],
                Joint::LeftWrist | Joint::RightWrist => wrist,
                Joint::LeftHip | Joint::RightHip => [0.10 * side, 0.0, 0.93],
                Joint::LeftKnee | Joint::RightKnee => [0.12 * side, 0.03, 0.50],
                _ => [0.13 * side, 0.0, 0.07],
            });
        }
    }
    Recording {
        joints,
        times_s: (0..frames).map(|f| f as f64 / 30.0).collect(),
        positions,
        confidence: None,
        rate_hz: 30.0,
        dimensions: Dimensions::Three,
        unit: Unit::Metre,
        capture: Capture::Unknown,
        view: None,
        subject: None,
        format: "drawn".to_owned(),
        assumptions: Vec::new(),
    }
}

const HANG_L: Point = [-0.25, 0.0, 0.85];
const HANG_R: Point = [0.25, 0.0, 0.85];

/// 0 outside the times, 1 in the middle, smooth.
fn hump(t: f64, from: f64, to: f64) -> f64 {
    if t <= from || t >= to {
        0.0
    } else {
        (std::f64::consts::PI * (t - from) / (to - from)).sin().powi(2)
    }
}

fn toward(a: Point, b: Point, part: f64) -> Point {
    [0, 1, 2].map(|i| a[i] + part * (b[i] - a[i]))
}

/// The drawn serve itself is taken, so the refusals below are not for want of anything else.
fn drawn_serve(t: f64) -> (Point, Point, f64) {
    let left = toward(HANG_L, [-0.2, 0.35, 2.0], hump(t, 0.5, 1.7));
    let back = toward(HANG_R, [0.45, -0.45, 1.45], hump(t, 0.7, 2.1).min(1.0));
    let up = toward(back, [0.15, 0.35, 2.05], hump(t, 1.35, 2.15));
    (left, up, 5.0)
}

#[test]
fn a_drawn_serve_is_taken() {
    let found = find(&person(3.5, drawn_serve), &FindOptions::default());
    assert_eq!(found.serves.len(), 1, "{:?}", found.refused);
    assert_eq!(found.serves[0].hand, Side::Right);
}

/// Backwards in time the hitting hand is the one that rises first.
#[test]
fn a_drawn_serve_run_backwards_is_none() {
    let found = find(&person(3.5, |t| drawn_serve(3.5 - t)), &FindOptions::default());
    assert!(found.serves.is_empty());
}

#[test]
fn other_movements_are_refused_with_a_plain_reason() {
    type Pose = fn(f64) -> (Point, Point, f64);
    let movements: [(&str, Pose, &str); 13] = [
        ("standing", |_| (HANG_L, HANG_R, 3.0), "no hand"),
        (
            "jogging",
            |t| {
                let swing = 0.3 * (9.0 * t).sin();
                ([-0.25, swing, 1.15 + 0.5 * swing], [0.25, -swing, 1.15 - 0.5 * swing], 8.0)
            },
            "no hand swings overhead",
        ),
        (
            "clapping overhead",
            |t| {
                let up = hump(t, 0.5, 2.5);
                (toward(HANG_L, [-0.05, 0.1, 2.0], up), toward(HANG_R, [0.05, 0.1, 2.0], up), 3.0)
            },
            "hand",
        ),
        (
            "throwing high with one arm",
            |t| {
                let back = toward(HANG_R, [0.45, -0.45, 1.5], hump(t, 0.5, 1.9));
                (HANG_L, toward(back, [0.15, 0.35, 2.05], hump(t, 1.1, 2.0)), 5.0)
            },
            "no toss",
        ),
        (
            "throwing with the other arm pointing ahead",
            |t| {
                let back = toward(HANG_R, [0.45, -0.45, 1.6], hump(t, 0.4, 2.0));
                let aim = toward(HANG_L, [-0.1, 0.55, 1.40], hump(t, 0.5, 1.8));
                (aim, toward(back, [0.15, 0.35, 2.05], hump(t, 1.1, 2.0)), 5.0)
            },
            "no toss",
        ),
        (
            "drawing a circle",
            |t| {
                let (sin, cos) = (3.0 * t).sin_cos();
                (HANG_L, [0.2 + 0.4 * sin, 0.4, 1.55 - 0.45 * cos], 3.0)
            },
            "no toss",
        ),
        (
            "a golf swing",
            |t| {
                let x = 0.7 * (1.0 - 2.0 * hump(t, 0.5, 1.6)) * hump(t, 0.0, 3.0);
                let z = 0.8 + 1.3 * x * x;
                ([x - 0.05, 0.4, z], [x + 0.05, 0.4, z - 0.03], 15.0)
            },
            "hand",
        ),
        (
            "bending down",
            |t| {
                let down = hump(t, 0.5, 2.5);
                let reach = [0.0, 0.45, -0.65];
                let to = |p: Point| [p[0], p[1] + reach[1] * down, p[2] + reach[2] * down];
                (to(HANG_L), to(HANG_R), 75.0 * down)
            },
            "no hand",
        ),
        (
            "boxing",
            |t| {
                let (a, b) = ((6.0 * t).sin().max(0.0), (-(6.0 * t).sin()).max(0.0));
                let guard = |side: f64| [0.15 * side, 0.25, 1.40];
                (
                    toward(guard(-1.0), [-0.05, 0.75, 1.45], a),
                    toward(guard(1.0), [0.05, 0.75, 1.45], b),
                    5.0,
                )
            },
            "no hand swings overhead",
        ),
        (
            "waving both hands in turn overhead",
            |t| {
                let up = hump(t, 0.2, 3.8).sqrt();
                let wave = 0.12 * (6.0 * t).sin();
                (
                    toward(HANG_L, [-0.4, 0.1, 1.9 + wave], up),
                    toward(HANG_R, [0.4, 0.1, 1.9 - wave], up),
                    2.0,
                )
            },
            "no",
        ),
        (
            "waving with the left hand first up and first down",
            |t| {
                let (a, b) = (hump(t, 0.2, 2.9).sqrt(), hump(t, 0.5, 3.4).sqrt());
                let wave = 0.1 * (7.0 * t).sin();
                (
                    toward(HANG_L, [-0.4 + wave, 0.1, 1.95], a),
                    toward(HANG_R, [0.4 + wave, 0.1, 1.92], b),
                    2.0,
                )
            },
            "no",
        ),
        (
            "reaching up to catch with one hand after the other",
            |t| {
                let (a, b) = (hump(t, 0.4, 1.4), hump(t, 1.9, 2.9));
                (toward(HANG_L, [-0.2, 0.3, 2.0], a), toward(HANG_R, [0.2, 0.2, 2.0], b), 2.0)
            },
            "no",
        ),
        (
            "a forehand",
            |t| {
                let swing = hump(t, 0.8, 2.2);
                let right = toward([0.7, -0.4, 1.0], [-0.3, 0.5, 1.35], swing);
                (toward(HANG_L, [-0.1, 0.5, 1.3], hump(t, 0.3, 1.6)), right, 8.0)
            },
            "no hand swings overhead",
        ),
    ];
    for (name, pose, words) in movements {
        let found = find(&person(4.0, pose), &FindOptions::default());
        assert!(found.serves.is_empty(), "{name} was taken for a serve");
        let said = found.refused.iter().any(|r| r.reason.contains(words));
        assert!(said, "{name}: {words:?} not in {:?}", found.refused);
    }
}

/// From 0 before to 1 after, smooth.
fn ramp(t: f64, from: f64, to: f64) -> f64 {
    let x = ((t - from) / (to - from)).clamp(0.0, 1.0);
    x * x * (3.0 - 2.0 * x)
}

/// A shot at a basket: both hands bring the ball up, one throws, the other stays behind.
fn basket(t: f64, draw: &[f64; 6]) -> (Point, Point, f64) {
    let (begins, wide) = (0.4 + 0.4 * draw[0], 0.12 + 0.08 * draw[1]);
    let up = ramp(t, begins, begins + 0.5);
    let ball = toward([0.0, 0.3, 1.1], [0.1, 0.25, 1.6 + 0.25 * draw[2]], up);
    let throws = begins + 0.55 + 0.25 * draw[3];
    let over = ramp(t, throws, throws + 0.2);
    let down = throws + 0.4 + 0.3 * draw[4];
    let left = [ball[0] - wide / 2.0 - 0.03, ball[1], ball[2] + 0.02];
    let right = [ball[0] + wide / 2.0, ball[1] - 0.05, ball[2] - 0.05];
    let left = toward(left, [-0.15, 0.35, 1.5 + 0.4 * draw[5]], over);
    let right = toward(right, [0.15, 0.5, 1.95 + 0.15 * draw[2]], over);
    let (left, right) = (
        toward(left, HANG_L, ramp(t, down - 0.2 * draw[0], down + 0.5)),
        toward(right, HANG_R, ramp(t, down, down + 0.5)),
    );
    (left, right, 5.0)
}

/// Punches in turn from a guard at the chin, some of them at the height of a head.
fn boxing(t: f64, draw: &[f64; 6]) -> (Point, Point, f64) {
    let guard = 1.35 + 0.25 * draw[0];
    let raised = ramp(t, 0.2, 0.5);
    let mut hands =
        [toward(HANG_L, [-0.15, 0.25, guard], raised), toward(HANG_R, [0.15, 0.2, guard], raised)];
    let mut at = 0.5 + 0.2 * draw[1];
    for punch in 0..4 {
        let lasts = 0.3 + 0.2 * draw[(punch + 2) % 6];
        let target = [0.1 - 0.2 * draw[(punch + 1) % 6], 0.7, 1.35 + 0.5 * draw[(punch + 3) % 6]];
        let hand = &mut hands[punch % 2];
        *hand = toward(*hand, target, hump(t, at, at + lasts));
        at += lasts * (0.5 + 0.6 * draw[4]);
    }
    let down = ramp(t, at + 0.3 * draw[5], at + 0.6);
    (toward(hands[0], HANG_L, ramp(t, at + 0.1, at + 0.5)), toward(hands[1], HANG_R, down), 5.0)
}

/// Movements drawn a hundred times each, as differently as people do them (invented). Before hands had
/// to be apart, 13 % of the shots and 15 % of the boxing were taken for serves.
#[test]
fn shots_at_a_basket_and_boxing_are_hardly_ever_serves() {
    use rand::{Rng, SeedableRng};
    let mut random = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(8);
    type Pose = fn(f64, &[f64; 6]) -> (Point, Point, f64);
    for (name, pose, most) in [("basket", basket as Pose, 0), ("boxing", boxing, 5)] {
        let mut taken = 0;
        for _ in 0..100 {
            let draw: [f64; 6] = std::array::from_fn(|_| random.r#gen());
            let found = find(&person(3.5, |t| pose(t, &draw)), &FindOptions::default());
            taken += usize::from(!found.serves.is_empty());
        }
        assert!(taken <= most, "{name}: {taken} of 100 were taken for serves");
    }
}

fn with_gap(recording: &Recording, joint: Joint, first: usize, last: usize) -> Recording {
    let mut broken = recording.clone();
    let column = broken.column(joint).expect("held");
    let width = broken.joints.len();
    for frame in first..=last {
        broken.positions[frame * width + column] = [f64::NAN; 3];
    }
    broken
}

#[test]
fn short_gaps_are_filled_and_said_long_ones_refuse_the_serve() {
    let Some(whole) = real_recording("marker-serves-50hz.c3d") else { return };
    let before = find(&whole, &FindOptions::default());
    let short = with_gap(&whole, Joint::RightElbow, 183, 187);
    let found = find(&short, &FindOptions::default());
    assert_eq!(found.serves.len(), 5, "{:?}", found.refused);
    assert!(found.serves[0].notes.iter().any(|n| n.contains("gap")), "{:?}", found.serves[0].notes);
    let moved = found.serves[0].events[4].time_s - before.serves[0].events[4].time_s;
    assert!(moved.abs() < 0.02, "contact moved by {moved} s");

    for joint in [Joint::RightElbow, Joint::LeftKnee, Joint::RightWrist] {
        let found = find(&with_gap(&whole, joint, 180, 194), &FindOptions::default());
        assert_eq!(found.serves.len(), 4, "{joint:?}: {:?}", found.refused);
        let near = found.refused.iter().filter(|r| r.frames.0 < 260 && r.frames.1 > 120);
        // Whatever else is missing then, the gap is named with joint, length and frames.
        let named = |reason: &str| {
            let joint = joint.name().replace('_', " ");
            reason.contains(&joint) && reason.contains("0.30 s") && reason.contains("180-194")
        };
        let said = near.filter(|refusal| named(&refusal.reason)).count();
        assert!(said > 0, "{joint:?}: {:?}", found.refused);
    }
    let found = find(&with_gap(&whole, Joint::LeftKnee, 180, 194), &FindOptions::default());
    let reason = &found.refused[0].reason;
    assert!(reason.contains("left knee is lost for 0.30 s (frames 180-194)"), "{reason}");
}

#[test]
fn a_bone_that_changes_its_length_is_broken_tracking() {
    let Some(mut recording) = real_recording("marker-serves-50hz.c3d") else { return };
    let (width, column) =
        (recording.joints.len(), recording.column(Joint::LeftKnee).expect("held"));
    for frame in 150..190 {
        recording.positions[frame * width + column][2] += 0.45;
    }
    let found = find(&recording, &FindOptions::default());
    assert_eq!(found.serves.len(), 4);
    let reason = &found.refused[0].reason;
    assert!(reason.contains("tracking is broken") && reason.contains("left"), "{reason}");
}

#[test]
fn serves_close_together_are_told_apart() {
    let Some(recording) = real_recording("marker-serves-50hz.c3d") else { return };
    // From one serve's start to its finish, the next one's right behind: contacts 1.8 s apart.
    let width = recording.joints.len();
    let kept: Vec<usize> = (130..220).chain(314..410).collect();
    let joined = Recording {
        positions: kept
            .iter()
            .flat_map(|&f| recording.positions[f * width..(f + 1) * width].to_vec())
            .collect(),
        times_s: (0..kept.len()).map(|i| i as f64 / 50.0).collect(),
        confidence: None,
        ..recording
    };
    let found = find(&joined, &FindOptions::default());
    let contacts: Vec<f64> = found.serves.iter().map(|s| 50.0 * s.events[4].time_s).collect();
    assert_eq!(contacts.len(), 2, "{:?}", found.refused);
    assert!((contacts[0] - 69.0).abs() < 3.0 && (contacts[1] - 159.0).abs() < 3.0, "{contacts:?}");
}

#[test]
fn a_picture_gives_the_flat_set_and_says_what_it_cannot_show() {
    let Some(recording) = real_recording("marker-serves-50hz.c3d") else { return };
    // Seen from behind the player (the net lies towards -y) and from the side.
    for (view, sign, axis) in [(View::Behind, -1.0, 0), (View::Side, 1.0, 1)] {
        let flat = Recording {
            positions: recording
                .positions
                .iter()
                .map(|p| [sign * p[axis] * 400.0, 0.0, p[2] * 400.0])
                .collect(),
            dimensions: Dimensions::Two,
            unit: Unit::Pixel,
            capture: Capture::OneCameraFlat,
            view: Some(view),
            ..recording.clone()
        };
        let found = find(&flat, &FindOptions::default());
        assert_eq!(found.serves.len(), 5, "{view:?}: {:?}", found.refused);
        for serve in &found.serves {
            assert_eq!(serve.hand, Side::Right);
            assert_eq!(serve.curve.channel_set, FLAT_SET);
            assert_eq!(serve.curve.values.len(), CURVE_FRAMES * channels(FLAT_SET).len());
            let value = |id: &str| {
                let reading = serve.readings.iter().find(|r| r.measure == id).expect("known");
                matches!(reading.reading, Reading::Value { .. })
            };
            // The knees bend towards a camera at the side, the front one towards one behind as well; release
            // is a guess without the ball.
            assert!(!value("front_knee_flexion_trophy"));
            assert_eq!(value("back_knee_flexion_trophy"), view == View::Behind);
            assert!(!value("release_to_contact_time"));
            assert!(!value("trunk_opening_contact") && !value("shoulder_elevation_contact"));
            assert_eq!(value("trunk_side_tilt_contact"), view == View::Behind);
            assert_eq!(value("trunk_backward_lean_trophy"), view == View::Side);
            assert_eq!(value("trunk_backward_lean_greatest"), view == View::Side);
        }
    }
}

#[test]
fn a_source_that_holds_too_little_is_refused_by_name() {
    let mut recording = person(3.5, drawn_serve);
    recording.joints.truncate(10);
    recording.positions =
        recording.positions.chunks(12).flat_map(|row| row[..10].to_vec()).collect();
    let found = find(&recording, &FindOptions::default());
    assert!(found.serves.is_empty());
    assert!(found.refused[0].reason.contains("left ankle, right ankle"), "{:?}", found.refused);

    recording.times_s.clear();
    recording.positions.clear();
    assert_eq!(find(&recording, &FindOptions::default()).refused.len(), 1);
}
