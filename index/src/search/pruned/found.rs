//! Curves still in the running, and the best of those compared.

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use super::tables::SLACK;
use crate::params::Neighbour;
use crate::search::top::Top;

/// A curve still in the running.
#[derive(Debug, Clone, Copy)]
pub(super) struct Found {
    /// A lower bound of its cost, rounded to `f32`; for order and for a stop with room for the rounding.
    pub(super) bound: f32,
    pub(super) segment: u32,
    pub(super) place: u32,
}

/// By bound, ties by place, so that the order is no accident.
pub(super) fn by_bound(a: &Found, b: &Found) -> std::cmp::Ordering {
    a.bound.total_cmp(&b.bound).then((a.segment, a.place).cmp(&(b.segment, b.place)))
}

/// Curves compared already.
pub(super) struct Done {
    /// Ascending.
    places: Vec<(u32, u32)>,
    /// Whether the bit of a place's lowest ten bits is set, for a quick no.
    bits: [u64; 16],
}

impl Done {
    pub(super) fn new(curves: &[Found]) -> Self {
        let mut places: Vec<(u32, u32)> =
            curves.iter().map(|one| (one.segment, one.place)).collect();
        places.sort_unstable();
        let mut bits = [0; 16];
        for (_, place) in &places {
            bits[(place / 64 % 16) as usize] |= 1 << (place % 64);
        }
        Self { places, bits }
    }

    pub(super) fn holds(&self, one: &Found) -> bool {
        self.bits[(one.place / 64 % 16) as usize] >> (one.place % 64) & 1 == 1
            && self.places.binary_search(&(one.segment, one.place)).is_ok()
    }
}

/// The k best so far, shared by all threads.
pub(super) struct Best {
    top: Mutex<Top>,
    /// The cutoff's bits; costs are not negative, so bits order as numbers do.
    cutoff: AtomicU64,
}

impl Best {
    pub(super) fn new(k: usize, max_cost: f64) -> Self {
        let top = Top::new(k, max_cost);
        let cutoff = AtomicU64::new(top.cutoff().to_bits());
        Self { top: Mutex::new(top), cutoff }
    }

    pub(super) fn into_sorted(self) -> Vec<Neighbour> {
        self.top.into_inner().unwrap_or_else(PoisonError::into_inner).into_sorted()
    }

    pub(super) fn cutoff(&self) -> f64 {
        f64::from_bits(self.cutoff.load(Ordering::Relaxed))
    }

    pub(super) fn offer(&self, found: &[Neighbour]) {
        let mut top = self.top.lock().unwrap_or_else(PoisonError::into_inner);
        found.iter().for_each(|&one| top.offer(one));
        self.cutoff.store(top.cutoff().to_bits(), Ordering::Relaxed);
    }
}

/// An integer bound as a cost; where `f32` runs out, something lower.
pub(super) fn as_cost(bound: f64, scale: f64) -> f32 {
    let cost = bound / scale;
    // Subnormal numbers would round by more than `ruled_out` allows for.
    if cost < f64::from(f32::MIN_POSITIVE) { 0.0 } else { cost.min(f64::from(f32::MAX)) as f32 }
}

/// Whether a bound rules out a curve; the bound may have been rounded up to the next `f32`.
pub(super) fn ruled_out(bound: f32, cutoff: f64) -> bool {
    f64::from(bound) * (1.0 - 1e-6) > cutoff * (1.0 + SLACK)
}
