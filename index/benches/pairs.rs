//! All pairs of a set within a cutoff, against the kernel pair by pair:
//! `cargo bench -p curve-index --bench pairs`.
//!
//! One thread each, in one run, answers asserted equal. `CURVE_INDEX_SIZES=1000,3000` chooses the sizes of
//! the set; the cutoff keeps one pair in a hundred.

#![allow(clippy::print_stdout, missing_docs)]

#[path = "support/data.rs"]
mod data;

use std::num::NonZeroUsize;
use std::time::Instant;

use curve_index::{Curve, DtwParams, Scratch, dtw, pairwise};

const FRAMES: usize = 101;
const CHANNELS: usize = 12;
const KEPT: usize = 100;

fn main() {
    let sizes = std::env::var("CURVE_INDEX_SIZES").unwrap_or_else(|_| "1000,3000".to_owned());
    let sizes = sizes.split(',').map(|size| size.parse().expect("CURVE_INDEX_SIZES holds numbers"));
    let params = DtwParams::new(CHANNELS).band_frames(10).check().unwrap();
    let one = NonZeroUsize::MIN;
    for size in sizes {
        let motions = data::Motions::new(7, FRAMES, CHANNELS);
        let values: Vec<Vec<f32>> = (0..size).map(|number| motions.curve(number)).collect();
        let curves: Vec<Curve<'_>> =
            values.iter().map(|values| Curve::new(values, CHANNELS).unwrap()).collect();

        let (all, of_all) = timed(|| pairwise(&curves, &params, f64::INFINITY, one).unwrap());
        let mut sorted = all.costs().to_vec();
        sorted.sort_by(f64::total_cmp);
        let cutoff = sorted[sorted.len() / KEPT];
        let (near, of_near) = timed(|| pairwise(&curves, &params, cutoff, one).unwrap());
        let (plain, of_plain) = timed(|| {
            let mut scratch = Scratch::default();
            let mut costs = Vec::with_capacity(sorted.len());
            for (row, &a) in curves.iter().enumerate() {
                let pair = |&b| dtw(a, b, &params, cutoff, &mut scratch).unwrap_or(f64::INFINITY);
                costs.extend(curves[row + 1..].iter().map(pair));
            }
            costs
        });
        assert_eq!(near.costs(), plain, "n={size}");
        let at = format!("pairs/motion/n={size}/len={FRAMES}/ch={CHANNELS}");
        println!("{at}/cutoff: {of_near:.3} s");
        println!("{at}/cutoff/kernel alone: {of_plain:.3} s, {:.1} x", of_plain / of_near);
        println!("{at}/all: {of_all:.3} s, {:.1} x", of_all / of_near);
    }
}

fn timed<T>(work: impl FnOnce() -> T) -> (T, f64) {
    let started = Instant::now();
    let made = work();
    (made, started.elapsed().as_secs_f64())
}
