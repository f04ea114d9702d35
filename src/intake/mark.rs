//! A serve read again from its stored joints with the moments that are given.

use super::suspect::{SessionServe, said_of, suspicions};
use crate::catalogue::Catalogue;
use crate::coaching::{MarkRefusal, MomentsRequest};
use crate::library::{
    Author, Library, Marked, NewMark, RecordingId, SeenMoment, ServeId, ServeMoment, StoreError,
    Witness, WriteError, Writer,
};
use crate::motion::{Recording, Side};
use crate::serve::{
    EventKind, FindOptions, Found, GivenMoment, GivenServe, Serve, find, find_given, usual_error_s,
};

/// A stored serve, and what is given of it.
pub(super) struct StoredServe {
    id: ServeId,
    frames: (usize, usize),
    hand: Side,
    given: GivenServe,
    /// What was heard of it.
    heard: Vec<SeenMoment>,
}

/// The serves of a recording with their marks and what was heard, in order of time.
pub(super) fn stored_serves(
    library: &Library,
    recording: RecordingId,
) -> Result<Vec<StoredServe>, StoreError> {
    let rate_hz = library.recording(recording)?.rate_hz;
    let mut serves = Vec::new();
    for id in library.serves_in(recording)? {
        let serve = library.serve(id)?.serve;
        let seen = library.moments_seen(id)?;
        let by_joints = seen
            .iter()
            .find(|one| (one.event, &one.witness) == (EventKind::Contact, &Witness::Joints));
        let contact_s =
            by_joints.map_or(serve.events[EventKind::Contact as usize].time_s, |one| one.time_s);
        let marks = library.marks_of_serve(id)?;
        let marked = marks
            .iter()
            .filter_map(|mark| mark.what.event().map(|event| marked(event, mark.time_s, rate_hz)));
        let heard: Vec<SeenMoment> =
            seen.into_iter().filter(|one| one.witness != Witness::Joints).collect();
        let given = GivenServe { contact_s, moments: with_heard(marked.collect(), &heard) };
        serves.push(StoredServe { id, frames: serve.frames, hand: serve.hand, given, heard });
    }
    Ok(serves)
}

/// A marked time counts with the error of a frame.
fn marked(kind: EventKind, time_s: f64, rate_hz: f64) -> GivenMoment {
    GivenMoment { kind, time_s, error_s: 1.0 / rate_hz }
}

/// Marks, and what was heard where nothing is marked.
fn with_heard(mut marks: Vec<GivenMoment>, heard: &[SeenMoment]) -> Vec<GivenMoment> {
    for one in heard {
        if marks.iter().all(|mark| mark.kind != one.event) {
            let (time_s, error_s) = (one.time_s, one.error_s);
            marks.push(GivenMoment { kind: one.event, time_s, error_s });
        }
    }
    marks
}

pub(super) fn given(serves: &[StoredServe]) -> Vec<GivenServe> {
    let given = serves.iter().map(|serve| serve.given.clone());
    given.filter(|serve| !serve.moments.is_empty()).collect()
}

/// The found serve that lies where the stored one lies.
fn same<'f>(found: &'f Found, stored: &StoredServe) -> Option<&'f Serve> {
    let shared = |serve: &Serve| {
        let (from, to) = (serve.frames.0.max(stored.frames.0), serve.frames.1.min(stored.frames.1));
        (to + 1).saturating_sub(from)
    };
    found.serves.iter().filter(|serve| shared(serve) > 0).max_by_key(|serve| shared(serve))
}

/// Why the stored serve is not among those found.
fn why_not(found: &Found, stored: &StoredServe) -> String {
    let here = |frames: (usize, usize)| frames.0 <= stored.frames.1 && stored.frames.0 <= frames.1;
    let reason = found.refused.iter().find(|refusal| here(refusal.frames));
    reason.map_or_else(|| super::why_none(found), |refusal| refusal.reason.clone())
}

/// What the program saw of a serve's moments: by the joints, as read without anything given, and by
/// the sound. Nothing where nothing is given, for then the serve's own events say it.
pub(super) fn seen(
    own: &Serve,
    recording: &Recording,
    given: &GivenServe,
    heard: &[SeenMoment],
) -> Vec<SeenMoment> {
    if given.moments.is_empty() {
        return Vec::new();
    }
    let by_joints = own.events.iter().filter(|event| event.time_s.is_finite());
    let mut seen: Vec<SeenMoment> = by_joints
        .map(|event| SeenMoment {
            event: event.kind,
            witness: Witness::Joints,
            time_s: event.time_s,
            frame: event.frame,
            error_s: usual_error_s(event.kind, recording.capture, recording.rate_hz),
            trust: event.trust,
        })
        .collect();
    seen.extend_from_slice(heard);
    seen
}

/// A recording read again, with what people set and what was heard.
pub(super) struct Reread {
    pub(super) recording: Recording,
    /// The stored serves as they are read now, in their order; where one is not found again, all
    /// that are found.
    pub(super) serves: Vec<Serve>,
    seen: Vec<(ServeId, Vec<SeenMoment>)>,
}

impl Reread {
    pub(super) fn of(recording: Recording, known: &FindOptions, stored: &[StoredServe]) -> Self {
        let own = find(&recording, known);
        let given = given(stored);
        let found =
            if given.is_empty() { own.clone() } else { find_given(&recording, known, &given) };
        let again: Option<Vec<Serve>> =
            stored.iter().map(|one| same(&found, one).cloned()).collect();
        let given = stored.iter().filter(|one| !one.given.moments.is_empty());
        let seen = given
            .filter_map(|one| {
                Some((one.id, seen(same(&own, one)?, &recording, &one.given, &one.heard)))
            })
            .collect();
        Self { serves: again.unwrap_or(found.serves), recording, seen }
    }

    /// Stores what the program itself sees now of moments that are given.
    pub(super) fn store_seen(&self, writer: &mut Writer<'_>) -> Result<(), WriteError> {
        self.seen.iter().try_for_each(|(id, seen)| writer.set_moments_seen(*id, seen))
    }
}

/// Sets moments of a serve by hand, or takes them back, and reads the serve again with them: its
/// measures, its curve and what the program suspects follow within the same change. What the
/// program found itself stays beside it.
///
/// # Errors
/// [`MarkRefusal`]; nothing is changed then.
pub fn set_moments(
    library: &mut Library,
    catalogue: &Catalogue,
    request: &MomentsRequest,
    by: &Author,
) -> Result<Vec<ServeMoment>, MarkRefusal> {
    let turn = library.take_turn()?;
    let head = library.serve_head(request.serve)?;
    if library.is_received(head.player)? {
        return Err(WriteError::FromPack { what: request.serve.to_string() }.into());
    }
    let joints = library.joints(head.recording)?;
    let (new, after) = request.settle(library, &joints)?;
    let mut stored = stored_serves(library, head.recording)?;
    let before = given(&stored);
    let player = library.player(head.player)?;
    let missing = || StoreError::NoSuch { what: request.serve.to_string() };
    let at = stored.iter().position(|serve| serve.id == request.serve).ok_or_else(missing)?;
    let known = FindOptions { hand: Some(stored[at].hand), stature_m: player.stature_m };
    let marks = after.iter().map(|one| marked(one.event, one.time_s, joints.rate_hz));
    stored[at].given.moments = with_heard(marks.collect(), &stored[at].heard);

    let own = find(&joints, &known);
    let found = find_given(&joints, &known, &given(&stored));
    let unreadable = |found: &Found| MarkRefusal::Unreadable {
        serve: request.serve,
        why: why_not(found, &stored[at]),
    };
    let read = same(&found, &stored[at]).ok_or_else(|| unreadable(&found))?;
    let by_joints = same(&own, &stored[at]).ok_or_else(|| unreadable(&own))?;
    let seen = seen(by_joints, &joints, &stored[at].given, &stored[at].heard);
    // What is read off all serves of a recording together may change the others as well.
    let earlier =
        if before.is_empty() { own.clone() } else { find_given(&joints, &known, &before) };
    let mut changed = vec![(request.serve, read)];
    for other in stored.iter().filter(|serve| serve.id != request.serve) {
        if let (Some(was), Some(is)) = (same(&earlier, other), same(&found, other))
            && !alike(was, is)
        {
            changed.push((other.id, is));
        }
    }
    let mut session = Vec::new();
    for id in library.case(head.case)?.serves {
        let mut serve = SessionServe::of(library, id)?;
        if let Some((_, read)) = changed.iter().find(|(changed, _)| *changed == id) {
            serve.readings.clone_from(&read.readings);
            serve.seen.contact.time_s = read.events[EventKind::Contact as usize].time_s;
        }
        session.push(serve);
    }
    let said = said_of(library, &session)?;
    let labels = suspicions(catalogue, &session, &said, player.stature_m);
    library.write_in(&turn, |writer| {
        for event in &request.clear {
            writer.clear_moment(request.serve, *event, by)?;
        }
        for moment in &new {
            let mark = NewMark {
                recording: head.recording,
                serve: Some(request.serve),
                what: Marked::Moment { event: moment.event },
                time_s: moment.time_s,
                frame: moment.frame,
            };
            writer.set_mark(&mark, by)?;
        }
        writer.set_moments_seen(request.serve, &seen)?;
        for (id, read) in &changed {
            writer.update_serve(*id, read)?;
        }
        writer.replace_labels(head.case, &Author::Program, &labels)
    })?;
    Ok(library.moments(&library.serve(request.serve)?)?)
}

/// Whether two readings of a serve say the same.
fn alike(a: &Serve, b: &Serve) -> bool {
    (a.frames, &a.readings, &a.curve) == (b.frames, &b.readings, &b.curve)
}
