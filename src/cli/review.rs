use std::fs;
use std::path::Path;

use anyhow::Context;

use super::args::{ReaderArg, ReviewArgs};
use super::chosen::{Chosen, Said, choose};
use super::output::Output;
use super::watch::Bars;
use super::{Exit, place};
use crate::find::Filter;
use crate::library::Library;
use crate::pages::{self, Audience, Reviewed, Wanted};
use crate::send::{self, Contents, Step};
use crate::words::Interface;
use crate::work::Watch;

pub(super) fn run(
    args: &ReviewArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let audience = match args.reader {
        ReaderArg::Player => Audience::Player,
        ReaderArg::Coach => Audience::Coach(Interface::Terminal),
    };
    let said = Said {
        serve: &args.serve,
        nth: args.nth,
        player: args.player.as_deref(),
        read: &args.read,
    };
    let Some(chosen) = choose(&said, &library, out)? else {
        return Ok(Exit::Nothing);
    };
    let serve = match &chosen {
        Chosen::Stored(id) => Reviewed::Stored(*id),
        Chosen::File { looked, nth, player } => {
            Reviewed::File { looked, nth: *nth, player: *player }
        }
    };
    let bars = Bars::new(0, out);
    let wanted = Wanted { serve, k: args.k, filter, on: place::today() };
    let watch = bars.watch();
    let data = pages::gather(&library, &library.catalogue()?, &wanted, &watch)?;
    let spoken = match (&args.spoken, &args.voice) {
        (Some(steps), Some(voice)) => {
            let text = fs::read_to_string(steps).with_context(|| steps.display().to_string())?;
            let steps = Step::parse(&text).with_context(|| steps.display().to_string())?;
            let clip = send::clip_of(&library, wanted.serve, &watch)?;
            Some(send::spoken(&clip, &steps, voice, &watch)?)
        }
        _ => None,
    };
    if let Some(output) = &args.output {
        match &spoken {
            Some(clip) => place::write_whole(output, clip)?,
            None => place::write_page(output, &pages::review(&data, audience), &watch)?,
        }
        bars.suspend(|| out.say(&format!("wrote {}", output.display())));
    }
    if let Some(output) = &args.bundle {
        let contents = Contents { wanted: &wanted, data: &data, spoken: spoken.as_deref() };
        let bundle = send::bundle(&library, &contents, &watch)?;
        place::write_whole(output, &bundle.bytes)?;
        bars.finish();
        for line in &bundle.left_out {
            out.complain(&line.to_string());
        }
        out.say(&format!("wrote {}: {}", output.display(), bundle.names.join(", ")));
    }
    Ok(Exit::Found)
}

/// Writes one review; a file with that name is replaced only by a whole one.
pub(super) fn write(
    library: &Library,
    wanted: &Wanted<'_>,
    audience: Audience,
    output: &Path,
    watch: &Watch,
) -> anyhow::Result<()> {
    let data = pages::gather(library, &library.catalogue()?, wanted, watch)?;
    place::write_page(output, &pages::review(&data, audience), watch)
}
