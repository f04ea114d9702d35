use std::path::Path;

use super::args::VerifyArgs;
use super::face::{Face, count};
use super::watch::Bars;
use super::{Outcome, place};
use crate::find::InStep;

pub(super) fn run(
    args: &VerifyArgs,
    library: Option<&Path>,
    read_only: bool,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let mut library = if read_only {
        InStep::new(place::for_reading(library)?)
    } else {
        place::for_writing(library)?
    };
    let bars = Bars::new(0, face);
    let verified = library.verify(args.rebuild, &bars.watch())?;
    bars.finish();
    for finding in &verified.findings {
        face.line(&finding.to_string())?;
    }
    let checked = &verified.checked;
    face.say(&format!(
        "checked {}, {}, {}, {}, {}, {}{}",
        count(checked.players, "player"),
        count(checked.recordings, "recording"),
        count(checked.serves, "serve"),
        count(checked.cases, "case"),
        count(checked.plans, "plan"),
        count(checked.follow_ups, "follow-up"),
        if verified.rebuilt { "; rebuilt the curve and word indexes" } else { "" }
    ));
    if verified.is_sound() {
        face.say("the library is sound");
        Ok(Outcome::Found)
    } else {
        face.complain("the library is damaged: restore it from a copy, or remove what is named");
        Ok(Outcome::SomeFailed)
    }
}
