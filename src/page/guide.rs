use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::Html;

use super::desk::Desk;
use super::refusal::Refusal;
use super::view::Frame;
use crate::guide::{TOPICS, Topic};

#[derive(Template)]
#[template(path = "guide.html")]
struct Page {
    frame: Frame,
    title: &'static str,
    /// The topic's text, from the guide itself.
    text: String,
    /// Name and title of every topic, and whether it is this one.
    topics: Vec<(&'static str, &'static str, bool)>,
}

/// The first topic.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    page(&desk, TOPICS[0])
}

/// One topic.
pub(super) async fn topic(
    State(desk): State<Arc<Desk>>,
    Path(name): Path<String>,
) -> Result<Html<String>, Refusal> {
    let there = Topic::named(&name);
    page(&desk, there.ok_or_else(|| Refusal::NotHere("The guide has no such page.".to_owned()))?)
}

fn page(desk: &Desk, topic: Topic) -> Result<Html<String>, Refusal> {
    let topics = TOPICS.iter().map(|one| (one.name, one.title(), *one == topic));
    let page = Page {
        frame: Frame::of(desk, topic.title()),
        title: topic.title(),
        text: topic.html(),
        topics: topics.collect(),
    };
    Ok(Html(page.render()?))
}
