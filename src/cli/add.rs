use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, anyhow, bail};

use super::args::{AddArgs, ConsentArg};
use super::output::{Output, count};
use super::views::how_to_answer;
use super::watch::Bars;
use super::{Exit, batch, judge, place, remedy};
use crate::coaching::{
    ConsentGiven, ConsentRequest, LabelRefusal, LabelRequest, PlayerRequest, SquadsRequest,
    check_in_over,
};
use crate::intake::table_template;
use crate::intake::{self, Context, Taken};
use crate::library::{BallFlight, CaseId, CheckIn, Library, Player, check_born, check_past};
use crate::looks::clips_told;
use crate::work::is_stop;

pub(super) fn run(
    args: &AddArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if let Some(file) = &args.template {
        return template(file, out);
    }
    if let Some(file) = &args.table {
        return table(file, library, out);
    }
    let told = judge::check_in(&args.asked)?;
    check_in_over(&told, CheckIn::default(), &BallFlight::default()).map_err(LabelRefusal::from)?;
    if let Some(pattern) = &args.from_path {
        if !told.is_empty() {
            bail!(
                "--from-path: what is asked on the day belongs to one review; add the files first, \
                 then say it with: precedent label c1 --pain none"
            );
        }
        return batch::run(args, pattern, library, out);
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
        out.say("none of the files and folders named holds a recording");
        return Ok(Exit::Nothing);
    }
    let (mut library, made) = place::for_adding(library)?;
    let stored = store(&files, code, args, &mut library, out);
    let answered = match &stored {
        Ok(stored) if !stored.cases.is_empty() => same_serves(&library, &stored.cases, out)
            .and_then(|()| asked(&told, &stored.cases, args, &mut library, out)),
        _ => Ok(()),
    };
    match (&stored, &made) {
        (Ok(Stored { done: 0, .. }), Some(before)) => {
            place::take_back(library, before)?;
        }
        (Err(_), Some(before)) => place::take_back(library, before)?,
        (Ok(_), Some(_)) => {
            out.say(&format!("made a new library in {}", library.folder().display()));
        }
        (_, None) => {}
    }
    let Stored { done, failed, serves, stopped, .. } = stored?;
    answered?;
    if stopped {
        out.say(&format!("stopped after {done} of {}", count(files.len(), "file")));
        return Ok(Exit::SomeFailed);
    }
    if failed > 0 {
        out.say(&format!(
            "{failed} of {} failed and left nothing behind; the others are stored",
            count(files.len(), "file")
        ));
        return Ok(Exit::SomeFailed);
    }
    Ok(if serves > 0 { Exit::Found } else { Exit::Nothing })
}

/// How a batch went.
struct Stored {
    done: usize,
    failed: usize,
    serves: usize,
    stopped: bool,
    /// The reviews they belong to.
    cases: BTreeSet<CaseId>,
}

fn store(
    files: &[PathBuf],
    code: &str,
    args: &AddArgs,
    library: &mut Library,
    out: &mut Output,
) -> anyhow::Result<Stored> {
    let mut stored =
        Stored { done: 0, failed: 0, serves: 0, stopped: false, cases: BTreeSet::new() };
    let (recorded, told) = intake::for_player(library, &player(code, args), |library, player| {
        let told = take_each(files, player, args, library, &mut stored, out);
        (stored.done, told)
    })?;
    told?;
    if recorded.new && stored.done > 0 {
        out.say(&format!("new player {}", recorded.player.code));
    }
    Ok(stored)
}

/// Says which clips of these days show the same serves, and asks where that is not sure.
pub(super) fn same_serves(
    library: &Library,
    cases: &BTreeSet<CaseId>,
    out: &mut Output,
) -> anyhow::Result<()> {
    for case in cases {
        for clips in clips_told(library, *case)? {
            out.say(&clips.sentence);
            how_to_answer(&clips).iter().for_each(|line| out.say(&format!("   {line}")));
        }
    }
    Ok(())
}

/// Records what was asked on the day, or says that nobody has asked yet whether anything hurts.
fn asked(
    told: &CheckIn,
    cases: &BTreeSet<CaseId>,
    args: &AddArgs,
    library: &mut Library,
    out: &mut Output,
) -> anyhow::Result<()> {
    let Some(&case) = cases.first() else { return Ok(()) };
    if told.is_empty() {
        for case in cases {
            if library.check_in(*case)?.pain.is_none() {
                out.say(&format!(
                    "{case}: does anything hurt? Ask, then: precedent label {case} --pain none, or \
                     --pain shoulder=3"
                ));
            }
        }
        return Ok(());
    }
    if cases.len() > 1 {
        let cases: Vec<String> = cases.iter().map(ToString::to_string).collect();
        bail!(
            "the files are stored, but they are of several days ({}), and what you asked belongs to \
             one; say it with: precedent label {case} --pain ...",
            cases.join(", ")
        );
    }
    let coach = args.coach.as_deref().unwrap_or("coach");
    let mut request = LabelRequest::new(case, coach);
    request.check_in = told.clone();
    for notice in request.record(library)? {
        out.complain(&notice.to_string());
    }
    Ok(())
}

/// One file after the other; a bad one is named, and the rest carries on.
fn take_each(
    files: &[PathBuf],
    player: &Player,
    args: &AddArgs,
    library: &mut Library,
    stored: &mut Stored,
    out: &mut Output,
) -> anyhow::Result<()> {
    let catalogue = library.catalogue()?;
    let bars = Bars::new(files.len(), out);
    let context = context(args);
    let watch = bars.watch();
    for file in files {
        if watch.is_stopped() {
            stored.stopped = true;
            break;
        }
        bars.file(file);
        match intake::take(library, &catalogue, player, file, &context, &watch) {
            Ok(taken) => {
                stored.done += 1;
                stored.serves += taken.added.serves.len();
                stored.cases.insert(taken.added.case);
                bars.suspend(|| report(&taken, file, player, out))?;
            }
            Err(error) => {
                stored.stopped = is_stop(&error);
                stored.failed += usize::from(!stored.stopped);
                let told = remedy::spelled(&error).unwrap_or_else(|| error.to_string());
                bars.suspend(|| out.complain(&told));
                if stored.stopped {
                    break;
                }
            }
        }
        bars.file_done();
    }
    bars.finish();
    Ok(())
}

/// What the command line says of every file.
pub(super) fn context(args: &AddArgs) -> Context {
    Context {
        read: args.read.options(),
        clip: args.read.clip(),
        keep_clip: args.keep_clip,
        date: args.date,
        setting: args.setting,
        serve_type: args.serve_type,
    }
}

/// Writes the template of a table where there is no file yet.
fn template(file: &Path, out: &mut Output) -> anyhow::Result<Exit> {
    if file.exists() {
        bail!("{}: exists already; name a new file", file.display());
    }
    place::write_whole(file, table_template().as_bytes())?;
    out.say(&format!(
        "wrote {}: replace the two example rows, then: precedent add --table {0}",
        file.display()
    ));
    Ok(Exit::Found)
}

/// Past players and cases from a table; all of it or nothing.
fn table(file: &Path, library: Option<&Path>, out: &mut Output) -> anyhow::Result<Exit> {
    let csv = std::fs::read(file)
        .map_err(|error| anyhow!("{}: cannot be read: {error}", file.display()))?;
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
    if out.json {
        out.object(&added)?;
    } else {
        out.line(&format!(
            "{}: {} read; new: {}, {}, {}, {}",
            file.display(),
            count(added.rows, "row"),
            count(added.players, "player"),
            count(added.cases, "case"),
            count(added.plans, "plan"),
            count(added.follow_ups, "follow-up")
        ))?;
        for note in &added.notes {
            out.complain(&note.to_string());
        }
    }
    Ok(if added.rows > 0 { Exit::Found } else { Exit::Nothing })
}

pub(super) fn report(
    taken: &Taken,
    file: &Path,
    player: &Player,
    out: &mut Output,
) -> anyhow::Result<()> {
    let added = &taken.added;
    let serves: Vec<String> = added.serves.iter().map(ToString::to_string).collect();
    if added.new {
        out.say(&format!("{}: {}", file.display(), taken.summary));
        for assumed in &taken.assumptions {
            out.say(&format!(
                "assumed {}: {} ({})",
                assumed.what,
                assumed.taken,
                remedy::why(assumed)
            ));
        }
        if taken.date_assumed {
            out.say(&format!(
                "assumed date: {} (the file's own; give --date if it is wrong)",
                taken.date
            ));
        }
        for refusal in &taken.refused {
            out.say(&format!(
                "frames {} to {}: no serve: {}",
                refusal.frames.0, refusal.frames.1, refusal.reason
            ));
        }
    }
    if player.consent.keep && player.consent.by.is_none() {
        out.say(&format!(
            "who agreed for {} is not recorded; say it with --consent-by player or --consent-by \
             guardian, beside --consent",
            player.code
        ));
    }
    if added.consent_open {
        out.say(&format!(
            "no consent is recorded for {}; record it with --consent keep or --consent share",
            player.code
        ));
    }
    if out.json {
        return out.object(&taken.object(file, player));
    }
    let what = if added.new { "stored" } else { "already stored" };
    out.line(&format!(
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
pub(super) fn player(code: &str, args: &AddArgs) -> PlayerRequest {
    PlayerRequest {
        hand: args.read.hand(),
        level: args.level,
        born: args.born,
        stature_m: args.stature,
        squads: SquadsRequest::Too(args.squad.clone()),
        coach: args.coach.clone(),
        consent: args.consent.map_or_else(ConsentRequest::default, |consent| {
            let given = match consent {
                ConsentArg::Keep => ConsentGiven::Keep,
                ConsentArg::Share => ConsentGiven::KeepAndShare,
            };
            ConsentRequest::given(given, place::today(), args.consent_by)
        }),
        ..PlayerRequest::new(code)
    }
}
