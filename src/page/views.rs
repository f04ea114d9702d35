//! Clips of a session that show the same serves: what is known, what is asked, and the coach's word.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::response::Response;

use super::case::{asked_for, go_to};
use super::desk::Desk;
use super::fields::Fields;
use super::refusal::Refusal;
use crate::intake::{ClipsRequest, say_of_clips};
use crate::library::{CaseId, Library, RecordingId, ServeId};
use crate::looks::clips_told;

/// Two clips of a session, with what can be said of them: name of the field, its value, words.
pub(super) struct ClipsView {
    pub(super) sentence: String,
    pub(super) buttons: Vec<(&'static str, String, String)>,
}

pub(super) fn of_case(library: &Library, case: CaseId) -> Result<Vec<ClipsView>, Refusal> {
    let views = clips_told(library, case)?.into_iter().map(|clips| {
        let both = format!("{} {}", clips.one, clips.other);
        let mut buttons: Vec<(&'static str, String, String)> = Vec::new();
        for (a, b) in &clips.choices {
            buttons.push(("same", format!("{a} {b}"), format!("{a} is {b}")));
        }
        if !clips.same.is_empty() || !clips.choices.is_empty() {
            buttons.push(("apart", both.clone(), "They show different serves".to_owned()));
        }
        if clips.said {
            buttons.push(("clear", both, "Let the program find out".to_owned()));
        }
        ClipsView { sentence: clips.sentence, buttons }
    });
    Ok(views.collect())
}

/// Two ids in one field, or in two.
pub(super) fn two<T: std::str::FromStr>(fields: &Fields, name: &str) -> Option<(T, T)> {
    let all: Vec<&str> = fields.all(name).flat_map(str::split_whitespace).collect();
    let [one, other] = all[..] else { return None };
    Some((one.parse().ok()?, other.parse().ok()?))
}

/// Records what the coach says of two clips of a session.
pub(super) async fn say(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let case = asked_for(&id)?;
    let same = two::<ServeId>(&fields, "same").map(|(a, b)| ClipsRequest::Same(a, b));
    let apart = || two::<RecordingId>(&fields, "apart").map(|(a, b)| ClipsRequest::Apart(a, b));
    let clear = || two::<RecordingId>(&fields, "clear").map(|(a, b)| ClipsRequest::Unsaid(a, b));
    let request = same.or_else(apart).or_else(clear).ok_or_else(|| {
        Refusal::Said("two serves of two clips are needed; choose one of each".to_owned())
    })?;
    desk.change(move |desk, library| {
        let catalogue = library.catalogue()?;
        say_of_clips(library, &catalogue, request, &desk.coach)?;
        Ok(())
    })
    .await?;
    Ok(go_to(&format!("/case/{case}#serves")))
}
