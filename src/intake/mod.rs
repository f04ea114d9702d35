//! From a file to stored serves, through one door: [`look`] reads it and finds its serves,
//! [`store`] puts what was seen into the library; all of one file or nothing.

mod batch;
mod clip;
mod content;
mod for_player;
mod heard;
mod mark;
#[cfg(test)]
mod mark_tests;
mod object;
mod put_right;
mod suspect;
mod table;
mod thrown;
mod views;

use std::path::{Path, PathBuf};

use jiff::civil::Date;

use crate::catalogue::{Catalogue, Recorded};
use crate::library::{
    Added, Author, FaultLabel, Library, Named, NewRecording, Player, RecordingRow, SeenMoment,
    SeenServe, ServeType, Setting, StoreError, Witness, WriteError, check_born, check_past,
};
use crate::motion::{ReadError, ReadOptions, Recording, Side, read};
use crate::remedy::Remedy;
use crate::serve::{
    EventKind, FindOptions, Found, Refusal, Serve, TimedContact, find, usual_error_s,
};
use crate::video::{ClipError, ClipInfo, Kept, is_clip};
use crate::work::{Stopped, Watch};

use self::suspect::{SessionServe, said_of, session, suspicions};

pub use batch::{
    Answer, AnswerRefusal, Answered, Batch, BatchError, Became, Misfit, PathPattern, PathSays,
    PatternError, Question, Reading, Tell, WatchOf, Went, answer, questions,
};
pub use clip::ClipWay;
pub use content::{ContentId, is_recording_name, recordings_in};
pub use for_player::for_player;
pub use mark::set_moments;
pub use object::{EventObject, FileObject, MeasureObject, PalmFrame, PalmObject, ServeObject};
pub use put_right::{Movable, RecordingAmendment, amend_recording, move_to, remove};
pub use table::{TableAdded, TableError, table_template};
pub use views::{ClipsRequest, say_of_clips};

/// What is known about a recording beside the file.
#[derive(Debug, Clone, Default)]
pub struct Context {
    /// How to read the file.
    pub read: ReadOptions,
    /// How to read it if it is a clip.
    pub clip: ClipWay,
    /// Whether the library keeps a copy of a clip.
    pub keep_clip: bool,
    /// Day it was recorded; the file's own date where `None`.
    pub date: Option<Date>,
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
}

impl Context {
    /// Whether it says anything about how a file is read that was settled when the file was stored.
    fn says_how(&self) -> bool {
        // Subject and person choose a recording, not how it is read.
        let read = ReadOptions { subject: None, person: None, ..self.read.clone() };
        let clip = ClipWay { person: self.clip.person, ..ClipWay::default() };
        read != ReadOptions::default() || self.clip != clip
    }
}

/// What became of a file.
#[derive(Debug, Clone)]
pub struct Taken {
    /// What the store did.
    pub added: Added,
    /// The recording in one line.
    pub summary: String,
    /// What the file did not say and was assumed.
    pub assumptions: Vec<crate::motion::Assumption>,
    /// Stretches that looked like a serve and are none.
    pub refused: Vec<Refusal>,
    /// The day it was stored under.
    pub date: Date,
    /// Whether that day is only the file's date.
    pub date_assumed: bool,
}

/// Why a file was not taken. Nothing of it is stored then.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum IntakeError {
    /// The file could not be read.
    #[error(transparent)]
    Look(#[from] LookError),
    /// No serve is in it.
    #[error("{}: no serve found: {reason}; nothing is stored", file.display())]
    NoServe {
        /// The file.
        file: PathBuf,
        /// What was seen instead.
        reason: String,
    },
    /// The store would not take it.
    #[error("{}: {source}", file.display())]
    Write {
        /// The file.
        file: PathBuf,
        /// Why.
        #[source]
        source: Box<WriteError>,
    },
    /// The store could not be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Why a file could not be looked at.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LookError {
    /// A joint file could not be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A clip could not be read.
    #[error(transparent)]
    Clip(#[from] ClipError),
    /// The store could not be asked whether it holds the file.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The work was stopped.
    #[error("{}: {source}", file.display())]
    Stopped {
        /// The file.
        file: PathBuf,
        /// That it was.
        source: Stopped,
    },
    /// A clip was given a sample rate.
    #[error(
        "{}: a sample rate is for joint files, a clip has its own times; for one filmed in slow motion {}",
        file.display(),
        Remedy::SayCaptureRate
    )]
    RateOfClip {
        /// The clip.
        file: PathBuf,
    },
}

impl LookError {
    /// What to do about it; the text ends with it.
    #[must_use]
    pub fn remedy(&self) -> Option<Remedy> {
        match self {
            Self::Read(error) => error.kind.remedy(),
            Self::Clip(error) => error.remedy(),
            Self::Store(error) => error.remedy(),
            Self::RateOfClip { .. } => Some(Remedy::SayCaptureRate),
            Self::Stopped { .. } => None,
        }
    }
}

/// A file as seen, before anything is stored.
#[derive(Debug, Clone)]
pub struct Looked {
    /// The file.
    pub file: PathBuf,
    /// What its content goes by; `None` where no library was asked whether it holds it.
    pub content: Option<ContentId>,
    /// The recording under which the library holds this content, if it does.
    pub stored: Option<RecordingRow>,
    /// Whether recording and serves are the library's own, so that nothing was read again.
    pub from_store: bool,
    /// What was said about how to read it and had no effect, since it was read before.
    pub passed_over: bool,
    /// The joints.
    pub recording: Recording,
    /// The serves in them; what was refused is known only of a file that was read now.
    pub found: Found,
    /// What the program saw of each serve's moments, where not the joints alone decide.
    pub moments: Vec<Vec<SeenMoment>>,
    /// What the picture showed, where the file is a clip.
    pub clip: Option<SeenClip>,
    /// The day the file was last written, here.
    pub file_date: Date,
}

/// What a clip's picture showed beside the joints in space.
#[derive(Debug, Clone)]
pub struct SeenClip {
    /// Joints in the picture and facts of the clip.
    pub kept: Kept,
    /// Frames a second that were worked through; `None` where the library had it read before.
    pub pace_hz: Option<f64>,
    /// What the container says; `None` where the library had it read before.
    pub info: Option<ClipInfo>,
}

impl Looked {
    /// The faults the program suspects in the serves of this file alone, strongest as the catalogue
    /// has them: what [`store`] would record of a day that held nothing else; `stature_m`: the player's.
    #[must_use]
    pub fn suspicions(&self, catalogue: &Catalogue, stature_m: Option<f64>) -> Vec<FaultLabel> {
        suspicions(catalogue, &self.session(&Context::default()), &[], stature_m)
    }

    /// Its serves as far as they can be known again in another clip.
    #[must_use]
    pub fn seen(&self) -> Vec<SeenServe> {
        self.session(&Context::default()).into_iter().map(|serve| serve.seen).collect()
    }

    fn session(&self, context: &Context) -> Vec<SessionServe> {
        let Recording { capture, view, rate_hz, .. } = self.recording;
        let serve =
            |(at, serve): (usize, &Serve)| {
                let contact = serve.events[EventKind::Contact as usize];
                let told =
                    self.moments.get(at).into_iter().flatten().find(|one| {
                        (one.event, &one.witness) == (EventKind::Contact, &Witness::Sound)
                    });
                let usual_s = usual_error_s(EventKind::Contact, capture, rate_hz);
                SessionServe {
                    readings: serve.readings.clone(),
                    recorded: Recorded { capture, view, rate_hz },
                    seen: SeenServe {
                        serve: None,
                        recording: None,
                        capture,
                        view,
                        setting: context.setting,
                        serve_type: context.serve_type,
                        hand: serve.hand,
                        contact: TimedContact {
                            time_s: contact.time_s,
                            error_s: told.map_or(usual_s, |one| one.error_s),
                        },
                    },
                }
            };
        self.found.serves.iter().enumerate().map(serve).collect()
    }
}

/// Reads the recording in `file`, joints or a clip, and finds its serves; stores nothing.
///
/// The content comes first: of a file that `library` holds, nothing is read again, and the joints
/// and serves are the library's ([`Looked::from_store`]); how to read it was settled when it was
/// stored. A file whose layout is given is taken for joints. `watch` is told the frames of a clip.
///
/// # Errors
/// [`LookError`] if the file cannot be read; a file without a serve is no error here.
pub fn look(
    library: Option<&Library>,
    file: &Path,
    context: &Context,
    known: &FindOptions,
    watch: &Watch,
) -> Result<Looked, LookError> {
    let unread = |source| LookError::Read(ReadError { file: file.to_owned(), kind: source });
    let check =
        || watch.check().map_err(|source| LookError::Stopped { file: file.to_owned(), source });
    check()?;
    let as_clip = context.read.layout.is_none() && is_clip(file);
    // A pipe can be read once only, and is, where nothing is asked of a library.
    let content = library.map(|_| content_of(file, context, watch)).transpose()?;
    let file_date = content::date_of(file).map_err(|error| unread(error.into()))?;
    let stored = match (library, &content) {
        (Some(library), Some(content)) => content.stored_in(library)?,
        _ => None,
    };
    if let (Some(library), Some(row)) = (library, &stored)
        && let Some((recording, serves, moments, clip)) = held(library, row, as_clip)?
    {
        return Ok(Looked {
            file: file.to_owned(),
            content,
            found: held_found(row, &recording, serves, known),
            moments,
            stored,
            from_store: true,
            passed_over: context.says_how(),
            recording,
            clip,
            file_date,
        });
    }
    check()?;
    let (recording, clip, sound) = if as_clip {
        clip::read(file, context, watch)?
    } else {
        (read(file, &context.read)?, None, None)
    };
    check()?;
    let mut found = find(&recording, known);
    let mut moments = vec![Vec::new(); found.serves.len()];
    // A practice swing hits nothing: whatever sounds like a hit is somebody else's, or flies by.
    if let Some(seen) = &clip
        && context.setting != Some(Setting::PracticeSwing)
        && !found.serves.is_empty()
    {
        // What was kept of the picture is not mirrored.
        let flights = if context.read.mirror {
            vec![None; found.serves.len()]
        } else {
            thrown::flights(file, &found.serves, &recording, seen, watch)?
        };
        let sound = sound.as_ref();
        (found, moments) = heard::listen(found, &recording, &seen.kept, sound, &flights, known);
    }
    let mut looked = Looked {
        file: file.to_owned(),
        content,
        stored,
        from_store: false,
        passed_over: false,
        found,
        moments,
        recording,
        clip,
        file_date,
    };
    if looked.clip.is_some() {
        clip::caution(&mut looked, known);
    }
    Ok(looked)
}

fn content_of(file: &Path, context: &Context, watch: &Watch) -> Result<ContentId, LookError> {
    ContentId::of(file, context, watch).map_err(|error| match watch.check() {
        Err(source) => LookError::Stopped { file: file.to_owned(), source },
        Ok(()) => ReadError { file: file.to_owned(), kind: error.into() }.into(),
    })
}

type Held = (Recording, Vec<Serve>, Vec<Vec<SeenMoment>>, Option<SeenClip>);

/// What the library holds of a recording; `None` where that is not enough to go on with: no joints
/// (it came in a pack), or what was kept of the clip is of another form.
fn held(library: &Library, row: &RecordingRow, as_clip: bool) -> Result<Option<Held>, StoreError> {
    let recording = library.joints(row.id)?;
    let kept = library.clip(row.id)?.and_then(|clip| Kept::from_bytes(&clip.body).ok());
    if recording.frames() == 0 || as_clip != kept.is_some() {
        return Ok(None);
    }
    let (mut serves, mut moments) = (Vec::new(), Vec::new());
    for id in library.serves_in(row.id)? {
        serves.push(library.serve(id)?.serve);
        moments.push(library.moments_seen(id)?);
    }
    let clip = kept.map(|kept| SeenClip { kept, pace_hz: None, info: None });
    Ok(Some((recording, serves, moments, clip)))
}

/// Stored serves as found ones; a hand that contradicts them is refused as it is in a file.
fn held_found(
    row: &RecordingRow,
    recording: &Recording,
    serves: Vec<Serve>,
    known: &FindOptions,
) -> Found {
    let hand = |side: Side| side.name();
    match (known.hand, serves.first().map(|serve| serve.hand)) {
        (Some(given), Some(stored)) if given != stored => Found {
            serves: Vec::new(),
            refused: vec![Refusal {
                frames: (0, recording.frames().saturating_sub(1)),
                reason: format!(
                    "{} is stored as serving with the {} hand, but the {} hand was given",
                    row.id,
                    hand(stored),
                    hand(given)
                ),
            }],
        },
        _ => Found { serves, refused: Vec::new() },
    }
}

/// Why a recording holds no serve, in one line.
#[must_use]
pub fn why_none(found: &Found) -> String {
    let mut reasons: Vec<&str> = Vec::new();
    for refusal in &found.refused {
        if !reasons.contains(&refusal.reason.as_str()) {
            reasons.push(&refusal.reason);
        }
    }
    if reasons.is_empty() { "nothing in it moves like one".to_owned() } else { reasons.join("; ") }
}

/// Stores what was seen in a file for `player`: its recording, its serves, and what the program
/// suspects about the case they join. One transaction.
///
/// A recording the library holds already stays as it is; where its clip lies is brought up to date,
/// and a copy of the clip is kept if `context` asks for one.
///
/// # Errors
/// [`IntakeError`]; nothing of the file is stored then.
pub fn store(
    library: &mut Library,
    catalogue: &Catalogue,
    player: &Player,
    looked: Looked,
    context: &Context,
    watch: &Watch,
) -> Result<Taken, IntakeError> {
    let file = looked.file.clone();
    watch.check().map_err(|source| LookError::Stopped { file: file.clone(), source })?;
    let refused = |source| IntakeError::Write { file: file.clone(), source: Box::new(source) };
    if looked.found.serves.is_empty() {
        let reason = why_none(&looked.found);
        return Err(IntakeError::NoServe { file, reason });
    }
    let (date, date_assumed) = match context.date {
        Some(date) => (date, false),
        None => (looked.file_date, true),
    };
    check_past("date", date)
        .and_then(|()| player.born.map_or(Ok(()), |born| check_born("born", born, Some(date))))
        .map_err(refused)?;
    let file_name = file.file_name().unwrap_or_default().to_string_lossy();
    let content = match &looked.content {
        Some(content) => content.clone(),
        None => content_of(&file, context, watch)?,
    };
    let mut clip = looked
        .clip
        .as_ref()
        .map(|seen| clip::kept(library, &file, &content, seen, context.keep_clip, watch))
        .transpose()?;
    // What others add to the case meanwhile waits: the suspicions are about all its serves.
    let turn = library.take_turn().map_err(refused)?;
    let stored = content.stored_in(library)?;
    // What was stored under an earlier name keeps it, and is found by it.
    let hash = stored.as_ref().map_or(&content.now, |row| &row.content_hash);
    let new = NewRecording {
        player: player.id,
        file_name: &file_name,
        content_hash: hash,
        date,
        setting: context.setting,
        serve_type: context.serve_type,
        recording: &looked.recording,
        serves: &looked.found.serves,
    };
    let earlier = library
        .cases(Some(player.id))?
        .into_iter()
        .find(|case| case.date == date)
        .map(|case| session(library, case.id))
        .transpose()?
        .unwrap_or_default();
    let mut serves = earlier;
    serves.extend(looked.session(context));
    let said = said_of(library, &serves)?;
    let labels = suspicions(catalogue, &serves, &said, player.stature_m);
    let added = library
        .write_in(&turn, |writer| {
            let added = writer.add_recording(&new)?;
            if let Some(clip) = &mut clip {
                clip.place()?;
                writer.set_clip(added.recording, &clip.about)?;
            }
            if added.new {
                for (id, seen) in added.serves.iter().zip(&looked.moments) {
                    writer.set_moments_seen(*id, seen)?;
                }
                writer.replace_labels(added.case, &Author::Program, &labels)?;
            }
            Ok(added)
        })
        .inspect_err(|_| clip.iter().for_each(clip::Keeping::take_back))
        .map_err(refused)?;
    Ok(Taken {
        added,
        summary: looked.recording.summary(),
        assumptions: looked.recording.assumptions,
        refused: looked.found.refused,
        date,
        date_assumed,
    })
}

/// Takes one file into the library for `player`: [`look`], then [`store`].
///
/// # Errors
/// [`IntakeError`]; nothing of the file is stored then.
pub fn take(
    library: &mut Library,
    catalogue: &Catalogue,
    player: &Player,
    file: &Path,
    context: &Context,
    watch: &Watch,
) -> Result<Taken, IntakeError> {
    let known = FindOptions { hand: player.hand, stature_m: player.stature_m };
    let looked = look(Some(library), file, context, &known, watch)?;
    store(library, catalogue, player, looked, context, watch)
}

#[cfg(test)]
mod tests;
