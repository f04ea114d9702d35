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
use crate::coaching::{BallReport, Graded, LabelRefusal, LabelRequest, aches_from_typed};
use crate::library::{CaseId, ChangeId, CheckIn, Grip, ServeId};

/// Places that hurt a form asks for.
pub(super) const ACHES: u8 = 3;

/// What the coach should know after something was recorded.
#[derive(Template)]
#[template(path = "notices.html")]
pub(super) struct NoticesPage {
    frame: Frame,
    back: String,
    notices: Vec<String>,
}

impl NoticesPage {
    pub(super) fn of(desk: &Desk, case: CaseId, notices: Vec<String>) -> Self {
        Self { frame: Frame::of(desk, "Recorded"), back: case.to_string(), notices }
    }
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

/// What the player told, which no clip shows.
fn told(fields: &Fields) -> Result<CheckIn, Refusal> {
    let mut pain: Vec<String> = Vec::new();
    pain.extend(fields.text("no_pain").map(|_| "none".to_owned()));
    for row in 1..=ACHES {
        let part = |name: &str| fields.words(&format!("{name}{row}"));
        if let Some(place) = part("ache") {
            let level = part("level").map(|level| format!("={level}")).unwrap_or_default();
            let when = part("when").map(|when| format!("@{when}")).unwrap_or_default();
            pain.push(format!("{place}{level}{when}"));
        }
    }
    let pain = aches_from_typed(pain.iter().map(String::as_str)).map_err(LabelRefusal::from)?;
    Ok(CheckIn {
        pain,
        injuries: fields.words("injuries"),
        serves_a_week: fields.value("serves_a_week", "Serves a week")?,
        tennis_hours: fields.value("tennis_hours", "Hours of tennis")?,
        sport_hours: fields.value("sport_hours", "Hours of all sports")?,
        attempt: fields.named("attempt", "First or second serves")?,
        court: fields.named("court", "From the side")?,
        target: fields.named("target", "Meant to go")?,
        wide_left: fields.value("wide_left", "Wide on the left")?,
        wide_right: fields.value("wide_right", "Wide on the right")?,
        double_faults: fields.value("double_faults", "Double faults")?,
        by: None,
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
    request.check_in = told(&fields)?;
    request.note = fields.words("note");
    let serve: Option<ServeId> = fields.value("serve", "The serve")?;
    let notices = desk.change(move |_, library| Ok(request.record(library)?)).await?;
    if notices.is_empty() {
        let back = serve.map(|serve| format!("/serve/{serve}#see"));
        return Ok(go_to(&back.unwrap_or_else(|| format!("/case/{case}"))));
    }
    let notices = notices.iter().map(ToString::to_string).collect();
    let page = NoticesPage::of(&desk, case, notices);
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
            return Err(Refusal::changed_meanwhile());
        }
        if let Some(change) = change {
            library.write(|writer| writer.undo(change, &desk.coach))?;
        }
        Ok(())
    })
    .await?;
    Ok(go_to(&format!("/case/{case}#history")))
}
