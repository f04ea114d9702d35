//! Every bound against the oracle, on every level of instructions; and the whole search at a size the
//! oracle can follow, with the rounds that only large libraries have elsewhere.

use std::num::NonZeroUsize;

use proptest::prelude::*;
use proptest::strategy::Strategy as _;

use super::boxes::boxed;
use super::found::ruled_out;
use super::sweep::{Candidate, Seen, sweep_groups};
use super::tables::{ROWS, threshold};
use super::turn::{Ahead, WarpScratch, lane_len};
use super::warp::{Tails, represent, warp};
use super::*;
use crate::lanes::LANES;
use crate::naive;
use crate::params::{DtwParams, Shape, ValidDtwParams};
use crate::search::{IdFilter, Strategy, cut};

#[path = "../../../benches/support/data.rs"]
mod data;
#[path = "../../../tests/support/recordings.rs"]
mod recordings;
#[path = "../../../tests/support/skip.rs"]
mod skip;
#[path = "../../../tests/support/values.rs"]
mod values;
use values::{value, weights};

mod floors;

/// Frames, channels and curves, the first of which is the query; with `drift`, values add up along the
/// curve, and every curve stays near one of three, as motions do.
fn set(
    channels: BoxedStrategy<usize>,
    most_frames: usize,
) -> impl proptest::strategy::Strategy<Value = (usize, usize, Vec<Vec<f32>>)> {
    let shape = (1..most_frames, channels, 0_u8..6, any::<bool>(), 2_usize..36);
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

/// [`warp`] with the tails of sixteen curves, or with none.
fn warped(
    job: &Job<'_>,
    level: Level,
    tables: &CoarseTables,
    copies: &[&[u8]; LANES],
    tails: Option<&[i32]>,
    most: i32,
) -> Option<[i32; LANES]> {
    let rows = lane_len(job.section.len().div_ceil(ROWS) + 1);
    let none = vec![0; LANES * rows];
    let tails = tails.unwrap_or(&none);
    let of_lanes = std::array::from_fn(|lane| {
        bytemuck::cast_slice::<i32, u8>(&tails[lane * rows..(lane + 1) * rows])
    });
    let ratio = (tables.warp_scale / tables.scale * (1.0 - 1e-6)) as f32;
    let tails = Tails { of_lanes: &of_lanes, ratio };
    warp(level, job.against(tables), copies, tails, most, &mut WarpScratch::default())
}

/// The least that any path from a row of boxes to the end costs, per row; by the book.
fn to_come(query: Curve<'_>, curve: Curve<'_>, params: &ValidDtwParams) -> Vec<f64> {
    let frames = query.frames();
    let mut next = vec![f64::INFINITY; frames + 1];
    next[frames] = 0.0;
    let mut least = Vec::new();
    for i in (0..frames).rev() {
        let mut own = vec![f64::INFINITY; frames + 1];
        for j in (0..frames).rev().filter(|&j| i.abs_diff(j) <= params.band_frames()) {
            let both = query.frame(i).iter().zip(curve.frame(j)).zip(params.weights());
            let cell: f64 = both.map(|((a, b), w)| w * f64::from(a - b).powi(2)).sum();
            own[j] = cell + next[j].min(next[j + 1]).min(own[j + 1]);
        }
        if i.is_multiple_of(ROWS) {
            least.push(own.iter().copied().fold(f64::INFINITY, f64::min));
        }
        next = own;
    }
    least.reverse();
    least
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, ..ProptestConfig::default() })]

    /// No bound rules out a curve whose cost is the cutoff, and all levels agree.
    #[test]
    fn bounds_never_exceed_the_cost(
        (frames, channels, curves) in set(prop_oneof![1_usize..6, Just(12)].boxed(), 40),
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
        let start = range.0;
        let start = if start < frames { start } else { 0 };
        let section = if whole { 0..frames } else { start..(start + 1 + range.1).min(frames) };
        let mut builder = Index::in_memory(Shape::new(frames, channels).unwrap());
        for number in 0..curves.len() * repeat {
            builder.push(number as u64, &curves[number % curves.len()]).unwrap();
        }
        let index = builder.finish().unwrap();
        hold_bounds_against_the_oracle(&index, &curves[0], &params, &section)?;
    }

    /// The same at numbers of channels about those at which words of four and kernels change.
    #[test]
    fn bounds_hold_at_any_number_of_channels(
        (frames, channels, curves) in
            set(prop::sample::select(vec![1, 13, 16, 17, 33, 100]).boxed(), 24),
        weight_kind in 0_u8..4,
        band in prop_oneof![0_usize..6, Just(100)],
    ) {
        let params = DtwParams::new(channels)
            .band_frames(band)
            .weights(&weights(channels, weight_kind))
            .check()
            .unwrap();
        let index = index_of(&curves, channels);
        hold_bounds_against_the_oracle(&index, &curves[0], &params, &(0..frames))?;
    }
}

/// No bound of any curve of `index` exceeds its cost, on any level.
fn hold_bounds_against_the_oracle(
    index: &Index,
    query: &[f32],
    params: &ValidDtwParams,
    section: &Range<usize>,
) -> Result<(), TestCaseError> {
    let query = Curve::new(query, params.channels()).unwrap();
    let what = Nearest::new(params, 1).section(section.clone());
    let job = Job::new(index, query, &what, section, None, index.len());
    let segment = job.parts[0].segment;
    let costs: Vec<f64> = (0..segment.rows())
        .map(|place| {
            let curve = segment.curve(segment.row_at(place));
            naive::dtw(cut(query, section), cut(curve, section), params)
        })
        .collect();
    let scale = job.sketch_tables()[0].scale;
    let (mut scratch, mut plain_scratch) = (WarpScratch::default(), WarpScratch::default());
    for (place, &cost) in costs.iter().enumerate() {
        let most = threshold(cost, scale);
        let plain = swept(&job, Level::PORTABLE, most);
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
            let (ahead, mut tails) = (Ahead::new(&copies, 0..copies[0].len()), Vec::new());
            let found =
                boxed(level, job.against(coarse), &copies, ahead, most, scratch, &mut tails);
            (found, tails)
        };
        let lane = place - first;
        let (found, tails) = boxes(Level::PORTABLE, &mut plain_scratch);
        prop_assert!(found.is_some_and(|found| found[lane] <= most), "boxes, place {}", place);
        for level in Level::all() {
            prop_assert_eq!(&boxes(level, &mut scratch), &(found, tails.clone()), "{:?}", level);
        }
        let curve = segment.curve(segment.row_at(place));
        let least = to_come(cut(query, section), cut(curve, section), params);
        let rows = lane_len(least.len() + 1);
        for (row, least) in least.iter().enumerate() {
            let tail = tails[lane * rows + row];
            prop_assert!(tail <= threshold(*least, coarse.scale), "row {}: {}", row, tail);
        }
        represented_within(&job, place, cost)?;
        for tails in [None, Some(&tails[..])] {
            let found = warped(&job, Level::PORTABLE, coarse, &copies, tails, most_warped);
            prop_assert!(
                found.is_some_and(|found| found[lane] <= most_warped),
                "warp, place {}",
                place
            );
            for level in Level::all() {
                let own = warped(&job, level, coarse, &copies, tails, most_warped);
                prop_assert_eq!(own, found, "warp, {:?}", level);
            }
        }
    }
    Ok(())
}

/// The bound by the representative of a curve's cluster does not exceed its cost, on any level; at a cutoff of that cost
/// the curve is kept, and its bound with it.
fn represented_within(job: &Job<'_>, place: usize, cost: f64) -> Result<(), TestCaseError> {
    // Values so large that distances run out have none.
    let Some(clusters) = job.parts[0].segment.clusters() else { return Ok(()) };
    let coarse = &job.coarse_tables(cost)[0];
    let cluster = clusters.bounds.partition_point(|&start| start as usize <= place) - 1;
    let len = job.coarse_len;
    let copies = [&clusters.representatives[cluster * len..(cluster + 1) * len]; LANES];
    let sum = |level| {
        represent(
            level,
            job.against(coarse),
            &copies,
            &[i32::MAX; LANES],
            &mut WarpScratch::default(),
        )
    };
    let found = sum(Level::PORTABLE);
    for level in Level::all() {
        prop_assert_eq!(sum(level), found, "representative, {:?}", level);
    }
    // Reckoned anew: the curve against the representative, frame against frame.
    let quantiser = job.parts[0].segment.quantiser();
    let curve = job.parts[0].segment.curve(job.parts[0].segment.row_at(place));
    let weights = job.what.params.weights();
    let mut apart = 0.0;
    for frame in job.section.clone() {
        for (channel, &value) in curve.frame(frame).iter().enumerate() {
            let code = copies[0][frame * job.index.layout().frame_words() * 4 + channel];
            let (offset, step) = (quantiser.coarse_offset[channel], quantiser.coarse_step[channel]);
            let middle = offset + (f64::from(code) + 0.5) * step;
            apart += weights[channel] * (f64::from(value) - middle).powi(2);
        }
    }
    let far = (f64::from(found.unwrap()[0].max(0)) / coarse.exact_scale).sqrt();
    let least = (far - apart.sqrt()).max(0.0).powi(2);
    prop_assert!(least <= cost * (1.0 + 1e-9), "{} > {}, place {}", least, cost, place);

    let own = represented(job, coarse, cost)[place].bound;
    prop_assert!(!ruled_out(own, cost), "{:?}, cost {}", own, cost);
    // The bound that is used is no better than the one reckoned here.
    prop_assert!(f64::from(own) <= least * (1.0 + 1e-6) + 1e-30);
    Ok(())
}

/// All curves of the first segment, by place, with what representatives say.
fn represented(job: &Job<'_>, coarse: &CoarseTables, cutoff: f64) -> Vec<Found> {
    let places = 0..job.parts[0].segment.rows() as u32;
    let mut all: Vec<Found> = places.map(|place| Found { bound: 0.0, segment: 0, place }).collect();
    job.represent(&job.parts[0], coarse, cutoff, 1, &mut WarpScratch::default(), &mut all);
    all
}

/// Random walks around a few middles: curves of 16 frames x 3 channels.
fn walks(count: usize, middles: usize, seed: u64) -> Vec<Vec<f32>> {
    use rand::{Rng, SeedableRng};
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut curve = |around: Option<&Vec<f32>>, spread: f32| -> Vec<f32> {
        let mut drift = [0.0_f32; 3];
        (0..16 * 3)
            .map(|at| {
                drift[at % 3] += spread * (rng.r#gen::<f32>() - 0.5);
                around.map_or(0.0, |around| around[at]) + drift[at % 3]
            })
            .collect()
    };
    let middles: Vec<Vec<f32>> = (0..middles).map(|_| curve(None, 1.0)).collect();
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
            let most = threshold(cost, tables[0].warp_scale);
            for level in Level::all() {
                let found = warped(&job, level, &tables[0], &copies, None, i32::MAX);
                let bound = found.unwrap()[0];
                assert!(bound <= most, "{bound} > {most}: {made_for}, {cutoff}, {level:?}");
            }
        }
    }
}

/// Curves enough for every round there is, with the constants of every day.
#[test]
fn rounds_leave_the_answer_alone() {
    let curves = walks(74_000, 400, 5);
    let mut builder = Index::in_memory(Shape::new(16, 3).unwrap());
    for (id, values) in (0_u64..70_000).zip(&curves) {
        builder.push(id * 3, values).unwrap();
    }
    let mut index = builder.finish().unwrap();
    index.append((70_000..74_000_u64).map(|id| (id * 3, curves[id as usize].as_slice()))).unwrap();
    // Ties, and curves that are gone.
    index.append((0..40_u64).map(|id| (id * 3 + 1, curves[17].as_slice()))).unwrap();
    index.delete(&(0..2000).map(|at| at * 30).collect::<Vec<_>>()).unwrap();
    let half = IdFilter::except((0..37_000).map(|id| id * 6));
    let mut queries: Vec<Vec<f32>> = walks(3, 400, 6);
    queries.push(curves[17].clone());
    queries.push(vec![9.0; 16 * 3]);
    let mut most = Stages::default();
    for (number, query) in queries.iter().enumerate() {
        for (weight_kind, filter) in [(0, None), (1, None), (2, Some(&half))] {
            let params = DtwParams::new(3)
                .band_frames(2 + number)
                .weights(&weights(3, weight_kind))
                .check()
                .unwrap();
            for (k, section) in [(10, 0..16), (600, 0..16), (10, 3..15), (10, 8..16)] {
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
                    let Stages { groups, representatives, coarse, .. } = got.stages;
                    most.groups = most.groups.max(groups);
                    most.representatives = most.representatives.max(representatives);
                    most.coarse = most.coarse.max(coarse);
                }
            }
        }
    }
    // Every share of blocks there is was swept, and more curves than one share were held against boxes.
    assert!(most.groups > 256 * 16 && most.coarse > 4096, "{most:?}");
    assert!(most.representatives > 100, "{most:?}");
}

fn index_of(curves: &[Vec<f32>], channels: usize) -> Index {
    let shape = Shape::new(curves[0].len() / channels, channels).unwrap();
    let mut builder = Index::in_memory(shape);
    for (id, values) in (0..).zip(curves) {
        builder.push(id, values).unwrap();
    }
    builder.finish().unwrap()
}
