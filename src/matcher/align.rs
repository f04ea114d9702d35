//! One serve laid along another, phase by phase.

use curve_index::{DtwParams, explain};

use super::{BAND_FRAMES, Focus};
use crate::serve::{CURVE_FRAMES, Curve};

/// Where each sample of `serve` lies on `other` along the alignment that gives their distance: the
/// mean of the samples it meets, 0 to 100.
///
/// [`CURVE_FRAMES`] positions that never decrease, from 0 to 100. `None` if the two hold different
/// channels or a curve has another shape. Cost: one full alignment, 101 x 101 cells.
#[must_use]
pub fn align(serve: &Curve, other: &Curve) -> Option<Vec<f64>> {
    if serve.channel_set != other.channel_set || serve.channels != other.channels {
        return None;
    }
    let a = curve_index::Curve::new(&serve.values, serve.channels).ok()?;
    let b = curve_index::Curve::new(&other.values, other.channels).ok()?;
    if a.frames() != CURVE_FRAMES || b.frames() != CURVE_FRAMES {
        return None;
    }
    let weights = Focus::default().weights(&serve.channel_set, serve.channels);
    let params = DtwParams::new(serve.channels).band_frames(BAND_FRAMES).weights(&weights);
    let mut met = vec![(0_usize, 0_usize); CURVE_FRAMES];
    for (here, there) in explain(a, b, &params.check().ok()?).path {
        met[here].0 += there;
        met[here].1 += 1;
    }
    // A path visits every sample and never goes back, so its means do not either; at the two ends
    // a sample may meet several, and the ends belong to each other.
    let mut along: Vec<f64> = met.iter().map(|&(sum, count)| sum as f64 / count as f64).collect();
    along[0] = 0.0;
    along[CURVE_FRAMES - 1] = (CURVE_FRAMES - 1) as f64;
    Some(along)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::serve::{CORE_SET, channels};

    /// One hump per channel, its middle at `peak`.
    fn hump(peak: f64) -> Curve {
        let channels = channels(CORE_SET).len();
        let values = (0..CURVE_FRAMES).flat_map(|sample| {
            let value = (-((sample as f64 - peak) / 12.0).powi(2)).exp() as f32;
            std::iter::repeat_n(3.0 * value, channels)
        });
        Curve { channel_set: CORE_SET.to_owned(), channels, values: values.collect() }
    }

    #[test]
    fn what_comes_later_is_found_later_and_the_ends_meet() {
        let same = align(&hump(50.0), &hump(50.0)).unwrap();
        assert!(same.iter().enumerate().all(|(at, &there)| (there - at as f64).abs() < 1e-12));
        // Planted: the same hump 6 samples later, inside the band of 10.
        let along = align(&hump(44.0), &hump(50.0)).unwrap();
        for (at, &there) in along.iter().enumerate().take(60).skip(30) {
            assert!((there - at as f64 - 6.0).abs() <= 1.0, "{at} lies on {there}");
        }
        assert_eq!((along[0], along[100]), (0.0, 100.0));
        assert!(along.windows(2).all(|pair| pair[0] <= pair[1]), "{along:?}");
    }

    #[test]
    fn other_channels_are_not_laid_along() {
        let other = Curve { channel_set: "flat-9".to_owned(), ..hump(50.0) };
        assert_eq!(align(&hump(50.0), &other), None);
    }
}
