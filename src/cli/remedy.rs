//! How the next step of a refusal is typed on a command line. Rooms say what to do; only here does
//! it get the name of an option.

use std::error::Error;

use crate::coaching::{
    AmendRefusal, FollowUpRefusal, HarmShown, LabelRefusal, MarkRefusal, PlanEndRefusal,
    PlanRefusal, PlayerRefusal, PracticeRefusal,
};
use crate::intake::{AnswerRefusal, IntakeError, LookError};
use crate::library::{Finding, OpenError, StoreError, WriteError};
use crate::motion::{Assumption, ReadError};
use crate::remedy::Remedy;
use crate::squad::SquadError;
use crate::video::ClipError;

/// Options behind the fields of what is recorded, by command.
const RECORDED: &[(&str, &str)] = &[
    ("start", "--start"),
    ("review_on", "--review-on"),
    ("ended", "--on"),
    ("date", "--date"),
    ("serves", "--serve"),
    ("speed_kmh", "--speed"),
    ("first_serve_pct", "--first-serve"),
    ("rating", "--rating"),
    ("note", "--note"),
    ("coach", "--coach"),
    ("by", "--coach"),
    ("born", "--born"),
    ("stature_m", "--stature"),
    ("tennis_hours", "--tennis-hours"),
    ("sport_hours", "--sport-hours"),
    ("squad", "--squad"),
    ("code", "--player"),
];

/// The text of one error with its next step as it is typed, if it has one.
pub(super) fn spelled(error: &(dyn Error + 'static)) -> Option<String> {
    if let Some(refusal) = error.downcast_ref::<LabelRefusal>() {
        return label(refusal);
    }
    if let Some(AnswerRefusal::NoSuch { .. }) = error.downcast_ref::<AnswerRefusal>() {
        return Some(format!("{error} (list --questions)"));
    }
    if let Some(refusal) = error.downcast_ref::<PlanRefusal>() {
        return plan(refusal);
    }
    if let Some(refusal) = error.downcast_ref::<AmendRefusal>() {
        return match refusal {
            AmendRefusal::Plan(PlanRefusal::Unanswered(_)) => {
                Some(format!("{refusal} If so, add --sure"))
            }
            AmendRefusal::Plan(_) => Some(format!("--dose: {refusal}")),
            AmendRefusal::Write(error) => field(error),
            _ => None,
        };
    }
    if let Some(refusal) = error.downcast_ref::<FollowUpRefusal>() {
        return match refusal {
            FollowUpRefusal::NothingSaid { .. } => Some(format!(
                "{refusal} (--serve, --speed, --first-serve, --net, --long, --wide, --rating, \
                 --sessions or --note)"
            )),
            FollowUpRefusal::Write(error) => field(error),
        };
    }
    if let Some(refusal) = error.downcast_ref::<PlanEndRefusal>() {
        return match refusal {
            PlanEndRefusal::NoReason { .. } => Some(format!("--reason: {refusal}")),
            PlanEndRefusal::Write(error) => field(error),
            _ => None,
        };
    }
    if let Some(refusal) = error.downcast_ref::<PracticeRefusal>() {
        return practice(refusal);
    }
    if let Some(MarkRefusal::Write(error)) = error.downcast_ref::<MarkRefusal>() {
        return field(error);
    }
    if let Some(PlayerRefusal::Write(error)) = error.downcast_ref::<PlayerRefusal>() {
        return field(error);
    }
    let remedy = remedy(error)?;
    Some(ended(&error.to_string(), &remedy))
}

/// Why something was assumed, and how to say otherwise.
pub(super) fn why(assumed: &Assumption) -> String {
    assumed.remedy().map_or_else(|| assumed.why.clone(), |remedy| ended(&assumed.why, &remedy))
}

/// What a check found, and what to type about it.
pub(super) fn found(finding: &Finding) -> String {
    let text = finding.to_string();
    finding.remedy.as_ref().map_or_else(|| text.clone(), |remedy| ended(&text, remedy))
}

fn remedy(error: &(dyn Error + 'static)) -> Option<Remedy> {
    if let Some(error) = error.downcast_ref::<ReadError>() {
        return error.kind.remedy();
    }
    if let Some(error) = error.downcast_ref::<ClipError>() {
        return error.remedy();
    }
    if let Some(error) = error.downcast_ref::<LookError>() {
        return error.remedy();
    }
    if let Some(IntakeError::Look(error)) = error.downcast_ref::<IntakeError>() {
        return error.remedy();
    }
    if let Some(error) = error.downcast_ref::<OpenError>() {
        return error.remedy();
    }
    if let Some(error) = error.downcast_ref::<StoreError>() {
        return error.remedy();
    }
    let map = error.downcast_ref::<SquadError>();
    map.filter(|error| matches!(error, SquadError::Map { .. })).map(|_| Remedy::LeaveOutOdd)
}

/// A text with the remedy at its end as it is typed here.
fn ended(text: &str, remedy: &Remedy) -> String {
    match text.strip_suffix(&remedy.to_string()) {
        Some(before) => format!("{before}{}", option(remedy)),
        None => text.to_owned(),
    }
}

/// A remedy as it is typed here.
fn option(remedy: &Remedy) -> String {
    match remedy {
        Remedy::NameLayout { layouts } => format!("name one with --layout ({layouts})"),
        Remedy::ChooseSubject { subjects } => {
            format!("choose one with --subject ({})", subjects.join(", "))
        }
        Remedy::ChoosePerson { people } => format!("choose one with --person 1 to {people}"),
        Remedy::ChoosePersonAt { people } => {
            format!("choose one with --person N: {}", people.join(", "))
        }
        Remedy::AnotherLayout => "name another --layout".to_owned(),
        Remedy::LayoutOfJoints => "if it holds joints despite its name, give --layout".to_owned(),
        Remedy::KeepWholeFrames | Remedy::DropLastRow | Remedy::DropLastFrame => {
            format!("{remedy} with --trim")
        }
        Remedy::NameJoints => format!("{remedy}, with --joints"),
        Remedy::CorrectJoints => "correct --joints".to_owned(),
        Remedy::SayUp => "say it with --up x, y or z".to_owned(),
        Remedy::CorrectUp => "correct --up".to_owned(),
        Remedy::GiveRegion => "give --region around the player".to_owned(),
        Remedy::SayRate | Remedy::CorrectRate => format!("{remedy} with --rate"),
        Remedy::RateForTimes => "give --rate and leave the time out".to_owned(),
        Remedy::SayCaptureRate => "give --capture-rate HZ".to_owned(),
        Remedy::SayPictureSize => format!("{remedy} with --picture WIDTHxHEIGHT"),
        Remedy::CheckUnit => format!("{remedy} with --unit"),
        Remedy::Mirror => "swap them with --mirror if they are".to_owned(),
        Remedy::SayHand => "say --hand if you know".to_owned(),
        Remedy::SayView => "say --view behind, side, front or diagonal if you know".to_owned(),
        Remedy::LeaveOutOdd => format!("{remedy} with --where"),
        Remedy::Rebuild => "run `verify --rebuild`".to_owned(),
        Remedy::ReadOnly => "--read-only".to_owned(),
        Remedy::TakeBackSaid { one, other } => {
            format!("take it back with `precedent views {one} {other} --clear`")
        }
    }
}

fn label(refusal: &LabelRefusal) -> Option<String> {
    match refusal {
        LabelRefusal::ProgramsVoice => Some(format!("--coach: {refusal}")),
        LabelRefusal::NotSuspected { fault, .. } => Some(format!("{refusal} (--add {fault}=0.5)")),
        LabelRefusal::CheckIn(told) => {
            Some(format!("--{}: {refusal}", told.field().replace('_', "-")))
        }
        LabelRefusal::Write(error) => field(error),
        _ => None,
    }
}

fn plan(refusal: &PlanRefusal) -> Option<String> {
    match refusal {
        PlanRefusal::UnknownDrill { .. }
        | PlanRefusal::UnknownPlace { .. }
        | PlanRefusal::Twice { .. }
        | PlanRefusal::Dose { .. } => Some(format!("--drill: {refusal}")),
        PlanRefusal::Sore { .. } => {
            Some(format!("--drill: {refusal} (label CASE --pain none, or log PLAN --pain 0)"))
        }
        PlanRefusal::Harmful { case, harm } if harm.shown == HarmShown::Labelled => {
            Some(format!("--drill: {refusal} (label {case} --reject {})", harm.worse))
        }
        PlanRefusal::Harmful { .. } => Some(format!("--drill: {refusal}")),
        PlanRefusal::Unanswered(_) => Some(format!("{refusal} If so, add --sure")),
        PlanRefusal::Write(error) => field(error),
        _ => None,
    }
}

fn practice(refusal: &PracticeRefusal) -> Option<String> {
    let option = match refusal {
        PracticeRefusal::BeforeStart { .. }
        | PracticeRefusal::AfterEnd { .. }
        | PracticeRefusal::NotYet { .. } => "--day",
        PracticeRefusal::Sessions { .. } => "--sessions",
        PracticeRefusal::Effort { .. } => "--effort",
        PracticeRefusal::Pain { .. } => "--pain",
        PracticeRefusal::NoPain { .. } => "--where",
        PracticeRefusal::Unanswered(_) => {
            return Some(format!("{refusal} Give --where, or --sure if nobody knows"));
        }
        PracticeRefusal::Write(error) => return field(error),
        _ => return None,
    };
    Some(format!("{option}: {refusal}"))
}

/// A value that breaks a rule, by the option it was given with.
fn field(error: &WriteError) -> Option<String> {
    let WriteError::Invalid { field, found, rule } = error else { return None };
    let (_, option) = RECORDED.iter().find(|(known, _)| known == field)?;
    Some(format!("{option}: {found}; {rule}"))
}
