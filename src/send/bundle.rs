//! The bundle: everything of one review in one file.

use std::fs;
use std::io;

use super::moving::{self, Seen};
use super::readme::Readme;
use super::side::{Moving, OwnClip};
use crate::drawing::Viewpoint;
use crate::files::zipped;
use crate::library::{Library, Plan, ServeId, ServeRow, StoreError};
use crate::motion::Side as Hand;
use crate::pages::{
    Audience, Browser, MissingClip, PrintError, ReviewData, Reviewed, Wanted, clip_file,
    closest_label, practice_card, review,
};
use crate::video::{ClipError, Kept};
use crate::words::{day, sentence};
use crate::work::{Stopped, Watch};

/// Name of the clip in the bundle.
const CLIP: &str = "serve.mp4";

/// What a bundle is made of.
#[derive(Debug, Clone, Copy)]
pub struct Contents<'a> {
    /// What was gathered for.
    pub wanted: &'a Wanted<'a>,
    /// What was gathered.
    pub data: &'a ReviewData,
    /// The spoken review, where there is one.
    pub spoken: Option<&'a [u8]>,
}

/// One file for the player.
#[derive(Debug)]
pub struct Bundle {
    /// The file: a ZIP.
    pub bytes: Vec<u8>,
    /// What is in it.
    pub names: Vec<String>,
    /// What is not in it or not as it could be, for the coach.
    pub left_out: Vec<LeftOut>,
}

/// Something a bundle lacks.
#[derive(Debug, thiserror::Error)]
#[error("{what}: {why}")]
pub struct LeftOut {
    /// "no review.pdf".
    pub what: String,
    /// Why.
    pub why: Why,
}

/// Why a bundle lacks something.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Why {
    /// It was not printed.
    #[error(transparent)]
    Print(PrintError),
    /// A clip cannot be read or made.
    #[error(transparent)]
    Clip(ClipError),
    /// In words that name no path.
    #[error("{0}")]
    Said(String),
}

impl LeftOut {
    fn new(what: impl Into<String>, why: Why) -> Self {
        Self { what: what.into(), why }
    }
}

/// Why there is no bundle.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BundleError {
    /// The library cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The system's folder for temporary files cannot be used.
    #[error("a bundle needs room for temporary files: {0}; free some and try again")]
    Scratch(#[source] io::Error),
    /// The work was stopped.
    #[error("{0}")]
    Stopped(#[from] Stopped),
}

/// The player's copy of a review as HTML and PDF, the player's serve moving beside their earlier one
/// or the closest precedent, the practice cards of the plans in force, and what to open first, as one ZIP.
///
/// Nothing in it points outside itself, and nobody else is to be seen or named in it. Without a
/// browser the PDF, and without ffmpeg the clip, is left out; [`Bundle::left_out`] says so.
///
/// # Errors
/// [`BundleError`]; if the work is stopped, nothing is kept.
pub fn bundle(
    library: &Library,
    contents: &Contents<'_>,
    watch: &Watch,
) -> Result<Bundle, BundleError> {
    let Contents { wanted, data, spoken } = *contents;
    let mut left_out = Vec::new();
    let html = review(data, Audience::Player);
    let pdf = match Browser::find().and_then(|browser| browser.print(&html, watch)) {
        Ok(pdf) => Some(pdf),
        Err(PrintError::Stopped(stopped)) => return Err(stopped.into()),
        Err(why) => {
            left_out.push(LeftOut::new("no review.pdf", Why::Print(why)));
            None
        }
    };
    let (serves, beside) = moving_serves(library, wanted, data, &mut left_out, watch)?;
    let clip = match make_clip(&serves, data, watch) {
        Ok(Some(clip)) => Some(clip),
        Ok(None) => {
            let why = "the moments of the serve are not known".to_owned();
            left_out.push(LeftOut::new(format!("no {CLIP}"), Why::Said(why)));
            None
        }
        Err(MakeError::Clip(ClipError::Stopped { source, .. })) => return Err(source.into()),
        Err(MakeError::Clip(why)) => {
            left_out.push(LeftOut::new(format!("no {CLIP}"), Why::Clip(why)));
            None
        }
        Err(MakeError::Scratch(error)) => return Err(BundleError::Scratch(error)),
    };
    let cards = cards(library, wanted)?;
    let readme = Readme {
        day: day(data.serve.date),
        pdf: pdf.is_some(),
        cards: cards.len(),
        spoken: spoken.is_some(),
        clip: clip.is_some().then_some(beside.as_deref()),
        cautions: data.cautions.in_short(),
    };
    let readme = readme.text();
    let mut entries: Vec<(&str, &[u8])> =
        vec![("read-me.txt", readme.as_bytes()), ("review.html", html.as_bytes())];
    entries.extend(pdf.as_deref().map(|pdf| ("review.pdf", pdf)));
    entries.extend(cards.iter().map(|(name, card)| (name.as_str(), card.as_bytes())));
    entries.extend(clip.as_deref().map(|clip| (CLIP, clip)));
    entries.extend(spoken.map(|spoken| ("spoken-review.mp4", spoken)));
    let bytes = zipped(&entries).map_err(|error| BundleError::Scratch(error.into()))?;
    watch.check()?;
    Ok(Bundle { bytes, names: entries.iter().map(|entry| entry.0.to_owned()).collect(), left_out })
}

/// The practice card of each plan in force, with the name it goes under.
fn cards(library: &Library, wanted: &Wanted<'_>) -> Result<Vec<(String, String)>, StoreError> {
    let Reviewed::Stored(id) = wanted.serve else { return Ok(Vec::new()) };
    let case = library.case(library.serve_head(id)?.case)?;
    let plans = case.plans_in_force(wanted.on);
    let card = |(at, plan): (usize, &Plan)| {
        let number = if at == 0 { String::new() } else { format!("-{}", at + 1) };
        let card = practice_card(library, plan.id, wanted.on)?;
        Ok((format!("practice-card{number}.html"), card))
    };
    plans.into_iter().enumerate().map(card).collect()
}

enum MakeError {
    Clip(ClipError),
    Scratch(io::Error),
}

fn make_clip(
    serves: &[Moving],
    data: &ReviewData,
    watch: &Watch,
) -> Result<Option<Vec<u8>>, MakeError> {
    let scratch = tempfile::tempdir().map_err(MakeError::Scratch)?;
    let to = scratch.path().join(CLIP);
    let seen = Seen {
        from: data.pictures.as_ref().map_or(Viewpoint::FromBehind, |pictures| pictures.seen),
        mirrored: data.player.hand == Hand::Left,
    };
    let made = moving::make(serves, seen, &to, watch).map_err(MakeError::Clip)?;
    made.then(|| fs::read(&to).map_err(MakeError::Scratch)).transpose()
}

/// The reviewed serve and what it is held beside: the player's earlier one, else the closest precedent;
/// and what the second is, as the player is told.
fn moving_serves(
    library: &Library,
    wanted: &Wanted<'_>,
    data: &ReviewData,
    left_out: &mut Vec<LeftOut>,
    watch: &Watch,
) -> Result<(Vec<Moving>, Option<String>), BundleError> {
    let mut told = None;
    let mut serves = Vec::new();
    let player = match wanted.serve {
        Reviewed::Stored(id) => {
            let row = library.serve(id)?;
            let label = format!("You, {}", day(data.serve.date));
            let player = row.player;
            serves.push(stored(library, row, label, true, left_out, watch)?);
            Some(player)
        }
        Reviewed::File { looked, nth, player } => {
            let clip = looked.clip.as_ref().map(|seen| OwnClip {
                file: looked.file.clone(),
                kept: seen.kept.clone(),
                times_s: looked.recording.times_s.clone(),
            });
            let serve = looked.found.serves[nth].clone();
            serves.push(Moving { label: "You".to_owned(), this: true, serve, clip });
            player
        }
    };
    if let Some((id, label)) = beside(data) {
        let row = library.serve(id)?;
        let other = if Some(row.player) == player {
            told = Some(format!("your serve of {}", day(library.serve_head(id)?.date)));
            stored(library, row, label, false, left_out, watch)?
        } else {
            told = Some("that of a player who served like you".to_owned());
            Moving { label, this: false, serve: row.serve, clip: None }
        };
        serves.push(other);
    }
    Ok((serves, told))
}

/// Which serve it is held beside, and what that is called.
fn beside(data: &ReviewData) -> Option<(ServeId, String)> {
    let progress = data.progress.as_ref();
    let earlier = progress.and_then(|progress| {
        let (_, label) = progress.earlier.as_ref()?;
        Some((progress.earlier_serve?, label.clone()))
    });
    let closest = || {
        let one = data.precedents.found.first()?;
        Some((one.serve.parse().ok()?, closest_label(one, false)))
    };
    let (id, label) = earlier.or_else(closest)?;
    Some((id, sentence(&label)))
}

/// A serve of this player's, with their own pictures where they are to be had.
fn stored(
    library: &Library,
    row: ServeRow,
    label: String,
    this: bool,
    left_out: &mut Vec<LeftOut>,
    watch: &Watch,
) -> Result<Moving, BundleError> {
    let mut own = None;
    if let Some(clip) = library.clip(row.recording)? {
        let drawn = format!("{} is drawn in {CLIP}", row.id);
        match (Kept::from_bytes(&clip.body), clip_file(library, &clip, watch)) {
            (_, Err(MissingClip::Stopped(stopped))) => return Err(stopped.into()),
            (Ok(kept), Ok(file)) => {
                let times_s = library.joints(row.recording)?.times_s;
                own = Some(OwnClip { file, kept, times_s });
            }
            (Err(why), _) => left_out.push(LeftOut::new(drawn, Why::Said(why.to_string()))),
            (_, Err(MissingClip::Said(why))) => left_out.push(LeftOut::new(drawn, Why::Said(why))),
        }
    }
    Ok(Moving { label, this, serve: row.serve, clip: own })
}
