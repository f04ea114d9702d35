//! What somebody says of two clips of one day, and the day judged anew with it.

use super::suspect::{said_of, session, suspicions};
use crate::catalogue::Catalogue;
use crate::library::{
    Author, DayViews, Library, RecordingId, SaidClips, ServeId, StoreError, WriteError,
};

/// What is said of two clips.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClipsRequest {
    /// These two serves are one, seen from two places; with them the clips' other serves follow.
    Same(ServeId, ServeId),
    /// The clips show different serves.
    Apart(RecordingId, RecordingId),
    /// What was said is taken back.
    Unsaid(RecordingId, RecordingId),
}

/// Stores what somebody says of two clips of one day, or takes it back, and judges the day anew within
/// the same change; returns how its clips go together then.
///
/// # Errors
/// As [`Writer::say_of_clips`](crate::library::Writer::say_of_clips) and
/// [`unsay_of_clips`](crate::library::Writer::unsay_of_clips); nothing is changed then.
pub fn say_of_clips(
    library: &mut Library,
    catalogue: &Catalogue,
    request: ClipsRequest,
    by: &Author,
) -> Result<DayViews, WriteError> {
    let turn = library.take_turn()?;
    let (one, other, same) = match request {
        ClipsRequest::Same(a, b) => {
            (library.serve_head(a)?.recording, library.serve_head(b)?.recording, Some((a, b)))
        }
        ClipsRequest::Apart(one, other) | ClipsRequest::Unsaid(one, other) => (one, other, None),
    };
    let takes_back = matches!(request, ClipsRequest::Unsaid(..));
    let mut serve = library.serves_in(one)?.first().copied();
    if takes_back && serve.is_none() {
        serve = library.serves_in(other)?.first().copied();
    }
    let head = match serve {
        Some(serve) => library.serve_head(serve)?,
        // Of clips that are gone no day is judged.
        None if takes_back => {
            library.write_in(&turn, |writer| writer.unsay_of_clips(one, other, by))?;
            return Ok(DayViews::default());
        }
        // Of a recording without a serve there is nothing to say.
        None => return Err(StoreError::NoSuch { what: format!("a serve in {one}") }.into()),
    };
    let serves = session(library, head.case)?;
    let mut all = said_of(library, &serves)?;
    all.retain(|said| ![(one, other), (other, one)].contains(&(said.one, said.other)));
    let said = SaidClips { one, other, same, by: by.clone() };
    if !takes_back {
        all.push(said.clone());
    }
    let stature_m = library.player(head.player)?.stature_m;
    let labels = suspicions(catalogue, &serves, &all, stature_m);
    library.write_in(&turn, |writer| {
        match takes_back {
            true => writer.unsay_of_clips(one, other, by)?,
            false => writer.say_of_clips(&said)?,
        }
        writer.replace_labels(head.case, &Author::Program, &labels)
    })?;
    Ok(library.views_of_day(head.case)?)
}
