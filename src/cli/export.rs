use std::path::Path;

use super::args::ExportArgs;
use super::face::{Face, count};
use super::{Outcome, place};
use crate::exchange;
use crate::find::Filter;

pub(super) fn run(
    args: &ExportArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let library = place::for_reading(library)?;
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let selection = library.select(&filter)?;
    if let Some(why) = selection.why_empty() {
        face.say(&why);
        return Ok(Outcome::Nothing);
    }
    let sets = exchange::export(&library, &selection.serves, &args.output)?;
    face.say(&format!(
        "{} to {}: serves.csv, measures.csv, {}",
        count(selection.serves.len(), "serve"),
        args.output.display(),
        sets.join(", ")
    ));
    Ok(Outcome::Found)
}
