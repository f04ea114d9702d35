//! Groups of similar serves: how many there are, and whether they would be found again.

use std::ops::RangeInclusive;

use rayon::prelude::*;

use super::stability::stability;
use super::{Distances, k_medoids, k_medoids_each};
use crate::work::{Stopped, Watch};

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
    /// Mean silhouette width of the chosen number of groups; `None` for one group.
    pub silhouette: Option<f64>,
    /// Every number of groups tried, with its silhouette width.
    pub tried: Vec<(usize, f64)>,
}

/// Groups serves by distance; `owners[i]` numbers the player of serve `i` from 0.
///
/// Every player has one vote: a serve weighs 1 over its player's number of serves. The number of
/// groups is the one with the widest mean [`silhouette`], provided it reaches
/// [`GroupsParams::least_silhouette`]; else all serves are one group. O(n^2) for each number tried. Same input, same answer.
/// `watch` is told each resampled squad.
///
/// # Errors
/// [`Stopped`].
///
/// # Panics
/// If `owners` has another length than there are items.
pub fn groups(
    distances: &Distances,
    owners: &[usize],
    params: &GroupsParams,
    watch: &Watch,
) -> Result<Groups, Stopped> {
    assert_eq!(owners.len(), distances.len(), "one owner for each serve");
    if distances.is_empty() {
        return Ok(Groups { labels: vec![], groups: vec![], silhouette: None, tried: vec![] });
    }
    let weights = one_vote_each(owners);
    let players = owners.iter().max().map_or(0, |most| most + 1);
    let ks: Vec<usize> =
        params.groups.clone().filter(|&k| k >= 2 && k <= players && k < distances.len()).collect();
    let mut best = None;
    let mut tried = Vec::new();
    let each = k_medoids_each(distances, &weights, &ks, watch)?;
    for (k, found) in ks.iter().zip(each) {
        watch.check()?;
        let width = silhouette(distances, &found.labels, owners);
        tried.push((*k, width));
        if width >= params.least_silhouette && best.as_ref().is_none_or(|(_, w)| width > *w) {
            best = Some((found, width));
        }
    }
    let (found, silhouette) = match best {
        Some((found, width)) => (found, Some(width)),
        None => (k_medoids(distances, &weights, 1, watch)?, None),
    };
    let stability =
        stability(distances, owners, &found.labels, found.medoids.len(), params, watch)?;
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
    Ok(Groups { labels, groups: list, silhouette, tried })
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

/// Mean silhouette width of a partition, -1 to 1, one vote per player.
///
/// As Rousseeuw 1987 (doi 10.1016/0377-0427(87)90125-7), except that a serve is held only against
/// serves of other players, each player weighing 1: a player's own serves lie close together, and
/// would else make every player a good group. A serve with no other player in its group has width
/// 0. With one serve per player this is the usual silhouette score. O(n^2).
///
/// # Panics
/// If lengths differ.
#[must_use]
pub fn silhouette(distances: &Distances, labels: &[usize], owners: &[usize]) -> f64 {
    assert!(labels.len() == distances.len() && owners.len() == distances.len(), "lengths differ");
    if labels.is_empty() {
        return 0.0;
    }
    let weights = one_vote_each(owners);
    let k = labels.iter().max().map_or(0, |most| most + 1);
    let players = owners.iter().max().map_or(0, |most| most + 1);
    let mut mass = vec![0.0; k];
    let mut own_mass = vec![0.0; k * players];
    for ((&label, &owner), w) in labels.iter().zip(owners).zip(&weights) {
        mass[label] += w;
        own_mass[owner * k + label] += w;
    }
    let width = |item: usize| -> f64 {
        let (own, owner) = (labels[item], owners[item]);
        let mut toward = vec![0.0; k];
        let others = distances.row(item).iter().zip(labels).zip(owners).zip(&weights);
        for (((&d, &label), &other), w) in others {
            if other != owner {
                toward[label] += w * f64::from(d);
            }
        }
        let mean = |label: usize| {
            let left = mass[label] - own_mass[owner * k + label];
            // Masses are sums of fractions of players: less than rounding is nobody.
            (left > 1e-9).then(|| toward[label] / left)
        };
        let inside = mean(own);
        let outside = (0..k).filter(|&label| label != own).filter_map(mean).reduce(f64::min);
        match (inside, outside) {
            (Some(inside), Some(outside)) if inside.max(outside) > 0.0 => {
                (outside - inside) / inside.max(outside)
            }
            _ => 0.0,
        }
    };
    let widths: Vec<f64> = (0..labels.len()).into_par_iter().map(width).collect();
    let sum: f64 = widths.iter().zip(&weights).map(|(width, w)| width * w).sum();
    sum / weights.iter().sum::<f64>()
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::super::adjusted_rand_index;
    use super::*;

    fn groups(distances: &Distances, owners: &[usize], params: &GroupsParams) -> Groups {
        super::groups(distances, owners, params, &Watch::default()).unwrap()
    }

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
        let condensed: Vec<f32> = (0..points.len())
            .flat_map(|i| {
                let points = &points;
                (i + 1..points.len()).map(move |j| {
                    (points[i].0 - points[j].0).hypot(points[i].1 - points[j].1) as f32
                })
            })
            .collect();
        (Distances::new(points.len(), &condensed).unwrap(), owners, truth)
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
            let condensed: Vec<f32> = (0..60)
                .flat_map(|i| {
                    let points = &points;
                    (i + 1..60).map(move |j| {
                        let square: f64 =
                            (0..6).map(|c| (points[i][c] - points[j][c]).powi(2)).sum();
                        square.sqrt() as f32
                    })
                })
                .collect();
            let distances = Distances::new(60, &condensed).unwrap();
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
            let distances = Distances::new(problem.n, &problem.condensed).unwrap();
            let weights = vec![1.0; problem.n];
            let each_own: Vec<usize> = (0..problem.n).collect();
            let ours = k_medoids(&distances, &weights, problem.k, &Watch::default()).unwrap();
            // From the same start no worse; against the best of 50 starts within three hundredths.
            let same_start = problem.loss_from_build * (1.0 + 1e-6);
            let best = problem.loss * 1.03;
            assert!(
                ours.loss <= same_start && ours.loss <= best,
                "{} items: loss {} against {same_start} and {best}",
                problem.n,
                ours.loss
            );
            let width = silhouette(&distances, &problem.labels, &each_own);
            assert!((width - problem.silhouette).abs() < 1e-6, "{width} {}", problem.silhouette);
            let rand = adjusted_rand_index(&problem.truth, &problem.labels);
            assert!((rand - problem.adjusted_rand).abs() < 1e-12, "{rand}");
        }
    }

    #[test]
    fn few_serves_are_no_reason_to_fail() {
        let none = Distances::new(0, &[]).unwrap();
        assert!(groups(&none, &[], &GroupsParams::default()).groups.is_empty());
        let one = Distances::new(1, &[]).unwrap();
        assert_eq!(groups(&one, &[0], &GroupsParams::default()).groups.len(), 1);
    }
}
