//! Which ids a search may return.

/// A set of ids a search is limited to (or kept from), prepared once and used for any number of
/// searches.
///
/// ```
/// use curve_index::IdFilter;
/// let own = IdFilter::only([3, 1]);
/// assert!(own.lets_through(3) && !own.lets_through(2));
/// let others = IdFilter::except([3, 1]);
/// assert!(!others.lets_through(3) && others.lets_through(2));
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IdFilter {
    /// Ascending, no doubles.
    ids: Vec<u64>,
    listed_pass: bool,
}

impl IdFilter {
    /// Only these ids. Ids the index does not hold do no harm. O(n log n).
    #[must_use]
    pub fn only(ids: impl IntoIterator<Item = u64>) -> Self {
        Self::new(ids, true)
    }

    /// All ids but these.
    #[must_use]
    pub fn except(ids: impl IntoIterator<Item = u64>) -> Self {
        Self::new(ids, false)
    }

    fn new(ids: impl IntoIterator<Item = u64>, listed_pass: bool) -> Self {
        let mut ids: Vec<u64> = ids.into_iter().collect();
        ids.sort_unstable();
        ids.dedup();
        Self { ids, listed_pass }
    }

    /// Whether curves with this id may be returned.
    #[must_use]
    pub fn lets_through(&self, id: u64) -> bool {
        self.ids.binary_search(&id).is_ok() == self.listed_pass
    }
}
