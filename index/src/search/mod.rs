//! Searching an index: the plain scan and the pruned search, which answer alike.

mod all;
mod crew;
mod filter;
mod pruned;
mod scan;
mod top;

pub(crate) use crew::Crew;
pub use filter::IdFilter;
pub(crate) use pruned::behind;

use std::num::NonZeroUsize;
use std::ops::Range;

use thiserror::Error;

use crate::params::{Curve, Neighbour, ParamError, ValidDtwParams};
use crate::store::Index;

/// How a search goes about it; every strategy gives the same answer, bit by bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Strategy {
    /// Compares the query with every curve: the oracle.
    Scan,
    /// Cheap lower bounds first, the kernel only where they do not decide.
    #[default]
    Pruned,
}

/// What a search did: how many curves reached each stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Stages {
    /// Curves that passed the filter.
    pub curves: u64,
    /// Groups of up to 16 curves whose box was looked at.
    pub groups: u64,
    /// Representatives of clusters that were compared.
    pub representatives: u64,
    /// Curves whose sketch was looked at.
    pub sketches: u64,
    /// Curves whose coarse copy was warped in boxes.
    pub coarse: u64,
    /// Curves whose coarse copy was warped frame by frame.
    pub warped: u64,
    /// Curves compared exactly.
    pub kernel: u64,
}

impl Stages {
    /// Each stage's name and count, in order.
    #[must_use]
    pub fn named(&self) -> Vec<(&'static str, u64)> {
        vec![
            ("curves", self.curves),
            ("groups", self.groups),
            ("representatives", self.representatives),
            ("sketches", self.sketches),
            ("coarse", self.coarse),
            ("warped", self.warped),
            ("kernel", self.kernel),
        ]
    }
}

/// Curves found, nearest first, ties to the smaller id.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answer {
    /// The curves found.
    pub neighbours: Vec<Neighbour>,
    /// How many curves reached each stage.
    pub stages: Stages,
}

/// Why a search was refused.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum QueryError {
    /// The query is no curve of the index's shape.
    #[error("query {0}")]
    Query(#[from] ParamError),
    /// The parameters were made for another number of channels.
    #[error("parameters: made for {found} channels, the index has {expected}; make new ones")]
    Channels {
        /// Channels of the index.
        expected: usize,
        /// Channels of the parameters.
        found: usize,
    },
    /// A section that is empty or reaches past the end.
    #[error("section: frames {start}..{end} of {frames}; give at least one frame inside the curve")]
    Section {
        /// First frame.
        start: usize,
        /// Frame behind the last.
        end: usize,
        /// Frames there are.
        frames: usize,
    },
    /// A radius that is not a number, or below 0.
    #[error("radius: the cost may be at most {0}; give a number of at least 0")]
    Radius(f64),
}

/// The k nearest curves: what to look for and how.
///
/// Fields left alone: no filter, the whole curve, pruned, one thread.
#[derive(Debug, Clone)]
pub struct Nearest<'a> {
    pub(crate) params: &'a ValidDtwParams,
    pub(crate) k: usize,
    pub(crate) max_cost: f64,
    pub(crate) how: How<'a>,
}

/// What all searches share.
#[derive(Debug, Clone)]
pub(crate) struct How<'a> {
    pub(crate) filter: Option<&'a IdFilter>,
    pub(crate) section: Option<Range<usize>>,
    pub(crate) strategy: Strategy,
    pub(crate) threads: NonZeroUsize,
    pub(crate) mapped_bytes: Option<usize>,
}

impl<'a> Nearest<'a> {
    /// The `k` nearest under `params`; fewer come back where the index (or the filter) holds fewer.
    #[must_use]
    pub fn new(params: &'a ValidDtwParams, k: usize) -> Self {
        let how = How {
            filter: None,
            section: None,
            strategy: Strategy::default(),
            threads: NonZeroUsize::MIN,
            mapped_bytes: None,
        };
        Self { params, k, max_cost: f64::INFINITY, how }
    }

    /// Looks only at curves the filter lets through; applied before the search, so `k` curves come
    /// back whenever `k` pass.
    #[must_use]
    pub fn filter(mut self, filter: &'a IdFilter) -> Self {
        self.how.filter = Some(filter);
        self
    }

    /// Compares only these frames, of the query with the same frames of each curve, inside the same
    /// band. The query stays a whole curve.
    #[must_use]
    pub fn section(mut self, frames: Range<usize>) -> Self {
        self.how.section = Some(frames);
        self
    }

    /// Chooses the strategy.
    #[must_use]
    pub fn strategy(mut self, strategy: Strategy) -> Self {
        self.how.strategy = strategy;
        self
    }

    /// How many threads work on the query; the answer does not depend on it.
    #[must_use]
    pub fn threads(mut self, threads: NonZeroUsize) -> Self {
        self.how.threads = threads;
        self
    }

    /// Lets about so many bytes of curves and their copies stay mapped, in pieces of 2 MB and at least one
    /// piece; sketches and boxes, which every search reads, come on top (a million curves of 101 x 12: 163 MB).
    ///
    /// Without it so much of curves and coarse copies stays mapped that with lists and the search's own memory it
    /// comes to about 64 MB. `usize::MAX` keeps all that
    /// searches touch, which spares the next one a part of its time. For a file, on Unix; changes no answer.
    #[must_use]
    pub fn mapped_bytes(mut self, most: usize) -> Self {
        self.how.mapped_bytes = Some(most);
        self
    }

    /// Only curves with a cost of at most `max_cost`.
    ///
    /// Of curves in several indexes, asked one after the other, the cost of the k-th best so far is such a
    /// limit: the `k` least by (cost, id) of all answers are then the answer of one index of all curves. (Not
    /// a hair less than that cost: one that costs as much may come in through a smaller id.)
    #[must_use]
    pub fn max_cost(mut self, max_cost: f64) -> Self {
        self.max_cost = max_cost;
        self
    }
}

impl Index {
    /// The nearest curves to `query` (frames x channels, of the index's shape), nearest first; ties
    /// go to the smaller id.
    ///
    /// Costs depend on nothing but the two curves and the parameters. `k` of 0 gives no curve.
    /// Example: see [`Index`].
    ///
    /// # Errors
    /// [`QueryError`] if query, parameters or section do not fit the index.
    pub fn nearest(&self, query: &[f32], what: &Nearest<'_>) -> Result<Answer, QueryError> {
        let (query, section) = self.checked(query, what)?;
        Ok(match what.how.strategy {
            Strategy::Scan => scan::nearest(self, query, what, &section),
            Strategy::Pruned => pruned::nearest(self, query, what, &section),
        })
    }

    /// Query and section, checked; what earlier searches left mapped beyond what this one may is given back.
    fn checked<'q>(
        &self,
        query: &'q [f32],
        what: &Nearest<'_>,
    ) -> Result<(Curve<'q>, Range<usize>), QueryError> {
        let shape = self.shape();
        let query = shape.curve(query)?;
        if what.params.channels() != shape.channels() {
            return Err(QueryError::Channels {
                expected: shape.channels(),
                found: what.params.channels(),
            });
        }
        if what.max_cost.is_nan() || what.max_cost < 0.0 {
            return Err(QueryError::Radius(what.max_cost));
        }
        let section = self.section(&what.how)?;
        self.keep_mapped(what.how.mapped_bytes);
        Ok((query, section))
    }

    /// Every curve with a cost of at most `max_cost`, nearest first, ties to the smaller id.
    ///
    /// ```
    /// use curve_index::{DtwParams, Index, Nearest, Shape};
    /// let mut builder = Index::in_memory(Shape::new(2, 1)?);
    /// builder.push(1, &[0.0, 0.0])?;
    /// builder.push(2, &[0.0, 1.0])?;
    /// builder.push(3, &[0.0, 2.0])?;
    /// let index = builder.finish()?;
    /// let params = DtwParams::new(1).band_frames(0).check()?;
    /// let all = index.within(&[0.0, 0.0], 1.0, &Nearest::new(&params, usize::MAX))?;
    /// assert_eq!(all.neighbours.iter().map(|n| n.id).collect::<Vec<_>>(), [1, 2]);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// As [`nearest`](Self::nearest); [`QueryError::Radius`] if `max_cost` is below 0 or no number.
    pub fn within(
        &self,
        query: &[f32],
        max_cost: f64,
        what: &Nearest<'_>,
    ) -> Result<Answer, QueryError> {
        self.nearest(query, &what.clone().max_cost(max_cost))
    }

    /// The costs of the curves with these ids, in their order: `None` where the index holds no such curve, or
    /// where its cost is above the [`max_cost`](Nearest::max_cost) of `what`.
    ///
    /// Nothing is searched for: `k`, filter and strategy of `what` play no part. Each curve meets the kernel,
    /// eight at a time.
    ///
    /// ```
    /// use curve_index::{DtwParams, Index, Nearest, Shape};
    /// let mut builder = Index::in_memory(Shape::new(2, 1)?);
    /// builder.push(1, &[0.0, 0.0])?;
    /// builder.push(2, &[0.0, 3.0])?;
    /// let index = builder.finish()?;
    /// let params = DtwParams::new(1).band_frames(0).check()?;
    /// let costs = index.costs(&[0.0, 1.0], &[2, 7, 1], &Nearest::new(&params, 0))?;
    /// assert_eq!(costs, [Some(4.0), None, Some(1.0)]); // (1 - 3)^2; not there; (1 - 0)^2
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// As [`nearest`](Self::nearest).
    pub fn costs(
        &self,
        query: &[f32],
        ids: &[u64],
        what: &Nearest<'_>,
    ) -> Result<Vec<Option<f64>>, QueryError> {
        let (query, section) = self.checked(query, what)?;
        let place = |id: u64| {
            (0_u32..)
                .zip(self.parts())
                .find_map(|(number, segment)| Some((number, segment.row_of(id)? as u32)))
        };
        let mut held: Vec<(all::At, usize)> =
            ids.iter().enumerate().filter_map(|(number, &id)| Some((place(id)?, number))).collect();
        // As they lie in the file.
        held.sort_unstable();
        let at: Vec<all::At> = held.iter().map(|&(at, _)| at).collect();
        let mut costs = vec![None; ids.len()];
        for ((_, number), cost) in held.iter().zip(all::costs(self, query, what, &section, &at)) {
            costs[*number] = Some(cost).filter(|&cost| cost <= what.max_cost);
        }
        Ok(costs)
    }

    fn section(&self, how: &How<'_>) -> Result<Range<usize>, QueryError> {
        let frames = self.shape().frames();
        let section = how.section.clone().unwrap_or(0..frames);
        if section.start >= section.end || section.end > frames {
            return Err(QueryError::Section { start: section.start, end: section.end, frames });
        }
        Ok(section)
    }
}

/// The query's frames of the section.
fn cut<'a>(curve: Curve<'a>, section: &Range<usize>) -> Curve<'a> {
    curve.section(section)
}
