use std::path::Path;

use super::args::{ReaderArg, ReviewArgs};
use super::face::Face;
use super::{Outcome, place};
use crate::find::Filter;
use crate::library::{Library, ServeId};
use crate::pages::{self, Audience, Wanted};

pub(super) fn run(
    args: &ReviewArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    let library = place::for_reading(library)?;
    let serve: ServeId = place::id("serve", &args.serve)?;
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let audience = match args.reader {
        ReaderArg::Player => Audience::Player,
        ReaderArg::Coach => Audience::Coach,
    };
    write(
        &library,
        &Wanted { serve, k: args.k, filter, on: place::today() },
        audience,
        &args.output,
    )?;
    face.say(&format!("wrote {}", args.output.display()));
    Ok(Outcome::Found)
}

/// Writes one review; a file with that name is replaced only by a whole one.
pub(super) fn write(
    library: &Library,
    wanted: &Wanted,
    audience: Audience,
    output: &Path,
) -> anyhow::Result<()> {
    let data = pages::gather(library, &library.catalogue()?, wanted)?;
    place::write_whole(output, pages::review(&data, audience).as_bytes())
}
