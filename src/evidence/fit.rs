//! One weighted linear model with normal priors, and its honest spread.

use linfa_linalg::cholesky::{CholeskyInplace, InverseC, SolveC};
use ndarray::{Array1, Array2, Axis};

/// Rows of a linear model. Each row belongs to group 0 or 1, which have spreads of their own.
#[derive(Debug, Clone)]
pub(super) struct Design {
    /// rows x columns.
    pub(super) columns: Array2<f64>,
    /// What is explained.
    pub(super) y: Array1<f64>,
    /// How much each row counts, above 0; scaled so that a group's sum is its effective number.
    pub(super) weights: Array1<f64>,
    /// Group of each row.
    pub(super) group: Vec<usize>,
    /// Rows of one player, where a player has several.
    pub(super) clusters: Vec<Vec<usize>>,
}

/// How noisy rows are.
#[derive(Debug, Clone, Copy)]
pub(super) struct Noise {
    /// Variance of a row of each group.
    pub(super) variances: [f64; 2],
    /// Correlation between rows of one player.
    pub(super) correlation: f64,
}

/// Independent normal priors; a precision of 0 is flat.
#[derive(Debug, Clone)]
pub(super) struct Prior {
    pub(super) mean: Array1<f64>,
    pub(super) precision: Array1<f64>,
}

/// Posterior of the coefficients under given variances.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub(super) mean: Array1<f64>,
    /// Spread around the truth of the weighted estimate, see [`fit`].
    pub(super) covariance: Array2<f64>,
    /// Logarithm of the marginal likelihood, up to a constant that depends on the data and the
    /// variances alone.
    pub(super) log_likelihood: f64,
    /// Weighted squared residuals of each group.
    pub(super) residual: [f64; 2],
    /// How many of each group's weighted rows the coefficients use up: what is missing from the
    /// expected weighted squares, in variances.
    pub(super) used: [f64; 2],
    /// Sum of products of standardised residuals over pairs of rows of one player, and the pairs.
    pub(super) paired: (f64, f64),
}

/// Fits `y = columns * b + e` where `e` of group g has variance s2 = `variances[g]`.
///
/// The weights say which rows the question is about, not how noisy a row is. So the estimate
/// solves `(X'WX / s2 + P) b = X'Wy / s2 + P m`, and its covariance is not that inverse `M^-1`
/// but `M^-1 (X'WVWX / s2^2 + P) M^-1`, what errors of covariance V and the prior really put into
/// it: the sandwich, with rows of one player correlated. With weights of 1 and no correlation the
/// two are the same. `None` if the system cannot be solved.
pub(super) fn fit(design: &Design, noise: Noise, prior: &Prior) -> Option<Fit> {
    let Design { columns, y, weights, group, clusters } = design;
    let Noise { variances, correlation } = noise;
    let precision: Array1<f64> =
        group.iter().zip(weights).map(|(&group, weight)| weight / variances[group]).collect();
    let weighted = columns * &precision.view().insert_axis(Axis(1));
    let prior_precision = Array2::from_diag(&prior.precision);
    let mut system = columns.t().dot(&weighted) + &prior_precision;
    let right = weighted.t().dot(y) + &prior.precision * &prior.mean;
    let inverse = system.invc().ok()?;
    let mean = system.solvec(&right.insert_axis(Axis(1))).ok()?.index_axis_move(Axis(1), 0);
    // A row's error has standard deviation s and enters as w / s2: w / s for each spread of it.
    let spread = |row: usize| weights[row] / variances[group[row]].sqrt();
    let pushes = Array1::from_iter((0..weights.len()).map(spread));
    let pushed = columns * &pushes.view().insert_axis(Axis(1));
    let mut middle = pushed.t().dot(&pushed) + &prior_precision;
    for rows in clusters {
        let own = pushed.select(Axis(0), rows);
        let sum = own.sum_axis(Axis(0)).insert_axis(Axis(1));
        middle += &((sum.dot(&sum.t()) - own.t().dot(&own)) * correlation);
    }
    let covariance = inverse.dot(&middle).dot(&inverse);

    let errors = y - &columns.dot(&mean);
    // How far a row's error moves its own fitted value, with what comes along in the errors of the
    // same player's other rows.
    let mut leverage = (&weighted.dot(&inverse) * columns).sum_axis(Axis(1));
    for rows in clusters {
        let moved = columns.select(Axis(0), rows).dot(&inverse);
        let hat = moved.dot(&weighted.select(Axis(0), rows).t());
        for (i, &row) in rows.iter().enumerate() {
            let own = variances[group[row]].sqrt();
            for (j, &other) in rows.iter().enumerate().filter(|&(j, _)| j != i) {
                leverage[row] += correlation * hat[[i, j]] * variances[group[other]].sqrt() / own;
            }
        }
    }
    let reach = (&columns.dot(&covariance) * columns).sum_axis(Axis(1));
    let (mut residual, mut used) = ([0.0; 2], [0.0; 2]);
    for (row, &group) in group.iter().enumerate() {
        residual[group] += weights[row] * errors[row] * errors[row];
        // E r^2 = s2 (1 - 2 h) + x' C x: what the fit takes from the error, and what it adds.
        let own = 2.0 * leverage[row] - reach[row] / variances[group];
        used[group] += weights[row] * own;
    }
    let mut paired = (0.0, 0.0);
    for rows in clusters {
        let standard = |row: &usize| errors[*row] / variances[group[*row]].sqrt();
        let sum: f64 = rows.iter().map(standard).sum();
        let squares: f64 = rows.iter().map(|row| standard(row).powi(2)).sum();
        let count = rows.len() as f64;
        paired.0 += (sum * sum - squares) / 2.0;
        paired.1 += count * (count - 1.0) / 2.0;
    }
    let mut system = columns.t().dot(&weighted) + &prior_precision;
    let log_root: f64 = system.cholesky_inplace().ok()?.diag().iter().map(|entry| entry.ln()).sum();
    let off = &mean - &prior.mean;
    let squares = (&precision * &errors * &errors).sum() + (&prior.precision * &off * &off).sum();
    let proper: f64 = prior.precision.iter().filter(|p| **p > 0.0).map(|p| 0.5 * p.ln()).sum();
    Some(Fit {
        mean,
        covariance,
        log_likelihood: proper - log_root - 0.5 * squares,
        residual,
        used,
        paired,
    })
}
