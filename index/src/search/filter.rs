//! Which ids a search may return.

use std::sync::{Arc, Mutex, PoisonError};

use crate::sketch::GROUP;
use crate::store::{Index, Segment};

/// A set of ids a search is limited to (or kept from), prepared once and used for any number of
/// searches.
///
/// The first search of an index looks the ids up and keeps what it found here, so later searches of
/// the same state of that index spare the look-up.
///
/// ```
/// use curve_index::IdFilter;
/// let own = IdFilter::only([3, 1]);
/// assert!(own.lets_through(3) && !own.lets_through(2));
/// let others = IdFilter::except([3, 1]);
/// assert!(!others.lets_through(3) && others.lets_through(2));
/// ```
#[derive(Debug)]
pub struct IdFilter {
    /// Ascending, no doubles.
    ids: Vec<u64>,
    listed_pass: bool,
    resolved: Mutex<Option<Arc<Resolved>>>,
}

/// A filter in the places of one state of one index.
#[derive(Debug)]
pub(crate) struct Resolved {
    state: u64,
    /// Live curves that pass.
    pub(crate) passing: usize,
    /// Per segment.
    pub(crate) segments: Vec<Places>,
}

/// Places of one segment that pass, one bit each.
#[derive(Debug)]
pub(crate) struct Places(Vec<u16>);

impl Places {
    pub(crate) fn passes(&self, place: usize) -> bool {
        self.0[place / GROUP] >> (place % GROUP) & 1 == 1
    }

    /// The places of a group that pass, one bit each.
    pub(crate) fn lanes(&self, group: u32) -> u32 {
        u32::from(self.0[group as usize])
    }
}

impl Resolved {
    /// Live curves with ids behind `id`. O(n).
    pub(crate) fn behind(index: &Index, id: u64) -> Self {
        let mut passing = 0;
        let places = index.parts().iter().map(|segment| {
            let mut bits = vec![0_u16; segment.rows().div_ceil(GROUP)];
            for (row, (&own, &place)) in segment.ids().iter().zip(segment.places()).enumerate() {
                if own > id && segment.is_live(row) {
                    bits[place as usize / GROUP] |= 1 << (place as usize % GROUP);
                    passing += 1;
                }
            }
            Places(bits)
        });
        let segments = places.collect();
        Self { state: index.state(), passing, segments }
    }
}

impl Clone for IdFilter {
    fn clone(&self) -> Self {
        Self { ids: self.ids.clone(), listed_pass: self.listed_pass, resolved: Mutex::default() }
    }
}

impl PartialEq for IdFilter {
    fn eq(&self, other: &Self) -> bool {
        self.ids == other.ids && self.listed_pass == other.listed_pass
    }
}

impl Eq for IdFilter {}

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
        Self { ids, listed_pass, resolved: Mutex::default() }
    }

    /// Whether curves with this id may be returned.
    #[must_use]
    pub fn lets_through(&self, id: u64) -> bool {
        self.ids.binary_search(&id).is_ok() == self.listed_pass
    }

    /// The filter in the places of `index`.
    pub(crate) fn resolve(&self, index: &Index) -> Arc<Resolved> {
        let mut kept = self.resolved.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(resolved) = kept.as_ref().filter(|resolved| resolved.state == index.state()) {
            return resolved.clone();
        }
        let segments: Vec<Places> =
            index.parts().iter().map(|segment| self.places(segment)).collect();
        let ones =
            |places: &Places| places.0.iter().map(|w| w.count_ones() as usize).sum::<usize>();
        let passing = segments.iter().map(ones).sum();
        let resolved = Arc::new(Resolved { state: index.state(), passing, segments });
        *kept = Some(resolved.clone());
        resolved
    }

    fn places(&self, segment: &Segment) -> Places {
        let groups = segment.rows().div_ceil(GROUP);
        let places = segment.places();
        let mut bits = vec![0_u16; groups];
        if !self.listed_pass {
            for row in (0..segment.rows()).filter(|&row| segment.is_live(row)) {
                let place = places[row] as usize;
                bits[place / GROUP] |= 1 << (place % GROUP);
            }
        }
        let mut found = |row: usize| {
            if segment.is_live(row) {
                let place = places[row] as usize;
                bits[place / GROUP] ^= 1 << (place % GROUP);
            }
        };
        if self.ids.len() < segment.rows() / 16 {
            self.ids.iter().filter_map(|&id| segment.row_of(id)).for_each(&mut found);
        } else {
            // Both ascend: walk them side by side.
            let ids = segment.ids();
            let mut listed = self.ids.iter().copied().peekable();
            for &row in segment.id_order() {
                let id = ids[row as usize];
                while listed.next_if(|&next| next < id).is_some() {}
                if listed.peek() == Some(&id) {
                    found(row as usize);
                }
            }
        }
        Places(bits)
    }
}
