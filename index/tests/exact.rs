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

/// Random walks around a few middles, seeded: curves of `frames` x `channels`.
fn walks(frames: usize, channels: usize, count: usize, seed: u64) -> Vec<Vec<f32>> {
    use rand::{Rng, SeedableRng};
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(seed);
    let mut curve = |around: Option<&Vec<f32>>, spread: f32| -> Vec<f32> {
        let mut drift = vec![0.0_f32; channels];
        (0..frames * channels)
            .map(|at| {
                drift[at % channels] += spread * (rng.r#gen::<f32>() - 0.5);
                around.map_or(0.0, |around| around[at]) + drift[at % channels]
            })
            .collect()
    };
    let middles: Vec<Vec<f32>> = (0..12).map(|_| curve(None, 0.7)).collect();
    (0..count).map(|at| curve(Some(&middles[at % 12]), 0.2)).collect()
}

/// One channel, and numbers of channels about those at which words of four and kernels change: up to sixteen
/// the number of words is known when the program is compiled, beyond only when it runs.
#[test]
fn any_number_of_channels_matches_the_scan() {
    for channels in [1, 13, 16, 17, 33, 100] {
        let frames = 30;
        let curves = walks(frames, channels, 700, channels as u64);
        let mut builder = Index::in_memory(Shape::new(frames, channels).unwrap());
        for (id, values) in (0_u64..).zip(&curves[4..]) {
            builder.push(id * 31 % 1009, values).unwrap();
        }
        let index = builder.finish().unwrap();
        for weight_kind in 0..4 {
            let params = DtwParams::new(channels)
                .band_frames(4)
                .weights(&weights(channels, weight_kind))
                .check()
                .unwrap();
            for query in &curves[..4] {
                let all = Nearest::new(&params, 100).strategy(Strategy::Scan);
                let want = index.nearest(query, &all).unwrap().neighbours;
                for k in [1, 10, 100] {
                    let got = index.nearest(query, &Nearest::new(&params, k)).unwrap();
                    let what = format!("{channels} channels, weights {weight_kind}, k {k}");
                    assert_eq!(got.neighbours, want[..k], "{what}");
                    if k == 1 && weight_kind == 0 {
                        assert!(
                            got.stages.kernel * 4 < got.stages.curves,
                            "{what}: {:?}",
                            got.stages
                        );
                    }
                    let most = want[k - 1].cost;
                    let found = index.within(query, most, &Nearest::new(&params, 1000)).unwrap();
                    assert_eq!(found.neighbours, want[..found.neighbours.len()], "{what}");
                    assert!(found.neighbours.len() >= k, "{what}");
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 120, ..ProptestConfig::default() })]

    /// Several indexes, asked one after the other with the k-th best cost so far or side by side without, give
    /// the answer of one, under whatever cutoff from outside; and the costs of a list of ids are the oracle's.
    #[test]
    fn many_indexes_answer_as_one(
        (frames, channels, curves) in set(60),
        k in 0_usize..12,
        band in 0_usize..12,
        weight_kind in 0_u8..4,
        repeat in 1_usize..4,
        shards in 1_usize..5,
        seed in any::<u64>(),
        threads in 1_usize..4,
    ) {
        let shape = Shape::new(frames, channels).unwrap();
        // Every curve `repeat` times under ids that tell nothing of the shard, so ties lie apart.
        let all: Vec<(u64, &[f32])> = (0..curves.len() * repeat)
            .map(|at| ((at as u64 * 7919) % 1009, curves[at % curves.len()].as_slice()))
            .collect();
        let mut parts: Vec<_> = (0..shards).map(|_| Index::in_memory(shape)).collect();
        for &(id, values) in &all {
            let part = (id ^ seed).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 32;
            parts[part as usize % shards].push(id, values).unwrap();
        }
        let parts: Vec<Index> = parts.into_iter().map(|part| part.finish().unwrap()).collect();
        let params = DtwParams::new(channels)
            .band_frames(band)
            .weights(&weights(channels, weight_kind))
            .check()
            .unwrap();
        let query = &curves[0];
        let checked = |values| Curve::new(values, channels).unwrap();
        let live: Vec<(u64, Curve)> = all.iter().map(|&(id, values)| (id, checked(values))).collect();
        let everything = naive::nearest(checked(query), &live, &params, usize::MAX);
        let mut whole = Index::in_memory(shape);
        for &(id, values) in &all {
            whole.push(id, values).unwrap();
        }
        let whole = whole.finish().unwrap();

        // The first cutoff comes from outside: none, or one within the answer, at its end, just before that.
        let end = everything[k.clamp(1, everything.len()) - 1].cost;
        let middle = everything[everything.len() / 2].cost;
        let threads = NonZeroUsize::new(threads).unwrap();
        for outside in [f64::INFINITY, middle, end, end.next_down().max(0.0)] {
            let inside = everything.iter().filter(|one| one.cost <= outside);
            let want: Vec<Neighbour> = inside.take(k).copied().collect();
            for strategy in [Strategy::Scan, Strategy::Pruned] {
                let asked = Nearest::new(&params, k).strategy(strategy).threads(threads);
                let one = whole.nearest(query, &asked.clone().max_cost(outside)).unwrap();
                prop_assert_eq!(&one.neighbours, &want, "one index: {}, {:?}", outside, strategy);
                for in_turn in [true, false] {
                    let mut best: Vec<Neighbour> = Vec::new();
                    for part in &parts {
                        let so_far = best.get(k.wrapping_sub(1)).filter(|_| in_turn);
                        let most = so_far.map_or(outside, |worst| worst.cost);
                        let what = asked.clone().max_cost(most);
                        best.extend(part.nearest(query, &what).unwrap().neighbours);
                        best.sort_by(|a, b| a.cost.total_cmp(&b.cost).then(a.id.cmp(&b.id)));
                        best.truncate(k);
                    }
                    prop_assert_eq!(&best, &want, "{}, {}, {:?}", outside, in_turn, strategy);
                }
            }
        }

        // Twice the first id, one that is not there, and all others, backwards.
        let mut ids: Vec<u64> = everything.iter().rev().map(|one| one.id).collect();
        ids.extend([all[0].0, 5000]);
        for part in &parts {
            let most = everything[everything.len() / 2].cost;
            for max_cost in [f64::INFINITY, f64::MAX, most] {
                let what = Nearest::new(&params, k).threads(threads).max_cost(max_cost);
                let got = part.costs(query, &ids, &what).unwrap();
                let cost = |id: u64| {
                    let held = part.curve(id).is_some();
                    let one = everything.iter().find(|one| one.id == id && held);
                    one.map(|one| one.cost).filter(|&cost| cost <= max_cost)
                };
                prop_assert_eq!(got, ids.iter().map(|&id| cost(id)).collect::<Vec<_>>());
                // Every cost, as a search.
                let what = Nearest::new(&params, usize::MAX).threads(threads).max_cost(max_cost);
                let scan = what.clone().strategy(Strategy::Scan);
                prop_assert_eq!(
                    part.nearest(query, &what).unwrap().neighbours,
                    part.nearest(query, &scan).unwrap().neighbours
                );
            }
        }
    }
}
