//! The same tables through an independent implementation: statsmodels, SciPy and NumPy, see
//! `golden/estimates.py`, which works the method through from its description by other means.

use serde::Deserialize;

use crate::evidence::pool::{Estimate, estimates};
use crate::evidence::row::{Row, Unseen};

/// Largest difference allowed of a mean, and of either end of an interval, in detectable changes.
/// Everything is worked out alike but for the order of operations: what is left is rounding.
const TOLERANCE: f64 = 1e-8;

#[derive(Deserialize)]
struct Golden {
    problems: Vec<Problem>,
}

#[derive(Deserialize)]
struct Problem {
    rows: Vec<GoldenRow>,
    unseen: Vec<GoldenUnseen>,
    fault: usize,
    asked: Option<f64>,
    found: Found,
}

#[derive(Deserialize)]
struct GoldenRow {
    player: u64,
    fault: usize,
    drills: Vec<usize>,
    start: f64,
    change: f64,
    detectable: f64,
    weight: f64,
    style: Option<[f64; 2]>,
}

#[derive(Deserialize)]
struct GoldenUnseen {
    player: u64,
    fault: usize,
    drills: Vec<usize>,
}

#[derive(Deserialize)]
struct Found {
    start: f64,
    effective: f64,
    unit: f64,
    other_faults: usize,
    by_itself: Option<[f64; 3]>,
    drills: Vec<FoundDrill>,
}

#[derive(Deserialize)]
struct FoundDrill {
    drill: usize,
    change: [f64; 3],
    gain: Option<[f64; 3]>,
}

/// The largest difference of mean, low and high.
fn apart(ours: Option<Estimate>, theirs: Option<[f64; 3]>) -> f64 {
    match (ours, theirs) {
        (None, None) => 0.0,
        (Some(ours), Some(theirs)) => [ours.mean, ours.low, ours.high]
            .into_iter()
            .zip(theirs)
            .map(|(ours, theirs)| (ours - theirs).abs())
            .fold(0.0, f64::max),
        one_only => panic!("only one has it: {one_only:?}"),
    }
}

#[test]
fn agrees_with_an_independent_implementation() {
    let golden: Golden = serde_json::from_str(include_str!("golden/estimates.json")).unwrap();
    assert_eq!(golden.problems.len(), 5);
    let mut compared = 0;
    for (number, problem) in golden.problems.into_iter().enumerate() {
        let rows: Vec<Row> = problem
            .rows
            .into_iter()
            .map(|row| Row {
                player: row.player,
                fault: row.fault,
                drills: row.drills,
                start: row.start,
                change: row.change,
                detectable: row.detectable,
                weight: row.weight,
                days: 30.0,
                style: row.style,
            })
            .collect();
        let unseen: Vec<Unseen> = problem
            .unseen
            .into_iter()
            .map(|look| Unseen { player: look.player, fault: look.fault, drills: look.drills })
            .collect();
        let theirs = problem.found;
        let ours = estimates(&rows, &unseen, problem.fault, problem.asked).unwrap();
        let close = |what: &str, apart: f64| {
            assert!(apart <= TOLERANCE, "problem {number}, {what}: {apart:e} apart\n{ours:#?}");
        };
        close("start", (ours.start - theirs.start).abs() / theirs.unit);
        close("effective", (ours.effective - theirs.effective).abs());
        close("by itself", apart(ours.by_itself, theirs.by_itself) / theirs.unit);
        assert_eq!(ours.other_faults, theirs.other_faults, "problem {number}");
        assert_eq!(ours.drills.len(), theirs.drills.len(), "problem {number}");
        for one in theirs.drills {
            let own = ours.drills.iter().find(|own| own.drills == [one.drill]).unwrap();
            close("change", apart(Some(own.change), Some(one.change)) / theirs.unit);
            close("gain", apart(own.gain, one.gain) / theirs.unit);
            compared += 1;
        }
    }
    assert_eq!(compared, 15, "intervals of drills compared");
}
