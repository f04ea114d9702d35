//! Nearest-neighbour queries against the plain scan: `cargo bench -p curve-index --bench knn`.
//!
//! Figures are minima and medians over queries, each query's time the smallest of several runs; data
//! is built outside the timer and answers are asserted equal. `CURVE_INDEX_SIZES=1000,10000` chooses
//! library sizes.

#![allow(clippy::print_stdout, clippy::print_stderr, missing_docs)]

#[path = "support/data.rs"]
mod data;

use std::num::NonZeroUsize;
use std::time::Instant;

use curve_index::{Answer, DtwParams, IdFilter, Index, Nearest, Shape, Strategy, ValidDtwParams};

const FRAMES: usize = 101;
const CHANNELS: usize = 12;
const BAND_FRAMES: usize = 10;
const K: usize = 10;
const QUERIES: usize = 40;

fn main() {
    let sizes: Vec<usize> = std::env::var("CURVE_INDEX_SIZES")
        .unwrap_or_else(|_| "1000,10000,100000".to_owned())
        .split(',')
        .map(|size| size.parse().expect("CURVE_INDEX_SIZES holds numbers"))
        .collect();
    for &size in &sizes {
        let motions = data::Motions::new(7, FRAMES, CHANNELS);
        let index = build(size, |number| motions.curve(number));
        // New sessions of players in the library; every tenth query is an outlier.
        let queries: Vec<Vec<f32>> = (0..QUERIES)
            .map(|query| {
                // A serve number of a known player, made by another serve stream.
                let number = query * 7919 % size;
                let strange = if query % 10 == 9 { 2.0 } else { 1.0 };
                motions.variant(number, strange)
            })
            .collect();
        // Players of whom the library holds nothing: what a coach asks most for.
        let strangers: Vec<Vec<f32>> =
            (0..QUERIES).map(|query| motions.variant(size + 1000 + query * 613, 1.0)).collect();
        let unit = DtwParams::new(CHANNELS).band_frames(BAND_FRAMES).check().unwrap();
        let mut arm = vec![0.0; CHANNELS];
        arm[2..5].fill(1.0);
        let arm = DtwParams::new(CHANNELS).band_frames(BAND_FRAMES).weights(&arm).check().unwrap();
        let percent =
            IdFilter::only((0..size as u64).filter(|id| id.wrapping_mul(2654435761) % 100 == 0));
        let at = format!("n={size}/len={FRAMES}/ch={CHANNELS}/k={K}");
        case(&format!("knn/motion/{at}"), &index, &queries, &unit, 1, None);
        case(&format!("knn/motion/{at}/threads=2"), &index, &queries, &unit, 2, None);
        case(&format!("knn/new/{at}"), &index, &strangers, &unit, 1, None);
        case(&format!("knn/new/{at}/threads=2"), &index, &strangers, &unit, 2, None);
        case(&format!("knn/motion/{at}/one part"), &index, &queries, &arm, 1, None);
        case(&format!("knn/motion/{at}/1%"), &index, &queries, &unit, 1, Some(&percent));
        // Nothing to prune: what the bounds cost on top of the comparisons.
        if size <= 10_000 {
            let values = FRAMES * CHANNELS;
            let index = build(size, |number| data::noise(1, number, values));
            let queries: Vec<_> = (0..3).map(|number| data::noise(2, number, values)).collect();
            case(&format!("knn/noise/{at}"), &index, &queries, &unit, 1, None);
        }
    }
}

fn build(size: usize, curve: impl Fn(usize) -> Vec<f32>) -> Index {
    let started = Instant::now();
    let mut builder = Index::in_memory(Shape::new(FRAMES, CHANNELS).unwrap());
    for number in 0..size {
        builder.push(number as u64, &curve(number)).unwrap();
    }
    let made = started.elapsed().as_secs_f64();
    let index = builder.finish().unwrap();
    eprintln!(
        "n={size}: made {made:.1} s, indexed {:.1} s",
        started.elapsed().as_secs_f64() - made
    );
    index
}

fn case(
    name: &str,
    index: &Index,
    queries: &[Vec<f32>],
    params: &ValidDtwParams,
    threads: usize,
    filter: Option<&IdFilter>,
) {
    let mut what = Nearest::new(params, K).threads(NonZeroUsize::new(threads).unwrap());
    if let Some(filter) = filter {
        what = what.filter(filter);
    }
    let mut times = Vec::new();
    let mut shares = [0.0; 8];
    let mut names = Vec::new();
    for (number, query) in queries.iter().enumerate() {
        let mut best = f64::INFINITY;
        let mut answer = Answer::default();
        for _ in 0..5 {
            let started = Instant::now();
            answer = index.nearest(query, &what).unwrap();
            best = best.min(started.elapsed().as_secs_f64() * 1e3);
        }
        times.push(best);
        names = answer.stages.named().iter().map(|(name, _)| *name).collect();
        for (share, (_, count)) in shares.iter_mut().zip(answer.stages.named()) {
            *share += count as f64 / queries.len() as f64;
        }
        if number < 2 {
            let scan = index.nearest(query, &what.clone().strategy(Strategy::Scan)).unwrap();
            assert_eq!(answer.neighbours, scan.neighbours, "{name}, query {number}");
        }
    }
    times.sort_by(f64::total_cmp);
    let stages: Vec<String> =
        names.iter().zip(shares).map(|(name, share)| format!("{name} {share:.0}")).collect();
    println!(
        "{name}: min {:.3} median {:.3} p95 {:.3} max {:.3} ms; {}",
        times[0],
        times[times.len() / 2],
        times[times.len() * 95 / 100],
        times[times.len() - 1],
        stages.join(", ")
    );
}
