//! One fault, drill, way of serving or group of players in full.

use std::path::Path;

use serde_json::json;

use super::Exit;
use super::catalogue::{JUNIORS, received, unknown};
use super::output::Output;
use crate::catalogue::{Catalogue, Direction, EntryKind, Fault, FaultMeasure, JointNeed, Step};
use crate::coaching::{Age, Cautions, ShownDrill};
use crate::library::Named;
use crate::serve::MEASURES;
use crate::words::list;

pub(super) fn show(
    catalogue: &Catalogue,
    id: &str,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    // Of nobody's age: what is said to everybody.
    let mut cautions = Cautions::of(catalogue, Age::Junior);
    let mut found = false;
    if let Some(fault) = catalogue.fault(id) {
        found = true;
        show_fault(catalogue, fault, &mut cautions, out)?;
    }
    if catalogue.drill(id).is_some() {
        found = true;
        show_drill(catalogue, id, &mut cautions, out)?;
    }
    if let Some(style) = catalogue.styles().find(|style| style.id == id) {
        found = true;
        if out.json {
            out.object(style)?;
        } else {
            out.line(&format!("{} [{}]: a way of serving, no fault", style.name, style.id))?;
            out.line(&format!("  {}", style.text))?;
        }
    }
    if let Some(group) = catalogue.group(id) {
        found = true;
        if out.json {
            out.object(group)?;
        } else {
            out.line(&format!("{} [{}]", group.name, group.id))?;
            for text in &group.text {
                out.line(&format!("  - {text}"))?;
            }
            field("does not apply", &list(&named(catalogue, &group.faults_out)), out)?;
            let drills = group.drills_out.iter().map(|id| ShownDrill::of(catalogue, id, ""));
            let drills: Vec<String> =
                drills.map(|drill| cautions.name(&drill).to_owned()).collect();
            field("drills left out", &list(&drills), out)?;
            field("support", &group.support, out)?;
            sources(catalogue, &group.sources, out)?;
        }
    }
    if !found && id == JUNIORS {
        found = true;
        let said: Vec<&str> = catalogue.junior_cautions().collect();
        let rows: Vec<String> = catalogue.junior_sources().map(|row| row.id.clone()).collect();
        if out.json {
            out.object(&json!({ "kind": "cautions", "id": id, "text": said, "sources": rows }))?;
        } else {
            out.line("What is said to juniors, and to players of unknown age")?;
            for text in said {
                out.line(&format!("  - {text}"))?;
            }
            sources(catalogue, &rows, out)?;
        }
    }
    if !found {
        let Some((text, academy)) = received(id, library)? else {
            return Err(unknown(catalogue, id));
        };
        let from = academy.as_deref().unwrap_or("an academy that gave no name");
        out.line(&format!("{id}: not in this catalogue; from the pack of {from}:"))?;
        out.line(text.trim_end())?;
        out.say(&format!(
            "to work with it: precedent catalogue {id} --toml > own.toml, read it, and precedent \
             catalogue --extend own.toml"
        ));
    }
    // A fault's drills are named with it, and what came from elsewhere is read in full.
    if cautions.are_due() || !found {
        for caution in cautions.lines() {
            out.complain(&caution);
        }
    }
    Ok(Exit::Found)
}

fn field(what: &str, said: &str, out: &mut Output) -> anyhow::Result<()> {
    if !said.trim().is_empty() {
        out.line(&format!("  {what}: {said}"))?;
    }
    Ok(())
}

fn named(catalogue: &Catalogue, faults: &[String]) -> Vec<String> {
    faults.iter().map(|id| format!("{} [{id}]", catalogue.fault_name(id))).collect()
}

fn show_fault(
    catalogue: &Catalogue,
    fault: &Fault,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    let drills: Vec<ShownDrill> = catalogue
        .drills_for(&fault.id)
        .into_iter()
        .map(|drill| ShownDrill::of(catalogue, &drill.id, &fault.id))
        .collect();
    if out.json {
        let object = json!({
            "kind": "fault",
            "own": catalogue.is_own(EntryKind::Fault, &fault.id),
            "fault": fault,
            "drills": drills,
            "cautions": cautions.with(&drills),
        });
        return out.object(&object);
    }
    let own = if catalogue.is_own(EntryKind::Fault, &fault.id) { ", your own" } else { "" };
    out.line(&format!("{} [{}], {}{own}", fault.name, fault.id, fault.group))?;
    if let Some(health) = &fault.health_note {
        field("first", health, out)?;
    }
    field("what you see", &fault.coach_sees, out)?;
    let when: Vec<&str> = fault.when.iter().map(|phase| phase.label()).collect();
    field("when", &list(&when), out)?;
    field("to the player", &fault.to_player, out)?;
    let cost = &fault.cost;
    field(
        "what it costs",
        &format!(
            "{} (out of 3: speed {}, consistency {}, load {})",
            cost.text, cost.speed, cost.consistency, cost.load
        ),
        out,
    )?;
    for other in &fault.confused_with {
        field("not to be confused with", &format!("{}: {}", other.what, other.tell), out)?;
    }
    field("commonly follows from", &list(&named(catalogue, &fault.upstream)), out)?;
    field("goes with", &list(&named(catalogue, &fault.goes_with)), out)?;
    field("pulls against", &list(&named(catalogue, &fault.opposed)), out)?;
    field("what shows it", &needs(fault), out)?;
    for measure in &fault.measures {
        out.line(&format!("    - {}", shown_by(measure)))?;
    }
    for measure in &fault.only_with {
        out.line(&format!("    - only if this shows too: {}", shown_by(measure)))?;
    }
    if let Some(ask) = &fault.ask {
        field("to ask", ask, out)?;
    }
    let misses: Vec<&str> = fault.misses.iter().map(|miss| miss.label()).collect();
    field("misses commonly go", &list(&misses), out)?;
    field("how well it is known", &format!("{}: {}", fault.evidence, fault.evidence_text), out)?;
    let mut rows = fault.sources.clone();
    rows.extend(fault.measures.iter().flat_map(|measure| measure.sources.iter().cloned()));
    sources(catalogue, &rows, out)?;
    let names = drills.iter().map(|drill| format!("{} [{}]", cautions.name(drill), drill.id()));
    let names: Vec<String> = names.collect();
    field("drills", &list(&names), out)
}

fn needs(fault: &Fault) -> String {
    let needs = &fault.needs;
    match needs.joints {
        JointNeed::SeenOrAsked => "nothing measured: look, or ask".to_owned(),
        JointNeed::Ask => "nothing measured: ask".to_owned(),
        JointNeed::Ball => "the ball's path".to_owned(),
        JointNeed::Core | JointNeed::Hands | JointNeed::Racket => {
            let joints = match needs.joints {
                JointNeed::Hands => "joints of body and hand",
                JointNeed::Racket => "joints of body and racket",
                _ => "joints of the body",
            };
            let space = if needs.three_d { " in 3D" } else { "" };
            format!("{joints}{space}, {} frames a second or more", needs.min_rate_hz)
        }
    }
}

fn shown_by(measure: &FaultMeasure) -> String {
    let name = MEASURES.iter().find(|def| def.id == measure.measure).map_or("", |def| def.name);
    let side = match measure.direction {
        Direction::Below => "below",
        Direction::Above => "above",
    };
    let unit = if measure.unit == "ratio" { "" } else { measure.unit.as_str() };
    let mut text = format!(
        "{name}: counts {side} {} {unit}, fully from {} {unit}. {}",
        measure.starts, measure.full, measure.basis
    );
    for band in &measure.by_type {
        text.push_str(&format!(
            " In a {} from {}, fully from {}. {}",
            band.serve_type.label(),
            band.starts,
            band.full,
            band.basis
        ));
    }
    text.replace(" ,", ",").replace(" .", ".")
}

/// Published rows, each once.
fn sources(catalogue: &Catalogue, ids: &[String], out: &mut Output) -> anyhow::Result<()> {
    let mut said: Vec<&String> = Vec::new();
    for id in ids {
        if said.contains(&id) {
            continue;
        }
        said.push(id);
        let Some(row) = catalogue.source(id) else { continue };
        let spread = if row.sd.is_empty() { String::new() } else { format!(" +/- {}", row.sd) };
        out.line(&format!(
            "  source {id}: {} {}{spread} {}; {}; {}; {}",
            row.quantity, row.mean, row.unit, row.population, row.citation, row.read
        ))?;
    }
    Ok(())
}

fn show_drill(
    catalogue: &Catalogue,
    id: &str,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    let Some(drill) = catalogue.drill(id) else { return Ok(()) };
    for fault in &drill.faults {
        cautions.fault(catalogue, fault);
    }
    let shown = ShownDrill::of(catalogue, id, "");
    let own = catalogue.is_own(EntryKind::Drill, id);
    let loads: Vec<&str> = drill.loads.iter().map(|part| part.label()).collect();
    let text = cautions.in_full(&shown);
    if out.json {
        let step = |step: &Step| json!({ "where": step.place.name(), "text": step.text });
        let steps: Vec<serde_json::Value> = text.steps.iter().map(step).collect();
        let object = json!({
            "kind": "drill", "id": id, "name": text.name, "own": own,
            "faults": drill.faults, "not_for": drill.not_for, "for_whom": text.for_whom,
            "loads": drill.loads, "steps": steps, "dose": text.dose, "step_up": text.step_up,
            "stop": text.stop, "equipment": text.equipment, "cue": text.cue,
            "support": text.support, "sources": drill.sources,
            "own_cautions": text.cautions, "cautions": cautions.lines(),
        });
        return out.object(&object);
    }
    out.line(&format!("{} [{id}]{}", text.name, if own { ", your own" } else { "" }))?;
    field("for", &list(&named(catalogue, &drill.faults)), out)?;
    field("for whom", text.for_whom, out)?;
    field("say", text.cue, out)?;
    for (at, step) in (1..).zip(text.steps) {
        out.line(&format!("  {at}. {}: {}", step.place.label(), step.text))?;
    }
    field("how much", text.dose, out)?;
    field("step up", text.step_up, out)?;
    field("stop", text.stop, out)?;
    field("you need", &list(text.equipment), out)?;
    field("loads", &list(&loads), out)?;
    for caution in text.cautions {
        field("take care", caution, out)?;
    }
    field("published support", text.support, out)?;
    sources(catalogue, &drill.sources, out)
}
