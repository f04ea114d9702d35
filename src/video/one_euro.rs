//! The one-euro filter that steadies the region from frame to frame.
//!
//! Casiez, Roussel & Vogel 2012, doi 10.1145/2207676.2208639; the speed is scaled by the figure's
//! size, so that a far figure and a near one are steadied alike.

const FREQUENCY_HZ: f64 = 30.0;
const MIN_CUTOFF_HZ: f64 = 0.01;
const BETA: f64 = 10.0;
const SPEED_CUTOFF_HZ: f64 = 1.0;

/// Filter for one coordinate.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct OneEuro {
    state: Option<State>,
}

#[derive(Debug, Clone, Copy)]
struct State {
    raw: f64,
    smooth: f64,
    speed: f64,
}

impl OneEuro {
    /// The next smoothed value; `value_scale` is one over the figure's size.
    pub(super) fn next(&mut self, value: f64, value_scale: f64) -> f64 {
        let state = match self.state {
            None => State { raw: value, smooth: value, speed: 0.0 },
            Some(last) => {
                let speed = (value - last.raw) * value_scale * FREQUENCY_HZ;
                let speed = mix(speed, last.speed, weight(SPEED_CUTOFF_HZ));
                let cutoff = MIN_CUTOFF_HZ + BETA * speed.abs();
                State { raw: value, smooth: mix(value, last.smooth, weight(cutoff)), speed }
            }
        };
        self.state = Some(state);
        state.smooth
    }
}

fn mix(new: f64, old: f64, weight: f64) -> f64 {
    weight * new + (1.0 - weight) * old
}

fn weight(cutoff_hz: f64) -> f64 {
    let tau = 1.0 / (std::f64::consts::TAU * cutoff_hz);
    1.0 / (1.0 + tau * FREQUENCY_HZ)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_still_point_stays_and_a_step_is_followed_in_part() {
        let mut filter = OneEuro::default();
        assert_eq!(filter.next(10.0, 0.01), 10.0);
        assert_eq!(filter.next(10.0, 0.01), 10.0);
        // By hand: speed 1 * 0.01 * 30 = 0.3, smoothed by 1 / (1 + 30 / tau) = 0.17317...
        let a = 1.0 / (1.0 + 30.0 / std::f64::consts::TAU);
        let cutoff = 0.01 + 10.0 * 0.3 * a;
        let b = 1.0 / (1.0 + 30.0 / (std::f64::consts::TAU * cutoff));
        let got = filter.next(11.0, 0.01);
        assert!((got - (10.0 + b)).abs() < 1e-12, "{got}");
    }
}
