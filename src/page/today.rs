use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Html;

use super::add::to_store;
use super::desk::{Desk, today};
use super::refusal::Refusal;
use super::view::Frame;
use crate::coaching::{PlayerToday, Today, kept_too_long};
use crate::words::{count, day};

/// A plan whose review is due.
struct DueView {
    player: String,
    case: String,
    fault: String,
    review_on: String,
}

struct PlayerView {
    id: String,
    code: String,
    name: Option<String>,
    squads: String,
    /// The last case and its day.
    last: Option<(String, String)>,
    cases: String,
    /// What is worked on, and the day of the next review.
    plans: Vec<(String, Option<String>)>,
}

#[derive(Template)]
#[template(path = "today.html")]
struct Page {
    frame: Frame,
    day: String,
    due: Vec<DueView>,
    /// Recordings that were read and wait to be stored: address and title.
    to_store: Vec<(String, String)>,
    players: Vec<PlayerView>,
    /// Id and code of players who have been kept for longer than the library means to.
    kept_long: Vec<(String, String)>,
}

/// What waits, and everybody with their last look.
pub(super) async fn place(State(desk): State<Arc<Desk>>) -> Result<Html<String>, Refusal> {
    desk.read(|desk, library, _| {
        let on = today();
        let catalogue = library.catalogue()?;
        let now = Today::on(on, library)?;
        let due = now.due.iter().map(|(at, plan)| DueView {
            player: now.players[*at].player.code.clone(),
            case: plan.case.to_string(),
            fault: catalogue.fault_name(&plan.limiting_fault),
            review_on: plan.review_on.map(day).unwrap_or_default(),
        });
        let players = now.players.iter().map(|PlayerToday { player, last, cases, plans }| {
            let plans = plans
                .iter()
                .map(|plan| (catalogue.fault_name(&plan.limiting_fault), plan.review_on.map(day)));
            PlayerView {
                id: player.id.to_string(),
                code: player.code.clone(),
                name: player.name.clone(),
                squads: player.squads.join(", "),
                last: last.map(|case| (case.id.to_string(), day(case.date))),
                cases: count(*cases, "session"),
                plans: plans.collect(),
            }
        });
        let page = Page {
            frame: Frame::of(desk, "Today"),
            day: day(on),
            due: due.collect(),
            to_store: to_store(desk),
            players: players.collect(),
            kept_long: kept_too_long(library, on)?
                .into_iter()
                .map(|one| (one.id.to_string(), one.code))
                .collect(),
        };
        Ok(page.render()?)
    })
    .await
}
