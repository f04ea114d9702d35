//! Which curves to begin with, and which of all curves sketches leave.

use super::found::{Best, Done, Found, as_cost, by_bound, ruled_out};
use super::sweep::{Candidate, Seen, block_bounds, group_bounds, near_groups, sweep_groups};
use super::tables::{CoarseTables, SketchTables, threshold};
use super::{Job, Part, SEEDS};
use crate::search::crew::Crew;
use crate::sketch::GROUP;

/// Curves whose sketches are read to find them, per seed.
const LOOKED_AT: usize = 8;
/// At least so many blocks to sweep are worth a round with the nearest of them.
const ROUND_WORTH: usize = 256;
/// One block in so many is of that round.
const ROUND_SHARE: usize = 8;
/// Blocks looked into per block needed,
const BLOCKS_PER_BLOCK: usize = 4;
/// or one in so many, if that is more.
const BLOCKS_SHARE: usize = 128;
/// A filter that lets fewer than one curve in so many through is swept group by group.
const SPARSE: usize = 12;
/// So many groups, evenly drawn, show how much sketches leave of all;
const HARD_TRIAL: usize = 32;
/// a query is hard if that is more than this part of their curves.
const HARD: (usize, usize) = (1, 8);
/// Of several threads each takes at least so many blocks at a time.
const SHARE: usize = 12;

/// What a sweep of all curves needs.
struct Sweep<'a> {
    /// Blocks whose boxes are within the cutoff: bound, segment, block.
    near: Vec<(f32, u32, u32)>,
    /// How near each block of each segment seems.
    guesses: Vec<Vec<f32>>,
    /// Compared already.
    done: &'a Done,
    coarse: &'a [CoarseTables],
}

/// Keeps the `count` least, in order.
fn keep_least(list: &mut Vec<(f32, u32, u32)>, count: usize) {
    let by = |a: &(f32, u32, u32), b: &(f32, u32, u32)| {
        a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2)))
    };
    if count < list.len() {
        list.select_nth_unstable_by(count, by);
        list.truncate(count);
    }
    list.sort_unstable_by(by);
}

/// What is left when all curves were looked at, but for those compared already.
pub(super) struct Begun {
    pub(super) candidates: Vec<Found>,
    pub(super) coarse: Vec<CoarseTables>,
}

/// Blocks whose boxes the cutoff does not rule out, in order: bound, segment, block.
fn near(bounds: &[Vec<f32>], cutoff: f64) -> Vec<(f32, u32, u32)> {
    let mut near = Vec::new();
    for (segment, bounds) in (0_u32..).zip(bounds) {
        let blocks = (0_u32..).zip(bounds).filter(|&(_, &bound)| !ruled_out(bound, cutoff));
        near.extend(blocks.map(|(block, &bound)| (bound, segment, block)));
    }
    near
}

impl Job<'_> {
    /// Seeds, then a sweep of all curves by their boxes and sketches.
    pub(super) fn begin_all(&self, crew: &Crew, best: &Best, seen: &mut Seen) -> Begun {
        let ((guesses, seeds, own), mut coarse, bounds) = crew.three(
            || {
                let mut seen = Seen::default();
                let guesses = self.block_bounds(self.guess_tables());
                let seeds = self.seeds(&guesses, &mut seen);
                (guesses, seeds, seen)
            },
            || self.coarse_tables(best.cutoff()),
            || self.block_bounds(self.sketch_tables()),
        );
        seen.add(own);
        let done = Done::new(&seeds);
        self.compare_seeds(crew, &seeds, best, seen);
        let cutoff = best.cutoff();
        self.suit(&mut coarse, cutoff);
        let near = near(&bounds, cutoff);
        let sweep = Sweep { near, guesses, done: &done, coarse: &coarse };
        let candidates = self.sweep_all(crew, sweep, best, seen);
        Begun { candidates, coarse }
    }

    /// Under a narrow filter: what it lets through, with the bounds of their sketches.
    pub(super) fn begin_listed(&self, crew: &Crew, best: &Best, seen: &mut Seen) -> Begun {
        let ((mut listed, own), mut coarse, ()) = crew.three(
            || {
                let mut seen = Seen::default();
                (self.listed(&mut seen), seen)
            },
            || self.coarse_tables(best.cutoff()),
            || (),
        );
        seen.add(own);
        let seeds = self.nearest_of(listed.clone());
        let done = Done::new(&seeds);
        self.compare_seeds(crew, &seeds, best, seen);
        self.suit(&mut coarse, best.cutoff());
        listed.retain(|one| !done.holds(one));
        Begun { candidates: listed, coarse }
    }

    /// The most promising curves: the sketches nearest to the query's own, of the nearest groups of the
    /// nearest blocks. A guess, made well to get a low cutoff early; nothing is ruled out by it.
    fn seeds(&self, guesses: &[Vec<f32>], seen: &mut Seen) -> Vec<Found> {
        let enough = self.wanted().saturating_mul(LOOKED_AT) / GROUP;
        if enough == 0 {
            return Vec::new();
        }
        let mut blocks = Vec::new();
        for (number, guesses) in (0_u32..).zip(guesses) {
            blocks.extend((0_u32..).zip(guesses).map(|(block, &guess)| (guess, number, block)));
        }
        let mut bounds = Vec::new();
        // More blocks than could be enough, were all full; then the nearest of their groups.
        let some = (enough / GROUP + 1) * BLOCKS_PER_BLOCK;
        let some = some.max(blocks.len() / BLOCKS_SHARE);
        keep_least(&mut blocks, some);
        let mut seeds = Vec::new();
        let mut candidates = Vec::new();
        // Under a wide filter these may hold too few; then the next blocks are looked at.
        let mut groups = Vec::new();
        for &(_, number, block) in &blocks {
            let part = &self.parts[number as usize];
            let tables = &self.guess_tables()[part.tables];
            group_bounds(self.level, part.sections, tables, block, &mut bounds);
            let cost = |bound: i32| as_cost(f64::from(bound), tables.scale);
            let first = block * GROUP as u32;
            groups
                .extend((first..).zip(&bounds).map(|(group, &bound)| (cost(bound), number, group)));
        }
        keep_least(&mut groups, enough);
        for &(_, number, group) in &groups {
            let part = &self.parts[number as usize];
            let tables = &self.guess_tables()[part.tables];
            candidates.clear();
            let wanted = [(group, 0xffff)];
            sweep_groups(
                self.level,
                part.sections,
                tables,
                &wanted,
                i32::MAX,
                &mut candidates,
                seen,
            );
            seeds.extend(self.passing(number, &candidates, tables.scale));
        }
        self.nearest_of(seeds)
    }

    /// How many seeds to compare.
    pub(super) fn wanted(&self) -> usize {
        // A range query knows its cutoff; k beyond all curves comes only with one.
        if self.what.k >= self.passing { 0 } else { SEEDS.max(self.what.k + self.what.k / 2) }
    }

    /// The nearest of `seeds`, as many as wanted, by their bounds.
    fn nearest_of(&self, mut seeds: Vec<Found>) -> Vec<Found> {
        let wanted = self.wanted();
        if seeds.len() > wanted {
            seeds.select_nth_unstable_by(wanted, by_bound);
            seeds.truncate(wanted);
        }
        seeds.sort_unstable_by(by_bound);
        seeds
    }

    /// Candidates that are live and let through.
    fn passing(
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

    /// Whether the filter lets so few through that they are better listed than swept for.
    pub(super) fn is_sparse(&self) -> bool {
        let rows: usize = self.parts.iter().map(|part| part.segment.rows()).sum();
        self.filter.is_some_and(|filter| filter.passing.saturating_mul(SPARSE) <= rows)
    }

    /// All that the filter lets through, with the bounds of their sketches.
    fn listed(&self, seen: &mut Seen) -> Vec<Found> {
        let mut listed = Vec::with_capacity(self.passing);
        let mut candidates = Vec::new();
        let segments = self.filter.iter().flat_map(|filter| &filter.segments);
        for (number, (part, places)) in (0_u32..).zip(self.parts.iter().zip(segments)) {
            let tables = &self.sketch_tables()[part.tables];
            candidates.clear();
            let groups = places.groups();
            let (sections, level) = (part.sections, self.level);
            sweep_groups(level, sections, tables, &groups, i32::MAX, &mut candidates, seen);
            listed.extend(self.passing(number, &candidates, tables.scale));
        }
        listed
    }

    /// What sketches do not rule out, but for those `done`. Of many blocks the nearest come first: what is
    /// found there may lower the cutoff for the rest.
    fn sweep_all(&self, crew: &Crew, sweep: Sweep<'_>, best: &Best, seen: &mut Seen) -> Vec<Found> {
        let Sweep { mut near, guesses, done, coarse } = sweep;
        let rest = if near.len() < ROUND_WORTH {
            Vec::new()
        } else {
            let guess = |one: &(f32, u32, u32)| guesses[one.1 as usize][one.2 as usize];
            let mut sorted: Vec<f32> = near.iter().map(guess).collect();
            let share = near.len() / ROUND_SHARE;
            let (_, &mut most, _) = sorted.select_nth_unstable_by(share, f32::total_cmp);
            let rest = near.iter().copied().filter(|one| guess(one) > most).collect();
            near.retain(|one| guess(one) <= most);
            rest
        };
        let mut candidates = Vec::new();
        for mut blocks in [near, rest] {
            let cutoff = best.cutoff();
            blocks.retain(|&(bound, ..)| !ruled_out(bound, cutoff));
            let mut found = self.sweep_some(crew, &blocks, coarse, cutoff, seen);
            found.retain(|one| !done.holds(one));
            if candidates.is_empty() {
                self.look(crew, &mut found, coarse, best, seen);
                candidates = found;
            } else {
                candidates.append(&mut found);
            }
        }
        candidates
    }

    /// Sweeps some blocks, in ascending order, by shares.
    fn sweep_some(
        &self,
        crew: &Crew,
        blocks: &[(f32, u32, u32)],
        coarse: &[CoarseTables],
        cutoff: f64,
        seen: &mut Seen,
    ) -> Vec<Found> {
        let share = match crew.threads() {
            1 => blocks.len().max(1),
            threads => blocks.len().div_ceil(16 * threads).max(SHARE),
        };
        let shares: Vec<&[(f32, u32, u32)]> = blocks.chunks(share).collect();
        let swept = crew.map(shares.len(), |at| self.sweep(shares[at], coarse, cutoff));
        let mut candidates = Vec::with_capacity(swept.iter().map(|(found, _)| found.len()).sum());
        for (mut found, swept) in swept {
            candidates.append(&mut found);
            seen.add(swept);
        }
        candidates
    }

    /// What the boxes of each segment's blocks are away from what the tables are of: a bound, if that is the
    /// envelope; if it is the query itself, a guess how near they are.
    fn block_bounds(&self, tables: &[SketchTables]) -> Vec<Vec<f32>> {
        let mut bounds = Vec::new();
        let of_part = self.parts.iter().map(|part| {
            let tables = &tables[part.tables];
            block_bounds(self.level, part.sections, tables, &mut bounds);
            bounds.iter().map(|&bound| as_cost(f64::from(bound), tables.scale)).collect()
        });
        of_part.collect()
    }

    /// Whether sketches leave so much of some groups, as a few of them show, that representatives had better be
    /// compared first.
    fn is_hard(&self, part: &Part<'_>, groups: &[(u32, u32)], most: i32) -> bool {
        if groups.len() < HARD_TRIAL || most == i32::MAX {
            return false;
        }
        let some: Vec<(u32, u32)> =
            groups.iter().step_by(groups.len() / HARD_TRIAL).copied().collect();
        let mut left = Vec::new();
        let tables = &self.sketch_tables()[part.tables];
        sweep_groups(
            self.level,
            part.sections,
            tables,
            &some,
            most,
            &mut left,
            &mut Seen::default(),
        );
        left.len() * HARD.1 > some.len() * GROUP * HARD.0
    }

    /// Sweeps some blocks and keeps what sketches do not rule out.
    fn sweep(
        &self,
        blocks: &[(f32, u32, u32)],
        coarse: &[CoarseTables],
        cutoff: f64,
    ) -> (Vec<Found>, Seen) {
        let mut seen = Seen::default();
        let mut found = Vec::new();
        let mut candidates: Vec<Candidate> = Vec::new();
        let mut groups = Vec::new();
        for run in blocks.chunk_by(|a, b| a.1 == b.1) {
            let segment = run[0].1;
            let part = &self.parts[segment as usize];
            let tables = &self.sketch_tables()[part.tables];
            let most = threshold(cutoff, tables.scale);
            let numbers: Vec<u32> = run.iter().map(|&(_, _, block)| block).collect();
            candidates.clear();
            groups.clear();
            let (sections, level) = (part.sections, self.level);
            seen.groups += near_groups(level, sections, tables, &numbers, most, &mut groups);
            let mut bounds = Vec::new();
            if let Some(clusters) = part.segment.clusters()
                && self.is_hard(part, &groups, most)
            {
                let coarse = &coarse[part.tables];
                bounds = self.represent(clusters, coarse, cutoff, &mut groups, &mut seen);
            }
            sweep_groups(level, sections, tables, &groups, most, &mut candidates, &mut seen);
            let start = found.len();
            found.extend(self.passing(segment, &candidates, tables.scale));
            // Both are in order of place.
            let mut bounds = bounds.iter().peekable();
            for one in &mut found[start..] {
                while bounds.next_if(|own| own.place < one.place).is_some() {}
                if let Some(own) = bounds.next_if(|own| own.place == one.place) {
                    one.bound = one.bound.max(own.bound);
                }
            }
        }
        (found, seen)
    }
}
