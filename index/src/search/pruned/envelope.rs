//! How high and how low the query goes inside the band around each frame.

use std::ops::Range;

use crate::params::{Curve, ValidDtwParams};

/// Upper and lower envelope, frames x channels of the whole curve; frames outside the section hold
/// the query itself and are never looked at.
#[derive(Debug)]
pub(crate) struct Envelope {
    pub(crate) upper: Vec<f32>,
    pub(crate) lower: Vec<f32>,
}

/// The envelope: a candidate's frame j may meet query frames j - band ..= j + band of the section, so
/// whatever it meets lies between `lower[j]` and `upper[j]`. Minima and maxima of `f32` round nothing.
pub(crate) fn envelope(
    query: Curve<'_>,
    params: &ValidDtwParams,
    section: &Range<usize>,
) -> Envelope {
    let channels = query.channels();
    let band = params.band_frames().min(section.len());
    let mut upper = query.values().to_vec();
    let mut lower = upper.clone();
    let inside = section.start * channels..section.end * channels;
    widen(&mut upper[inside.clone()], channels, band, |a, b| if b > a { b } else { a });
    widen(&mut lower[inside], channels, band, |a, b| if b < a { b } else { a });
    Envelope { upper, lower }
}

/// Gives every frame the pick of all frames up to `band` away.
fn widen(values: &mut [f32], channels: usize, band: usize, pick: impl Fn(f32, f32) -> f32) {
    let mut before = Vec::with_capacity(values.len());
    // First over the frames that follow, then, over what so looks ahead, to the other side.
    for ahead in [true, false] {
        // By doubling: after a round a frame has the pick of `covered` frames.
        let mut covered = 1;
        while covered < band + 1 {
            let reach = covered.min(band + 1 - covered);
            covered += reach;
            before.clear();
            before.extend_from_slice(values);
            let shift = values.len().min(reach * channels);
            let kept = values.len() - shift;
            let (near, far) = if ahead {
                (&mut values[..kept], &before[shift..])
            } else {
                (&mut values[shift..], &before[..kept])
            };
            for (value, &other) in near.iter_mut().zip(far) {
                *value = pick(*value, other);
            }
        }
    }
}
