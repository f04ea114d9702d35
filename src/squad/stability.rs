//! Whether groups would be found again, and how far two groupings agree.

use std::sync::atomic::{AtomicUsize, Ordering};

use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;
use rayon::prelude::*;

use super::{Distances, GroupsParams, k_medoids, one_vote_each};
use crate::work::{Stage, Stopped, Watch};

/// Mean best Jaccard agreement of each group over resampled squads.
pub(super) fn stability(
    distances: &Distances,
    owners: &[usize],
    labels: &[usize],
    k: usize,
    params: &GroupsParams,
    watch: &Watch,
) -> Result<Vec<f64>, Stopped> {
    if k == 1 {
        return Ok(vec![1.0]);
    }
    let players = owners.iter().max().map_or(0, |most| most + 1);
    let mut serves_of = vec![Vec::new(); players];
    for (item, &owner) in owners.iter().enumerate() {
        serves_of[owner].push(item);
    }
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(params.seed);
    let resamples: Vec<Vec<usize>> = (0..params.resamples)
        .map(|_| resample(&serves_of, params.resample_items, &mut rng))
        .collect();
    let done = AtomicUsize::new(0);
    let again: Vec<Vec<Option<f64>>> = resamples
        .par_iter()
        .map(|items| {
            let part = distances.subset(items);
            let part_owners: Vec<usize> = items.iter().map(|&item| owners[item]).collect();
            let again = k_medoids(&part, &one_vote_each(&part_owners), k, watch)?;
            let agreement = |label: usize| {
                let here: Vec<bool> = items.iter().map(|&item| labels[item] == label).collect();
                here.iter().any(|&h| h).then(|| {
                    (0..k).map(|other| jaccard(&here, &again.labels, other)).fold(0.0, f64::max)
                })
            };
            let done = done.fetch_add(1, Ordering::Relaxed) + 1;
            watch.step(Stage::Groups, done, params.resamples)?;
            Ok((0..k).map(agreement).collect())
        })
        .collect::<Result<_, Stopped>>()?;
    let mean_of = (0..k).map(|label| {
        let found: Vec<f64> = again.iter().filter_map(|each| each[label]).collect();
        found.iter().sum::<f64>() / found.len().max(1) as f64
    });
    Ok(mean_of.collect())
}

/// Players drawn with replacement, each once however often drawn (repeats would only make
/// groups of copies), with all or an equal share of their serves.
fn resample(serves_of: &[Vec<usize>], most: usize, rng: &mut Xoshiro256PlusPlus) -> Vec<usize> {
    let with_serves: Vec<&Vec<usize>> = serves_of.iter().filter(|s| !s.is_empty()).collect();
    let mut drawn = vec![false; with_serves.len()];
    for _ in 0..with_serves.len() {
        drawn[rng.gen_range(0..with_serves.len())] = true;
    }
    let chosen = drawn.iter().filter(|&&d| d).count();
    let each = (most / chosen.max(1)).max(1);
    let mut items = Vec::new();
    for (serves, _) in with_serves.iter().zip(&drawn).filter(|(_, d)| **d) {
        let picked = rand::seq::index::sample(rng, serves.len(), each.min(serves.len()));
        items.extend(picked.into_iter().map(|p| serves[p]));
    }
    items.sort_unstable();
    items
}

fn jaccard(here: &[bool], labels: &[usize], label: usize) -> f64 {
    let (mut both, mut either) = (0usize, 0usize);
    for (&h, &l) in here.iter().zip(labels) {
        both += usize::from(h && l == label);
        either += usize::from(h || l == label);
    }
    both as f64 / either.max(1) as f64
}

/// Agreement of two partitions, corrected for chance: 1 for the same, about 0 for unrelated.
///
/// Hubert & Arabie 1985, doi 10.1007/BF01908075.
///
/// # Panics
/// If lengths differ.
#[must_use]
pub fn adjusted_rand_index(a: &[usize], b: &[usize]) -> f64 {
    assert_eq!(a.len(), b.len(), "two labels for each item");
    let pairs = |count: usize| (count * count.saturating_sub(1)) as f64 / 2.0;
    let (rows, columns) =
        (a.iter().max().map_or(0, |m| m + 1), b.iter().max().map_or(0, |m| m + 1));
    let mut table = vec![0usize; rows * columns];
    for (&x, &y) in a.iter().zip(b) {
        table[x * columns + y] += 1;
    }
    let together: f64 = table.iter().map(|&c| pairs(c)).sum();
    let in_a: f64 = (0..rows).map(|r| pairs(table[r * columns..][..columns].iter().sum())).sum();
    let in_b: f64 =
        (0..columns).map(|c| pairs((0..rows).map(|r| table[r * columns + c]).sum())).sum();
    let all = pairs(a.len());
    let by_chance = if all > 0.0 { in_a * in_b / all } else { 0.0 };
    let most = f64::midpoint(in_a, in_b);
    if (most - by_chance).abs() < f64::EPSILON {
        1.0
    } else {
        (together - by_chance) / (most - by_chance)
    }
}
