//! Cubic spline with not-a-knot ends.

/// A cubic spline through points whose abscissae increase.
///
/// Two points give a line, three a parabola, as in SciPy's `CubicSpline`.
pub(super) struct Spline<'a> {
    x: &'a [f64],
    y: &'a [f64],
    slopes: Vec<f64>,
}

impl<'a> Spline<'a> {
    /// Through `(x[i], y[i])`; `None` with fewer than two points.
    ///
    /// `x` must increase strictly and both must be finite and of one length. O(n).
    pub(super) fn new(x: &'a [f64], y: &'a [f64]) -> Option<Self> {
        debug_assert_eq!(x.len(), y.len());
        let n = x.len();
        if n < 2 {
            return None;
        }
        let dx: Vec<f64> = x.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let slope: Vec<f64> =
            y.windows(2).zip(&dx).map(|(pair, dx)| (pair[1] - pair[0]) / dx).collect();
        let slopes = match n {
            2 => vec![slope[0]; 2],
            3 => {
                let bend = (slope[1] - slope[0]) / (dx[0] + dx[1]);
                let middle = slope[0] + bend * dx[0];
                vec![slope[0] - bend * dx[0], middle, slope[1] + bend * dx[1]]
            }
            _ => not_a_knot(&dx, &slope),
        };
        Some(Self { x, y, slopes })
    }

    /// The value at `at`; outside the points the end pieces continue.
    pub(super) fn at(&self, at: f64) -> f64 {
        let last = self.x.len() - 2;
        let i = self.x.partition_point(|&x| x <= at).saturating_sub(1).min(last);
        let h = self.x[i + 1] - self.x[i];
        let slope = (self.y[i + 1] - self.y[i]) / h;
        let t = (self.slopes[i] + self.slopes[i + 1] - 2.0 * slope) / h;
        let c2 = (slope - self.slopes[i]) / h - t;
        let d = at - self.x[i];
        self.y[i] + d * (self.slopes[i] + d * (c2 + d * t / h))
    }
}

/// Slopes at the points: the third derivative is continuous at the second and the last but one.
fn not_a_knot(dx: &[f64], slope: &[f64]) -> Vec<f64> {
    let n = dx.len() + 1;
    let (mut lower, mut main, mut upper, mut right) =
        (vec![0.0; n], vec![0.0; n], vec![0.0; n], vec![0.0; n]);
    let d = dx[0] + dx[1];
    main[0] = dx[1];
    upper[0] = d;
    right[0] = ((dx[0] + 2.0 * d) * dx[1] * slope[0] + dx[0] * dx[0] * slope[1]) / d;
    for i in 1..n - 1 {
        lower[i] = dx[i];
        main[i] = 2.0 * (dx[i - 1] + dx[i]);
        upper[i] = dx[i - 1];
        right[i] = 3.0 * (dx[i] * slope[i - 1] + dx[i - 1] * slope[i]);
    }
    let (a, b) = (dx[n - 3], dx[n - 2]);
    let d = a + b;
    lower[n - 1] = d;
    main[n - 1] = a;
    right[n - 1] = (b * b * slope[n - 3] + (2.0 * d + b) * a * slope[n - 2]) / d;
    // Elimination without pivoting: after row 0 every pivot stays positive.
    for i in 1..n {
        let factor = lower[i] / main[i - 1];
        main[i] -= factor * upper[i - 1];
        right[i] -= factor * right[i - 1];
    }
    let mut slopes = right;
    slopes[n - 1] /= main[n - 1];
    for i in (0..n - 1).rev() {
        slopes[i] = (slopes[i] - upper[i] * slopes[i + 1]) / main[i];
    }
    slopes
}
