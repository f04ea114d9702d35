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
        "mark.svg" => ("image/svg+xml", include_str!("assets/mark.svg").to_owned()),
        _ => return Err(Refusal::NotHere("There is no such page.".to_owned())),
    };
    Ok(([(CONTENT_TYPE, kind)], text).into_response())
}
