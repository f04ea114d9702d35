//! Low-pass filtering without lag, and the choice of its cutoff.

use thiserror::Error;

use super::{Joint, Recording};

/// Why a recording cannot be filtered so.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum FilterError {
    /// A cutoff the sample rate does not carry, or none at all.
    #[error(
        "a cutoff of {cutoff_hz} Hz does not suit {rate_hz} frames a second: \
         take one above 0 and up to {highest_hz} Hz"
    )]
    Cutoff {
        /// The cutoff asked for, Hz.
        cutoff_hz: f64,
        /// The sample rate, Hz.
        rate_hz: f64,
        /// The highest cutoff the rate carries, Hz.
        highest_hz: f64,
    },
    /// Frames at uneven times.
    #[error(
        "the frames are unevenly spaced in time, and a filter needs even spacing: resample \
         first"
    )]
    UnevenTime,
}

/// Share of the sample rate that a cutoff may reach: beyond 0.4 too little is left to stop.
const HIGHEST_SHARE: f64 = 0.4;

/// Coefficients of one second-order low-pass pass, `a0` = 1.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
}

impl Biquad {
    /// Second-order Butterworth such that two passes together are 3 dB down at `cutoff_hz`.
    ///
    /// Bilinear transform with prewarping; the factor for two passes is
    /// (sqrt 2 - 1)^(1/4) = 0.802 (Winter 2009, Biomechanics and Motor Control of Human
    /// Movement, 4th ed., 3.4.4.2), applied to the prewarped frequency.
    fn two_passes(cutoff_hz: f64, rate_hz: f64) -> Self {
        let factor = (std::f64::consts::SQRT_2 - 1.0).powf(0.25);
        let w = (std::f64::consts::PI * cutoff_hz / rate_hz).tan() / factor;
        let w2 = w * w;
        let damped = std::f64::consts::SQRT_2 * w;
        let a0 = 1.0 + damped + w2;
        let b = w2 / a0;
        Self { b: [b, 2.0 * b, b], a: [2.0 * (w2 - 1.0) / a0, (1.0 - damped + w2) / a0] }
    }

    /// State after an endless input of 1: the step response starts settled.
    fn settled(&self) -> [f64; 2] {
        // The gain at rest is 1, so z2 = b2 - a2 and z1 = b1 - a1 + z2.
        let z2 = self.b[2] - self.a[1];
        [self.b[1] - self.a[0] + z2, z2]
    }

    /// One pass in place, in the transposed direct form II that SciPy's `lfilter` uses.
    fn pass<'a>(&self, values: impl Iterator<Item = &'a mut f64>) {
        let mut state: Option<[f64; 2]> = None;
        for value in values {
            let x = *value;
            let [z1, z2] = state.unwrap_or_else(|| self.settled().map(|z| z * x));
            let y = self.b[0] * x + z1;
            state = Some([self.b[1] * x - self.a[0] * y + z2, self.b[2] * x - self.a[1] * y]);
            *value = y;
        }
    }
}

/// Zero-lag fourth-order Butterworth low-pass of evenly spaced `values`.
///
/// Two second-order passes, forward and backward, with odd extension of 9 samples at both ends
/// (fewer where the signal is shorter) and settled starts: SciPy's `filtfilt(butter(2, ...))`.
/// The whole is 3 dB down at `cutoff_hz`. Values must be finite. O(n).
///
/// # Errors
/// [`FilterError::Cutoff`] unless 0 < `cutoff_hz` <= 0.4 `rate_hz`.
pub fn butterworth(values: &mut [f64], cutoff_hz: f64, rate_hz: f64) -> Result<(), FilterError> {
    let highest_hz = HIGHEST_SHARE * rate_hz;
    // Written so that NaN is refused too.
    if !(cutoff_hz > 0.0 && cutoff_hz <= highest_hz) {
        return Err(FilterError::Cutoff { cutoff_hz, rate_hz, highest_hz });
    }
    run(values, &Biquad::two_passes(cutoff_hz, rate_hz), &mut Vec::new());
    Ok(())
}

fn run(values: &mut [f64], biquad: &Biquad, padded: &mut Vec<f64>) {
    let (Some(&first), Some(&last)) = (values.first(), values.last()) else { return };
    let n = values.len();
    let pad = 9.min(n - 1);
    padded.clear();
    padded.extend((1..=pad).rev().map(|i| 2.0 * first - values[i]));
    padded.extend_from_slice(values);
    padded.extend((1..=pad).map(|i| 2.0 * last - values[n - 1 - i]));
    biquad.pass(padded.iter_mut());
    biquad.pass(padded.iter_mut().rev());
    values.copy_from_slice(&padded[pad..pad + n]);
}

/// Low-pass filters every joint of `recording` with [`butterworth`], each stretch between gaps
/// on its own. Gaps stay gaps.
///
/// # Errors
/// As [`butterworth`]; [`FilterError::UnevenTime`] if the frames are not evenly spaced. On
/// error nothing is changed.
pub fn lowpass(recording: &mut Recording, cutoff_hz: f64) -> Result<(), FilterError> {
    let rate_hz = recording.rate_hz;
    let highest_hz = HIGHEST_SHARE * rate_hz;
    if !(cutoff_hz > 0.0 && cutoff_hz <= highest_hz) {
        return Err(FilterError::Cutoff { cutoff_hz, rate_hz, highest_hz });
    }
    if !recording.is_even() {
        return Err(FilterError::UnevenTime);
    }
    let biquad = Biquad::two_passes(cutoff_hz, rate_hz);
    let width = recording.joints.len();
    let (mut values, mut padded) = (Vec::new(), Vec::new());
    for column in 0..width {
        for stretch in stretches(recording, column) {
            for axis in 0..3 {
                values.clear();
                values.extend(
                    stretch.clone().map(|frame| recording.positions[frame * width + column][axis]),
                );
                run(&mut values, &biquad, &mut padded);
                for (frame, &value) in stretch.clone().zip(&values) {
                    recording.positions[frame * width + column][axis] = value;
                }
            }
        }
    }
    Ok(())
}

/// The runs of frames in which the joint in `column` was measured.
pub(super) fn stretches(recording: &Recording, column: usize) -> Vec<std::ops::Range<usize>> {
    let width = recording.joints.len();
    let mut runs: Vec<std::ops::Range<usize>> = Vec::new();
    for frame in 0..recording.frames() {
        if recording.positions[frame * width + column][0].is_nan() {
            continue;
        }
        match runs.last_mut() {
            Some(run) if run.end == frame => run.end += 1,
            _ => runs.push(frame..frame + 1),
        }
    }
    runs
}

/// The cutoff for a recording and how it came about.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cutoff {
    /// The cutoff, Hz: within the bounds.
    pub hz: f64,
    /// What the residuals alone asked for, Hz; `None` where no joint has a long enough stretch.
    pub residual_hz: Option<f64>,
    /// Lower bound, Hz.
    pub lowest_hz: f64,
    /// Upper bound, Hz: a quarter of the sample rate, at most 20.
    pub highest_hz: f64,
}

/// Frames a stretch needs for residual analysis.
const ENOUGH_FRAMES: usize = 30;

/// The cutoff for [`lowpass`] by residual analysis, one for the whole recording.
///
/// For each core joint and axis the residual between raw and filtered positions is drawn over
/// the cutoff; the straight tail of that line, carried on to 0 Hz, is the noise, and the cutoff
/// is where the residual equals it (Winter 2009, 3.4.4.3). The fastest joint decides, so that
/// none is smoothed too much. Bounds: 4 Hz (less where the rate carries less) to 20 Hz or a
/// quarter of the sample rate, whichever is lower. O(joints x frames x 40).
#[must_use]
pub fn choose_cutoff(recording: &Recording) -> Cutoff {
    let highest_hz = (recording.rate_hz / 4.0).min(20.0);
    let lowest_hz = highest_hz.min(4.0);
    let residual_hz = Joint::CORE
        .iter()
        .filter_map(|&joint| recording.column(joint))
        .flat_map(|column| (0..3).map(move |axis| (column, axis)))
        .filter_map(|(column, axis)| residual_cutoff(recording, column, axis))
        .max_by(f64::total_cmp);
    Cutoff {
        hz: residual_hz.unwrap_or(highest_hz).clamp(lowest_hz, highest_hz),
        residual_hz,
        lowest_hz,
        highest_hz,
    }
}

fn residual_cutoff(recording: &Recording, column: usize, axis: usize) -> Option<f64> {
    let width = recording.joints.len();
    let stretch = stretches(recording, column).into_iter().max_by_key(ExactSizeIterator::len)?;
    if stretch.len() < ENOUGH_FRAMES {
        return None;
    }
    let raw: Vec<f64> =
        stretch.map(|frame| recording.positions[frame * width + column][axis]).collect();
    winter(&raw, recording.rate_hz)
}

/// Where the residual curve meets its noise level, Hz; `None` for a signal that does not move.
fn winter(raw: &[f64], rate_hz: f64) -> Option<f64> {
    const STEPS: usize = 40;
    let highest_hz = HIGHEST_SHARE * rate_hz;
    let mut padded = Vec::new();
    let curve: Vec<(f64, f64)> = (1..=STEPS)
        .map(|step| {
            let hz = highest_hz * step as f64 / STEPS as f64;
            let mut smooth = raw.to_vec();
            run(&mut smooth, &Biquad::two_passes(hz, rate_hz), &mut padded);
            let sum: f64 = raw.iter().zip(&smooth).map(|(a, b)| (a - b) * (a - b)).sum();
            (hz, (sum / raw.len() as f64).sqrt())
        })
        .collect();
    // The tail: the last third of the cutoffs, where little but noise is left.
    let tail = &curve[2 * STEPS / 3..];
    let n = tail.len() as f64;
    let (mean_x, mean_y) = tail.iter().fold((0.0, 0.0), |(x, y), p| (x + p.0 / n, y + p.1 / n));
    let (sxy, sxx) = tail.iter().fold((0.0, 0.0), |(sxy, sxx), p| {
        (sxy + (p.0 - mean_x) * (p.1 - mean_y), sxx + (p.0 - mean_x).powi(2))
    });
    let noise = mean_y - sxy / sxx * mean_x;
    let largest = curve.first()?.1;
    // A signal that stands still leaves only rounding.
    let size = raw.iter().fold(0.0_f64, |size, x| size.max(x.abs()));
    if largest <= 1e-12 * size || noise <= 0.0 {
        return None;
    }
    curve.iter().find(|(_, residual)| *residual <= noise).map(|(hz, _)| *hz)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sine at the cutoff keeps 1/sqrt 2 of its height: the correction for two passes.
    #[test]
    fn the_whole_filter_is_3_db_down_at_the_cutoff() {
        let (rate_hz, cutoff_hz) = (200.0, 10.0);
        let mut values: Vec<f64> = (0..4000)
            .map(|i| (std::f64::consts::TAU * cutoff_hz * f64::from(i) / rate_hz).sin())
            .collect();
        butterworth(&mut values, cutoff_hz, rate_hz).expect("a fair cutoff");
        let peak = values[1000..3000].iter().copied().fold(0.0, f64::max);
        assert!((peak - 0.5_f64.sqrt()).abs() < 1e-9, "{peak}");
    }

    #[test]
    fn constants_and_short_signals_pass_unchanged() {
        for n in 0..12 {
            let mut values = vec![3.25; n];
            butterworth(&mut values, 5.0, 50.0).expect("a fair cutoff");
            assert!(values.iter().all(|v| (v - 3.25).abs() < 1e-12), "{n}: {values:?}");
        }
    }

    #[test]
    fn a_cutoff_beyond_the_rate_is_refused() {
        for cutoff_hz in [0.0, -1.0, 6.01, f64::NAN] {
            let mut values = [1.0, 2.0];
            let error = butterworth(&mut values, cutoff_hz, 15.0).expect_err("refused");
            assert!(error.to_string().ends_with("take one above 0 and up to 6 Hz"), "{error}");
            assert_eq!(values, [1.0, 2.0]);
        }
    }

    /// Planted: a 1 Hz movement under white noise of known size at 100 Hz. The residual method
    /// must land between the movement and the noise-only band.
    #[test]
    fn residual_analysis_separates_movement_from_noise() {
        use rand::{Rng, SeedableRng};
        let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(7);
        let raw: Vec<f64> = (0..1000)
            .map(|i| {
                let t = f64::from(i) / 100.0;
                (std::f64::consts::TAU * t).sin() + 0.005 * (rng.r#gen::<f64>() - 0.5)
            })
            .collect();
        let hz = winter(&raw, 100.0).expect("moves");
        assert!((2.0..12.0).contains(&hz), "{hz}");
        assert_eq!(winter(&[1.0; 100], 100.0), None);
    }
}
