//! From a file to stored serves: read, find, suspect, store; all of one file or nothing.

mod clip;
mod content;
mod table;

use std::path::{Path, PathBuf};

use jiff::civil::Date;

use crate::catalogue::{Catalogue, Conditions, detect};
use crate::library::{
    Added, Author, CaseId, FaultLabel, LabelState, Library, NewRecording, Player, ServeType,
    Setting, StoreError, WriteError, check_born, check_past,
};
use crate::motion::{Capture, ReadError, ReadOptions, Recording, read};
use crate::remedy::Remedy;
use crate::serve::{FindOptions, Found, Refusal, ServeReading, find};
use crate::video::{ClipError, ClipReading, is_clip};

pub use clip::{ClipWay, Hear, Watch};
pub use content::{content_hash, recordings_in};
pub use table::{TableAdded, TableError, table_template};

/// What is known about a recording beside the file.
#[derive(Debug, Clone, Default)]
pub struct Context {
    /// How to read the file.
    pub read: ReadOptions,
    /// How to read it if it is a clip.
    pub clip: ClipWay,
    /// Whether the library keeps a copy of a clip.
    pub keep_clip: bool,
    /// Who hears how far it is, and who may stop it.
    pub watch: Watch,
    /// Day it was recorded; the file's own date where `None`.
    pub date: Option<Date>,
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
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
            Self::RateOfClip { .. } => Some(Remedy::SayCaptureRate),
        }
    }

    /// Whether the user stopped it.
    #[must_use]
    pub fn is_stop(&self) -> bool {
        matches!(self, Self::Clip(ClipError::Cancelled { .. }))
    }
}

/// A file as read, before anything is stored.
#[derive(Debug, Clone)]
pub struct Looked {
    /// The joints.
    pub recording: Recording,
    /// The serves in them.
    pub found: Found,
    /// What the picture showed, where the file is a clip.
    pub clip: Option<ClipReading>,
}

/// Reads the recording in `file`, joints or a clip, and finds its serves; stores nothing.
///
/// A file whose layout is given is taken for joints.
///
/// # Errors
/// [`LookError`] if the file cannot be read; a file without a serve is no error here.
pub fn look(file: &Path, context: &Context, known: &FindOptions) -> Result<Looked, LookError> {
    let (recording, clip) = if context.read.layout.is_none() && is_clip(file) {
        clip::read(file, context)?
    } else {
        (read(file, &context.read)?, None)
    };
    let mut looked = Looked { found: find(&recording, known), recording, clip };
    if looked.clip.is_some() {
        clip::caution(&mut looked, known);
    }
    Ok(looked)
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

/// Takes one file into the library for `player`: its recording, its serves, and what the program
/// suspects about the case they join. One transaction.
///
/// # Errors
/// [`IntakeError`]; nothing of the file is stored then.
pub fn take(
    library: &mut Library,
    catalogue: &Catalogue,
    player: &Player,
    file: &Path,
    context: &Context,
) -> Result<Taken, IntakeError> {
    let known = FindOptions { hand: player.hand, stature_m: player.stature_m };
    let unread = |source: std::io::Error| {
        LookError::Read(ReadError { file: file.to_owned(), kind: source.into() })
    };
    let hash = content_hash(file, context).map_err(unread)?;
    let Looked { recording, found, clip } = look(file, context, &known)?;
    if found.serves.is_empty() {
        let reason = why_none(&found);
        return Err(IntakeError::NoServe { file: file.to_owned(), reason });
    }
    let (date, date_assumed) = match context.date {
        Some(date) => (date, false),
        None => (content::date_of(file).map_err(unread)?, true),
    };
    check_past("date", date)
        .and_then(|()| player.born.map_or(Ok(()), |born| check_born("born", born, Some(date))))
        .map_err(|source| IntakeError::Write { file: file.to_owned(), source: Box::new(source) })?;
    let earlier = library
        .cases(Some(player.id))?
        .into_iter()
        .find(|case| case.date == date)
        .map(|case| session(library, case.id))
        .transpose()?
        .unwrap_or_default();
    let file_name = file.file_name().unwrap_or_default().to_string_lossy();
    let new = NewRecording {
        player: player.id,
        file_name: &file_name,
        content_hash: &hash,
        date,
        setting: context.setting,
        serve_type: context.serve_type,
        recording: &recording,
        serves: &found.serves,
    };
    let mut serves = earlier;
    serves.extend(found.serves.iter().map(|serve| SessionServe {
        readings: serve.readings.clone(),
        setting: context.setting,
        serve_type: context.serve_type,
        capture: recording.capture,
        rate_hz: recording.rate_hz,
    }));
    let labels = suspicions(catalogue, &serves, player.stature_m);
    let clip = clip.map(|seen| clip::kept(library, file, &seen, context.keep_clip)).transpose()?;
    let added = library
        .write(|writer| {
            let added = writer.add_recording(&new)?;
            if let Some(clip) = &clip {
                writer.set_clip(added.recording, &clip.about)?;
            }
            if added.new {
                writer.replace_labels(added.case, &Author::Program, &labels)?;
            }
            Ok(added)
        })
        .map_err(|source| IntakeError::Write { file: file.to_owned(), source: Box::new(source) })?;
    if let Some(clip) = clip {
        clip.stored();
    }
    Ok(Taken {
        added,
        summary: recording.summary(),
        assumptions: recording.assumptions,
        refused: found.refused,
        date,
        date_assumed,
    })
}

/// One serve of a session as far as suspicions go.
#[derive(Debug, Clone)]
struct SessionServe {
    readings: Vec<ServeReading>,
    setting: Option<Setting>,
    serve_type: Option<ServeType>,
    capture: Capture,
    rate_hz: f64,
}

fn session(library: &Library, case: CaseId) -> Result<Vec<SessionServe>, StoreError> {
    let mut serves = Vec::new();
    for id in library.case(case)?.serves {
        let row = library.serve(id)?;
        let recording = library.recording(row.recording)?;
        serves.push(SessionServe {
            readings: row.serve.readings,
            setting: recording.setting,
            serve_type: recording.serve_type,
            capture: recording.capture,
            rate_hz: recording.rate_hz,
        });
    }
    Ok(serves)
}

/// The program's labels for a session: from the serves with a ball if there are any, since a
/// practice swing shows what the player can do, not what the serve does.
fn suspicions(
    catalogue: &Catalogue,
    serves: &[SessionServe],
    stature_m: Option<f64>,
) -> Vec<FaultLabel> {
    let with_ball: Vec<&SessionServe> =
        serves.iter().filter(|serve| serve.setting != Some(Setting::PracticeSwing)).collect();
    let judged = if with_ball.is_empty() { serves.iter().collect() } else { with_ball };
    // What the poorest recording cannot show is not claimed from the richest alone: the lowest
    // rate decides.
    let Some(poorest) = judged.iter().min_by(|a, b| a.rate_hz.total_cmp(&b.rate_hz)) else {
        return Vec::new();
    };
    let conditions = Conditions {
        serve_type: ServeType::of_all(judged.iter().map(|serve| serve.serve_type)),
        stature_m,
        ..Conditions::of(poorest.capture, poorest.rate_hz)
    };
    let readings: Vec<&[ServeReading]> =
        judged.iter().map(|serve| serve.readings.as_slice()).collect();
    detect(catalogue, &readings, &conditions)
        .into_iter()
        .filter(|suspicion| suspicion.suspected())
        .map(|suspicion| FaultLabel {
            severity: suspicion.score().unwrap_or_default(),
            fault: suspicion.fault,
            state: LabelState::Suspected,
            by: Author::Program,
            note: None,
        })
        .collect()
}
