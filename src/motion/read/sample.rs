//! An invented body for tests: it stands facing +y and swings its arms.

use crate::motion::{Capture, Dimensions, Joint, Recording, Unit};

/// `frames` at `rate_hz`, metres, 17 joints; no gaps, no confidence.
pub(super) fn body(frames: usize, rate_hz: f64) -> Recording {
    use Joint::*;
    let still: [(Joint, [f64; 3]); 9] = [
        (Nose, [0.0, 0.1, 1.65]),
        (LeftShoulder, [-0.2, 0.0, 1.4]),
        (LeftElbow, [-0.25, 0.05, 1.1]),
        (LeftWrist, [-0.27, 0.2, 0.9]),
        (LeftHip, [-0.1, 0.0, 0.95]),
        (LeftKnee, [-0.11, 0.03, 0.5]),
        (LeftAnkle, [-0.12, 0.0, 0.1]),
        (LeftHeel, [-0.12, -0.04, 0.05]),
        (LeftToe, [-0.13, 0.15, 0.05]),
    ];
    let mut rows: Vec<(Joint, [f64; 3])> = still.to_vec();
    rows.extend(still[1..].iter().map(|&(joint, [x, y, z])| (joint.mirrored(), [-x, y, z])));
    rows.sort_by_key(|(joint, _)| *joint);
    let joints: Vec<Joint> = rows.iter().map(|(joint, _)| *joint).collect();
    let times_s: Vec<f64> = (0..frames).map(|i| i as f64 / rate_hz).collect();
    let mut positions = Vec::new();
    for t in &times_s {
        for &(joint, [x, y, z]) in &rows {
            let swing = match joint {
                LeftWrist => 0.30 * (3.0 * t).sin(),
                RightWrist => 0.50 * (5.0 * t).sin(),
                LeftElbow => 0.10 * (3.0 * t).sin(),
                RightElbow => 0.20 * (5.0 * t).sin(),
                _ => 0.0,
            };
            positions.push([x, y + swing.abs(), z + swing]);
        }
    }
    Recording {
        joints,
        times_s,
        positions,
        confidence: None,
        rate_hz,
        dimensions: Dimensions::Three,
        unit: Unit::Metre,
        capture: Capture::Generated,
        view: None,
        subject: None,
        format: "sample".to_owned(),
        assumptions: Vec::new(),
    }
}

/// Makes `joint` a gap in `frame`.
pub(super) fn erase(recording: &mut Recording, frame: usize, joint: Joint) {
    let column = recording.column(joint).expect("a joint of the body");
    let width = recording.joints.len();
    recording.positions[frame * width + column] = [f64::NAN; 3];
}

/// The same body in a picture of 1000 x 2000 pixels, seen from behind.
pub(super) fn flat(frames: usize, rate_hz: f64) -> Recording {
    let mut recording = body(frames, rate_hz);
    for p in &mut recording.positions {
        *p = [500.0 + 800.0 * p[0], 0.0, 800.0 * p[2] - 1800.0];
    }
    recording.dimensions = Dimensions::Two;
    recording.unit = Unit::Pixel;
    recording
}

/// Equal joints, times, gaps, and positions within `tolerance`.
#[track_caller]
pub(super) fn assert_same(got: &Recording, want: &Recording, tolerance: f64) {
    assert_eq!(got.joints, want.joints);
    assert_eq!(got.frames(), want.frames());
    assert_eq!((got.unit, got.dimensions), (want.unit, want.dimensions));
    assert!((got.rate_hz - want.rate_hz).abs() < 1e-5, "{} {}", got.rate_hz, want.rate_hz);
    for (got, want) in got.times_s.iter().zip(&want.times_s) {
        assert!((got - want).abs() < 1e-6, "{got} {want}");
    }
    for (i, (a, b)) in got.positions.iter().zip(&want.positions).enumerate() {
        let (frame, joint) = (i / got.joints.len(), got.joints[i % got.joints.len()]);
        assert_eq!(a[0].is_nan(), b[0].is_nan(), "frame {frame}, {joint:?}");
        for axis in 0..3 {
            let close = a[0].is_nan() || (a[axis] - b[axis]).abs() <= tolerance;
            assert!(close, "frame {frame}, {joint:?}: got {a:?}, want {b:?}");
        }
    }
}
