//! Distances between all pairs of a squad's serves.

use std::sync::atomic::{AtomicUsize, Ordering};

use curve_index::{Curve, IdFilter, Index, Nearest, Shape, ValidDtwParams};
use rayon::prelude::*;

use crate::work::{Stage, Stopped, Watch};

/// Distances between all pairs of `n` serves, symmetric, 0 on the diagonal.
///
/// Kept as a full square of `f32`, so that every pass of a grouping reads whole rows in order:
/// 4 n^2 bytes, 400 MB for 10,000 serves.
#[derive(Debug, Clone, PartialEq)]
pub struct Distances {
    n: usize,
    square: Vec<f32>,
}

impl Distances {
    /// From a condensed matrix: (0,1), (0,2) ... (0,n-1), (1,2) ...; distances are roots
    /// (metre-like), not squares.
    ///
    /// # Errors
    /// If the length is not `n (n - 1) / 2`, or a distance is negative or not finite.
    pub fn new(n: usize, condensed: &[f32]) -> Result<Self, DistancesError> {
        let expected = n * n.saturating_sub(1) / 2;
        if condensed.len() != expected {
            return Err(DistancesError::Length { n, expected, found: condensed.len() });
        }
        if let Some(position) = condensed.iter().position(|d| !(d.is_finite() && *d >= 0.0)) {
            return Err(DistancesError::Value { position, found: condensed[position] });
        }
        let mut square = vec![0.0; n * n];
        let mut values = condensed.iter();
        for row in 0..n {
            for (place, value) in (row * n + row + 1..(row + 1) * n).zip(&mut values) {
                square[place] = *value;
            }
        }
        mirror(&mut square, n);
        Ok(Self { n, square })
    }

    /// Exact DTW distances between all pairs of curves, in ordinary spreads: the root of the cost
    /// over frames and weights, as [`crate::matcher::Precedent::spreads_apart`].
    ///
    /// `watch` is told, from any thread, how many of how many pairs are done. Nothing is pruned here: groups and silhouettes ask for every distance. Each
    /// row is one range query without a limit, which aligns eight curves at a time; the distances
    /// do not depend on that nor on the number of threads. O(n^2) alignments.
    ///
    /// # Errors
    /// [`DistancesError::Stopped`]; [`DistancesError::Curves`] if a curve does not fit.
    pub fn measure(
        curves: &[Curve<'_>],
        params: &ValidDtwParams,
        watch: &Watch,
    ) -> Result<Self, DistancesError> {
        let n = curves.len();
        if n < 2 {
            return Ok(Self { n, square: vec![0.0; n] });
        }
        let failed = |error: &dyn std::fmt::Display| DistancesError::Curves(error.to_string());
        let frames = curves[0].frames();
        let shape = Shape::new(frames, params.channels()).map_err(|e| failed(&e))?;
        let mut builder = Index::in_memory(shape);
        for (id, curve) in curves.iter().enumerate() {
            builder.push(id as u64, curve.values()).map_err(|e| failed(&e))?;
        }
        let index = builder.finish().map_err(|e| failed(&e))?;
        let per_cell = params.weights().iter().sum::<f64>() * frames as f64;
        let pairs = n * (n - 1) / 2;
        let done = AtomicUsize::new(0);
        // What no query answers stays NaN and is found out below.
        let mut square = vec![f32::NAN; n * n];
        // The first rows are the long ones: handed out one by one, nobody waits for a long tail.
        square.par_chunks_mut(n).enumerate().with_max_len(1).try_for_each(|(row, line)| {
            watch.check()?;
            line[row] = 0.0;
            let behind = n - row - 1;
            if behind > 0 {
                let others = IdFilter::only(row as u64 + 1..n as u64);
                let all = Nearest::new(params, usize::MAX).filter(&others);
                let found =
                    index.within(curves[row].values(), f64::MAX, &all).map_err(|e| failed(&e))?;
                for near in found.neighbours {
                    line[near.id as usize] = (near.cost / per_cell).sqrt() as f32;
                }
                let so_far = done.fetch_add(behind, Ordering::Relaxed) + behind;
                watch.step(Stage::Pairs, so_far, pairs)?;
            }
            Ok::<(), DistancesError>(())
        })?;
        mirror(&mut square, n);
        match square.iter().position(|d| !d.is_finite()) {
            Some(position) => Err(DistancesError::Value { position, found: square[position] }),
            None => Ok(Self { n, square }),
        }
    }

    /// Number of items.
    #[must_use]
    pub fn len(&self) -> usize {
        self.n
    }

    /// Whether there are no items.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.n == 0
    }

    /// Distance between items `a` and `b`; 0 for an item and itself.
    ///
    /// # Panics
    /// If `a` or `b` is not below [`Self::len`].
    #[must_use]
    pub fn between(&self, a: usize, b: usize) -> f32 {
        assert!(a < self.n && b < self.n, "items {a} and {b} of {}", self.n);
        self.square[a * self.n + b]
    }

    /// Distances from `item` to every item, in order.
    ///
    /// # Panics
    /// If `item` is not below [`Self::len`].
    #[must_use]
    pub fn row(&self, item: usize) -> &[f32] {
        &self.square[item * self.n..(item + 1) * self.n]
    }

    /// The matrix of some of the items, in the order given (an item may be named more than once).
    #[must_use]
    pub fn subset(&self, items: &[usize]) -> Self {
        let mut square = Vec::with_capacity(items.len() * items.len());
        for &a in items {
            let row = self.row(a);
            square.extend(items.iter().map(|&b| row[b]));
        }
        Self { n: items.len(), square }
    }
}

/// Copies the upper triangle into the lower one, block by block so that both stay in the cache.
fn mirror(square: &mut [f32], n: usize) {
    const BLOCK: usize = 64;
    for top in (0..n).step_by(BLOCK) {
        for left in (0..=top).step_by(BLOCK) {
            for row in top..(top + BLOCK).min(n) {
                for column in left..(left + BLOCK).min(row) {
                    square[row * n + column] = square[column * n + row];
                }
            }
        }
    }
}

/// Why distances were refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DistancesError {
    /// Wrong length.
    #[error(
        "condensed distances: {n} items have {expected} pairs, found {found}; pass one distance for each pair"
    )]
    Length {
        /// Items.
        n: usize,
        /// Pairs expected.
        expected: usize,
        /// Values found.
        found: usize,
    },
    /// Not a distance.
    #[error("distances: value {position} is {found}; distances are finite and not negative")]
    Value {
        /// Position in the array.
        position: usize,
        /// What is there.
        found: f32,
    },
    /// A curve that does not fit the others.
    #[error("distances: {0}")]
    Curves(String),
    /// The work was stopped before all distances were measured.
    #[error("{0}")]
    Stopped(#[from] Stopped),
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;

    #[test]
    fn rows_and_pairs_agree_with_the_square() {
        let n = 6;
        let square = |a: usize, b: usize| (a.min(b) * 10 + a.max(b)) as f32;
        let condensed: Vec<f32> =
            (0..n).flat_map(|a| (a + 1..n).map(move |b| square(a, b))).collect();
        let distances = Distances::new(n, &condensed).unwrap();
        for a in 0..n {
            let row = distances.row(a);
            for (b, &found) in row.iter().enumerate() {
                let want = if a == b { 0.0 } else { square(a, b) };
                assert_eq!(distances.between(a, b), want);
                assert_eq!(found, want);
            }
            assert_eq!(row.len(), n);
        }
        let part = distances.subset(&[4, 1]);
        assert_eq!(part.row(0), [0.0, square(1, 4)]);
    }

    #[test]
    fn wrong_input_is_named() {
        let error = Distances::new(3, &[1.0]).unwrap_err().to_string();
        assert!(error.contains("3 items have 3 pairs, found 1"), "{error}");
        let error = Distances::new(2, &[f32::NAN]).unwrap_err().to_string();
        assert!(error.contains("value 0 is NaN"), "{error}");
    }

    /// The way through the engine's range query gives the costs of the plain alignment.
    #[test]
    fn measured_distances_are_those_of_single_alignments() {
        let curves: Vec<Vec<f32>> = crate::simulator::curves(70, 4).collect();
        let curves: Vec<Curve<'_>> =
            curves.iter().map(|values| Curve::new(values, 12).unwrap()).collect();
        let params = curve_index::DtwParams::new(12).band_frames(10).check().unwrap();
        let told = Arc::new(AtomicUsize::new(0));
        let ear = Arc::clone(&told);
        let watch = Watch::default().hearing(move |progress| {
            ear.fetch_max(progress.done, Ordering::Relaxed);
        });
        let found = Distances::measure(&curves, &params, &watch).unwrap();
        assert_eq!(told.load(Ordering::Relaxed), 70 * 69 / 2);
        let mut scratch = curve_index::Scratch::default();
        for a in 0..70 {
            for b in 0..70 {
                let cost = curve_index::dtw(
                    curves[a.min(b)],
                    curves[a.max(b)],
                    &params,
                    f64::INFINITY,
                    &mut scratch,
                );
                let want = (cost.unwrap() / (12.0 * 101.0)).sqrt() as f32;
                assert_eq!(found.between(a, b), want, "{a} {b}");
            }
        }
        watch.stop();
        let stopped = Distances::measure(&curves, &params, &watch);
        assert_eq!(stopped, Err(DistancesError::Stopped(Stopped)));
    }
}
