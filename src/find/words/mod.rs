//! Full-text search over what coaches wrote: notes, plans, names of faults and drills, codes.
//!
//! The index in `words/` is derived. Its last commit carries the change number of the store it
//! covers. A reader that finds the index behind indexes the difference in memory, so its answer is
//! right at once; whoever writes lets a few cases wait like that, because a commit of the index costs
//! more than the change itself, and brings the index up to the store when there are more, or at once
//! when a case was removed.

mod head;
mod hits;
mod query;
mod ranked;
mod sums;
mod text;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::params;
use tantivy::columnar::Column;
use tantivy::directory::{Directory, MmapDirectory};
use tantivy::query::EnableScoring;
use tantivy::schema::{FAST, INDEXED};
use tantivy::schema::{Field, IndexRecordOption, Schema, TextFieldIndexing, TextOptions};
use tantivy::tokenizer::{
    AsciiFoldingFilter, Language, LowerCaser, RemoveLongFilter, SimpleTokenizer, Stemmer,
    StopWordFilter, TextAnalyzer,
};
use tantivy::{
    Index, IndexBuilder, IndexWriter, ReloadPolicy, Searcher, SegmentReader, TantivyDocument,
    TantivyError, Term,
};

pub use query::Ignored;
pub use ranked::{Excerpt, WordsFound, WordsHit, WordsOf, WordsQuery};
pub use text::Part;

use head::{Head, Held};
use hits::each_hit;
use query::Sought;
use text::{Piece, entries, of_entry};

use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions};
use crate::library::{CaseId, Library, StoreError};

/// Counts up when fields or analysis change; an index of another number is rebuilt.
const WORDS_FORMAT: u32 = 2;
const FOLDER: &str = "words";
const ANALYSER: &str = "coach";
/// tantivy's least per writing thread.
const WRITER_BYTES: usize = 15_000_000;
/// So many changed cases are indexed in memory by each search before the index on disk is brought up to
/// them.
const LATE_CASES: usize = 16;
/// A search that takes longer is cut short, and says so.
const TIME_LIMIT: Duration = Duration::from_secs(2);

/// The cases that hold some words.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct WordHits {
    /// The cases, by id; `None` if the text held nothing to search for.
    pub cases: Option<Vec<CaseId>>,
    /// What of the text was left out.
    pub ignored: Vec<Ignored>,
}

/// How far an index came: which library, format, catalogue and change it covers.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Mark {
    base: String,
    change: i64,
}

impl Mark {
    fn read(payload: &str) -> Option<Self> {
        let (base, change) = payload.rsplit_once(' ')?;
        Some(Self { base: base.to_owned(), change: change.parse().ok()? })
    }

    fn text(&self) -> String {
        format!("{} {}", self.base, self.change)
    }
}

#[derive(Debug, Clone, Copy)]
struct Fields {
    /// A case's id.
    case: Field,
    /// An entry's number in the catalogue.
    entry: Field,
    /// All words.
    text: Field,
    /// Those of an entry's name once more.
    name: Field,
}

fn schema() -> (Schema, Fields) {
    let mut builder = Schema::builder();
    let case = builder.add_u64_field("case", INDEXED | FAST);
    let entry = builder.add_u64_field("entry", FAST);
    let indexing = TextFieldIndexing::default()
        .set_tokenizer(ANALYSER)
        .set_index_option(IndexRecordOption::WithFreqsAndPositions);
    let words = TextOptions::default().set_indexing_options(indexing);
    let text = builder.add_text_field("text", words.clone());
    let name = builder.add_text_field("name", words);
    (builder.build(), Fields { case, entry, text, name })
}

fn analyser() -> TextAnalyzer {
    let words = TextAnalyzer::builder(SimpleTokenizer::default())
        .filter(RemoveLongFilter::limit(60))
        .filter(LowerCaser)
        .filter(AsciiFoldingFilter);
    match StopWordFilter::new(Language::English) {
        Some(stop) => words.filter(stop).filter(Stemmer::new(Language::English)).build(),
        None => words.filter(Stemmer::new(Language::English)).build(),
    }
}

fn with_analyser(index: Index) -> Index {
    index.tokenizers().register(ANALYSER, analyser());
    index
}

/// What a change of the index did.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(in crate::find) struct WordsSync {
    /// Cases indexed anew.
    pub(in crate::find) indexed: usize,
    /// Whether all of it was built from nothing.
    pub(in crate::find) rebuilt: bool,
}

impl Library {
    /// The cases that hold all the words of `text`. Two signs: `"as a phrase"`, `-absent`.
    ///
    /// Upper and lower case and accents do not matter, English endings neither. Lenient: what
    /// can not be searched is listed in [`WordHits::ignored`].
    ///
    /// # Errors
    /// [`StoreError::Words`] if the index fails; [`StoreError::Sql`].
    pub fn find_words(&self, text: &str) -> Result<WordHits, StoreError> {
        let (_, fields) = schema();
        let (sought, mut ignored) = query::build(query::ask(text), fields.text, &mut analyser());
        let Some(sought) = sought else { return Ok(WordHits { cases: None, ignored }) };
        let deadline = Instant::now() + TIME_LIMIT;
        let mut found = BTreeSet::new();
        let mut complete = true;
        let (searcher, late) = self.words_at_hand()?;
        if let Some(searcher) = searcher {
            complete &=
                collect(&searcher, &sought, deadline, &mut found).map_err(self.words_error())?;
        }
        if let Some(done) = late {
            // What changed since the index was written, from memory.
            let changed = self.changed_cases(done)?;
            for case in &changed {
                found.remove(&case.0);
            }
            if self.some_are_gone(done, &changed)? {
                // They are still in the index.
                let here = self.sorted_case_ids()?;
                found.retain(|case| here.binary_search(case).is_ok());
            }
            let index = self.in_memory(fields, &changed, false)?;
            let searcher = searcher_of(&index).map_err(self.words_error())?;
            complete &=
                collect(&searcher, &sought, deadline, &mut found).map_err(self.words_error())?;
        }
        if !complete {
            let text = text.chars().take(20).collect();
            ignored.push(Ignored { text, why: "cut short after 2 s; matches may be missing" });
        }
        Ok(WordHits { cases: Some(found.into_iter().map(CaseId).collect()), ignored })
    }

    /// The index as [`Self::behind`] says, after whoever may write brought it up to the store if that
    /// has to be, and if nobody is building just then.
    fn words_at_hand(&self) -> Result<(Option<Searcher>, Option<i64>), StoreError> {
        let found = self.behind()?;
        if self.is_writable()
            && (found.0.is_none() || !self.words_are_in_step()?)
            && let Some(_turn) = self.try_to_build()?
        {
            let _one_state = self.hold_state()?;
            self.sync_words()?;
            return self.behind();
        }
        Ok(found)
    }

    /// Whether the index is as new as readers need it, going by what stands above its sums: at most
    /// [`LATE_CASES`] changed since, and none was removed. Cost: counts the cases.
    pub(in crate::find) fn words_are_in_step(&self) -> Result<bool, StoreError> {
        let mark = self.words_mark()?;
        let Some(head) = self.words_head(&mark) else { return Ok(false) };
        if head.mark == mark {
            return Ok(true);
        }
        let changed = self.changed_cases(head.mark.change)?;
        Ok(changed.len() <= LATE_CASES && !self.some_are_gone_since(&head.held, &changed)?)
    }

    /// What stands above the sums, if it is of this library and no newer than the store.
    fn words_head(&self, mark: &Mark) -> Option<Head> {
        let line = sums::head(&self.words_folder()).ok().flatten()?;
        let head = Head::read(&line)?;
        (head.mark.base == mark.base && head.mark.change <= mark.change).then_some(head)
    }

    /// Whether the index on disk that came as far as `done` may hold cases that the store no longer does;
    /// `changed`: those that changed since. Cost: counts the cases.
    fn some_are_gone(&self, done: i64, changed: &[CaseId]) -> Result<bool, StoreError> {
        let head = self.words_head(&self.words_mark()?);
        // Another one may have taken its place meanwhile.
        match head.filter(|head| head.mark.change == done) {
            Some(head) => self.some_are_gone_since(&head.held, changed),
            None => Ok(true),
        }
    }

    /// Whether an index that held these cases held some that the store no longer does. What the store has and
    /// the index had not, changed since: so one count says it.
    fn some_are_gone_since(&self, held: &Held, changed: &[CaseId]) -> Result<bool, StoreError> {
        let new = changed.iter().filter(|case| !held.holds(case.0)).count();
        Ok(self.count_cases()? != held.count() + new)
    }

    /// What a reader finds on disk, and the change from which on it must index for itself
    /// (`None`: nothing). An index that is missing, foreign or just being replaced counts as
    /// nothing found.
    fn behind(&self) -> Result<(Option<Searcher>, Option<i64>), StoreError> {
        let mark = self.words_mark()?;
        let there = self.open_words().ok().flatten().and_then(|index| {
            let done = index_mark(&index).filter(|done| done.base == mark.base)?;
            Some((searcher_of(&index).ok()?, done.change))
        });
        Ok(match there {
            Some((searcher, done)) => (Some(searcher), (done < mark.change).then_some(done)),
            None => (None, Some(-1)),
        })
    }

    fn words_folder(&self) -> PathBuf {
        self.folder().join(FOLDER)
    }

    fn words_error(&self) -> impl Fn(TantivyError) -> StoreError + use<> {
        let path = self.words_folder();
        move |source| StoreError::Words { path: path.clone(), source }
    }

    /// The mark an index that covers the store as it is now would carry.
    fn words_mark(&self) -> Result<Mark, StoreError> {
        let catalogue = blake3::hash(self.catalogue_fingerprint()?.as_bytes()).to_hex();
        let change = self
            .connection
            .query_row("SELECT word_changes FROM library", [], |row| row.get(0))
            .map_err(StoreError::sql("reading the change counters"))?;
        let base = format!("{} {WORDS_FORMAT} {}", self.uid(), &catalogue[..16]);
        Ok(Mark { base, change })
    }

    /// The index on disk, if there is one and all of it is as it was written ([`sums`]). Cost: reads its
    /// files once.
    fn open_words(&self) -> Result<Option<Index>, StoreError> {
        let folder = self.words_folder();
        if !folder.join("meta.json").is_file() {
            return Ok(None);
        }
        let difference =
            sums::difference(&folder).map_err(StoreError::io(&folder, "reading the word index"))?;
        if let Some(what) = difference {
            return Err(self.words_error()(TantivyError::InternalError(what)));
        }
        let directory = self.words_directory(&folder).map_err(self.words_error())?;
        Index::open(directory).map(with_analyser).map(Some).map_err(self.words_error())
    }

    fn words_directory(&self, folder: &Path) -> Result<Box<dyn Directory>, TantivyError> {
        let directory: Box<dyn Directory> = Box::new(MmapDirectory::open(folder)?);
        Ok(match self.seam.directory {
            Some(wrap) => wrap(directory),
            None => directory,
        })
    }

    /// Brings the word index up to the store. Cost: the cases that changed.
    pub(in crate::find) fn sync_words(&self) -> Result<WordsSync, StoreError> {
        let mark = self.words_mark()?;
        // An index that does not open is worth nothing; it is derived.
        let there = self.open_words().ok().flatten();
        let done = there.as_ref().and_then(index_mark).filter(|done| done.base == mark.base);
        match (there, done) {
            (Some(_), Some(done)) if done == mark => Ok(WordsSync::default()),
            (Some(index), Some(done)) => {
                let gone = self.gone_cases(&index)?;
                if !gone.is_empty() {
                    // Someone was removed: no file may go on holding those words.
                    return self.rebuild_words();
                }
                let changed = self.changed_cases(done.change)?;
                self.index_cases(&index, &changed, &mark, false).map_err(|error| match error {
                    Failed::Store(error) => error,
                    Failed::Words(error) => self.words_error()(error),
                })?;
                Ok(WordsSync { indexed: changed.len(), rebuilt: false })
            }
            _ => self.rebuild_words(),
        }
    }

    /// Builds the word index from nothing.
    pub(in crate::find) fn rebuild_words(&self) -> Result<WordsSync, StoreError> {
        let folder = self.words_folder();
        self.seam.before_write("removing words");
        if folder.exists() {
            std::fs::remove_dir_all(&folder)
                .map_err(StoreError::io(&folder, "removing the old index"))?;
        }
        self.seam.before_write("making words");
        std::fs::create_dir_all(&folder).map_err(StoreError::io(&folder, "making the folder"))?;
        let directory = self.words_directory(&folder).map_err(self.words_error())?;
        let index = IndexBuilder::new()
            .schema(schema().0)
            .open_or_create(directory)
            .map(with_analyser)
            .map_err(self.words_error())?;
        let mark = self.words_mark()?;
        let all = self.changed_cases(-1)?;
        self.index_cases(&index, &all, &mark, true).map_err(|error| match error {
            Failed::Store(error) => error,
            Failed::Words(error) => self.words_error()(error),
        })?;
        Ok(WordsSync { indexed: all.len(), rebuilt: true })
    }

    fn index_cases(
        &self,
        index: &Index,
        cases: &[CaseId],
        mark: &Mark,
        fresh: bool,
    ) -> Result<(), Failed> {
        let (_, fields) = schema();
        let catalogue = self.catalogue()?;
        let mut writer: IndexWriter = index.writer_with_num_threads(1, WRITER_BYTES)?;
        for &case in cases {
            if !fresh {
                writer.delete_term(Term::from_field_u64(fields.case, case.0.cast_unsigned()));
            }
            writer.add_document(self.document(fields, &catalogue, case)?)?;
        }
        if fresh {
            for entry in entry_documents(fields, &catalogue) {
                writer.add_document(entry)?;
            }
        }
        let mut commit = writer.prepare_commit()?;
        commit.set_payload(&mark.text());
        commit.commit()?;
        writer.wait_merging_threads()?;
        let folder = self.words_folder();
        let held = indexed_cases(index)?;
        let head = Head { mark: mark.clone(), held: Held::of(&held) };
        sums::write(&folder, &head.text(), |what| self.seam.before_write(what))
            .map_err(StoreError::io(&folder, "writing the sums of the word index"))?;
        Ok(())
    }

    /// An index of these cases, and of the catalogue's entries if wanted.
    fn in_memory(
        &self,
        fields: Fields,
        cases: &[CaseId],
        with_entries: bool,
    ) -> Result<Index, StoreError> {
        let index = with_analyser(Index::create_in_ram(schema().0));
        let catalogue = self.catalogue()?;
        let run = || -> Result<(), Failed> {
            let mut writer: IndexWriter = index.writer_with_num_threads(1, WRITER_BYTES)?;
            for &case in cases {
                writer.add_document(self.document(fields, &catalogue, case)?)?;
            }
            if with_entries {
                for entry in entry_documents(fields, &catalogue) {
                    writer.add_document(entry)?;
                }
            }
            writer.commit()?;
            Ok(())
        };
        run().map_err(|error| match error {
            Failed::Store(error) => error,
            Failed::Words(error) => self.words_error()(error),
        })?;
        Ok(index)
    }

    /// Cases whose words changed after `change`, by id.
    fn changed_cases(&self, change: i64) -> Result<Vec<CaseId>, StoreError> {
        // Ordered by the database, it would go through all cases by id instead of these by their change.
        let mut changed = self.list(
            "listing changed cases",
            "SELECT id FROM cases WHERE word_change > ?1",
            params![change],
            |row| row.get(0).map(CaseId),
        )?;
        changed.sort_unstable();
        Ok(changed)
    }

    /// Cases the index holds and the store does not.
    fn gone_cases(&self, index: &Index) -> Result<Vec<i64>, StoreError> {
        let here = self.sorted_case_ids()?;
        let held = indexed_cases(index).map_err(self.words_error())?;
        Ok(held.into_iter().filter(|id| here.binary_search(id).is_err()).collect())
    }

    /// Whether the index holds exactly the store's cases, but for a few that changed since it was written.
    pub(in crate::find) fn check_words(&self) -> Result<Result<(), String>, StoreError> {
        let Some(index) = self.open_words()? else {
            return Ok(Err("there is no word index yet".to_owned()));
        };
        let mark = self.words_mark()?;
        let covers = index_mark(&index).filter(|covers| covers.base == mark.base);
        let late = match covers {
            Some(covers) if covers.change <= mark.change => self.changed_cases(covers.change)?,
            _ => return Ok(Err("the word index is not of this library as it is now".to_owned())),
        };
        if late.len() > LATE_CASES {
            return Ok(Err("the word index is behind the store".to_owned()));
        }
        let settled = |id: &i64| late.binary_search(&CaseId(*id)).is_err();
        let held = indexed_cases(&index).map_err(self.words_error())?;
        let mut once = held.clone();
        once.dedup();
        let here = self.sorted_case_ids()?;
        if once != held
            || !held.iter().filter(|id| settled(id)).eq(here.iter().filter(|id| settled(id)))
        {
            let (held, here) = (held.len(), here.len());
            return Ok(Err(format!("the word index holds {held} cases, the store holds {here}")));
        }
        Ok(Ok(()))
    }

    fn document(
        &self,
        fields: Fields,
        catalogue: &Catalogue,
        id: CaseId,
    ) -> Result<TantivyDocument, StoreError> {
        let (_, pieces) = self.words_of_case(catalogue, id)?;
        let mut document = TantivyDocument::default();
        document.add_u64(fields.case, id.0.cast_unsigned());
        for text in pieces.iter().flat_map(|piece| &piece.searched) {
            document.add_text(fields.text, text);
        }
        Ok(document)
    }
}

/// What the index holds of the catalogue's entries, in their order.
fn entry_documents(fields: Fields, catalogue: &Catalogue) -> Vec<TantivyDocument> {
    let document = |(number, pieces): (u64, Vec<Piece>)| {
        let mut document = TantivyDocument::default();
        document.add_u64(fields.entry, number);
        for piece in &pieces {
            piece.searched.iter().for_each(|text| document.add_text(fields.text, text));
            if let (Part::Name, Some(name)) = (piece.part, &piece.shown) {
                document.add_text(fields.name, name);
            }
        }
        document
    };
    // An index shows nothing: what an answer shows of it is read again, with its cautions.
    let mut unshown = Cautions::of(catalogue, Age::Unknown);
    let pieces = entries(catalogue).into_iter();
    let pieces = pieces.map(|entry| of_entry(catalogue, entry, &mut unshown));
    (0..).zip(pieces).map(document).collect()
}

/// Either side of an indexing step can fail.
enum Failed {
    Store(StoreError),
    Words(TantivyError),
}

impl From<StoreError> for Failed {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<TantivyError> for Failed {
    fn from(error: TantivyError) -> Self {
        Self::Words(error)
    }
}

fn index_mark(index: &Index) -> Option<Mark> {
    Mark::read(index.load_metas().ok()?.payload.as_deref()?)
}

fn searcher_of(index: &Index) -> Result<Searcher, TantivyError> {
    Ok(index.reader_builder().reload_policy(ReloadPolicy::Manual).try_into()?.searcher())
}

/// A number of each document of a segment; `None` if none of them has it.
fn numbers(segment: &SegmentReader, field: &str) -> Result<Option<Column<u64>>, TantivyError> {
    segment.fast_fields().column_opt(field)
}

/// Adds the case of every hit to `found`; `false` if the deadline came first.
fn collect(
    searcher: &Searcher,
    sought: &Sought,
    deadline: Instant,
    found: &mut BTreeSet<i64>,
) -> Result<bool, TantivyError> {
    let unscored = EnableScoring::disabled_from_searcher(searcher);
    let cases = |segment: &SegmentReader| numbers(segment, "case");
    each_hit(searcher, sought, unscored, deadline, cases, |cases, hit, _| {
        if let Some(case) = cases.as_ref().and_then(|cases| cases.first(hit)) {
            found.insert(case.cast_signed());
        }
    })
}

/// All cases the index holds, sorted; a case held twice shows twice.
fn indexed_cases(index: &Index) -> Result<Vec<i64>, TantivyError> {
    let searcher = searcher_of(index)?;
    let mut held = Vec::new();
    for segment in searcher.segment_readers() {
        let Some(cases) = numbers(segment, "case")? else { continue };
        held.extend(
            segment.doc_ids_alive().filter_map(|doc| cases.first(doc)).map(u64::cast_signed),
        );
    }
    held.sort_unstable();
    Ok(held)
}
