use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use jiff::ToSpan;
use jiff::civil::Date;

use super::args::DemoArgs;
use super::output::Output;
use super::watch::Bars;
use super::{Exit, like, place, review, squad, worked};
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, DrillRequest, LabelRequest, PlanRequest, harms};
use crate::demo::{self, Scenario};
use crate::evidence::sync_outcomes;
use crate::find::Filter;
use crate::intake::{self, Context};
use crate::judgement::asked_about;
use crate::library::{CaseId, Library, OpenError, ServeType, Setting};
use crate::matcher::{self, Query, Subject};
use crate::pages::{Audience, Reviewed, Wanted};
use crate::simulator;
use crate::squad::{GroupsParams, SquadQuery};
use crate::words::Interface;

/// What comes in, as files: the way from a file is part of what the demo shows.
const NEW_SERVE: (&str, &[u8]) = ("new-serve.c3d", include_bytes!("../../demo-data/new-serve.c3d"));
const PRACTICE_SWINGS: (&str, &[u8]) =
    ("practice-swings.c3d", include_bytes!("../../demo-data/practice-swings.c3d"));
/// Where the demo is built unless somebody names another folder.
pub(super) const DEMO_FOLDER: &str = "precedent-demo";
/// The invented coach who looks at it.
const COACH: &str = "ash";
/// The day the new serve comes in.
const NEW_SERVE_DAY: Date = jiff::civil::date(2026, 9, 3);

pub(super) fn run(args: &DemoArgs, out: &mut Output) -> anyhow::Result<Exit> {
    if let (Some(count), Some(output)) = (args.curves, &args.output) {
        return curves(count, args.seed, output, out);
    }
    let folder = &args.into;
    std::fs::create_dir_all(folder).with_context(|| format!("{}", folder.display()))?;
    let mut library = academy(&folder.join("library"), out)?;
    let player = demo::new_player().record(&mut library)?.player;
    let catalogue = library.catalogue()?;
    let bars = Bars::new(0, out);
    let watch = bars.watch();
    let mut take = |(name, bytes): (&str, &[u8]), setting, library: &mut Library| {
        let file = folder.join(name);
        std::fs::write(&file, bytes).with_context(|| format!("{}", file.display()))?;
        let context = Context {
            date: Some(NEW_SERVE_DAY),
            setting: Some(setting),
            serve_type: Some(ServeType::Flat),
            ..Context::default()
        };
        let taken = intake::take(library, &catalogue, &player, &file, &context, &watch)?;
        out.say(&format!("{}: {}", file.display(), taken.summary));
        anyhow::Ok(taken)
    };
    let taken = take(NEW_SERVE, Setting::Target, &mut library)?;
    take(PRACTICE_SWINGS, Setting::PracticeSwing, &mut library)?;
    let Some(&serve) = taken.added.serves.first() else {
        bail!("{}: no serve in it", NEW_SERVE.0);
    };
    judge(&mut library, &catalogue, taken.added.case, out)?;
    out.line(&format!("Who served like {serve} ({}, {NEW_SERVE_DAY}) before?", player.code))?;
    out.line("")?;
    let query = Query { one_each: true, ..Query::new(Subject::Stored(serve), 5) };
    let answer = matcher::like(&library, &query, &watch)?;
    let subject = Subject::Stored(serve);
    let mut cautions = Cautions::of(&catalogue, subject.age(&library)?);
    like::show(&library, &answer, &catalogue, false, &mut cautions, out)?;
    let faults = asked_about(&library, subject, &[], &answer, place::today())?;
    let asked = worked::Asked { subject, faults: &faults, full: false };
    worked::show(&library, &catalogue, &asked, &watch, &mut cautions, out)?;
    worked::end(&cautions, false, out)?;

    let wanted = Wanted {
        serve: Reviewed::Stored(serve),
        k: 9,
        filter: Filter::default(),
        on: place::today(),
    };
    for (audience, name) in [
        (Audience::Player, "review.html"),
        (Audience::Coach(Interface::Terminal), "review-coach.html"),
    ] {
        let page = folder.join(name);
        review::write(&library, &wanted, audience, &page, &watch)?;
        out.say(&format!("wrote {}", page.display()));
    }
    let query = SquadQuery {
        squad: None,
        filter: Filter::default(),
        from: None,
        to: None,
        today: NEW_SERVE_DAY,
        groups: GroupsParams::default(),
    };
    let page = folder.join("squad.html");
    squad::write(&squad::gather(&library, &query, out)?, &page, out)?;
    out.say(&format!("wrote {}", page.display()));
    Ok(if answer.precedents.is_empty() { Exit::Nothing } else { Exit::Found })
}

/// The folder of the invented academy's library, built if it is not there yet. Never the library
/// somebody works in, whatever names that.
pub(super) fn academy_for_page(out: &mut Output) -> anyhow::Result<PathBuf> {
    std::fs::create_dir_all(DEMO_FOLDER).with_context(|| DEMO_FOLDER.to_owned())?;
    let folder = Path::new(DEMO_FOLDER).join("library");
    drop(academy(&folder, out)?);
    Ok(folder)
}

/// The invented academy's library, built if it is not there yet.
fn academy(folder: &Path, out: &mut Output) -> anyhow::Result<Library> {
    match Library::open(folder) {
        Ok(library) => {
            out.say(&format!("{}: using the library that is already there", folder.display()));
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
    let bars = Bars::new(0, out);
    let built = demo::build(&mut library, &scenario, &bars.watch())?;
    bars.finish();
    library.sync()?;
    sync_outcomes(&library)?;
    drop(library);
    std::fs::rename(making.path(), folder).with_context(|| format!("{}", folder.display()))?;
    let _ = making.keep();
    let library = Library::open(folder)?;
    out.say(&format!(
        "an invented academy: {} of {} planted serves found, {} other movements taken for serves",
        built.found, built.planted, built.invented
    ));
    if !out.json {
        out.line(&like::holdings(&library)?)?;
        out.line("")?;
    }
    Ok(library)
}

/// What the invented coach makes of the new case: the program's strongest suspicion confirmed, and
/// one plan for it; nothing if it suspects nothing or the case was judged before.
fn judge(
    library: &mut Library,
    catalogue: &Catalogue,
    case: CaseId,
    out: &mut Output,
) -> anyhow::Result<()> {
    let held = library.case(case)?;
    let suspected = held
        .labels
        .iter()
        .filter(|label| !label.by.is_coach())
        .max_by(|a, b| a.severity.total_cmp(&b.severity));
    let Some(label) = suspected.filter(|_| held.plans.is_empty()) else { return Ok(()) };
    let mut confirmed = LabelRequest::new(case, COACH);
    confirmed.confirm.push(label.fault.clone());
    confirmed.record(library)?;
    let mut fitting = catalogue.drills_for(&label.fault);
    fitting.retain(|drill| harms(drill, &held, &label.fault).is_none());
    let drills = fitting.into_iter().take(1).map(|drill| DrillRequest {
        drill: drill.id.clone(),
        dose: None,
        place: drill.places().next(),
    });
    let plan = PlanRequest {
        drills: drills.collect(),
        start: Some(NEW_SERVE_DAY),
        review_on: Some(NEW_SERVE_DAY.saturating_add(1.month())),
        coach: Some(COACH.to_owned()),
        ..PlanRequest::new(case, &label.fault)
    };
    plan.record(library)?;
    let name = catalogue.fault(&label.fault).map_or(label.fault.as_str(), |fault| &fault.name);
    out.say(&format!("the coach confirms \"{name}\" and plans one drill"));
    Ok(())
}

fn curves(count: usize, seed: u64, output: &Path, out: &mut Output) -> anyhow::Result<Exit> {
    let file = File::create(output).with_context(|| format!("{}", output.display()))?;
    let bars = Bars::new(0, out);
    if let Err(error) = simulator::write_npy(count, seed, BufWriter::new(file), &bars.watch()) {
        std::fs::remove_file(output).with_context(|| format!("{}", output.display()))?;
        return Err(error.into());
    }
    bars.finish();
    out.say(&format!("wrote {count} curves to {}", output.display()));
    Ok(Exit::Found)
}
