use serde::Serialize;

use super::Outcome;
use super::face::Face;
use crate::video::{Outcome as Piece, setup};

/// One piece, as `--json` prints it.
#[derive(Serialize)]
struct PieceObject<'a> {
    piece: &'a str,
    outcome: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<&'static str>,
}

pub(super) fn run(face: &mut Face) -> anyhow::Result<Outcome> {
    let report = setup(&mut |step| face.say(step))?;
    for step in &report.steps {
        let outcome = match step.outcome {
            Piece::AlreadyThere => "already there, checked",
            Piece::Fetched => "fetched, checked",
            Piece::Found => "found",
            Piece::Missing => "missing",
        };
        if face.json {
            face.object(&PieceObject { piece: &step.what, outcome, remedy: step.remedy })?;
        } else {
            let remedy = step.remedy.map(|remedy| format!("; {remedy}")).unwrap_or_default();
            face.line(&format!("{}: {outcome}{remedy}", step.what))?;
        }
    }
    face.say(&format!("kept in {}", report.folder.display()));
    if report.complete() {
        face.say("clips can be read now, without a network");
        Ok(Outcome::Found)
    } else {
        face.say("clips cannot be read yet: get what is missing and run this again");
        Ok(Outcome::SomeFailed)
    }
}
