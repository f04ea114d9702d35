//! What is answered where a place cannot be shown or a change is refused: a page that says why and
//! what to do, and never where anything lies on the disk.

use std::io;

use askama::Template;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{Html, IntoResponse, Response};

use super::view::Frame;
use crate::coaching::{
    AmendRefusal, FollowUpRefusal, LabelRefusal, MarkRefusal, PlanEndRefusal, PlanRefusal,
    PlayerRefusal, PracticeRefusal,
};
use crate::find::FilterError;
use crate::library::{Locked, OpenError, StoreError, WriteError};
use crate::matcher::LikeError;
use crate::words::sentence;

/// Why a request was not answered with what it asked for.
#[derive(Debug, Clone)]
pub(super) enum Refusal {
    /// Nobody who was let in.
    Closed,
    /// No such thing, in words.
    NotHere(String),
    /// More than any form of ours sends.
    TooLarge,
    /// A file that is larger than is taken: how large, and how large it may be.
    FileTooLarge(String),
    /// The disk does not take what is written to it.
    Disk(io::ErrorKind),
    /// Another process is changing the library; who.
    Busy(String),
    /// A rule was broken, or something could not be read: the room's words.
    Said(String),
    /// The library is not what it was, or cannot be read.
    Library,
    /// The reader went away, or the server ends.
    Stopped,
    /// Something broke in the program.
    Broken,
}

/// What the page calls the fields of what is recorded.
const RECORDED: &[(&str, &str)] = &[
    ("start", "First day"),
    ("review_on", "Next review"),
    ("date", "Day"),
    ("serves", "Serves of that day"),
    ("speed_kmh", "Serve speed"),
    ("first_serve_pct", "First serves in"),
    ("rating", "How it is now"),
    ("note", "In your words"),
    ("coach", "Your code"),
    ("by", "Your code"),
    ("ended", "Last day"),
    ("born", "Born"),
    ("stature_m", "Height in metres"),
    ("squad", "Squads"),
    ("code", "Code"),
    ("consent_date", "Agreed on"),
];

#[derive(Template)]
#[template(path = "refusal.html")]
struct Page {
    frame: Frame,
    what: &'static str,
    why: String,
    next: &'static str,
}

impl Refusal {
    fn busy(locked: &Locked) -> Self {
        let holder = locked.holder.as_ref();
        Self::Busy(holder.map_or_else(|| "Another process".to_owned(), ToString::to_string))
    }

    /// What is not here, by the name it was asked for under.
    pub(super) fn no_such(what: &str, found: &str) -> Self {
        Self::NotHere(format!("This library has no {what} '{found}'."))
    }

    /// The system's folder for temporary files is full.
    pub(super) fn no_room() -> Self {
        Self::Said("There is no room for temporary files; make some on the disk".to_owned())
    }

    /// Somebody recorded something between the look and the change.
    pub(super) fn changed_meanwhile() -> Self {
        let why = "Something was recorded since you looked; load the page again and see";
        Self::Said(why.to_owned())
    }

    fn page(self) -> (StatusCode, &'static str, String, &'static str) {
        let back = "Go back: what you wrote is still there.";
        match self {
            Self::Closed => (
                StatusCode::FORBIDDEN,
                "This page is not open to you",
                "It opens once, in one browser, at the address the program printed when it started, \
                 and only there."
                    .to_owned(),
                "In that browser, start from the first page. For another browser, end the program \
                 and start it again.",
            ),
            Self::NotHere(why) => {
                (StatusCode::NOT_FOUND, "Not here", why, "It may have been moved or removed.")
            }
            Self::TooLarge => (
                StatusCode::PAYLOAD_TOO_LARGE,
                "Too much at once",
                "That is more than a form of this page holds; nothing was recorded.".to_owned(),
                "Go back and shorten it.",
            ),
            Self::FileTooLarge(why) => (
                StatusCode::PAYLOAD_TOO_LARGE,
                "Too large",
                format!("{why}; nothing of it was kept."),
                "Cut the clip to its serves, or send it in parts.",
            ),
            Self::Disk(kind) => (
                StatusCode::INSUFFICIENT_STORAGE,
                "It could not be written to disk",
                format!("It could not be written ({kind}); nothing of it was kept."),
                "Make room on the disk of the library, go back and send it again.",
            ),
            Self::Busy(who) => (
                StatusCode::SERVICE_UNAVAILABLE,
                "Somebody else is writing",
                format!(
                    "{} is changing the library and did not finish in time; nothing of yours was \
                     recorded.",
                    sentence(&who)
                ),
                "Let it finish, go back and send it again: what you wrote is still there. Reading \
                 works meanwhile.",
            ),
            Self::Said(why) => {
                let why = format!("{}.", sentence(why.trim_end_matches('.')));
                (StatusCode::UNPROCESSABLE_ENTITY, "Not done", why, back)
            }
            Self::Library => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "The library cannot be read",
                "It is damaged, or not what it was when the page was opened.".to_owned(),
                "On a command line, precedent verify says what is wrong.",
            ),
            Self::Stopped => (
                StatusCode::SERVICE_UNAVAILABLE,
                "Stopped",
                "The work was stopped; nothing was changed.".to_owned(),
                "Load the page again.",
            ),
            Self::Broken => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "Something broke in the program",
                "This should not happen. What was recorded before is kept.".to_owned(),
                "Load the page again.",
            ),
        }
    }
}

impl Refusal {
    /// Why, in words that end without a dot, for a list.
    pub(super) fn why(self) -> String {
        self.page().2.trim_end_matches('.').to_owned()
    }

    /// The same for a script, which shows it where it belongs.
    pub(super) fn plain(self) -> Response {
        let (status, _, why, next) = self.page();
        let kind = [(CONTENT_TYPE, "text/plain; charset=utf-8")];
        (status, kind, format!("{why} {next}")).into_response()
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        let (status, what, why, next) = self.page();
        let page = Page { frame: Frame::bare(what), what, why, next };
        match page.render() {
            Ok(text) => (status, Html(text)).into_response(),
            Err(_) => status.into_response(),
        }
    }
}

impl From<askama::Error> for Refusal {
    fn from(_: askama::Error) -> Self {
        Self::Broken
    }
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NoSuch { what } => Self::no_such("entry", &what),
            StoreError::Stopped(_) => Self::Stopped,
            error => error.disk().map_or(Self::Library, Self::Disk),
        }
    }
}

impl From<OpenError> for Refusal {
    fn from(error: OpenError) -> Self {
        match error {
            OpenError::Locked(locked) => Self::busy(&locked),
            OpenError::Store(error) => error.into(),
            _ => Self::Library,
        }
    }
}

impl From<WriteError> for Refusal {
    fn from(error: WriteError) -> Self {
        match error {
            WriteError::Locked(locked) => Self::busy(&locked),
            WriteError::ReadOnly { .. } | WriteError::Replaced { .. } => Self::Library,
            WriteError::Store(error) => error.into(),
            WriteError::Invalid { field, found, rule } => {
                let known = RECORDED.iter().find(|(known, _)| *known == field);
                let label = known.map_or(field, |(_, label)| label);
                Self::Said(format!("{label}: {found}; {rule}"))
            }
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<LabelRefusal> for Refusal {
    fn from(refusal: LabelRefusal) -> Self {
        match refusal {
            LabelRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<MarkRefusal> for Refusal {
    fn from(refusal: MarkRefusal) -> Self {
        match refusal {
            MarkRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<PlayerRefusal> for Refusal {
    fn from(refusal: PlayerRefusal) -> Self {
        match refusal {
            PlayerRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<AmendRefusal> for Refusal {
    fn from(refusal: AmendRefusal) -> Self {
        match refusal {
            AmendRefusal::Write(error) => error.into(),
            AmendRefusal::Plan(refusal) => refusal.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<PlanEndRefusal> for Refusal {
    fn from(refusal: PlanEndRefusal) -> Self {
        match refusal {
            PlanEndRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<PracticeRefusal> for Refusal {
    fn from(refusal: PracticeRefusal) -> Self {
        match refusal {
            PracticeRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<PlanRefusal> for Refusal {
    fn from(refusal: PlanRefusal) -> Self {
        match refusal {
            PlanRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<FollowUpRefusal> for Refusal {
    fn from(refusal: FollowUpRefusal) -> Self {
        match refusal {
            FollowUpRefusal::Write(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<FilterError> for Refusal {
    fn from(error: FilterError) -> Self {
        match error {
            FilterError::Store(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}

impl From<LikeError> for Refusal {
    fn from(error: LikeError) -> Self {
        match error {
            LikeError::Store(error) => error.into(),
            LikeError::Filter(error) => error.into(),
            other => Self::Said(other.to_string()),
        }
    }
}
