//! A recording in space as one camera sees it, without depth.

use precedent::motion::{Capture, Dimensions, Recording, View};

/// The way along y in which the net lies in the marker serves (the hand's, the trunk's and the feet's
/// direction over the five serves, read with ezc3d and NumPy: within 20 deg).
pub(crate) const NET_OF_MARKERS: f64 = -1.0;

/// A flat picture from `around_deg`: 0 from behind, 90 from the player's right, 180 from in front.
/// `net_y`: which way along y the net lies, 1 or -1.
pub(crate) fn pictured(space: &Recording, around_deg: f64, net_y: f64) -> Recording {
    let (sin, cos) = around_deg.to_radians().sin_cos();
    // The way the camera looks, and the picture's right.
    let look = [sin * net_y, cos * net_y];
    let right = [look[1], -look[0]];
    let view = match around_deg.abs() {
        deg if deg <= 30.0 => View::Behind,
        deg if (60.0..=120.0).contains(&deg) => View::Side,
        deg if deg >= 150.0 => View::Front,
        _ => View::Diagonal,
    };
    let flat = |p: &[f64; 3]| [p[0] * right[0] + p[1] * right[1], 0.0 * p[0], p[2]];
    Recording {
        positions: space.positions.iter().map(flat).collect(),
        dimensions: Dimensions::Two,
        capture: Capture::OneCameraFlat,
        view: Some(view),
        ..space.clone()
    }
}
