//! Every bound against the oracle, on every level of instructions; and the whole search at a size the
//! oracle can follow, with the rounds that only large libraries have elsewhere.

use std::num::NonZeroUsize;

use proptest::prelude::*;
use proptest::strategy::Strategy as _;

use super::coarse::{Ahead, WarpScratch, boxed, boxed_runs, represent, warp};
use super::found::ruled_out;
use super::sweep::{Candidate, Seen, near_groups, sweep_groups};
use super::tables::threshold;
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

fn runs_of<'a>(job: &Job<'a>, place: usize) -> &'a [u8] {
    &job.parts[0].runs[place * job.runs_len..][..job.runs_len]
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
        // Half of the sections begin with a run.
        let start = if range.1 % 2 == 0 { range.0 / RUN * RUN } else { range.0 };
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
        let found = boxes(Level::PORTABLE, &mut plain_scratch);
        prop_assert!(found.is_some_and(|found| found[lane] <= most), "boxes, place {}", place);
        for level in Level::all() {
            prop_assert_eq!(boxes(level, &mut scratch), found, "boxes, {:?}", level);
        }
        if job.wide {
            let found = wide(Level::PORTABLE, &mut plain_scratch);
            prop_assert!(found.is_some_and(|found| found[lane] <= most), "runs, place {}", place);
            for level in Level::all() {
                prop_assert_eq!(wide(level, &mut scratch), found, "runs, {:?}", level);
            }
        }
        represented_within(&job, place, cost)?;
        let found = warped(Level::PORTABLE, &mut plain_scratch);
        prop_assert!(
            found.is_some_and(|found| found[lane] <= most_warped),
            "warp, place {}",
            place
        );
        for level in Level::all() {
            prop_assert_eq!(warped(level, &mut scratch), found, "warp, {:?}", level);
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

    let mut groups = vec![((place / LANES) as u32, 0xffff)];
    let bounds = job.represent(clusters, coarse, cost, &mut groups, &mut Seen::default());
    let own = bounds.iter().find(|one| one.place == place as u32);
    prop_assert!(groups.iter().any(|(_, wanted)| wanted >> (place % LANES) & 1 == 1));
    prop_assert!(own.is_some_and(|own| !ruled_out(own.bound, cost)), "{:?}, cost {}", own, cost);
    // The bound that is used is no better than the one reckoned here.
    prop_assert!(own.is_some_and(|own| f64::from(own.bound) <= least * (1.0 + 1e-6) + 1e-30));
    Ok(())
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
    let (mut spared, mut passed_by, mut most) = (0, 0, Stages::default());
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
                    let Stages { groups, runs, coarse, .. } = got.stages;
                    spared += runs.saturating_sub(coarse);
                    passed_by += u64::from(runs > 0 && coarse > runs);
                    most.groups = most.groups.max(groups);
                    most.runs = most.runs.max(runs);
                }
            }
        }
    }
    assert!(spared > 0, "wide boxes never ruled out enough");
    assert!(passed_by > 0, "wide boxes were never given up");
    // More than 256 blocks were swept, and more than 4,096 curves held against boxes.
    assert!(most.groups > 256 * 16 && most.runs > 4096, "{most:?}");
}

/// What each bound leaves of all curves by itself, at the cost of the tenth nearest.
#[derive(Debug, Default, Clone, Copy)]
struct Left {
    groups: f64,
    represented: f64,
    sketches: f64,
    wide: f64,
    narrow: f64,
    warped: f64,
}

/// The mean of what is left over queries, in parts of 1.
fn left(index: &Index, queries: &[Vec<f32>], params: &ValidDtwParams) -> Left {
    let mut mean = Left::default();
    let frames = index.shape().frames();
    for query in queries {
        let scan = Nearest::new(params, 10).strategy(Strategy::Scan);
        let cutoff = index.nearest(query, &scan).unwrap().neighbours[9].cost;
        let query = Curve::new(query, params.channels()).unwrap();
        let what = Nearest::new(params, 10);
        let job = Job::new(index, query, &what, &(0..frames), None, index.len());
        let (part, tables) = (&job.parts[0], &job.sketch_tables()[0]);
        let (rows, groups) = (part.segment.rows(), part.sections.groups);
        let most = threshold(cutoff, tables.scale);
        let blocks: Vec<u32> = (0..groups.div_ceil(16) as u32).collect();
        let mut near = Vec::new();
        near_groups(job.level, part.sections, tables, &blocks, most, &mut near);
        mean.groups += near.len() as f64 / groups as f64;
        mean.sketches += swept(&job, job.level, most).len() as f64 / rows as f64;

        let coarse = &job.coarse_tables(cutoff)[0];
        let clusters = part.segment.clusters().unwrap();
        let mut all: Vec<(u32, u32)> = (0..groups as u32).map(|group| (group, 0xffff)).collect();
        let bounds = job.represent(clusters, coarse, cutoff, &mut all, &mut Seen::default());
        mean.represented += bounds.len() as f64 / rows as f64;
        let most = threshold(cutoff, coarse.scale);
        let warped = threshold(cutoff, coarse.warp_scale);
        let mut scratch = WarpScratch::default();
        let mut count = [0; 3];
        for first in (0..rows).step_by(LANES) {
            let lanes = LANES.min(rows - first);
            let copies = std::array::from_fn(|lane| copy_of(&job, first + lane.min(lanes - 1)));
            let runs = std::array::from_fn(|lane| runs_of(&job, first + lane.min(lanes - 1)));
            let none = || Ahead::new(&[], 0..0);
            let (level, against) = (job.level, job.against(coarse));
            let found = [
                boxed_runs(level, against, &runs, none(), most, &mut scratch),
                boxed(level, against, &copies, none(), most, &mut scratch),
                warp(level, against, &copies, warped, &mut scratch),
            ];
            for ((count, found), most) in count.iter_mut().zip(found).zip([most, most, warped]) {
                *count +=
                    found.iter().flat_map(|all| &all[..lanes]).filter(|&&one| one <= most).count();
            }
        }
        let [wide, narrow, warped] = count.map(|count| count as f64 / rows as f64);
        mean.wide += wide;
        mean.narrow += narrow;
        mean.warped += warped;
    }
    let of = queries.len() as f64;
    let Left { groups, represented, sketches, wide, narrow, warped } = mean;
    let [groups, represented, sketches, wide, narrow, warped] =
        [groups, represented, sketches, wide, narrow, warped].map(|sum| sum / of);
    Left { groups, represented, sketches, wide, narrow, warped }
}

fn assert_no_more(left: Left, most: Left, what: &str) {
    let pairs = [
        (left.groups, most.groups),
        (left.represented, most.represented),
        (left.sketches, most.sketches),
        (left.wide, most.wide),
        (left.narrow, most.narrow),
        (left.warped, most.warped),
    ];
    assert!(pairs.iter().all(|(left, most)| left <= most), "{what}: {left:?}, at most {most:?}");
}

fn index_of(curves: &[Vec<f32>], channels: usize) -> Index {
    let shape = Shape::new(curves[0].len() / channels, channels).unwrap();
    let mut builder = Index::in_memory(shape);
    for (id, values) in (0..).zip(curves) {
        builder.push(id, values).unwrap();
    }
    builder.finish().unwrap()
}

/// A bound that rules out less than it did is a loss of speed that no answer shows. Drawn curves, 101 x 12:
/// sessions of players in the library, and of others. The shares are those measured in November 2026, with a
/// twentieth to spare.
#[test]
fn each_bound_rules_out_its_share_of_drawn_curves() {
    let motions = data::Motions::new(7, 101, 12);
    let curves: Vec<Vec<f32>> = (0..4000).map(|number| motions.curve(number)).collect();
    let index = index_of(&curves, 12);
    let params = DtwParams::new(12).band_frames(10).check().unwrap();
    let known: Vec<Vec<f32>> = (0..6).map(|at| motions.variant(at * 613, 1.0)).collect();
    let most = Left {
        groups: 0.95,
        represented: 0.0108,
        sketches: 0.013,
        wide: 0.007,
        narrow: 0.007,
        warped: 0.0048,
    };
    assert_no_more(left(&index, &known, &params), most, "known players");
    // Of these hardly one is nearer than another: only narrow boxes and warping tell them apart.
    let new: Vec<Vec<f32>> = (0..6).map(|at| motions.variant(5000 + at * 613, 1.0)).collect();
    let most = Left {
        groups: 1.0,
        represented: 0.99,
        sketches: 1.0,
        wide: 0.99,
        narrow: 0.72,
        warped: 0.0066,
    };
    assert_no_more(left(&index, &new, &params), most, "new players");
}

/// The same on curves of real movements.
#[test]
fn each_bound_rules_out_its_share_of_real_curves() {
    let Some(takes) = recordings::takes() else { return };
    let out = |take: &recordings::Take| take.name.contains("_p05");
    let curves = |out_is: bool| -> Vec<Vec<f32>> {
        takes.iter().filter(|take| out(take) == out_is).flat_map(recordings::Take::curves).collect()
    };
    let index = index_of(&curves(false), recordings::CHANNELS);
    let queries = curves(true);
    let queries: Vec<Vec<f32>> = queries.iter().step_by(queries.len() / 8).cloned().collect();
    let params = DtwParams::new(recordings::CHANNELS).band_frames(10).check().unwrap();
    let most = Left {
        groups: 0.522,
        represented: 0.27,
        sketches: 0.085,
        wide: 0.06,
        narrow: 0.035,
        warped: 0.0077,
    };
    assert_no_more(left(&index, &queries, &params), most, "a person who is not there");
}
