use std::path::Path;

use super::args::SquadArgs;
use super::output::{Output, table};
use super::watch::Bars;
use super::{Exit, place, worked};
use crate::find::Filter;
use crate::library::Library;
use crate::pages;
use crate::squad::{self, GroupsParams, Squad, SquadFault, SquadQuery, TrendBasis};
use crate::words::Interface;

/// Faults whose plans are told in text.
const WORKED: usize = 2;

pub(super) fn run(
    args: &SquadArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
    let query = SquadQuery {
        squad: args.name.clone(),
        filter: Filter::parse(args.filter.as_deref().unwrap_or_default())?,
        from: args.from,
        to: args.to,
        // Asked about the past, it answers as of then.
        today: args.to.unwrap_or_else(|| jiff::ZonedDateTime::now().date()),
        groups: GroupsParams::default(),
    };
    let squad = gather(&library, &query, out)?;
    if let Some(why) = squad.selection.why_empty() {
        out.say(&why);
        return Ok(Exit::Nothing);
    }
    for note in &squad.notes {
        out.say(note);
    }
    if out.json {
        for object in squad.objects() {
            out.object(&object)?;
        }
    } else {
        print(&squad, out)?;
    }
    if let Some(output) = &args.output {
        write(&squad, output, out)?;
        out.say(&format!("wrote {}", output.display()));
    }
    Ok(Exit::Found)
}

/// Gathers with a progress bar. Only reads: stopping it at any moment leaves nothing behind.
pub(super) fn gather(library: &Library, query: &SquadQuery, out: &Output) -> anyhow::Result<Squad> {
    let bars = Bars::new(0, out);
    Ok(squad::gather(library, &library.catalogue()?, query, &bars.watch())?)
}

/// Writes the page; a file with that name is replaced only by a whole one.
pub(super) fn write(squad: &Squad, output: &Path, out: &Output) -> anyhow::Result<()> {
    let bars = Bars::new(0, out);
    place::write_page(output, &pages::squad_page(squad, Interface::Terminal), &bars.watch())
}

fn print(squad: &Squad, out: &mut Output) -> anyhow::Result<()> {
    let name = squad.name.as_deref().unwrap_or("all players");
    out.line(&format!(
        "{name}: {} players, {} looks, {} serves",
        squad.players, squad.looks, squad.serves
    ))?;
    out.line("")?;
    let mut faults =
        table(&["fault", "players", "interval", "over time", "new", "gone", "by its measure"]);
    for fault in squad.faults.iter().filter(|fault| fault.ever.with > 0) {
        faults.add_row(row(fault));
    }
    out.line(&faults.to_string())?;
    if let Some(alike) = &squad.alike {
        out.line("")?;
        for group in &alike.groups {
            out.line(&group.sentence)?;
        }
        if let Some(second) = &alike.second {
            out.line(second.verdict.sentence())?;
        }
        for (serves, why) in &alike.left_out {
            out.say(&format!("{serves} serves were not compared: {why}"));
        }
    }
    let mut cautions = squad.cautions.clone();
    for worked in squad.worked.iter().take(WORKED) {
        worked::print(worked, &mut cautions, out)?;
    }
    out.line("")?;
    for one in squad.see_next.iter().take(12) {
        out.line(&format!("see {}", one.player))?;
        for reason in &one.reasons {
            out.line(&format!("   {}", reason.text))?;
        }
    }
    worked::end(&cautions, true, out)
}

fn row(fault: &SquadFault) -> Vec<String> {
    let share = &fault.now;
    vec![
        fault.name.clone(),
        format!("{} of {}", share.with, share.of),
        format!("{:.0} to {:.0} %", 100.0 * share.interval.0, 100.0 * share.interval.1),
        fault.basis.describe(fault.verdict).to_owned(),
        fault.new.len().to_string(),
        fault.cured.len().to_string(),
        match &fault.basis {
            TrendBasis::Measure(moved) => moved.describe(),
            TrendBasis::LabelsAndRatings { .. } => "no measure shows it".to_owned(),
        },
    ]
}
