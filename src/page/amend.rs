//! What the place for putting right asks for: amended, moved, removed, the last change taken back.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{Html, IntoResponse, Response};

use super::answers::{consent, squads};
use super::case::{NoticesPage, ball, go_to};
use super::desk::Desk;
use super::fields::Fields;
use super::plan::{Questions, cautions_of};
use super::put_right::asked_for;
use super::refusal::Refusal;
use crate::catalogue::Place;
use crate::coaching::{
    AmendRefusal, Amended, FollowUpAmendment, PlanAmendment, PlanRefusal, PlayerAmendment, Question,
};
use crate::intake::{self, Movable, RecordingAmendment};
use crate::library::{Author, ChangeId, ItemId, LeftCase, Library, Named, PlanId, Removal};

/// A field that may be emptied: what stands in it, or that it is not known.
fn anew<T>(value: Option<T>) -> Amended<T> {
    value.map_or(Amended::Cleared, Amended::To)
}

/// Puts right what an item says.
pub(super) async fn amend(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let item = asked_for(&id)?;
    let here = format!("/put-right/{id}");
    match item {
        ItemId::Player(player) => {
            let amendment = player_of(&fields)?;
            desk.change(move |desk, library| Ok(amendment.record(library, player, &desk.coach)?))
                .await?;
            return Ok(go_to(&format!("/player/{player}")));
        }
        ItemId::Recording(recording) => {
            let amendment = RecordingAmendment {
                date: fields.value("date", "Day")?,
                setting: fields.named("setting", "Setting")?,
                serve_type: fields.named("type", "Type of serve")?,
                view: fields.named("view", "Filmed from")?,
                hand: fields.named("hand", "Hand")?,
            };
            let change = move |desk: &Desk, library: &mut Library| {
                let catalogue = library.catalogue()?;
                let by = &desk.coach;
                intake::amend_recording(library, &catalogue, recording, &amendment, by)?;
                Ok(())
            };
            desk.change(change).await?;
        }
        ItemId::Plan(plan) => {
            let (amendment, sure) = (plan_of(&fields)?, answered(&fields));
            let recorded = desk.change(move |desk, library| {
                let by = desk.coach.clone();
                amend_plan(library, plan, amendment, &sure, &by)
            });
            if let Some((questions, cautions)) = recorded.await? {
                let asked = Questions {
                    action: format!("{here}/amend"),
                    back: here,
                    questions: questions.iter().map(ToString::to_string).collect(),
                    yes: "Yes",
                    cautions,
                };
                return asked.put(&desk, &fields);
            }
        }
        ItemId::FollowUp(answer) => {
            let amendment = follow_up_of(&fields)?;
            desk.change(move |desk, library| Ok(amendment.record(library, answer, &desk.coach)?))
                .await?;
        }
        ItemId::Case(_) | ItemId::Serve(_) | ItemId::Practice(_) => {
            return Err(Refusal::Said("Nothing here can be corrected on its own".to_owned()));
        }
    }
    Ok(go_to(&here))
}

/// Questions that were answered with yes, in their words.
pub(super) fn answered(fields: &Fields) -> Vec<String> {
    fields.all("sure").map(str::to_owned).collect()
}

/// What the coach is asked first, and what must be said with it.
type Asked = (Vec<Question>, Vec<String>);

fn amend_plan(
    library: &mut Library,
    plan: PlanId,
    amendment: PlanAmendment,
    answered: &[String],
    by: &Author,
) -> Result<Option<Asked>, Refusal> {
    match amendment.clone().record(library, plan, by) {
        Err(AmendRefusal::Plan(PlanRefusal::Unanswered(questions))) => {
            // A yes counts for the question it was given to, and for no other.
            if questions.iter().all(|question| answered.contains(&question.to_string())) {
                PlanAmendment { sure: questions, ..amendment }.record(library, plan, by)?;
                return Ok(None);
            }
            Ok(Some((questions, cautions_of(library, plan)?)))
        }
        recorded => Ok(recorded.map(|()| None)?),
    }
}

fn player_of(fields: &Fields) -> Result<PlayerAmendment, Refusal> {
    Ok(PlayerAmendment {
        code: fields.words("code"),
        name: anew(fields.words("name")),
        hand: anew(fields.named("hand", "Hand")?),
        level: anew(fields.named("level", "Level")?),
        born: anew(fields.value("born", "Born")?),
        stature_m: anew(fields.value("stature", "Height")?),
        squads: Some(squads(fields)),
        coach: anew(fields.words("coach")),
        consent: match fields.text("consent") {
            Some("none") => Amended::Cleared,
            said => said.and_then(consent).map_or(Amended::Kept, Amended::To),
        },
        consent_by: fields.named("consent_by", "Who agreed")?,
    })
}

fn plan_of(fields: &Fields) -> Result<PlanAmendment, Refusal> {
    let mut amendment = PlanAmendment {
        start: fields.value("start", "First day")?,
        review_on: anew(fields.value("review_on", "Next review")?),
        note: anew(fields.words("note")),
        ended: anew(fields.value("ended", "Ended on")?),
        ..PlanAmendment::default()
    };
    for (name, value) in fields.pairs() {
        if let Some(drill) = name.strip_prefix("dose-") {
            amendment.doses.push((drill.to_owned(), value.trim().to_owned()));
        }
        if let Some(drill) = name.strip_prefix("where-") {
            let unknown = || PlanRefusal::UnknownPlace { found: value.clone() };
            let place = Place::from_typed(value).ok_or_else(unknown)?;
            amendment.places.push((drill.to_owned(), place));
        }
    }
    Ok(amendment)
}

fn follow_up_of(fields: &Fields) -> Result<FollowUpAmendment, Refusal> {
    let ball = ball(fields)?;
    Ok(FollowUpAmendment {
        date: fields.value("date", "Day")?,
        no_speed: ball.speed_kmh.is_none(),
        no_first_serve: ball.first_serve_pct.is_none(),
        no_misses: ball.net.is_none() && ball.long.is_none() && ball.wide.is_none(),
        ball,
        rating: anew(fields.value("rating", "How it is now")?),
        sessions_done: anew(fields.value("sessions", "Sessions done")?),
        note: anew(fields.words("note")),
    })
}

/// Gives a recording or a serve to another player or day.
pub(super) async fn move_to(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let what = match asked_for(&id)? {
        ItemId::Recording(id) => Movable::Recording(id),
        ItemId::Serve(id) => Movable::Serve(id),
        _ => return Err(Refusal::Said("Only a recording or a serve can be moved".to_owned())),
    };
    let (code, date) = (fields.words("player"), fields.value("date", "Day")?);
    let moved = desk
        .change(move |desk, library| {
            let player = match &code {
                Some(code) => Some(library.player_by_code(code)?.id),
                None => None,
            };
            let catalogue = library.catalogue()?;
            Ok(intake::move_to(library, &catalogue, what, player, date, &desk.coach)?)
        })
        .await?;
    let as_before = moved.follow_ups.is_empty() && moved.unsaid_of.is_empty();
    if moved.left_case != LeftCase::KeptEmpty && as_before {
        return Ok(go_to(&format!("/case/{}", moved.joined)));
    }
    let mut notices = Vec::new();
    if moved.left_case == LeftCase::KeptEmpty {
        notices.push(
            "The session it came from has no serves now; it stays because of what you recorded \
             there"
                .to_owned(),
        );
    }
    notices.extend(moved.follow_ups.iter().map(|answer| {
        format!("Follow-up {answer} no longer names these serves: they would not answer its plan")
    }));
    notices.extend(moved.unsaid_of.iter().map(|other| {
        format!(
            "What was said of the serves that {other} shares with another clip no longer counts: they are not \
             of one day now"
        )
    }));
    let page = NoticesPage::of(&desk, moved.joined, notices);
    Ok(Html(page.render()?).into_response())
}

/// Removes something with what depends on it, which the page listed.
pub(super) async fn remove(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let item = asked_for(&id)?;
    let removal = match (item, fields.words("label"), fields.value("note", "Note")?) {
        (ItemId::Case(case), Some(fault), _) => {
            let by = Author::from_text(fields.text("by").unwrap_or_default());
            Removal::Label { case, fault, by }
        }
        (ItemId::Case(case), None, Some(number)) => Removal::Note { case, number },
        (ItemId::Recording(id), ..) => Removal::Recording(id),
        (ItemId::Serve(id), ..) => Removal::Serve(id),
        (ItemId::Plan(id), ..) => Removal::Plan(id),
        (ItemId::FollowUp(id), ..) => Removal::FollowUp(id),
        (ItemId::Practice(id), ..) => Removal::Practice(id),
        (ItemId::Case(_) | ItemId::Player(_), ..) => {
            return Err(Refusal::Said(
                "A session goes with its last serve, and a player is forgotten on the player's page"
                    .to_owned(),
            ));
        }
    };
    desk.change(move |desk, library| {
        let catalogue = library.catalogue()?;
        intake::remove(library, &catalogue, &removal, &desk.coach)?;
        Ok(())
    })
    .await?;
    Ok(go_to(&format!("/put-right/{id}")))
}

/// Takes back the last change of an item, if it still is the one the coach saw.
pub(super) async fn undo(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
    fields: Fields,
) -> Result<Response, Refusal> {
    let item = asked_for(&id)?;
    let seen: Option<ChangeId> = fields.value("change", "The change")?;
    desk.change(move |desk, library| {
        let last = library.last_change(item)?;
        match last {
            Some(change) if seen == last => {
                library.write(|writer| writer.undo(change, &desk.coach))?;
                Ok(())
            }
            _ => Err(Refusal::changed_meanwhile()),
        }
    })
    .await?;
    Ok(go_to(&format!("/put-right/{id}")))
}
