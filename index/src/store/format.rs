//! The index file, byte by byte (see `docs/format.md`, which this module implements).

use std::path::Path;

use super::bytes::Bytes;
use super::errors::StoreError;
use crate::params::Shape;

/// The format this crate reads and writes.
pub(crate) const FORMAT: u32 = 1;
const MAGIC: &[u8; 8] = b"CURVEIDX";
/// The two commit records lie here; a torn write of one leaves the other.
pub(crate) const COMMIT_AT: [u64; 2] = [4096, 8192];
/// Sections start here.
pub(crate) const DATA_AT: u64 = 12288;
const COMMIT_LEN: usize = 40;
/// Sections start at multiples of this.
pub(crate) const ALIGN: u64 = 64;
/// Most rows in one segment: row numbers are `u32`.
pub(crate) const MAX_ROWS: usize = 1 << 31;

/// What a section holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u32)]
pub(crate) enum Kind {
    /// Curves in order of arrival, `f32`.
    Curves = 1,
    /// Their ids, `u64`.
    Ids = 2,
    /// Row numbers (`u32`) in ascending order of id.
    IdOrder = 3,
    /// One bit per row, set where the curve was deleted; `u64` words.
    Deleted = 4,
    /// Offsets and steps of the byte codes, `f64`.
    Quantiser = 5,
    /// Row at each place, `u32`; the rest of the last group is `u32::MAX`.
    Order = 6,
    /// Place of each row, `u32`.
    Places = 7,
    /// Boxes around blocks of 256 places.
    BlockBoxes = 8,
    /// Boxes around groups of 16 places.
    GroupBoxes = 9,
    /// Segment means in bytes.
    Sketches = 10,
    /// Curves in bytes, in order of place.
    Coarse = 11,
    /// Lowest and highest bytes of runs of frames, in order of place; files written before 25 November
    /// 2026 have none.
    Runs = 12,
}

impl Kind {
    /// The section's name in messages.
    pub(crate) fn name(kind: u32) -> &'static str {
        match kind {
            1 => "the curve section",
            2 => "the id section",
            3 => "the id order section",
            4 => "the deletion section",
            5 => "the quantiser section",
            6 => "the order section",
            7 => "the place section",
            8 => "the block box section",
            9 => "the group box section",
            10 => "the sketch section",
            11 => "the coarse section",
            12 => "the run section",
            _ => "a section of unknown kind",
        }
    }
}

/// Where a section lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Section {
    pub(crate) kind: u32,
    pub(crate) crc: u32,
    pub(crate) at: u64,
    pub(crate) len: u64,
}

/// One batch of curves as the manifest lists it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct SegmentEntry {
    pub(crate) rows: u64,
    pub(crate) sections: Vec<Section>,
}

/// A committed state of the file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct State {
    pub(crate) sequence: u64,
    /// Bytes from here on are free.
    pub(crate) end: u64,
    pub(crate) segments: Vec<SegmentEntry>,
}

/// The file header.
pub(crate) fn header(shape: Shape) -> Vec<u8> {
    let mut bytes = MAGIC.to_vec();
    bytes.extend(FORMAT.to_le_bytes());
    bytes.extend((shape.frames() as u32).to_le_bytes());
    bytes.extend((shape.channels() as u32).to_le_bytes());
    bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
    bytes
}

/// The list of segments, as stored.
pub(crate) fn manifest(segments: &[SegmentEntry]) -> Vec<u8> {
    let mut bytes = (segments.len() as u64).to_le_bytes().to_vec();
    for segment in segments {
        bytes.extend(segment.rows.to_le_bytes());
        bytes.extend((segment.sections.len() as u64).to_le_bytes());
        for section in &segment.sections {
            bytes.extend(section.kind.to_le_bytes());
            bytes.extend(section.crc.to_le_bytes());
            bytes.extend(section.at.to_le_bytes());
            bytes.extend(section.len.to_le_bytes());
        }
    }
    bytes
}

/// A commit record pointing at a manifest.
pub(crate) fn commit(sequence: u64, manifest_at: u64, manifest: &[u8]) -> Vec<u8> {
    let mut bytes = b"CURVECMT".to_vec();
    bytes.extend(sequence.to_le_bytes());
    bytes.extend(manifest_at.to_le_bytes());
    bytes.extend((manifest.len() as u64).to_le_bytes());
    bytes.extend(crc32fast::hash(manifest).to_le_bytes());
    bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
    bytes
}

struct Reader<'a>(&'a [u8]);

impl Reader<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (head, tail) = self.0.split_first_chunk::<N>()?;
        self.0 = tail;
        Some(*head)
    }

    fn u32(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }

    fn u64(&mut self) -> Option<u64> {
        self.take().map(u64::from_le_bytes)
    }
}

/// Reads header, commit records and manifest.
pub(crate) fn read(path: &Path, file: &Bytes) -> Result<(Shape, State), StoreError> {
    let damaged = |what| StoreError::Damaged { path: path.to_owned(), what };
    let shape = read_header(path, file)?;
    let mut best: Option<State> = None;
    for at in COMMIT_AT {
        if let Some(state) = read_commit(file, at as usize)
            && best.as_ref().is_none_or(|best| best.sequence < state.sequence)
        {
            best = Some(state);
        }
    }
    Ok((shape, best.ok_or_else(|| damaged("the commit record"))?))
}

fn read_header(path: &Path, file: &Bytes) -> Result<Shape, StoreError> {
    let damaged = || StoreError::Damaged { path: path.to_owned(), what: "the header" };
    if !file.starts_with(MAGIC) {
        return Err(StoreError::NotAnIndex { path: path.to_owned() });
    }
    let mut reader = Reader(&file[MAGIC.len()..]);
    let found = reader.u32().ok_or_else(damaged)?;
    if found != FORMAT {
        return Err(StoreError::Format { path: path.to_owned(), found, expected: FORMAT });
    }
    let frames = reader.u32().ok_or_else(damaged)?;
    let channels = reader.u32().ok_or_else(damaged)?;
    let crc = reader.u32().ok_or_else(damaged)?;
    if crc != crc32fast::hash(&file[..20]) {
        return Err(damaged());
    }
    Shape::new(frames as usize, channels as usize).map_err(|_| damaged())
}

/// The state a commit record points at, if record and manifest are whole.
fn read_commit(file: &Bytes, at: usize) -> Option<State> {
    let record = file.get(at..at + COMMIT_LEN)?;
    let (body, crc) = record.split_at(COMMIT_LEN - 4);
    if crc != crc32fast::hash(body).to_le_bytes() || !body.starts_with(b"CURVECMT") {
        return None;
    }
    let mut reader = Reader(&body[8..]);
    let sequence = reader.u64()?;
    let manifest_at = reader.u64()?;
    let manifest_len = reader.u64()?;
    let manifest_crc = reader.u32()?;
    let end = manifest_at.checked_add(manifest_len)?;
    let manifest = file.get(manifest_at as usize..end as usize)?;
    if crc32fast::hash(manifest) != manifest_crc {
        return None;
    }
    let mut reader = Reader(manifest);
    let mut segments = Vec::new();
    for _ in 0..reader.u64()? {
        let mut entry = SegmentEntry { rows: reader.u64()?, sections: Vec::new() };
        for _ in 0..reader.u64()? {
            let kind = reader.u32()?;
            let crc = reader.u32()?;
            let at = reader.u64()?;
            let len = reader.u64()?;
            entry.sections.push(Section { kind, crc, at, len });
        }
        segments.push(entry);
    }
    reader.0.is_empty().then_some(State { sequence, end: end.next_multiple_of(ALIGN), segments })
}
