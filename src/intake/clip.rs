//! A phone clip on its way in: how it is read, and what it shows beside joints in space.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::content::ContentId;
use super::{Context, IntakeError, LookError, Looked, SeenClip};
use crate::files::copy as copy_all;
use crate::library::{COMING, Clip, Library, Named, StoreError};
use crate::motion::{Assumption, ReadError, ReadErrorKind, Recording};
use crate::remedy::Remedy;
use crate::serve::FindOptions;
use crate::video::{ClipOptions, Kept, ModelChoice, Person, Sound, read_clip};
use crate::work::Watch;

/// A clip whose rate is this near to the container's plays in real time.
const REAL_TIME: f64 = 0.05;

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

/// Reads a clip as `context` says: the recording in space, what the picture showed, and the sound of
/// a clip that plays in real time.
pub(super) fn read(
    file: &Path,
    context: &Context,
    watch: &Watch,
) -> Result<(Recording, Option<SeenClip>, Option<Sound>), LookError> {
    let at = |kind| ReadError { file: file.to_owned(), kind };
    // A missing file is named in the same words whatever it would have been.
    std::fs::metadata(file).map_err(|source| at(ReadErrorKind::from(source)))?;
    if context.read.rate_hz.is_some() {
        return Err(LookError::RateOfClip { file: file.to_owned() });
    }
    let options = ClipOptions {
        model: context.clip.model,
        person: context.clip.person,
        capture_rate_hz: context.clip.capture_rate_hz,
        view: context.read.view,
    };
    let reading = read_clip(file, &options, watch)?;
    let in_real_time =
        (reading.recording.rate_hz / reading.info.container_hz - 1.0).abs() < REAL_TIME;
    let sound = if in_real_time { Sound::of_clip(file, watch)? } else { None };
    let seen = SeenClip {
        kept: Kept::of(&reading),
        pace_hz: Some(reading.pace_hz),
        info: Some(reading.info),
    };
    let recording =
        if context.read.mirror { reading.recording.mirrored() } else { reading.recording };
    Ok((recording, Some(seen), sound))
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
                "as the motion shows, but one camera may mistake one raised arm for the other: {}",
                Remedy::SayHand
            ),
        });
    }
    if let (true, Some(last)) = (looked.found.serves.is_empty(), looked.found.refused.last_mut()) {
        last.reason.push_str(
            "; if it is one: a single camera easily mistakes one raised arm for the other, above \
             all from behind; film from the hitting arm's side or from diagonally in front of it",
        );
    }
}

/// A clip as the store is to know it, and the copy to be kept of it.
pub(super) struct Keeping {
    pub(super) about: Clip,
    copy: Option<NamedTempFile>,
    place: PathBuf,
    placed: bool,
}

impl Keeping {
    /// Puts the copy in its place: part of the change that stores the clip, since a copy that
    /// belongs to no recording is removed by whoever has the turn to change the library.
    pub(super) fn place(&mut self) -> Result<(), StoreError> {
        if let Some(copy) = self.copy.take()
            && !self.place.exists()
        {
            copy.persist(&self.place)
                .map_err(|error| StoreError::io(&self.place, "keeping a clip")(error.error))?;
            self.placed = true;
        }
        self.about.kept = self.place.exists();
        Ok(())
    }

    /// Removes the copy again if it was put there, where the change failed.
    pub(super) fn take_back(&self) {
        if self.placed {
            // What stays against our will is removed by the next check of the library.
            let _ = std::fs::remove_file(&self.place);
        }
    }
}

/// What the library keeps of a clip; with `copy`, the clip's bytes too, whole or not at all.
pub(super) fn kept(
    library: &Library,
    file: &Path,
    content: &ContentId,
    seen: &SeenClip,
    copy: bool,
    watch: &Watch,
) -> Result<Keeping, IntakeError> {
    let failed = |error: io::Error| match watch.check() {
        Err(source) => LookError::Stopped { file: file.to_owned(), source },
        Ok(()) => LookError::Read(ReadError { file: file.to_owned(), kind: error.into() }),
    };
    let hash = content.bytes.clone();
    let place = library.clip_copy(&hash);
    let mut kept = None;
    if copy && !place.exists() {
        let folder = place.parent().unwrap_or(library.folder());
        std::fs::create_dir_all(folder).map_err(failed)?;
        let mut whole =
            tempfile::Builder::new().prefix(COMING).tempfile_in(folder).map_err(failed)?;
        copy_all(&mut File::open(file).map_err(failed)?, &mut whole, watch).map_err(failed)?;
        kept = Some(whole);
    }
    let path = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    Ok(Keeping {
        about: Clip {
            path: path.display().to_string(),
            hash,
            kept: copy || place.exists(),
            body: seen.kept.to_bytes(),
        },
        copy: kept,
        place,
        placed: false,
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
            file: PathBuf::from("clip.mp4"),
            content: None,
            stored: None,
            from_store: false,
            passed_over: false,
            recording: made::recording(1),
            found: Found { serves, refused },
            moments: Vec::new(),
            clip: None,
            file_date: jiff::civil::date(2026, 3, 4),
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
