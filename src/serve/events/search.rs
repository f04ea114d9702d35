//! Highest points and crossings of a sampled course, between samples.

/// Position of the highest value in `range`, refined by a parabola through its neighbours.
pub(super) fn highest(values: &[f64], range: std::ops::Range<usize>) -> f64 {
    let mut best = range.start.min(values.len() - 1);
    for i in range {
        if i < values.len() && values[i] > values[best] {
            best = i;
        }
    }
    if best == 0 || best + 1 >= values.len() {
        return best as f64;
    }
    let (a, b, c) = (values[best - 1], values[best], values[best + 1]);
    let bend = a - 2.0 * b + c;
    if bend < 0.0 && a <= b && c <= b {
        best as f64 + (0.5 * (a - c) / bend).clamp(-0.5, 0.5)
    } else {
        best as f64
    }
}

pub(super) fn lowest_value(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::NAN, f64::min)
}

/// First position after `from` where the values fall through `level`.
pub(super) fn crossing_down(values: &[f64], from: f64, level: f64) -> Option<f64> {
    (from.ceil() as usize..values.len().saturating_sub(1)).find_map(|i| {
        let (a, b) = (values[i], values[i + 1]);
        (a >= level && b < level).then(|| i as f64 + (a - level) / (a - b))
    })
}

/// First position after `from` where the values rise through `level`.
pub(super) fn crossing_up(values: &[f64], from: f64, level: f64) -> Option<f64> {
    (from.ceil() as usize..values.len().saturating_sub(1)).find_map(|i| {
        let (a, b) = (values[i], values[i + 1]);
        (a < level && b >= level).then(|| i as f64 + (level - a) / (b - a))
    })
}
