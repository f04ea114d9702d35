use std::fs::File;
use std::io::BufWriter;
use std::path::Path;

use anyhow::{Context as _, bail};
use jiff::civil::Date;

use super::args::DemoArgs;
use super::face::Face;
use super::{Outcome, add, like, review};
use crate::demo::{self, Scenario};
use crate::intake::{self, Context};
use crate::library::{Filter, Library, OpenError, Player, ServeType, Setting};
use crate::matcher::{self, Query, Subject};
use crate::report::{Audience, Wanted};

/// The new serve, as a file: the way from a file is part of what the demo shows.
const NEW_SERVE: &[u8] = include_bytes!("../../demo-data/new-serve.c3d");
const NEW_SERVE_NAME: &str = "new-serve.c3d";
/// The day the new serve comes in.
const NEW_SERVE_DAY: Date = jiff::civil::date(2026, 3, 14);

pub(super) fn run(args: &DemoArgs, face: &mut Face) -> anyhow::Result<Outcome> {
    if let (Some(count), Some(output)) = (args.curves, &args.output) {
        return curves(count, args.seed, output, face);
    }
    let folder = &args.into;
    std::fs::create_dir_all(folder).with_context(|| format!("{}", folder.display()))?;
    let mut library = academy(&folder.join("library"), face)?;
    let file = folder.join(NEW_SERVE_NAME);
    std::fs::write(&file, NEW_SERVE).with_context(|| format!("{}", file.display()))?;

    let player = newcomer(&mut library)?;
    let context = Context {
        date: Some(NEW_SERVE_DAY),
        setting: Some(Setting::Target),
        serve_type: Some(ServeType::Flat),
        ..Context::default()
    };
    let catalogue = library.catalogue()?;
    let taken = intake::take(&mut library, &catalogue, &player, &file, &context)?;
    face.say(&format!("{}: {}", file.display(), taken.summary));
    let Some(&serve) = taken.added.serves.first() else {
        bail!("{}: no serve in it", file.display());
    };
    face.line(&format!("Who served like {serve} ({}, {NEW_SERVE_DAY}) before?", player.code))?;
    face.line("")?;
    let query = Query { one_each: true, ..Query::new(Subject::Stored(serve), 5) };
    let answer = matcher::like(&library, &query)?;
    like::show(&answer, &catalogue, face)?;

    let wanted = Wanted { serve, k: 9, filter: Filter::default() };
    for (audience, name) in
        [(Audience::Player, "review.html"), (Audience::Coach, "review-coach.html")]
    {
        let page = folder.join(name);
        review::write(&library, &wanted, audience, &page)?;
        face.say(&format!("wrote {}", page.display()));
    }
    Ok(if answer.precedents.is_empty() { Outcome::Nothing } else { Outcome::Found })
}

/// The invented academy's library, built if it is not there yet.
fn academy(folder: &Path, face: &mut Face) -> anyhow::Result<Library> {
    match Library::open(folder) {
        Ok(library) => {
            face.say(&format!("{}: using the library that is there", folder.display()));
            return Ok(library);
        }
        Err(OpenError::Missing { .. }) => {}
        Err(error) => return Err(error.into()),
    }
    // Built beside its place and moved there whole, so that a stopped demo leaves no half library.
    let parent = folder.parent().unwrap_or(Path::new("."));
    let making = tempfile::Builder::new().prefix(".building-").tempdir_in(parent)?;
    let mut library = Library::create(making.path())?;
    let scenario = Scenario::shipped()?;
    let progress = add::progress(usize::MAX, face);
    progress.set_message("inventing an academy's year");
    let built = demo::build(&mut library, &scenario, |done, of| {
        progress.set_length(of as u64);
        progress.set_position(done as u64);
    })?;
    progress.finish_and_clear();
    drop(library);
    std::fs::rename(making.path(), folder).with_context(|| format!("{}", folder.display()))?;
    let _ = making.keep();
    let library = Library::open(folder)?;
    face.say(&format!(
        "an invented academy: {} of {} planted serves found, {} taken for serves that are none",
        built.found, built.planted, built.invented
    ));
    if !face.json {
        face.line(&like::holdings(&library)?)?;
        face.line("")?;
    }
    Ok(library)
}

fn newcomer(library: &mut Library) -> anyhow::Result<Player> {
    let mut player = demo::new_player();
    match library.player_by_code(&player.code) {
        Ok(known) => Ok(known),
        Err(_) => {
            player.id = library.write(|writer| writer.add_player(&player))?;
            Ok(player)
        }
    }
}

fn curves(count: usize, seed: u64, output: &Path, face: &mut Face) -> anyhow::Result<Outcome> {
    let file = File::create(output).with_context(|| format!("{}", output.display()))?;
    let progress = add::progress(count, face);
    demo::write_npy(count, seed, BufWriter::new(file), |done| progress.set_position(done as u64))?;
    progress.finish_and_clear();
    face.say(&format!("wrote {count} curves to {}", output.display()));
    Ok(Outcome::Found)
}
