//! Whole clusters ruled out by their representatives.

use super::Job;
use super::coarse::{WarpScratch, represent};
use super::found::as_cost;
use super::sweep::Seen;
use super::tables::{CoarseTables, threshold};
use crate::lanes::LANES;
use crate::sketch::GROUP;
use crate::store::Clusters;

/// A curve that its cluster's representative does not rule out.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounded {
    pub(super) place: u32,
    /// A lower bound of its cost, rounded to `f32`.
    pub(super) bound: f32,
}

/// What a step of a reach squared costs in each channel.
struct Reach {
    worth: Vec<f64>,
}

impl Reach {
    /// The distance that reaches of channels add up to.
    fn of(&self, steps: &[u8]) -> f64 {
        let squares = self.worth.iter().zip(steps);
        squares
            .map(|(worth, &steps)| worth * f64::from(steps) * f64::from(steps))
            .sum::<f64>()
            .sqrt()
    }
}

impl Job<'_> {
    /// Takes curves out of `groups` (group, wanted lanes; ascending) that the representative of their cluster
    /// rules out; groups of which none is left go. What is left, with its bounds.
    pub(super) fn represent(
        &self,
        clusters: Clusters<'_>,
        tables: &CoarseTables,
        cutoff: f64,
        groups: &mut Vec<(u32, u32)>,
        seen: &mut Seen,
    ) -> Vec<Bounded> {
        let params = self.what.params;
        let weighed = params.weights().iter().zip(clusters.reach_steps);
        let reach = Reach { worth: weighed.map(|(weight, step)| weight * step * step).collect() };
        let channels = params.channels();
        // The cost at which a representative rules out all that lies within `reach` of it.
        let (root, scale) = (cutoff.sqrt(), tables.exact_scale);
        let most = |reach: f64| threshold((root + reach) * (root + reach), scale);
        let reach_at =
            |steps: &[u8], at: usize| reach.of(&steps[at * channels..(at + 1) * channels]);

        let near = near(clusters.bounds, groups);
        seen.representatives += near.len() as u64;
        let kept = vec![0; groups.len()];
        let mut left = Left { groups, kept, at: 0 };
        let mut bounds = Vec::new();
        let mut scratch = WarpScratch::default();
        for batch in near.chunks(LANES) {
            let mut copies = [&[][..]; LANES];
            let mut all = [0; LANES];
            for lane in 0..LANES {
                let cluster = batch[lane.min(batch.len() - 1)] as usize;
                let len = self.coarse_len;
                copies[lane] = &clusters.representatives[cluster * len..(cluster + 1) * len];
                all[lane] = most(reach_at(clusters.widest, cluster));
            }
            let found = represent(self.level, self.against(tables), &copies, &all, &mut scratch);
            for (&cluster, (sum, all)) in batch.iter().zip(found.iter().flatten().zip(all)) {
                if *sum > all {
                    continue;
                }
                // The charge for blur may bring a sum below 0.
                let far = (f64::from((*sum).max(0)) / scale).sqrt();
                for place in
                    clusters.bounds[cluster as usize]..clusters.bounds[cluster as usize + 1]
                {
                    let reach = reach_at(clusters.reaches, place as usize);
                    if *sum <= most(reach) && left.keep(place) {
                        let bound = as_cost((far - reach).max(0.0).powi(2), 1.0);
                        bounds.push(Bounded { place, bound });
                    }
                }
            }
        }
        left.end();
        bounds
    }
}

/// Clusters with places in some groups, ascending.
fn near(bounds: &[u32], groups: &[(u32, u32)]) -> Vec<u32> {
    let mut near: Vec<u32> = Vec::with_capacity(groups.len());
    let mut from = 0;
    for &(group, _) in groups {
        let first = group * GROUP as u32;
        while bounds.get(from + 1).is_some_and(|&end| end <= first) {
            from += 1;
        }
        let mut cluster = from;
        while cluster + 1 < bounds.len() && bounds[cluster] < first + GROUP as u32 {
            if near.last().is_none_or(|&last| (last as usize) < cluster) {
                near.push(cluster as u32);
            }
            cluster += 1;
        }
    }
    near
}

/// What is left of some groups.
struct Left<'g> {
    groups: &'g mut Vec<(u32, u32)>,
    /// Per group, the lanes kept.
    kept: Vec<u32>,
    /// Where the last place lay.
    at: usize,
}

impl Left<'_> {
    /// Keeps a place and says so, if it lies in one of the groups; places come in ascending order.
    fn keep(&mut self, place: u32) -> bool {
        let group = place / GROUP as u32;
        while self.groups.get(self.at).is_some_and(|own| own.0 < group) {
            self.at += 1;
        }
        let here = self.groups.get(self.at).is_some_and(|own| own.0 == group);
        if here {
            self.kept[self.at] |= 1 << (place % GROUP as u32);
        }
        here
    }

    fn end(self) {
        for ((_, wanted), kept) in self.groups.iter_mut().zip(self.kept) {
            *wanted &= kept;
        }
        self.groups.retain(|&(_, wanted)| wanted != 0);
    }
}
