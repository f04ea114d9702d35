//! The spoken review as it is recorded in the browser: parts of voice and steps, kept while the page
//! runs, heard again, taken back, and made into a clip.

use std::collections::HashMap;
use std::fs;
use std::sync::{Arc, Mutex};

use axum::extract::{Path, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::case::go_to;
use super::desk::Desk;
use super::fields::Fields;
use super::film::json;
use super::long::{Lane, Outcome, lock};
use super::refusal::Refusal;
use super::remedy;
use super::send::kept;
use super::serve::asked_for;
use super::told::Told;
use super::uploads::{Kind, Upload};
use crate::library::{Library, ServeId};
use crate::pages::Reviewed;
use crate::send::{self, Part, SpokenError, Step};
use crate::video::voice_length_s;
use crate::work::Watch;

/// Most bytes of what was shown in one part: twenty minutes of pointing without a rest (our estimate).
pub(super) const STEPS_BYTES: usize = 4 << 20;
/// Most parts of one review.
const MOST_PARTS: usize = 50;

/// A stretch spoken at one go.
#[derive(Debug)]
struct Spoke {
    voice: Arc<Upload>,
    steps: Vec<Step>,
    /// The steps as they came, to be shown again.
    text: String,
    long_s: f64,
}

/// What was spoken over each serve, in its order.
#[derive(Debug, Default)]
pub(super) struct Spoken(Mutex<HashMap<ServeId, Vec<Arc<Spoke>>>>);

/// The parts there are, for our own script.
#[derive(Debug, Serialize)]
struct Parts {
    /// Length of each, seconds.
    parts: Vec<f64>,
}

impl Spoken {
    fn of(&self, serve: ServeId) -> Vec<Arc<Spoke>> {
        lock(&self.0).get(&serve).cloned().unwrap_or_default()
    }

    fn told(&self, serve: ServeId) -> Parts {
        Parts { parts: self.of(serve).iter().map(|part| part.long_s).collect() }
    }

    fn part(&self, serve: ServeId, part: usize) -> Result<Arc<Spoke>, Refusal> {
        let none = || Refusal::NotHere("This part was taken back.".to_owned());
        self.of(serve).get(part).cloned().ok_or_else(none)
    }

    /// Drops what was spoken over serves that are not wanted any more.
    pub(super) fn retain(&self, wanted: impl Fn(ServeId) -> bool) {
        lock(&self.0).retain(|serve, _| wanted(*serve));
    }

    /// The clip of everything that was spoken over a serve; `None` where nothing was.
    pub(super) fn clip(
        &self,
        library: &Library,
        serve: ServeId,
        watch: &Watch,
    ) -> Result<Option<Vec<u8>>, Refusal> {
        let spoke = self.of(serve);
        if spoke.is_empty() {
            return Ok(None);
        }
        let clip = send::clip_of(library, Reviewed::Stored(serve), watch)?;
        let parts: Vec<Part<'_>> =
            spoke.iter().map(|part| Part { voice: &part.voice.path, steps: &part.steps }).collect();
        Ok(Some(send::spoken_in_parts(&clip, &parts, watch)?))
    }
}

/// The parts there are.
pub(super) async fn parts(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    json(&desk.spoken.told(asked_for(&id)?))
}

/// Keeps a part: the voice that was sent, and what was shown meanwhile.
pub(super) async fn part(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let serve = asked_for(&id)?;
    let text = fields.words("steps").unwrap_or_default();
    let steps = Step::parse(&text).map_err(|error| Refusal::Said(error.to_string()))?;
    let ids: Vec<String> = fields.all("file").map(str::to_owned).collect();
    let voice = desk.uploads.take(Kind::Voice, &ids)?.pop();
    let voice = voice.ok_or_else(|| Refusal::Said("No voice was sent".to_owned()))?;
    desk.fetch(move |desk, library, watch| {
        let heard = send::clip_of(library, Reviewed::Stored(serve), watch)
            .map_err(Refusal::from)
            .and_then(|_| voice_length_s(&voice.path, watch).map_err(|why| remedy::clip(&why)));
        let long_s = match heard {
            Ok(long_s) => long_s,
            Err(refusal) => {
                // What was said is not lost for want of a decoder.
                desk.uploads.put_back(vec![voice]);
                return Err(refusal);
            }
        };
        let mut all = lock(&desk.spoken.0);
        let parts = all.entry(serve).or_default();
        if parts.len() >= MOST_PARTS {
            return Err(Refusal::Said(format!("{MOST_PARTS} parts are the most; make the clip")));
        }
        parts.push(Arc::new(Spoke { voice, steps, text, long_s }));
        drop(all);
        json(&desk.spoken.told(serve))
    })
    .await
}

/// Takes the last part back.
pub(super) async fn back(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let serve = asked_for(&id)?;
    if let Some(parts) = lock(&desk.spoken.0).get_mut(&serve) {
        parts.pop();
    }
    json(&desk.spoken.told(serve))
}

/// What was shown in a part.
pub(super) async fn steps(
    State(desk): State<Arc<Desk>>,
    Path((id, part)): Path<(String, usize)>,
) -> Result<Response, Refusal> {
    let spoke = desk.spoken.part(asked_for(&id)?, part)?;
    Ok(([(CONTENT_TYPE, "application/json")], spoke.text.clone()).into_response())
}

/// The voice of a part.
pub(super) async fn voice(
    State(desk): State<Arc<Desk>>,
    Path((id, part)): Path<(String, usize)>,
) -> Result<Response, Refusal> {
    let spoke = desk.spoken.part(asked_for(&id)?, part)?;
    let read = tokio::task::spawn_blocking(move || fs::read(&spoke.voice.path)).await;
    let bytes = read.map_err(|_| Refusal::Broken)?.map_err(|error| Refusal::Disk(error.kind()))?;
    Ok(([(CONTENT_TYPE, "application/octet-stream")], bytes).into_response())
}

/// Has the parts made into one clip.
pub(super) async fn make(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let serve = asked_for(&id)?;
    if desk.spoken.of(serve).is_empty() {
        return Err(Refusal::Said("Nothing is recorded yet; press Record and speak".to_owned()));
    }
    let desk_of_work = Arc::clone(&desk);
    let title = format!("The spoken review of {serve}");
    let work = desk.long.begin(Lane::Other, title, move |work| {
        let library = Library::open_read_only(desk_of_work.library())?;
        let made = desk_of_work.spoken.clip(&library, serve, &work.watch())?;
        let made = made.ok_or_else(|| Refusal::Said("Every part was taken back".to_owned()))?;
        let name = format!("spoken-review-{serve}.mp4");
        let told = Told {
            title: "The spoken review is made.".to_owned(),
            lines: vec![
                format!("{:.1} MB, as every phone plays it", made.len() as f64 / 1e6),
                "While this page runs, it also goes into the file with everything for the player"
                    .to_owned(),
            ],
            file: Some(kept(&desk_of_work, name, "video/mp4", &made)?),
            links: vec![("Back to the serve".to_owned(), format!("/serve/{serve}"))],
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

impl From<SpokenError> for Refusal {
    fn from(error: SpokenError) -> Self {
        match error {
            SpokenError::Store(error) => error.into(),
            SpokenError::Clip(error) => remedy::clip(&error),
            SpokenError::Stopped(_) => Self::Stopped,
            SpokenError::Scratch(_) => Self::no_room(),
            other => Self::Said(other.to_string()),
        }
    }
}
