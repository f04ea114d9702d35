//! What the coach's hand does on the picture: moments put right, drawings, words, and all of it
//! taken back. Every answer is the serve as it is now.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Response;

use super::desk::Desk;
use super::fields::Fields;
use super::film::json;
use super::refusal::Refusal;
use super::serve::asked_for;
use super::viewer::Moving;
use crate::coaching::{ClipTime, DrawingRequest, MomentsRequest, remove_drawing};
use crate::intake::set_moments;
use crate::library::{
    Change, ChangeId, ChangeKind, ItemId, Library, MarkId, Marked, Named, Point, RecordingId,
    ServeId,
};
use crate::serve::EventKind;

/// Carries out a change of a serve's marks and answers with the serve.
async fn changed(
    desk: &Arc<Desk>,
    id: String,
    work: impl FnOnce(&Desk, &mut Library, ServeId) -> Result<(), Refusal> + Send + 'static,
) -> Result<Response, Refusal> {
    desk.change(move |desk, library| {
        let id = asked_for(&id)?;
        work(desk, library, id)?;
        json(&Moving::of(library, &library.serve(id)?, &library.serve_head(id)?)?)
    })
    .await
}

fn frame(fields: &Fields) -> Result<usize, Refusal> {
    let frame = fields.value("frame", "The frame")?;
    frame.ok_or_else(|| Refusal::Said("no frame is named; go to one that shows it".to_owned()))
}

/// Puts a moment on a frame, or gives it back to the program where no frame is named.
pub(super) async fn moment(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let name = fields.text("event").unwrap_or_default();
    let event = <EventKind as Named>::from_name(name)
        .ok_or_else(|| Refusal::Said(format!("'{name}' is no moment of a serve")))?;
    let at = fields.text("frame").map(|_| frame(&fields)).transpose()?;
    changed(&desk, id, move |desk, library, serve| {
        let (set, clear) = match at {
            Some(frame) => (vec![(event, ClipTime::Frame(frame))], Vec::new()),
            None => (Vec::new(), vec![event]),
        };
        let catalogue = library.catalogue()?;
        set_moments(library, &catalogue, &MomentsRequest { serve, set, clear }, &desk.coach)?;
        Ok(())
    })
    .await
}

/// Draws on a frame's picture, or writes words to it.
pub(super) async fn draw(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let at = ClipTime::Frame(frame(&fields)?);
    let what = marked(&fields)?;
    changed(&desk, id, move |desk, library, serve| {
        let recording = library.serve_head(serve)?.recording;
        DrawingRequest { recording, at, what }.record(library, &desk.coach)?;
        Ok(())
    })
    .await
}

/// What a form says was drawn.
fn marked(fields: &Fields) -> Result<Marked, Refusal> {
    let unreadable = || Refusal::Said("what was drawn cannot be read; draw it again".to_owned());
    let point = |pair: &str| -> Option<Point> {
        let (x, y) = pair.split_once(',')?;
        Some([x.parse().ok()?, y.parse().ok()?])
    };
    let points: Option<Vec<Point>> =
        fields.text("points").unwrap_or_default().split_whitespace().map(point).collect();
    let points = points.ok_or_else(unreadable)?;
    let text = fields.words("text").unwrap_or_default();
    Ok(match (fields.text("kind"), points.as_slice()) {
        (Some("angle"), &[a, vertex, b]) => Marked::Angle { points: [a, vertex, b] },
        (Some("line"), &[a, b]) => Marked::Line { points: [a, b] },
        (Some("arrow"), &[a, b]) => Marked::Arrow { points: [a, b] },
        (Some("ring"), &[a, b]) => Marked::Ring { points: [a, b] },
        (Some("words"), &[]) => Marked::Words { at: None, text },
        (Some("words"), &[at]) => Marked::Words { at: Some(at), text },
        _ => return Err(unreadable()),
    })
}

/// Takes a drawing off.
pub(super) async fn erase(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let mark: Option<MarkId> = fields.value("mark", "The mark")?;
    changed(&desk, id, move |desk, library, serve| {
        let recording = library.serve_head(serve)?.recording;
        let mut here = library.marks(recording)?.into_iter().map(|mark| mark.id);
        let known = here.find(|known| Some(*known) == mark);
        let known = known.ok_or_else(|| Refusal::NotHere("There is no such mark.".to_owned()))?;
        Ok(remove_drawing(library, known, &desk.coach)?)
    })
    .await
}

/// Takes back the last thing a hand did here, if it still is the one the coach saw.
pub(super) async fn undo(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let seen: Option<ChangeId> = fields.value("change", "The change")?;
    changed(&desk, id, move |desk, library, serve| {
        let recording = library.serve_head(serve)?.recording;
        let last = last_marked(library, recording, serve)?.map(|change| change.id);
        let Some(change) = last.filter(|_| last == seen) else {
            let why = "Something was recorded since you looked; load the page again and see";
            return Err(Refusal::Said(why.to_owned()));
        };
        Ok(library.write(|writer| writer.undo(change, &desk.coach))?)
    })
    .await
}

/// The last change of marks that stands.
pub(super) fn last_marked(
    library: &Library,
    recording: RecordingId,
    serve: ServeId,
) -> Result<Option<Change>, Refusal> {
    let mut last: Option<Change> = None;
    for item in [ItemId::Recording(recording), ItemId::Serve(serve)] {
        let stands = |change: &Change| {
            change.kind == ChangeKind::Marked
                && change.undoes.is_none()
                && change.undone_by.is_none()
        };
        let found = library.history(item)?.into_iter().find(stands);
        last = last.into_iter().chain(found).max_by_key(|change| change.id);
    }
    Ok(last)
}
