use std::path::Path;

use anyhow::bail;

use super::args::ExportArgs;
use super::output::{Output, count};
use super::watch::Bars;
use super::{Exit, place};
use crate::exchange;
use crate::find::Filter;
use crate::library::Library;
use crate::pages::{export_person, handing_over};

pub(super) fn run(
    args: &ExportArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
    if let Some(code) = &args.player {
        return player(code, &args.output, &library, out);
    }
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let selection = library.select(&filter)?;
    if let Some(why) = selection.why_empty() {
        out.say(&why);
        return Ok(Exit::Nothing);
    }
    let sets = exchange::export(&library, &selection.serves, &args.output)?;
    out.say(&format!(
        "{} to {}: serves.csv, measures.csv, {}",
        count(selection.serves.len(), "serve"),
        args.output.display(),
        sets.join(", ")
    ));
    Ok(Exit::Found)
}

/// All that is stored of one player.
fn player(code: &str, output: &Path, library: &Library, out: &mut Output) -> anyhow::Result<Exit> {
    let who = library.player_by_code(code)?;
    if output.is_dir() {
        bail!("{}: is a folder; name a ZIP file in it", output.display());
    }
    let day = place::today();
    let bars = Bars::new(0, out);
    let written = export_person(library, who.id, output, day, &bars.watch())?;
    bars.finish();
    if out.json {
        out.object(&serde_json::json!({
            "player": who.code,
            "recordings": written.recordings,
            "serves": written.serves,
            "cases": written.cases,
            "clips": written.clips,
            "changes": written.changes,
            "consent": who.consent,
        }))?;
    }
    for note in &written.notes {
        out.complain(note);
    }
    out.say(&format!(
        "everything stored about {} to {}: {}; nothing about others",
        who.code,
        output.display(),
        written.describe(),
    ));
    for line in handing_over(&who, day) {
        out.say(&line);
    }
    Ok(if written.notes.is_empty() { Exit::Found } else { Exit::SomeFailed })
}
