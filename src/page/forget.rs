//! Removing a player for good: what goes is shown first, and the code has to be typed.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{Html, Response};

use super::case::go_to;
use super::desk::{Desk, today};
use super::fields::Fields;
use super::long::{Lane, Outcome};
use super::player::asked_for;
use super::refusal::Refusal;
use super::told::Told;
use super::view::Frame;
use crate::find::InStep;
use crate::library::{Counts, Forgotten, Library, SentPack};
use crate::words::{count, list};

#[derive(Template)]
#[template(path = "forget.html")]
struct Page {
    frame: Frame,
    id: String,
    code: String,
    goes: String,
    sent: Vec<String>,
}

fn goes(counts: &Counts) -> String {
    list(&[
        count(counts.recordings, "recording"),
        count(counts.serves, "serve"),
        count(counts.cases, "session"),
        count(counts.plans, "plan"),
        count(counts.follow_ups, "follow-up"),
    ])
}

fn sent(pack: &SentPack) -> String {
    let whom = pack.recipient.as_deref().unwrap_or("a receiver who was not named");
    let made = pack.made.get(..10).unwrap_or(&pack.made);
    format!("{} in the pack of {made} to {whom}", count(pack.cases, "session"))
}

/// What would go, and what left before.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let player = library.player(asked_for(&id)?)?;
        let (counts, packs) = library.before_forgetting(player.id)?;
        let page = Page {
            frame: Frame::of(desk, format!("Forget {}", player.code)),
            id,
            code: player.code,
            goes: goes(&counts),
            sent: packs.iter().map(sent).collect(),
        };
        Ok(page.render()?)
    })
    .await
}

/// Removes the player, if the code was typed.
pub(super) async fn forget(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let player = asked_for(&id)?;
    let typed = fields.words("code").unwrap_or_default();
    let desk_of_work = Arc::clone(&desk);
    let known = desk.read(move |_, library, _| Ok(library.player(player)?.code)).await?.0;
    if !typed.eq_ignore_ascii_case(&known) {
        return Err(Refusal::Said(format!(
            "Type the code '{known}' to have the player removed; nothing is removed yet"
        )));
    }
    let work = desk.long.begin(Lane::Other, format!("Forgetting {known}"), move |_| {
        let mut library = InStep::new(Library::open(desk_of_work.library())?);
        let forgotten = library.forget(player, today())?;
        desk_of_work.spoken.retain(|serve| library.serve_head(serve).is_ok());
        Ok(Outcome::Told(Arc::new(told(&known, &forgotten))))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

fn told(code: &str, forgotten: &Forgotten) -> Told {
    let mut notes = Vec::new();
    if !forgotten.wiped {
        notes.push(
            "Another program still reads the old state: close it and check the library, which \
             wipes the rest."
                .to_owned(),
        );
    }
    if !forgotten.mentions.is_empty() {
        notes.push("Notes of other players still hold the code or name; change them.".to_owned());
    }
    if !forgotten.sent.is_empty() {
        notes.push("Ask those who received packs with the player to remove them too.".to_owned());
    }
    notes.push("Earlier copies of the library still hold the player; remove those too.".to_owned());
    let mentions = forgotten.mentions.iter();
    let links = mentions.map(|case| (format!("Session {case}"), format!("/put-right/{case}")));
    Told {
        title: format!("{code} is removed."),
        lines: vec![format!("Removed: {}", goes(&forgotten.removed))],
        notes,
        links: links
            .chain([("To the library".to_owned(), "/library".to_owned())])
            .chain([("To Today".to_owned(), "/".to_owned())])
            .collect(),
        ..Told::default()
    }
}
