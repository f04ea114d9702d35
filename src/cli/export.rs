use std::path::Path;

use super::args::ExportArgs;
use super::output::{Output, count};
use super::{Exit, place};
use crate::exchange;
use crate::find::Filter;

pub(super) fn run(
    args: &ExportArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
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
