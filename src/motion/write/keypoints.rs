use serde_json::{Value, json};

use crate::motion::read::joints_33;
use crate::motion::{Dimensions, Recording, Unit};

/// `recording` as keypoint JSON in the 33-point layout: `{"rate_hz", "frames": [...]}`, each
/// frame with its time and points `{x, y, z, visibility}`, y down. Positions in space stand
/// under `world_landmarks` (x right, y down, z away), those in the picture under `landmarks`.
/// Points the layout has and the recording lacks are `null`, as are gaps; joints the layout
/// lacks (head, neck, hands, racket) are left out.
#[must_use]
pub fn keypoints_33(recording: &Recording) -> String {
    let flat = recording.dimensions == Dimensions::Two;
    let key = if flat { "landmarks" } else { "world_landmarks" };
    let order = joints_33();
    let columns: Vec<Option<usize>> =
        order.iter().map(|joint| joint.and_then(|joint| recording.column(joint))).collect();
    let width = recording.joints.len();
    let frames: Vec<Value> = recording
        .times_s
        .iter()
        .enumerate()
        .map(|(frame, time)| {
            let points: Vec<Value> = columns
                .iter()
                .map(|column| match column {
                    Some(column) => point(recording, frame * width + column, flat),
                    None => Value::Null,
                })
                .collect();
            json!({ "time_s": time, key: points })
        })
        .collect();
    let unit = match recording.unit {
        Unit::Metre => "m",
        Unit::Pixel => "px",
        Unit::Arbitrary => "none",
    };
    json!({ "rate_hz": recording.rate_hz, "unit": unit, "frames": frames }).to_string()
}

fn point(recording: &Recording, at: usize, flat: bool) -> Value {
    let [x, y, z] = recording.positions[at];
    if x.is_nan() {
        return Value::Null;
    }
    let visibility = recording.confidence.as_ref().map_or(1.0, |confidence| confidence[at]);
    if flat {
        json!({ "x": x, "y": -z, "visibility": visibility })
    } else {
        json!({ "x": x, "y": -z, "z": y, "visibility": visibility })
    }
}
