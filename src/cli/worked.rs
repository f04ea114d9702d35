//! What worked for past players, as text and as JSON.

use super::output::Output;
use super::short;
use crate::catalogue::Catalogue;
use crate::coaching::Cautions;
use crate::evidence::{Evidence, Typical, Worked, WorkedDrill};
use crate::library::Library;
use crate::looks::Snapshot;
use crate::matcher::Subject;
use crate::words::{amount, signed};
use crate::work::Watch;

/// Faults told at most; on one screen the first alone.
const FAULTS: usize = 2;
/// Drills told in text for each.
const DRILLS: usize = 4;

/// For which serve and faults it is asked, and at what length.
pub(super) struct Asked<'a> {
    pub(super) subject: Subject<'a>,
    pub(super) faults: &'a [String],
    /// Everything, else what fits a screen.
    pub(super) full: bool,
}

/// What worked for the serve's own faults, else for the faults most precedents have, in full or in
/// what fits a screen; text ends with [`end`].
pub(super) fn show(
    library: &Library,
    catalogue: &Catalogue,
    asked: &Asked<'_>,
    watch: &Watch,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    let Asked { subject, faults, full } = *asked;
    if faults.is_empty() {
        return Ok(());
    }
    if !out.json && !full {
        out.line("")?;
    }
    let mut evidence = Evidence::gather(&Snapshot::new(library), catalogue, subject, watch)?;
    let most = if full || out.json { FAULTS } else { 1 };
    for fault in faults.iter().take(most) {
        evidence.weight_by_nearness(library, fault, watch)?;
        let Some(worked) = evidence.worked(catalogue, fault) else { continue };
        if out.json {
            out.object(&worked.object(cautions))?;
        } else if full {
            print(&worked, cautions, out)?;
        } else {
            short::worked(&worked, cautions, out)?;
        }
    }
    Ok(())
}

/// What worked for one fault; the cautions have to follow.
pub(super) fn print(
    worked: &Worked,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    out.line("")?;
    out.line(&format!("What worked for \"{}\" ({}):", worked.name, worked.measure))?;
    for note in &worked.notes {
        out.line(&format!("   {note}"))?;
    }
    for (place, drill) in worked.drills.iter().take(DRILLS).enumerate() {
        for line in describe_drill(place + 1, drill, &worked.unit, cautions) {
            out.line(&line)?;
        }
    }
    if worked.drills.len() > DRILLS {
        out.line(&format!("   and {} more with --json", worked.drills.len() - DRILLS))?;
    }
    if !worked.untried.is_empty() {
        let untried: Vec<&str> = worked.untried.iter().map(|drill| cautions.name(drill)).collect();
        out.line(&format!("   no follow-up yet for: {}", untried.join(", ")))?;
    }
    Ok(())
}

/// What must be said about the drills that were shown in text, each thing once; on one screen, of
/// what is said to juniors only what the general cautions hold of it, since `label`, `plan` and the
/// full answer say the rest.
pub(super) fn end(cautions: &Cautions, full: bool, out: &mut Output) -> anyhow::Result<()> {
    if out.json || !cautions.are_due() {
        return Ok(());
    }
    out.line("")?;
    out.line("Take care:")?;
    for line in if full { cautions.lines() } else { cautions.in_short() } {
        out.line(&format!("   {line}"))?;
    }
    Ok(())
}

fn describe_drill(
    place: usize,
    drill: &WorkedDrill,
    unit: &str,
    cautions: &mut Cautions,
) -> Vec<String> {
    let (name, own) = cautions.together(&drill.done);
    let players = if drill.players == 1 { "player" } else { "players" };
    let mut lines = vec![format!(
        "   {place}. {}: {} of {} {players} got better by more than chance (about {})",
        name,
        drill.improved,
        drill.players,
        amount(drill.detectable, unit)
    )];
    if drill.effective + 0.05 < drill.players as f64 {
        lines[0].push_str(&format!(
            "; weighted by likeness to this serve, they count as {:.1}",
            drill.effective
        ));
    }
    lines.push(match drill.change {
        Some(change) => format!(
            "      change to expect from this start: {} (90 % interval {} to {})",
            amount(change.mean, unit),
            amount(change.low, unit),
            amount(change.high, unit)
        ),
        None => "      too few to say what to expect".to_owned(),
    });
    lines.push(format!("      {}", drill.trust));
    let mut more = Vec::new();
    more.extend(
        drill
            .typical_days
            .map(|days| format!("takes about {:.0} weeks to show", (days / 7.0).max(1.0))),
    );
    let beside = |typical: Option<Typical>, what: &str, unit: &str| {
        let typical = typical?;
        Some(format!("{what} {}{unit} (median of {})", signed(typical.median), typical.players))
    };
    more.extend(beside(drill.rating, "coach's rating", ""));
    more.extend(beside(drill.speed_kmh, "serve speed", " km/h"));
    more.extend(beside(drill.first_serve_pct, "first serves in", " points"));
    if !more.is_empty() {
        lines.push(format!("      {}", more.join(", ")));
    }
    lines.extend(own.iter().map(|caution| format!("      Caution: {caution}")));
    lines
}
