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
/// whatever it meets lies between lower[j] and upper[j]. Minima and maxima of `f32` round nothing.
pub(crate) fn envelope(
    query: Curve<'_>,
    params: &ValidDtwParams,
    section: &Range<usize>,
) -> Envelope {
    let channels = query.channels();
    let band = params.band_frames().min(section.len());
    let mut upper = query.values().to_vec();
    let mut lower = upper.clone();
    // Widen by doubling: after a round the value at j covers j ..= j + covered - 1.
    let (start, end) = (section.start * channels, section.end * channels);
    let (up, low) = (&mut upper[start..end], &mut lower[start..end]);
    let mut covered = 1;
    while covered < band + 1 {
        let reach = covered.min(band + 1 - covered);
        let shift = reach * channels;
        for at in 0..up.len().saturating_sub(shift) {
            up[at] = up[at].max(up[at + shift]);
            low[at] = low[at].min(low[at + shift]);
        }
        covered += reach;
    }
    // The same to the other side, over what already looks ahead: j - band ..= j + band. Going
    // backwards keeps sources unchanged.
    let mut covered = 1;
    while covered < band + 1 {
        let reach = covered.min(band + 1 - covered);
        let shift = reach * channels;
        for at in (shift..up.len()).rev() {
            up[at] = up[at].max(up[at - shift]);
            low[at] = low[at].min(low[at - shift]);
        }
        covered += reach;
    }
    Envelope { upper, lower }
}
