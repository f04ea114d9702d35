//! The index: segments of curves, in memory or on file.

mod build;
mod bytes;
mod errors;
mod file;
mod format;
mod medium;
mod pages;
mod segment;
#[cfg(test)]
mod tests;

use std::fs::{File, OpenOptions};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

pub use build::Builder;
pub(crate) use bytes::Bytes;
pub use errors::StoreError;
pub(crate) use segment::Segment;

use crate::params::{Curve, Shape};
use crate::sketch::Layout;
use build::Batch;
use file::{FileStore, io_error, lock};
use format::{Kind, State, Told};
use medium::{Folder, Medium, System};
use pages::Pages;

/// Curves of one shape under `u64` ids, to be searched.
///
/// ```
/// use curve_index::{DtwParams, Index, Nearest, Shape};
/// let shape = Shape::new(3, 1)?;
/// let mut builder = Index::in_memory(shape);
/// builder.push(7, &[0.0, 0.0, 0.0])?;
/// builder.push(8, &[0.0, 1.0, 3.0])?;
/// let index = builder.finish()?;
///
/// let params = DtwParams::new(1).band_frames(1).check()?;
/// let answer = index.nearest(&[0.0, 0.0, 1.0], &Nearest::new(&params, 2))?;
/// // 0,0,1 against 0,0,0 costs 1; against 0,1,3 it costs (1 - 3)^2 = 4.
/// let found: Vec<(u64, f64)> = answer.neighbours.iter().map(|n| (n.id, n.cost)).collect();
/// assert_eq!(found, [(7, 1.0), (8, 4.0)]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct Index {
    layout: Arc<Layout>,
    segments: Vec<Segment>,
    store: Store,
    /// What searches touched of the file, if there is one.
    pages: Option<Pages>,
    /// Another number after every change, and for every index.
    state: u64,
}

#[derive(Debug)]
enum Store {
    Memory,
    ReadOnly { path: PathBuf, medium: Box<dyn Medium>, state: State },
    File(FileStore),
}

impl Index {
    /// Starts an index that lives in memory only.
    #[must_use]
    pub fn in_memory(shape: Shape) -> Builder {
        Builder::in_memory(shape)
    }

    /// Starts an index on file. Curves stream to `<path>.building`, which takes the name `path` in
    /// [`Builder::finish`] and is removed if the builder is dropped before.
    ///
    /// ```
    /// use curve_index::{Index, Shape};
    /// let folder = tempfile::tempdir()?;
    /// let path = folder.path().join("curves.index");
    /// let mut builder = Index::create(&path, Shape::new(2, 1)?)?;
    /// builder.push(1, &[0.5, 1.5])?;
    /// builder.finish()?;
    ///
    /// let mut index = Index::open_for_writing(&path)?;
    /// index.append([(2, &[3.0, 4.0][..])])?;
    /// index.delete(&[1])?;
    /// index.compact()?;
    /// assert_eq!(index.ids().collect::<Vec<_>>(), [2]);
    /// assert_eq!(index.curve(2).unwrap().values(), [3.0, 4.0]);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// [`StoreError::Io`], or [`StoreError::Locked`] if the file is being built elsewhere.
    pub fn create(path: impl AsRef<Path>, shape: Shape) -> Result<Builder, StoreError> {
        Builder::on_file(path.as_ref(), Arc::new(System), shape)
    }

    /// Opens an index for reading. The file is mapped: nothing is read but what searches touch, ids
    /// excepted. Others may append or delete meanwhile; this index keeps the state it opened. No
    /// other program may truncate the file while it is open.
    ///
    /// Checked are the header, the commit records and the manifest, the place and length of every section, and
    /// against their sums the lists by which curves are found (ids and their order, places, deletions) and
    /// what bytes stand for. Curves, sketches, boxes and coarse copies are not: a byte of them that went bad can
    /// hide a curve or give it a wrong cost, and [`verify`](Self::verify) finds it. Where the newest record is
    /// not whole, as after a crash, the state before it is opened.
    ///
    /// # Errors
    /// [`StoreError`] naming the file and what is wrong with it.
    pub fn open(path: impl AsRef<Path>) -> Result<Self, StoreError> {
        let path = path.as_ref();
        let file = File::open(path).map_err(io_error(path, "opening"))?;
        Self::on(path, Box::new(file))
    }

    /// An index to be read.
    fn on(path: &Path, medium: Box<dyn Medium>) -> Result<Self, StoreError> {
        let (told, layout, segments) = read(path, &*medium)?;
        let store = Store::ReadOnly { path: path.to_owned(), medium, state: told.state };
        Ok(Self::from_parts(layout, segments, store))
    }

    /// The shape of an index on file, going by its header and commit record: a few pages are read, however
    /// many curves it holds.
    ///
    /// # Errors
    /// [`StoreError::NotAnIndex`], [`StoreError::Format`], [`StoreError::Constant`] or [`StoreError::Damaged`]
    /// as far as those two show it; [`StoreError::Io`].
    pub fn shape_of(path: impl AsRef<Path>) -> Result<Shape, StoreError> {
        let path = path.as_ref();
        let file = File::open(path).map_err(io_error(path, "opening"))?;
        format::read(path, &file).map(|told| told.shape)
    }

    /// Opens an index for reading and changing; one at a time. Checked is what [`open`](Self::open) checks.
    ///
    /// # Errors
    /// [`StoreError::Locked`] while another has it open for writing, else as [`open`](Self::open).
    pub fn open_for_writing(path: impl AsRef<Path>) -> Result<Self, StoreError> {
        let path = path.as_ref();
        let file = lock(path, OpenOptions::new().read(true).write(true))?;
        Self::on_for_writing(path, Arc::new(System), Box::new(file))
    }

    /// An index to be changed, on a locked medium.
    fn on_for_writing(
        path: &Path,
        folder: Arc<dyn Folder>,
        medium: Box<dyn Medium>,
    ) -> Result<Self, StoreError> {
        let (told, layout, segments) = read(path, &*medium)?;
        let store = Store::File(FileStore::resume(path, folder, medium, told)?);
        Ok(Self::from_parts(layout, segments, store))
    }

    fn from_parts(layout: Arc<Layout>, segments: Vec<Segment>, store: Store) -> Self {
        let pages = Pages::new(&segments);
        Self { layout, segments, store, pages, state: next_state() }
    }

    /// Adds curves without rewriting those there: all of them, or on error none.
    ///
    /// Each call makes a segment; many small ones cost a little time per search each, until
    /// [`compact`](Self::compact).
    ///
    /// # Errors
    /// [`StoreError::DuplicateId`], [`StoreError::Curve`], [`StoreError::ReadOnly`] or
    /// [`StoreError::Io`]; the index is then as before. Where the disk refuses so late that it may hold the
    /// change all the same, every later one is [`StoreError::Unconfirmed`] until the index is opened again.
    pub fn append<'c>(
        &mut self,
        curves: impl IntoIterator<Item = (u64, &'c [f32])>,
    ) -> Result<(), StoreError> {
        let shape = self.shape();
        let layout = &self.layout;
        let segments = &self.segments;
        // The largest segment's quantiser suits small batches.
        let like = segments.iter().max_by_key(|segment| segment.rows()).map(Segment::quantiser);
        let fresh = |id| match segments.iter().any(|segment| segment.row_of(id).is_some()) {
            true => Err(StoreError::DuplicateId { id }),
            false => Ok(()),
        };
        match &mut self.store {
            Store::ReadOnly { path, .. } => {
                return Err(StoreError::ReadOnly { path: path.clone() });
            }
            Store::Memory => {
                let mut batch = Batch::in_memory(shape);
                for (id, values) in curves {
                    fresh(id)?;
                    batch.push(None, id, values)?;
                }
                if !batch.is_empty() {
                    let segment = batch.finish_in_memory(layout, like)?;
                    self.segments.push(segment);
                }
            }
            Store::File(store) => {
                store.usable()?;
                let mut batch = Batch::on_file(shape, store);
                for (id, values) in curves {
                    fresh(id)?;
                    batch.push(Some(store), id, values)?;
                }
                if !batch.is_empty() {
                    let next = batch.finish_on_file(store, layout, like)?;
                    // All that can fail comes before the commit.
                    let segments = read_segments(&store.path, &store.map()?, layout, &next)?;
                    store.commit(next)?;
                    self.segments = segments;
                    self.pages = Pages::new(&self.segments);
                }
            }
        }
        self.state = next_state();
        Ok(())
    }

    /// Takes curves out and returns how many of `ids` were there. Their bytes stay until
    /// [`compact`](Self::compact).
    ///
    /// # Errors
    /// [`StoreError::ReadOnly`], [`StoreError::Unconfirmed`] or [`StoreError::Io`]; the index is then as before.
    pub fn delete(&mut self, ids: &[u64]) -> Result<usize, StoreError> {
        let mut gone = 0;
        let mut changes: Vec<(usize, Vec<u64>)> = Vec::new();
        for (number, segment) in self.segments.iter().enumerate() {
            let mut rows: Vec<usize> = ids.iter().filter_map(|&id| segment.row_of(id)).collect();
            rows.sort_unstable();
            rows.dedup();
            if !rows.is_empty() {
                gone += rows.len();
                changes.push((number, segment.deleted_with(&rows)));
            }
        }
        match &mut self.store {
            Store::ReadOnly { path, .. } => {
                return Err(StoreError::ReadOnly { path: path.clone() });
            }
            Store::Memory => {}
            Store::File(_) if changes.is_empty() => {}
            Store::File(store) => {
                store.usable()?;
                let mut segments = store.state.segments.clone();
                let mut writer = store.writer();
                for (number, bits) in &changes {
                    let bytes = bytemuck::cast_slice(bits);
                    let section = writer.whole(store, Kind::Deleted, bytes)?;
                    let sections = &mut segments[*number].sections;
                    sections.retain(|one| one.kind != Kind::Deleted as u32);
                    sections.push(section);
                }
                let next = store.prepare(segments, writer.start())?;
                store.commit(next)?;
            }
        }
        for (number, bits) in changes {
            self.segments[number].set_deleted(bits);
        }
        self.state = next_state();
        Ok(gone)
    }

    /// Rewrites the index as one segment without the deleted curves. On file: beside the old one,
    /// which it replaces when complete.
    ///
    /// # Errors
    /// [`StoreError::ReadOnly`], [`StoreError::Unconfirmed`] or [`StoreError::Io`]; the index then holds what
    /// it held.
    pub fn compact(&mut self) -> Result<(), StoreError> {
        let mut builder = match &self.store {
            Store::ReadOnly { path, .. } => {
                return Err(StoreError::ReadOnly { path: path.clone() });
            }
            Store::Memory => Builder::in_memory(self.shape()),
            Store::File(store) => {
                store.usable()?;
                Builder::on_file(&store.path, store.folder.clone(), self.shape())?
            }
        };
        for segment in &self.segments {
            for row in (0..segment.rows()).filter(|&row| segment.is_live(row)) {
                builder.push(segment.ids()[row], segment.curve(row).values())?;
            }
        }
        // The lock of the old file is held until the name is that of the new one, which is locked, too.
        let (index, confirmed) = builder.finish_named()?;
        *self = index;
        confirmed
    }

    /// Frames and channels of every curve.
    #[must_use]
    pub fn shape(&self) -> Shape {
        self.layout.shape
    }

    /// How many curves there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.segments.iter().map(Segment::live).sum()
    }

    /// Whether there is no curve.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// How many segments the curves lie in; [`compact`](Self::compact) makes it 1.
    #[must_use]
    pub fn segments(&self) -> usize {
        self.segments.len()
    }

    /// The curve with this id.
    #[must_use]
    pub fn curve(&self, id: u64) -> Option<Curve<'_>> {
        self.segments.iter().find_map(|segment| Some(segment.curve(segment.row_of(id)?)))
    }

    /// All ids, in order of arrival.
    pub fn ids(&self) -> impl Iterator<Item = u64> + '_ {
        self.segments.iter().flat_map(|segment| {
            let rows = (0..segment.rows()).filter(|&row| segment.is_live(row));
            rows.map(|row| segment.ids()[row])
        })
    }

    /// Gives the pages of the file that searches have touched back to the system; the next search has
    /// them mapped again, from the system's cache while it still holds them. Changes no answer.
    ///
    /// Sketches, boxes and lists stay mapped between searches, and so many pages of curves and copies as
    /// [`Nearest::mapped_bytes`](crate::Nearest::mapped_bytes) says; this is for a program that must be small
    /// meanwhile. Does nothing for an index in memory, and elsewhere than on Unix.
    ///
    /// # Errors
    /// [`StoreError::Io`] when the system refuses.
    pub fn release_pages(&self) -> Result<(), StoreError> {
        let path = match &self.store {
            Store::Memory => return Ok(()),
            Store::ReadOnly { path, .. } => path,
            Store::File(store) => &store.path,
        };
        self.pages.iter().for_each(Pages::forget);
        self.segments
            .iter()
            .try_for_each(Segment::release_pages)
            .map_err(io_error(path, "releasing pages of"))
    }

    /// To be called before bytes of a curve or a copy are read: where as many are mapped as may be, gives those
    /// touched before back.
    pub(crate) fn touch(&self, bytes: &[u8], most: Option<usize>) {
        if let Some(pages) = &self.pages
            && pages.touch(bytes, most)
        {
            self.release_copies(pages);
            pages.touch(bytes, most);
        }
    }

    /// Whether a search that may keep `most` bytes mapped has to tell what it reads.
    pub(crate) fn counts(&self, most: Option<usize>) -> bool {
        self.pages.is_some() && most != Some(usize::MAX)
    }

    /// To be called before a search: an earlier one may have been allowed more.
    pub(crate) fn keep_mapped(&self, most: Option<usize>) {
        let Some(pages) = &self.pages else { return };
        if !self.counts(most) {
            pages.count_all();
        } else if pages.too_many(most) {
            self.release_copies(pages);
        }
    }

    /// What others read meanwhile comes back as soon as they go on.
    fn release_copies(&self, pages: &Pages) {
        pages.forget();
        self.segments.iter().for_each(Segment::release_copies);
    }

    /// Reads the whole file that searches read, whatever its name is now, and compares every byte of the state
    /// that is open with its sum, or with 0 where there is none: any single bit that went bad is found. (Bytes
    /// behind that state, which an attempt that never ended may have left, are not looked at; nor is what
    /// earlier states left in a file of format 1.) An index in memory is taken as whole.
    ///
    /// A commit record that a crash cut short cannot be told from one that went bad: opening the index for
    /// writing takes it away.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] naming the first part that does not hold.
    pub fn verify(&self) -> Result<(), StoreError> {
        let (path, medium, state) = match &self.store {
            Store::Memory => return Ok(()),
            Store::ReadOnly { path, medium, state } => (path, &**medium, state),
            Store::File(store) => (&store.path, &*store.medium, &store.state),
        };
        let damaged = |what| StoreError::Damaged { path: path.clone(), what };
        let told = format::read(path, medium)?;
        if told.broken.is_some() {
            return Err(damaged("a commit record"));
        }
        if told.shape != self.shape() || told.state.sequence < state.sequence {
            return Err(damaged("the header"));
        }
        let map = medium.map().map_err(io_error(path, "mapping"))?;
        format::check(path, &map, state)?;
        // What opening took into memory of its own.
        let segments = read_segments(path, &map, &self.layout, state)?;
        let kept = segments.len() == self.segments.len()
            && segments.iter().zip(&self.segments).all(|(read, own)| read.agrees(own));
        if kept { Ok(()) } else { Err(damaged("the manifest")) }
    }

    pub(crate) fn layout(&self) -> &Layout {
        &self.layout
    }

    pub(crate) fn state(&self) -> u64 {
        self.state
    }

    pub(crate) fn parts(&self) -> &[Segment] {
        &self.segments
    }
}

/// What a file says, and the segments in it.
fn read(path: &Path, medium: &dyn Medium) -> Result<(Told, Arc<Layout>, Vec<Segment>), StoreError> {
    let told = format::read(path, medium)?;
    let map = medium.map().map_err(io_error(path, "mapping"))?;
    let layout = Arc::new(Layout::new(told.shape));
    let segments = read_segments(path, &map, &layout, &told.state)?;
    Ok((told, layout, segments))
}

fn read_segments(
    path: &Path,
    map: &Bytes,
    layout: &Arc<Layout>,
    state: &State,
) -> Result<Vec<Segment>, StoreError> {
    state.segments.iter().map(|entry| Segment::open(path, map, layout, entry)).collect()
}

fn next_state() -> u64 {
    static NEXT: AtomicU64 = AtomicU64::new(0);
    NEXT.fetch_add(1, Ordering::Relaxed)
}
