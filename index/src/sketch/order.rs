//! An order in which like curves lie together, so that boxes around neighbours are small.

use super::{BLOCK, GROUP};

/// Most points looked at to choose a direction.
const SAMPLE: usize = 128;
/// Rounds of power iteration.
const ROUNDS: usize = 4;
/// Sets of fewer curves are not worth another thread.
const SPLIT_WORK: usize = 4096;

/// Rows in an order that keeps like sketches together: halved again and again at the median along the
/// direction of largest spread, whole blocks first, then whole groups.
///
/// `codes`: rows x `gains.len()`; `gains`: what a step of each byte weighs. Any order is right; this
/// one depends on nothing but its arguments.
pub(crate) fn order(codes: &[u8], gains: &[f32]) -> Vec<u32> {
    let rows = codes.len() / gains.len().max(1);
    let mut order: Vec<u32> = (0..rows as u32).collect();
    halve(codes, gains, &mut order);
    order
}

fn halve(codes: &[u8], gains: &[f32], rows: &mut [u32]) {
    if rows.len() <= GROUP {
        return;
    }
    let unit = if rows.len() > BLOCK { BLOCK } else { GROUP };
    let left = rows.len().div_ceil(unit) / 2 * unit;
    let direction = spread_direction(codes, gains, rows);
    let dims = gains.len();
    let key = |&row: &u32| -> f32 {
        let line = &codes[row as usize * dims..(row as usize + 1) * dims];
        dot(line, &direction)
    };
    let mut keyed: Vec<(f32, u32)> = rows.iter().map(|row| (key(row), *row)).collect();
    keyed.select_nth_unstable_by(left, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for (row, (_, sorted)) in rows.iter_mut().zip(&keyed) {
        *row = *sorted;
    }
    drop(keyed);
    let (head, tail) = rows.split_at_mut(left);
    // The selection leaves each side in no particular order; sides are sets, and sorting them makes
    // what follows depend on the sets alone.
    head.sort_unstable();
    tail.sort_unstable();
    if head.len() > SPLIT_WORK {
        rayon::join(|| halve(codes, gains, head), || halve(codes, gains, tail));
    } else {
        halve(codes, gains, head);
        halve(codes, gains, tail);
    }
}

/// In sixteen partial sums, so that it can run side by side.
fn dot(codes: &[u8], direction: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 16];
    let (chunks, weights) = (codes.chunks_exact(16), direction.chunks_exact(16));
    let rest = chunks.remainder().iter().zip(weights.remainder());
    let tail: f32 = rest.map(|(&code, &weight)| f32::from(code) * weight).sum();
    for (codes, weights) in chunks.zip(weights) {
        for lane in 0..16 {
            sums[lane] += f32::from(codes[lane]) * weights[lane];
        }
    }
    sums.iter().sum::<f32>() + tail
}

/// The direction of largest spread of (a sample of) the rows, gains multiplied in twice, so that it
/// can be applied to raw codes.
fn spread_direction(codes: &[u8], gains: &[f32], rows: &[u32]) -> Vec<f32> {
    let dims = gains.len();
    let step = rows.len().div_ceil(SAMPLE);
    let mut points: Vec<Vec<f32>> = rows
        .iter()
        .step_by(step)
        .map(|&row| {
            let line = &codes[row as usize * dims..(row as usize + 1) * dims];
            line.iter().zip(gains).map(|(&code, gain)| f32::from(code) * gain).collect()
        })
        .collect();
    let mut mean = vec![0.0_f32; dims];
    for point in &points {
        mean.iter_mut().zip(point).for_each(|(mean, value)| *mean += value);
    }
    let count = points.len() as f32;
    for point in &mut points {
        point.iter_mut().zip(&mean).for_each(|(value, mean)| *value -= mean / count);
    }
    let square = |point: &Vec<f32>| point.iter().map(|value| value * value).sum::<f32>();
    // Start from the point farthest out; a constant set has none, and any direction does.
    let far = points.iter().max_by(|a, b| square(a).total_cmp(&square(b)));
    let mut direction = far.cloned().unwrap_or_else(|| vec![0.0; dims]);
    for _ in 0..ROUNDS {
        let mut next = vec![0.0_f32; dims];
        for point in &points {
            let along: f32 = point.iter().zip(&direction).map(|(a, b)| a * b).sum();
            next.iter_mut().zip(point).for_each(|(next, value)| *next += along * value);
        }
        let length = square(&next).sqrt();
        if !(length > 0.0 && length.is_finite()) {
            break;
        }
        direction = next.iter().map(|value| value / length).collect();
    }
    direction.iter().zip(gains).map(|(value, gain)| value * gain).collect()
}
