//! The search on curves of real movements, against the scan and the oracle.

#![allow(missing_docs)]

#[path = "support/recordings.rs"]
mod recordings;
#[path = "support/skip.rs"]
mod skip;

use std::num::NonZeroUsize;

use curve_index::{Curve, DtwParams, Index, Nearest, Shape, Strategy, ValidDtwParams, naive};
use recordings::{CHANNELS, FRAMES, Take};

/// An index of all takes but those left out, with ids in an order of their own, and curves of those left out.
fn split(takes: &[Take], left_out: &str) -> (Index, Vec<Vec<f32>>) {
    let mut builder = Index::in_memory(Shape::new(FRAMES, CHANNELS).unwrap());
    let mut id = 0_u64;
    let mut queries = Vec::new();
    for take in takes {
        if take.name.contains(left_out) {
            queries.extend(take.curves());
            continue;
        }
        for curve in take.curves() {
            builder.push(id * 7919 % 100_003, &curve).unwrap();
            id += 1;
        }
    }
    assert!(id > 1500 && queries.len() > 50, "{id} curves, {} queries", queries.len());
    (builder.finish().unwrap(), queries)
}

/// All channels alike, and one arm alone.
fn params() -> Vec<ValidDtwParams> {
    let arm: Vec<f64> = (0..CHANNELS).map(|c| f64::from(u8::from(c / 3 % 2 == 0))).collect();
    let plain = |band| DtwParams::new(CHANNELS).band_frames(band);
    [plain(5), plain(10), plain(10).weights(&arm)].map(|params| params.check().unwrap()).into()
}

/// A person whose takes are not there, and a take whose person's others are.
const LEFT_OUT: [&str; 2] = ["_p05", "serve_p01_t01"];

#[test]
fn pruned_search_answers_as_the_scan() {
    let Some(takes) = recordings::takes() else { return };
    for left_out in LEFT_OUT {
        let (index, queries) = split(&takes, left_out);
        let some = queries.iter().step_by(queries.len() / 6);
        for (number, query) in some.enumerate() {
            for (kind, params) in params().iter().enumerate() {
                let all = Nearest::new(params, 300).strategy(Strategy::Scan);
                let want = index.nearest(query, &all).unwrap().neighbours;
                for k in [1, 10, 300] {
                    for threads in [1, 2] {
                        let what =
                            Nearest::new(params, k).threads(NonZeroUsize::new(threads).unwrap());
                        let got = index.nearest(query, &what).unwrap().neighbours;
                        assert_eq!(got, want[..k], "{left_out} {number}, params {kind}, k {k}");
                    }
                }
            }
        }
    }
}

/// A search for all within exactly the cost of a curve returns the curve: no bound exceeds it.
#[test]
fn no_bound_exceeds_the_cost() {
    let Some(takes) = recordings::takes() else { return };
    let (index, queries) = split(&takes, LEFT_OUT[0]);
    let ids: Vec<u64> = index.ids().collect();
    for query in queries.iter().step_by(queries.len() / 3) {
        for params in &params() {
            let what = Nearest::new(params, usize::MAX);
            let some: Vec<u64> = ids.iter().copied().step_by(ids.len() / 15).collect();
            let costs = index.costs(query, &some, &what).unwrap();
            for (id, cost) in some.iter().zip(costs) {
                let curve = index.curve(*id).unwrap();
                let want = naive::dtw(Curve::new(query, CHANNELS).unwrap(), curve, params);
                assert_eq!(cost, Some(want), "id {id}");
                let found = index.within(query, want, &what).unwrap().neighbours;
                assert!(found.iter().any(|one| one.id == *id), "id {id} of cost {want}");
                if want > 0.0 {
                    let found = index.within(query, want.next_down(), &what).unwrap().neighbours;
                    assert!(found.iter().all(|one| one.id != *id), "id {id} of cost {want}");
                }
            }
        }
    }
}
