//! A phone clip on its way in: how it is read, and what it shows beside joints in space.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::{Context, IntakeError, LookError, Looked};
use crate::library::{Clip, Library, Named};
use crate::motion::{Assumption, ReadError, ReadErrorKind, Recording};
use crate::remedy::Remedy;
use crate::serve::FindOptions;
use crate::video::{
    ClipError, ClipOptions, ClipReading, Kept, ModelChoice, Person, Progress, read_clip,
};

/// How to read a clip; joint files need none of it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct ClipWay {
    /// Landmark network.
    pub model: ModelChoice,
    /// Whom to follow.
    pub person: Person,
    /// Frames per second at capture, where the clip plays slower than it was filmed.
    pub capture_rate_hz: Option<f64>,
}

/// Who hears how far the work on a clip is.
pub type Hear = Arc<dyn Fn(&Path, Progress) + Send + Sync>;

/// Who hears how far long work is, and who may stop it.
#[derive(Clone, Default)]
pub struct Watch {
    /// Hears after each frame of a clip.
    pub hear: Option<Hear>,
    /// Set to true from anywhere, it stops the work.
    pub stop: Option<Arc<AtomicBool>>,
}

impl Watch {
    /// Whether the work is to stop.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.stop.as_ref().is_some_and(|stop| stop.load(Ordering::Relaxed))
    }
}

impl fmt::Debug for Watch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Watch")
            .field("hear", &self.hear.is_some())
            .field("stop", &self.stop)
            .finish()
    }
}

/// Reads a clip as `context` says; the recording in space comes first, what the picture showed
/// second.
pub(super) fn read(
    file: &Path,
    context: &Context,
) -> Result<(Recording, Option<ClipReading>), LookError> {
    let at = |kind| ReadError { file: file.to_owned(), kind };
    // A missing file is named in the same words whatever it would have been.
    std::fs::metadata(file).map_err(|source| at(ReadErrorKind::from(source)))?;
    if context.read.rate_hz.is_some() {
        return Err(LookError::RateOfClip { file: file.to_owned() });
    }
    let mut tell = |progress| {
        if let Some(hear) = &context.watch.hear {
            hear(file, progress);
        }
    };
    let reading = read_clip(
        file,
        ClipOptions {
            model: context.clip.model,
            person: context.clip.person,
            capture_rate_hz: context.clip.capture_rate_hz,
            view: context.read.view,
            progress: Some(&mut tell),
            cancel: context.watch.stop.as_deref(),
        },
    )
    // An interrupt may reach a command we wait for first; then its failure is no news.
    .map_err(|error| {
        if context.watch.stopped() { ClipError::Cancelled { path: file.to_owned() } } else { error }
    })?;
    let recording =
        if context.read.mirror { reading.recording.mirrored() } else { reading.recording.clone() };
    Ok((recording, Some(reading)))
}

/// Says what is peculiar to serves seen by one camera: the network gives a raised arm to the other
/// side now and then, so a hand that nobody told is a guess, and a serve may go unseen.
///
/// Where to film from: `tests/fixtures/video/view-all-around.csv`.
pub(super) fn caution(looked: &mut Looked, known: &FindOptions) {
    if let (Some(serve), None) = (looked.found.serves.first(), known.hand) {
        looked.recording.assumptions.push(Assumption {
            what: "hand".to_owned(),
            taken: serve.hand.name().to_owned(),
            why: format!(
                "as the motion shows, but one camera may have taken a raised arm for the other: {}",
                Remedy::SayHand
            ),
        });
    }
    if let (true, Some(last)) = (looked.found.serves.is_empty(), looked.found.refused.last_mut()) {
        last.reason.push_str(
            "; if it is one: a single camera easily takes a raised arm for the other, above all from behind; film from the hitting arm's side or from diagonally in front of it",
        );
    }
}

/// A clip as the store is to know it. A copy made for it is taken back if this is dropped before
/// [`Self::stored`].
pub(super) struct Keeping {
    pub(super) about: Clip,
    copy: Option<PathBuf>,
}

impl Keeping {
    /// The store has it: the copy stays.
    pub(super) fn stored(mut self) {
        self.copy = None;
    }
}

impl Drop for Keeping {
    fn drop(&mut self) {
        if let Some(copy) = &self.copy {
            // What stays against our will is removed by the next check of the library.
            let _ = std::fs::remove_file(copy);
        }
    }
}

/// What the library keeps of a clip; with `copy`, the clip's bytes too, whole or not at all.
pub(super) fn kept(
    library: &Library,
    file: &Path,
    seen: &ClipReading,
    copy: bool,
) -> Result<Keeping, IntakeError> {
    let failed = |source: io::Error| {
        LookError::Read(ReadError { file: file.to_owned(), kind: source.into() })
    };
    let mut hasher = blake3::Hasher::new();
    io::copy(&mut std::fs::File::open(file).map_err(failed)?, &mut hasher).map_err(failed)?;
    let hash = hasher.finalize().to_hex().to_string();
    let place = library.clip_copy(&hash);
    let mut made = None;
    if copy && !place.exists() {
        let folder = place.parent().unwrap_or(library.folder());
        std::fs::create_dir_all(folder).map_err(failed)?;
        let mut whole = tempfile::NamedTempFile::new_in(folder).map_err(failed)?;
        io::copy(&mut std::fs::File::open(file).map_err(failed)?, &mut whole).map_err(failed)?;
        whole.persist(&place).map_err(|error| failed(error.error))?;
        made = Some(place.clone());
    }
    let path = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    Ok(Keeping {
        about: Clip {
            path: path.display().to_string(),
            hash,
            kept: place.exists(),
            body: Kept::of(seen).to_bytes(),
        },
        copy: made,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::tests::made;
    use crate::motion::Side;
    use crate::serve::{Found, Refusal};

    #[test]
    fn a_hand_nobody_told_is_said_to_be_a_guess_and_a_refusal_where_to_film_from() {
        let found = |serves, refused| Looked {
            recording: made::recording(1),
            found: Found { serves, refused },
            clip: None,
        };
        let hand = |looked: &Looked| {
            looked.recording.assumptions.iter().find(|a| a.what == "hand").cloned()
        };
        let told = FindOptions { hand: Some(Side::Right), ..FindOptions::default() };
        let refusal = |why: &str| Refusal { frames: (3, 47), reason: why.to_owned() };

        let mut one = found(vec![made::serve(1)], vec![refusal("a wave")]);
        caution(&mut one, &told);
        assert_eq!(hand(&one), None);
        caution(&mut one, &FindOptions::default());
        assert_eq!(hand(&one).unwrap().taken, one.found.serves[0].hand.name());
        assert_eq!(one.found.refused[0].reason, "a wave");

        let mut none = found(Vec::new(), vec![refusal("a wave"), refusal("no toss")]);
        caution(&mut none, &told);
        let reasons: Vec<&str> =
            none.found.refused.iter().map(|refused| refused.reason.as_str()).collect();
        assert_eq!(reasons[0], "a wave");
        assert!(reasons[1].starts_with("no toss; if it is one: "), "{reasons:?}");
        assert!(reasons[1].contains("film from the hitting arm's side"), "{reasons:?}");
    }
}
