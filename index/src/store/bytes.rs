//! Read-only bytes, mapped from a file or owned, aligned for the numbers inside.

use std::ops::{Deref, Range};
use std::sync::Arc;

use memmap2::Mmap;

/// One cache line; owned bytes are kept in these so that vector loads stay inside lines.
#[derive(Debug, Clone, Copy)]
#[repr(C, align(64))]
pub(crate) struct Line([u8; 64]);

// SAFETY: 64 plain bytes, every pattern of which is valid, zero included.
unsafe impl bytemuck::Zeroable for Line {}
// SAFETY: as above; size equals alignment, so there is no padding.
unsafe impl bytemuck::Pod for Line {}

/// A section of an index: bytes that never change once written.
#[derive(Debug, Clone)]
pub(crate) enum Bytes {
    /// Part of a mapped file.
    Mapped(Arc<Mmap>, Range<usize>),
    /// Cache lines in memory, the first `usize` bytes of them.
    Lines(Arc<Vec<Line>>, Range<usize>),
    /// Curves in memory.
    Values(Arc<Vec<f32>>),
}

impl Bytes {
    /// Copies `bytes` into aligned memory.
    pub(crate) fn copy(bytes: &[u8]) -> Self {
        let mut lines = vec![Line([0; 64]); bytes.len().div_ceil(64)];
        bytemuck::cast_slice_mut(&mut lines)[..bytes.len()].copy_from_slice(bytes);
        Self::Lines(Arc::new(lines), 0..bytes.len())
    }

    /// A part of these bytes, sharing them.
    ///
    /// The caller has checked that `range` lies inside; curves in memory are never cut.
    pub(crate) fn slice(&self, range: Range<usize>) -> Self {
        debug_assert!(range.end <= self.len());
        match self {
            Self::Mapped(map, own) => {
                Self::Mapped(map.clone(), own.start + range.start..own.start + range.end)
            }
            Self::Lines(lines, own) => {
                Self::Lines(lines.clone(), own.start + range.start..own.start + range.end)
            }
            Self::Values(_) => Self::copy(&self[range]),
        }
    }

    /// Whether these bytes are part of a mapped file.
    pub(crate) fn is_mapped(&self) -> bool {
        matches!(self, Self::Mapped(..))
    }

    /// Gives the pages these bytes lie on back to the system, where they are part of a mapped file.
    pub(crate) fn release(&self) -> std::io::Result<()> {
        match self {
            Self::Mapped(map, range) => release(map, range.clone()),
            _ => Ok(()),
        }
    }

    /// The same for the whole file.
    pub(crate) fn release_file(&self) -> std::io::Result<()> {
        match self {
            Self::Mapped(map, _) => release(map, 0..map.len()),
            _ => Ok(()),
        }
    }

    /// The bytes as numbers; sections start at multiples of 64 bytes, so they are aligned.
    pub(crate) fn numbers<T: bytemuck::Pod>(&self) -> &[T] {
        bytemuck::cast_slice(self)
    }
}

#[cfg(unix)]
fn release(map: &Mmap, range: Range<usize>) -> std::io::Result<()> {
    // SAFETY: the map is shared and only read, so that its pages hold what the file holds; whoever reads on
    // has them mapped again.
    unsafe {
        map.unchecked_advise_range(memmap2::UncheckedAdvice::DontNeed, range.start, range.len())
    }
}

#[cfg(not(unix))]
fn release(_map: &Mmap, _range: Range<usize>) -> std::io::Result<()> {
    Ok(())
}

impl Deref for Bytes {
    type Target = [u8];

    fn deref(&self) -> &[u8] {
        match self {
            Self::Mapped(map, range) => &map[range.clone()],
            Self::Lines(lines, range) => &bytemuck::cast_slice(lines.as_slice())[range.clone()],
            Self::Values(values) => bytemuck::cast_slice(values.as_slice()),
        }
    }
}
