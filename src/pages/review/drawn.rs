//! What the coach drew: pictures with the drawing over them, or the figure at that moment.

use std::fmt::Write as _;

use super::ReviewData;
use crate::drawing::svg::escape;
use crate::drawing::{Viewpoint, sample_figure};
use crate::pages::DrawnFacts;
use crate::words::{from_contact, sentence};

/// What fits a player's two sheets.
const PLAYER_DRAWN: usize = 3;

/// One column a frame: picture or figure, the moment, what was drawn; for the coach by whom.
pub(super) fn drawn_strip(
    data: &ReviewData,
    coach: bool,
    clean: &impl Fn(&str) -> String,
) -> Option<String> {
    if data.drawn.is_empty() {
        return None;
    }
    if !coach && data.drawn.iter().all(|one| one.picture.is_none()) {
        return Some(words(data, clean));
    }
    let shown = if coach { usize::MAX } else { PLAYER_DRAWN };
    let mut html = String::from("<div class=\"shots\">");
    for one in data.drawn.iter().take(shown) {
        let (time, when) = from_contact(one.after_s);
        let picture = one.picture.clone().or_else(|| figure(data, one)).unwrap_or_default();
        // Writing to a string cannot fail.
        let _ = write!(html, "<div>{picture}<p><b>{}</b>", escape(&format!("{time} {when}")));
        for (line, by) in &one.lines {
            let mut said = sentence(&clean(line));
            if coach {
                let _ = write!(said, ", by {by}");
            }
            let _ = write!(html, "<br>{}", escape(&said));
        }
        html.push_str("</p></div>");
    }
    html.push_str("</div>");
    Some(html)
}

/// Words without pictures: a line each, so that a player's copy stays two sheets.
fn words(data: &ReviewData, clean: &impl Fn(&str) -> String) -> String {
    let mut html = String::from("<ul class=\"plain\">");
    for one in data.drawn.iter().take(PLAYER_DRAWN) {
        let (time, when) = from_contact(one.after_s);
        let lines: Vec<String> = one.lines.iter().map(|(line, _)| clean(line)).collect();
        let said = escape(&format!("{time} {when}: {}", lines.join("; ")));
        // Writing to a string cannot fail.
        let _ = write!(html, "<li>{said}</li>");
    }
    html.push_str("</ul>");
    html
}

/// The body at that moment, where there is no picture.
fn figure(data: &ReviewData, one: &DrawnFacts) -> Option<String> {
    let figures = data.figures.as_ref()?;
    let label = "the body at that moment";
    Some(sample_figure(figures, one.sample, label, Viewpoint::FromHittingSide).to_string())
}
