//! The pictures of a serve's clip: made in the background, one film at a time, and handed out in
//! parts.

use std::io::{Read, Seek, SeekFrom};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

use axum::extract::{Path, State};
use axum::http::header::{ACCEPT_RANGES, CONTENT_RANGE, CONTENT_TYPE, HeaderMap, RANGE};
use axum::http::{HeaderName, StatusCode};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::desk::Desk;
use super::refusal::Refusal;
use super::remedy;
use super::serve::asked_for;
use crate::library::{FilmOf, Library};
use crate::pages::{FilmError, footage, make_film};
use crate::video::{Film, FilmSize};
use crate::words::lower_first;
use crate::work::Watch;

/// Most bytes of one answer: a whole serve of quick pictures is less (our estimate).
const PART_BYTES: u64 = 32 << 20;

/// How far a film is.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "state", rename_all = "snake_case")]
enum Progress {
    /// It is there.
    Ready(Film),
    /// It is being made: pictures done, and of how many.
    Making { done: usize, of: usize },
    /// Another one is being made first.
    Waiting,
    /// There is none, and why.
    None { why: String },
}

/// The one film that is being made.
#[derive(Debug)]
struct Making {
    of: FilmOf,
    watch: Watch,
    so_far: Arc<Mutex<Progress>>,
    thread: Option<JoinHandle<()>>,
}

/// Films in the making.
#[derive(Debug)]
pub(super) struct Films {
    library: PathBuf,
    making: Mutex<Option<Making>>,
}

impl Films {
    pub(super) fn new(library: PathBuf) -> Self {
        Self { library, making: Mutex::new(None) }
    }

    /// How far the film is; begins it where nothing else is being made.
    fn progress(&self, of: FilmOf) -> Progress {
        let mut making = self.making.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(one) = making.as_ref() {
            let so_far = one.so_far.lock().unwrap_or_else(PoisonError::into_inner).clone();
            let runs = matches!(so_far, Progress::Making { .. });
            if one.of == of && !one.watch.is_stopped() {
                if !runs {
                    *making = None;
                }
                return so_far;
            }
            if runs && one.thread.as_ref().is_some_and(|thread| !thread.is_finished()) {
                return Progress::Waiting;
            }
        }
        let begun = Making::begin(self.library.clone(), of);
        let so_far = begun.so_far.lock().unwrap_or_else(PoisonError::into_inner).clone();
        *making = Some(begun);
        so_far
    }

    fn stop(&self, of: &FilmOf) {
        let making = self.making.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(one) = making.as_ref().filter(|one| one.of == *of) {
            one.watch.stop();
        }
    }

    /// Stops what is being made, and returns once it has ended.
    pub(super) fn end(&self) {
        let making = self.making.lock().unwrap_or_else(PoisonError::into_inner).take();
        if let Some(Making { watch, thread: Some(thread), .. }) = making {
            watch.stop();
            // Whatever it ended with, nobody waits for the film any more.
            let _ = thread.join();
        }
    }
}

impl Making {
    fn begin(library: PathBuf, of: FilmOf) -> Self {
        let frames = of.frames.1 - of.frames.0 + 1;
        let so_far = Arc::new(Mutex::new(Progress::Making { done: 0, of: frames }));
        let set = {
            let so_far = Arc::clone(&so_far);
            move |progress| *so_far.lock().unwrap_or_else(PoisonError::into_inner) = progress
        };
        let heard = set.clone();
        let watch = Watch::default();
        let hearing =
            watch.hearing(move |step| heard(Progress::Making { done: step.done, of: step.of }));
        let stretch = of.clone();
        let thread = std::thread::spawn(move || {
            let made = Library::open_read_only(&library)
                .map_err(|_| "the library cannot be read".to_owned())
                .and_then(|library| {
                    make_film(&library, &stretch, &hearing).map_err(|error| why_not(&error))
                });
            set(made.map_or_else(|why| Progress::None { why }, Progress::Ready));
        });
        Self { of, watch, so_far, thread: Some(thread) }
    }
}

/// Why there is no film, in words without a path.
fn why_not(error: &FilmError) -> String {
    match error {
        FilmError::Clip { why } => why.clone(),
        FilmError::Decoder(error) => lower_first(&remedy::clip(error).why()),
        FilmError::Disk(_) => {
            "its pictures cannot be kept; make room on the disk of the library".to_owned()
        }
        FilmError::Stopped(_) => "stopped".to_owned(),
        _ => "the library cannot be read".to_owned(),
    }
}

async fn stretch(desk: &Arc<Desk>, id: String) -> Result<Option<(FilmOf, Option<Film>)>, Refusal> {
    desk.fetch(move |_, library, _| {
        let row = library.serve(asked_for(&id)?)?;
        let of = footage(library, &row)?.map(|footage| footage.of);
        Ok(of.map(|of| (of.clone(), library.film(&of))))
    })
    .await
}

/// Whether the pictures of a serve are there; where not, they are begun.
pub(super) async fn film(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let progress = match stretch(&desk, id).await? {
        None => Progress::None { why: "this recording has no picture".to_owned() },
        Some((_, Some(film))) => Progress::Ready(film),
        Some((of, None)) => desk.films.progress(of),
    };
    json(&progress)
}

/// Stops making them.
pub(super) async fn stop(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<StatusCode, Refusal> {
    if let Some((of, _)) = stretch(&desk, id).await? {
        desk.films.stop(&of);
    }
    Ok(StatusCode::NO_CONTENT)
}

/// Pictures, one JPEG after the other: all of them, or the bytes asked for.
pub(super) async fn pictures(
    State(desk): State<Arc<Desk>>,
    Path((id, size)): Path<(String, String)>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    let not_here = || Refusal::NotHere("There are no such pictures.".to_owned());
    let size = FilmSize::from_name(&size).ok_or_else(not_here)?;
    let asked = headers.get(RANGE).and_then(|range| range.to_str().ok()).map(str::to_owned);
    desk.fetch(move |_, library, _| {
        let row = library.serve(asked_for(&id)?)?;
        let of = footage(library, &row)?.map(|footage| footage.of).ok_or_else(not_here)?;
        let mut file = library.film_pictures(&of, size).map_err(|_| not_here())?;
        let length = file.metadata().map_err(|_| not_here())?.len();
        let (status, from, to) = match asked.as_deref().map(|asked| range(asked, length)) {
            Some(Some((from, to))) => (StatusCode::PARTIAL_CONTENT, from, to),
            Some(None) => {
                let all = format!("bytes */{length}");
                return Ok(
                    (StatusCode::RANGE_NOT_SATISFIABLE, [(CONTENT_RANGE, all)]).into_response()
                );
            }
            None => (StatusCode::OK, 0, length.saturating_sub(1)),
        };
        let mut bytes = Vec::new();
        file.seek(SeekFrom::Start(from))
            .and_then(|_| file.take(to + 1 - from).read_to_end(&mut bytes))
            .map_err(|_| not_here())?;
        let head: [(HeaderName, String); 2] = [
            (CONTENT_TYPE, "application/octet-stream".to_owned()),
            (ACCEPT_RANGES, "bytes".to_owned()),
        ];
        let part = (status == StatusCode::PARTIAL_CONTENT)
            .then(|| [(CONTENT_RANGE, format!("bytes {from}-{to}/{length}"))]);
        Ok((status, head, part, bytes).into_response())
    })
    .await
}

/// First and last byte that a range asks for, cut to [`PART_BYTES`]; `None` for one that cannot be
/// met, several at once among them (RFC 9110, section 14).
fn range(asked: &str, length: u64) -> Option<(u64, u64)> {
    let (first, last) = asked.strip_prefix("bytes=")?.trim().split_once('-')?;
    let end = length.checked_sub(1)?;
    let (from, to) = if first.is_empty() {
        let count = last.parse::<u64>().ok().filter(|&count| count > 0)?;
        (length.saturating_sub(count), end)
    } else {
        let to = if last.is_empty() { end } else { last.parse().ok()? };
        (first.parse().ok()?, to)
    };
    (from <= to && from <= end).then(|| (from, to.min(end).min(from + PART_BYTES - 1)))
}

/// An answer for our own scripts.
pub(super) fn json(value: &impl Serialize) -> Result<Response, Refusal> {
    let text = serde_json::to_string(value).map_err(|_| Refusal::Broken)?;
    Ok(([(CONTENT_TYPE, "application/json")], text).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_as_the_standard_has_them() {
        // The examples of RFC 9110, section 14.1.2, of 10,000 bytes.
        assert_eq!(range("bytes=0-499", 10_000), Some((0, 499)));
        assert_eq!(range("bytes=500-999", 10_000), Some((500, 999)));
        assert_eq!(range("bytes=-500", 10_000), Some((9500, 9999)));
        assert_eq!(range("bytes=9500-", 10_000), Some((9500, 9999)));
        assert_eq!(range("bytes=9500-20000", 10_000), Some((9500, 9999)));
        for bad in ["bytes=10000-", "bytes=5-4", "bytes=-0", "bytes=0-1,3-4", "lines=0-1", "bytes="]
        {
            assert_eq!(range(bad, 10_000), None, "{bad}");
        }
        assert_eq!(range("bytes=0-", 0), None);
        let (from, to) = range("bytes=7-", u64::MAX).unwrap();
        assert_eq!((from, to - from + 1), (7, PART_BYTES));
    }
}
