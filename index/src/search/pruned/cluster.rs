//! Curves ruled out by the representative of their cluster.

use std::ops::Range;

use super::found::{Found, as_cost};
use super::tables::{CoarseTables, threshold};
use super::turn::WarpScratch;
use super::warp::represent;
use super::{Job, Part};
use crate::lanes::LANES;

/// A representative is compared where sketches leave so many curves of its cluster: it costs about as much as to
/// warp one.
pub(super) const CROWD: usize = 4;

/// What reaches of channels add up to, squared.
pub(super) struct Reach {
    /// What a step, squared, costs in each channel, a whole number, rounded up.
    units: Vec<u64>,
    /// A whole number divided by this is a cost.
    scale: f64,
}

impl Reach {
    fn new(weights: &[f64], steps: &[f64]) -> Self {
        let worth = || weights.iter().zip(steps).map(|(weight, step)| weight * step * step);
        // Units up to 2^30: sums over 1,024 channels of 255 steps fit.
        let scale = f64::from(1 << 30) / worth().fold(1e-290, f64::max);
        let units = worth().map(|worth| (worth * scale * (1.0 + 1e-9)).ceil() as u64).collect();
        Self { units, scale }
    }

    fn sum(&self, steps: &[u8]) -> u64 {
        let squares = self.units.iter().zip(steps);
        squares.map(|(unit, &steps)| unit * u64::from(steps) * u64::from(steps)).sum()
    }

    fn length(&self, sum: u64) -> f64 {
        (sum as f64 / self.scale).sqrt()
    }
}

/// A cluster, and which of some curves are of it.
struct Crowd {
    cluster: usize,
    curves: Range<usize>,
}

/// Clusters with at least so many of `found`, which are in order of place.
fn crowds(starts: &[u32], found: &[Found], least: usize) -> Vec<Crowd> {
    let mut crowds = Vec::new();
    let (mut cluster, mut at) = (0, 0);
    while at < found.len() {
        while starts[cluster + 1] <= found[at].place {
            cluster += 1;
        }
        let first = at;
        while at < found.len() && found[at].place < starts[cluster + 1] {
            at += 1;
        }
        if at - first >= least {
            crowds.push(Crowd { cluster, curves: first..at });
        }
    }
    crowds
}

impl<'a> Job<'a> {
    /// Gives curves of one segment, in order of place, what representatives say as their bound where that is more:
    /// infinity to those that are ruled out. Clusters with less than a crowd of curves are passed by, and so are all
    /// where they are less than a crowd. How many representatives were compared.
    pub(super) fn represent(
        &self,
        part: &Part<'a>,
        tables: &CoarseTables,
        cutoff: f64,
        crowd: usize,
        scratch: &mut WarpScratch,
        found: &mut [Found],
    ) -> u64 {
        let Some(clusters) = part.segment.clusters() else { return 0 };
        let channels = self.what.params.channels();
        let reaches = |steps: &'a [u8], at: usize| &steps[at * channels..(at + 1) * channels];
        let (root, scale) = (cutoff.sqrt(), tables.exact_scale);

        let crowds = crowds(clusters.bounds, found, crowd);
        // Sixteen representatives cost as much as one.
        if crowds.len() < crowd {
            return 0;
        }
        let reach =
            part.reach.get_or_init(|| Reach::new(self.what.params.weights(), clusters.reach_steps));
        if reach.scale == 0.0 {
            // Steps that no writer makes: what reaches are worth is beyond all numbers.
            return 0;
        }
        for batch in crowds.chunks(LANES) {
            let mut copies = [&[][..]; LANES];
            let mut all = [0; LANES];
            for lane in 0..LANES {
                let cluster = batch[lane.min(batch.len() - 1)].cluster;
                let len = self.coarse_len;
                copies[lane] = &clusters.representatives[cluster * len..(cluster + 1) * len];
                // The cost at which it rules out all that lies within its reach.
                let far = root + reach.length(reach.sum(reaches(clusters.widest, cluster)));
                all[lane] = threshold(far * far, scale);
            }
            let sums = represent(self.level, self.against(tables), &copies, &all, scratch);
            for (lane, crowd) in batch.iter().enumerate() {
                let found = &mut found[crowd.curves.clone()];
                let Some(sum) = sums.map(|sums| sums[lane]).filter(|&sum| sum <= all[lane]) else {
                    found.iter_mut().for_each(|one| one.bound = f32::INFINITY);
                    continue;
                };
                // The charge for blur may bring a sum below 0.
                let far = (f64::from(sum.max(0)) / scale).sqrt();
                // A curve within this of the representative may still be near enough.
                let least = ((far - root).max(0.0).powi(2) * reach.scale) as u64;
                for one in found {
                    let sum = reach.sum(reaches(clusters.reaches, one.place as usize));
                    if sum < least {
                        one.bound = f32::INFINITY;
                    } else {
                        let near = (far - reach.length(sum)).max(0.0);
                        one.bound = one.bound.max(as_cost(near * near, 1.0));
                    }
                }
            }
        }
        crowds.len() as u64
    }
}
