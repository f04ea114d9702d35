//! A folder of clips taken in one go, by what their paths say.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Instant;

use super::args::AddArgs;
use super::output::{Output, count};
use super::watch::Bars;
use super::{Exit, add, place, remedy};
use crate::intake::{self, Batch, Became, PathPattern, Reading, Went};
use crate::library::{Waiting, check_born, check_past};

pub(super) fn run(
    args: &AddArgs,
    pattern: &PathPattern,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if let Some(date) = args.date {
        check_past("--date", date)?;
    }
    if let Some(born) = args.born {
        check_born("--born", born, args.date)?;
    }
    let files = intake::recordings_in(&args.files)?;
    // Of a folder what is no recording by its name is passed over.
    let meant = |file: &PathBuf| {
        args.files.contains(file) || file.is_dir() || intake::is_recording_name(file)
    };
    let files: Vec<PathBuf> = files.into_iter().filter(meant).collect();
    if files.is_empty() {
        out.say("no recording among the files and folders named");
        return Ok(Exit::Nothing);
    }
    let batch = Batch {
        files,
        pattern: Some(pattern.clone()),
        player: add::player(args.player.as_deref().unwrap_or_default(), args),
    };
    let (mut library, made) = place::for_adding(library)?;
    let bars = Bars::new(batch.files.len(), out);
    let how = Reading {
        context: add::context(args),
        readers: readers(args.jobs),
        watch_of: &|| bars.watch_beside(),
    };
    let began = Instant::now();
    let mut cases = BTreeSet::new();
    let taken = batch.take(&mut library, &how, &mut |file, became| {
        if let Became::Stored { taken, .. } = &became {
            cases.insert(taken.added.case);
        }
        bars.suspend(|| told(file, &became, out));
        bars.file_done();
    });
    bars.finish();
    add::same_serves(&library, &cases, out)?;
    let nothing = !matches!(&taken, Ok(went) if went.stored + went.had + went.waiting > 0);
    match (&made, nothing) {
        (Some(before), true) => place::take_back(library, before)?,
        (Some(_), false) => {
            out.say(&format!("made a new library in {}", library.folder().display()));
        }
        (None, _) => {}
    }
    let went = taken?;
    let minutes = began.elapsed().as_secs_f64() / 60.0;
    out.say(&format!(
        "{} in {minutes:.1} min: {}",
        count(batch.files.len(), "file"),
        summary(&went)
    ));
    Ok(exit(&went, out))
}

/// As many as there are processor cores, unless said.
pub(super) fn readers(asked: Option<usize>) -> usize {
    asked.unwrap_or_else(|| std::thread::available_parallelism().map_or(1, usize::from))
}

/// One file's fate, as data where it was stored, else as talk.
pub(super) fn told(file: &Path, became: &Became, out: &mut Output) {
    match became {
        Became::Stored { player, taken } => {
            // A reader of our output that went away ends nothing: the files are stored all the same.
            let _ = add::report(taken, file, player, out);
        }
        Became::Had => {}
        Became::Waits(waiting) => out.say(&format!("{}: {}", file.display(), asked(waiting))),
        Became::Failed(error) => {
            let told = remedy::spelled(error).unwrap_or_else(|| error.to_string());
            out.complain(&told);
        }
    }
}

fn asked(waiting: &Waiting) -> String {
    if waiting.asks.is_empty() {
        return format!("set aside as {}: {}", waiting.name(), waiting.why);
    }
    let asks: Vec<&str> = waiting.asks.iter().map(|asked| asked.label()).collect();
    format!("waits as {} ({}): {}", waiting.name(), asks.join(", "), waiting.why)
}

pub(super) fn summary(went: &Went) -> String {
    let mut parts = vec![format!("{} stored with {}", went.stored, count(went.serves, "serve"))];
    let others = [
        (went.had, "there before"),
        (went.waiting, "waiting or set aside"),
        (went.failed, "failed"),
    ];
    parts.extend(others.iter().filter(|one| one.0 > 0).map(|(n, what)| format!("{n} {what}")));
    parts.join(", ")
}

pub(super) fn exit(went: &Went, out: &mut Output) -> Exit {
    if went.waiting > 0 {
        out.say("what is asked: precedent list --questions; answer with precedent answer");
    }
    if went.stopped {
        out.say("stopped; begun again, it goes on from here");
        return Exit::SomeFailed;
    }
    if went.failed > 0 {
        return Exit::SomeFailed;
    }
    if went.serves + went.had > 0 { Exit::Found } else { Exit::Nothing }
}
