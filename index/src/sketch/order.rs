//! An order in which like curves lie together: clusters, and like clusters side by side.

use super::BLOCK;

/// Most points looked at to choose a direction.
const SAMPLE: usize = 128;
/// Rounds of power iteration.
const ROUNDS: usize = 4;
/// Sets of fewer curves are not worth another thread.
const SPLIT_WORK: usize = 4096;
/// Rows among which clusters are looked for, at most.
const NEIGHBOURHOOD: usize = 16 * BLOCK;
/// Curves of a cluster, aimed at: for drawn new players clusters of 25 leave 1.6 times as many curves, for two thirds
/// of the representatives.
const CLUSTER: usize = 16;

/// An order of rows.
#[derive(Debug)]
pub(super) struct Order {
    /// Row at each place.
    pub(super) rows: Vec<u32>,
    /// Place of the first row of each cluster, ascending.
    pub(super) clusters: Vec<u32>,
}

/// Rows in an order that keeps like sketches together: halved again and again at the median along the
/// direction of largest spread, in whole blocks, down to neighbourhoods, which are parted into clusters.
///
/// `codes`: rows x `gains.len()`; `gains`: what a step of each byte weighs. Any order is right; this
/// one depends on nothing but its arguments.
pub(super) fn order(codes: &[u8], gains: &[f32]) -> Order {
    let count = codes.len() / gains.len().max(1);
    let mut rows: Vec<u32> = (0..count as u32).collect();
    let sizes = part(codes, gains, &mut rows);
    let start = |at: &mut u32, size: u32| Some(std::mem::replace(at, *at + size));
    Order { rows, clusters: sizes.into_iter().scan(0, start).collect() }
}

/// Orders some rows; the sizes of their clusters.
fn part(codes: &[u8], gains: &[f32], rows: &mut [u32]) -> Vec<u32> {
    if rows.len() <= NEIGHBOURHOOD {
        return clusters(codes, gains, rows);
    }
    let (head, tail) = halve(codes, gains, rows, BLOCK);
    let (mut sizes, mut others) = if head.len() > SPLIT_WORK {
        rayon::join(|| part(codes, gains, head), || part(codes, gains, tail))
    } else {
        (part(codes, gains, head), part(codes, gains, tail))
    };
    sizes.append(&mut others);
    sizes
}

/// The rows of a neighbourhood cluster by cluster, and the clusters' sizes: k-means (Lloyd 1982, doi
/// 10.1109/TIT.1982.1056489), begun with runs of the rows halved on, and ended after two assignments. Further
/// rounds brought little.
fn clusters(codes: &[u8], gains: &[f32], rows: &mut [u32]) -> Vec<u32> {
    let runs = runs(codes, gains, rows);
    let of_run = (0_u32..).zip(&runs).flat_map(|(number, &size)| vec![number; size as usize]);
    let mut of: Vec<u32> = of_run.collect();
    for _ in 0..2 {
        let means = means(codes, gains, rows, &of, runs.len());
        let mut point = Vec::with_capacity(gains.len());
        for (of, &row) in of.iter_mut().zip(rows.iter()) {
            weigh(codes, gains, row, &mut point);
            *of = nearest(&point, &means);
        }
    }
    let mut keyed: Vec<(u32, u32)> = of.into_iter().zip(rows.iter().copied()).collect();
    keyed.sort_unstable();
    for (row, (_, sorted)) in rows.iter_mut().zip(&keyed) {
        *row = *sorted;
    }
    keyed.chunk_by(|a, b| a.0 == b.0).map(|cluster| cluster.len() as u32).collect()
}

/// Halves some rows down to runs of about [`CLUSTER`]; their sizes.
fn runs(codes: &[u8], gains: &[f32], rows: &mut [u32]) -> Vec<u32> {
    if rows.len() < 2 * CLUSTER {
        return vec![rows.len() as u32];
    }
    let unit = rows.len().div_ceil(rows.len() / CLUSTER);
    let (head, tail) = halve(codes, gains, rows, unit);
    let mut sizes = runs(codes, gains, head);
    sizes.append(&mut runs(codes, gains, tail));
    sizes
}

/// A row's codes times the gains.
fn weigh(codes: &[u8], gains: &[f32], row: u32, into: &mut Vec<f32>) {
    let dims = gains.len();
    let line = &codes[row as usize * dims..(row as usize + 1) * dims];
    into.clear();
    into.extend(line.iter().zip(gains).map(|(&code, gain)| f32::from(code) * gain));
}

/// The means of clusters, and half of each one's square.
fn means(
    codes: &[u8],
    gains: &[f32],
    rows: &[u32],
    of: &[u32],
    count: usize,
) -> Vec<(Vec<f32>, f32)> {
    let mut sums = vec![(vec![0.0_f32; gains.len()], 0.0_f32); count];
    let mut point = Vec::with_capacity(gains.len());
    for (&row, &of) in rows.iter().zip(of) {
        weigh(codes, gains, row, &mut point);
        let (sum, size) = &mut sums[of as usize];
        sum.iter_mut().zip(&point).for_each(|(sum, value)| *sum += value);
        *size += 1.0;
    }
    // An empty one goes: nothing is nearest to what is not there.
    sums.retain(|(_, size)| *size > 0.0);
    for (sum, size) in &mut sums {
        sum.iter_mut().for_each(|sum| *sum /= *size);
        *size = dot(sum, sum) / 2.0;
    }
    sums
}

/// Which mean is nearest; of several the first.
fn nearest(point: &[f32], means: &[(Vec<f32>, f32)]) -> u32 {
    let mut best = (f32::INFINITY, 0);
    for (number, (mean, half)) in (0_u32..).zip(means) {
        let far = half - dot(point, mean);
        if far < best.0 {
            best = (far, number);
        }
    }
    best.1
}

/// Parts some rows at about the middle, in whole `unit`s, along the direction of largest spread.
fn halve<'r>(
    codes: &[u8],
    gains: &[f32],
    rows: &'r mut [u32],
    unit: usize,
) -> (&'r mut [u32], &'r mut [u32]) {
    let left = rows.len().div_ceil(unit) / 2 * unit;
    let direction = spread_direction(codes, gains, rows);
    let dims = gains.len();
    let key = |&row: &u32| -> f32 {
        let line = &codes[row as usize * dims..(row as usize + 1) * dims];
        dot_codes(line, &direction)
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
    (head, tail)
}

/// In sixteen partial sums, so that it can run side by side.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 16];
    let (chunks, others) = (a.chunks_exact(16), b.chunks_exact(16));
    let rest = chunks.remainder().iter().zip(others.remainder());
    let tail: f32 = rest.map(|(a, b)| a * b).sum();
    for (a, b) in chunks.zip(others) {
        for lane in 0..16 {
            sums[lane] += a[lane] * b[lane];
        }
    }
    sums.iter().sum::<f32>() + tail
}

/// The same of codes.
fn dot_codes(codes: &[u8], direction: &[f32]) -> f32 {
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
    let mut points = vec![Vec::with_capacity(dims); rows.len().div_ceil(step)];
    for (point, &row) in points.iter_mut().zip(rows.iter().step_by(step)) {
        weigh(codes, gains, row, point);
    }
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
