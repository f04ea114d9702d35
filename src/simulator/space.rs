//! Small vector helpers; all angles in radians here.

pub(crate) type V3 = [f64; 3];

pub(crate) fn add(a: V3, b: V3) -> V3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

pub(crate) fn sub(a: V3, b: V3) -> V3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(crate) fn scale(a: V3, k: f64) -> V3 {
    [a[0] * k, a[1] * k, a[2] * k]
}

/// `a + k b`.
pub(crate) fn along(a: V3, b: V3, k: f64) -> V3 {
    [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]]
}

pub(crate) fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(crate) fn cross(a: V3, b: V3) -> V3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub(crate) fn norm(a: V3) -> f64 {
    dot(a, a).sqrt()
}

/// `a` at length 1; a zero vector stays zero.
pub(crate) fn unit(a: V3) -> V3 {
    let length = norm(a);
    if length > 0.0 { scale(a, 1.0 / length) } else { a }
}

/// From `a` (w = 0) to `b` (w = 1).
pub(crate) fn mix(a: V3, b: V3, w: f64) -> V3 {
    along(scale(a, 1.0 - w), b, w)
}

/// Angle between two vectors, degrees, 0 to 180.
pub(crate) fn angle_deg(a: V3, b: V3) -> f64 {
    norm(cross(a, b)).atan2(dot(a, b)).to_degrees()
}

/// Turn about an axis that moves itself, from one (axis, direction across it) to the next, degrees:
/// clockwise seen along the axis. The axis's own way is taken out: the first direction is carried
/// over by the smallest rotation between the axes, which are of unit length.
pub(crate) fn twist_deg((from, before): (V3, V3), (to, after): (V3, V3)) -> f64 {
    let over = cross(from, to);
    let across = |v: V3, axis: V3| along(v, axis, -dot(v, axis));
    let (old, new) = (across(before, from), across(after, to));
    let once = cross(over, old);
    let twice = cross(over, once);
    let carried = along(add(old, once), twice, 1.0 / (1.0 + dot(from, to)));
    dot(cross(carried, new), to).atan2(dot(carried, new)).to_degrees()
}

/// 0 before `from`, 1 after `to`, smooth between (zero slope at both ends).
pub(crate) fn smooth_step(x: f64, from: f64, to: f64) -> f64 {
    let w = ((x - from) / (to - from)).clamp(0.0, 1.0);
    w * w * (3.0 - 2.0 * w)
}

/// Three axes: to the right of the segment, forward (where it faces), and along it (up).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Frame {
    pub right: V3,
    pub forward: V3,
    pub up: V3,
}

impl Frame {
    /// A segment whose long axis leans `lean_net_deg` towards the net (+y) and `lean_side_deg`
    /// towards the hitting side (+x), and which faces `heading_deg` from the net towards the
    /// hitting side. The inclination of the axis is the root of the summed squares of the two.
    pub(crate) fn leaning(lean_net_deg: f64, lean_side_deg: f64, heading_deg: f64) -> Self {
        let lean_rad = lean_net_deg.hypot(lean_side_deg).to_radians();
        let heading_rad = heading_deg.to_radians();
        let right = [heading_rad.cos(), -heading_rad.sin(), 0.0];
        let forward = [heading_rad.sin(), heading_rad.cos(), 0.0];
        // Turn about the horizontal axis square to the direction of the lean.
        let towards = unit([lean_side_deg, lean_net_deg, 0.0]);
        let axis = cross([0.0, 0.0, 1.0], towards);
        let turn = |v: V3| rotate(v, axis, lean_rad);
        Self { right: turn(right), forward: turn(forward), up: turn([0.0, 0.0, 1.0]) }
    }

    /// The frame turned about its forward axis so that its right end rises by `tilt_deg`.
    pub(crate) fn tilted(self, tilt_deg: f64) -> Self {
        let turn = |v: V3| rotate(v, self.forward, -tilt_deg.to_radians());
        Self { right: turn(self.right), forward: self.forward, up: turn(self.up) }
    }

    /// Own coordinates to space.
    pub(crate) fn to_space(self, own: V3) -> V3 {
        add(add(scale(self.right, own[0]), scale(self.forward, own[1])), scale(self.up, own[2]))
    }
}

/// `v` turned about unit vector `axis` (right-hand rule; a zero axis leaves `v` alone).
pub(crate) fn rotate(v: V3, axis: V3, angle_rad: f64) -> V3 {
    let (sin, cos) = angle_rad.sin_cos();
    if dot(axis, axis) < 0.5 {
        return v;
    }
    add(add(scale(v, cos), scale(cross(axis, v), sin)), scale(axis, dot(axis, v) * (1.0 - cos)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lean_is_the_inclination_and_tilt_lifts_the_right() {
        let frame = Frame::leaning(-22.0, 10.0, 110.0);
        assert!((angle_deg(frame.up, [0.0, 0.0, 1.0]) - 22f64.hypot(10.0)).abs() < 1e-9);
        assert!(frame.up[1] < 0.0 && frame.up[0] > 0.0);
        assert!(norm(sub(cross(frame.right, frame.forward), frame.up)) < 1e-12);
        let level = Frame::leaning(0.0, 0.0, 0.0);
        assert!(level.tilted(20.0).right[2] > 0.3);
    }
}
