//! Who serves like whom, as a tree of players.

use rayon::prelude::*;
use serde::Serialize;

use super::Distances;

/// Two branches that meet.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Join {
    /// First branch: a leaf (below the number of leaves), or that number plus an earlier join.
    pub first: usize,
    /// Second branch, likewise.
    pub second: usize,
    /// Mean distance between their players, in the unit of the distances.
    pub distance: f64,
    /// Players under it.
    pub size: usize,
}

/// A tree of players.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tree {
    /// Number of leaves: players, numbered as in `owners`.
    pub leaves: usize,
    /// Joins, nearest first; one fewer than leaves.
    pub joins: Vec<Join>,
}

/// A part of a tree to be drawn as one leaf.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Branch {
    /// Node: a leaf or a join, numbered as in [`Join::first`].
    pub node: usize,
    /// Its players.
    pub players: Vec<usize>,
}

/// Average linkage over players (Sokal & Michener 1958): the distance between two players is the
/// mean over all pairs of their serves, between two branches the mean over pairs of players, so
/// every player has one vote. O(n^2) for `n` serves.
///
/// # Panics
/// If `owners` has another length than there are items, or leaves out a number.
#[must_use]
pub fn tree(distances: &Distances, owners: &[usize]) -> Tree {
    assert_eq!(owners.len(), distances.len(), "one owner for each serve");
    let players = owners.iter().max().map_or(0, |most| most + 1);
    let mut serves_of = vec![Vec::new(); players];
    for (item, &owner) in owners.iter().enumerate() {
        serves_of[owner].push(item);
    }
    assert!(serves_of.iter().all(|serves| !serves.is_empty()), "a player without a serve");
    let between = |a: usize, b: usize| -> f64 {
        let mut sum = 0.0;
        for &item in &serves_of[a] {
            let row = distances.row(item);
            sum += serves_of[b].iter().map(|&other| f64::from(row[other])).sum::<f64>();
        }
        sum / (serves_of[a].len() * serves_of[b].len()) as f64
    };
    let mut condensed: Vec<f64> = (0..players)
        .into_par_iter()
        .flat_map_iter(|a| (a + 1..players).map(move |b| (a, b)))
        .map(|(a, b)| between(a, b))
        .collect();
    if players < 2 {
        return Tree { leaves: players, joins: Vec::new() };
    }
    let steps = kodama::linkage(&mut condensed, players, kodama::Method::Average);
    let joins = steps
        .steps()
        .iter()
        .map(|step| Join {
            first: step.cluster1,
            second: step.cluster2,
            distance: step.dissimilarity,
            size: step.size,
        })
        .collect();
    Tree { leaves: players, joins }
}

impl Tree {
    /// The tree cut into at most `most` twigs (at least one), in the order in which they lie side
    /// by side when the tree is drawn; each keeps its players together.
    #[must_use]
    pub fn branches(&self, most: usize) -> Vec<Branch> {
        // The last joins are the highest; those above the cut are opened.
        let open_from = (self.leaves + self.joins.len()).saturating_sub(most.max(1) - 1);
        let mut branches = Vec::new();
        let mut todo: Vec<usize> = if self.leaves == 0 { vec![] } else { vec![self.root()] };
        while let Some(node) = todo.pop() {
            match self.join(node) {
                Some(join) if node >= open_from.max(self.leaves) => {
                    todo.extend([join.second, join.first]);
                }
                _ => branches.push(Branch { node, players: self.under(node) }),
            }
        }
        branches
    }

    /// The node all players are under.
    #[must_use]
    pub fn root(&self) -> usize {
        (self.leaves + self.joins.len()).saturating_sub(1)
    }

    /// The join a node stands for; `None` for a leaf.
    #[must_use]
    pub fn join(&self, node: usize) -> Option<&Join> {
        node.checked_sub(self.leaves).and_then(|at| self.joins.get(at))
    }

    fn under(&self, node: usize) -> Vec<usize> {
        let mut players = Vec::new();
        let mut todo = vec![node];
        while let Some(node) = todo.pop() {
            match self.join(node) {
                Some(join) => todo.extend([join.second, join.first]),
                None => players.push(node),
            }
        }
        players
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy on a seeded matrix: `golden/academy.py` (versions in the file).
    #[test]
    fn agrees_with_scipy() {
        #[derive(serde::Deserialize)]
        struct Golden {
            tree: Problem,
        }
        #[derive(serde::Deserialize)]
        struct Problem {
            n: usize,
            condensed: Vec<f32>,
            steps: Vec<(usize, usize, f64, usize)>,
        }
        let golden: Golden = serde_json::from_str(include_str!("golden/academy.json")).unwrap();
        let problem = golden.tree;
        let distances = Distances::new(problem.n, &problem.condensed).unwrap();
        let owners: Vec<usize> = (0..problem.n).collect();
        let found = tree(&distances, &owners);
        assert_eq!(found.joins.len(), problem.steps.len());
        for (join, step) in found.joins.iter().zip(problem.steps) {
            assert_eq!((join.first, join.second, join.size), (step.0, step.1, step.3));
            assert!((join.distance - step.2).abs() < 1e-6, "{join:?} {step:?}");
        }
        let whole = found.branches(problem.n);
        assert_eq!(whole.len(), problem.n);
        let cut = found.branches(4);
        assert_eq!(cut.len(), 4);
        let flat = |branches: &[Branch]| -> Vec<usize> {
            branches.iter().flat_map(|branch| branch.players.clone()).collect()
        };
        assert_eq!(flat(&whole), flat(&cut), "the order does not depend on the cut");
        let mut all = flat(&cut);
        all.sort_unstable();
        assert_eq!(all, owners);
    }

    #[test]
    fn many_serves_of_a_player_are_one_leaf() {
        // Two players on a line: serves at 0 and 2, and one at 11: mean of 11 and 9.
        let distances = Distances::new(3, &[2.0, 11.0, 9.0]).unwrap();
        let found = tree(&distances, &[0, 0, 1]);
        assert_eq!(found.joins, [Join { first: 0, second: 1, distance: 10.0, size: 2 }]);
        let alone = tree(&Distances::new(1, &[]).unwrap(), &[0]);
        assert_eq!((alone.leaves, alone.joins.len()), (1, 0));
        assert_eq!(alone.branches(5), [Branch { node: 0, players: vec![0] }]);
        assert!(tree(&Distances::new(0, &[]).unwrap(), &[]).branches(5).is_empty());
    }
}
