//! Which curves to begin with, and in which order to look at the others.

use super::found::{Best, Done, Found, as_cost, by_bound, ruled_out};
use super::sweep::{Candidate, Seen, block_bounds, group_bounds, sweep_groups};
use super::tables::{CoarseTables, SketchTables};
use super::{Job, SEEDS};
use crate::search::crew::Crew;
use crate::sketch::GROUP;

/// Curves whose sketches are read to find seeds, per seed.
const LOOKED_AT: usize = 8;
/// Curves in the blocks looked into, per curve whose sketch is read,
const BLOCKS_PER_BLOCK: usize = 4;
/// or one block in so many, if that is more.
const BLOCKS_SHARE: usize = 128;
/// The first share of the blocks; each is twice the one before,
const FIRST_SHARE: usize = 2;
/// until there are so many for each thread.
const SHARES: usize = 8;

/// A block or a group: how near it is, or seems; its segment; its number.
pub(super) type Near = (f32, u32, u32);

/// Takes the nearest, in order, until they hold `enough` curves that pass.
fn keep_nearest(list: &mut Vec<Near>, enough: usize, passing: impl Fn(&Near) -> usize) {
    list.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let mut held = 0;
    let count = list
        .iter()
        .take_while(|near| {
            let before = held;
            held += passing(near);
            before < enough
        })
        .count();
    list.truncate(count);
}

impl Job<'_> {
    /// How many seeds to compare.
    fn wanted(&self) -> usize {
        // A range query knows its cutoff; k beyond all curves comes only with one.
        if self.what.k >= self.passing { 0 } else { SEEDS.max(self.what.k + self.what.k / 2) }
    }

    /// Curves of a group that the filter lets through, a bit each; it may be of places that hold none.
    pub(super) fn lanes(&self, segment: u32, group: u32) -> u32 {
        self.filter.map_or(0xffff, |filter| filter.segments[segment as usize].lanes(group))
    }

    /// Curves of a block that the filter lets through.
    fn passing_of_block(&self, segment: u32, block: u32) -> usize {
        let groups = self.parts[segment as usize].sections.groups as u32;
        let (first, of) = (block * GROUP as u32, GROUP as u32);
        (first..(first + of).min(groups))
            .map(|group| self.lanes(segment, group).count_ones() as usize)
            .sum()
    }

    /// What the boxes of all blocks with curves that pass are away from what the tables are of: a bound, if that
    /// is the envelope; if it is the query itself, a guess how near they are.
    fn blocks(&self, tables: &[SketchTables]) -> Vec<Near> {
        let (mut blocks, mut bounds) = (Vec::new(), Vec::new());
        for (segment, part) in (0_u32..).zip(&self.parts) {
            let tables = &tables[part.tables];
            block_bounds(self.level, part.sections, tables, &mut bounds);
            let of_segment = (0_u32..)
                .zip(&bounds)
                .map(|(block, &bound)| (as_cost(f64::from(bound), tables.scale), segment, block));
            blocks.extend(of_segment.filter(|&(_, segment, block)| {
                self.filter.is_none() || self.passing_of_block(segment, block) > 0
            }));
        }
        blocks
    }

    /// Compares seeds exactly, for a first cutoff; they, tables for that cutoff, and all blocks that may hold a nearer
    /// curve, the ones that seem nearest first.
    pub(super) fn begin(
        &self,
        crew: &Crew,
        best: &Best,
        seen: &mut Seen,
    ) -> (Done, Vec<CoarseTables>, Vec<Near>) {
        let ((guesses, seeds, own), bounds) = crew.both(
            || {
                let mut seen = Seen::default();
                let guesses = self.blocks(self.guess_tables());
                let seeds = self.seeds(guesses.clone(), &mut seen);
                (guesses, seeds, seen)
            },
            || self.blocks(self.sketch_tables()),
        );
        seen.add(own);
        let coarse = self.compare_seeds(crew, &seeds, best, seen);
        let cutoff = best.cutoff();
        let within = guesses.into_iter().zip(bounds).filter(|(_, near)| !ruled_out(near.0, cutoff));
        let mut within: Vec<(f32, Near)> = within.map(|(guess, near)| (guess.0, near)).collect();
        within.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        (Done::new(&seeds), coarse, within.into_iter().map(|(_, near)| near).collect())
    }

    /// Blocks in shares: few at first, which may lower the cutoff for the rest; each as it lies in the file.
    pub(super) fn shares<'b>(&self, crew: &Crew, mut blocks: &'b mut [Near]) -> Vec<&'b [Near]> {
        let most = blocks.len().div_ceil(SHARES * crew.threads());
        let mut shares: Vec<&[Near]> = Vec::new();
        let mut len = FIRST_SHARE;
        while !blocks.is_empty() {
            let (share, rest) = blocks.split_at_mut(len.min(most).min(blocks.len()));
            share.sort_unstable_by_key(|&(_, segment, block)| (segment, block));
            shares.push(share);
            blocks = rest;
            len *= 2;
        }
        shares
    }

    /// The most promising curves: the sketches nearest to the query's own, of the nearest groups of the
    /// nearest blocks. A guess, made well to get a low cutoff early; nothing is ruled out by it.
    fn seeds(&self, mut blocks: Vec<Near>, seen: &mut Seen) -> Vec<Found> {
        let wanted = self.wanted();
        let enough = wanted.saturating_mul(LOOKED_AT);
        let in_blocks = (enough * BLOCKS_PER_BLOCK).max(self.passing / BLOCKS_SHARE);
        keep_nearest(&mut blocks, in_blocks, |&(_, segment, block)| {
            self.passing_of_block(segment, block)
        });
        let (mut groups, mut bounds) = (Vec::new(), Vec::new());
        for &(_, segment, block) in &blocks {
            let part = &self.parts[segment as usize];
            let tables = &self.guess_tables()[part.tables];
            group_bounds(self.level, part.sections, tables, block, &mut bounds);
            let first = block * GROUP as u32;
            groups.extend(
                (first..).zip(&bounds).map(|(group, &bound)| {
                    (as_cost(f64::from(bound), tables.scale), segment, group)
                }),
            );
        }
        keep_nearest(&mut groups, enough, |&(_, segment, group)| {
            self.lanes(segment, group).count_ones() as usize
        });
        let (mut seeds, mut candidates) = (Vec::new(), Vec::new());
        for &(_, segment, group) in &groups {
            let part = &self.parts[segment as usize];
            let tables = &self.guess_tables()[part.tables];
            let wanted = [(group, self.lanes(segment, group))];
            candidates.clear();
            let (sections, level) = (part.sections, self.level);
            sweep_groups(level, sections, tables, &wanted, i32::MAX, &mut candidates, seen);
            seeds.extend(self.passing(segment, &candidates, tables.scale));
        }
        seeds.sort_unstable_by(by_bound);
        seeds.truncate(wanted);
        seeds
    }

    /// Candidates that are live and let through.
    pub(super) fn passing(
        &self,
        segment: u32,
        candidates: &[Candidate],
        scale: f64,
    ) -> impl Iterator<Item = Found> {
        let passing = candidates.iter().filter(move |one| self.passes(segment, one.place));
        passing.map(move |one| Found {
            bound: as_cost(f64::from(one.bound), scale),
            segment,
            place: one.place,
        })
    }
}
