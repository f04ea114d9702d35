//! A plan's practice card: one sheet for the player, filled in by hand or on a phone.

use askama::Template;
use jiff::ToSpan;
use jiff::civil::{Date, Weekday};

use crate::catalogue::BodyPart;
use crate::coaching::{Age, CARD_END, CARD_HEAD, Cautions, ShownDrill, loads_sore, sore_on};
use crate::drawing::style_variables;
use crate::library::{Library, Named, PlanId, StoreError};
use crate::words::{day, sentence};

/// Days on a card where the plan names no review; four weeks between two reviews are usual.
const USUAL_DAYS: i64 = 28;
/// Most days on a card: what one sheet holds.
const MOST_DAYS: i64 = 36;

/// Said of a drill that loads what hurts.
const LEAVE: &str = "It loads what hurts: leave it out until the clinician says you may.";

struct DrillView {
    name: String,
    /// Why it is left out for now, if it is.
    leave: String,
    cue: String,
    dose: String,
    step_up: String,
    stop: String,
    cautions: String,
}

struct DayView {
    date: String,
    said: String,
}

#[derive(Template)]
#[template(path = "card.html")]
struct Page {
    title: String,
    style: String,
    script: &'static str,
    plan: String,
    mark: String,
    head: &'static str,
    end: &'static str,
    player: String,
    dates: String,
    fault: String,
    note: String,
    drills: Vec<DrillView>,
    sore: String,
    days: Vec<DayView>,
    /// Name in the text, and for people.
    places: Vec<(&'static str, &'static str)>,
    cautions: Vec<String>,
}

/// The practice card of a plan as one HTML file for its player, from the day `on` or the plan's
/// start: drills, doses, cautions, and a line a day for sessions, repetitions, effort and pain.
///
/// It prints on one A4 sheet, and opened on a phone it is a form that makes the text
/// [`CardText`](crate::coaching::CardText) reads. It asks no network for anything, and its own script
/// is all that runs. It names the player's code and nobody else.
///
/// # Errors
/// [`StoreError`] for an unknown plan, or if the store cannot be read.
pub fn practice_card(library: &Library, plan: PlanId, on: Date) -> Result<String, StoreError> {
    let held = library.plan(plan)?;
    let player = library.player(library.case(held.case)?.player)?;
    let catalogue = library.catalogue()?;
    let from = held.start.max(on);
    let sore = sore_on(library, player.id, on)?;
    let mut cautions = Cautions::of(&catalogue, Age::on(from, player.born)).hurting(&sore);
    cautions.fault(&catalogue, &held.limiting_fault);
    let drills: Vec<DrillView> = ShownDrill::of_plan(&catalogue, &held)
        .iter()
        .map(|drill| {
            let loads = catalogue.drill(drill.id()).is_some_and(|drill| loads_sore(drill, &sore));
            let text = cautions.in_full(drill);
            DrillView {
                name: text.name.to_owned(),
                leave: if loads { LEAVE.to_owned() } else { String::new() },
                cue: text.cue.to_owned(),
                dose: text.dose_and_place(),
                step_up: text.step_up.to_owned(),
                stop: text.stop.to_owned(),
                cautions: text.cautions.join(" "),
            }
        })
        .collect();
    let fault = catalogue.fault(&held.limiting_fault);
    let until = held.review_on.filter(|review| *review > from);
    let until = until.unwrap_or_else(|| from.saturating_add(USUAL_DAYS.days()));
    let until = until.min(from.saturating_add(MOST_DAYS.days()));
    let mut dates = format!("from {}", day(held.start));
    if let Some(review) = held.review_on {
        dates.push_str(&format!(", next review on {}", day(review)));
    }
    let mut days = Vec::new();
    let mut next = from;
    while next < until {
        days.push(DayView { date: next.to_string(), said: short_day(next) });
        next = next.saturating_add(1.day());
    }
    let page = Page {
        title: format!("Practice card, {}, {plan}", player.code),
        style: format!("{}{}", style_variables(), include_str!("templates/card.css")),
        script: include_str!("templates/card.js"),
        plan: plan.to_string(),
        mark: library.card_mark(plan)?,
        head: CARD_HEAD,
        end: CARD_END,
        player: player.code,
        dates: sentence(&dates),
        fault: fault.map_or_else(String::new, |fault| fault.to_player.clone()),
        note: held.note.unwrap_or_default(),
        drills,
        sore: cautions.sore().join(" "),
        days,
        places: BodyPart::ALL.into_iter().map(|place| (place.name(), place.label())).collect(),
        // What hurts stands above the drills already.
        cautions: cautions.in_short().split_off(cautions.sore().len()),
    };
    let mut out = String::new();
    // Writing into a String cannot fail, and the template has no fallible expression.
    page.render_into(&mut out).expect("a String takes every text");
    Ok(out)
}

/// "Mon 16 Mar".
fn short_day(date: Date) -> String {
    const MONTHS: [&str; 12] =
        ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    let weekday = match date.weekday() {
        Weekday::Monday => "Mon",
        Weekday::Tuesday => "Tue",
        Weekday::Wednesday => "Wed",
        Weekday::Thursday => "Thu",
        Weekday::Friday => "Fri",
        Weekday::Saturday => "Sat",
        Weekday::Sunday => "Sun",
    };
    let month = usize::try_from(date.month()).map_or("", |month| MONTHS[month - 1]);
    format!("{weekday} {} {month}", date.day())
}
