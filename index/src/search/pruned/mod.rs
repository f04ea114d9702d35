//! The pruned search: boxes, sketches, coarse copies, and the kernel only where they do not decide.
//!
//! Every stage rules a curve out only by a lower bound of its cost that exceeds the cost of the k-th
//! best curve known so far (never one that equals it), so the answer is the scan's. See
//! `docs/cascade.md`.

mod boxes;
mod cluster;
mod compare;
mod envelope;
mod found;
mod seeds;
mod sweep;
mod tables;
#[cfg(test)]
mod tests;
mod turn;
mod warp;
mod worker;

use std::ops::Range;
use std::sync::OnceLock;
use std::sync::atomic::AtomicUsize;

use super::crew::Crew;
use super::filter::Resolved;
use super::{Answer, Nearest, Stages, all};
use crate::lanes::{LANES, Level};
use crate::params::Curve;
use crate::sketch::{Quantiser, Sections};
use crate::store::{Index, Segment};
use cluster::Reach;
use envelope::{Envelope, envelope};
use found::{Best, Found, by_bound};
use sweep::Seen;
use tables::{CoarseTables, SketchTables};
use turn::Against;
use worker::{SHARE, Worker};

/// At least so many promising curves are compared exactly to get a first cutoff.
const SEEDS: usize = 32;

/// A segment and the tables it shares with segments of the same quantiser.
struct Part<'a> {
    segment: &'a Segment,
    sections: Sections<'a>,
    coarse: &'a [u8],
    tables: usize,
    /// Of its clusters.
    reach: OnceLock<Reach>,
}

/// The query, prepared.
struct Job<'a> {
    index: &'a Index,
    what: &'a Nearest<'a>,
    section: Range<usize>,
    /// The whole query; the section is cut where needed.
    query: Curve<'a>,
    envelope: Envelope,
    filter: Option<&'a Resolved>,
    /// Curves that are live and let through.
    passing: usize,
    level: Level,
    parts: Vec<Part<'a>>,
    /// Bytes of a curve's coarse copy.
    coarse_len: usize,
    /// Whether what is read has to be told.
    counted: bool,
    quantisers: Vec<&'a Quantiser>,
    /// Of the envelope: bounds.
    sketch_tables: OnceLock<Vec<SketchTables>>,
    /// Of the query itself: no bounds, but better guesses at who is near.
    guess_tables: OnceLock<Vec<SketchTables>>,
}

pub(crate) fn nearest(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
) -> Answer {
    let resolved = what.how.filter.map(|filter| filter.resolve(index));
    nearest_of(index, query, what, section, resolved.as_deref())
}

/// The same of the curves behind an id, whatever the filter.
pub(crate) fn behind(index: &Index, query: Curve<'_>, id: u64, what: &Nearest<'_>) -> Answer {
    let behind = Resolved::behind(index, id);
    nearest_of(index, query, what, &(0..query.frames()), Some(&behind))
}

fn nearest_of(
    index: &Index,
    query: Curve<'_>,
    what: &Nearest<'_>,
    section: &Range<usize>,
    resolved: Option<&Resolved>,
) -> Answer {
    let passing = resolved.map_or_else(|| index.len(), |resolved| resolved.passing);
    let stages = Stages { curves: passing as u64, ..Stages::default() };
    if what.k == 0 || passing == 0 {
        return Answer { neighbours: Vec::new(), stages };
    }
    if what.k >= passing && what.max_cost >= f64::MAX {
        // Every cost is asked for: nothing can be ruled out.
        return all::nearest(index, query, what, section, resolved);
    }
    Crew::with(what.how.threads.get(), |crew| {
        Job::new(index, query, what, section, resolved, passing).run(crew, stages)
    })
}

impl<'a> Job<'a> {
    fn new(
        index: &'a Index,
        query: Curve<'a>,
        what: &'a Nearest<'a>,
        section: &Range<usize>,
        filter: Option<&'a Resolved>,
        passing: usize,
    ) -> Self {
        let envelope = envelope(query, what.params, section);
        let mut quantisers: Vec<&Quantiser> = Vec::new();
        let mut parts = Vec::with_capacity(index.parts().len());
        for segment in index.parts() {
            let quantiser = segment.quantiser();
            let known = quantisers.iter().position(|&known| known == quantiser);
            let tables = known.unwrap_or_else(|| {
                quantisers.push(quantiser);
                quantisers.len() - 1
            });
            let (sections, coarse) = (segment.sections(), segment.all_coarse());
            parts.push(Part { segment, sections, coarse, tables, reach: OnceLock::new() });
        }
        Self {
            index,
            what,
            section: section.clone(),
            query,
            envelope,
            filter,
            passing,
            level: Level::best(),
            parts,
            coarse_len: index.layout().coarse_len(),
            counted: index.counts(what.how.mapped_bytes),
            quantisers,
            sketch_tables: OnceLock::new(),
            guess_tables: OnceLock::new(),
        }
    }

    fn run(&self, crew: &Crew, mut stages: Stages) -> Answer {
        let best = Best::new(self.what.k, self.what.max_cost);
        let mut seen = Seen::default();

        let (done, coarse, mut blocks) = self.begin(crew, &best, &mut seen);
        let shares = self.shares(crew, &mut blocks);
        let worker = || Worker::new(self, &best, &done, &coarse);
        let next = AtomicUsize::new(0);
        let swept = crew.map(crew.threads(), |_| worker().sweep_shares(&shares, &next));
        let mut later = Vec::new();
        for (mut found, own) in swept {
            later.append(&mut found);
            seen.add(own);
        }
        if crew.threads() > 1 {
            // Each worker's are in order already, which this sort makes use of.
            later.sort_by(by_bound);
        }
        let share = later.len().div_ceil(8 * crew.threads()).next_multiple_of(LANES);
        let shares: Vec<&[Found]> = later.chunks(share.clamp(4 * LANES, SHARE)).collect();
        let next = AtomicUsize::new(0);
        let settled = crew.map(crew.threads(), |_| worker().settle_shares(&shares, &next));
        settled.into_iter().for_each(|own| seen.add(own));
        stages.groups = seen.groups;
        stages.representatives = seen.representatives;
        stages.sketches = seen.curves;
        stages.coarse = seen.boxed;
        stages.warped = seen.warped;
        stages.kernel = seen.compared;
        Answer { neighbours: best.into_sorted(), stages }
    }

    /// Bytes of a curve or a coarse copy, about to be read.
    fn reads(&self, bytes: &'a [u8]) -> &'a [u8] {
        if self.counted {
            self.index.touch(bytes, self.what.how.mapped_bytes);
        }
        bytes
    }

    fn sketch_tables(&self) -> &[SketchTables] {
        self.sketch_tables.get_or_init(|| self.tables_of(&self.envelope))
    }

    fn guess_tables(&self) -> &[SketchTables] {
        let values = || self.query.values().to_vec();
        self.guess_tables
            .get_or_init(|| self.tables_of(&Envelope { upper: values(), lower: values() }))
    }

    fn tables_of(&self, envelope: &Envelope) -> Vec<SketchTables> {
        let layout = self.index.layout();
        let (params, section) = (self.what.params, &self.section);
        let one = |quantiser: &&Quantiser| {
            SketchTables::new(layout, quantiser, envelope, params, section)
        };
        self.quantisers.iter().map(one).collect()
    }

    /// What copies of these tables are held against.
    fn against<'b>(&'b self, tables: &'b CoarseTables) -> Against<'b> {
        Against { tables, params: self.what.params, section: &self.section }
    }

    fn coarse_tables(&self, cutoff: f64) -> Vec<CoarseTables> {
        // Without k costs there is no cutoff yet; any scale does.
        let cutoff = if cutoff.is_finite() { cutoff } else { 0.0 };
        let layout = self.index.layout();
        let one = |quantiser: &&Quantiser| {
            CoarseTables::new(
                layout,
                quantiser,
                self.query,
                &self.envelope,
                self.what.params,
                &self.section,
                cutoff,
            )
        };
        self.quantisers.iter().map(one).collect()
    }

    /// Makes bounds of warped codes tight for a cutoff.
    fn suit(&self, coarse: &mut Vec<CoarseTables>, cutoff: f64) {
        if coarse.iter().all(|tables| tables.suits(cutoff)) {
            coarse.iter_mut().for_each(|tables| tables.suit(cutoff));
        } else {
            *coarse = self.coarse_tables(cutoff);
        }
    }

    /// Whether a place holds a curve that is live and let through.
    fn passes(&self, segment: u32, place: u32) -> bool {
        let part = &self.parts[segment as usize];
        if place as usize >= part.segment.rows() {
            return false;
        }
        match self.filter {
            Some(filter) => filter.segments[segment as usize].passes(place as usize),
            None => {
                part.segment.is_whole() || part.segment.is_live(part.segment.row_at(place as usize))
            }
        }
    }
}
