//! The plain way, for comparison: LB_Keogh of every curve, then DTW in order of that bound, each abandoned as soon as it
//! is above the k-th best so far.

use curve_index::{Curve, Index, Neighbour, Scratch, ValidDtwParams, dtw};

/// The nearest of curves 0 to `index.len()` - 1, nearest first; the number compared.
pub(crate) fn nearest(
    index: &Index,
    query: &[f32],
    params: &ValidDtwParams,
    k: usize,
) -> (Vec<Neighbour>, u64) {
    let channels = params.channels();
    let query = Curve::new(query, channels).expect("checked by whoever read it");
    let (upper, lower) = envelope(query, params.band_frames());
    let mut bounds: Vec<(f64, u64)> = (0..index.len() as u64)
        .map(|id| {
            let curve = index.curve(id).expect("ids are row numbers");
            let limits = upper.iter().zip(&lower);
            let gaps = curve.values().iter().zip(limits).enumerate().map(
                |(at, (&value, (&high, &low)))| {
                    let gap = f64::from((value - high).max(low - value).max(0.0));
                    params.weights()[at % channels] * gap * gap
                },
            );
            (gaps.sum(), id)
        })
        .collect();
    bounds.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut best: Vec<Neighbour> = Vec::new();
    let mut scratch = Scratch::default();
    let mut compared = 0;
    for (bound, id) in bounds {
        let cutoff = if best.len() < k { f64::INFINITY } else { best[k - 1].cost };
        // Room for what rounding did to the bound.
        if bound * (1.0 - 1e-6) > cutoff {
            break;
        }
        compared += 1;
        let curve = index.curve(id).expect("ids are row numbers");
        if let Some(cost) = dtw(query, curve, params, cutoff, &mut scratch) {
            let at = best.partition_point(|one| (one.cost, one.id) < (cost, id));
            best.insert(at, Neighbour { id, cost });
            best.truncate(k);
        }
    }
    (best, compared)
}

/// Per frame and channel the highest and lowest value of the query inside the band.
fn envelope(query: Curve<'_>, band: usize) -> (Vec<f32>, Vec<f32>) {
    let (frames, channels) = (query.frames(), query.channels());
    let over = |pick: fn(f32, f32) -> f32| {
        let mut values = Vec::with_capacity(frames * channels);
        for frame in 0..frames {
            let near = frame.saturating_sub(band)..(frame + band + 1).min(frames);
            for channel in 0..channels {
                let near = near.clone().map(|frame| query.frame(frame)[channel]);
                values.push(near.reduce(pick).expect("a frame is near itself"));
            }
        }
        values
    };
    (over(f32::max), over(f32::min))
}
