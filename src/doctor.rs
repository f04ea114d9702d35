//! What this computer has of what the program needs, and what to do about the rest. Looks, and
//! changes nothing.

use std::path::Path;

use serde::Serialize;

use crate::library::{Condition, Library, OpenError};
use crate::pages::Browser;
use crate::video::{GET_DECODER, checked_models, decoder};
use crate::words::count;

/// Below this a library may not find room for the next clips (our estimate).
const LITTLE_SPACE: u64 = 1 << 30;
/// Encoders clips and pictures are written with.
const ENCODERS: [&str; 4] = ["mjpeg", "ppm", "libx264", "aac"];

/// How something stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// As it should be.
    Good,
    /// Not there; what needs it cannot be done, the rest can.
    Missing,
    /// There and not as it should be.
    Wrong,
}

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// What.
    pub what: &'static str,
    /// How it stands.
    pub state: State,
    /// What was found.
    pub found: String,
    /// What to do, where something is to be done.
    pub todo: Option<String>,
}

impl Finding {
    fn good(what: &'static str, found: String) -> Self {
        Self { what, state: State::Good, found, todo: None }
    }

    fn bad(what: &'static str, state: State, found: String, todo: impl Into<String>) -> Self {
        Self { what, state, found, todo: Some(todo.into()) }
    }
}

/// Looks at everything: the decoder of clips, the pose networks, a browser, the library in this
/// folder, room on its disk.
#[must_use]
pub fn check_computer(library: &Path) -> Vec<Finding> {
    let mut findings = vec![
        Finding::good("program", format!("precedent {}", env!("CARGO_PKG_VERSION"))),
        of_decoder(),
        of_networks(),
        of_browser(),
    ];
    findings.extend(of_library(library));
    findings.push(of_space(library));
    findings
}

fn of_decoder() -> Finding {
    let what = "ffmpeg";
    let Some((version, has)) = decoder(&ENCODERS) else {
        let found = "not found: clips cannot be read; files of joints can".to_owned();
        return Finding::bad(what, State::Missing, found, GET_DECODER);
    };
    let lacks: Vec<&str> = ENCODERS.into_iter().filter(|name| !has.contains(name)).collect();
    if lacks.is_empty() {
        let encoders = has.join(", ");
        return Finding::good(what, format!("{version}; encoders {encoders}"));
    }
    let found = format!("{version}; without the encoders {}", lacks.join(", "));
    let todo = "install an ffmpeg with these encoders, for example the one of your system";
    Finding::bad(what, State::Missing, found, todo)
}

fn of_networks() -> Finding {
    let what = "pose networks";
    let models = checked_models();
    let bad: Vec<String> = models
        .iter()
        .filter_map(|(_, checked)| checked.as_ref().err().map(ToString::to_string))
        .collect();
    let Some(first) = bad.first() else {
        let names: Vec<&str> = models.iter().map(|(choice, _)| choice.name()).collect();
        return Finding::good(what, format!("{}, checked", names.join(", ")));
    };
    let damaged = bad.iter().any(|text| text.contains("damaged"));
    let state = if damaged { State::Wrong } else { State::Missing };
    Finding::bad(what, state, first.clone(), "run `precedent setup-video` once with a network")
}

fn of_browser() -> Finding {
    match Browser::find() {
        Ok(browser) => Finding::good("browser", browser.place().display().to_string()),
        Err(error) => Finding::bad(
            "browser",
            State::Missing,
            error.to_string(),
            "install Chromium to have PDF files made; the page opens in any browser you have",
        ),
    }
}

fn of_library(folder: &Path) -> Vec<Finding> {
    let what = "library";
    let condition = match Library::condition(folder) {
        Ok(condition) => condition,
        Err(OpenError::Missing { .. }) => {
            let found = format!("none in {}", folder.display());
            let todo = "it is made with the first recording: precedent add";
            return vec![Finding::bad(what, State::Missing, found, todo)];
        }
        Err(error) => {
            let todo = "restore it from a copy, or name another folder";
            return vec![Finding::bad(what, State::Wrong, error.to_string(), todo)];
        }
    };
    vec![of_format(&condition), of_lock(&condition), of_check(&condition)]
}

fn of_format(condition: &Condition) -> Finding {
    let (found, written) = condition.format;
    let [store, clips, derived] = condition.bytes.map(size);
    let counts = &condition.counts;
    let holds = format!(
        "{}: format {found}, {}, {}, {}; store {store}, clips {clips}, indexes and pictures {derived}",
        condition.folder.display(),
        count(counts.players, "player"),
        count(counts.serves, "serve"),
        count(counts.cases, "session"),
    );
    if !condition.writable {
        let todo = "it can be read; to change it, let your user write to its files";
        return Finding::bad("library", State::Wrong, format!("{holds}; write-protected"), todo);
    }
    if found < written {
        let holds = format!("{holds}; becomes format {written} with the next change");
        return Finding::bad("library", State::Good, holds, "copy the folder before you go on");
    }
    Finding::good("library", holds)
}

fn of_lock(condition: &Condition) -> Finding {
    match &condition.holder {
        Some(holder) => Finding::good("lock", format!("{holder} is changing the library just now")),
        None => Finding::good("lock", "free".to_owned()),
    }
}

fn of_check(condition: &Condition) -> Finding {
    match &condition.last_sound {
        Some(at) => {
            let at = at.get(..16).unwrap_or(at).replace('T', " ");
            Finding::good("last check", format!("sound on {at} UTC"))
        }
        None => Finding::bad(
            "last check",
            State::Good,
            "never checked as a whole".to_owned(),
            "run `precedent verify` now and then",
        ),
    }
}

fn of_space(folder: &Path) -> Finding {
    let what = "free disk";
    // The nearest folder that is there already.
    let there = folder.ancestors().find(|place| place.exists()).unwrap_or(Path::new("."));
    match fs4::available_space(there) {
        Ok(free) if free < LITTLE_SPACE => {
            let todo =
                "make room: a clip takes 10 to 100 MB, and removing a player rewrites the store";
            Finding::bad(what, State::Wrong, size(free), todo)
        }
        Ok(free) => Finding::good(what, size(free)),
        Err(error) => {
            Finding::bad(what, State::Wrong, error.to_string(), "look at the library's disk")
        }
    }
}

fn size(bytes: u64) -> String {
    let mega = bytes as f64 / 1e6;
    if mega < 1000.0 { format!("{mega:.1} MB") } else { format!("{:.1} GB", mega / 1000.0) }
}
