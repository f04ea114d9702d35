use axum::extract::Path;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

use super::refusal::Refusal;
use crate::drawing::style_variables;

/// The page's own style, script and mark; a name is looked up here and nowhere on the disk.
pub(super) async fn asset(Path(name): Path<String>) -> Result<Response, Refusal> {
    let (kind, text) = match name.as_str() {
        "desk.css" => {
            ("text/css", format!("{}{}", style_variables(), include_str!("assets/desk.css")))
        }
        "desk.js" => ("text/javascript", include_str!("assets/desk.js").to_owned()),
        "viewer.css" => ("text/css", include_str!("assets/viewer.css").to_owned()),
        "viewer.js" => ("text/javascript", include_str!("assets/viewer.js").to_owned()),
        "tracks.js" => ("text/javascript", include_str!("assets/tracks.js").to_owned()),
        "figure.js" => ("text/javascript", include_str!("assets/figure.js").to_owned()),
        "hand.js" => ("text/javascript", include_str!("assets/hand.js").to_owned()),
        "reel.js" => ("text/javascript", include_str!("assets/reel.js").to_owned()),
        "files.js" => ("text/javascript", include_str!("assets/files.js").to_owned()),
        "voice.js" => ("text/javascript", include_str!("assets/voice.js").to_owned()),
        "own.js" => ("text/javascript", include_str!("assets/own.js").to_owned()),
        "work.js" => ("text/javascript", include_str!("assets/work.js").to_owned()),
        "mark.svg" => ("image/svg+xml", include_str!("assets/mark.svg").to_owned()),
        _ => return Err(Refusal::NotHere("There is no such page.".to_owned())),
    };
    Ok(([(CONTENT_TYPE, kind)], text).into_response())
}
