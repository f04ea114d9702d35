//! Putting right what was stored: amend, move and remove, with what the program suspects then.
//!
//! What the program suspects about a case follows from its serves. Where those change, the case is
//! judged anew within the same change.

use jiff::civil::Date;

use super::mark::{Reread, stored_serves};
use super::suspect::{SessionServe, said_of, suspicions};
use crate::catalogue::Catalogue;
use crate::library::{
    Author, CaseId, Dependants, Library, MoveTo, Moved, PlayerId, RecordingFacts, RecordingId,
    Removal, ServeId, ServeType, Setting, StoreError, WriteError, check_born, check_past,
};
use crate::motion::{Side, View};
use crate::serve::{EventKind, FindOptions};

/// What is to be moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Movable {
    /// A recording with its serves.
    Recording(RecordingId),
    /// One serve.
    Serve(ServeId),
}

/// What is to be put right about a recording; `None`: it stays as it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RecordingAmendment {
    /// Day it was recorded.
    pub date: Option<Date>,
    /// What it shows.
    pub setting: Option<Setting>,
    /// Intended ball.
    pub serve_type: Option<ServeType>,
    /// Where the camera stood.
    pub view: Option<View>,
    /// The hand that held the racket.
    pub hand: Option<Side>,
}

/// Gives a recording or a serve to another player or another day; both cases are judged anew.
///
/// # Errors
/// As [`Writer::move_recording`](crate::library::Writer::move_recording); [`WriteError::Invalid`]
/// for a day in the future or before the player's birth.
pub fn move_to(
    library: &mut Library,
    catalogue: &Catalogue,
    what: Movable,
    player: Option<PlayerId>,
    date: Option<Date>,
    by: &Author,
) -> Result<Moved, WriteError> {
    let turn = library.take_turn()?;
    let recording = match what {
        Movable::Recording(id) => id,
        Movable::Serve(id) => library.serve_head(id)?.recording,
    };
    let row = library.recording(recording)?;
    let (player, date) = (player.unwrap_or(row.player), date.unwrap_or(row.date));
    check_day(library, player, date)?;
    let moving = match what {
        Movable::Recording(id) => library.serves_in(id)?,
        Movable::Serve(id) => vec![id],
    };
    let (left, joined) = both_cases(library, &moving, player, date)?;
    let stature = |player| library.player(player).map(|player| player.stature_m);
    let judged = |serves: &[SessionServe], player| {
        let said = said_of(library, serves)?;
        Ok::<_, StoreError>(suspicions(catalogue, serves, &said, stature(player)?))
    };
    let (labels_left, labels_joined) = (judged(&left, row.player)?, judged(&joined, player)?);
    let to = MoveTo { player, date, labels_left: &labels_left, labels_joined: &labels_joined };
    library.write_in(&turn, |writer| match what {
        Movable::Recording(id) => writer.move_recording(id, &to, by),
        Movable::Serve(id) => writer.move_serve(id, &to, by),
    })
}

/// Removes something with what depends on it, and judges the case anew where it lost serves;
/// returns what depended on it.
///
/// # Errors
/// As [`Writer::remove`](crate::library::Writer::remove).
pub fn remove(
    library: &mut Library,
    catalogue: &Catalogue,
    removal: &Removal,
    by: &Author,
) -> Result<Dependants, WriteError> {
    let turn = library.take_turn()?;
    let on = library.dependants(removal)?;
    let gone = match removal {
        Removal::Recording(id) => library.serves_in(*id)?,
        Removal::Serve(id) => vec![*id],
        _ => Vec::new(),
    };
    let labels = match gone.first() {
        Some(&serve) => {
            let head = library.serve_head(serve)?;
            let stature = library.player(head.player)?.stature_m;
            let stay = session_without(library, head.case, &gone)?;
            suspicions(catalogue, &stay, &said_of(library, &stay)?, stature)
        }
        None => Vec::new(),
    };
    library.write_in(&turn, |writer| writer.remove(removal, &labels, by))?;
    Ok(on)
}

/// Puts right what is known about a recording. With another view or hand its serves are read again
/// from the stored joints; with another day it joins the case of that day.
///
/// # Errors
/// As [`Writer::amend_recording`](crate::library::Writer::amend_recording) and [`move_to`];
/// [`WriteError::Invalid`] where nothing changes.
pub fn amend_recording(
    library: &mut Library,
    catalogue: &Catalogue,
    id: RecordingId,
    amendment: &RecordingAmendment,
    by: &Author,
) -> Result<Option<Moved>, WriteError> {
    let turn = library.take_turn()?;
    let row = library.recording(id)?;
    let serves = library.serves_in(id)?;
    let date = amendment.date.filter(|date| *date != row.date);
    let setting = amendment.setting.or(row.setting);
    let serve_type = amendment.serve_type.or(row.serve_type);
    let view = amendment.view.filter(|view| Some(*view) != row.view);
    let hand = match (amendment.hand, serves.first()) {
        (Some(hand), Some(&serve)) if library.serve_head(serve)?.hand != hand => Some(hand),
        _ => None,
    };
    if (date, view, hand) == (None, None, None)
        && (setting, serve_type) == (row.setting, row.serve_type)
    {
        return Err(WriteError::Invalid {
            field: "recording",
            found: format!("{id} with these values already"),
            rule: "something that changes".to_owned(),
        });
    }
    let player = library.player(row.player)?;
    let read_again = if view.is_some() || hand.is_some() {
        let mut recording = library.joints(id)?;
        recording.view = view.or(recording.view);
        let held = serves.first().map(|&serve| library.serve_head(serve)).transpose()?;
        let known =
            FindOptions { hand: hand.or(held.map(|head| head.hand)), stature_m: player.stature_m };
        Some(Reread::of(recording, &known, &stored_serves(library, id)?))
    } else {
        None
    };
    let as_amended = |serve: ServeId| -> Result<Option<SessionServe>, StoreError> {
        let Some(at) = serves.iter().position(|one| *one == serve) else { return Ok(None) };
        let mut shown = SessionServe::of(library, serve)?;
        shown.seen.setting = setting;
        shown.seen.serve_type = serve_type;
        if let Some(read) = read_again.as_ref().and_then(|read| read.serves.get(at)) {
            shown.readings.clone_from(&read.readings);
            shown.seen.hand = read.hand;
            shown.seen.view = view.or(shown.seen.view);
            shown.recorded.view = shown.seen.view;
            shown.seen.contact.time_s = read.events[EventKind::Contact as usize].time_s;
        }
        Ok(Some(shown))
    };
    let mut amended = Vec::with_capacity(serves.len());
    for &serve in &serves {
        amended.extend(as_amended(serve)?);
    }
    let case = library.case_of_recording(id)?;
    let mut left = session_without(library, case, &serves)?;
    let facts = RecordingFacts {
        setting,
        serve_type,
        read_again: read_again.as_ref().map(|read| (&read.recording, read.serves.as_slice())),
    };
    let judged = |serves: &[SessionServe]| {
        let said = said_of(library, serves)?;
        Ok::<_, StoreError>(suspicions(catalogue, serves, &said, player.stature_m))
    };
    match date {
        Some(date) => {
            check_day(library, row.player, date)?;
            let labels_left = judged(&left)?;
            let mut joined = session_of_day(library, row.player, date)?;
            joined.extend(amended);
            let labels_joined = judged(&joined)?;
            let to = MoveTo {
                player: row.player,
                date,
                labels_left: &labels_left,
                labels_joined: &labels_joined,
            };
            library
                .write_in(&turn, |writer| {
                    writer.amend_recording(id, &facts, by)?;
                    read_again.as_ref().map_or(Ok(()), |read| read.store_seen(writer))?;
                    writer.move_recording(id, &to, by)
                })
                .map(Some)
        }
        None => {
            left.extend(amended);
            let labels = judged(&left)?;
            library.write_in(&turn, |writer| {
                writer.amend_recording(id, &facts, by)?;
                read_again.as_ref().map_or(Ok(()), |read| read.store_seen(writer))?;
                writer.replace_labels(case, &Author::Program, &labels)
            })?;
            Ok(None)
        }
    }
}

fn check_day(library: &Library, player: PlayerId, date: Date) -> Result<(), WriteError> {
    check_past("date", date)?;
    match library.player(player)?.born {
        Some(born) => check_born("born", born, Some(date)),
        None => Ok(()),
    }
}

/// The serves of the case that is left, without the moving ones, and of the one joined, with them.
fn both_cases(
    library: &Library,
    moving: &[ServeId],
    player: PlayerId,
    date: Date,
) -> Result<(Vec<SessionServe>, Vec<SessionServe>), StoreError> {
    let left = match moving.first() {
        Some(&serve) => session_without(library, library.serve_head(serve)?.case, moving)?,
        None => Vec::new(),
    };
    let mut joined = session_of_day(library, player, date)?;
    for &serve in moving {
        joined.push(SessionServe::of(library, serve)?);
    }
    Ok((left, joined))
}

fn session_of_day(
    library: &Library,
    player: PlayerId,
    date: Date,
) -> Result<Vec<SessionServe>, StoreError> {
    let there = library.cases(Some(player))?.into_iter().find(|case| case.date == date);
    there.map_or_else(|| Ok(Vec::new()), |case| session_without(library, case.id, &[]))
}

fn session_without(
    library: &Library,
    case: CaseId,
    gone: &[ServeId],
) -> Result<Vec<SessionServe>, StoreError> {
    let stay = library.case(case)?.serves.into_iter().filter(|serve| !gone.contains(serve));
    stay.map(|serve| SessionServe::of(library, serve)).collect()
}
