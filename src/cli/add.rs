use std::path::{Path, PathBuf};

use anyhow::{Context as _, anyhow, bail};
use serde::Serialize;

use super::args::{AddArgs, ConsentArg};
use super::face::{Face, count};
use super::watch::Bars;
use super::{Outcome, place, remedy};
use crate::coaching::{ConsentGiven, PlayerRecorded, PlayerRequest};
use crate::intake::table_template;
use crate::intake::{self, Context, Taken};
use crate::library::{Library, Player, check_born, check_past};
use crate::work::is_stop;

/// One file's fate, as `--json` prints it.
#[derive(Serialize)]
struct FileObject<'a> {
    file: String,
    new: bool,
    recording: String,
    case: String,
    serves: Vec<String>,
    player: &'a str,
    date: String,
}

pub(super) fn run(
    args: &AddArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
    if let Some(file) = &args.template {
        return template(file, face);
    }
    if let Some(file) = &args.table {
        return table(file, library, face);
    }
    // The parser asks for it where there is neither table nor template.
    let code = args.player.as_deref().context("--player: give the player's code")?;
    if let Some(date) = args.date {
        check_past("--date", date)?;
    }
    if let Some(born) = args.born {
        check_born("--born", born, args.date)?;
    }
    let files = intake::recordings_in(&args.files)?;
    if files.is_empty() {
        face.say("no recording among the files and folders named");
        return Ok(Outcome::Nothing);
    }
    let (mut library, made) = place::for_adding(library)?;
    let stored = store(&files, code, args, &mut library, face);
    match (&stored, &made) {
        (Ok(Stored { done: 0, .. }), Some(before)) => {
            place::take_back(library, before)?;
        }
        (Err(_), Some(before)) => place::take_back(library, before)?,
        (Ok(_), Some(_)) => {
            face.say(&format!("made a new library in {}", library.folder().display()));
        }
        (_, None) => {}
    }
    let Stored { done, failed, serves, stopped } = stored?;
    if stopped {
        face.say(&format!("stopped after {done} of {}", count(files.len(), "file")));
        return Ok(Outcome::SomeFailed);
    }
    if failed > 0 {
        face.say(&format!(
            "{failed} of {} failed and left nothing behind; the others are stored",
            count(files.len(), "file")
        ));
        return Ok(Outcome::SomeFailed);
    }
    Ok(if serves > 0 { Outcome::Found } else { Outcome::Nothing })
}

/// How a batch went.
struct Stored {
    done: usize,
    failed: usize,
    serves: usize,
    stopped: bool,
}

fn store(
    files: &[PathBuf],
    code: &str,
    args: &AddArgs,
    library: &mut Library,
    face: &mut Face,
) -> anyhow::Result<Stored> {
    let catalogue = library.catalogue()?;
    let PlayerRecorded { player, new: new_player } = player(code, args).record(library)?;
    let bars = Bars::new(files.len(), face);
    let context = Context {
        read: args.read.options(),
        clip: args.read.clip(),
        keep_clip: args.keep_clip,
        date: args.date,
        setting: args.setting.map(Into::into),
        serve_type: args.serve_type.map(Into::into),
    };
    let watch = bars.watch();
    let mut stored = Stored { done: 0, failed: 0, serves: 0, stopped: false };
    for file in files {
        if watch.is_stopped() {
            stored.stopped = true;
            break;
        }
        bars.file(file);
        match intake::take(library, &catalogue, &player, file, &context, &watch) {
            Ok(taken) => {
                stored.done += 1;
                stored.serves += taken.added.serves.len();
                bars.suspend(|| report(&taken, file, &player, face))?;
            }
            Err(error) => {
                stored.stopped = is_stop(&error);
                stored.failed += usize::from(!stored.stopped);
                let told = remedy::spelled(&error).unwrap_or_else(|| error.to_string());
                bars.suspend(|| face.complain(&told));
                if stored.stopped {
                    break;
                }
            }
        }
        bars.file_done();
    }
    bars.finish();
    if new_player && stored.done == 0 {
        // Unless another process has added for the same player meanwhile.
        library.write(|writer| writer.remove_idle_player(player.id))?;
    } else if new_player {
        face.say(&format!("new player {}", player.code));
    }
    Ok(stored)
}

/// Writes the template of a table where there is no file yet.
fn template(file: &Path, face: &mut Face) -> anyhow::Result<Outcome> {
    if file.exists() {
        bail!("{}: exists already; name a new file", file.display());
    }
    place::write_whole(file, table_template().as_bytes())?;
    face.say(&format!(
        "wrote {}: replace the two example rows, then: precedent add --table {0}",
        file.display()
    ));
    Ok(Outcome::Found)
}

/// Past players and cases from a table; all of it or nothing.
fn table(file: &Path, library: Option<&Path>, face: &mut Face) -> anyhow::Result<Outcome> {
    let csv = std::fs::read(file)
        .map_err(|error| anyhow!("{}: cannot be read: {}", file.display(), error.kind()))?;
    let (mut library, made) = place::for_adding(library)?;
    let added = match library.add_table(&csv) {
        Ok(added) => added,
        Err(error) => {
            if let Some(before) = &made {
                place::take_back(library, before)?;
            }
            bail!("{}: {error}; nothing is stored", file.display());
        }
    };
    if face.json {
        face.object(&added)?;
    } else {
        face.line(&format!(
            "{}: {} read; new: {}, {}, {}, {}",
            file.display(),
            count(added.rows, "row"),
            count(added.players, "player"),
            count(added.cases, "case"),
            count(added.plans, "plan"),
            count(added.follow_ups, "follow-up")
        ))?;
        for note in &added.notes {
            face.complain(&note.to_string());
        }
    }
    Ok(if added.rows > 0 { Outcome::Found } else { Outcome::Nothing })
}

fn report(taken: &Taken, file: &Path, player: &Player, face: &mut Face) -> anyhow::Result<()> {
    let added = &taken.added;
    let serves: Vec<String> = added.serves.iter().map(ToString::to_string).collect();
    if added.new {
        face.say(&format!("{}: {}", file.display(), taken.summary));
        for assumed in &taken.assumptions {
            face.say(&format!(
                "assumed {}: {} ({})",
                assumed.what,
                assumed.taken,
                remedy::why(assumed)
            ));
        }
        if taken.date_assumed {
            face.say(&format!("assumed date: {} (the file's own; give --date)", taken.date));
        }
        for refusal in &taken.refused {
            face.say(&format!(
                "frames {} to {}: no serve: {}",
                refusal.frames.0, refusal.frames.1, refusal.reason
            ));
        }
    }
    if added.consent_open {
        face.say(&format!(
            "consent of {} is not recorded; record it with --consent keep or --consent share",
            player.code
        ));
    }
    if face.json {
        return face.object(&FileObject {
            file: file.display().to_string(),
            new: added.new,
            recording: added.recording.to_string(),
            case: added.case.to_string(),
            serves,
            player: &player.code,
            date: taken.date.to_string(),
        });
    }
    let what = if added.new { "stored" } else { "already stored" };
    face.line(&format!(
        "{what} {} as {} in case {} of {}: {}",
        file.display(),
        added.recording,
        added.case,
        player.code,
        serves.join(" ")
    ))?;
    Ok(())
}

/// What the command line says about the player.
fn player(code: &str, args: &AddArgs) -> PlayerRequest {
    PlayerRequest {
        hand: args.read.hand(),
        level: args.level.map(Into::into),
        born: args.born,
        stature_m: args.stature,
        squads: args.squad.clone(),
        coach: args.coach.clone(),
        consent: args.consent.map(|consent| match consent {
            ConsentArg::Keep => ConsentGiven::Keep,
            ConsentArg::Share => ConsentGiven::KeepAndShare,
        }),
        ..PlayerRequest::new(code)
    }
}
