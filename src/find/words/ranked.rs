//! Ranked search: the cases and catalogue entries that answer some words best, with excerpts.
//!
//! Rank is BM25 (Robertson and Zaragoza 2009, doi 10.1561/1500000019) over all words of a case or
//! entry, as tantivy computes it; a word in the name of a fault or drill counts once more.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::ops::Range;
use std::time::Instant;

use jiff::civil::Date;
use serde::Serialize;
use tantivy::query::{Bm25StatisticsProvider, EnableScoring};
use tantivy::schema::Field;
use tantivy::snippet::{SnippetGenerator, collapse_overlapped_ranges};
use tantivy::{Searcher, SegmentReader, TantivyError, Term};

use super::hits::each_hit;
use super::query::{Ignored, Sought, ask, rank};
use super::text::{Entry, Part, Piece, entries, of_entry, spelled};
use super::{TIME_LIMIT, analyser, numbers, schema, searcher_of};
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions, ShownDrill};
use crate::find::{Filter, FilterError, Ids};
use crate::library::{CaseId, Library, StoreError};

/// Longest excerpt, bytes.
const EXCERPT_BYTES: usize = 160;
/// Most excerpts of one hit.
const EXCERPTS: usize = 3;

/// What to look for.
#[derive(Debug, Clone, PartialEq)]
pub struct WordsQuery<'a> {
    /// The words; `"a phrase"` must be there, `-absent` must not.
    pub text: &'a str,
    /// Only cases one of whose recordings matches; entries of the catalogue are left out then.
    pub filter: Filter,
    /// How many hits, best first.
    pub k: usize,
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WordsFound {
    /// The best hits, best first; of equal ones cases first, then by id.
    pub hits: Vec<WordsHit>,
    /// How many hold any of the words.
    pub matched: usize,
    /// How many cases there were to search.
    pub searched: usize,
    /// What of the text was left out, and why.
    pub ignored: Vec<Ignored>,
    /// Why the filter leaves nothing to search.
    pub cut: Option<String>,
}

/// One case or entry.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WordsHit {
    /// Place, from 1.
    pub rank: usize,
    /// BM25, larger is better; comparable within one answer.
    pub score: f32,
    /// What it is.
    #[serde(flatten)]
    pub what: WordsOf,
    /// Where the words stand, best first.
    pub excerpts: Vec<Excerpt>,
    /// What is said beside the drills it names, the library's general cautions last.
    pub cautions: Vec<String>,
}

/// What holds the words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum WordsOf {
    /// A case.
    Case {
        /// The case.
        #[serde(serialize_with = "spelled")]
        case: CaseId,
        /// The player's code.
        player: String,
        /// Its day.
        date: Date,
    },
    /// A fault of the catalogue.
    Fault {
        /// Its id.
        id: String,
        /// Its name.
        name: String,
    },
    /// A drill of the catalogue.
    Drill {
        /// Its id.
        id: String,
        /// Its name.
        name: String,
    },
}

/// A stretch of text that holds some of the words, as it was written.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Excerpt {
    /// Where it stands.
    #[serde(flatten)]
    pub part: Part,
    /// The text; an ellipsis where it was cut.
    pub text: String,
    /// Where in `text` the words are, as ranges of characters.
    pub matches: Vec<Range<usize>>,
}

/// Statistics over what is on disk and what is beside it in memory, so that both rank as one.
struct Both<'a>(Vec<&'a Searcher>);

impl Both<'_> {
    fn sum(
        &self,
        of: impl Fn(&dyn Bm25StatisticsProvider) -> tantivy::Result<u64>,
    ) -> tantivy::Result<u64> {
        self.0.iter().map(|searcher| of(*searcher)).sum()
    }
}

impl Bm25StatisticsProvider for Both<'_> {
    fn total_num_tokens(&self, field: Field) -> tantivy::Result<u64> {
        self.sum(|one| one.total_num_tokens(field))
    }

    fn total_num_docs(&self) -> tantivy::Result<u64> {
        self.sum(|one| one.total_num_docs())
    }

    fn doc_freq(&self, term: &Term) -> tantivy::Result<u64> {
        self.sum(|one| one.doc_freq(term))
    }
}

/// What a document of the index stands for; cases come first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Document {
    Case(i64),
    Entry(u64),
}

/// Which documents take part.
struct Taking<'a> {
    /// Cases the store holds and the filter keeps; `None`: all of the index.
    cases: Option<&'a Ids>,
    /// Whether entries of the catalogue do.
    with_entries: bool,
    /// Cases whose words in this index are out of date.
    outdated: &'a HashSet<i64>,
    deadline: Instant,
}

impl Library {
    /// The `k` cases and catalogue entries that answer the words best.
    ///
    /// Any of the words may be missing, the more and the rarer ones are there the better; upper
    /// and lower case, accents and English endings do not matter. The filter is applied before the
    /// search. Lenient: what can not be searched, and words nothing holds, are listed in
    /// [`WordsFound::ignored`].
    ///
    /// # Errors
    /// [`FilterError`] for a filter that names what is not there; [`StoreError::Words`] if the
    /// index fails; [`StoreError::Sql`].
    pub fn find(&self, query: &WordsQuery<'_>) -> Result<WordsFound, FilterError> {
        let (_, fields) = schema();
        let (terms, mut ignored) = rank(ask(query.text), fields, &mut analyser());
        let mut found = WordsFound::default();
        // What others change meanwhile is not half in the answer.
        let _one_state = self.hold_state()?;
        let with_entries = query.filter.is_empty();
        let kept = if with_entries {
            found.searched = self.count_cases()?;
            None
        } else {
            let kept = self.select_cases(&query.filter)?;
            ignored.extend(kept.cut.ignored.iter().cloned());
            found.cut = kept.cut.why_empty("cases");
            found.searched = kept.ids.len();
            Some(kept.ids.into_iter().collect::<Ids>())
        };
        let Some(terms) = terms else { return Ok(WordsFound { ignored, ..found }) };
        let deadline = Instant::now() + TIME_LIMIT;
        let (on_disk, late) = self.words_at_hand()?;
        let changed = late.map(|done| self.changed_cases(done)).transpose()?;
        let beside = match &changed {
            Some(changed) => {
                let index = self.in_memory(fields, changed, on_disk.is_none())?;
                Some(searcher_of(&index).map_err(self.words_error())?)
            }
            None => None,
        };
        let both = Both(on_disk.iter().chain(&beside).collect());
        for word in &terms.words {
            if both.doc_freq(&word.term).map_err(self.words_error())? == 0 {
                let why = "is nowhere in the library or its catalogue";
                ignored.push(Ignored { text: word.text.clone(), why });
            }
        }
        let some_are_gone = match (&on_disk, late, &changed) {
            (Some(_), Some(done), Some(changed)) if kept.is_none() => {
                self.some_are_gone(done, changed)?
            }
            _ => false,
        };
        let kept = match some_are_gone {
            true => Some(self.sorted_case_ids()?.into_iter().collect()),
            false => kept,
        };
        let outdated: HashSet<i64> = changed.iter().flatten().map(|case| case.0).collect();
        let mut all = Vec::new();
        let mut complete = true;
        for (searcher, outdated) in [(&on_disk, &outdated), (&beside, &HashSet::new())] {
            let Some(searcher) = searcher else { continue };
            let taking = Taking { cases: kept.as_ref(), with_entries, outdated, deadline };
            complete &= collect_ranked(searcher, &both, &terms.sought, &taking, &mut all)
                .map_err(self.words_error())?;
        }
        if !complete {
            let text = query.text.chars().take(20).collect();
            ignored.push(Ignored { text, why: "cut short after 2 s; matches may be missing" });
        }
        found.matched = all.len();
        all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        all.truncate(query.k);
        let catalogue = self.catalogue()?;
        let weights = terms
            .words
            .iter()
            .map(|word| Ok((word.token.clone(), 1.0 / (1.0 + both.doc_freq(&word.term)? as f32))))
            .collect::<Result<BTreeMap<String, f32>, TantivyError>>()
            .map_err(self.words_error())?;
        let snippets = SnippetGenerator::new(weights, analyser(), fields.text, EXCERPT_BYTES);
        for (rank, (score, document)) in (1..).zip(all) {
            found.hits.push(self.hit(&catalogue, &snippets, rank, score, document)?);
        }
        Ok(WordsFound { ignored, ..found })
    }

    fn hit(
        &self,
        catalogue: &Catalogue,
        snippets: &SnippetGenerator,
        rank: usize,
        score: f32,
        document: Document,
    ) -> Result<WordsHit, StoreError> {
        let (what, pieces, mut cautions) = match document {
            Document::Case(id) => {
                let (case, pieces) = self.words_of_case(catalogue, CaseId(id))?;
                let player = self.player(case.player)?;
                let age = Age::on(case.date, player.born);
                let what = WordsOf::Case { case: case.id, player: player.code, date: case.date };
                (what, pieces, Cautions::of(catalogue, age))
            }
            Document::Entry(number) => {
                let entry =
                    usize::try_from(number).ok().and_then(|n| entries(catalogue).get(n).copied());
                let Some(entry) = entry else {
                    let what = format!("entry {number} of the catalogue");
                    return Err(StoreError::NoSuch { what });
                };
                // Nobody's in particular: what is said for juniors is among the general cautions.
                let mut cautions = Cautions::of(catalogue, Age::Junior);
                let pieces = of_entry(catalogue, entry, &mut cautions);
                (name_of(entry), pieces, cautions)
            }
        };
        let (excerpts, drills) = excerpts(&pieces, snippets, matches!(what, WordsOf::Case { .. }));
        for [drill, fault] in &drills {
            cautions.name(&ShownDrill::of(catalogue, drill, fault));
        }
        let cautions = if cautions.are_due() { cautions.lines() } else { Vec::new() };
        Ok(WordsHit { rank, score, what, excerpts, cautions })
    }
}

fn name_of(entry: Entry<'_>) -> WordsOf {
    match entry {
        Entry::Fault(fault) => WordsOf::Fault { id: fault.id.clone(), name: fault.name.clone() },
        Entry::Drill(drill) => WordsOf::Drill { id: drill.id.clone(), name: drill.name.clone() },
    }
}

/// The best excerpts, and the drills that they or the entry name. An entry's name is shown anyway
/// and is no excerpt of it.
fn excerpts(
    pieces: &[Piece],
    snippets: &SnippetGenerator,
    of_case: bool,
) -> (Vec<Excerpt>, BTreeSet<[String; 2]>) {
    let mut found: Vec<(usize, Excerpt, Option<[String; 2]>)> = Vec::new();
    for piece in pieces.iter().filter(|piece| of_case || piece.part != Part::Name) {
        let Some(text) = &piece.shown else { continue };
        let snippet = snippets.snippet(text);
        if snippet.is_empty() {
            continue;
        }
        let ranges = collapse_overlapped_ranges(snippet.highlighted());
        let words: BTreeSet<String> =
            ranges.iter().map(|range| snippet.fragment()[range.clone()].to_lowercase()).collect();
        let excerpt = cut_out(piece.part, text, snippet.fragment_range(), &ranges);
        if found.iter().all(|(_, other, _)| *other != excerpt) {
            found.push((words.len(), excerpt, piece.drill.clone()));
        }
    }
    // Stable: of those with as many different words the first.
    found.sort_by_key(|(words, ..)| std::cmp::Reverse(*words));
    found.truncate(EXCERPTS);
    let named = pieces.iter().filter(|_| !of_case).filter_map(|piece| piece.drill.clone());
    let drills = found.iter().filter_map(|(.., drill)| drill.clone()).chain(named).collect();
    (found.into_iter().map(|(_, excerpt, _)| excerpt).collect(), drills)
}

/// The bytes `range` of `text` as an excerpt; `found` are the words in it, from its start.
fn cut_out(part: Part, text: &str, range: Range<usize>, found: &[Range<usize>]) -> Excerpt {
    let fragment = &text[range.clone()];
    let before = if text[..range.start].trim().is_empty() { "" } else { "… " };
    // A full stop or bracket at the very end belongs to the last word.
    let rest = &text[range.end..];
    let (fragment, after) = if rest.chars().any(char::is_alphanumeric) {
        (fragment.to_owned(), " …")
    } else {
        (format!("{fragment}{}", rest.trim_end()), "")
    };
    let shift = before.chars().count();
    let at = |byte: usize| shift + fragment[..byte].chars().count();
    Excerpt {
        part,
        matches: found.iter().map(|range| at(range.start)..at(range.end)).collect(),
        text: format!("{before}{fragment}{after}"),
    }
}

/// Adds every document that takes part and matches, with its score; `false` if the deadline came
/// first.
fn collect_ranked(
    searcher: &Searcher,
    both: &Both<'_>,
    sought: &Sought,
    taking: &Taking<'_>,
    into: &mut Vec<(f32, Document)>,
) -> Result<bool, TantivyError> {
    let scoring = EnableScoring::enabled_from_statistics_provider(both, searcher);
    let columns =
        |segment: &SegmentReader| Ok((numbers(segment, "case")?, numbers(segment, "entry")?));
    each_hit(
        searcher,
        sought,
        scoring,
        taking.deadline,
        columns,
        |(cases, entries), hit, scorer| {
            let case = cases.as_ref().and_then(|cases| cases.first(hit));
            let entry = || entries.as_ref().and_then(|entries| entries.first(hit));
            let document = match case {
                Some(case) => Some(Document::Case(case.cast_signed())),
                None => entry().map(Document::Entry),
            };
            let takes_part = |document: &Document| match document {
                Document::Case(case) => {
                    let kept = |cases: &Ids| u32::try_from(*case).is_ok_and(|c| cases.holds(c));
                    taking.cases.is_none_or(kept) && !taking.outdated.contains(case)
                }
                Document::Entry(_) => taking.with_entries,
            };
            if let Some(document) = document.filter(takes_part) {
                into.push((scorer.score(), document));
            }
        },
    )
}
