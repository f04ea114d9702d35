//! The fits together, each as likely as votes, other faults and priors make it.

use ndarray::Array1;
use statrs::distribution::{ContinuousCDF, StudentsT};

use super::before::Before;
use super::prior::weighed;
use super::{Estimate, INTERVAL};
use crate::evidence::fit::Fit;

/// A mixture over the spread between drills.
pub(super) struct Posterior {
    parts: Vec<(f64, Fit)>,
    freedom: f64,
}

impl Posterior {
    /// The mixture of these fits, one for each of [`weighed`].
    pub(super) fn of(fits: Vec<Fit>, freedom: f64, before: &Before) -> Self {
        let log: Vec<f64> = fits
            .iter()
            .zip(before.spreads)
            .zip(weighed())
            .map(|((fit, others), (_, prior))| fit.log_likelihood + others + prior)
            .collect();
        let most = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let weights: Vec<f64> = log.iter().map(|log| (log - most).exp()).collect();
        let total: f64 = weights.iter().sum();
        let parts = weights.iter().map(|weight| weight / total).zip(fits).collect();
        Self { parts, freedom }
    }

    /// Mean and variance over the mixture (law of total variance).
    pub(super) fn moments(&self, contrast: &Array1<f64>) -> (f64, f64) {
        let each =
            |fit: &Fit| (contrast.dot(&fit.mean), contrast.dot(&fit.covariance.dot(contrast)));
        let mean: f64 = self.parts.iter().map(|(weight, fit)| weight * each(fit).0).sum();
        let variance = self
            .parts
            .iter()
            .map(|(weight, fit)| {
                let (middle, within) = each(fit);
                weight * (within + (middle - mean).powi(2))
            })
            .sum();
        (mean, variance)
    }

    /// `unseen` is the variance that is added for those never seen again.
    pub(super) fn estimate(&self, contrast: &Array1<f64>, unseen: f64, unit: f64) -> Estimate {
        let (mean, variance) = self.moments(contrast);
        let deviation = (variance + unseen).max(f64::MIN_POSITIVE).sqrt();
        // Degrees of freedom are 4 at least, so the distribution exists.
        let (half, above_zero) =
            StudentsT::new(0.0, 1.0, self.freedom).map_or((f64::INFINITY, 0.5), |t| {
                let half = t.inverse_cdf(f64::midpoint(1.0, INTERVAL)) * deviation;
                (half, t.cdf(mean / deviation))
            });
        Estimate {
            mean: mean * unit,
            low: (mean - half) * unit,
            high: (mean + half) * unit,
            above_zero,
        }
    }
}
