//! Every strategy, kernel and bound against the oracle.

use std::num::NonZeroUsize;

use curve_index::{
    Curve, DtwParams, IdFilter, Index, Nearest, Neighbour, Scratch, Shape, Strategy, dtw, naive,
};
use proptest::prelude::*;
use proptest::strategy::Strategy as _;

#[path = "support/values.rs"]
mod values;
use values::{value, weights};

fn set(most: usize) -> impl proptest::strategy::Strategy<Value = (usize, usize, Vec<Vec<f32>>)> {
    (1_usize..40, 1_usize..10, 0_u8..6, 2..most).prop_flat_map(|(frames, channels, kind, count)| {
        let curve = prop::collection::vec(value(kind), frames * channels);
        (Just(frames), Just(channels), prop::collection::vec(curve, count))
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    #[test]
    fn kernel_matches_naive(
        (_, channels, curves) in set(3),
        cut in 0_usize..40,
        band in 0_usize..45,
        weight_kind in 0_u8..4,
    ) {
        let a = Curve::new(&curves[0], channels).unwrap();
        // Unequal lengths, both ways round.
        let whole = Curve::new(&curves[1], channels).unwrap();
        let frames = whole.frames() - cut.min(whole.frames() - 1);
        let b = Curve::new(&curves[1][..frames * channels], channels).unwrap();
        let params = DtwParams::new(channels)
            .band_frames(band)
            .weights(&weights(channels, weight_kind))
            .check()
            .unwrap();
        let want = naive::dtw(a, b, &params);
        let mut scratch = Scratch::default();
        prop_assert_eq!(dtw(a, b, &params, f64::INFINITY, &mut scratch), Some(want));
        prop_assert_eq!(dtw(b, a, &params, f64::INFINITY, &mut scratch), Some(want));
        prop_assert_eq!(dtw(a, b, &params, want, &mut scratch), Some(want));
        prop_assert_eq!(dtw(a, b, &params, want.next_up(), &mut scratch), Some(want));
        if want > 0.0 {
            prop_assert_eq!(dtw(a, b, &params, want.next_down(), &mut scratch), None);
        }
        prop_assert_eq!(dtw(a, a, &params, 0.0, &mut scratch), Some(0.0));
        let wider = DtwParams::new(channels)
            .band_frames(band + 1)
            .weights(params.weights())
            .check()
            .unwrap();
        prop_assert!(dtw(a, b, &wider, f64::INFINITY, &mut scratch).unwrap() <= want);
    }

    #[test]
    fn every_strategy_matches_naive(
        (frames, channels, curves) in set(60),
        k in 0_usize..12,
        band in 0_usize..12,
        weight_kind in 0_u8..4,
        repeat in 1_usize..4,
        split in 0_usize..60,
        gone in prop::collection::vec(0_u64..60, 0..5),
        filter in 0_u8..3,
        range in (0_usize..40, 0_usize..40),
    ) {
        let shape = Shape::new(frames, channels).unwrap();
        // Ids in an order of their own; every curve `repeat` times, so there are ties.
        let all: Vec<(u64, &[f32])> = (0..curves.len() * repeat)
            .map(|at| ((at as u64 * 7919) % 1009, curves[at % curves.len()].as_slice()))
            .collect();
        let split = split.min(all.len());
        let mut builder = Index::in_memory(shape);
        for &(id, values) in &all[..split] {
            builder.push(id, values).unwrap();
        }
        let mut index = builder.finish().unwrap();
        index.append(all[split..].iter().copied()).unwrap();
        let gone: Vec<u64> = gone.iter().map(|&at| (at * 7919) % 1009).collect();
        index.delete(&gone).unwrap();
        let some: Vec<u64> = all.iter().map(|&(id, _)| id).filter(|id| id % 3 == 0).collect();
        let filter = match filter {
            0 => None,
            1 => Some(IdFilter::only(some)),
            _ => Some(IdFilter::except(some)),
        };
        let start = range.0.min(frames - 1);
        let end = (start + 1 + range.1).min(frames);

        let passes = |id: u64| {
            !gone.contains(&id) && filter.as_ref().is_none_or(|filter| filter.lets_through(id))
        };
        let params = DtwParams::new(channels)
            .band_frames(band)
            .weights(&weights(channels, weight_kind))
            .check()
            .unwrap();
        for section in [0..frames, start..end] {
            let cut = |values| {
                let values: &[f32] = values;
                let inside = section.start * channels..section.end * channels;
                Curve::new(&values[inside], channels).unwrap()
            };
            let query = &curves[0];
            let live: Vec<(u64, Curve)> = all
                .iter()
                .filter(|&&(id, _)| passes(id))
                .map(|&(id, values)| (id, cut(values)))
                .collect();
            let everything = naive::nearest(cut(query), &live, &params, usize::MAX);
            let want: Vec<Neighbour> = everything.iter().take(k).copied().collect();
            let radius = everything.get(everything.len() / 2).map_or(1.0, |middle| middle.cost);
            let inside: Vec<Neighbour> =
                everything.iter().filter(|one| one.cost <= radius).copied().collect();
            for strategy in [Strategy::Scan, Strategy::Pruned] {
                for threads in [1, 2, 3] {
                    let mut what = Nearest::new(&params, k)
                        .strategy(strategy)
                        .threads(NonZeroUsize::new(threads).unwrap())
                        .section(section.clone());
                    if let Some(filter) = &filter {
                        what = what.filter(filter);
                    }
                    let answer = index.nearest(query, &what).unwrap();
                    prop_assert_eq!(&answer.neighbours, &want, "{:?} {}", strategy, threads);
                    prop_assert_eq!(answer.stages.curves, live.len() as u64);
                    let all = Nearest::new(&params, usize::MAX)
                        .strategy(strategy)
                        .section(section.clone());
                    let all = match &filter {
                        Some(filter) => all.filter(filter),
                        None => all,
                    };
                    let answer = index.within(query, radius, &all).unwrap();
                    prop_assert_eq!(&answer.neighbours, &inside, "{:?} {:?}", strategy, what);
                }
            }
        }
    }
}

/// A library with blocks enough for every stage, at the shape the engine is tuned for.
#[test]
fn large_libraries_match_the_scan() {
    use rand::{Rng, SeedableRng};
    let shape = Shape::new(33, 6).unwrap();
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(11);
    let mut curve = |around: &[f32], spread: f32| -> Vec<f32> {
        let mut drift = [0.0_f32; 6];
        let step = |at: usize, drift: &mut [f32; 6], rng: &mut rand_xoshiro::Xoshiro256PlusPlus| {
            drift[at % 6] += spread * (rng.r#gen::<f32>() - 0.5);
            around.get(at).copied().unwrap_or(0.0) + drift[at % 6]
        };
        (0..33 * 6).map(|at| step(at, &mut drift, &mut rng)).collect()
    };
    let middles: Vec<Vec<f32>> = (0..60).map(|_| curve(&[], 0.7)).collect();
    let curves: Vec<Vec<f32>> = (0..6000).map(|at| curve(&middles[at / 100], 0.2)).collect();
    let mut queries: Vec<Vec<f32>> = (0..6).map(|at| curve(&middles[at * 9], 0.2)).collect();
    queries.push(curve(&[], 2.0));
    queries.push(curves[17].clone());
    let mut builder = Index::in_memory(shape);
    for (id, values) in (0_u64..5000).zip(&curves) {
        builder.push(id * 3, values).unwrap();
    }
    let mut index = builder.finish().unwrap();
    index.append((5000..6000_u64).map(|id| (id * 3, curves[id as usize].as_slice()))).unwrap();
    index.append([(1_u64, curves[17].as_slice())]).unwrap();
    index.delete(&(0..300).map(|at| at * 30).collect::<Vec<_>>()).unwrap();
    let filters = [
        None,
        Some(IdFilter::only((0..6000).filter(|id| id % 97 == 0).map(|id| id * 3))),
        Some(IdFilter::only((0..6000).filter(|id| id % 7 == 0).map(|id| id * 3))),
        Some(IdFilter::except((0..4000).map(|id| id * 3))),
    ];
    for (number, query) in queries.iter().enumerate() {
        for weight_kind in 0..3 {
            let params = DtwParams::new(6)
                .band_frames(3 + 2 * weight_kind as usize)
                .weights(&weights(6, weight_kind))
                .check()
                .unwrap();
            for filter in &filters {
                for k in [1, 10, 700] {
                    let mut what = Nearest::new(&params, k);
                    if let Some(filter) = filter {
                        what = what.filter(filter);
                    }
                    let want =
                        index.nearest(query, &what.clone().strategy(Strategy::Scan)).unwrap();
                    for threads in [1, 2] {
                        let what = what.clone().threads(NonZeroUsize::new(threads).unwrap());
                        let got = index.nearest(query, &what).unwrap();
                        assert_eq!(
                            got.neighbours, want.neighbours,
                            "query {number}, weights {weight_kind}, {filter:?}, k {k}"
                        );
                        assert_eq!(got.stages.curves, want.stages.curves);
                    }
                    if k == 10 && filter.is_none() && weight_kind == 0 && number < 6 {
                        assert!(got_is_pruned(&index, query, &what), "query {number}");
                    }
                }
            }
        }
    }
}

/// Most curves never reach the exact kernel.
fn got_is_pruned(index: &Index, query: &[f32], what: &Nearest<'_>) -> bool {
    let stages = index.nearest(query, what).unwrap().stages;
    stages.kernel * 10 < stages.curves && stages.warped * 2 < stages.curves
}
