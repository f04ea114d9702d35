//! The page to read in a player's own report.

use std::collections::BTreeMap;

use askama::Template;
use jiff::civil::Date;

use super::Own;
use crate::coaching::{Age, Cautions, ShownDrill, describe_consent, who_consents};
use crate::drawing::style_variables;
use crate::library::{
    Case, Cell, Library, Named, Player, PlayerId, Practice, SentPack, StoreError, StoredRow,
};
use crate::words::{count, day, handed, level, list, sentence, serve_type, setting};

/// A session: its day, what was said of it, its plans with what came of them.
struct SessionView {
    title: String,
    lines: Vec<String>,
    plans: Vec<PlanView>,
}

struct PlanView {
    title: String,
    lines: Vec<String>,
    /// Name, dose, cautions.
    drills: Vec<(String, String, String)>,
}

/// A table of the store as it stands there.
struct TableView {
    name: String,
    count: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

#[derive(Template)]
#[template(path = "person.html")]
struct Page {
    title: String,
    style: String,
    code: String,
    day: String,
    facts: Vec<(&'static str, String)>,
    consent: String,
    guardian: Option<&'static str>,
    recordings: Vec<(String, String, String)>,
    sessions: Vec<SessionView>,
    practice: Vec<String>,
    sent: Vec<String>,
    came: bool,
    /// When and by whom, and what.
    history: Vec<(String, Vec<String>)>,
    tables: Vec<TableView>,
    cautions: Vec<String>,
}

pub(super) fn page(
    library: &Library,
    who: &Player,
    on: Date,
    own: &Own,
    tables: &BTreeMap<String, Vec<StoredRow>>,
) -> Result<String, StoreError> {
    let catalogue = library.catalogue()?;
    let age = Age::on(on, who.born);
    let mut cautions = Cautions::of(&catalogue, age);
    let cases = library.cases(Some(who.id))?;
    let mut sessions = Vec::new();
    for case in cases.iter().rev() {
        let plans = case.plans.iter().map(|plan| {
            let drills = ShownDrill::of_plan(&catalogue, plan);
            let drills = drills.iter().map(|drill| {
                let text = cautions.in_full(drill);
                let dose = own.words(&text.dose_and_place());
                (text.name.to_owned(), dose, text.cautions.join(" "))
            });
            let mut lines = Vec::new();
            lines.extend(plan.review_on.map(|on| format!("Next review {}.", day(on))));
            lines.extend(plan.note.as_ref().map(|note| own.words(note)));
            if let Some(end) = &plan.ended {
                let reason = end.reason.as_ref().map(|why| format!(": {}", own.words(why)));
                lines.push(format!("Over since {}{}.", day(end.day), reason.unwrap_or_default()));
            }
            for follow_up in case.follow_ups.iter().filter(|one| one.plan == plan.id) {
                let mut said = vec![format!("Followed up {}", day(follow_up.date))];
                said.extend(follow_up.rating.map(|rating| format!("rating {rating:+}")));
                said.extend(follow_up.ball.speed_kmh.map(|speed| format!("{speed} km/h")));
                said.extend(follow_up.sessions_done.map(|done| count(done as usize, "session")));
                said.extend(follow_up.note.as_ref().map(|note| own.words(note)));
                lines.push(format!("{}.", said.join(", ")));
            }
            let title = format!(
                "Plan {} from {}: {}",
                plan.id,
                day(plan.start),
                catalogue.fault_name(&plan.limiting_fault)
            );
            PlanView { title, drills: drills.collect(), lines }
        });
        let plans = plans.collect();
        let strokes = library.views_of_day(case.id)?.count_of(&case.serves);
        sessions.push(SessionView {
            title: format!("{}, {}", day(case.date), count(strokes, "serve")),
            lines: session_lines(case, own, &|fault| catalogue.fault_name(fault)),
            plans,
        });
    }
    let recordings = library.recordings(Some(who.id))?.into_iter().map(|recording| {
        let mut how = vec![recording.capture.describe().to_owned()];
        how.extend(recording.view.map(|view| format!("seen {}", view.seen())));
        how.extend(recording.setting.map(|kind| setting(kind).to_owned()));
        how.extend(recording.serve_type.map(|kind| serve_type(kind).to_owned()));
        let name = own.words(&recording.file_name);
        (format!("{}, {}", recording.id, day(recording.date)), name, how.join(", "))
    });
    let history = library.history_of_player(who.id)?.into_iter().map(|change| {
        let at = change.at.get(..16).unwrap_or(&change.at).replace('T', " ");
        let by = change.by.as_ref().map_or_else(String::new, |by| format!(", {by}"));
        let kind = change.kind.name().replace('_', " ");
        let fields = change.fields.iter().map(|field| own.words(&field.line())).collect();
        (format!("{at} UTC{by}: {kind}"), fields)
    });
    let page = Page {
        title: format!("What is stored of {}", who.code),
        style: format!("{}{}", style_variables(), include_str!("../templates/style.css")),
        code: who.code.clone(),
        day: day(on),
        facts: facts(who),
        consent: sentence(&format!("{}.", describe_consent(who.consent))),
        guardian: who_consents(age),
        recordings: recordings.collect(),
        sessions,
        practice: library
            .practice_of_player(who.id)?
            .iter()
            .map(|one| practised(one, own))
            .collect(),
        sent: sent(library, who.id)?,
        came: library.is_received(who.id)?,
        history: history.collect(),
        tables: tables.iter().map(|(name, rows)| table_view(name, rows, own)).collect(),
        cautions: cautions.lines(),
    };
    let mut out = String::new();
    // Writing into a String cannot fail, and the template has no fallible expressions.
    page.render_into(&mut out).expect("a String takes every text");
    Ok(out)
}

fn facts(who: &Player) -> Vec<(&'static str, String)> {
    let all = [
        ("Code", Some(who.code.clone())),
        ("Name", who.name.clone()),
        ("Born", who.born.map(day)),
        ("Plays", who.hand.map(|hand| handed(hand).to_owned())),
        ("Level", who.level.map(|known| level(known).to_owned())),
        ("Height", who.stature_m.map(|height| format!("{height:.2} m"))),
        ("Squads", Some(list(&who.squads)).filter(|squads| !squads.is_empty())),
        ("Coach", who.coach.clone()),
    ];
    all.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
}

fn session_lines(case: &Case, own: &Own, name: &dyn Fn(&str) -> String) -> Vec<String> {
    let mut lines: Vec<String> = case.notes.iter().map(|note| own.words(&note.text)).collect();
    lines.extend(case.labels.iter().map(|label| {
        let note = label.note.as_ref().map(|note| format!(": {}", own.words(note)));
        format!(
            "{}, {} by {}{}",
            name(&label.fault),
            label.state.name().replace('_', " "),
            label.by,
            note.unwrap_or_default()
        )
    }));
    lines.extend(case.ball.speed_kmh.map(|speed| format!("{speed} km/h")));
    lines.extend(case.ball.first_serve_pct.map(|pct| format!("{pct} % of first serves in")));
    lines.extend(case.ball.misses.map(|misses| {
        format!("missed {} into the net, {} long, {} wide", misses.net, misses.long, misses.wide)
    }));
    lines
}

fn practised(one: &Practice, own: &Own) -> String {
    let mut said = vec![format!("{}: {}", day(one.day), count(one.sessions as usize, "session"))];
    said.extend(one.repetitions.map(|number| count(number as usize, "repetition")));
    said.extend(one.effort.map(|effort| format!("effort {effort} of 10")));
    said.extend(one.pain.map(|pain| {
        let place = pain.place.map(|place| format!(" ({})", place.name())).unwrap_or_default();
        format!("pain {} of 10{place}", pain.level)
    }));
    said.extend(one.note.as_ref().map(|note| own.words(note)));
    said.join(", ")
}

/// The packs that left with something of the player.
fn sent(library: &Library, player: PlayerId) -> Result<Vec<String>, StoreError> {
    let (_, packs) = library.before_forgetting(player)?;
    let line = |pack: &SentPack| {
        format!(
            "{} in a pack of {}, without your name, for {}",
            count(pack.cases, "session"),
            pack.made.get(..10).unwrap_or(&pack.made),
            pack.recipient.as_deref().unwrap_or("somebody who was not written down"),
        )
    };
    Ok(packs.iter().map(line).collect())
}

fn table_view(name: &str, rows: &[StoredRow], own: &Own) -> TableView {
    let columns: Vec<String> =
        rows.first().into_iter().flatten().map(|(column, _)| column.clone()).collect();
    let cells = rows.iter().map(|row| {
        let text = |(column, cell): &(String, Cell)| match cell {
            Cell::Nothing => String::new(),
            Cell::Whole(number) => number.to_string(),
            Cell::Number(number) => number.to_string(),
            Cell::Text(text) => own.clean(column, text),
            Cell::Bytes(bytes) => format!("{} bytes", bytes.len()),
        };
        row.iter().map(text).collect()
    });
    TableView {
        name: name.replace('_', " "),
        count: count(rows.len(), "row"),
        columns,
        rows: cells.collect(),
    }
}
