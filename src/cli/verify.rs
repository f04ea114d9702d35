use std::path::Path;

use super::args::VerifyArgs;
use super::output::{Output, count};
use super::watch::Bars;
use super::{Exit, place, remedy};
use crate::evidence::verify_outcomes;
use crate::find::InStep;

pub(super) fn run(
    args: &VerifyArgs,
    library: Option<&Path>,
    read_only: bool,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let mut library = if read_only {
        InStep::new(place::for_reading(library)?)
    } else {
        place::for_writing(library)?
    };
    let bars = Bars::new(0, out);
    let mut verified = library.verify(args.rebuild, &bars.watch())?;
    verified.findings.extend(verify_outcomes(&library, args.rebuild, &bars.watch())?);
    bars.finish();
    for finding in &verified.findings {
        out.line(&remedy::found(finding))?;
    }
    let checked = &verified.checked;
    out.say(&format!(
        "checked {}, {}, {}, {}, {}, {}{}",
        count(checked.players, "player"),
        count(checked.recordings, "recording"),
        count(checked.serves, "serve"),
        count(checked.cases, "case"),
        count(checked.plans, "plan"),
        count(checked.follow_ups, "follow-up"),
        if verified.rebuilt { "; rebuilt what is derived" } else { "" }
    ));
    super::retention::remind(&library, out)?;
    match verified.advice() {
        None => {
            out.say("the library is sound");
            Ok(Exit::Found)
        }
        Some(advice) => {
            out.complain(advice);
            Ok(Exit::SomeFailed)
        }
    }
}
