//! One batch of curves, ready to be searched.

use std::cmp::Ordering;
use std::path::Path;
use std::sync::Arc;

use super::bytes::Bytes;
use super::errors::StoreError;
use super::format::{ALIGN, Kind, MAX_ROWS, SegmentEntry};
use crate::lanes::LINE;
use crate::params::Curve;
use crate::sketch::{BLOCK, GROUP, Layout, Quantiser, Sections};

/// Curves of one batch with their ids, sketches, and which of them were deleted since.
#[derive(Debug, Clone)]
pub(crate) struct Segment {
    layout: Arc<Layout>,
    rows: usize,
    quantiser: Quantiser,
    parts: Parts,
    /// Place where each cluster begins, and behind them the number of places; empty where there are none.
    cluster_bounds: Vec<u32>,
    /// One bit per row; empty where nothing was deleted.
    deleted: Vec<u64>,
    live: usize,
}

/// The sections of a segment; see [`Kind`].
#[derive(Debug, Clone)]
pub(crate) struct Parts {
    pub(crate) curves: Bytes,
    pub(crate) ids: Bytes,
    pub(crate) id_order: Bytes,
    pub(crate) order: Bytes,
    pub(crate) places: Bytes,
    pub(crate) block_boxes: Bytes,
    pub(crate) group_boxes: Bytes,
    pub(crate) sketches: Bytes,
    pub(crate) coarse: Bytes,
    /// Older files have none.
    /// Likewise.
    pub(crate) clusters: Option<ClusterParts>,
}

/// The sections about clusters.
#[derive(Debug, Clone)]
pub(crate) struct ClusterParts {
    pub(crate) starts: Bytes,
    pub(crate) representatives: Bytes,
    pub(crate) reach_steps: Bytes,
    pub(crate) reaches: Bytes,
    pub(crate) widest: Bytes,
}

/// Clusters of a segment; all bytes are cluster by cluster or place by place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Clusters<'a> {
    /// Place where each begins, and behind them the number of places.
    pub(crate) bounds: &'a [u32],
    /// Coarse codes, read as the middles of their steps.
    pub(crate) representatives: &'a [u8],
    pub(crate) reach_steps: &'a [f64],
    pub(crate) reaches: &'a [u8],
    pub(crate) widest: &'a [u8],
}

impl Segment {
    /// A segment from sections whose lengths agree.
    pub(crate) fn new(layout: Arc<Layout>, quantiser: Quantiser, parts: Parts) -> Self {
        let rows = parts.ids.len() / 8;
        let cluster_bounds =
            parts.clusters.as_ref().map(|parts| bounds(parts.starts.numbers(), rows));
        let cluster_bounds = cluster_bounds.unwrap_or_default();
        Self { layout, rows, quantiser, parts, cluster_bounds, deleted: Vec::new(), live: rows }
    }

    /// The segment a manifest entry describes. Everything that is later used as a place is checked
    /// here, against its checksum and its limits; curves and sketches, which cannot lead astray, only
    /// by `verify`.
    pub(crate) fn open(
        path: &Path,
        file: &Bytes,
        layout: &Arc<Layout>,
        entry: &SegmentEntry,
    ) -> Result<Self, StoreError> {
        let damaged = |what| StoreError::Damaged { path: path.to_owned(), what };
        let section = |kind: Kind, len: Option<u64>, check: bool| {
            let what = Kind::name(kind as u32);
            let Some(section) = entry.sections.iter().find(|one| one.kind == kind as u32) else {
                return Ok(None);
            };
            let end = section.at.checked_add(section.len).ok_or_else(|| damaged(what))?;
            if end > file.len() as u64
                || !section.at.is_multiple_of(ALIGN)
                || len != Some(section.len)
                || (check && section.whole(file).is_none())
            {
                return Err(damaged(what));
            }
            Ok(Some(file.slice(section.at as usize..end as usize)))
        };
        let need = |kind: Kind, len: Option<u64>, check| {
            section(kind, len, check)?.ok_or_else(|| damaged(Kind::name(kind as u32)))
        };
        if entry.rows > MAX_ROWS as u64 {
            return Err(damaged("the manifest"));
        }
        let rows = entry.rows;
        let groups = rows.div_ceil(GROUP as u64);
        let blocks = rows.div_ceil(BLOCK as u64);
        let times = |count: u64, size: usize| count.checked_mul(size as u64);
        let line = layout.words() * LINE;
        let quantiser_len = times(Quantiser::len(layout) as u64, 8);
        let channels = layout.shape.channels();
        let clusters = match section(Kind::ClusterStarts, times(rows.div_ceil(64), 8), true)? {
            None => None,
            Some(starts) => {
                let reach_steps = need(Kind::ReachSteps, times(1, 8 * channels), true)?;
                let steps: &[f64] = reach_steps.numbers();
                let bounds = bounds(starts.numbers(), rows as usize);
                if bounds.first() != Some(&0)
                    || !bounds.is_sorted_by(|a, b| a < b)
                    || !steps.iter().all(|step| *step > 0.0 && step.is_finite())
                {
                    return Err(damaged(Kind::name(Kind::ClusterStarts as u32)));
                }
                let count = bounds.len() as u64 - 1;
                let representatives =
                    need(Kind::Representatives, times(count, layout.coarse_len()), false)?;
                let reaches = need(Kind::Reaches, times(rows, channels), false)?;
                let widest = need(Kind::WidestReaches, times(count, channels), false)?;
                Some(ClusterParts { starts, representatives, reach_steps, reaches, widest })
            }
        };
        let parts = Parts {
            curves: need(Kind::Curves, times(rows, layout.shape.values() * 4), false)?,
            ids: need(Kind::Ids, times(rows, 8), true)?,
            id_order: need(Kind::IdOrder, times(rows, 4), true)?,
            order: need(Kind::Order, times(groups, GROUP * 4), true)?,
            places: need(Kind::Places, times(rows, 4), true)?,
            block_boxes: need(
                Kind::BlockBoxes,
                times(blocks.div_ceil(GROUP as u64), 2 * line),
                false,
            )?,
            group_boxes: need(Kind::GroupBoxes, times(blocks, 2 * line), false)?,
            sketches: need(Kind::Sketches, times(groups, line), false)?,
            coarse: need(Kind::Coarse, times(rows, layout.coarse_len()), false)?,
            clusters,
        };
        let below =
            |numbers: &[u32], limit: u64| numbers.iter().all(|&number| u64::from(number) < limit);
        let order: &[u32] = parts.order.numbers();
        let places = parts.places.numbers();
        if !below(parts.id_order.numbers(), rows)
            || !below(&order[..rows as usize], rows)
            || !below(places, rows)
        {
            return Err(damaged("a list of rows"));
        }
        let numbers = need(Kind::Quantiser, quantiser_len, true)?;
        let quantiser = Quantiser::from_numbers(layout, numbers.numbers())
            .ok_or_else(|| damaged(Kind::name(Kind::Quantiser as u32)))?;
        // Checked; searches read little of them.
        for list in [&parts.ids, &parts.id_order, &parts.places] {
            let _ = list.release();
        }
        let mut segment = Self::new(layout.clone(), quantiser, parts);
        if let Some(deleted) = section(Kind::Deleted, times(rows.div_ceil(64), 8), true)? {
            let bits: Vec<u64> = deleted.numbers().to_vec();
            // Bits of rows that are not there would count as deleted curves.
            let beyond = rows % 64;
            if beyond != 0 && bits.last().is_some_and(|last| last >> beyond != 0) {
                return Err(damaged(Kind::name(Kind::Deleted as u32)));
            }
            segment.set_deleted(bits);
        }
        Ok(segment)
    }

    /// Whether what is kept in memory of two readings of a segment is the same.
    pub(crate) fn agrees(&self, other: &Self) -> bool {
        self.rows == other.rows
            && self.quantiser == other.quantiser
            && self.cluster_bounds == other.cluster_bounds
            && self.deleted == other.deleted
            && self.live == other.live
    }

    pub(crate) fn quantiser(&self) -> &Quantiser {
        &self.quantiser
    }

    pub(crate) fn sections(&self) -> Sections<'_> {
        Sections {
            words: self.layout.words(),
            groups: self.rows.div_ceil(GROUP),
            block_boxes: &self.parts.block_boxes,
            group_boxes: &self.parts.group_boxes,
            sketches: &self.parts.sketches,
        }
    }

    /// The coarse copies, place by place.
    pub(crate) fn all_coarse(&self) -> &[u8] {
        &self.parts.coarse
    }

    /// Clusters, if there are any.
    pub(crate) fn clusters(&self) -> Option<Clusters<'_>> {
        self.parts.clusters.as_ref().map(|parts| Clusters {
            bounds: &self.cluster_bounds,
            representatives: &parts.representatives,
            reach_steps: parts.reach_steps.numbers(),
            reaches: &parts.reaches,
            widest: &parts.widest,
        })
    }

    /// The row at a place that holds one.
    pub(crate) fn row_at(&self, place: usize) -> usize {
        self.parts.order.numbers::<u32>()[place] as usize
    }

    /// Place of each row.
    pub(crate) fn places(&self) -> &[u32] {
        self.parts.places.numbers()
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
        self.parts.ids.numbers()
    }

    /// Row numbers in ascending order of id.
    pub(crate) fn id_order(&self) -> &[u32] {
        self.parts.id_order.numbers()
    }

    /// Whether nothing was deleted.
    pub(crate) fn is_whole(&self) -> bool {
        self.deleted.is_empty()
    }

    pub(crate) fn is_live(&self, row: usize) -> bool {
        self.deleted.get(row / 64).is_none_or(|word| word >> (row % 64) & 1 == 0)
    }

    pub(crate) fn curve(&self, row: usize) -> Curve<'_> {
        let values = self.layout.shape.values();
        let all: &[f32] = self.parts.curves.numbers();
        Curve::trusted(&all[row * values..(row + 1) * values], self.layout.shape.channels())
    }

    /// The live row with this id.
    pub(crate) fn row_of(&self, id: u64) -> Option<usize> {
        let (ids, order) = (self.ids(), self.id_order());
        let at = |place: usize| ids[order[place] as usize];
        // Ids that lie evenly are found at once; for others the guess halves the way.
        let last = order.len().checked_sub(1)?;
        let (low, high) = (at(0), at(last));
        if id < low || id > high {
            return None;
        }
        let share = (id - low) as f64 / ((high - low) as f64).max(1.0);
        let guess = ((share * last as f64).round() as usize).min(last);
        let place = match at(guess).cmp(&id) {
            Ordering::Equal => guess,
            Ordering::Less => guess + order[guess..].partition_point(|&row| ids[row as usize] < id),
            Ordering::Greater => order[..guess].partition_point(|&row| ids[row as usize] < id),
        };
        let row = *order.get(place)? as usize;
        (ids[row] == id && self.is_live(row)).then_some(row)
    }

    /// The sections that searches touch here and there: curves and their copies.
    pub(crate) fn bulk(&self) -> impl Iterator<Item = &Bytes> {
        [&self.parts.curves, &self.parts.coarse].into_iter()
    }

    /// Gives back the pages of the file this segment is part of.
    pub(crate) fn release_pages(&self) -> std::io::Result<()> {
        self.parts.curves.release_file()
    }

    /// Gives back the pages of curves, of their ids and coarse copies.
    pub(crate) fn release_copies(&self) {
        let Parts { curves, coarse, ids, .. } = &self.parts;
        for bytes in [curves, coarse, ids] {
            // A system that keeps the pages has room for them.
            let _ = bytes.release();
        }
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

/// The places of the bits that are set, and behind them the number of places.
fn bounds(starts: &[u64], rows: usize) -> Vec<u32> {
    let mut bounds = Vec::new();
    for (number, &word) in starts.iter().enumerate() {
        let mut word = word;
        while word != 0 {
            bounds.push(number as u32 * 64 + word.trailing_zeros());
            word &= word - 1;
        }
    }
    bounds.push(rows as u32);
    bounds
}
