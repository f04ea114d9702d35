//! The stretch of a clip that shows a serve, as pictures to go through frame by frame.

use super::pictures::{MissingClip, clip_file};
use crate::library::{FilmOf, Library, ServeRow, StoreError};
use crate::serve::EventKind;
use crate::video::{ClipError, Film, Kept, film};
use crate::work::{Stopped, Watch};

/// Shown before the toss begins and after the finish, s: room to put those moments right, which one
/// camera finds to a quarter of a second (its standing errors: `src/video/ONE-CAMERA.md`).
const BEFORE_S: f64 = 0.4;
const AFTER_S: f64 = 0.2;
/// A stretch begins and ends at a whole one of these, s, so that a moment put right by a little
/// needs no new film.
const STEP_S: f64 = 0.25;

/// The frames of a clip that show a serve.
#[derive(Debug, Clone, PartialEq)]
pub struct Footage {
    /// Which stretch of which clip.
    pub of: FilmOf,
    /// Joints in the picture.
    pub kept: Kept,
    /// Time of each frame of the stretch in the recording, seconds.
    pub times_s: Vec<f64>,
    /// Frame of the recording behind each; `None` where nobody was seen.
    pub frames: Vec<Option<usize>>,
}

/// The stretch of its clip that shows a serve; `None` if it was read from no clip, or if what was
/// kept of the clip is of no use any more.
///
/// # Errors
/// [`StoreError`] if the store cannot be read.
pub fn footage(library: &Library, row: &ServeRow) -> Result<Option<Footage>, StoreError> {
    let Some(clip) = library.clip(row.recording)? else { return Ok(None) };
    let Ok(kept) = Kept::from_bytes(&clip.body) else { return Ok(None) };
    let recorded_s = library.joints(row.recording)?.times_s;
    let moment = |kind: EventKind| Some(row.serve.events[kind as usize].time_s);
    let known = |kind| moment(kind).filter(|time_s| time_s.is_finite());
    let cut = [row.serve.frames.0, row.serve.frames.1].map(|frame| recorded_s.get(frame).copied());
    let (Some(start_s), Some(end_s)) =
        (known(EventKind::TossStart).or(cut[0]), known(EventKind::Finish).or(cut[1]))
    else {
        return Ok(None);
    };
    let from_s = ((start_s - BEFORE_S) / STEP_S).floor() * STEP_S;
    let to_s = ((end_s + AFTER_S) / STEP_S).ceil() * STEP_S;
    let inside: Vec<usize> = (0..recorded_s.len().min(kept.clip_frames.len()))
        .filter(|&frame| (from_s..=to_s).contains(&recorded_s[frame]))
        .collect();
    let (Some(&first), Some(&last)) = (inside.first(), inside.last()) else { return Ok(None) };
    let clip_frame = |frame: usize| kept.clip_frames[frame] as usize;
    let stretch = (clip_frame(first), clip_frame(last));
    let (mut times_s, mut frames) = (Vec::new(), Vec::new());
    let mut at = first;
    for shown in stretch.0..=stretch.1 {
        while at < last && clip_frame(at + 1) <= shown {
            at += 1;
        }
        if clip_frame(at) == shown {
            times_s.push(recorded_s[at]);
            frames.push(Some(at));
        } else {
            // Nobody in sight: the frame lies evenly between its neighbours.
            let (here, there) = (clip_frame(at), clip_frame(at + 1));
            let part = (shown - here) as f64 / (there - here) as f64;
            times_s.push(recorded_s[at] + part * (recorded_s[at + 1] - recorded_s[at]));
            frames.push(None);
        }
    }
    let of = FilmOf { recording: row.recording, clip_hash: clip.hash, frames: stretch };
    Ok(Some(Footage { of, kept, times_s, frames }))
}

/// Why there is no film of a serve.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FilmError {
    /// The store answered with an error.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The clip is gone or another; names no path.
    #[error("{why}")]
    Clip {
        /// In words, with what to do.
        why: String,
    },
    /// It cannot be decoded.
    #[error(transparent)]
    Decoder(ClipError),
    /// The disk refused.
    #[error("the pictures of the clip cannot be kept: {0}; check free space and permissions")]
    Disk(#[from] std::io::Error),
    /// The work was stopped.
    #[error(transparent)]
    Stopped(#[from] Stopped),
}

/// The film of a stretch, made from its clip if none is kept; `watch` is told each picture.
///
/// # Errors
/// [`FilmError`]; nothing half made stays.
pub fn make_film(library: &Library, of: &FilmOf, watch: &Watch) -> Result<Film, FilmError> {
    if let Some(kept) = library.film(of) {
        return Ok(kept);
    }
    let clip = library.clip(of.recording)?.filter(|clip| clip.hash == of.clip_hash);
    let Some(clip) = clip else {
        return Err(FilmError::Clip { why: "the recording is gone".to_owned() });
    };
    let file = clip_file(library, &clip, watch).map_err(|missing| match missing {
        MissingClip::Stopped(stopped) => FilmError::Stopped(stopped),
        MissingClip::Said(why) => FilmError::Clip { why },
    })?;
    let coming = library.film_to_come()?;
    let made = film(&file, of.frames, coming.path(), watch).map_err(|error| match error {
        ClipError::Stopped { source, .. } => FilmError::Stopped(source),
        error => FilmError::Decoder(error),
    })?;
    library.keep_film(of, &made, coming)?;
    Ok(made)
}
