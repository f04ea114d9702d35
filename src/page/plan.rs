//! A plan for one fault of a case, and what came of it.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{Html, IntoResponse, Response};

use super::amend::answered;
use super::case::{NoticesPage, asked_for, ball, go_to};
use super::desk::{Desk, today};
use super::fields::{Asked, Fields};
use super::refusal::Refusal;
use super::view::{DrillView, Frame, cautions_for};
use crate::catalogue::{Catalogue, Drill, Place};
use crate::coaching::{
    DrillRequest, EndOfPlan, FollowUpRequest, PlanEndRequest, PlanRefusal, PlanRequest,
    PracticeRefusal, PracticeRequest, PractisedFor, Question, ShownDrill, harms, loads_sore,
    sore_on,
};
use crate::library::{CaseId, Library, Named, PlanId, ServeId};
use crate::words::{day, sentence};

/// A drill to choose, or why not to.
struct ChoiceView {
    drill: DrillView,
    /// Name of a fault it makes worse that counts here.
    worse: Option<String>,
}

#[derive(Template)]
#[template(path = "plan.html")]
struct Page {
    frame: Frame,
    case: String,
    player: String,
    day: String,
    fault: String,
    name: String,
    health: Option<String>,
    choices: Vec<ChoiceView>,
    /// Drills made for other faults: id and name.
    others: Vec<DrillView>,
    places: Vec<(&'static str, &'static str)>,
    today: String,
    /// Plans whose place this one may take: id and fault.
    replaceable: Vec<(String, String)>,
    cautions: Vec<String>,
}

#[derive(Template)]
#[template(path = "questions.html")]
struct QuestionsPage {
    frame: Frame,
    asked: Questions,
    /// What was filled in, to be sent once more.
    fields: Vec<(String, String)>,
}

/// What the coach is asked before something is recorded.
pub(super) struct Questions {
    /// Where the answers go, and where to go without them.
    pub(super) action: String,
    pub(super) back: String,
    pub(super) questions: Vec<String>,
    /// The answer with which it is recorded.
    pub(super) yes: &'static str,
    pub(super) cautions: Vec<String>,
}

impl Questions {
    /// The page that asks them, with everything that was filled in.
    pub(super) fn put(self, desk: &Desk, fields: &Fields) -> Result<Response, Refusal> {
        let said = fields.pairs().iter().filter(|(name, _)| name != "sure").cloned();
        let page = QuestionsPage {
            frame: Frame::of(desk, "Not recorded yet"),
            asked: self,
            fields: said.collect(),
        };
        Ok(Html(page.render()?).into_response())
    }
}

/// What to plan for a fault: the drills made for it, dose, place and days. Without a fault, back to where one
/// is chosen.
pub(super) async fn place(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    Asked(asked): Asked,
) -> Result<Response, Refusal> {
    desk.fetch(move |desk, library, _| {
        let case = library.case(asked_for(&id)?)?;
        if asked.text("fault").is_none() {
            return Ok(go_to(&format!("/case/{}#see", case.id)));
        }
        let player = library.player(case.player)?;
        let catalogue = library.catalogue()?;
        let wanted = asked.text("fault").unwrap_or_default();
        let fault = catalogue.fault(wanted).ok_or_else(|| Refusal::no_such("fault", wanted))?;
        // What loads a place that hurts is not offered.
        let sore = sore_on(library, player.id, today())?;
        let offered = |drill: &&Drill| !loads_sore(drill, &sore);
        let mut cautions = cautions_for(library, &catalogue, &player)?;
        cautions.fault(&catalogue, &fault.id);
        let choices =
            catalogue.drills_for(&fault.id).into_iter().filter(offered).map(|drill| ChoiceView {
                drill: DrillView::of(
                    &ShownDrill::of(&catalogue, &drill.id, &fault.id),
                    &mut cautions,
                ),
                worse: harms(drill, &case, &fault.id).map(|harm| catalogue.fault_name(&harm.worse)),
            });
        let choices = choices.collect();
        let others = catalogue
            .drills()
            .filter(|drill| !drill.faults.contains(&fault.id))
            .filter(offered)
            .map(|drill| DrillView::of(&ShownDrill::of(&catalogue, &drill.id, ""), &mut cautions));
        let others = others.collect();
        let all = library.cases(Some(player.id))?;
        let open = all.iter().rev().flat_map(|case| &case.plans);
        let open = open.filter(|plan| plan.ended.is_none());
        let page = Page {
            frame: Frame::of(desk, format!("Plan for {}", player.code)),
            case: case.id.to_string(),
            player: player.code.clone(),
            day: day(case.date),
            fault: fault.id.clone(),
            name: fault.name.clone(),
            health: fault.health_note.clone(),
            choices,
            others,
            places: Place::ALL.into_iter().map(|place| (place.name(), place.label())).collect(),
            today: today().to_string(),
            replaceable: open
                .map(|plan| {
                    let name = catalogue.fault_name(&plan.limiting_fault);
                    (plan.id.to_string(), format!("{name}, from {}", day(plan.start)))
                })
                .collect(),
            cautions: cautions.lines(),
        };
        Ok(Html(page.render()?).into_response())
    })
    .await
}

/// Records a plan, or puts the questions that come before it.
pub(super) async fn record(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let case = asked_for(&id)?;
    let mut request = request(&desk, case, &fields)?;
    let answered = answered(&fields);
    let asked = desk
        .change(move |_, library| match request.record(library) {
            Err(PlanRefusal::Unanswered(questions)) => {
                // A yes counts for the question it was given to, and for no other.
                let yes = |question: &Question| answered.contains(&question.to_string());
                if questions.iter().all(yes) {
                    request.sure = questions;
                    request.record(library)?;
                    return Ok(None);
                }
                let cautions = cautions(library, &library.catalogue()?, &request)?;
                Ok(Some((questions, cautions)))
            }
            recorded => recorded.map(|_| None).map_err(Refusal::from),
        })
        .await?;
    let Some((questions, cautions)) = asked else {
        return Ok(go_to(&format!("/case/{case}#plans")));
    };
    let asked = Questions {
        action: format!("/case/{case}/plan"),
        back: format!("/case/{case}/plan?fault={}", fields.text("fault").unwrap_or_default()),
        questions: questions.iter().map(ToString::to_string).collect(),
        yes: "Yes",
        cautions,
    };
    asked.put(&desk, &fields)
}

fn request(desk: &Desk, case: CaseId, fields: &Fields) -> Result<PlanRequest, Refusal> {
    let mut request = PlanRequest::new(case, fields.text("fault").unwrap_or_default());
    for drill in fields.all("drill") {
        let place = fields.text(&format!("where-{drill}")).map(|name| {
            let unknown = || PlanRefusal::UnknownPlace { found: name.to_owned() };
            Place::from_typed(name).ok_or_else(unknown)
        });
        request.drills.push(DrillRequest {
            drill: drill.to_owned(),
            dose: fields.words(&format!("dose-{drill}")),
            place: place.transpose()?,
        });
    }
    request.start = fields.value("start", "First day")?;
    request.review_on = fields.value("review_on", "Next review")?;
    request.note = fields.words("note");
    request.replaces = fields.value("replaces", "In place of")?;
    request.reason = fields.words("reason");
    request.coach = Some(desk.coach.to_string());
    Ok(request)
}

/// What must be said about the drills a plan asks for.
fn cautions(
    library: &Library,
    catalogue: &Catalogue,
    request: &PlanRequest,
) -> Result<Vec<String>, Refusal> {
    let player = library.player(library.case(request.case)?.player)?;
    let drills: Vec<ShownDrill> = request
        .drills
        .iter()
        .map(|wanted| ShownDrill::of(catalogue, &wanted.drill, &request.fault))
        .collect();
    Ok(cautions_for(library, catalogue, &player)?.with(&drills).lines())
}

/// Ends a plan or withdraws it.
pub(super) async fn end(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let plan = plan_asked_for(&id)?;
    let request = PlanEndRequest {
        plan,
        case: None,
        how: match fields.text("how") {
            Some("withdrawn") => EndOfPlan::Withdrawn,
            _ => EndOfPlan::Done,
        },
        day: fields.value("ended", "Last day")?.unwrap_or_else(today),
        by: desk.coach.to_string(),
        reason: fields.words("reason"),
    };
    let case = desk
        .change(move |_, library| {
            request.record(library)?;
            Ok(library.plan(plan)?.case)
        })
        .await?;
    Ok(go_to(&format!("/case/{case}#plan-{plan}")))
}

/// Logs practice that was done for a plan, or asks where it hurts.
pub(super) async fn practise(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let plan = plan_asked_for(&id)?;
    let day = fields.value("day", "Day")?.unwrap_or_else(today);
    let mut request = PracticeRequest {
        sessions: fields.value("sessions", "Sessions")?.unwrap_or(1),
        repetitions: fields.value("repetitions", "Repetitions")?,
        effort: fields.value("effort", "How hard")?,
        pain: fields.value("pain", "Pain")?,
        place: fields.named("where", "Where it hurts")?,
        note: fields.words("note"),
        by: Some(desk.coach.to_string()),
        ..PracticeRequest::new(PractisedFor::Plan(plan), day)
    };
    let answered = answered(&fields);
    let recorded = desk.change(move |_, library| {
        let case = library.plan(plan)?.case;
        let recorded = match request.record(library) {
            Err(PracticeRefusal::Unanswered(question)) => {
                if !answered.contains(&question.to_string()) {
                    let cautions = cautions_of(library, plan)?;
                    return Ok((case, Err((question.to_string(), cautions))));
                }
                request.sure.push(question);
                request.record(library)?
            }
            recorded => recorded?,
        };
        Ok((case, Ok(recorded.notices)))
    });
    let (case, recorded) = recorded.await?;
    match recorded {
        Ok(notices) if notices.is_empty() => Ok(go_to(&format!("/case/{case}#plan-{plan}"))),
        Ok(notices) => {
            let notices = notices.iter().map(|notice| sentence(&notice.to_string())).collect();
            Ok(Html(NoticesPage::of(&desk, case, notices).render()?).into_response())
        }
        Err((question, cautions)) => {
            let asked = Questions {
                action: format!("/plan/{plan}/practice"),
                back: format!("/case/{case}#plan-{plan}"),
                questions: vec![question],
                yes: "Nobody knows",
                cautions,
            };
            asked.put(&desk, &fields)
        }
    }
}

/// What must be said about the drills of a plan.
pub(super) fn cautions_of(library: &Library, plan: PlanId) -> Result<Vec<String>, Refusal> {
    let (catalogue, plan) = (library.catalogue()?, library.plan(plan)?);
    let player = library.player(library.case(plan.case)?.player)?;
    let drills = ShownDrill::of_plan(&catalogue, &plan);
    Ok(cautions_for(library, &catalogue, &player)?.with(&drills).lines())
}

fn plan_asked_for(id: &str) -> Result<PlanId, Refusal> {
    id.parse().map_err(|_: String| Refusal::no_such("plan", id))
}

/// Records what came of a plan.
pub(super) async fn follow_up(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let plan = plan_asked_for(&id)?;
    let day = fields.value("date", "Day")?.unwrap_or_else(today);
    let read = |text: &str| text.parse().map_err(|_: String| Refusal::no_such("serve", text));
    let request = FollowUpRequest {
        serves: fields.all("serve").map(read).collect::<Result<Vec<ServeId>, _>>()?,
        ball: ball(&fields)?,
        rating: fields.value("rating", "How it is now")?,
        sessions_done: fields.value("sessions", "Sessions done")?,
        note: fields.words("note"),
        ..FollowUpRequest::new(plan, day)
    };
    let case = desk
        .change(move |_, library| {
            let case = library.plan(plan)?.case;
            request.record(library)?;
            Ok(case)
        })
        .await?;
    Ok(go_to(&format!("/case/{case}#plan-{plan}")))
}
