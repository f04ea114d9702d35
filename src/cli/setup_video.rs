use serde::Serialize;

use super::Exit;
use super::output::Output;
use super::watch::Bars;
use crate::video::{PieceState, setup};

/// One piece, as `--json` prints it.
#[derive(Serialize)]
struct PieceObject<'a> {
    piece: &'a str,
    outcome: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<&'static str>,
}

pub(super) fn run(out: &mut Output) -> anyhow::Result<Exit> {
    let bars = Bars::new(0, out);
    let report = setup(&mut |step| bars.suspend(|| out.say(step)), &bars.watch())?;
    bars.finish();
    for step in &report.steps {
        let outcome = match step.outcome {
            PieceState::AlreadyThere => "already there, checked",
            PieceState::Fetched => "fetched, checked",
            PieceState::Found => "found",
            PieceState::Missing => "missing",
        };
        if out.json {
            out.object(&PieceObject { piece: &step.what, outcome, remedy: step.remedy })?;
        } else {
            let remedy = step.remedy.map(|remedy| format!("; {remedy}")).unwrap_or_default();
            out.line(&format!("{}: {outcome}{remedy}", step.what))?;
        }
    }
    out.say(&format!("kept in {}", report.folder.display()));
    if report.complete() {
        out.say("clips can be read now, without a network");
        Ok(Exit::Found)
    } else {
        out.say("clips cannot be read yet: get what is missing and run this again");
        Ok(Exit::SomeFailed)
    }
}
