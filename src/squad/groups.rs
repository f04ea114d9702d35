//! Groups of similar serves: how many there are, and whether they would be found again.

use std::ops::RangeInclusive;

use rand::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use super::{Distances, k_medoids};

/// How to group.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupsParams {
    /// Numbers of groups to try.
    pub groups: RangeInclusive<usize>,
    /// Below this mean silhouette width no groups are claimed: everything is one group.
    ///
    /// Kaufman & Rousseeuw 1990 call up to 0.25 "no substantial structure" (from memory).
    pub least_silhouette: f64,
    /// Resamples of the players for the stability of each group.
    pub resamples: usize,
    /// At most this many serves in a resample.
    pub resample_items: usize,
    /// Seed of the resamples.
    pub seed: u64,
}

impl Default for GroupsParams {
    fn default() -> Self {
        Self { groups: 2..=8, least_silhouette: 0.25, resamples: 50, resample_items: 600, seed: 1 }
    }
}

/// One group of serves.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// The serve that stands for the group.
    pub medoid: usize,
    /// Serves, ascending.
    pub members: Vec<usize>,
    /// Players with at least half of their serves here.
    pub players: usize,
    /// Mean Jaccard agreement with the groups found in resampled squads, 0 to 1.
    ///
    /// Hennig 2007, doi 10.1016/j.csda.2006.11.025: above 0.75 the group is found again, below
    /// 0.6 it should not be trusted.
    pub stability: f64,
}

/// A squad's serves in groups.
#[derive(Debug, Clone, PartialEq)]
pub struct Groups {
    /// Group of each serve.
    pub labels: Vec<usize>,
    /// The groups, largest (in players) first.
    pub groups: Vec<Group>,
    /// Weighted mean silhouette width of the chosen number of groups; `None` for one group.
    pub silhouette: Option<f64>,
    /// Every number of groups tried, with its silhouette width.
    pub tried: Vec<(usize, f64)>,
}

/// Groups serves by distance; `owners[i]` numbers the player of serve `i` from 0.
///
/// Every player has one vote: a serve weighs 1 over its player's number of serves. The number of
/// groups is the one with the widest mean silhouette (Rousseeuw 1987, doi
/// 10.1016/0377-0427(87)90125-7), provided it reaches [`GroupsParams::least_silhouette`]; else
/// all serves are one group. O(n^2) for each number tried. Same input, same answer.
///
/// # Panics
/// If `owners` has another length than there are items.
#[must_use]
pub fn groups(distances: &Distances, owners: &[usize], params: &GroupsParams) -> Groups {
    assert_eq!(owners.len(), distances.len(), "one owner for each serve");
    if distances.is_empty() {
        return Groups { labels: vec![], groups: vec![], silhouette: None, tried: vec![] };
    }
    let weights = one_vote_each(owners);
    let players = owners.iter().max().map_or(0, |most| most + 1);
    let mut best = None;
    let mut tried = Vec::new();
    for k in params.groups.clone().filter(|&k| k >= 2 && k <= players && k < distances.len()) {
        let found = k_medoids(distances, &weights, k);
        let width = silhouette(distances, &found.labels, &weights);
        tried.push((k, width));
        if width >= params.least_silhouette && best.as_ref().is_none_or(|(_, w)| width > *w) {
            best = Some((found, width));
        }
    }
    let (found, silhouette) = match best {
        Some((found, width)) => (found, Some(width)),
        None => (k_medoids(distances, &weights, 1), None),
    };
    let stability = stability(distances, owners, &found.labels, found.medoids.len(), params);
    let mut list: Vec<Group> = found
        .medoids
        .iter()
        .enumerate()
        .map(|(label, &medoid)| Group {
            medoid,
            members: (0..owners.len()).filter(|&i| found.labels[i] == label).collect(),
            players: players_mostly_in(owners, &found.labels, label, &weights),
            stability: stability[label],
        })
        .collect();
    list.sort_by_key(|group| (std::cmp::Reverse(group.players), group.medoid));
    let mut labels = vec![0; owners.len()];
    for (label, group) in list.iter().enumerate() {
        for &member in &group.members {
            labels[member] = label;
        }
    }
    Groups { labels, groups: list, silhouette, tried }
}

/// Weight of each serve so that every player counts once.
#[must_use]
pub fn one_vote_each(owners: &[usize]) -> Vec<f64> {
    let mut counts = vec![0usize; owners.iter().max().map_or(0, |most| most + 1)];
    for &owner in owners {
        counts[owner] += 1;
    }
    owners.iter().map(|&owner| 1.0 / counts[owner] as f64).collect()
}

fn players_mostly_in(owners: &[usize], labels: &[usize], label: usize, weights: &[f64]) -> usize {
    let mut share = vec![0.0; owners.iter().max().map_or(0, |most| most + 1)];
    for ((&owner, &l), &w) in owners.iter().zip(labels).zip(weights) {
        if l == label {
            share[owner] += w;
        }
    }
    share.iter().filter(|&&s| s >= 0.5).count()
}

/// Weighted mean silhouette width of a partition, -1 to 1; 0 for items alone in their group.
///
/// With equal weights this is the usual silhouette score. O(n^2).
///
/// # Panics
/// If lengths differ.
#[must_use]
pub fn silhouette(distances: &Distances, labels: &[usize], weights: &[f64]) -> f64 {
    assert!(labels.len() == distances.len() && weights.len() == distances.len(), "lengths differ");
    let k = labels.iter().max().map_or(0, |most| most + 1);
    let mut mass = vec![0.0; k];
    let mut size = vec![0usize; k];
    for (&label, w) in labels.iter().zip(weights) {
        mass[label] += w;
        size[label] += 1;
    }
    let mut row = Vec::with_capacity(labels.len());
    let (mut sum, mut total) = (0.0, 0.0);
    for (item, &own) in labels.iter().enumerate() {
        total += weights[item];
        if size[own] < 2 {
            continue;
        }
        distances.fill_row(item, &mut row);
        let mut toward = vec![0.0; k];
        for ((&d, &label), w) in row.iter().zip(labels).zip(weights) {
            toward[label] += w * f64::from(d);
        }
        let inside = toward[own] / (mass[own] - weights[item]);
        let outside = (0..k)
            .filter(|&label| label != own && size[label] > 0)
            .map(|label| toward[label] / mass[label])
            .fold(f64::INFINITY, f64::min);
        let widest = inside.max(outside);
        if outside.is_finite() && widest > 0.0 {
            sum += weights[item] * (outside - inside) / widest;
        }
    }
    sum / total
}

/// Mean best Jaccard agreement of each group over resampled squads.
fn stability(
    distances: &Distances,
    owners: &[usize],
    labels: &[usize],
    k: usize,
    params: &GroupsParams,
) -> Vec<f64> {
    if k == 1 {
        return vec![1.0];
    }
    let players = owners.iter().max().map_or(0, |most| most + 1);
    let mut serves_of = vec![Vec::new(); players];
    for (item, &owner) in owners.iter().enumerate() {
        serves_of[owner].push(item);
    }
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(params.seed);
    let mut sums = vec![0.0; k];
    let mut counted = vec![0usize; k];
    for _ in 0..params.resamples {
        let items = resample(&serves_of, params.resample_items, &mut rng);
        let part = distances.subset(&items);
        let part_owners: Vec<usize> = items.iter().map(|&item| owners[item]).collect();
        let again = k_medoids(&part, &one_vote_each(&part_owners), k);
        for label in 0..k {
            let here: Vec<bool> = items.iter().map(|&item| labels[item] == label).collect();
            if here.iter().any(|&h| h) {
                sums[label] +=
                    (0..k).map(|other| jaccard(&here, &again.labels, other)).fold(0.0, f64::max);
                counted[label] += 1;
            }
        }
    }
    sums.iter().zip(counted).map(|(sum, count)| sum / count.max(1) as f64).collect()
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Players scattered around planted centres in the plane, several serves each.
    fn planted(noise: f64, seed: u64) -> (Distances, Vec<usize>, Vec<usize>) {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut around = |centre: f64, spread: f64| {
            // Sum of twelve uniforms: near enough to normal here.
            centre + spread * ((0..12).map(|_| rng.gen_range(0.0..1.0)).sum::<f64>() - 6.0)
        };
        let centres = [(0.0, 0.0), (6.0, 0.0), (0.0, 6.0)];
        let (mut points, mut owners, mut truth) = (vec![], vec![], vec![]);
        for player in 0..30 {
            let home = centres[player % 3];
            let own = (around(home.0, noise), around(home.1, noise));
            for _ in 0..4 {
                points.push((around(own.0, 0.2), around(own.1, 0.2)));
                owners.push(player);
                truth.push(player % 3);
            }
        }
        let condensed = (0..points.len())
            .flat_map(|i| {
                let points = &points;
                (i + 1..points.len()).map(move |j| {
                    (points[i].0 - points[j].0).hypot(points[i].1 - points[j].1) as f32
                })
            })
            .collect();
        (Distances::new(points.len(), condensed).unwrap(), owners, truth)
    }

    /// Invented data, planted truth.
    #[test]
    fn planted_groups_are_recovered_and_stable() {
        for seed in 0..5 {
            let (distances, owners, truth) = planted(0.8, seed);
            let found = groups(&distances, &owners, &GroupsParams::default());
            assert_eq!(found.groups.len(), 3, "seed {seed}: {:?}", found.tried);
            let agreement = adjusted_rand_index(&found.labels, &truth);
            assert!(agreement > 0.95, "seed {seed}: {agreement}");
            for group in &found.groups {
                assert_eq!(group.players, 10, "seed {seed}");
                assert!(group.stability > 0.75, "seed {seed}: {}", group.stability);
            }
        }
    }

    /// Invented data without groups: one cloud of players must not be cut up.
    #[test]
    fn one_cloud_is_one_group_or_said_to_be_unstable() {
        for seed in 0..5 {
            let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
            let points: Vec<[f64; 6]> =
                (0..60).map(|_| std::array::from_fn(|_| rng.gen_range(-1.0..1.0))).collect();
            let condensed = (0..60)
                .flat_map(|i| {
                    let points = &points;
                    (i + 1..60).map(move |j| {
                        let square: f64 =
                            (0..6).map(|c| (points[i][c] - points[j][c]).powi(2)).sum();
                        square.sqrt() as f32
                    })
                })
                .collect();
            let distances = Distances::new(60, condensed).unwrap();
            let owners: Vec<usize> = (0..60).collect();
            let found = groups(&distances, &owners, &GroupsParams::default());
            assert_eq!(found.groups.len(), 1, "seed {seed}: {:?}", found.tried);
            assert_eq!(found.silhouette, None);
        }
    }

    #[test]
    fn votes_and_agreement_by_hand() {
        assert_eq!(one_vote_each(&[0, 0, 1]), [0.5, 0.5, 1.0]);
        assert_eq!(adjusted_rand_index(&[0, 0, 1, 1], &[1, 1, 0, 0]), 1.0);
        // scikit-learn 1.9.1: adjusted_rand_score([0,0,1,1],[0,0,1,2]) = 0.5714285714285714
        let found = adjusted_rand_index(&[0, 0, 1, 1], &[0, 0, 1, 2]);
        assert!((found - 0.571_428_571_428_571_4).abs() < 1e-12, "{found}");
    }

    /// kmedoids (FasterPAM, best of 50 starts) and scikit-learn 1.9.1 on the same distances:
    /// `golden/partitions.py`.
    #[test]
    fn agrees_with_reference_libraries() {
        #[derive(serde::Deserialize)]
        struct Problem {
            n: usize,
            k: usize,
            condensed: Vec<f32>,
            truth: Vec<usize>,
            labels: Vec<usize>,
            loss: f64,
            loss_from_build: f64,
            silhouette: f64,
            adjusted_rand: f64,
        }
        #[derive(serde::Deserialize)]
        struct Golden {
            problems: Vec<Problem>,
        }
        let golden: Golden = serde_json::from_str(include_str!("golden/partitions.json")).unwrap();
        assert_eq!(golden.problems.len(), 3);
        for problem in golden.problems {
            let distances = Distances::new(problem.n, problem.condensed).unwrap();
            let weights = vec![1.0; problem.n];
            let ours = k_medoids(&distances, &weights, problem.k);
            // From the same start no worse; against the best of 50 starts within three hundredths.
            let same_start = problem.loss_from_build * (1.0 + 1e-6);
            let best = problem.loss * 1.03;
            assert!(
                ours.loss <= same_start && ours.loss <= best,
                "{} items: loss {} against {same_start} and {best}",
                problem.n,
                ours.loss
            );
            let width = silhouette(&distances, &problem.labels, &weights);
            assert!((width - problem.silhouette).abs() < 1e-6, "{width} {}", problem.silhouette);
            let rand = adjusted_rand_index(&problem.truth, &problem.labels);
            assert!((rand - problem.adjusted_rand).abs() < 1e-12, "{rand}");
        }
    }

    #[test]
    fn few_serves_are_no_reason_to_fail() {
        let none = Distances::new(0, vec![]).unwrap();
        assert!(groups(&none, &[], &GroupsParams::default()).groups.is_empty());
        let one = Distances::new(1, vec![]).unwrap();
        assert_eq!(groups(&one, &[0], &GroupsParams::default()).groups.len(), 1);
    }
}
