//! A case: what its serves show, where to begin, what was planned, what came of it.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::http::header::LOCATION;
use axum::response::{Html, IntoResponse, Response};

use super::case_view::{Page, last_change};
use super::desk::Desk;
use super::fields::Fields;
use super::refusal::Refusal;
use super::view::Frame;
use crate::coaching::{BallReport, Graded, LabelRequest};
use crate::library::{CaseId, ChangeId, Grip, ServeId};

/// What the coach should know after something was recorded.
#[derive(Template)]
#[template(path = "notices.html")]
struct NoticesPage {
    frame: Frame,
    back: String,
    notices: Vec<String>,
}

pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refusal> {
    desk.read(move |desk, library, watch| {
        Ok(Page::of(desk, library, asked_for(&id)?, watch)?.render()?)
    })
    .await
}

pub(super) fn asked_for(id: &str) -> Result<CaseId, Refusal> {
    id.parse().map_err(|_: String| Refusal::no_such("session", id))
}

/// On to another place after a change, so that loading it again sends nothing twice.
pub(super) fn go_to(place: &str) -> Response {
    (StatusCode::SEE_OTHER, [(LOCATION, place)]).into_response()
}

/// What a form says of the ball.
pub(super) fn ball(fields: &Fields) -> Result<BallReport, Refusal> {
    Ok(BallReport {
        speed_kmh: fields.value("speed", "Serve speed")?,
        first_serve_pct: fields.value("first_serve", "First serves in")?,
        net: fields.value("net", "Misses into the net")?,
        long: fields.value("long", "Misses long")?,
        wide: fields.value("wide", "Misses wide")?,
    })
}

/// Records what the coach makes of a case: any of its forms.
pub(super) async fn judge(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let case = asked_for(&id)?;
    let mut request = LabelRequest::new(case, desk.coach.as_str());
    request.confirm = fields.all("confirm").map(str::to_owned).collect();
    request.reject = fields.all("reject").map(str::to_owned).collect();
    let severity = fields.value("severity", "How strong")?;
    let seen = fields.text("add").map(|fault| Graded { fault: fault.to_owned(), severity });
    request.add = seen.into_iter().collect();
    let first = fields.text("limiting");
    request.limiting = first.map(|fault| Graded { fault: fault.to_owned(), severity: None });
    request.grip = Grip {
        index_knuckle: fields.value("index_knuckle", "Index knuckle")?,
        heel_pad: fields.value("heel_pad", "Heel pad")?,
    };
    request.ball = ball(&fields)?;
    request.note = fields.words("note");
    let serve: Option<ServeId> = fields.value("serve", "The serve")?;
    let notices = desk.change(move |_, library| Ok(request.record(library)?)).await?;
    if notices.is_empty() {
        let back = serve.map(|serve| format!("/serve/{serve}#see"));
        return Ok(go_to(&back.unwrap_or_else(|| format!("/case/{case}"))));
    }
    let page = NoticesPage {
        frame: Frame::of(&desk, "Recorded"),
        back: case.to_string(),
        notices: notices.iter().map(ToString::to_string).collect(),
    };
    Ok(Html(page.render()?).into_response())
}

/// Takes back the last change of a case, if it still is the one the coach saw.
pub(super) async fn undo(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let case = asked_for(&id)?;
    let change: Option<ChangeId> = fields.value("change", "The change")?;
    desk.change(move |desk, library| {
        let last = last_change(library, &library.case(case)?)?.map(|change| change.id);
        if change.is_none() || last != change {
            let why = "Something was recorded since you looked; load the page again and see";
            return Err(Refusal::Said(why.to_owned()));
        }
        if let Some(change) = change {
            library.write(|writer| writer.undo(change, &desk.coach))?;
        }
        Ok(())
    })
    .await?;
    Ok(go_to(&format!("/case/{case}#history")))
}
