use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse, Response};

use super::case::go_to;
use super::desk::{Desk, today};
use super::door::DOCUMENT_POLICY;
use super::long::{Lane, Outcome};
use super::refusal::Refusal;
use super::told::{Made, Told};
use super::view::{Frame, PlanView, cautions_for};
use crate::coaching::{PlansInForce, describe_consent, kept_too_long, standing};
use crate::library::{Case, Library, Player, PlayerId, StoreError};
use crate::looks::Snapshot;
use crate::pages::{self, PersonError};
use crate::words::{Interface, count, day, handed, level, list, sentence};

/// A session: the player's case of one day.
struct SessionView {
    case: String,
    day: String,
    serves: String,
    faults: String,
    plans: Vec<String>,
}

#[derive(Template)]
#[template(path = "player.html")]
struct Page {
    frame: Frame,
    id: String,
    code: String,
    name: Option<String>,
    facts: String,
    agreed: String,
    sessions: Vec<SessionView>,
    /// The last case with plans in force, its plans, and what they ask together in a week.
    in_force: Option<(String, Vec<PlanView>, Option<String>)>,
    /// Plans of earlier cases that nobody ended: case, plan, fault, first day.
    left_open: Vec<[String; 4]>,
    /// Kept for longer than the library means to, in words.
    kept_long: Option<String>,
    cautions: Vec<String>,
}

/// A player: sessions, plans in force, progress.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, _| {
        let player = library.player(asked_for(&id)?)?;
        let catalogue = library.catalogue()?;
        let on = today();
        let cases = library.cases(Some(player.id))?;
        let mut cautions = cautions_for(library, &catalogue, &player)?;
        let (mut in_force, mut left_open) = (None, Vec::new());
        for case in cases.iter().rev() {
            let Some(plans) = PlansInForce::of(library, &catalogue, case, &player, on)? else {
                continue;
            };
            let id = case.id.to_string();
            if in_force.is_none() {
                let views = PlanView::of_all(&plans, &mut cautions);
                in_force = Some((id, views, plans.load.sum().map(|sum| sentence(&sum))));
                continue;
            }
            let open = plans.plans.into_iter();
            left_open.extend(
                open.map(|plan| [id.clone(), plan.plan.to_string(), plan.name, day(plan.start)]),
            );
        }
        let snapshot = Snapshot::new(library);
        let session = |case: &Case| -> Result<SessionView, StoreError> {
            let strokes = snapshot.views(case.id)?.count_of(&case.serves);
            let faults = standing(&case.labels);
            let names: Vec<String> =
                faults.iter().map(|label| catalogue.fault_name(&label.fault)).collect();
            Ok(SessionView {
                case: case.id.to_string(),
                day: day(case.date),
                serves: count(strokes, "serve"),
                faults: list(&names),
                plans: case
                    .plans
                    .iter()
                    .map(|plan| catalogue.fault_name(&plan.limiting_fault))
                    .collect(),
            })
        };
        let page = Page {
            frame: Frame::of(desk, player.code.clone()),
            id: player.id.to_string(),
            code: player.code.clone(),
            name: player.name.clone(),
            facts: facts(&player),
            agreed: sentence(&describe_consent(player.consent)),
            sessions: cases.iter().rev().map(session).collect::<Result<_, _>>()?,
            in_force,
            left_open,
            kept_long: kept_too_long(library, on)?
                .into_iter()
                .find(|one| one.id == player.id)
                .map(|one| sentence(&one.describe())),
            cautions: if cautions.are_due() { cautions.lines() } else { Vec::new() },
        };
        Ok(page.render()?)
    })
    .await
}

fn facts(player: &Player) -> String {
    let mut facts = Vec::new();
    facts.extend(player.level.map(|known| level(known).to_owned()));
    facts.extend(player.hand.map(|hand| handed(hand).to_owned()));
    facts.extend(player.born.map(|born| format!("born {}", day(born))));
    facts.extend(player.stature_m.map(|height| format!("{height:.2} m tall")));
    facts.extend((!player.squads.is_empty()).then(|| player.squads.join(", ")));
    sentence(&facts.join("; "))
}

pub(super) fn asked_for(id: &str) -> Result<PlayerId, Refusal> {
    id.parse().map_err(|_: String| Refusal::no_such("player", id))
}

/// Has everything that is stored of the player put into one file.
pub(super) async fn stored(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let player = asked_for(&id)?;
    let code = desk.fetch(move |_, library, _| Ok(library.player(player)?.code)).await?;
    let desk_of_work = Arc::clone(&desk);
    let title = format!("Everything stored about {code}");
    let work = desk.long.begin(Lane::Other, title.clone(), move |work| {
        let library = Library::open_read_only(desk_of_work.library())?;
        let who = library.player(player)?;
        let folder = desk_of_work.uploads.folder()?;
        let name = format!("everything-stored-{player}-{}.zip", today());
        let path = folder.path().join(&name);
        let written = pages::export_person(&library, player, &path, today(), &work.watch())?;
        let mut lines = vec![format!("In it: {}; nothing about others", written.describe())];
        lines.extend(pages::handing_over(&who, today()).iter().map(|line| sentence(line)));
        let told = Told {
            title: format!("{title}."),
            lines,
            notes: written.notes.iter().map(|note| format!("{}.", sentence(note))).collect(),
            file: Some(Made { name, kind: "application/zip", path, _folder: folder }),
            links: vec![("Back to the player".to_owned(), format!("/player/{player}"))],
            ..Told::default()
        };
        Ok(Outcome::Told(Arc::new(told)))
    });
    Ok(go_to(&format!("/work/{}", work.id)))
}

impl From<PersonError> for Refusal {
    fn from(error: PersonError) -> Self {
        match error {
            PersonError::Store(error) => error.into(),
            PersonError::Export(error) => error.into(),
            PersonError::Io { source, .. } => Self::Disk(source.kind()),
        }
    }
}

/// The player's progress as it goes on paper.
pub(super) async fn progress(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    let page = desk
        .read(move |_, library, watch| {
            let course = pages::course(library, &library.catalogue()?, asked_for(&id)?, watch)?;
            Ok(pages::progress_page(&course, Interface::Page))
        })
        .await?;
    Ok(([(CONTENT_SECURITY_POLICY, DOCUMENT_POLICY)], page).into_response())
}
