/// Distances between all pairs of `n` serves, condensed: (0,1), (0,2) ... (0,n-1), (1,2) ...
#[derive(Debug, Clone, PartialEq)]
pub struct Distances {
    n: usize,
    condensed: Vec<f32>,
}

impl Distances {
    /// Wraps a condensed matrix of `n` items; distances are roots (metre-like), not squares.
    ///
    /// # Errors
    /// If the length is not `n (n - 1) / 2`, or a distance is negative or not finite.
    pub fn new(n: usize, condensed: Vec<f32>) -> Result<Self, DistancesError> {
        let expected = n * n.saturating_sub(1) / 2;
        if condensed.len() != expected {
            return Err(DistancesError::Length { n, expected, found: condensed.len() });
        }
        if let Some(position) = condensed.iter().position(|d| !(d.is_finite() && *d >= 0.0)) {
            return Err(DistancesError::Value { position, found: condensed[position] });
        }
        Ok(Self { n, condensed })
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
        if a == b {
            return 0.0;
        }
        let (low, high) = if a < b { (a, b) } else { (b, a) };
        self.condensed[self.row_start(low) + high - low - 1]
    }

    /// The condensed values.
    #[must_use]
    pub fn condensed(&self) -> &[f32] {
        &self.condensed
    }

    /// Distances from `item` to every item, in order, written into `row`.
    pub fn fill_row(&self, item: usize, row: &mut Vec<f32>) {
        row.clear();
        // Column part: (0,item), (1,item) ... lie one shrinking row apart.
        let mut position = item.wrapping_sub(1);
        for other in 0..item {
            row.push(self.condensed[position]);
            position += self.n - other - 2;
        }
        row.push(0.0);
        if item + 1 < self.n {
            let start = self.row_start(item);
            row.extend_from_slice(&self.condensed[start..start + self.n - item - 1]);
        }
    }

    /// The matrix of some of the items, in the order given (an item may be named more than once).
    #[must_use]
    pub fn subset(&self, items: &[usize]) -> Self {
        let mut condensed = Vec::with_capacity(items.len() * items.len().saturating_sub(1) / 2);
        for (k, &a) in items.iter().enumerate() {
            condensed.extend(items[k + 1..].iter().map(|&b| self.between(a, b)));
        }
        Self { n: items.len(), condensed }
    }

    fn row_start(&self, row: usize) -> usize {
        row * self.n - row * (row + 1) / 2
    }
}

/// Why a condensed matrix was refused.
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
    #[error(
        "condensed distances: value {position} is {found}; distances are finite and not negative"
    )]
    Value {
        /// Position in the condensed array.
        position: usize,
        /// What is there.
        found: f32,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_and_pairs_agree_with_the_square() {
        let n = 6;
        let square = |a: usize, b: usize| (a.min(b) * 10 + a.max(b)) as f32;
        let condensed: Vec<f32> =
            (0..n).flat_map(|a| (a + 1..n).map(move |b| square(a, b))).collect();
        let distances = Distances::new(n, condensed).unwrap();
        let mut row = Vec::new();
        for a in 0..n {
            distances.fill_row(a, &mut row);
            for (b, &found) in row.iter().enumerate() {
                let want = if a == b { 0.0 } else { square(a, b) };
                assert_eq!(distances.between(a, b), want);
                assert_eq!(found, want);
            }
            assert_eq!(row.len(), n);
        }
        let part = distances.subset(&[4, 1]);
        assert_eq!(part.condensed(), &[square(1, 4)]);
    }

    #[test]
    fn wrong_input_is_named() {
        let error = Distances::new(3, vec![1.0]).unwrap_err().to_string();
        assert!(error.contains("3 items have 3 pairs, found 1"), "{error}");
        let error = Distances::new(2, vec![f32::NAN]).unwrap_err().to_string();
        assert!(error.contains("value 0 is NaN"), "{error}");
    }
}
