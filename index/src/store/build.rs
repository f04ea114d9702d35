//! Building: curves stream in, a segment comes out.

use std::path::Path;
use std::sync::Arc;

use super::bytes::Bytes;
use super::errors::StoreError;
use super::file::{FileStore, SectionWriter, building_path};
use super::format::{Kind, MAX_ROWS, SegmentEntry, State};
use super::medium::Folder;
use super::segment::{ClusterParts, Parts, Segment};
use super::{Index, Store, read_segments};
use crate::params::Shape;
use crate::sketch::{Clusters, Layout, Quantiser, RowSource, make};

/// Takes curves one by one and ends as an [`Index`]. Made by [`Index::in_memory`] or
/// [`Index::create`].
///
/// Memory of a build on file: a few hundred bytes per curve, whatever the curve's length.
#[derive(Debug)]
pub struct Builder {
    batch: Batch,
    /// `Some` for a file; taken by `finish`.
    file: Option<FileStore>,
    /// The file's final name.
    path: Option<std::path::PathBuf>,
}

/// Curves on their way into a segment.
#[derive(Debug)]
pub(crate) struct Batch {
    shape: Shape,
    ids: Vec<u64>,
    rows: Rows,
}

#[derive(Debug)]
enum Rows {
    Memory(Vec<f32>),
    File(SectionWriter),
}

impl Batch {
    pub(crate) fn in_memory(shape: Shape) -> Self {
        Self { shape, ids: Vec::new(), rows: Rows::Memory(Vec::new()) }
    }

    pub(crate) fn on_file(shape: Shape, store: &FileStore) -> Self {
        Self { shape, ids: Vec::new(), rows: Rows::File(store.writer()) }
    }

    pub(crate) fn push(
        &mut self,
        store: Option<&mut FileStore>,
        id: u64,
        values: &[f32],
    ) -> Result<(), StoreError> {
        self.shape.curve(values).map_err(|source| StoreError::Curve { id, source })?;
        if self.ids.len() == MAX_ROWS {
            return Err(StoreError::TooMany { most: MAX_ROWS });
        }
        match (&mut self.rows, store) {
            (Rows::File(writer), Some(store)) => {
                writer.push(store, bytemuck::cast_slice(values))?;
            }
            (Rows::Memory(all), _) => all.extend_from_slice(values),
            (Rows::File(_), None) => unreachable!("a batch on file comes with its file"),
        }
        self.ids.push(id);
        Ok(())
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.ids.is_empty()
    }

    /// Row numbers in ascending order of id.
    fn id_order(&self) -> Result<Vec<u32>, StoreError> {
        let mut order: Vec<u32> = (0..self.ids.len() as u32).collect();
        order.sort_unstable_by_key(|&row| self.ids[row as usize]);
        let twice =
            order.windows(2).find(|pair| self.ids[pair[0] as usize] == self.ids[pair[1] as usize]);
        match twice {
            Some(pair) => Err(StoreError::DuplicateId { id: self.ids[pair[0] as usize] }),
            None => Ok(order),
        }
    }

    /// The segment, in memory.
    pub(crate) fn finish_in_memory(
        self,
        layout: &Arc<Layout>,
        like: Option<&Quantiser>,
    ) -> Result<Segment, StoreError> {
        let order = self.id_order()?;
        let Rows::Memory(all) = self.rows else {
            unreachable!("a batch in memory holds its rows");
        };
        let mut coarse = Vec::with_capacity(self.ids.len() * layout.coarse_len());
        let rows = MemoryRows { values: &all, len: self.shape.values() };
        let made = make(layout, &rows, like, &mut |line| {
            coarse.extend_from_slice(line);
            Ok(())
        })?;
        let bytes = |bytes: &[u8]| Bytes::copy(bytes);
        let clusters = made.clusters.as_ref().map(|made| {
            let [starts, representatives, reach_steps, reaches, widest] =
                cluster_sections(made).map(|(_, part)| bytes(part));
            ClusterParts { starts, representatives, reach_steps, reaches, widest }
        });
        Ok(Segment::new(
            layout.clone(),
            made.quantiser,
            Parts {
                ids: bytes(bytemuck::cast_slice(&self.ids)),
                id_order: bytes(bytemuck::cast_slice(&order)),
                order: bytes(bytemuck::cast_slice(&made.order)),
                places: bytes(bytemuck::cast_slice(&made.places)),
                block_boxes: bytes(&made.block_boxes),
                group_boxes: bytes(&made.group_boxes),
                sketches: bytes(&made.sketches),
                coarse: bytes(&coarse),
                clusters,
                curves: Bytes::Values(Arc::new(all)),
            },
        ))
    }

    /// Writes the segment behind those of `store`: all of the next state but its commit.
    pub(crate) fn finish_on_file(
        self,
        store: &mut FileStore,
        layout: &Layout,
        like: Option<&Quantiser>,
    ) -> Result<State, StoreError> {
        let order = self.id_order()?;
        let Rows::File(mut writer) = self.rows else {
            unreachable!("a batch on file wrote its rows");
        };
        let mut segments = store.state.segments.clone();
        let end = if self.ids.is_empty() {
            writer.start()
        } else {
            let curves = writer.end(store, Kind::Curves)?;
            let rows = FileRows { store, at: curves.at, rows: self.ids.len(), shape: self.shape };
            let made = make(layout, &rows, like, &mut |line| writer.push(store, line))?;
            let coarse = writer.end(store, Kind::Coarse)?;
            let mut entry =
                SegmentEntry { rows: self.ids.len() as u64, sections: vec![curves, coarse] };
            for (kind, bytes) in [
                (Kind::Ids, bytemuck::cast_slice(&self.ids)),
                (Kind::IdOrder, bytemuck::cast_slice(&order)),
                (Kind::Quantiser, bytemuck::cast_slice(&made.quantiser.to_numbers())),
                (Kind::Order, bytemuck::cast_slice(&made.order)),
                (Kind::Places, bytemuck::cast_slice(&made.places)),
                (Kind::BlockBoxes, &made.block_boxes),
                (Kind::GroupBoxes, &made.group_boxes),
                (Kind::Sketches, &made.sketches),
            ] {
                entry.sections.push(writer.whole(store, kind, bytes)?);
            }
            for (kind, bytes) in made.clusters.iter().flat_map(cluster_sections) {
                entry.sections.push(writer.whole(store, kind, bytes)?);
            }
            segments.push(entry);
            writer.start()
        };
        store.prepare(segments, end)
    }
}

/// What is kept of clusters, section by section.
fn cluster_sections(made: &Clusters) -> [(Kind, &[u8]); 5] {
    [
        (Kind::ClusterStarts, bytemuck::cast_slice(&made.starts)),
        (Kind::Representatives, &made.representatives),
        (Kind::ReachSteps, bytemuck::cast_slice(&made.reach_step)),
        (Kind::Reaches, &made.reach),
        (Kind::WidestReaches, &made.widest),
    ]
}

struct MemoryRows<'a> {
    values: &'a [f32],
    len: usize,
}

impl RowSource<StoreError> for MemoryRows<'_> {
    fn rows(&self) -> usize {
        self.values.len() / self.len
    }

    fn read(&self, row: usize, into: &mut [f32]) -> Result<(), StoreError> {
        into.copy_from_slice(&self.values[row * self.len..(row + 1) * self.len]);
        Ok(())
    }
}

struct FileRows<'a> {
    store: &'a FileStore,
    at: u64,
    rows: usize,
    shape: Shape,
}

impl RowSource<StoreError> for FileRows<'_> {
    fn rows(&self) -> usize {
        self.rows
    }

    fn read(&self, row: usize, into: &mut [f32]) -> Result<(), StoreError> {
        let bytes: &mut [u8] = bytemuck::cast_slice_mut(into);
        let len = (self.shape.values() * 4) as u64;
        self.store.read_at(bytes, self.at + row as u64 * len)
    }
}

impl Builder {
    pub(crate) fn in_memory(shape: Shape) -> Self {
        Self { batch: Batch::in_memory(shape), file: None, path: None }
    }

    pub(crate) fn on_file(
        path: &Path,
        folder: Arc<dyn Folder>,
        shape: Shape,
    ) -> Result<Self, StoreError> {
        let place = building_path(path);
        let medium = folder.create(&place)?;
        let store = FileStore::start(&place, folder, medium, shape)?;
        let batch = Batch::on_file(shape, &store);
        Ok(Self { batch, file: Some(store), path: Some(path.to_owned()) })
    }

    /// Adds a curve (frames x channels, row-major, time first) under `id`.
    ///
    /// # Errors
    /// [`StoreError::Curve`] for a curve of the wrong length or with a value that is not finite;
    /// the builder goes on without it. [`StoreError::Io`] when the disk refuses.
    pub fn push(&mut self, id: u64, values: &[f32]) -> Result<(), StoreError> {
        self.batch.push(self.file.as_mut(), id, values)
    }

    /// Ends the build. An index on file takes its name now, replacing a file of that name, and is
    /// open for writing.
    ///
    /// # Errors
    /// [`StoreError::DuplicateId`] if an id came twice, [`StoreError::Locked`] if a file of that name is open
    /// for writing, [`StoreError::Io`] when the disk refuses; a file that had the name before is then
    /// untouched, unless the system refuses to sync the folder: then the name is that of the new file, and
    /// whether it stays so when the power fails is not known.
    pub fn finish(self) -> Result<Index, StoreError> {
        // Held until the name is another file's.
        let replaced = match (&self.file, &self.path) {
            (Some(store), Some(path)) => store.folder.hold(path)?,
            _ => None,
        };
        let (index, confirmed) = self.finish_named()?;
        drop(replaced);
        confirmed?;
        Ok(index)
    }

    /// Ends the build; also whether the name is known to be durable, without which nothing more is written to
    /// the index. The caller holds the lock of the file that is replaced.
    pub(crate) fn finish_named(mut self) -> Result<(Index, Result<(), StoreError>), StoreError> {
        let shape = self.batch.shape;
        let layout = Arc::new(Layout::new(shape));
        let empty = Batch::in_memory(shape);
        let batch = std::mem::replace(&mut self.batch, empty);
        let (Some(store), Some(path)) = (&mut self.file, &self.path) else {
            let segments = match batch.is_empty() {
                true => Vec::new(),
                false => vec![batch.finish_in_memory(&layout, None)?],
            };
            return Ok((Index::from_parts(layout, segments, Store::Memory), Ok(())));
        };
        let next = batch.finish_on_file(store, &layout, None)?;
        // All that can fail comes before the name is taken.
        let segments = read_segments(&store.path, &store.map()?, &layout, &next)?;
        store.commit(next)?;
        store.rename(path)?;
        let confirmed = store.confirm_name();
        match self.file.take() {
            Some(store) => Ok((Index::from_parts(layout, segments, Store::File(store)), confirmed)),
            None => unreachable!("matched above"),
        }
    }
}

impl Drop for Builder {
    /// An unfinished file is taken away.
    fn drop(&mut self) {
        if let Some(store) = &self.file
            && self.path.as_ref() != Some(&store.path)
        {
            // Nothing is lost if this fails: the next build empties the file.
            let _ = store.folder.remove(&store.path);
        }
    }
}
