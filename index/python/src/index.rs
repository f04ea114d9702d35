//! The index as a Python class.

use std::path::PathBuf;
use std::sync::{PoisonError, RwLock};

use curve_index::{Nearest, Shape, StoreError};
use numpy::{IntoPyArray, PyArray1, PyArray2, PyArrayMethods};
use pyo3::exceptions::{PyKeyError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::PyTuple;

use crate::answers;
use crate::errors::{of_store, refused};
use crate::input::{Many, One, filter, ids, params, thread_count};

/// Curves of one shape under ids, in memory or on file, to be searched exactly.
///
/// Made by `Index.build` and `Index.open`, never by `Index()`. Any number of threads may search one index; a
/// change waits for the searches under way. Usable in a `with` statement, which closes it. An index can be
/// pickled: one on file as its path, to be opened for reading; one in memory with its curves.
///
/// A curve is frames x channels, time first, float32, every value finite. Ids are whole numbers from 0 to
/// 2^64 - 1. Costs are sums of weighted squared differences along the best warping path, no root taken;
/// order is (cost, id).
#[pyclass(frozen, module = "curve_index")]
pub(crate) struct Index {
    /// `None` once closed.
    held: RwLock<Option<curve_index::Index>>,
    path: Option<PathBuf>,
    shape: Shape,
}

/// What a search was asked, as Python said it.
struct Asked<'a, 'py> {
    query: &'a Bound<'py, PyAny>,
    band_frames: Option<usize>,
    weights: Option<&'a Bound<'py, PyAny>>,
    ids: Option<&'a Bound<'py, PyAny>>,
    not_ids: Option<&'a Bound<'py, PyAny>>,
    cutoff: f64,
    threads: usize,
}

fn closed() -> PyErr {
    PyValueError::new_err("index: closed; open it again")
}

impl Index {
    fn new(index: curve_index::Index, path: Option<PathBuf>) -> Self {
        let shape = index.shape();
        Self { held: RwLock::new(Some(index)), path, shape }
    }

    /// Reads the index, detached from the interpreter: whoever waits for the lock holds nobody up.
    fn read<T: Send>(
        &self,
        py: Python<'_>,
        job: impl FnOnce(&curve_index::Index) -> T + Send,
    ) -> PyResult<T> {
        py.detach(|| {
            let held = self.held.read().unwrap_or_else(PoisonError::into_inner);
            held.as_ref().map(job)
        })
        .ok_or_else(closed)
    }

    /// Changes the index, detached likewise.
    fn change<T: Send>(
        &self,
        py: Python<'_>,
        job: impl FnOnce(&mut curve_index::Index) -> Result<T, StoreError> + Send,
    ) -> PyResult<T> {
        py.detach(|| {
            let mut held = self.held.write().unwrap_or_else(PoisonError::into_inner);
            held.as_mut().map(job)
        })
        .ok_or_else(closed)?
        .map_err(|error| of_store(py, error))
    }

    fn search<'py>(&self, k: usize, asked: &Asked<'_, 'py>) -> PyResult<Bound<'py, PyAny>> {
        let py = asked.query.py();
        let query = One::new(asked.query, "query")?;
        let values = query.values()?;
        let (frames, channels) = (self.shape.frames(), self.shape.channels());
        // Of another length the engine says so itself.
        if values.len() == self.shape.values() && query.shape() != (frames, channels) {
            let found = query.shape();
            return Err(PyValueError::new_err(format!(
                "query: expected {frames} frames x {channels} channels, found {} x {}; \
                 transpose or reshape it",
                found.0, found.1
            )));
        }
        let params = params(channels, asked.band_frames, asked.weights)?;
        let filter = filter(asked.ids, asked.not_ids)?;
        let mut what =
            Nearest::new(&params, k).threads(thread_count(asked.threads)?).max_cost(asked.cutoff);
        if let Some(filter) = &filter {
            what = what.filter(filter);
        }
        let answer = self.read(py, |index| index.nearest(values, &what))?.map_err(refused)?;
        answers::neighbors(py, answer.neighbours)
    }
}

/// Ids given, or the places of the curves where none are.
fn numbered(given: Option<&Bound<'_, PyAny>>, count: usize) -> PyResult<Vec<u64>> {
    let Some(given) = given else { return Ok((0..count as u64).collect()) };
    let ids = ids(given)?;
    if ids.len() != count {
        return Err(PyValueError::new_err(format!(
            "ids: one per curve, expected {count}, found {}; give every curve one",
            ids.len()
        )));
    }
    Ok(ids)
}

#[pymethods]
impl Index {
    /// Builds an index of curves.
    ///
    /// Parameters
    /// ----------
    /// curves : array of float32, curves x frames x channels, or list of arrays, frames x channels
    ///     An array whose curves lie in C order is read where it is, also one that is mapped from a file
    ///     (`numpy.load(path, mmap_mode="r")`); anything else is converted once. Must not be changed meanwhile.
    /// ids : array of whole numbers, one per curve, optional
    ///     Each once. None: 0, 1, 2 ...
    /// path : path, optional
    ///     The file to write; one of that name is replaced when the new one is whole. None: in memory.
    ///
    /// Returns
    /// -------
    /// Index
    ///     On file: open for writing.
    ///
    /// Raises
    /// ------
    /// ValueError
    ///     A curve of another shape or with a value that is not finite, an id that comes twice.
    /// IndexFileError
    ///     The file is open for writing elsewhere.
    /// OSError
    ///     The system refuses.
    #[staticmethod]
    #[pyo3(signature = (curves, ids=None, *, path=None))]
    fn build(
        curves: &Bound<'_, PyAny>,
        ids: Option<&Bound<'_, PyAny>>,
        path: Option<PathBuf>,
    ) -> PyResult<Self> {
        let py = curves.py();
        let curves = Many::new(curves)?;
        let (frames, channels) = curves.shape()?;
        let shape = Shape::new(frames, channels).map_err(refused)?;
        let rows = curves.rows()?;
        let ids = numbered(ids, rows.len())?;
        let built = py.detach(|| {
            let mut builder = match &path {
                Some(path) => curve_index::Index::create(path, shape)?,
                None => curve_index::Index::in_memory(shape),
            };
            for (&id, row) in ids.iter().zip(rows) {
                builder.push(id, row)?;
            }
            builder.finish()
        });
        Ok(Self::new(built.map_err(|error| of_store(py, error))?, path))
    }

    /// Opens an index file.
    ///
    /// The file is mapped: little is read before a search asks for it. Other processes may append and delete
    /// meanwhile; an index open for reading keeps the state it opened.
    ///
    /// Parameters
    /// ----------
    /// path : path
    ///     A file written by `Index.build` or by the engine itself.
    /// writable : bool
    ///     Open for `append`, `delete` and `compact` as well; one at a time.
    ///
    /// Raises
    /// ------
    /// IndexFileError
    ///     No index, a damaged one or another format; open for writing elsewhere.
    /// OSError
    ///     The system refuses: FileNotFoundError, PermissionError ...
    #[staticmethod]
    #[pyo3(signature = (path, *, writable=false))]
    fn open(py: Python<'_>, path: PathBuf, writable: bool) -> PyResult<Self> {
        let opened = py.detach(|| match writable {
            true => curve_index::Index::open_for_writing(&path),
            false => curve_index::Index::open(&path),
        });
        Ok(Self::new(opened.map_err(|error| of_store(py, error))?, Some(path)))
    }

    /// Adds curves: all of them, or on error none.
    ///
    /// Each call makes a segment; many small ones cost every search a little, until `compact`.
    ///
    /// Parameters
    /// ----------
    /// curves : array of float32, curves x frames x channels, or list of arrays, frames x channels
    ///     As in `build`, of this index's shape.
    /// ids : array of whole numbers, one per curve
    ///     None that the index holds.
    ///
    /// Raises
    /// ------
    /// ValueError, IndexFileError, OSError
    ///     As `build`; IndexFileError, too, where the index is open for reading.
    fn append(&self, curves: &Bound<'_, PyAny>, ids: &Bound<'_, PyAny>) -> PyResult<()> {
        let py = curves.py();
        let curves = Many::new(curves)?;
        let rows = curves.rows()?;
        if !rows.is_empty() {
            let (frames, channels) = curves.shape()?;
            let expected = (self.shape.frames(), self.shape.channels());
            // Of another length the engine says so itself.
            if frames * channels == self.shape.values() && (frames, channels) != expected {
                return Err(PyValueError::new_err(format!(
                    "curves: expected {} frames x {} channels, found {frames} x {channels}; \
                     transpose or reshape them",
                    expected.0, expected.1
                )));
            }
        }
        let ids = numbered(Some(ids), rows.len())?;
        self.change(py, |index| index.append(ids.into_iter().zip(rows)))
    }

    /// Takes curves out and returns how many of these ids were there.
    ///
    /// Their bytes stay in the file until `compact`.
    ///
    /// Raises
    /// ------
    /// IndexFileError, OSError
    ///     The index is open for reading, or the system refuses; it is then as before.
    fn delete(&self, ids: &Bound<'_, PyAny>) -> PyResult<usize> {
        let gone = crate::input::ids(ids)?;
        self.change(ids.py(), |index| index.delete(&gone))
    }

    /// Rewrites the index as one segment without the deleted curves.
    ///
    /// On file: beside the old one, which it replaces when complete.
    ///
    /// Raises
    /// ------
    /// IndexFileError, OSError
    ///     The index is open for reading, or the system refuses; it then holds what it held.
    fn compact(&self, py: Python<'_>) -> PyResult<()> {
        self.change(py, curve_index::Index::compact)
    }

    /// Reads the whole file and compares every byte of the state that is open with its checksum.
    ///
    /// Raises
    /// ------
    /// IndexFileError
    ///     Naming the first part that does not hold.
    fn verify(&self, py: Python<'_>) -> PyResult<()> {
        self.read(py, curve_index::Index::verify)?.map_err(|error| of_store(py, error))
    }

    /// Gives file and memory back; the index cannot be used any more. Again: nothing.
    fn close(&self, py: Python<'_>) {
        py.detach(|| drop(self.held.write().unwrap_or_else(PoisonError::into_inner).take()));
    }

    /// The k nearest curves, nearest first, ties to the smaller id.
    ///
    /// Exact: what comparing the query with every curve gives, whatever the number of threads.
    ///
    /// Parameters
    /// ----------
    /// query : array of float32, frames x channels
    ///     Of the index's shape.
    /// k : int
    ///     How many; fewer come back where fewer pass.
    /// band_frames : int, optional
    ///     Frame i may meet frame j where abs(i - j) <= band_frames. None: any warping.
    /// weights : sequence of float, one per channel, optional
    ///     Each multiplies its channel's squared differences: 0, or 1e-100 to 1e100. None: 1 for each.
    /// ids : array of whole numbers, optional
    ///     Only these; applied before the search. Ids the index does not hold do no harm.
    /// not_ids : array of whole numbers, optional
    ///     All but these. Not together with ids.
    /// cutoff : float, inf unless given
    ///     Only curves with a cost (not a distance) of at most this. Of several indexes, the cost of the k-th
    ///     best so far is such a limit; see `curve_index.shards`.
    /// threads : int
    ///     Threads that work at it.
    ///
    /// Returns
    /// -------
    /// Neighbors
    ///     ids (uint64) and costs (float64), of one length.
    ///
    /// Raises
    /// ------
    /// ValueError
    ///     A query that does not fit or is not finite, weights that do not fit, a cutoff below 0 or nan, an index
    ///     that was closed.
    #[pyo3(signature = (
        query, k=10, *, band_frames=None, weights=None, ids=None, not_ids=None, cutoff=f64::INFINITY,
        threads=1
    ))]
    #[expect(clippy::too_many_arguments, reason = "they are keywords in Python")]
    fn nearest<'py>(
        &self,
        query: &Bound<'py, PyAny>,
        k: usize,
        band_frames: Option<usize>,
        weights: Option<&Bound<'py, PyAny>>,
        ids: Option<&Bound<'py, PyAny>>,
        not_ids: Option<&Bound<'py, PyAny>>,
        cutoff: f64,
        threads: usize,
    ) -> PyResult<Bound<'py, PyAny>> {
        let asked = Asked { query, band_frames, weights, ids, not_ids, cutoff, threads };
        self.search(k, &asked)
    }

    /// Every curve with a cost of at most the cutoff, nearest first, ties to the smaller id.
    ///
    /// Parameters
    /// ----------
    /// query : array of float32, frames x channels
    ///     Of the index's shape.
    /// cutoff : float
    ///     The largest cost: for a largest distance its square.
    /// band_frames, weights, ids, not_ids, threads
    ///     As in `nearest`.
    ///
    /// Returns
    /// -------
    /// Neighbors
    ///     ids (uint64) and costs (float64), of one length.
    ///
    /// Raises
    /// ------
    /// ValueError
    ///     As `nearest`.
    #[pyo3(signature = (
        query, cutoff, *, band_frames=None, weights=None, ids=None, not_ids=None,
        threads=1
    ))]
    #[expect(clippy::too_many_arguments, reason = "they are keywords in Python")]
    fn within<'py>(
        &self,
        query: &Bound<'py, PyAny>,
        cutoff: f64,
        band_frames: Option<usize>,
        weights: Option<&Bound<'py, PyAny>>,
        ids: Option<&Bound<'py, PyAny>>,
        not_ids: Option<&Bound<'py, PyAny>>,
        threads: usize,
    ) -> PyResult<Bound<'py, PyAny>> {
        let asked = Asked { query, band_frames, weights, ids, not_ids, cutoff, threads };
        self.search(usize::MAX, &asked)
    }

    /// The curve with this id, frames x channels, float32: a copy.
    ///
    /// Raises
    /// ------
    /// KeyError
    ///     The index holds no such curve.
    fn curve<'py>(&self, py: Python<'py>, id: u64) -> PyResult<Bound<'py, PyArray2<f32>>> {
        let values = self.read(py, |index| index.curve(id).map(|curve| curve.values().to_vec()))?;
        let values = values.ok_or_else(|| PyKeyError::new_err(id))?;
        values.into_pyarray(py).reshape([self.shape.frames(), self.shape.channels()])
    }

    /// All ids (uint64), in order of arrival: a new array.
    #[getter]
    fn ids<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyArray1<u64>>> {
        Ok(self.read(py, |index| index.ids().collect::<Vec<u64>>())?.into_pyarray(py))
    }

    /// Frames of every curve.
    #[getter]
    fn frames(&self) -> usize {
        self.shape.frames()
    }

    /// Channels of every frame.
    #[getter]
    fn channels(&self) -> usize {
        self.shape.channels()
    }

    /// How many segments the curves lie in; `compact` makes it 1.
    #[getter]
    fn segments(&self, py: Python<'_>) -> PyResult<usize> {
        self.read(py, curve_index::Index::segments)
    }

    /// The file, or None for an index in memory.
    #[getter]
    fn path(&self) -> Option<PathBuf> {
        self.path.clone()
    }

    fn __len__(&self, py: Python<'_>) -> PyResult<usize> {
        self.read(py, curve_index::Index::len)
    }

    fn __contains__(&self, py: Python<'_>, id: u64) -> PyResult<bool> {
        self.read(py, |index| index.curve(id).is_some())
    }

    fn __repr__(&self, py: Python<'_>) -> String {
        let shape = format!("{} frames x {} channels", self.frames(), self.channels());
        let count = match self.__len__(py) {
            Ok(count) => format!("{count} curves"),
            Err(_) => "closed".to_owned(),
        };
        let place = match &self.path {
            Some(path) => path.display().to_string(),
            None => "in memory".to_owned(),
        };
        format!("<curve_index.Index: {count}, {shape}, {place}>")
    }

    fn __enter__(this: PyRef<'_, Self>) -> PyRef<'_, Self> {
        this
    }

    #[pyo3(signature = (*_why))]
    fn __exit__(&self, py: Python<'_>, _why: &Bound<'_, PyTuple>) {
        self.close(py);
    }

    fn __reduce__<'py>(
        &self,
        py: Python<'py>,
    ) -> PyResult<(Bound<'py, PyAny>, Bound<'py, PyTuple>)> {
        let class = py.get_type::<Self>();
        if let Some(path) = &self.path {
            return Ok((class.getattr("open")?, (path,).into_pyobject(py)?));
        }
        let (ids, values) = self.read(py, |index| {
            let ids: Vec<u64> = index.ids().collect();
            let curves = ids.iter().filter_map(|&id| index.curve(id));
            let values: Vec<f32> = curves.flat_map(|curve| curve.values()).copied().collect();
            (ids, values)
        })?;
        let shape = [ids.len(), self.shape.frames(), self.shape.channels()];
        let curves = values.into_pyarray(py).reshape(shape)?;
        Ok((class.getattr("build")?, (curves, ids.into_pyarray(py)).into_pyobject(py)?))
    }
}
