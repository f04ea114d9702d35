//! What the player's own clip shows at the events: cut from it once, and kept in the library.

use std::path::{Path, PathBuf};

use crate::drawing::{Palm, Pictures, Viewpoint};
use crate::files::content_hash;
use crate::library::{Clip, Library, RecordingId, RecordingRow, ServeRow, StoreError};
use crate::motion::{Joint, Recording, Side, View};
use crate::serve::{EventKind, Serve, palm_turn};
use crate::video::{ClipError, Cut, Kept, Placed, Still, stills};
use crate::work::{Stopped, Watch};

/// Pixels down of a picture of the body and of one of the hand.
const BODY_PX: usize = 400;
const HAND_PX: usize = 220;
/// Width over height of a picture of the body.
pub(super) const ASPECT: f64 = 0.6;
/// Joints the network rates below this do not frame a picture.
const MIN_SEEN: f64 = 0.3;

/// Pictures for a serve that was read from a clip; a clip that is gone or changed is said.
///
/// What was cut before is kept in the library and taken from there; the clip is opened only for
/// what is missing.
///
/// # Errors
/// If the store cannot be read or the work is stopped.
pub(super) fn pictures(
    library: &Library,
    row: &ServeRow,
    recording: &RecordingRow,
    watch: &Watch,
) -> Result<Option<Pictures>, StoreError> {
    let Some(clip) = library.clip(recording.id)? else { return Ok(None) };
    let joints = library.joints(recording.id)?;
    let mut pictures = without(&row.serve, &joints);
    match Kept::from_bytes(&clip.body) {
        Ok(kept) => {
            let wanted = wanted(&kept, &row.serve, &joints);
            let (jpegs, missing) =
                kept_or_cut(library, recording.id, &clip, &kept, &wanted, watch)?;
            pictures.missing = missing;
            draw(&mut pictures, &kept, &wanted, jpegs);
        }
        Err(error) => pictures.missing = Some(error.to_string()),
    }
    pictures.place = clip.path;
    Ok(Some(pictures))
}

/// A picture, where there is one.
type Jpeg = Option<Vec<u8>>;

/// The pictures wanted, from the library or cut from the clip and kept; and why some are missing.
///
/// # Errors
/// If the work is stopped.
pub(super) fn kept_or_cut(
    library: &Library,
    recording: RecordingId,
    clip: &Clip,
    kept: &Kept,
    wanted: &[WantedPicture],
    watch: &Watch,
) -> Result<(Vec<Jpeg>, Option<String>), StoreError> {
    let mut jpegs: Vec<Option<Vec<u8>>> =
        wanted.iter().map(|one| library.still(recording, &clip.hash, &one.placed(kept))).collect();
    if jpegs.iter().all(Option::is_some) {
        return Ok((jpegs, None));
    }
    let late = clip_file(library, clip, watch).and_then(|file| {
        cut_missing(&file, wanted, &mut jpegs, watch).map_err(|error| match error {
            ClipError::Stopped { source, .. } => MissingClip::Stopped(source),
            error => MissingClip::Said(error.to_string()),
        })
    });
    match late {
        Ok(new) => {
            let new: Vec<_> = new
                .iter()
                .filter_map(|&at| Some((wanted[at].placed(kept), jpegs[at].as_deref()?)))
                .collect();
            // What cannot be kept is cut again the next time.
            let _ = library.keep_stills(recording, &clip.hash, &new);
            Ok((jpegs, None))
        }
        Err(MissingClip::Stopped(stopped)) => Err(stopped.into()),
        Err(MissingClip::Said(why)) => Ok((jpegs, Some(why))),
    }
}

/// Why a clip's pictures are missing.
pub(crate) enum MissingClip {
    /// The work was stopped.
    Stopped(Stopped),
    /// In words, with what to do.
    Said(String),
}

/// Pictures of one serve at its events and of the hand after contact, cut from the clip `file`
/// whose joints in space are `joints`; what went wrong is in [`Pictures::missing`].
///
/// # Errors
/// [`Stopped`].
pub fn clip_pictures(
    file: &Path,
    kept: &Kept,
    serve: &Serve,
    joints: &Recording,
    watch: &Watch,
) -> Result<Pictures, Stopped> {
    let mut pictures = without(serve, joints);
    let wanted = wanted(kept, serve, joints);
    let mut jpegs = vec![None; wanted.len()];
    match cut_missing(file, &wanted, &mut jpegs, watch) {
        Ok(_) => draw(&mut pictures, kept, &wanted, jpegs),
        Err(ClipError::Stopped { source, .. }) => return Err(source),
        Err(why) => pictures.missing = Some(why.to_string()),
    }
    Ok(pictures)
}

fn contact_s(serve: &Serve) -> f64 {
    serve.events[EventKind::Contact as usize].time_s
}

fn without(serve: &Serve, joints: &Recording) -> Pictures {
    let palm = palm_turn(joints, contact_s(serve), serve.hand);
    let side = joints.view == Some(View::Side);
    Pictures {
        moments: Vec::new(),
        seen: if side { Viewpoint::FromHittingSide } else { Viewpoint::FromBehind },
        palm: Palm { turn: palm.turn.name(), why: palm.why, pictures: Vec::new() },
        missing: None,
        place: String::new(),
    }
}

/// The clip's file: the library's copy, or where it was, if it is still the same.
pub(crate) fn clip_file(
    library: &Library,
    clip: &Clip,
    watch: &Watch,
) -> Result<PathBuf, MissingClip> {
    let copy = library.clip_copy(&clip.hash);
    if clip.kept && copy.is_file() {
        return Ok(copy);
    }
    let file = PathBuf::from(&clip.path);
    let hash = content_hash(&file, watch);
    watch.check().map_err(MissingClip::Stopped)?;
    match hash {
        Ok(hash) if hash.to_hex().as_str() == clip.hash => Ok(file),
        Ok(_) => Err(MissingClip::Said(
            "the clip's file has changed since it was added; put the clip back, or add it again and keep a copy"
                .to_owned(),
        )),
        Err(_) => Err(MissingClip::Said(
            "the clip is not where it was when it was added; put it back, or add it again from where it is now"
                .to_owned(),
        )),
    }
}

/// One picture wanted: what to cut, and what it shows.
pub(super) struct WantedPicture {
    pub(super) cut: Cut,
    /// The event, or `None` for another look.
    pub(super) event: Option<EventKind>,
    /// Frame of the recording.
    pub(super) frame: usize,
    /// From contact.
    pub(super) after_s: f64,
}

impl WantedPicture {
    pub(super) fn placed(&self, kept: &Kept) -> Placed {
        let (width, height) = kept.size_px;
        self.cut.placed((width as usize, height as usize))
    }
}

/// The body at each event, then the hand after contact.
fn wanted(kept: &Kept, serve: &Serve, joints: &Recording) -> Vec<WantedPicture> {
    let source = |frame: usize| kept.clip_frames.get(frame).map(|&frame| frame as usize);
    let contact_s = contact_s(serve);
    let frames = serve.events.iter().map(|event| event.frame);
    let area_px = body_area(kept, frames, ASPECT);
    let mut all = Vec::new();
    for event in &serve.events {
        let Some(frame) = source(event.frame) else { continue };
        let cut = Cut { frame, area_px, height_px: BODY_PX };
        let (event, frame) = (Some(event.kind), event.frame);
        all.push(WantedPicture { cut, event, frame, after_s: 0.0 });
    }
    for frame in palm_turn(joints, contact_s, serve.hand).frames {
        let (Some(clip_frame), Some(area)) = (source(frame), hand_area(kept, frame, serve.hand))
        else {
            continue;
        };
        let cut = Cut { frame: clip_frame, area_px: Some(area), height_px: HAND_PX };
        let after_s = joints.times_s[frame] - contact_s;
        all.push(WantedPicture { cut, event: None, frame, after_s });
    }
    all
}

/// Cuts those that are `None`; which they were.
fn cut_missing(
    file: &Path,
    wanted: &[WantedPicture],
    jpegs: &mut [Option<Vec<u8>>],
    watch: &Watch,
) -> Result<Vec<usize>, ClipError> {
    let missing: Vec<usize> = (0..wanted.len()).filter(|&at| jpegs[at].is_none()).collect();
    let cuts: Vec<Cut> = missing.iter().map(|&at| wanted[at].cut).collect();
    for (&at, still) in missing.iter().zip(stills(file, &cuts, watch)?) {
        jpegs[at] = still.map(|still| still.jpeg);
    }
    Ok(missing)
}

fn draw(
    pictures: &mut Pictures,
    kept: &Kept,
    wanted: &[WantedPicture],
    jpegs: Vec<Option<Vec<u8>>>,
) {
    for (one, jpeg) in wanted.iter().zip(jpegs) {
        let Some(jpeg) = jpeg else { continue };
        let still = Still::of(one.placed(kept), jpeg);
        match one.event {
            Some(kind) => {
                let label = format!("{}: the player's own picture with the joints", kind.label());
                pictures.moments.push((kind, still.svg(kept, one.frame, &label)));
            }
            None => {
                let svg = still.svg(kept, one.frame, "the hitting hand");
                pictures.palm.pictures.push((one.after_s, svg));
            }
        }
    }
}

/// One part of the picture, `aspect` times as wide as high, that holds the body in all these frames of
/// the recording, with room for the racket; it may reach beyond the picture.
pub(crate) fn body_area(
    kept: &Kept,
    frames: impl IntoIterator<Item = usize>,
    aspect: f64,
) -> Option<[f64; 4]> {
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    for frame in frames {
        for (place, seen) in Joint::ALL.iter().filter_map(|&joint| kept.at(frame, joint)) {
            if seen >= MIN_SEEN {
                for k in 0..2 {
                    low[k] = low[k].min(place[k]);
                    high[k] = high[k].max(place[k]);
                }
            }
        }
    }
    let (across, down) = (high[0] - low[0], high[1] - low[1]);
    if !(across.is_finite() && down > 0.0) {
        return None;
    }
    // A racket reaches about a third of a body further than the hand.
    let (top, bottom) = (low[1] - 0.25 * down, high[1] + 0.06 * down);
    let mut height = bottom - top;
    let width = (across + 0.16 * down).max(aspect * height);
    height = height.max(width / aspect);
    Some([(low[0] + high[0] - width) / 2.0, bottom - height, width, height])
}

/// A square about the hitting hand, three forearms wide.
fn hand_area(kept: &Kept, frame: usize, hand: Side) -> Option<[f64; 4]> {
    let (elbow, wrist, index) = match hand {
        Side::Right => (Joint::RightElbow, Joint::RightWrist, Joint::RightIndex),
        Side::Left => (Joint::LeftElbow, Joint::LeftWrist, Joint::LeftIndex),
    };
    let at = |joint| kept.at(frame, joint).map(|(place, _)| place);
    let (elbow, wrist) = (at(elbow)?, at(wrist)?);
    let centre = at(index).unwrap_or(wrist);
    let trunk = match (at(Joint::LeftShoulder), at(Joint::LeftHip)) {
        (Some(a), Some(b)) => (a[0] - b[0]).hypot(a[1] - b[1]),
        _ => 0.0,
    };
    // A forearm that points at the camera is short in the picture; half a trunk is its length.
    let forearm = (elbow[0] - wrist[0]).hypot(elbow[1] - wrist[1]).max(0.5 * trunk);
    let side = (1.8 * forearm).max(24.0);
    Some([centre[0] - side / 2.0, centre[1] - side / 2.0, side, side])
}
