//! A second opinion on groups: another method, another view of the same serves.
//!
//! The groups themselves are medoids of single serves under time warping. Here every player is one
//! row, the mean of the player's curves frame by frame without any warping, and k-means parts the
//! rows. Two ways that share neither distance nor method and still part the players alike speak
//! for the groups; that they differ does not speak against them alone.

use linfa::DatasetBase;
use linfa::traits::{Fit, Predict};
use linfa_clustering::KMeans;
use ndarray::Array2;
use rand::SeedableRng;
use rand_xoshiro::Xoshiro256Plus;
use serde::Serialize;

use super::adjusted_rand_index;

/// Starts of k-means; the best is kept.
const STARTS: usize = 50;
/// Fewer players than this for each group, and nobody can say how far two ways agree. Our choice.
const LEAST_PLAYERS: usize = 3;

/// How far a second way of grouping agrees with the groups.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SecondOpinion {
    /// Adjusted Rand index: 1 for the same groups, about 0 for unrelated ones.
    pub agreement: f64,
    /// What that means.
    pub verdict: Agreement,
}

/// Steinley 2004 (doi 10.1037/1082-989X.9.3.386; from memory): above 0.90 excellent, above 0.80
/// good, above 0.65 moderate, below poor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Agreement {
    /// Above 0.80.
    Same,
    /// Above 0.65.
    Mostly,
    /// At most 0.65.
    Poor,
}

impl Agreement {
    /// The verdict in a coach's words.
    #[must_use]
    pub fn sentence(self) -> &'static str {
        match self {
            Self::Same => {
                "A second way of grouping, by each player's average serve, finds the same groups."
            }
            Self::Mostly => {
                "A second way of grouping, by each player's average serve, mostly agrees; a few \
                 players could stand in another group."
            }
            Self::Poor => {
                "A second way of grouping, by each player's average serve, splits the players \
                 differently: look at the serves before you train in these groups."
            }
        }
    }
}

/// What k-means of the players' mean curves says of the groups players are mostly in.
///
/// `curves`: one for each serve, all of one length; `owners`: their players, numbered from 0;
/// `group_of`: the group of each player. `None` for a single group, for fewer than three players a
/// group, and where a player has no curve. Same input, same answer. O(players x length x groups)
/// for each of 50 starts.
///
/// # Panics
/// If `owners` has another length than `curves`, or names a player without a group.
#[must_use]
pub fn second_opinion(
    curves: &[&[f32]],
    owners: &[usize],
    group_of: &[usize],
) -> Option<SecondOpinion> {
    assert_eq!(curves.len(), owners.len(), "one owner for each curve");
    let players = group_of.len();
    let mut used: Vec<usize> = group_of.to_vec();
    used.sort_unstable();
    used.dedup();
    let groups = used.len();
    let length = curves.first()?.len();
    if groups < 2 || players < LEAST_PLAYERS * groups || curves.iter().any(|c| c.len() != length) {
        return None;
    }
    let mut counts = vec![0.0; players];
    let mut means = Array2::<f64>::zeros((players, length));
    for (curve, &owner) in curves.iter().zip(owners) {
        counts[owner] += 1.0;
        means
            .row_mut(owner)
            .iter_mut()
            .zip(*curve)
            .for_each(|(sum, &value)| *sum += f64::from(value));
    }
    if counts.contains(&0.0) {
        return None;
    }
    for (mut row, count) in means.rows_mut().into_iter().zip(&counts) {
        row /= *count;
    }
    let rows = DatasetBase::from(means);
    let found = KMeans::params_with_rng(groups, Xoshiro256Plus::seed_from_u64(1))
        .n_runs(STARTS)
        .fit(&rows)
        .ok()?;
    let labels: Vec<usize> = found.predict(rows.records()).to_vec();
    let agreement = adjusted_rand_index(&labels, group_of);
    let verdict = match agreement {
        good if good > 0.8 => Agreement::Same,
        fair if fair > 0.65 => Agreement::Mostly,
        _ => Agreement::Poor,
    };
    Some(SecondOpinion { agreement, verdict })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two shapes, five players each with two serves, a little apart. Invented data, planted truth.
    fn planted() -> (Vec<Vec<f32>>, Vec<usize>, Vec<usize>) {
        let group_of: Vec<usize> = (0..10).map(|player| player % 2).collect();
        let (mut curves, mut owners) = (Vec::new(), Vec::new());
        for player in 0..10usize {
            for serve in 0..2usize {
                let off = 0.02 * (player * 2 + serve) as f32;
                let shape = |at: usize| {
                    let t = at as f32 / 20.0;
                    if player % 2 == 0 { t.sin() + off } else { t.cos() - off }
                };
                curves.push((0..60).map(shape).collect());
                owners.push(player);
            }
        }
        (curves, owners, group_of)
    }

    fn slices(curves: &[Vec<f32>]) -> Vec<&[f32]> {
        curves.iter().map(Vec::as_slice).collect()
    }

    #[test]
    fn planted_groups_are_seconded_and_others_are_not() {
        let (curves, owners, group_of) = planted();
        let found = second_opinion(&slices(&curves), &owners, &group_of).unwrap();
        assert_eq!((found.agreement, found.verdict), (1.0, Agreement::Same));
        // Groups that cut across the shapes: first five players against the last five.
        let across: Vec<usize> = (0..10).map(|player| usize::from(player >= 5)).collect();
        let found = second_opinion(&slices(&curves), &owners, &across).unwrap();
        assert!(found.agreement < 0.2, "{found:?}");
        assert_eq!(found.verdict, Agreement::Poor);
    }

    #[test]
    fn with_nothing_to_second_there_is_no_opinion() {
        let (curves, owners, group_of) = planted();
        let curves = slices(&curves);
        assert_eq!(second_opinion(&curves, &owners, &[0; 10]), None);
        assert_eq!(second_opinion(&curves[..8], &owners[..8], &group_of[..4]), None);
        assert_eq!(second_opinion(&curves[..18], &owners[..18], &group_of), None, "one has none");
        assert_eq!(second_opinion(&[], &[], &[]), None);
        // All the same: k-means has nothing to part by, and says nothing sensible, but says it.
        let same = vec![&[1.0f32, 2.0][..]; 10];
        let owners: Vec<usize> = (0..10).collect();
        let found = second_opinion(&same, &owners, &group_of).unwrap();
        assert!(found.agreement.abs() < 0.2, "{found:?}");
    }

    /// scikit-learn's k-means and adjusted Rand index on the same mean curves:
    /// `golden/second_opinion.py`.
    #[test]
    fn agrees_with_the_reference_library() {
        #[derive(serde::Deserialize)]
        struct Problem {
            curves: Vec<Vec<f32>>,
            owners: Vec<usize>,
            group_of: Vec<usize>,
            adjusted_rand: f64,
        }
        #[derive(serde::Deserialize)]
        struct Golden {
            problems: Vec<Problem>,
        }
        let golden: Golden =
            serde_json::from_str(include_str!("golden/second_opinion.json")).unwrap();
        assert_eq!(golden.problems.len(), 4);
        for (n, problem) in golden.problems.iter().enumerate() {
            let found =
                second_opinion(&slices(&problem.curves), &problem.owners, &problem.group_of);
            let found = found.unwrap().agreement;
            let want = problem.adjusted_rand;
            assert!((found - want).abs() < 1e-9, "problem {n}: {found}, expected {want}");
        }
    }
}
