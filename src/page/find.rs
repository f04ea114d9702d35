use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Html;

use super::desk::Desk;
use super::fields::Asked;
use super::refusal::Refusal;
use super::view::Frame;
use crate::find::{Excerpt, Filter, WordsOf, WordsQuery};
use crate::words::{count, day};

/// Most answers on a page.
const ANSWERS: usize = 30;

/// Where the words stand: the part's name, and the text in pieces, each found or not.
struct ExcerptView {
    part: String,
    pieces: Vec<(String, bool)>,
}

struct HitView {
    link: String,
    what: String,
    excerpts: Vec<ExcerptView>,
}

#[derive(Template)]
#[template(path = "find.html")]
struct Page {
    frame: Frame,
    hits: Vec<HitView>,
    left_out: Vec<String>,
    searched: String,
    /// How many more there are, if any.
    more: Option<usize>,
    cautions: Vec<String>,
}

/// What holds the words that were looked for, the best first.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Asked(asked): Asked,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let text = asked.words("words").unwrap_or_default();
        let query = WordsQuery { text: &text, filter: Filter::default(), k: ANSWERS };
        let found = library.find(&query)?;
        let mut cautions: Vec<String> = Vec::new();
        for caution in found.hits.iter().flat_map(|hit| &hit.cautions) {
            if !cautions.contains(caution) {
                cautions.push(caution.clone());
            }
        }
        let hits = found.hits.iter().map(|hit| {
            let (link, what) = match &hit.what {
                WordsOf::Case { case, player, date } => {
                    (format!("/case/{case}"), format!("{player}, {}", day(*date)))
                }
                WordsOf::Fault { id, name } => {
                    (format!("/catalogue/fault/{id}"), format!("Fault: {name}"))
                }
                WordsOf::Drill { id, name } => {
                    (format!("/catalogue/drill/{id}"), format!("Drill: {name}"))
                }
            };
            HitView { link, what, excerpts: hit.excerpts.iter().map(ExcerptView::of).collect() }
        });
        let page = Page {
            hits: hits.collect(),
            left_out: found.ignored.iter().map(ToString::to_string).collect(),
            searched: count(found.searched, "session"),
            more: Some(found.matched - found.hits.len()).filter(|more| *more > 0),
            cautions,
            frame: Frame { words: text.clone(), ..Frame::of(desk, "Find") },
        };
        Ok(page.render()?)
    })
    .await
}

impl ExcerptView {
    fn of(excerpt: &Excerpt) -> Self {
        let letters: Vec<char> = excerpt.text.chars().collect();
        let piece = |range: std::ops::Range<usize>| letters[range].iter().collect::<String>();
        let mut pieces = Vec::new();
        let mut at = 0;
        for range in &excerpt.matches {
            pieces.push((piece(at..range.start), false));
            pieces.push((piece(range.clone()), true));
            at = range.end;
        }
        pieces.push((piece(at..letters.len()), false));
        pieces.retain(|(text, _)| !text.is_empty());
        Self { part: excerpt.part.label(), pieces }
    }
}
