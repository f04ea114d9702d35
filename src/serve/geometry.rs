//! From what height a serve can reach the box: the straight line over the net, and gravity.
//!
//! Court and net as the rules of the International Tennis Federation state them; the geometry is
//! the usual one (Brody 1987, "Tennis Science for Tennis Players", from memory).

/// Baseline to net, m.
pub const BASELINE_TO_NET_M: f64 = 23.77 / 2.0;
/// Net to service line, m.
pub const NET_TO_SERVICE_LINE_M: f64 = 6.40;
/// Height of the net at its centre, m.
pub const NET_HEIGHT_M: f64 = 0.914;
/// Radius of the ball, m.
pub const BALL_RADIUS_M: f64 = 0.0335;
const GRAVITY_M_S2: f64 = 9.81;

/// Least height of the ball's centre at contact, m, from which a straight line clears the middle
/// of the net and lands on the service line; `inside_m`: contact this far inside the baseline.
///
/// ```
/// use precedent::serve::straight_line_height_m;
/// assert!((straight_line_height_m(0.0) - 2.645).abs() < 5e-4);
/// assert!((straight_line_height_m(0.4) - 2.588).abs() < 5e-4);
/// ```
#[must_use]
pub fn straight_line_height_m(inside_m: f64) -> f64 {
    let whole = BASELINE_TO_NET_M + NET_TO_SERVICE_LINE_M - inside_m;
    NET_HEIGHT_M * whole / NET_TO_SERVICE_LINE_M + BALL_RADIUS_M
}

/// The same for a ball that falls: no drag, no spin, horizontal speed `speed_m_s`, hit over the
/// baseline. May lie below the net for a slow ball, which then has to be hit upwards.
///
/// ```
/// use precedent::serve::falling_height_m;
/// assert!((falling_height_m(50.0) - 2.22).abs() < 0.005);
/// ```
#[must_use]
pub fn falling_height_m(speed_m_s: f64) -> f64 {
    let whole = BASELINE_TO_NET_M + NET_TO_SERVICE_LINE_M;
    let fall = GRAVITY_M_S2 * BASELINE_TO_NET_M * whole / (2.0 * speed_m_s * speed_m_s);
    straight_line_height_m(0.0) - fall
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked example R168 to R171, R174 and R176 of the project's reference table (derived from
    /// the ITF's distances; no outside implementation).
    #[test]
    fn the_worked_example_comes_out() {
        let close = |found: f64, want: f64, tolerance: f64| {
            assert!((found - want).abs() <= tolerance, "{found} is not {want} within {tolerance}");
        };
        close(straight_line_height_m(0.0) - BALL_RADIUS_M, 2.611, 5e-4);
        close(straight_line_height_m(0.0), 2.645, 5e-4);
        close(straight_line_height_m(0.3), 2.602, 5e-4);
        close(straight_line_height_m(0.4), 2.588, 5e-4);
        close(straight_line_height_m(0.5), 2.573, 1e-3);
        close((NET_HEIGHT_M / NET_TO_SERVICE_LINE_M).atan().to_degrees(), 8.13, 5e-3);
        // 2.645 - 1065.9 / v^2
        close((straight_line_height_m(0.0) - falling_height_m(1.0)) / 1065.9, 1.0, 1e-3);
        for (kmh, want) in [(200.0, 2.30), (180.0, 2.22), (150.0, 2.03), (120.0, 1.69)] {
            close(falling_height_m(kmh / 3.6), want, 6e-3);
        }
    }
}
