//! One batch of curves, ready to be searched.

use std::path::Path;

use super::bytes::Bytes;
use super::errors::StoreError;
use super::format::{ALIGN, Kind, SegmentEntry};
use crate::params::{Curve, Shape};

/// Curves of one batch with their ids, and which of them were deleted since.
#[derive(Debug, Clone)]
pub(crate) struct Segment {
    shape: Shape,
    rows: usize,
    curves: Bytes,
    ids: Bytes,
    id_order: Bytes,
    /// One bit per row; empty where nothing was deleted.
    deleted: Vec<u64>,
    live: usize,
}

impl Segment {
    /// A segment of `ids.len()` rows from sections whose lengths agree.
    pub(crate) fn new(shape: Shape, curves: Bytes, ids: Bytes, id_order: Bytes) -> Self {
        let rows = ids.len() / 8;
        Self { shape, rows, curves, ids, id_order, deleted: Vec::new(), live: rows }
    }

    /// The segment a manifest entry describes. Everything that is later used as a place is checked
    /// against its checksum here; curves and sketches, which cannot lead astray, only by `verify`.
    pub(crate) fn open(
        path: &Path,
        file: &Bytes,
        shape: Shape,
        entry: &SegmentEntry,
    ) -> Result<Self, StoreError> {
        let damaged = |what| StoreError::Damaged { path: path.to_owned(), what };
        let section = |kind: Kind, what, len: Option<u64>, check: bool| {
            let Some(section) = entry.sections.iter().find(|one| one.kind == kind as u32) else {
                return Ok(None);
            };
            let end = section.at.checked_add(section.len).ok_or_else(|| damaged(what))?;
            if end > file.len() as u64
                || !section.at.is_multiple_of(ALIGN)
                || len.is_some_and(|len| len != section.len)
            {
                return Err(damaged(what));
            }
            let bytes = file.slice(section.at as usize..end as usize);
            if check && crc32fast::hash(&bytes) != section.crc {
                return Err(damaged(what));
            }
            Ok(Some(bytes))
        };
        let need = |bytes: Option<Bytes>, what| bytes.ok_or_else(|| damaged(what));
        let rows = entry.rows;
        let times = |size: u64| rows.checked_mul(size).ok_or_else(|| damaged("the manifest"));
        let curve_len = times(shape.values() as u64 * 4)?;
        let curves = section(Kind::Curves, "the curve section", Some(curve_len), false)?;
        let ids = section(Kind::Ids, "the id section", Some(times(8)?), true)?;
        let id_order = section(Kind::IdOrder, "the id order section", Some(times(4)?), true)?;
        let deleted =
            section(Kind::Deleted, "the deletion section", Some(rows.div_ceil(64) * 8), true)?;
        let mut segment = Self::new(
            shape,
            need(curves, "the curve section")?,
            need(ids, "the id section")?,
            need(id_order, "the id order section")?,
        );
        if let Some(deleted) = deleted {
            segment.set_deleted(deleted.numbers().to_vec());
        }
        Ok(segment)
    }

    /// Rows, deleted ones included.
    pub(crate) fn rows(&self) -> usize {
        self.rows
    }

    /// Rows that count.
    pub(crate) fn live(&self) -> usize {
        self.live
    }

    pub(crate) fn ids(&self) -> &[u64] {
        self.ids.numbers()
    }

    /// Row numbers in ascending order of id.
    pub(crate) fn id_order(&self) -> &[u32] {
        self.id_order.numbers()
    }

    pub(crate) fn is_live(&self, row: usize) -> bool {
        self.deleted.get(row / 64).is_none_or(|word| word >> (row % 64) & 1 == 0)
    }

    pub(crate) fn curve(&self, row: usize) -> Curve<'_> {
        let values = self.shape.values();
        let all: &[f32] = self.curves.numbers();
        Curve::trusted(&all[row * values..(row + 1) * values], self.shape.channels())
    }

    /// The live row with this id.
    pub(crate) fn row_of(&self, id: u64) -> Option<usize> {
        let (ids, order) = (self.ids(), self.id_order());
        let at = order.partition_point(|&row| ids[row as usize] < id);
        let row = *order.get(at)? as usize;
        (ids[row] == id && self.is_live(row)).then_some(row)
    }

    /// The deletion bits with `rows` added.
    pub(crate) fn deleted_with(&self, rows: &[usize]) -> Vec<u64> {
        let mut bits = self.deleted.clone();
        bits.resize(self.rows.div_ceil(64), 0);
        for &row in rows {
            bits[row / 64] |= 1 << (row % 64);
        }
        bits
    }

    pub(crate) fn set_deleted(&mut self, bits: Vec<u64>) {
        let gone: usize = bits.iter().map(|word| word.count_ones() as usize).sum();
        self.live = self.rows.saturating_sub(gone);
        self.deleted = bits;
    }
}
