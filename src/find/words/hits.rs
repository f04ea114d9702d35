//! Documents of an index that match, one by one.

use std::collections::HashSet;
use std::time::Instant;

use tantivy::query::{EnableScoring, Scorer, Weight};
use tantivy::{DocId, DocSet, Searcher, SegmentReader, TERMINATED, TantivyError};

use super::query::Sought;

/// Calls `hit` with every living document that is sought, segment by segment; `false` if the deadline came
/// first, and then some are missing.
///
/// What must be absent is collected by itself: tantivy 0.27 asks an excluded phrase for earlier documents than
/// the one it stands at, against an assertion of its own.
pub(super) fn each_hit<S>(
    searcher: &Searcher,
    sought: &Sought,
    scoring: EnableScoring<'_>,
    deadline: Instant,
    segment_of: impl Fn(&SegmentReader) -> Result<S, TantivyError>,
    mut hit: impl FnMut(&S, DocId, &mut dyn Scorer),
) -> Result<bool, TantivyError> {
    let weight = sought.query.weight(scoring)?;
    let unscored = EnableScoring::disabled_from_searcher(searcher);
    let absent: Vec<Box<dyn Weight>> =
        sought.absent.iter().map(|query| query.weight(unscored)).collect::<Result<_, _>>()?;
    for segment in searcher.segment_readers() {
        let mut unwanted = HashSet::new();
        for weight in &absent {
            let all = walk(weight.as_ref(), segment, deadline, |document, _| {
                unwanted.insert(document);
            });
            if !all? {
                return Ok(false);
            }
        }
        let columns = segment_of(segment)?;
        let all = walk(weight.as_ref(), segment, deadline, |document, scorer| {
            if !unwanted.contains(&document) {
                hit(&columns, document, scorer);
            }
        });
        if !all? {
            return Ok(false);
        }
    }
    Ok(true)
}

/// Every living document of a segment that matches; `false` if the deadline came first.
fn walk(
    weight: &dyn Weight,
    segment: &SegmentReader,
    deadline: Instant,
    mut hit: impl FnMut(DocId, &mut dyn Scorer),
) -> Result<bool, TantivyError> {
    let mut hits = weight.scorer(segment, 1.0)?;
    let mut seen = 0u32;
    let mut document = hits.doc();
    while document != TERMINATED {
        if segment.alive_bitset().is_none_or(|alive| alive.is_alive(document)) {
            hit(document, hits.as_mut());
        }
        seen += 1;
        if seen.is_multiple_of(1024) && Instant::now() > deadline {
            return Ok(false);
        }
        document = hits.advance();
    }
    Ok(true)
}
