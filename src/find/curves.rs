//! The curve index of each channel set: derived, kept in step with the store, searched exactly.
//!
//! `curves/<set>.index` is the engine's file; `curves/<set>.mark` says which library it belongs to
//! and which change of the store it covers, and is written last. Whatever a crash leaves in
//! between, the next writer compares ids and repairs; a reader puts what is missing beside the
//! file, in memory.

use std::collections::{BTreeMap, HashSet};
use std::fs::{self, File};
use std::io::Write;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};

use curve_index::{Curve, IdFilter, Index, Nearest, QueryError, Shape, Strategy, ValidDtwParams};
use rusqlite::{Row, params};

use crate::library::read::count;
use crate::library::stored::read_curve;
use crate::library::{Library, ServeId, StoreError};
use crate::serve::CURVE_FRAMES;

const FOLDER: &str = "curves";
/// Counts up when an index must be built anew though the store did not change.
const CURVES_FORMAT: u32 = 1;
/// More segments than this slow a search down; they are joined then.
const SEGMENT_LIMIT: usize = 24;
/// What a search may leave mapped for the next: a review searches several times, and among a million curves
/// about half of its time went into mapping the same pages again.
const MAPPED_BYTES: usize = 256 << 20;

/// The curves of one channel set, ready to be searched; a view of the moment it was opened.
#[derive(Debug)]
pub struct CurveSet {
    shape: Shape,
    file: Option<Index>,
    /// Curves the file does not hold yet.
    late: Option<Index>,
    /// Their ids, ascending; the file's curves of these ids are out of date.
    late_ids: Vec<u64>,
}

/// A serve found by [`CurveSet::nearest`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearServe {
    /// The serve.
    pub serve: ServeId,
    /// DTW cost: weighted squared differences along the best path, no root taken.
    pub cost: f64,
}

/// Which serves take part in a search.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Among<'a> {
    /// These.
    Only(&'a [ServeId]),
    /// All the set holds but these.
    Except(&'a [ServeId]),
}

impl CurveSet {
    /// The `k` serves among `among` whose curves cost least to align with `query`, cheapest
    /// first, ties to the smaller id. Exact, whatever the strategy.
    ///
    /// `query`: [`CURVE_FRAMES`] x channels, row-major, of this channel set.
    ///
    /// # Errors
    /// [`QueryError`] if query or parameters do not fit the channel set.
    pub fn nearest(
        &self,
        query: &[f32],
        params: &ValidDtwParams,
        k: usize,
        among: &[ServeId],
        strategy: Strategy,
    ) -> Result<Vec<NearServe>, QueryError> {
        self.nearest_among(query, params, k, Among::Only(among), strategy)
    }

    /// As [`Self::nearest`]. [`Among::Except`] asks for no list of those that take part, but is right
    /// only if the set holds the serves of the store and no others ([`Self::is_all_of`]).
    pub(crate) fn nearest_among(
        &self,
        query: &[f32],
        params: &ValidDtwParams,
        k: usize,
        among: Among<'_>,
        strategy: Strategy,
    ) -> Result<Vec<NearServe>, QueryError> {
        let threads = std::thread::available_parallelism().unwrap_or(NonZeroUsize::MIN);
        let unsigned = |serves: &[ServeId]| -> Vec<u64> {
            serves.iter().map(|serve| serve.0.cast_unsigned()).collect()
        };
        let filters = match among {
            Among::Only(serves) => {
                let (late, kept): (Vec<u64>, Vec<u64>) = unsigned(serves)
                    .into_iter()
                    .partition(|id| self.late_ids.binary_search(id).is_ok());
                let only = |ids: Vec<u64>| (!ids.is_empty()).then(|| IdFilter::only(ids));
                [only(kept), only(late)]
            }
            Among::Except(serves) => {
                let out = unsigned(serves);
                let outdated = out.iter().chain(&self.late_ids).copied();
                [Some(IdFilter::except(outdated)), Some(IdFilter::except(out.iter().copied()))]
            }
        };
        let mut found = Vec::new();
        for (index, filter) in [&self.file, &self.late].into_iter().zip(&filters) {
            if let (Some(index), Some(filter)) = (index, filter) {
                let what = Nearest::new(params, k)
                    .filter(filter)
                    .strategy(strategy)
                    .threads(threads)
                    .mapped_bytes(MAPPED_BYTES);
                found.extend(index.nearest(query, &what)?.neighbours);
            }
        }
        found.sort_by(|a, b| a.cost.total_cmp(&b.cost).then(a.id.cmp(&b.id)));
        found.truncate(k);
        Ok(found
            .into_iter()
            .map(|one| NearServe { serve: ServeId(one.id.cast_signed()), cost: one.cost })
            .collect())
    }

    /// Whether the set holds as many serves as the store, `stored`: then it holds the same ones. What the
    /// store has and the file lacks lies beside it, so only serves that are gone can be too many.
    pub(crate) fn is_all_of(&self, stored: usize) -> bool {
        let held = self.file.as_ref().map_or(0, |file| {
            file.len() - self.late_ids.iter().filter(|id| file.curve(**id).is_some()).count()
        });
        held + self.late_ids.len() == stored
    }

    /// The curve of a serve, if the set holds it.
    #[must_use]
    pub fn curve(&self, serve: ServeId) -> Option<Curve<'_>> {
        let id = serve.0.cast_unsigned();
        match self.late_ids.binary_search(&id) {
            Ok(_) => self.late.as_ref()?.curve(id),
            Err(_) => self.file.as_ref()?.curve(id),
        }
    }

    /// Frames and channels of every curve.
    #[must_use]
    pub fn shape(&self) -> Shape {
        self.shape
    }
}

/// What one channel set's index covers.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Mark {
    base: String,
    change: i64,
}

impl Library {
    /// The curves of a channel set, `None` if no serve has it.
    ///
    /// # Errors
    /// [`StoreError::Curves`] if the index fails; [`StoreError::Damaged`]; [`StoreError::Sql`].
    pub fn curves(&self, channel_set: &str) -> Result<Option<CurveSet>, StoreError> {
        let Some(shape) = self.shape_of(channel_set)? else { return Ok(None) };
        let mut mark = self.curves_mark()?;
        let mut there = self.open_curve_set(channel_set, shape, &mark);
        let behind = there.as_ref().is_none_or(|(_, change)| *change != mark.change);
        if self.is_writable()
            && behind
            && let Some(_turn) = self.try_to_build()?
        {
            drop(there);
            let _one_state = self.hold_state()?;
            mark = self.curves_mark()?;
            self.sync_curve_set(channel_set, shape, &mark)?;
            there = self.open_curve_set(channel_set, shape, &mark);
        }
        let Some((file, from)) = there else {
            return self.all_in_memory(channel_set, shape).map(Some);
        };
        let file = Some(file);
        if from >= mark.change {
            return Ok(Some(CurveSet { shape, file, late: None, late_ids: Vec::new() }));
        }
        let (late, late_ids) = self.in_memory_after(channel_set, shape, from)?;
        Ok(Some(CurveSet { shape, file, late: Some(late), late_ids }))
    }

    /// The index of a set and the change it covers, if it is of this library and whole.
    fn open_curve_set(&self, set: &str, shape: Shape, mark: &Mark) -> Option<(Index, i64)> {
        // The mark is read first: an index that moved on meanwhile does no harm.
        let done = self.read_mark(set).filter(|done| done.base == mark.base)?;
        let file = Index::open(self.index_path(set)).ok()?;
        (file.shape() == shape).then_some((file, done.change))
    }

    /// The shape of a set's curves; `None` if no serve has it.
    fn shape_of(&self, channel_set: &str) -> Result<Option<Shape>, StoreError> {
        let channels = self.list(
            "looking for a channel set",
            "SELECT channels FROM serves WHERE channel_set = ?1 LIMIT 1",
            [channel_set],
            |row| count(row, 0),
        )?;
        let shape = |channels| {
            Shape::new(CURVE_FRAMES, channels)
                .map_err(|error| curves_error(self.index_path(channel_set), &error))
        };
        channels.into_iter().next().map(shape).transpose()
    }

    fn all_in_memory(&self, channel_set: &str, shape: Shape) -> Result<CurveSet, StoreError> {
        let (late, late_ids) = self.in_memory_after(channel_set, shape, -1)?;
        Ok(CurveSet { shape, file: None, late: Some(late), late_ids })
    }

    fn in_memory_after(
        &self,
        channel_set: &str,
        shape: Shape,
        change: i64,
    ) -> Result<(Index, Vec<u64>), StoreError> {
        let path = self.index_path(channel_set);
        let mut ids = Vec::new();
        let mut builder = Index::in_memory(shape);
        self.each_curve(channel_set, change, |id, values| {
            ids.push(id.0.cast_unsigned());
            builder
                .push(id.0.cast_unsigned(), &values)
                .map_err(|error| curves_error(path.clone(), &error))
        })?;
        let index = builder.finish().map_err(|error| curves_error(path, &error))?;
        Ok((index, ids))
    }

    /// The channel sets the store holds, with the shape of their curves.
    fn channel_sets(&self) -> Result<BTreeMap<String, Shape>, StoreError> {
        let sets = self.list(
            "listing channel sets",
            // From one set to the next by the index: a list of all serves would cost what they cost.
            "WITH RECURSIVE sets (name) AS (
                SELECT min(channel_set) FROM serves
                UNION ALL
                SELECT (SELECT min(channel_set) FROM serves WHERE channel_set > name)
                FROM sets WHERE name IS NOT NULL)
             SELECT name, (SELECT channels FROM serves WHERE channel_set = name LIMIT 1)
             FROM sets WHERE name IS NOT NULL",
            [],
            |row| Ok((row.get::<_, String>(0)?, count(row, 1)?)),
        )?;
        sets.into_iter()
            .map(|(set, channels)| {
                let shape = Shape::new(CURVE_FRAMES, channels)
                    .map_err(|error| curves_error(self.index_path(&set), &error))?;
                Ok((set, shape))
            })
            .collect()
    }

    fn curves_mark(&self) -> Result<Mark, StoreError> {
        let change = self
            .connection
            .query_row("SELECT serve_changes FROM library", [], |row| row.get(0))
            .map_err(StoreError::sql("reading the change counters"))?;
        Ok(Mark { base: format!("{} {CURVES_FORMAT}", self.uid()), change })
    }

    fn index_path(&self, channel_set: &str) -> PathBuf {
        self.folder().join(FOLDER).join(format!("{channel_set}.index"))
    }

    fn mark_path(&self, channel_set: &str) -> PathBuf {
        self.folder().join(FOLDER).join(format!("{channel_set}.mark"))
    }

    fn read_mark(&self, channel_set: &str) -> Option<Mark> {
        let text = fs::read_to_string(self.mark_path(channel_set)).ok()?;
        // The line end is the proof that the line is whole.
        let (base, change) = text.strip_suffix('\n')?.rsplit_once(' ')?;
        Some(Mark { base: base.to_owned(), change: change.parse().ok()? })
    }

    fn write_mark(&self, channel_set: &str, mark: &Mark) -> Result<(), StoreError> {
        let path = self.mark_path(channel_set);
        let new = path.with_extension("mark.new");
        self.seam.before_write("writing the mark of curves");
        File::create(&new)
            .and_then(|mut file| {
                writeln!(file, "{} {}", mark.base, mark.change)?;
                file.sync_all()
            })
            .map_err(StoreError::io(&new, "writing the mark"))?;
        self.seam.before_write("renaming the mark of curves");
        fs::rename(&new, &path).map_err(StoreError::io(&path, "writing the mark"))
    }

    /// Whether the index of a set covers the store's last change, going by its mark and header. Damage
    /// further on is found by whoever searches it.
    fn curve_set_is_in_step(&self, set: &str, shape: Shape, mark: &Mark) -> bool {
        self.read_mark(set).as_ref() == Some(mark)
            && Index::shape_of(self.index_path(set)).is_ok_and(|found| found == shape)
    }

    /// Whether every curve index covers the store's last change, and none is left over.
    pub(super) fn curves_are_in_step(&self) -> Result<bool, StoreError> {
        let sets = self.channel_sets()?;
        let mark = self.curves_mark()?;
        let left_over = self.curve_files()?.iter().any(|path| !sets.contains_key(&set_of(path)));
        Ok(!left_over
            && sets.iter().all(|(set, &shape)| self.curve_set_is_in_step(set, shape, &mark)))
    }

    /// Brings every curve index up to the store, and removes those of sets nobody has any more.
    pub(super) fn sync_curves(&self) -> Result<(), StoreError> {
        let sets = self.channel_sets()?;
        let mark = self.curves_mark()?;
        for (set, &shape) in &sets {
            self.sync_curve_set(set, shape, &mark)?;
        }
        for path in self.curve_files()? {
            if !sets.contains_key(&set_of(&path)) {
                self.seam.before_write("removing curves");
                fs::remove_file(&path).map_err(StoreError::io(&path, "removing old curves"))?;
            }
        }
        Ok(())
    }

    fn curve_files(&self) -> Result<Vec<PathBuf>, StoreError> {
        let folder = self.folder().join(FOLDER);
        if !folder.exists() {
            return Ok(Vec::new());
        }
        fs::read_dir(&folder)
            .and_then(|entries| entries.map(|entry| entry.map(|e| e.path())).collect())
            .map_err(StoreError::io(&folder, "listing"))
    }

    fn sync_curve_set(&self, set: &str, shape: Shape, mark: &Mark) -> Result<(), StoreError> {
        let done = self.read_mark(set).filter(|done| done.base == mark.base);
        let path = self.index_path(set);
        let Some(done) = done else { return self.rebuild_curve_set(set, shape, mark) };
        // An index that does not open is worth nothing; it is derived.
        let Ok(mut index) = Index::open_for_writing(&path) else {
            return self.rebuild_curve_set(set, shape, mark);
        };
        if done == *mark && index.shape() == shape {
            return Ok(());
        }
        let stored = self.curve_ids(set)?;
        let here: HashSet<u64> = stored.iter().map(|(id, _)| *id).collect();
        let held: HashSet<u64> = index.ids().collect();
        if index.shape() != shape || held.iter().any(|id| !here.contains(id)) {
            // Someone was removed: no file may go on holding those curves.
            drop(index);
            return self.rebuild_curve_set(set, shape, mark);
        }
        let failed = |error| curves_error(path.clone(), &error);
        let outdated: Vec<u64> = stored
            .iter()
            .filter(|(id, change)| *change > done.change && held.contains(id))
            .map(|(id, _)| *id)
            .collect();
        if !outdated.is_empty() {
            self.seam.before_write("deleting curves");
            index.delete(&outdated).map_err(failed)?;
        }
        let held: HashSet<u64> = index.ids().collect();
        let mut late = Vec::new();
        self.each_curve(
            set,
            done.change.min(self.oldest_missing(&stored, &held)),
            |id, values| {
                let id = id.0.cast_unsigned();
                if !held.contains(&id) {
                    late.push((id, values));
                }
                Ok(())
            },
        )?;
        if !late.is_empty() {
            self.seam.before_write("appending curves");
            index.append(late.iter().map(|(id, values)| (*id, &values[..]))).map_err(failed)?;
        }
        if index.segments() > SEGMENT_LIMIT {
            self.seam.before_write("joining curves");
            index.compact().map_err(failed)?;
        }
        self.write_mark(set, mark)
    }

    /// A change number below that of every stored serve the index lacks.
    fn oldest_missing(&self, stored: &[(u64, i64)], held: &HashSet<u64>) -> i64 {
        let missing = stored.iter().filter(|(id, _)| !held.contains(id));
        missing.map(|(_, change)| change - 1).min().unwrap_or(i64::MAX)
    }

    /// Builds one set's index from nothing, beside the old one, which it then replaces.
    fn rebuild_curve_set(&self, set: &str, shape: Shape, mark: &Mark) -> Result<(), StoreError> {
        let path = self.index_path(set);
        let folder = self.folder().join(FOLDER);
        self.seam.before_write("making the folder of curves");
        fs::create_dir_all(&folder).map_err(StoreError::io(&folder, "making the folder"))?;
        let failed = |error| curves_error(path.clone(), &error);
        let mut builder = Index::create(&path, shape).map_err(failed)?;
        self.each_curve(set, -1, |id, values| {
            builder.push(id.0.cast_unsigned(), &values).map_err(failed)
        })?;
        self.seam.before_write("finishing curves");
        builder.finish().map_err(failed)?;
        self.write_mark(set, mark)
    }

    /// Builds every index from nothing.
    pub(super) fn rebuild_curves(&self) -> Result<(), StoreError> {
        let mark = self.curves_mark()?;
        for path in self.curve_files()? {
            fs::remove_file(&path).map_err(StoreError::io(&path, "removing old curves"))?;
        }
        for (set, shape) in self.channel_sets()? {
            self.rebuild_curve_set(&set, shape, &mark)?;
        }
        Ok(())
    }

    /// Where the indexes and the store disagree, in words.
    pub(super) fn check_curves(&self) -> Result<Vec<String>, StoreError> {
        let mark = self.curves_mark()?;
        let mut findings = Vec::new();
        for (set, shape) in self.channel_sets()? {
            let index = match Index::open(self.index_path(&set)) {
                Ok(index) => index,
                Err(error) => {
                    findings.push(error.to_string());
                    continue;
                }
            };
            if let Err(error) = index.verify() {
                findings.push(error.to_string());
                continue;
            }
            if self.read_mark(&set).as_ref() != Some(&mark) {
                findings.push(format!("the curve index of {set} is behind the store"));
            }
            if index.shape() != shape {
                findings.push(format!("the curve index of {set} has curves of another shape"));
                continue;
            }
            let held = index.ids().collect::<HashSet<_>>();
            let mut stored = 0;
            let mut wrong = Vec::new();
            self.each_curve(&set, -1, |id, values| {
                stored += 1;
                let curve = index.curve(id.0.cast_unsigned());
                let same = curve.is_some_and(|curve| {
                    curve
                        .values()
                        .iter()
                        .map(|v| v.to_bits())
                        .eq(values.iter().map(|v| v.to_bits()))
                });
                if !same {
                    wrong.push(id);
                }
                Ok(())
            })?;
            if let Some(first) = wrong.first() {
                let n = wrong.len();
                findings.push(format!("{n} curves of {set} are missing or differ, first {first}"));
            }
            let surplus = (held.len() + wrong.len()).saturating_sub(stored);
            if surplus > 0 && held.len() > stored {
                findings.push(format!("the curve index of {set} holds {surplus} serves too many"));
            }
        }
        Ok(findings)
    }

    /// Id and change number of every serve of a set, by id.
    fn curve_ids(&self, set: &str) -> Result<Vec<(u64, i64)>, StoreError> {
        self.list(
            "listing curves",
            "SELECT id, serve_change FROM serves WHERE channel_set = ?1 ORDER BY id",
            [set],
            |row| Ok((row.get::<_, i64>(0)?.cast_unsigned(), row.get(1)?)),
        )
    }

    /// Hands every curve of a set that changed after `change` to `visit`, by id.
    fn each_curve(
        &self,
        set: &str,
        change: i64,
        mut visit: impl FnMut(ServeId, Vec<f32>) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        let sql = || StoreError::sql("reading curves");
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT s.id, s.channels, d.curve, d.curve_sum
                 FROM serves s JOIN serve_data d ON d.serve = s.id
                 WHERE s.channel_set = ?1 AND s.serve_change > ?2 ORDER BY s.id",
            )
            .map_err(sql())?;
        let mut rows = statement.query(params![set, change]).map_err(sql())?;
        while let Some(row) = rows.next().map_err(sql())? {
            let read = |row: &Row<'_>| {
                Ok((ServeId(row.get(0)?), count(row, 1)?, row.get::<_, Vec<u8>>(2)?, row.get(3)?))
            };
            let (id, channels, bytes, sum) = read(row).map_err(sql())?;
            let values = read_curve(&bytes, channels, sum)
                .map_err(|why| StoreError::Damaged { what: format!("curve of {id}"), why })?;
            visit(id, values)?;
        }
        Ok(())
    }
}

/// The channel set a file belongs to, by its name.
fn set_of(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.split_once('.').map_or(&*name, |(set, _)| set).to_owned()
}

fn curves_error(path: PathBuf, error: &dyn std::error::Error) -> StoreError {
    StoreError::Curves { path, why: error.to_string() }
}
