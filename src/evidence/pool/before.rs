//! What the other faults of the library say before this one is looked at.

use ndarray::Array1;

use super::posterior::Posterior;
use super::prior::{CORRELATION, FAULT_SPREAD, OTHER_FAULTS, TYPICAL, VARIANCE, WEIGHED};
use super::{PLAN, Sample};
use crate::evidence::fit::{Fit, Noise, fit};

/// What the other faults of the library say beforehand.
pub(super) struct Before {
    /// Mean and variance of what plans add to a fault, if known.
    pub(super) gain: Option<(f64, f64)>,
    /// Log-likelihood of each of [`weighed`](super::prior::weighed).
    pub(super) spreads: [f64; WEIGHED],
    pub(super) noise: Noise,
    pub(super) faults: usize,
}

impl Before {
    fn nothing() -> Self {
        Self {
            gain: None,
            spreads: [0.0; WEIGHED],
            noise: Noise { variances: [VARIANCE.0; 2], correlation: CORRELATION.0 },
            faults: 0,
        }
    }

    /// What plans add to a new fault, by the faults that show it: a random-effects mean and its
    /// spread (DerSimonian and Laird 1986, doi 10.1016/0197-2456(86)90046-2), widened for the few
    /// faults it rests on as a prediction with Student's t (Higgins, Thompson and Spiegelhalter
    /// 2009, doi 10.1111/j.1467-985X.2008.00552.x). The likelihoods of the spread between drills
    /// multiply; residual variances are pooled.
    pub(super) fn of(others: &[Sample]) -> Self {
        let mut before = Self::nothing();
        let mut sums = Sums::default();
        for sample in others {
            if let Some(fitted) = fit(&sample.design, before.noise, &sample.prior(TYPICAL, None)) {
                sums.add(&fitted, sample.effective);
            }
        }
        before.noise = sums.drawn(before.noise);
        let mut gains: Vec<(f64, f64)> = Vec::new();
        let mut spreads = [0.0; WEIGHED];
        for sample in others {
            let Some((fits, freedom)) = sample.fits(&before) else { continue };
            for (sum, fit) in spreads.iter_mut().zip(&fits) {
                *sum += fit.log_likelihood;
            }
            if sample.compared {
                let posterior = Posterior::of(fits, freedom, &before);
                let mut contrast = Array1::zeros(sample.size());
                contrast[PLAN] = 1.0;
                let (mean, variance) = posterior.moments(&contrast);
                gains.push((mean, variance));
            }
        }
        before.spreads = spreads;
        before.faults = gains.len();
        if gains.len() >= OTHER_FAULTS {
            before.gain = Some(predicted(&gains));
        }
        before
    }
}

/// Mean and variance of one more draw from what these (estimate, variance) were drawn from.
fn predicted(gains: &[(f64, f64)]) -> (f64, f64) {
    let count = gains.len() as f64;
    let pooled = |spread: f64| {
        let weight = |gain: &(f64, f64)| 1.0 / (gain.1 + spread);
        let total: f64 = gains.iter().map(weight).sum();
        let mean = gains.iter().map(|gain| weight(gain) * gain.0).sum::<f64>() / total;
        (mean, total)
    };
    let (mean, total) = pooled(0.0);
    let squares: f64 = gains.iter().map(|gain| 1.0 / (gain.1 * gain.1)).sum();
    let off: f64 = gains.iter().map(|gain| (gain.0 - mean).powi(2) / gain.1).sum();
    let between = ((off - (count - 1.0)) / (total - squares / total)).max(FAULT_SPREAD.powi(2));
    let (mean, total) = pooled(between);
    // Variance of Student's t with count - 2 degrees of freedom.
    (mean, (between + 1.0 / total) * (count - 2.0) / (count - 4.0))
}

/// What residuals say about noise.
#[derive(Default)]
pub(super) struct Sums {
    residual: [f64; 2],
    /// Effective rows not used up by coefficients.
    pub(super) left: [f64; 2],
    paired: (f64, f64),
}

impl Sums {
    pub(super) fn add(&mut self, fitted: &Fit, effective: [f64; 2]) {
        for (group, rows) in effective.into_iter().enumerate() {
            self.residual[group] += fitted.residual[group];
            self.left[group] += (rows - fitted.used[group]).max(0.0);
        }
        self.paired = (self.paired.0 + fitted.paired.0, self.paired.1 + fitted.paired.1);
    }

    /// Moderated: what was known before counts as so many rows (after Smyth 2004, doi
    /// 10.2202/1544-6115.1027, with the number fixed).
    pub(super) fn drawn(&self, before: Noise) -> Noise {
        let variance = |group: usize| {
            (VARIANCE.1 * before.variances[group] + self.residual[group])
                / (VARIANCE.1 + self.left[group])
        };
        let pairs = CORRELATION.1 * before.correlation + self.paired.0;
        Noise {
            variances: [variance(0), variance(1)],
            correlation: (pairs / (CORRELATION.1 + self.paired.1)).clamp(0.0, 0.95),
        }
    }
}
