//! The index file, byte by byte (see `docs/format.md`, which this module implements).

use std::io;
use std::path::Path;

use super::bytes::Bytes;
use super::errors::StoreError;
use super::file::io_error;
use super::medium::Medium;
use crate::params::Shape;
use crate::sketch::{GROUP, MAX_PAIRS, RUN, SEGMENT_FRAMES};

/// The format this crate writes. It reads all before, and writes a file on as what it is.
pub(crate) const FORMAT: u32 = 3;
/// The first whose header tells constants, and where what is no longer used has sums.
const FORMAT_SUMMED: u32 = 2;
/// The first of all.
const FORMAT_FIRST: u32 = 1;
const MAGIC: &[u8; 8] = b"CURVEIDX";
/// The two commit records lie here; a torn write of one leaves the other.
pub(crate) const COMMIT_AT: [u64; 2] = [4096, 8192];
/// Sections start here.
pub(crate) const DATA_AT: u64 = 12288;
/// Length of a commit record.
pub(crate) const COMMIT_LEN: usize = 40;
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
    /// Bytes an earlier state used and this one does not, so that their sum is known.
    Retired = 13,
    /// One bit per place, set where a cluster begins; `u64` words. Files before format 3 have no clusters.
    ClusterStarts = 14,
    /// Coarse codes of a representative of each cluster.
    Representatives = 15,
    /// Per channel what a step of a reach is worth, `f64`.
    ReachSteps = 16,
    /// How far each curve is from the representative of its cluster, in order of place; one byte a channel.
    Reaches = 17,
    /// The largest of these in each cluster.
    WidestReaches = 18,
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
            13 => "what an earlier state left",
            14 => "the cluster section",
            15 => "the representative section",
            16 => "the reach step section",
            17 => "the reach section",
            18 => "the cluster reach section",
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

impl Section {
    /// Where the next section may begin.
    fn padded_end(&self) -> u64 {
        self.at.saturating_add(self.len).checked_next_multiple_of(ALIGN).unwrap_or(u64::MAX)
    }

    /// Its bytes, if they are those that were written.
    pub(crate) fn whole<'a>(&self, file: &'a [u8]) -> Option<&'a [u8]> {
        let end = self.at.checked_add(self.len)?;
        let bytes = file.get(usize::try_from(self.at).ok()?..usize::try_from(end).ok()?)?;
        (crc32fast::hash(bytes) == self.crc).then_some(bytes)
    }
}

/// One batch of curves as the manifest lists it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct SegmentEntry {
    pub(crate) rows: u64,
    pub(crate) sections: Vec<Section>,
}

/// A state of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct State {
    pub(crate) format: u32,
    pub(crate) sequence: u64,
    /// Bytes from here on are free.
    pub(crate) end: u64,
    pub(crate) segments: Vec<SegmentEntry>,
    /// Where the list of segments lies; `None` before the first commit.
    pub(crate) manifest: Option<Section>,
}

impl State {
    /// Nothing committed yet.
    pub(crate) fn empty() -> Self {
        Self { format: FORMAT, sequence: 0, end: DATA_AT, segments: Vec::new(), manifest: None }
    }

    /// The state after this one, and its manifest with the zeros that fill it up, to be written at `end`.
    ///
    /// `segments` may lack sections this state has; `end` lies behind everything written since.
    pub(crate) fn next(&self, mut segments: Vec<SegmentEntry>, end: u64) -> (Self, Vec<u8>) {
        if self.format >= FORMAT_SUMMED {
            let kept: Vec<u64> = sections(&segments).map(|section| section.at).collect();
            let gone = sections(&self.segments).chain(&self.manifest);
            let gone: Vec<Section> =
                gone.filter(|section| !kept.contains(&section.at)).copied().collect();
            if let Some(first) = segments.first_mut() {
                retire(&mut first.sections, gone);
            }
        }
        let mut bytes = manifest(&segments);
        let (crc, len) = (crc32fast::hash(&bytes), bytes.len() as u64);
        let section = Section { kind: Kind::Retired as u32, crc, at: end, len };
        bytes.resize(bytes.len().next_multiple_of(ALIGN as usize), 0);
        let state = Self {
            format: self.format,
            sequence: self.sequence + 1,
            end: end + bytes.len() as u64,
            segments,
            manifest: Some(section),
        };
        (state, bytes)
    }

    /// Where the commit record of this state lies.
    pub(crate) fn record_at(&self) -> u64 {
        COMMIT_AT[(self.sequence % 2) as usize]
    }

    /// The commit record of this state.
    pub(crate) fn record(&self) -> Vec<u8> {
        let (at, len, crc) = self.manifest.map_or((0, 0, 0), |one| (one.at, one.len, one.crc));
        let mut bytes = b"CURVECMT".to_vec();
        bytes.extend(self.sequence.to_le_bytes());
        bytes.extend(at.to_le_bytes());
        bytes.extend(len.to_le_bytes());
        bytes.extend(crc.to_le_bytes());
        bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
        bytes
    }
}

fn sections(segments: &[SegmentEntry]) -> impl Iterator<Item = &Section> {
    segments.iter().flat_map(|segment| &segment.sections)
}

/// Adds what is `gone` to the retired sections among `sections`; neighbours become one.
fn retire(sections: &mut Vec<Section>, mut gone: Vec<Section>) {
    let retired = Kind::Retired as u32;
    gone.extend(sections.extract_if(.., |section| section.kind == retired));
    gone.sort_unstable_by_key(|section| section.at);
    for one in gone {
        let one = Section { kind: retired, ..one };
        match sections.last_mut() {
            Some(last) if last.kind == retired && last.padded_end() == one.at => {
                let mut sum = crc32fast::Hasher::new_with_initial_len(last.crc, last.len);
                sum.update(&[0; ALIGN as usize][..(one.at - last.at - last.len) as usize]);
                sum.combine(&crc32fast::Hasher::new_with_initial_len(one.crc, one.len));
                *last = Section { crc: sum.finalize(), len: one.at + one.len - last.at, ..*last };
            }
            _ => sections.push(one),
        }
    }
}

/// What the content of sections depends on, beside the shape.
const CONSTANTS: [(&str, u32); 4] = [
    ("groups of curves", GROUP as u32),
    ("runs of frames", RUN as u32),
    ("segments of frames", SEGMENT_FRAMES as u32),
    ("pairs of segments at most", MAX_PAIRS as u32),
];

/// The file header.
pub(crate) fn header(shape: Shape) -> Vec<u8> {
    let mut bytes = MAGIC.to_vec();
    bytes.extend(FORMAT.to_le_bytes());
    bytes.extend((shape.frames() as u32).to_le_bytes());
    bytes.extend((shape.channels() as u32).to_le_bytes());
    for (_, constant) in CONSTANTS {
        bytes.extend(constant.to_le_bytes());
    }
    bytes.extend(crc32fast::hash(&bytes).to_le_bytes());
    bytes
}

/// Length of the header of a format.
fn header_len(format: u32) -> usize {
    if format < FORMAT_SUMMED { 24 } else { 24 + 4 * CONSTANTS.len() }
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

/// What a commit record's place holds.
#[derive(Debug)]
enum Place {
    /// Nothing was ever written there.
    Empty,
    Whole(State),
    /// A record that a crash or a fault of the disk left, or one whose manifest is no longer whole.
    Broken,
}

/// What header, commit records and manifests say.
#[derive(Debug)]
pub(crate) struct Told {
    pub(crate) shape: Shape,
    pub(crate) state: State,
    /// Where a commit record lies that is not whole.
    pub(crate) broken: Option<u64>,
}

/// Reads header, commit records and manifests: each once, into memory of its own, where its sum is compared
/// and what it says is taken from. (They are not read through a map, because commit records change.)
pub(crate) fn read(path: &Path, medium: &dyn Medium) -> Result<Told, StoreError> {
    let (shape, format) = read_header(path, medium)?;
    let mut best: Option<State> = None;
    let mut broken = None;
    for at in COMMIT_AT {
        match read_commit(path, medium, format, at)? {
            Place::Empty => {}
            Place::Broken => broken = Some(at),
            Place::Whole(state) => {
                if best.as_ref().is_none_or(|best| best.sequence < state.sequence) {
                    best = Some(state);
                }
            }
        }
    }
    let state = best.ok_or_else(|| damaged(path, "the commit record"))?;
    Ok(Told { shape, state, broken })
}

fn damaged(path: &Path, what: &'static str) -> StoreError {
    StoreError::Damaged { path: path.to_owned(), what }
}

/// `len` bytes from `at`, or `None` where the file ends before.
fn bytes_at(
    path: &Path,
    medium: &dyn Medium,
    at: u64,
    len: usize,
) -> Result<Option<Vec<u8>>, StoreError> {
    let mut bytes = vec![0; len];
    match medium.read_at(&mut bytes, at) {
        Ok(()) => Ok(Some(bytes)),
        Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => Ok(None),
        Err(error) => Err(io_error(path, "reading")(error)),
    }
}

fn read_header(path: &Path, medium: &dyn Medium) -> Result<(Shape, u32), StoreError> {
    let damaged = || damaged(path, "the header");
    let start = bytes_at(path, medium, 0, MAGIC.len())?;
    if start.is_none_or(|start| start != MAGIC) {
        return Err(StoreError::NotAnIndex { path: path.to_owned() });
    }
    let format = bytes_at(path, medium, MAGIC.len() as u64, 4)?.ok_or_else(damaged)?;
    let format = Reader(&format).u32().ok_or_else(damaged)?;
    if !(FORMAT_FIRST..=FORMAT).contains(&format) {
        return Err(StoreError::Format { path: path.to_owned(), found: format, expected: FORMAT });
    }
    let bytes = bytes_at(path, medium, 0, header_len(format))?.ok_or_else(damaged)?;
    let (body, crc) = bytes.split_at(bytes.len() - 4);
    if crc != crc32fast::hash(body).to_le_bytes() || body[8..12] != format.to_le_bytes() {
        return Err(damaged());
    }
    let mut reader = Reader(&body[12..]);
    let frames = reader.u32().ok_or_else(damaged)?;
    let channels = reader.u32().ok_or_else(damaged)?;
    for (what, expected) in CONSTANTS {
        if let Some(found) = reader.u32().filter(|&found| found != expected) {
            return Err(StoreError::Constant { path: path.to_owned(), what, found, expected });
        }
    }
    let shape = Shape::new(frames as usize, channels as usize).map_err(|_| damaged())?;
    Ok((shape, format))
}

/// The state a commit record points at, if record and manifest are whole.
fn read_commit(
    path: &Path,
    medium: &dyn Medium,
    format: u32,
    place: u64,
) -> Result<Place, StoreError> {
    let Some(record) = bytes_at(path, medium, place, COMMIT_LEN)? else {
        return Ok(Place::Broken);
    };
    if record.iter().all(|&byte| byte == 0) {
        return Ok(Place::Empty);
    }
    let Some((sequence, section)) = parse_record(&record) else { return Ok(Place::Broken) };
    if COMMIT_AT[(sequence % 2) as usize] != place {
        return Ok(Place::Broken);
    }
    // A length that no memory holds is no manifest.
    let Some(bytes) = usize::try_from(section.len)
        .ok()
        .filter(|_| section.at.checked_add(section.len).is_some())
        .map_or(Ok(None), |len| manifest_at(path, medium, section.at, len))?
    else {
        return Ok(Place::Broken);
    };
    if crc32fast::hash(&bytes) != section.crc {
        return Ok(Place::Broken);
    }
    let Some(segments) = parse_manifest(&bytes) else { return Ok(Place::Broken) };
    let end = section.padded_end();
    Ok(Place::Whole(State { format, sequence, end, segments, manifest: Some(section) }))
}

/// A manifest's bytes, if the file has so many.
fn manifest_at(
    path: &Path,
    medium: &dyn Medium,
    at: u64,
    len: usize,
) -> Result<Option<Vec<u8>>, StoreError> {
    let Some(last) = len.checked_sub(1) else { return Ok(None) };
    // Asked for at its end first: a length gone wrong need not be had in memory.
    match bytes_at(path, medium, at + last as u64, 1)? {
        Some(_) => bytes_at(path, medium, at, len),
        None => Ok(None),
    }
}

fn parse_record(record: &[u8]) -> Option<(u64, Section)> {
    let (body, crc) = record.split_at_checked(COMMIT_LEN - 4)?;
    if crc != crc32fast::hash(body).to_le_bytes() || !body.starts_with(b"CURVECMT") {
        return None;
    }
    let mut reader = Reader(&body[8..]);
    // None comes after the last number, and nobody ever counted that far.
    let sequence = reader.u64().filter(|&sequence| sequence < u64::MAX)?;
    let (at, len) = (reader.u64()?, reader.u64()?);
    Some((sequence, Section { kind: Kind::Retired as u32, crc: reader.u32()?, at, len }))
}

fn parse_manifest(bytes: &[u8]) -> Option<Vec<SegmentEntry>> {
    let mut reader = Reader(bytes);
    let mut segments = Vec::new();
    for _ in 0..reader.u64()? {
        let mut entry = SegmentEntry { rows: reader.u64()?, sections: Vec::new() };
        for _ in 0..reader.u64()? {
            let (kind, crc) = (reader.u32()?, reader.u32()?);
            entry.sections.push(Section { kind, crc, at: reader.u64()?, len: reader.u64()? });
        }
        segments.push(entry);
    }
    reader.0.is_empty().then_some(segments)
}

/// Holds every byte of a state against what is known of it: sections against their sums, everything between
/// against zero. Commit records are [`read`]'s.
///
/// A file of the format before may hold bytes that nothing is known of, left by earlier states; they are
/// passed by.
pub(crate) fn check(path: &Path, file: &Bytes, state: &State) -> Result<(), StoreError> {
    let zero = |from: u64, to: u64| {
        let bytes = file.get(from as usize..to as usize);
        match bytes.is_some_and(|bytes| bytes.iter().all(|&byte| byte == 0)) {
            true => Ok(()),
            false => Err(damaged(path, "the space between sections")),
        }
    };
    let mut from = header_len(state.format) as u64;
    for at in COMMIT_AT {
        zero(from, at)?;
        from = at + COMMIT_LEN as u64;
    }
    zero(from, DATA_AT)?;

    let mut all: Vec<Section> = sections(&state.segments).copied().collect();
    for section in &all {
        section.whole(file).ok_or_else(|| damaged(path, Kind::name(section.kind)))?;
    }
    let manifest = state.manifest.ok_or_else(|| damaged(path, "the manifest"))?;
    manifest.whole(file).ok_or_else(|| damaged(path, "the manifest"))?;
    if state.format < FORMAT_SUMMED {
        return Ok(());
    }
    all.push(manifest);
    // Empty ones before what lies at the same place.
    all.sort_unstable_by_key(|section| (section.at, section.len));
    let mut end = DATA_AT;
    for section in all {
        zero(end, section.at)?;
        end = section.at + section.len;
        if section.at < DATA_AT || section.padded_end() > state.end {
            return Err(damaged(path, "the manifest"));
        }
    }
    zero(end, state.end)
}
