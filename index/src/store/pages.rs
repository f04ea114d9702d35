//! Which pages of a mapped file searches have touched, and giving them back in time.

use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use super::{Bytes, Segment};

/// A page that is asked for comes with those around it: on Linux all of the same 64 KB that are in the
/// system's cache, or, from 6.18 on, of the same large page of it, which may be of 2 MB.
const WINDOW: usize = 1 << 21;

/// So many bytes of curves and coarse copies stay mapped where nothing else is said: about 64 MB with what lists
/// and a search's own memory take,
const USUAL: usize = 60 << 20;
/// which is so many bytes per curve,
const USUAL_LESS: usize = 56;
/// unless the curves are too many.
const USUAL_LEAST: usize = 6 << 20;

/// The windows of a mapped file that searches have touched, as far as curves and copies lie in them, since
/// they were last given back. The system may have taken some of them meanwhile.
#[derive(Debug)]
pub(crate) struct Pages {
    /// Address of the first.
    base: usize,
    /// A bit per window.
    touched: Vec<AtomicU64>,
    count: AtomicUsize,
    /// So many may be mapped where nothing else is said.
    usual: usize,
}

impl Pages {
    /// Of segments that lie in one file; `None` where they do not, or hold nothing.
    pub(crate) fn new(segments: &[Segment]) -> Option<Self> {
        let sections = || segments.iter().flat_map(Segment::bulk).filter(|bytes| !bytes.is_empty());
        if !sections().all(Bytes::is_mapped) {
            return None;
        }
        let base = sections().map(|bytes| bytes.as_ptr_range().start as usize).min()?;
        let end = sections().map(|bytes| bytes.as_ptr_range().end as usize).max()?;
        let base = base / WINDOW * WINDOW;
        let words = (end - base).div_ceil(WINDOW).div_ceil(64);
        let touched = (0..words).map(|_| AtomicU64::new(0)).collect();
        let rows: usize = segments.iter().map(Segment::rows).sum();
        let usual = USUAL.saturating_sub(rows.saturating_mul(USUAL_LESS)).max(USUAL_LEAST);
        Some(Self { base, touched, count: AtomicUsize::new(0), usual: usual / WINDOW })
    }

    /// Whether more than may be (`most` bytes, or as usual) are mapped.
    pub(crate) fn too_many(&self, most: Option<usize>) -> bool {
        self.count.load(Ordering::Relaxed) > self.most(most)
    }

    fn most(&self, most: Option<usize>) -> usize {
        most.map_or(self.usual, |bytes| (bytes / WINDOW).max(1))
    }

    /// To be called before bytes of a curve or a copy are read: whether as many as may be are mapped,
    /// and have to be given back first.
    pub(crate) fn touch(&self, bytes: &[u8], most: Option<usize>) -> bool {
        if bytes.is_empty() {
            return false;
        }
        let most = self.most(most);
        let first = bytes.as_ptr() as usize - self.base;
        let mut full = false;
        for window in first / WINDOW..=(first + bytes.len() - 1) / WINDOW {
            let (word, bit) = (&self.touched[window / 64], 1 << (window % 64));
            full |= word.load(Ordering::Relaxed) & bit == 0
                && word.fetch_or(bit, Ordering::Relaxed) & bit == 0
                && self.count.fetch_add(1, Ordering::Relaxed) >= most;
        }
        full
    }

    /// From here on all may be mapped.
    pub(crate) fn count_all(&self) {
        self.count.store(64 * self.touched.len(), Ordering::Relaxed);
    }

    /// Forgets what was touched: it is being given back.
    pub(crate) fn forget(&self) {
        self.touched.iter().for_each(|word| word.store(0, Ordering::Relaxed));
        self.count.store(0, Ordering::Relaxed);
    }
}
