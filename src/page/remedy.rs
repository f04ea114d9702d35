//! How the next step of a refusal is said on the page: rooms say what to do, here it gets the name
//! of a question.

use crate::intake::{IntakeError, LookError};
use crate::library::Finding;
use crate::motion::Assumption;
use crate::remedy::Remedy;
use crate::video::ClipError;

use super::refusal::Refusal;
use super::uploads::Upload;

/// Why a file was assumed to say something, and where to say otherwise.
pub(super) fn assumed(one: &Assumption) -> String {
    let why = one.remedy().map_or_else(|| one.why.clone(), |remedy| ended(&one.why, &remedy));
    format!("{}: {} ({why})", one.what, one.taken)
}

/// Why a file could not be looked at, by the name the coach knows.
pub(super) fn unread(error: &LookError, file: &Upload) -> String {
    match error {
        LookError::Clip(
            error @ (ClipError::NotInstalled { .. }
            | ClipError::NoCache
            | ClipError::NoDecoder { .. }),
        ) => clip(error).why(),
        error => {
            let text = error.to_string();
            let text = error.remedy().map_or_else(|| text.clone(), |remedy| ended(&text, &remedy));
            named(&text, file)
        }
    }
}

/// Why a clip could not be read or made, in words without a path.
pub(super) fn clip(error: &ClipError) -> Refusal {
    Refusal::Said(match error {
        ClipError::Stopped { .. } => return Refusal::Stopped,
        ClipError::NotInstalled { .. } => {
            "Reading clips has to be set up once; the button for it stands on \"Add recordings\""
                .to_owned()
        }
        ClipError::NoDecoder { .. } => {
            "Clips are read and made with ffmpeg, which is not installed on this computer"
                .to_owned()
        }
        ClipError::NoVoice { said, .. } => {
            format!(
                "No voice is heard: {said}; look which microphone is chosen and record it again"
            )
        }
        ClipError::NotMade { .. } => {
            "The clip could not be made; it takes an ffmpeg that writes H.264 and AAC, and room on \
             the disk"
                .to_owned()
        }
        ClipError::NoCache => error.to_string(),
        _ => "The clip cannot be decoded; put a whole copy back where it was".to_owned(),
    })
}

/// Why a file was not stored.
pub(super) fn unstored(error: IntakeError, file: &Upload) -> String {
    match error {
        IntakeError::Look(error) => unread(&error, file),
        IntakeError::NoServe { reason, .. } => format!("no serve is in it: {reason}"),
        IntakeError::Write { source, .. } => Refusal::from(*source).why(),
        IntakeError::Store(error) => Refusal::from(error).why(),
    }
}

/// What the library's check found, with what to press about it.
pub(super) fn found(finding: &Finding) -> String {
    let text = finding.to_string();
    finding.remedy.as_ref().map_or_else(|| text.clone(), |remedy| ended(&text, remedy))
}

/// A text without where the file lies; whoever shows it names the file.
fn named(text: &str, file: &Upload) -> String {
    let begins = format!("{}: ", file.path.display());
    let named = text
        .strip_prefix(&begins)
        .unwrap_or(text)
        .replace(&file.path.display().to_string(), &file.name);
    let folder = file.path.parent().map(|folder| folder.display().to_string());
    folder.map_or_else(|| named.clone(), |folder| named.replace(&folder, ""))
}

/// A text with the remedy at its end as it is answered here.
fn ended(text: &str, remedy: &Remedy) -> String {
    match text.strip_suffix(&remedy.to_string()) {
        Some(before) => format!("{before}{}", question(remedy)),
        None => text.to_owned(),
    }
}

/// The button that takes back what was said of two clips.
pub(super) fn take_back(one: &str, other: &str) -> String {
    format!("Take back what was said of {one} and {other}")
}

fn question(remedy: &Remedy) -> String {
    let name = match remedy {
        Remedy::NameLayout { .. } | Remedy::AnotherLayout | Remedy::LayoutOfJoints => {
            "How the file is laid out"
        }
        Remedy::KeepWholeFrames | Remedy::DropLastRow | Remedy::DropLastFrame => {
            "Keep the whole frames of a file that was cut off"
        }
        Remedy::SayUp | Remedy::CorrectUp => "Axis that points up",
        Remedy::ChooseSubject { subjects } => {
            return format!("answer \"Which subject\" ({})", subjects.join(", "));
        }
        Remedy::ChoosePerson { people } => {
            return format!("answer \"Which person\", 1 to {people}");
        }
        Remedy::ChoosePersonAt { people } => {
            return format!("answer \"Which person\": {}", people.join(", "));
        }
        Remedy::SayRate | Remedy::CorrectRate | Remedy::RateForTimes => {
            "Frames a second in the file"
        }
        Remedy::SayCaptureRate => "Frames a second while filming",
        Remedy::CheckUnit => "Unit of length",
        Remedy::Mirror => "It is a mirror image",
        Remedy::SayHand => "Hand",
        Remedy::SayView => "Filmed from",
        Remedy::TakeBackSaid { one, other } => {
            return format!("press \"{}\"", take_back(one, other));
        }
        other => return other.to_string(),
    };
    format!("answer \"{name}\"")
}
