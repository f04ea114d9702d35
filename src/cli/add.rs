use std::path::{Path, PathBuf};

use anyhow::{Context as _, anyhow, bail};
use indicatif::{ProgressBar, ProgressStyle};
use jiff::ZonedDateTime;
use serde::Serialize;

use super::args::{AddArgs, ConsentArg};
use super::face::{Face, count};
use super::watch::Bars;
use super::{Outcome, place};
use crate::intake::table_template;
use crate::intake::{self, Context, IntakeError, Taken};
use crate::library::{
    Consent, Library, Player, PlayerId, StoreError, WriteError, check_born, check_past,
};

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
        face.say("no recording in what was named");
        return Ok(Outcome::Nothing);
    }
    let (mut library, made) = place::for_adding(library)?;
    let stored = store(&files, code, args, &mut library, face);
    match (&stored, &made) {
        (Ok(Stored { done: 0, .. }), Some(before)) => {
            place::unmake(library, before)?;
        }
        (Err(_), Some(before)) => place::unmake(library, before)?,
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
    let (player, new_player) = player(library, code, args)?;
    let bars = Bars::new(files.len(), face);
    let context = Context {
        read: args.read.options(),
        clip: args.read.clip(),
        keep_clip: args.keep_clip,
        watch: bars.watch(),
        date: args.date,
        setting: args.setting.map(Into::into),
        serve_type: args.serve_type.map(Into::into),
    };
    let mut stored = Stored { done: 0, failed: 0, serves: 0, stopped: false };
    for file in files {
        if context.watch.stopped() {
            stored.stopped = true;
            break;
        }
        match intake::take(library, &catalogue, &player, file, &context) {
            Ok(taken) => {
                stored.done += 1;
                stored.serves += taken.added.serves.len();
                bars.suspend(|| report(&taken, file, &player, face))?;
            }
            Err(error) => {
                stored.stopped = matches!(&error, IntakeError::Look(look) if look.is_stop());
                stored.failed += usize::from(!stored.stopped);
                bars.suspend(|| face.complain(&error.to_string()));
                if stored.stopped {
                    break;
                }
            }
        }
        bars.file_done();
    }
    bars.finish();
    if new_player && stored.done == 0 {
        library.write(|writer| writer.remove_player(player.id))?;
    } else if new_player {
        face.say(&format!("new player {}", player.code));
    }
    Ok(stored)
}

/// Writes the template of a table where there is no file yet.
fn template(file: &Path, face: &mut Face) -> anyhow::Result<Outcome> {
    if file.exists() {
        bail!("{}: is there already; name a new file", file.display());
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
                place::unmake(library, before)?;
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
    }
    Ok(if added.rows > 0 { Outcome::Found } else { Outcome::Nothing })
}

fn report(taken: &Taken, file: &Path, player: &Player, face: &mut Face) -> anyhow::Result<()> {
    let added = &taken.added;
    let serves: Vec<String> = added.serves.iter().map(ToString::to_string).collect();
    if added.new {
        face.say(&format!("{}: {}", file.display(), taken.summary));
        for assumed in &taken.assumptions {
            face.say(&format!("assumed {}: {} ({})", assumed.what, assumed.taken, assumed.why));
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

/// The player with the given code, made or brought up to date with what the command line says;
/// and whether the player is new.
fn player(library: &mut Library, code: &str, args: &AddArgs) -> anyhow::Result<(Player, bool)> {
    let known = match library.player_by_code(code) {
        Ok(player) => Some(player),
        Err(StoreError::NoSuch { .. }) => None,
        Err(error) => return Err(error.into()),
    };
    let before = known.clone();
    let mut player = known.unwrap_or_else(|| Player::new(code));
    player.hand = args.read.hand().or(player.hand);
    player.level = args.level.map(Into::into).or(player.level);
    player.born = args.born.or(player.born);
    if let (Some(born), Some(known)) = (args.born, &before) {
        let first = library.cases(Some(known.id))?.into_iter().map(|case| case.date).min();
        check_born("--born", born, first)?;
    }
    player.stature_m = args.stature.or(player.stature_m);
    player.coach = args.coach.clone().or(player.coach);
    for squad in &args.squad {
        if !player.squads.contains(squad) {
            player.squads.push(squad.clone());
        }
    }
    if let Some(consent) = args.consent {
        player.consent = Consent {
            keep: true,
            share: consent == ConsentArg::Share,
            date: Some(ZonedDateTime::now().date()),
        };
    }
    if before.as_ref() == Some(&player) {
        return Ok((player, false));
    }
    let id = library.write(|writer| -> Result<PlayerId, WriteError> {
        if before.is_some() {
            writer.update_player(&player)?;
            Ok(player.id)
        } else {
            writer.add_player(&player)
        }
    })?;
    player.id = id;
    Ok((player, before.is_none()))
}

/// A progress bar on standard error; none for one item or where talk is not wanted.
pub(super) fn progress(items: usize, face: &Face) -> ProgressBar {
    if items < 2 || !face.talks() {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template("{pos} of {len}  {wide_bar}  {eta} left")
        .unwrap_or_else(|_| ProgressStyle::default_bar());
    ProgressBar::new(items as u64).with_style(style)
}
