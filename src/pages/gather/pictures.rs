//! What the player's own clip shows at the events, cut from it now.

use std::path::{Path, PathBuf};

use crate::drawing::{Palm, Pictures, Seen};
use crate::library::{Clip, Library, RecordingRow, ServeRow, StoreError};
use crate::motion::{Joint, Recording, Side, View};
use crate::serve::{EventKind, Serve};
use crate::video::{Cut, Kept, PalmReading, Still, palm_turn, stills};

/// Pixels down of a picture of the body and of one of the hand.
const BODY_PX: usize = 400;
const HAND_PX: usize = 220;
/// Width over height of a picture of the body.
const ASPECT: f64 = 0.6;
/// Joints the network rates below this do not frame a picture.
const MIN_SEEN: f64 = 0.3;

/// Pictures for a serve that was read from a clip; a clip that is gone or changed is said.
///
/// # Errors
/// If the store cannot be read.
pub(super) fn pictures(
    library: &Library,
    row: &ServeRow,
    recording: &RecordingRow,
) -> Result<Option<Pictures>, StoreError> {
    let Some(clip) = library.clip(recording.id)? else { return Ok(None) };
    let joints = library.joints(recording.id)?;
    let there = Kept::from_bytes(&clip.body)
        .map_err(|error| error.to_string())
        .and_then(|kept| Ok((find(library, &clip)?, kept)));
    Ok(Some(match there {
        Ok((file, kept)) => {
            Pictures { place: clip.path, ..clip_pictures(&file, &kept, &row.serve, &joints) }
        }
        Err(why) => {
            Pictures { place: clip.path, missing: Some(why), ..without(&row.serve, &joints) }
        }
    }))
}

/// Pictures of one serve at its events and of the hand after contact, cut from the clip `file`
/// whose joints in space are `joints`; what went wrong is in [`Pictures::missing`].
#[must_use]
pub fn clip_pictures(file: &Path, kept: &Kept, serve: &Serve, joints: &Recording) -> Pictures {
    let mut pictures = without(serve, joints);
    let palm = palm_turn(joints, contact_s(serve), serve.hand);
    match cut(file, kept, serve, &palm, &joints.times_s) {
        Ok((moments, hands)) => {
            pictures.moments = moments;
            pictures.palm.pictures = hands;
        }
        Err(why) => pictures.missing = Some(why),
    }
    pictures
}

fn contact_s(serve: &Serve) -> f64 {
    serve.events[EventKind::Contact as usize].time_s
}

fn without(serve: &Serve, joints: &Recording) -> Pictures {
    let palm = palm_turn(joints, contact_s(serve), serve.hand);
    let side = joints.view == Some(View::Side);
    Pictures {
        moments: Vec::new(),
        seen: if side { Seen::FromHittingSide } else { Seen::FromBehind },
        palm: Palm { turn: palm.turn.name(), why: palm.why, pictures: Vec::new() },
        missing: None,
        place: String::new(),
    }
}

/// The clip's file: the library's copy, or where it was, if it is still the same.
fn find(library: &Library, clip: &Clip) -> Result<PathBuf, String> {
    let copy = library.clip_copy(&clip.hash);
    if clip.kept && copy.is_file() {
        return Ok(copy);
    }
    let file = PathBuf::from(&clip.path);
    let mut hasher = blake3::Hasher::new();
    let read =
        std::fs::File::open(&file).and_then(|mut from| std::io::copy(&mut from, &mut hasher));
    match read {
        Ok(_) if hasher.finalize().to_hex().as_str() == clip.hash => Ok(file),
        Ok(_) => Err(
            "the clip's file has changed since it was added; put the clip back, or add it again and keep a copy"
                .to_owned(),
        ),
        Err(_) => Err(
            "the clip is not where it was when it was added; put it back, or add it again from where it is now"
                .to_owned(),
        ),
    }
}

type Moments = Vec<(EventKind, String)>;
type Hands = Vec<(f64, String)>;

fn cut(
    file: &Path,
    kept: &Kept,
    serve: &Serve,
    palm: &PalmReading,
    times_s: &[f64],
) -> Result<(Moments, Hands), String> {
    let source = |frame: usize| kept.clip_frames.get(frame).map(|&frame| frame as usize);
    let contact_s = contact_s(serve);
    let frames: Vec<usize> = serve.events.iter().map(|event| event.frame).collect();
    let area_px = body_area(kept, &frames);
    let mut cuts = Vec::new();
    let mut about = Vec::new();
    for event in &serve.events {
        let Some(frame) = source(event.frame) else { continue };
        cuts.push(Cut { frame, area_px, height_px: BODY_PX });
        about.push((Some(event.kind), event.frame, 0.0));
    }
    for &frame in &palm.frames {
        let (Some(clip_frame), Some(area)) = (source(frame), hand_area(kept, frame, serve.hand))
        else {
            continue;
        };
        cuts.push(Cut { frame: clip_frame, area_px: Some(area), height_px: HAND_PX });
        about.push((None, frame, times_s[frame] - contact_s));
    }
    let cut = stills(file, &cuts).map_err(|error| error.to_string())?;
    let (mut moments, mut hands) = (Vec::new(), Vec::new());
    for (still, (kind, frame, after_s)) in cut.into_iter().zip(about) {
        let Some(still): Option<Still> = still else { continue };
        match kind {
            Some(kind) => {
                let label = format!("{}: the player's own picture with the joints", kind.label());
                moments.push((kind, still.svg(kept, frame, &label)));
            }
            None => hands.push((after_s, still.svg(kept, frame, "the hitting hand"))),
        }
    }
    Ok((moments, hands))
}

/// One part of the picture that holds the body at every event, with room for the racket.
fn body_area(kept: &Kept, frames: &[usize]) -> Option<[f64; 4]> {
    let mut low = [f64::INFINITY; 2];
    let mut high = [f64::NEG_INFINITY; 2];
    for &frame in frames {
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
    let width = (across + 0.16 * down).max(ASPECT * height);
    height = height.max(width / ASPECT);
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
