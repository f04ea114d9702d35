//! Small vectors and the angles read between them.

pub(super) type V3 = [f64; 3];

pub(super) const NAN3: V3 = [f64::NAN; 3];

pub(super) fn add(a: V3, b: V3) -> V3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(super) fn sub(a: V3, b: V3) -> V3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(super) fn mid(a: V3, b: V3) -> V3 {
    [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0, (a[2] + b[2]) / 2.0]
}

pub(super) fn scale(a: V3, k: f64) -> V3 {
    [a[0] * k, a[1] * k, a[2] * k]
}

pub(super) fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(super) fn cross(a: V3, b: V3) -> V3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub(super) fn norm(a: V3) -> f64 {
    dot(a, a).sqrt()
}

/// Angle between two vectors, degrees 0 to 180; NaN if either has no length.
pub(super) fn angle_deg(a: V3, b: V3) -> f64 {
    if norm(a) * norm(b) > 0.0 { norm(cross(a, b)).atan2(dot(a, b)).to_degrees() } else { f64::NAN }
}

/// Bend of a hinge in degrees: 0 when `upper`, `middle`, `lower` lie in a line.
pub(super) fn flexion_deg(upper: V3, middle: V3, lower: V3) -> f64 {
    180.0 - angle_deg(sub(upper, middle), sub(lower, middle))
}

/// `degrees` brought into (-180, 180].
pub(super) fn wrapped_deg(degrees: f64) -> f64 {
    let turned = degrees.rem_euclid(360.0);
    if turned > 180.0 { turned - 360.0 } else { turned }
}

/// Removes jumps of more than half a turn between neighbours, in place.
pub(super) fn unwrap_deg(values: &mut [f64]) {
    for i in 1..values.len() {
        let step = wrapped_deg(values[i] - values[i - 1]);
        values[i] = values[i - 1] + step;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn angles_a_reader_can_check_by_hand() {
        assert!((angle_deg([1.0, 0.0, 0.0], [0.0, 0.0, 2.0]) - 90.0).abs() < 1e-12);
        assert!(angle_deg([0.0; 3], [0.0, 0.0, 2.0]).is_nan());
        let straight = flexion_deg([0.0, 0.0, 2.0], [0.0, 0.0, 1.0], [0.0; 3]);
        assert!(straight.abs() < 1e-9, "{straight}");
        let right = flexion_deg([0.0, 0.0, 2.0], [0.0, 0.0, 1.0], [0.0, 1.0, 1.0]);
        assert!((right - 90.0).abs() < 1e-9, "{right}");
        assert_eq!(wrapped_deg(190.0), -170.0);
        let mut turning = [170.0, -175.0, -160.0];
        unwrap_deg(&mut turning);
        assert_eq!(turning, [170.0, 185.0, 200.0]);
    }
}
