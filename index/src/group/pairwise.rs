//! All pairs of a set.

use std::num::NonZeroUsize;
use std::sync::{Mutex, PoisonError};

use super::near::Near;
use super::{GroupError, check};
use crate::dtw::{ExactScratch, Scratch, WIDTH, dtw, exact};
use crate::lanes::Level;
use crate::params::{Curve, ValidDtwParams};
use crate::search::Crew;

/// The costs of all pairs, each once: (0,1), (0,2) .. (0,n-1), (1,2) .. (n-2,n-1).
///
/// The order is that of SciPy's `squareform` and of the usual clustering libraries.
#[derive(Debug, Clone, PartialEq)]
pub struct Condensed {
    members: usize,
    costs: Vec<f64>,
}

impl Condensed {
    /// Number of curves.
    #[must_use]
    pub fn members(&self) -> usize {
        self.members
    }

    /// Cost of aligning curve `i` with curve `j`; 0 where they are the same.
    ///
    /// # Panics
    /// If `i` or `j` is not below [`members`](Self::members).
    #[must_use]
    pub fn cost(&self, i: usize, j: usize) -> f64 {
        assert!(i < self.members && j < self.members, "pair ({i}, {j}) of {}", self.members);
        let (low, high) = (i.min(j), i.max(j));
        if low == high { 0.0 } else { self.costs[row_start(self.members, low) + high - low - 1] }
    }

    /// All costs in condensed order.
    #[must_use]
    pub fn costs(&self) -> &[f64] {
        &self.costs
    }

    /// The costs, given away.
    #[must_use]
    pub fn into_costs(self) -> Vec<f64> {
        self.costs
    }

    /// The full matrix, members x members, row-major.
    #[must_use]
    pub fn to_square(&self) -> Vec<f64> {
        let n = self.members;
        (0..n * n).map(|at| self.cost(at / n, at % n)).collect()
    }
}

/// Place of the pair (`row`, `row + 1`).
fn row_start(members: usize, row: usize) -> usize {
    row * (2 * members - row - 1) / 2
}

/// The costs of all pairs of `curves`; a pair whose cost is above `cutoff` has infinity.
///
/// O(n^2) kernels, spread over at most `threads`, as far as there are processors and the threads of rayon's pool
/// are free; the answer does not depend on their number. With a finite cutoff
/// curves of like length are put into an index in memory (about 1.4 times their own size), whose bounds
/// come before the kernel. Fewer than two curves give an empty matrix.
///
/// ```
/// use curve_index::{Curve, DtwParams, pairwise};
/// let curves = [[0.0, 0.0], [0.0, 1.0], [3.0, 3.0]];
/// let curves: Vec<Curve> = curves.iter().map(|c| Curve::new(c, 1)).collect::<Result<_, _>>()?;
/// let params = DtwParams::new(1).band_frames(0).check()?;
/// let one = std::num::NonZeroUsize::MIN;
/// let all = pairwise(&curves, &params, f64::INFINITY, one)?;
/// assert_eq!(all.costs(), [1.0, 18.0, 13.0]); // (0-1)^2; 3^2 + 3^2; 3^2 + 2^2
/// let near = pairwise(&curves, &params, 13.0, one)?;
/// assert_eq!(near.costs(), [1.0, f64::INFINITY, 13.0]);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`GroupError::Channels`] naming the first curve that does not fit.
pub fn pairwise(
    curves: &[Curve<'_>],
    params: &ValidDtwParams,
    cutoff: f64,
    threads: NonZeroUsize,
) -> Result<Condensed, GroupError> {
    check(curves, params)?;
    let members = curves.len();
    let mut costs = vec![f64::INFINITY; members * members.saturating_sub(1) / 2];
    let mut rows: Vec<(usize, &mut [f64])> = Vec::with_capacity(members);
    let mut rest = costs.as_mut_slice();
    for row in 0..members.saturating_sub(1) {
        let (head, tail) = rest.split_at_mut(members - row - 1);
        rows.push((row, head));
        rest = tail;
    }
    let near = Near::new(curves, params, cutoff);
    let fill = |work: &mut Work, (row, line): (usize, &mut [f64])| match &near {
        Some(near) => near.fill(curves, row, line),
        None => fill_row(curves[row], &curves[row + 1..], params, cutoff, line, work),
    };
    share(rows, threads, fill);
    Ok(Condensed { members, costs })
}

/// Fills all rows, one after the other, by as many threads at most.
fn share<R: Send>(rows: Vec<R>, threads: NonZeroUsize, fill: impl Fn(&mut Work, R) + Sync) {
    let rows = Mutex::new(rows.into_iter());
    let next = || rows.lock().unwrap_or_else(PoisonError::into_inner).next();
    Crew::with(threads.get(), |crew| {
        crew.share(crew.threads(), &|_| {
            let mut work = Work::default();
            while let Some(row) = next() {
                fill(&mut work, row);
            }
        });
    });
}

/// Working memory of a row.
#[derive(Default)]
struct Work {
    one: Scratch,
    eight: ExactScratch,
}

/// Costs of `curve` against each of `others`: eight side by side while all are as long as it, the same
/// bits either way.
fn fill_row(
    curve: Curve<'_>,
    others: &[Curve<'_>],
    params: &ValidDtwParams,
    cutoff: f64,
    line: &mut [f64],
    work: &mut Work,
) {
    let whole = 0..curve.frames();
    for (costs, others) in line.chunks_mut(WIDTH).zip(others.chunks(WIDTH)) {
        let alike = others.iter().all(|other| other.frames() == curve.frames());
        match <&[Curve<'_>; WIDTH]>::try_from(others) {
            Ok(eight) if alike => {
                let found =
                    exact(Level::best(), curve, eight, params, &whole, cutoff, &mut work.eight);
                for (cost, found) in costs.iter_mut().zip(found.iter().flatten()) {
                    *cost = if *found <= cutoff { *found } else { f64::INFINITY };
                }
            }
            _ => {
                for (cost, &other) in costs.iter_mut().zip(others) {
                    let found = dtw(curve, other, params, cutoff, &mut work.one);
                    *cost = found.unwrap_or(f64::INFINITY);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::DtwParams;

    /// Two threads are no more than two, however many the pool has.
    #[test]
    fn no_more_threads_work_than_are_asked_for() {
        use std::collections::HashSet;
        let pool = rayon::ThreadPoolBuilder::new().num_threads(4).build().unwrap();
        for threads in [1, 2] {
            let seen = Mutex::new(HashSet::new());
            pool.install(|| {
                share((0..40).collect(), NonZeroUsize::new(threads).unwrap(), |_, _: i32| {
                    seen.lock().unwrap().insert(std::thread::current().id());
                    std::thread::sleep(std::time::Duration::from_millis(2));
                });
            });
            let seen = seen.into_inner().unwrap().len();
            assert!(
                (1..=threads).contains(&seen),
                "{seen} threads worked, {threads} were asked for"
            );
        }
    }

    /// Lanes, single pairs and searches give the same bits, with and without a cutoff, at any number of
    /// threads; curves of unlike lengths, too, which no index holds.
    #[test]
    fn pairs_match_the_oracle_bit_by_bit() {
        for last in [11, 13] {
            // Invented: as many short curves of a fixed recipe as are worth an index, the last two of another
            // length or of the same.
            let values: Vec<Vec<f32>> = (0..131_u32)
                .map(|number| {
                    let frames = if number < 129 { 13 } else { last };
                    (0..frames * 3).map(|at| ((at * 37 + number * 101) % 29) as f32 * 0.1).collect()
                })
                .collect();
            let curves: Vec<Curve<'_>> = values.iter().map(|v| Curve::new(v, 3).unwrap()).collect();
            let weights = [1.0, 0.3, 2.0];
            let params = DtwParams::new(3).band_frames(3).weights(&weights).check().unwrap();
            let mut want = Vec::new();
            for (row, &a) in curves.iter().enumerate() {
                want.extend(curves[row + 1..].iter().map(|&b| crate::naive::dtw(a, b, &params)));
            }
            let mut sorted = want.clone();
            sorted.sort_by(f64::total_cmp);
            for cutoff in [f64::INFINITY, sorted[sorted.len() / 2], sorted[9], 0.0] {
                assert_eq!(
                    Near::new(&curves, &params, cutoff).is_some(),
                    last == 13 && cutoff.is_finite()
                );
                let cut: Vec<f64> =
                    want.iter().map(|&c| if c <= cutoff { c } else { f64::INFINITY }).collect();
                for threads in [1, 2] {
                    let threads = NonZeroUsize::new(threads).unwrap();
                    let got = pairwise(&curves, &params, cutoff, threads).unwrap();
                    assert_eq!(got.costs(), cut, "{last}, cutoff {cutoff}, {threads} threads");
                }
            }
        }
    }
}
