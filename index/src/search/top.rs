//! The best so far.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use crate::params::Neighbour;

/// A neighbour in order of (cost, id); costs are never NaN.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Entry(Neighbour);

impl Eq for Entry {}

impl PartialOrd for Entry {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Entry {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.cost.total_cmp(&other.0.cost).then(self.0.id.cmp(&other.0.id))
    }
}

/// The `k` smallest (cost, id) seen, none above a given cost.
#[derive(Debug, Clone)]
pub(crate) struct Top {
    k: usize,
    max_cost: f64,
    heap: BinaryHeap<Entry>,
}

impl Top {
    pub(crate) fn new(k: usize, max_cost: f64) -> Self {
        Self { k, max_cost, heap: BinaryHeap::new() }
    }

    /// A curve that costs more cannot come in any more; one that costs as much still may, through a
    /// smaller id.
    pub(crate) fn cutoff(&self) -> f64 {
        match self.heap.peek() {
            Some(worst) if self.heap.len() >= self.k => worst.0.cost.min(self.max_cost),
            _ => self.max_cost,
        }
    }

    pub(crate) fn offer(&mut self, found: Neighbour) {
        if self.k == 0 || found.cost > self.max_cost {
            return;
        }
        let entry = Entry(found);
        if self.heap.len() < self.k {
            self.heap.push(entry);
        } else if let Some(mut worst) = self.heap.peek_mut()
            && entry < *worst
        {
            *worst = entry;
        }
    }

    pub(crate) fn absorb(&mut self, other: Self) {
        for entry in other.heap {
            self.offer(entry.0);
        }
    }

    /// Nearest first, ties to the smaller id.
    pub(crate) fn into_sorted(self) -> Vec<Neighbour> {
        self.heap.into_sorted_vec().into_iter().map(|entry| entry.0).collect()
    }
}
