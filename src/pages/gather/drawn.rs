//! What a coach drew on a serve, and the words written to its moments.

use super::pictures::{ASPECT, WantedPicture, body_area, kept_or_cut};
use crate::drawing::{describe_drawn, hand_drawn};
use crate::library::{Library, Mark, RecordingRow, ServeRow, StoreError};
use crate::pages::DrawnFacts;
use crate::serve::ServeClock;
use crate::video::{Cut, Kept, Still};
use crate::work::Watch;

/// Pixels down of a picture that was drawn on.
const DRAWN_PX: usize = 520;
/// Room around what was drawn, px of the clip.
const ROOM_PX: f64 = 40.0;

/// What was drawn on a serve, frame by frame in order of time. Where the clip is gone or there is
/// none, words stand without a picture.
///
/// # Errors
/// If the store cannot be read or the work is stopped.
pub(super) fn drawn(
    library: &Library,
    row: &ServeRow,
    recording: &RecordingRow,
    watch: &Watch,
) -> Result<Vec<DrawnFacts>, StoreError> {
    let (first, last) = row.serve.frames;
    let mut marks = library.marks(recording.id)?;
    marks.retain(|mark| mark.what.event().is_none() && (first..=last).contains(&mark.frame));
    if marks.is_empty() {
        return Ok(Vec::new());
    }
    let clock = ServeClock::of(&row.serve);
    let mut facts: Vec<(DrawnFacts, Vec<&Mark>)> = Vec::new();
    for mark in &marks {
        let Some(line) = describe_drawn(&mark.what) else { continue };
        let by = mark.by.to_string();
        match facts.last_mut().filter(|(_, on)| on[0].frame == mark.frame) {
            Some((known, on)) => {
                known.lines.push((line, by));
                on.push(mark);
            }
            None => {
                let after_s = mark.time_s - clock.contact_s;
                let sample = clock.sample(after_s);
                let new = DrawnFacts { after_s, sample, lines: vec![(line, by)], picture: None };
                facts.push((new, vec![mark]));
            }
        }
    }
    if let Some(clip) = library.clip(recording.id)?
        && let Ok(kept) = Kept::from_bytes(&clip.body)
    {
        let body = body_area(&kept, row.serve.events.map(|event| event.frame), ASPECT);
        let wanted: Vec<WantedPicture> =
            facts.iter().filter_map(|(one, on)| wanted(&kept, body, one.after_s, on)).collect();
        let (jpegs, _) = kept_or_cut(library, recording.id, &clip, &kept, &wanted, watch)?;
        for (picture, jpeg) in wanted.iter().zip(jpegs) {
            let Some(jpeg) = jpeg else { continue };
            let Some((one, on)) = facts.iter_mut().find(|(_, on)| on[0].frame == picture.frame)
            else {
                continue;
            };
            let still = Still::of(picture.placed(&kept), jpeg);
            let over = |mark: &&Mark| hand_drawn(&mark.what, |point| still.place(point));
            let over: String = on.iter().map(over).collect();
            let label = "the player's own picture with what was drawn on it";
            one.picture = Some(still.svg_under(&over, label));
        }
    }
    Ok(facts.into_iter().map(|(one, _)| one).collect())
}

/// The picture of one frame: the body, with what was drawn.
fn wanted(
    kept: &Kept,
    body: Option<[f64; 4]>,
    after_s: f64,
    on: &[&Mark],
) -> Option<WantedPicture> {
    let frame = on[0].frame;
    let clip_frame = *kept.clip_frames.get(frame)? as usize;
    let mut area = body;
    for &[x, y] in on.iter().flat_map(|mark| mark.what.points()) {
        let [left, top, width, height] = area.unwrap_or([x, y, 0.0, 0.0]);
        let (right, bottom) = ((left + width).max(x + ROOM_PX), (top + height).max(y + ROOM_PX));
        let (left, top) = (left.min(x - ROOM_PX).max(0.0), top.min(y - ROOM_PX).max(0.0));
        area = Some([left, top, right - left, bottom - top]);
    }
    let cut = Cut { frame: clip_frame, area_px: area, height_px: DRAWN_PX };
    Some(WantedPicture { cut, event: None, frame, after_s })
}
