//! Which pages a search has touched, and giving them back in time.

use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use crate::store::{Bytes, Segment};

/// A page that is asked for comes with those around it: on Linux all that lie in the same 64 KB and are
/// in the system's cache.
const WINDOW: usize = 1 << 16;

/// The windows of a mapped file that a search has touched, as far as curves and copies lie in them.
pub(super) struct Pages<'a> {
    segments: &'a [Segment],
    /// Address of the first.
    base: usize,
    /// A bit per window.
    touched: Vec<AtomicU64>,
    count: AtomicUsize,
    /// So many may be mapped.
    most: usize,
}

impl<'a> Pages<'a> {
    /// At most `bytes` may stay mapped; at least one window may. `None` for an index in memory.
    pub(super) fn new(segments: &'a [Segment], bytes: usize) -> Option<Self> {
        if !segments.iter().flat_map(Segment::bulk).all(Bytes::is_mapped) {
            return None;
        }
        let ranges = || {
            let sections = segments.iter().flat_map(Segment::bulk);
            sections.filter(|bytes| !bytes.is_empty()).map(|bytes| bytes.as_ptr_range())
        };
        let base = ranges().map(|range| range.start as usize).min().unwrap_or_default();
        let end = ranges().map(|range| range.end as usize).max().unwrap_or_default();
        let base = base / WINDOW * WINDOW;
        let words = (end - base).div_ceil(WINDOW).div_ceil(64);
        let touched = (0..words).map(|_| AtomicU64::new(0)).collect();
        let most = (bytes / WINDOW).max(1);
        Some(Self { segments, base, touched, count: AtomicUsize::new(0), most })
    }

    /// To be called before bytes of a curve or a copy are read.
    pub(super) fn touch(&self, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        let first = bytes.as_ptr() as usize - self.base;
        for window in first / WINDOW..=(first + bytes.len() - 1) / WINDOW {
            let (word, bit) = (&self.touched[window / 64], 1 << (window % 64));
            if word.load(Ordering::Relaxed) & bit == 0
                && word.fetch_or(bit, Ordering::Relaxed) & bit == 0
                && self.count.fetch_add(1, Ordering::Relaxed) >= self.most
            {
                // What others read meanwhile comes back as soon as they go on.
                self.release();
                word.fetch_or(bit, Ordering::Relaxed);
                self.count.fetch_add(1, Ordering::Relaxed);
            }
        }
    }

    fn release(&self) {
        self.touched.iter().for_each(|word| word.store(0, Ordering::Relaxed));
        self.count.store(0, Ordering::Relaxed);
        for bytes in self.segments.iter().flat_map(Segment::bulk) {
            // A system that keeps the pages has room for them.
            let _ = bytes.release();
        }
    }
}

impl Drop for Pages<'_> {
    fn drop(&mut self) {
        self.release();
    }
}
