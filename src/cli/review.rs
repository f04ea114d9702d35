use std::io::Write;
use std::path::Path;

use anyhow::Context;

use super::args::{ReaderArg, ReviewArgs};
use super::face::Face;
use super::{Outcome, place};
use crate::library::{Filter, Library, ServeId};
use crate::report::{self, Audience, Wanted};

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
    write(&library, &Wanted { serve, k: args.k, filter }, audience, &args.output)?;
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
    let data = report::gather(library, &library.catalogue()?, wanted)?;
    let page = report::review(&data, audience);
    let folder = match output.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let mut file = tempfile::NamedTempFile::new_in(folder)
        .with_context(|| format!("{}: cannot be written to", folder.display()))?;
    file.write_all(page.as_bytes())?;
    file.persist(output).with_context(|| format!("{}", output.display()))?;
    Ok(())
}
