//! Squads and their reports.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::{Html, Response};

use super::case::go_to;
use super::desk::{Desk, today};
use super::fields::Fields;
use super::long::{Lane, Outcome};
use super::refusal::Refusal;
use super::told::Told;
use super::view::Frame;
use crate::find::{Filter, FilterError};
use crate::library::{Library, StoreError};
use crate::pages;
use crate::squad::{self, GroupsParams, SquadError, SquadQuery};
use crate::words::{Interface, count};

#[derive(Template)]
#[template(path = "squads.html")]
struct Page {
    frame: Frame,
    /// Name, and how many play there.
    squads: Vec<(String, String)>,
    everybody: String,
    anybody: bool,
}

/// The squads of a library by name, with how many players each has.
pub(super) fn squads(library: &Library) -> Result<Vec<(String, usize)>, StoreError> {
    let mut all: Vec<(String, usize)> = Vec::new();
    for name in library.players()?.into_iter().flat_map(|player| player.squads) {
        match all.iter_mut().find(|(known, _)| *known == name) {
            Some((_, players)) => *players += 1,
            None => all.push((name, 1)),
        }
    }
    all.sort();
    Ok(all)
}

/// The serves a form means: of a squad, from a day, until a day.
pub(super) fn filter(fields: &Fields) -> Result<Filter, Refusal> {
    let mut filter = Filter::default();
    if let Some(squad) = fields.text("squad") {
        filter = filter.and(Filter::parse(&format!("squad=\"{}\"", squad.replace('"', "")))?);
    }
    for (name, sign, label) in [("from", ">=", "From"), ("to", "<=", "To")] {
        if let Some(day) = fields.value::<jiff::civil::Date>(name, label)? {
            filter = filter.and(Filter::parse(&format!("date{sign}{day}"))?);
        }
    }
    Ok(filter)
}

/// Every squad, and what its report is asked for.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    desk.read(|desk, library, _| {
        let squads = squads(library)?;
        let players = library.counts()?.players;
        let page = Page {
            frame: Frame::of(desk, "Squads"),
            squads: squads
                .into_iter()
                .map(|(name, players)| (name, count(players, "player")))
                .collect(),
            everybody: count(players, "player"),
            anybody: players > 0,
        };
        Ok(page.render()?)
    })
    .await
}

/// Has a squad's report made.
pub(super) async fn report(
    State(desk): State<Arc<Desk>>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let to = fields.value("to", "To")?;
    let query = SquadQuery {
        squad: fields.words("squad"),
        filter: Filter::default(),
        from: fields.value("from", "From")?,
        to,
        // Asked about the past, it answers as of then.
        today: to.unwrap_or_else(today),
        groups: GroupsParams::default(),
    };
    let name = query.squad.clone().unwrap_or_else(|| "all players".to_owned());
    let desk_of_work = Arc::clone(&desk);
    let work = desk.long.begin(Lane::Other, format!("Report on {name}"), move |work| {
        let library = Library::open_read_only(desk_of_work.library())?;
        let squad = squad::gather(&library, &library.catalogue()?, &query, &work.watch())?;
        let links = vec![("Back to the squads".to_owned(), "/squads".to_owned())];
        let title = format!("Report on {name}");
        let told = match squad.selection.why_empty() {
            Some(why) => Told { title, notes: vec![why], links, ..Told::default() },
            None => {
                let document = Some(pages::squad_page(&squad, Interface::Page));
                Told { title, document, links, ..Told::default() }
            }
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

impl From<SquadError> for Refusal {
    fn from(error: SquadError) -> Self {
        match error {
            SquadError::Store(error) => error.into(),
            SquadError::Filter(FilterError::Store(error)) => error.into(),
            SquadError::Stopped(_) => Self::Stopped,
            other => Self::Said(other.to_string()),
        }
    }
}
