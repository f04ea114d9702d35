//! Every bound against the oracle, on every level of instructions; and the whole search at a size the
//! oracle can follow, with the rounds that only large libraries have elsewhere.

use std::num::NonZeroUsize;

use proptest::prelude::*;
use proptest::strategy::Strategy as _;

use super::coarse::{Ahead, WarpScratch, boxed, boxed_runs, warp};
use super::sweep::{Candidate, Seen, sweep_groups};
use super::tables::threshold;
use super::*;
use crate::lanes::LANES;
use crate::naive;
use crate::params::{DtwParams, Shape};
use crate::search::{IdFilter, Strategy, cut};

#[path = "../../../tests/support/values.rs"]
mod values;
use values::{value, weights};

/// Frames, channels and curves, the first of which is the query; with `drift`, values add up along the
/// curve, and every curve stays near one of three, as motions do.
fn set() -> impl proptest::strategy::Strategy<Value = (usize, usize, Vec<Vec<f32>>)> {
    let shape =
        (1_usize..40, prop_oneof![1_usize..6, Just(12)], 0_u8..6, any::<bool>(), 2_usize..36);
    shape
        .prop_flat_map(|(frames, channels, kind, drift, count)| {
            let curves =
                prop::collection::vec(prop::collection::vec(value(kind), frames * channels), count);
            (Just((frames, channels, drift && kind < 3)), curves)
        })
        .prop_map(|((frames, channels, drift), mut curves)| {
            if drift {
                for curve in &mut curves {
                    for at in channels..curve.len() {
                        curve[at] += curve[at - channels];
                    }
                }
                for at in 3..curves.len() {
                    let near = curves[at % 3].clone();
                    curves[at]
                        .iter_mut()
                        .zip(near)
                        .for_each(|(value, near)| *value = near + 0.1 * *value);
                }
            }
            (frames, channels, curves)
        })
}

/// What a sweep of all groups leaves, by place.
fn swept(job: &Job<'_>, level: Level, most: i32) -> Vec<(u32, i32)> {
    let sections = job.parts[0].sections;
    let all: Vec<(u32, u32)> = (0..sections.groups as u32).map(|group| (group, 0xffff)).collect();
    let mut found: Vec<Candidate> = Vec::new();
    let tables = &job.sketch_tables()[0];
    sweep_groups(level, sections, tables, &all, most, &mut found, &mut Seen::default());
    let rows = job.parts[0].segment.rows() as u32;
    let mut found: Vec<(u32, i32)> = found
        .into_iter()
        .filter(|one| one.place < rows)
        .map(|one| (one.place, one.bound))
        .collect();
    found.sort_unstable();
    found
}

fn copy_of<'a>(job: &Job<'a>, place: usize) -> &'a [u8] {
    &job.parts[0].coarse[place * job.coarse_len..][..job.coarse_len]
}

fn runs_of<'a>(job: &Job<'a>, place: usize) -> &'a [u8] {
    &job.parts[0].runs[place * job.runs_len..][..job.runs_len]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    /// No bound rules out a curve whose cost is the cutoff, and all levels agree.
    #[test]
    fn bounds_never_exceed_the_cost(
        (frames, channels, curves) in set(),
        band in prop_oneof![0_usize..12, Just(100)],
        weight_kind in 0_u8..4,
        repeat in 1_usize..3,
        range in (0_usize..40, 0_usize..40),
        whole in any::<bool>(),
    ) {
        let params = DtwParams::new(channels)
            .band_frames(band)
            .weights(&weights(channels, weight_kind))
            .check()
            .unwrap();
        // Half of the sections begin with a run.
        let start = if range.1 % 2 == 0 { range.0 / RUN * RUN } else { range.0 };
        let start = if start < frames { start } else { 0 };
        let section = if whole { 0..frames } else { start..(start + 1 + range.1).min(frames) };
        let mut builder = Index::in_memory(Shape::new(frames, channels).unwrap());
        for number in 0..curves.len() * repeat {
            builder.push(number as u64, &curves[number % curves.len()]).unwrap();
        }
        let index = builder.finish().unwrap();
        let query = Curve::new(&curves[0], channels).unwrap();
        let what = Nearest::new(&params, 1).section(section.clone());
        let job = Job::new(&index, query, &what, &section, None, index.len());
        let segment = job.parts[0].segment;
        let costs: Vec<f64> = (0..segment.rows())
            .map(|place| {
                let curve = segment.curve(segment.row_at(place));
                naive::dtw(cut(query, &section), cut(curve, &section), &params)
            })
            .collect();
        let scale = job.sketch_tables()[0].scale;
        let (mut scratch, mut plain_scratch) = (WarpScratch::default(), WarpScratch::default());
        for (place, &cost) in costs.iter().enumerate() {
            let most = threshold(cost, scale);
            let plain = swept(&job, Level::Portable, most);
            let own = plain.iter().find(|one| one.0 == place as u32);
            prop_assert!(own.is_some(), "place {} of cost {} was ruled out", place, cost);
            for level in Level::all() {
                prop_assert_eq!(&swept(&job, level, most), &plain, "{:?}", level);
            }
            let coarse = &job.coarse_tables(cost)[0];
            let first = place / LANES * LANES;
            let copies = std::array::from_fn(|lane| copy_of(&job, (first + lane).min(costs.len() - 1)));
            let most = threshold(cost, coarse.scale);
            let most_warped = threshold(cost, coarse.warp_scale);
            let boxes = |level, scratch: &mut WarpScratch| {
                let ahead = Ahead::new(&copies, 0..copies[0].len());
                boxed(level, job.against(coarse), &copies, ahead, most, scratch)
            };
            let runs = std::array::from_fn(|lane| runs_of(&job, (first + lane).min(costs.len() - 1)));
            let wide = |level, scratch: &mut WarpScratch| {
                let ahead = Ahead::new(&runs, 0..runs[0].len());
                boxed_runs(level, job.against(coarse), &runs, ahead, most, scratch)
            };
            let warped = |level, scratch: &mut WarpScratch| {
                warp(level, job.against(coarse), &copies, most_warped, scratch)
            };
            let lane = place - first;
            let found = boxes(Level::Portable, &mut plain_scratch);
            prop_assert!(found.is_some_and(|found| found[lane] <= most), "boxes, place {}", place);
            for level in Level::all() {
                prop_assert_eq!(boxes(level, &mut scratch), found, "boxes, {:?}", level);
            }
            if job.wide {
                let found = wide(Level::Portable, &mut plain_scratch);
                prop_assert!(found.is_some_and(|found| found[lane] <= most), "runs, place {}", place);
                for level in Level::all() {
                    prop_assert_eq!(wide(level, &mut scratch), found, "runs, {:?}", level);
                }
            }
            let found = warped(Level::Portable, &mut plain_scratch);
            prop_assert!(found.is_some_and(|found| found[lane] <= most_warped), "warp, place {}", place);
            for level in Level::all() {
                prop_assert_eq!(warped(level, &mut scratch), found, "warp, {:?}", level);
            }
        }
    }
}

/// Random walks around a few middles: curves x (33 frames x 6 channels).
fn walks(count: usize, middles: usize, seed: u64) -> Vec<Vec<f32>> {
    use rand::{Rng, SeedableRng};
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut curve = |around: Option<&Vec<f32>>, spread: f32| -> Vec<f32> {
        let mut drift = [0.0_f32; 6];
        (0..33 * 6)
            .map(|at| {
                drift[at % 6] += spread * (rng.r#gen::<f32>() - 0.5);
                around.map_or(0.0, |around| around[at]) + drift[at % 6]
            })
            .collect()
    };
    let middles: Vec<Vec<f32>> = (0..middles).map(|_| curve(None, 0.7)).collect();
    (0..count).map(|at| curve(Some(&middles[at * 7 % middles.len()]), 0.2)).collect()
}

/// Long curves are hard on sums of 32 bits, the more so where there is no cutoff yet: filters that let no
/// seed through begin so.
#[test]
fn warped_codes_bound_long_curves_whatever_the_cutoff() {
    let frames = 500;
    // Invented: a wave, and the same a little higher and later.
    let wave = |lift: f32, late: usize| -> Vec<f32> {
        let at = |at: usize| 5.0 * ((at / 12 + late) as f32 * 0.05 + (at % 12) as f32).sin() + lift;
        (0..frames * 12).map(at).collect()
    };
    let (query, other) = (wave(0.0, 0), wave(0.5, 2));
    let mut builder = Index::in_memory(Shape::new(frames, 12).unwrap());
    builder.push(0, &query).unwrap();
    builder.push(1, &other).unwrap();
    let index = builder.finish().unwrap();
    let params = DtwParams::new(12).band_frames(10).check().unwrap();
    let query = Curve::new(&query, 12).unwrap();
    let what = Nearest::new(&params, 1);
    let job = Job::new(&index, query, &what, &(0..frames), None, index.len());
    let segment = job.parts[0].segment;
    let place = (0..2).find(|&place| segment.ids()[segment.row_at(place)] == 1).unwrap();
    let cost = naive::dtw(query, Curve::new(&other, 12).unwrap(), &params);
    assert!(cost > 0.0);
    let copies = [copy_of(&job, place); LANES];
    let cutoffs = [f64::INFINITY, 0.0, 0.1 * cost, cost, 1e3 * cost, 1e9 * cost];
    for made_for in cutoffs {
        for cutoff in cutoffs {
            let mut tables = job.coarse_tables(made_for);
            tables[0].suit(cutoff);
            let against = job.against(&tables[0]);
            let most = threshold(cost, tables[0].warp_scale);
            for level in Level::all() {
                let found = warp(level, against, &copies, i32::MAX, &mut WarpScratch::default());
                let bound = found.unwrap()[0];
                assert!(bound <= most, "{bound} > {most}: {made_for}, {cutoff}, {level:?}");
            }
        }
    }
}

#[test]
fn rounds_leave_the_answer_alone() {
    let curves = walks(3400, 40, 5);
    let mut builder = Index::in_memory(Shape::new(33, 6).unwrap());
    for (id, values) in (0_u64..2600).zip(&curves) {
        builder.push(id * 3, values).unwrap();
    }
    let mut index = builder.finish().unwrap();
    index.append((2600..3400_u64).map(|id| (id * 3, curves[id as usize].as_slice()))).unwrap();
    // Ties, and curves that are gone.
    index.append((0..40_u64).map(|id| (id * 3 + 1, curves[17].as_slice()))).unwrap();
    index.delete(&(0..200).map(|at| at * 30).collect::<Vec<_>>()).unwrap();
    let half = IdFilter::except((0..1500).map(|id| id * 6));
    let mut queries: Vec<Vec<f32>> = walks(5, 40, 6);
    queries.push(curves[17].clone());
    queries.push(vec![40.0; 33 * 6]);
    let (mut spared, mut passed_by) = (0, 0);
    for (number, query) in queries.iter().enumerate() {
        for (weight_kind, filter) in [(0, None), (0, Some(&half)), (1, None), (2, Some(&half))] {
            let params = DtwParams::new(6)
                .band_frames(3 + 2 * number)
                .weights(&weights(6, weight_kind))
                .check()
                .unwrap();
            for (k, section) in [(1, 0..33), (10, 0..33), (300, 0..33), (10, 9..30), (10, 8..25)] {
                let mut what = Nearest::new(&params, k).section(section.clone());
                if let Some(filter) = filter {
                    what = what.filter(filter);
                }
                let want = index.nearest(query, &what.clone().strategy(Strategy::Scan)).unwrap();
                for threads in [1, 2] {
                    let what = what.clone().threads(NonZeroUsize::new(threads).unwrap());
                    let got = index.nearest(query, &what).unwrap();
                    assert_eq!(
                        got.neighbours, want.neighbours,
                        "query {number}, weights {weight_kind}, k {k}, {section:?}, {threads} threads"
                    );
                    let Stages { runs, coarse, .. } = got.stages;
                    spared += runs.saturating_sub(coarse);
                    passed_by += u64::from(runs > 0 && coarse > runs);
                }
            }
        }
    }
    assert!(spared > 0, "wide boxes never ruled out enough");
    assert!(passed_by > 0, "wide boxes were never given up");
}
