//! Many files at once: read side by side, stored one after the other; what cannot be taken in without
//! an answer waits for one.
//!
//! Whatever was stored, or waits, is not read again, so a batch that was stopped or killed goes on
//! where it was when it is begun anew. At any time at most two readings a reader are held in memory.

mod answer;
mod pattern;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::sync_channel;
use std::thread;

use serde::{Deserialize, Serialize};

use super::content::ContentId;
use super::{Context, IntakeError, LookError, Looked, Taken, for_player, look, store, why_none};
use crate::coaching::{PlayerRefusal, PlayerRequest};
use crate::library::{Asked, Library, OpenError, Player, StoreError, Waiting, WriteError};
use crate::remedy::Remedy;
use crate::serve::FindOptions;
use crate::video::{ClipError, Person};
use crate::work::{Watch, is_stop};

pub use answer::{Answer, AnswerRefusal, Answered, Question, answer, questions};
pub use pattern::{Misfit, PathPattern, PathSays, PatternError};

/// What is known of every file of a batch.
#[derive(Debug, Clone)]
pub struct Batch {
    /// The files, in the order in which they are taken.
    pub files: Vec<PathBuf>,
    /// What their paths say.
    pub pattern: Option<PathPattern>,
    /// Whose they are, where the path does not say it, and what is known of every player.
    pub player: PlayerRequest,
}

/// What became of one file of a batch.
#[derive(Debug)]
pub enum Became {
    /// It was stored.
    Stored {
        /// The player.
        player: Box<Player>,
        /// What was stored.
        taken: Box<Taken>,
    },
    /// The library held it, or had asked about it before.
    Had,
    /// It waits for an answer.
    Waits(Waiting),
    /// It could not be taken in, and no answer would help.
    Failed(BatchError),
}

/// Why a file, or the whole batch, was not taken in.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BatchError {
    /// One file.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// Its player.
    #[error("{}: {source}", file.display())]
    Player {
        /// The file.
        file: PathBuf,
        /// Why.
        #[source]
        source: Box<PlayerRefusal>,
    },
    /// The list of what waits could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The library could not be opened beside itself.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The first file does not fit the pattern.
    #[error("{}: {source}", file.display())]
    Misfit {
        /// The file.
        file: PathBuf,
        /// Where.
        #[source]
        source: Misfit,
    },
    /// Nobody says whose the recordings are.
    #[error(
        "nothing says whose the recordings are: name the player, or put {{player}} into the pattern"
    )]
    NoPlayer,
}

impl From<LookError> for BatchError {
    fn from(error: LookError) -> Self {
        Self::Intake(error.into())
    }
}

impl From<StoreError> for BatchError {
    fn from(error: StoreError) -> Self {
        Self::Intake(error.into())
    }
}

/// How a batch went, in files.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Went {
    /// Stored now.
    pub stored: usize,
    /// Serves in them.
    pub serves: usize,
    /// Stored or asked about before.
    pub had: usize,
    /// Waiting for an answer now.
    pub waiting: usize,
    /// Could not be taken in.
    pub failed: usize,
    /// Whether it was stopped before its end.
    pub stopped: bool,
}

/// What a waiting file was known to be.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Said {
    path: PathSays,
    /// Which person of the picture, from the left, from 1.
    person: Option<usize>,
}

/// A file on its way, with all that is known of it.
struct Job {
    file: PathBuf,
    player: PlayerRequest,
    context: Context,
    said: Said,
    /// Why its path does not say it.
    misfit: Option<Misfit>,
    /// Under which content it waited, where it is answered now.
    waited: Option<String>,
}

/// How files are read.
pub struct Reading<'a> {
    /// What is known of all of them.
    pub context: Context,
    /// How many are read side by side.
    pub readers: usize,
    /// Gives each reader its watch.
    pub watch_of: WatchOf<'a>,
}

/// Gives each reader its watch.
pub type WatchOf<'a> = &'a (dyn Fn() -> Watch + Sync);
/// Hears what became of each file.
pub type Tell<'a> = &'a mut dyn FnMut(&Path, Became);

/// What a reader found.
enum Found {
    Had,
    Waits(Waiting),
    Looked(Box<Looked>),
    Failed(BatchError),
}

impl Batch {
    /// Takes all files into `library`. `tell` hears what became of each, in the order in which they
    /// are done. What a path says goes before what `how` says of all files.
    ///
    /// # Errors
    /// [`BatchError::Misfit`] and [`BatchError::NoPlayer`] before anything is read; a failing disk or a
    /// library that cannot be written to. What was stored by then stays.
    pub fn take(
        &self,
        library: &mut Library,
        how: &Reading<'_>,
        tell: Tell<'_>,
    ) -> Result<Went, BatchError> {
        let named = self.pattern.as_ref().is_some_and(PathPattern::names_the_player);
        if !named && self.player.code.is_empty() {
            return Err(BatchError::NoPlayer);
        }
        if let (Some(pattern), Some(first)) = (&self.pattern, self.files.first()) {
            let misfit = |source| BatchError::Misfit { file: first.clone(), source };
            pattern.read(first).map_err(misfit)?;
        }
        let jobs: Vec<Job> = self.files.iter().map(|file| self.job(file, &how.context)).collect();
        run(library, &jobs, how, tell)
    }

    fn job(&self, file: &Path, context: &Context) -> Job {
        let (path, misfit) = match self.pattern.as_ref().map(|pattern| pattern.read(file)) {
            None => (PathSays::default(), None),
            Some(Ok(says)) => (says, None),
            Some(Err(misfit)) => (PathSays::default(), Some(misfit)),
        };
        let said = Said { path, person: None };
        Job { misfit, ..Job::new(file, &self.player, context, said) }
    }
}

/// Reads the jobs' files side by side and stores them one after the other.
fn run(
    library: &mut Library,
    jobs: &[Job],
    how: &Reading<'_>,
    tell: Tell<'_>,
) -> Result<Went, BatchError> {
    let catalogue = library.catalogue()?;
    let watch_of = how.watch_of;
    let readers = how.readers.clamp(1, jobs.len().max(1));
    let beside = (0..readers).map(|_| Library::open_read_only(library.folder()));
    let beside: Vec<Library> = beside.collect::<Result<_, _>>()?;
    let next = AtomicUsize::new(0);
    let (found_at, found) = sync_channel::<(&Job, Found)>(readers);
    let mut went = Went::default();
    thread::scope(|scope| {
        for library in beside {
            let (found_at, next) = (found_at.clone(), &next);
            scope.spawn(move || {
                let watch = watch_of();
                while !watch.is_stopped() {
                    let Some(job) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
                    // Whoever stores has given up where nobody takes it.
                    if found_at.send((job, read(&library, job, &watch))).is_err() {
                        break;
                    }
                }
            });
        }
        drop(found_at);
        let watch = watch_of();
        for (job, found) in found {
            let became = match found {
                Found::Had => Became::Had,
                Found::Waits(waiting) => {
                    library.keep_waiting(&waiting)?;
                    Became::Waits(waiting)
                }
                Found::Failed(error) => Became::Failed(error),
                Found::Looked(looked) => keep(library, &catalogue, job, *looked, &watch)
                    .map_or_else(Became::Failed, |(player, taken)| Became::Stored {
                        player: Box::new(player),
                        taken: Box::new(taken),
                    }),
            };
            let stopped = matches!(&became, Became::Failed(error) if is_stop(error));
            if stopped {
                continue;
            }
            job.answered(library, &became)?;
            went.count(&became);
            tell(&job.file, became);
        }
        went.stopped = watch.is_stopped();
        Ok(went)
    })
}

impl Job {
    fn new(file: &Path, player: &PlayerRequest, context: &Context, said: Said) -> Self {
        let (mut player, mut context) = (player.clone(), context.clone());
        let path = &said.path;
        if let Some(code) = &path.player {
            player.code.clone_from(code);
        }
        player.hand = path.hand.or(player.hand);
        context.date = path.date.or(context.date);
        context.read.view = path.view.or(context.read.view);
        context.serve_type = path.serve_type.or(context.serve_type);
        context.setting = path.setting.or(context.setting);
        context.clip.capture_rate_hz = path.rate_hz.or(context.clip.capture_rate_hz);
        if let Some(nth) = said.person {
            context.clip.person = Person::FromLeft(nth);
            context.read.person = Some(nth - 1);
        }
        Self { file: file.to_owned(), player, context, said, misfit: None, waited: None }
    }

    fn waits(&self, content: &ContentId, asks: Vec<Asked>, why: String) -> Waiting {
        Waiting {
            hash: content.now.clone(),
            file: std::path::absolute(&self.file)
                .unwrap_or_else(|_| self.file.clone())
                .display()
                .to_string(),
            asks,
            why,
            // Plain values always have a text.
            said: serde_json::to_string(&self.said).unwrap_or_default(),
        }
    }

    /// Ends the waiting of a file that was answered, unless the same question stays.
    fn answered(&self, library: &mut Library, became: &Became) -> Result<(), WriteError> {
        let ended = match (&self.waited, became) {
            (None, _) | (_, Became::Failed(_)) => return Ok(()),
            (Some(hash), Became::Waits(now)) if now.hash == *hash => return Ok(()),
            (Some(hash), _) => hash,
        };
        library.end_waiting(ended).map(|_| ())
    }
}

impl Went {
    fn count(&mut self, became: &Became) {
        match became {
            Became::Stored { taken, .. } if taken.added.new => {
                self.stored += 1;
                self.serves += taken.added.serves.len();
            }
            Became::Stored { .. } | Became::Had => self.had += 1,
            Became::Waits(_) => self.waiting += 1,
            Became::Failed(_) => self.failed += 1,
        }
    }
}

/// Reads one file, unless the library holds it or has asked about it.
fn read(library: &Library, job: &Job, watch: &Watch) -> Found {
    let content = match super::content_of(&job.file, &job.context, watch) {
        Ok(content) => content,
        Err(error) => return Found::Failed(error.into()),
    };
    match content.stored_in(library) {
        Ok(Some(_)) => return Found::Had,
        Ok(None) if job.waited.is_none() && library.is_waiting(&content.now) => return Found::Had,
        Ok(None) => {}
        Err(error) => return Found::Failed(error.into()),
    }
    if job.player.code.is_empty() {
        let why = match &job.misfit {
            Some(misfit) => misfit.to_string(),
            None => "nothing says whose it is".to_owned(),
        };
        return Found::Waits(job.waits(&content, vec![Asked::Player], why));
    }
    examine(library, job, &content, watch)
}

/// Reads one file whose player is known, and asks where an answer would help.
fn examine(library: &Library, job: &Job, content: &ContentId, watch: &Watch) -> Found {
    // Whatever cannot be told of the player, the store will refuse in its own words.
    let known = library.player_by_code(&job.player.code).ok();
    let known = FindOptions {
        hand: job.player.hand.or(known.as_ref().and_then(|player| player.hand)),
        stature_m: job.player.stature_m.or(known.as_ref().and_then(|player| player.stature_m)),
    };
    match look(Some(library), &job.file, &job.context, &known, watch) {
        Ok(looked) if looked.found.serves.is_empty() => {
            let why = format!("no serve found: {}", why_none(&looked.found));
            Found::Waits(job.waits(content, asked_by(&why, known.hand.is_some()), why))
        }
        Ok(looked) => Found::Looked(Box::new(looked)),
        Err(LookError::Clip(error @ ClipError::SeveralPeople { .. })) => {
            let why = error.to_string();
            let why = why.strip_prefix(&format!("{}: ", job.file.display())).unwrap_or(&why);
            Found::Waits(job.waits(content, vec![Asked::Person], why.to_owned()))
        }
        Err(error) => Found::Failed(error.into()),
    }
}

/// What would have to be known for a serve to be found, as the refusals say.
fn asked_by(why: &str, hand_told: bool) -> Vec<Asked> {
    let mut asks = Vec::new();
    if why.contains(&Remedy::SayCaptureRate.to_string()) {
        asks.push(Asked::CaptureRate);
    }
    if hand_told && why.contains("is said to be") {
        asks.push(Asked::Hand);
    }
    asks
}

fn keep(
    library: &mut Library,
    catalogue: &crate::catalogue::Catalogue,
    job: &Job,
    looked: Looked,
    watch: &Watch,
) -> Result<(Player, Taken), BatchError> {
    let (recorded, taken) = for_player(library, &job.player, |library, player| {
        let taken = store(library, catalogue, player, looked, &job.context, watch);
        (usize::from(taken.is_ok()), taken)
    })
    .map_err(|source| BatchError::Player { file: job.file.clone(), source: Box::new(source) })?;
    Ok((recorded.player, taken?))
}
