//! A squad as one page.

mod alike;
mod faults;

use askama::Template;

use self::alike::{AlikeView, alike_view};
use self::faults::{FaultView, StripView, fault_view, headline, lead, strips};
use crate::coaching::Cautions;
use crate::drawing::{share_mark, style_variables};
use crate::evidence::Worked;
use crate::pages::gather::rows;
use crate::pages::review::{EvidenceView, evidence_views};
use crate::squad::{Share, Squad, SquadFault};
use crate::words::{Interface, count, day, list, sentence};

const HALF: f64 = 344.0;
/// What one table holds; the rest is named in a line.
const FAULTS: usize = 10;
const SEEN: usize = 8;
const SLICE_FAULTS: usize = 5;
const WORKED: usize = 3;
const WORKED_DRILLS: usize = 4;

struct SeeView {
    player: String,
    coach: String,
    last: String,
    reasons: Vec<String>,
}

struct MarkView {
    name: String,
    here: String,
    rest: String,
    mark: String,
    apart: String,
}

struct WorkedView {
    name: String,
    measure: String,
    drills: Vec<EvidenceView>,
    notes: String,
}

struct CellView {
    name: String,
    count: String,
    mark: String,
}

struct SliceView {
    by: &'static str,
    value: String,
    players: usize,
    cells: Vec<CellView>,
}

#[derive(Template)]
#[template(path = "squad.html")]
struct Page {
    interface: Interface,
    title: String,
    style: String,
    name: String,
    period: String,
    counted: String,
    headline: String,
    lead: Vec<String>,
    since: String,
    faults: Vec<FaultView>,
    more_faults: String,
    see: Vec<SeeView>,
    see_more: String,
    alike: Option<AlikeView>,
    tried: usize,
    strips: Vec<StripView>,
    slice_faults: Vec<String>,
    slices: Vec<SliceView>,
    plans: String,
    coaches: Vec<MarkView>,
    worked: Vec<WorkedView>,
    worked_more: String,
    dashed: bool,
    cautions: Vec<String>,
    today: String,
}

/// A squad as one self-contained HTML file: no script, no outside resource, printable on A4 in
/// black and white. Players appear by their codes; all texts are escaped.
#[must_use]
pub fn squad_page(squad: &Squad, interface: Interface) -> String {
    let name = squad.name.clone().unwrap_or_else(|| "all players".to_owned());
    let standing: Vec<&SquadFault> = squad.faults.iter().filter(|f| f.now.with > 0).collect();
    let strips = strips(squad);
    let mut cautions = squad.cautions.clone();
    let worked = squad.worked.iter().take(WORKED);
    let worked = worked.map(|worked| worked_view(worked, &mut cautions)).collect();
    let page = Page {
        interface,
        title: format!("Squad report, {name}"),
        style: format!(
            "{}{}{}",
            style_variables(),
            include_str!("../templates/style.css"),
            include_str!("../templates/squad.css")
        ),
        period: match (squad.from, squad.to) {
            (Some(from), Some(to)) => format!("{} to {}", day(from), day(to)),
            _ => String::new(),
        },
        counted: counted(squad),
        headline: headline(squad),
        lead: lead(squad),
        since: squad.from.map_or_else(|| "the start".to_owned(), day),
        faults: standing.iter().take(FAULTS).map(|fault| fault_view(fault)).collect(),
        more_faults: list(
            &standing
                .iter()
                .skip(FAULTS)
                .map(|fault| format!("{} ({})", fault.name.to_lowercase(), of(&fault.now)))
                .collect::<Vec<_>>(),
        ),
        see: squad.see_next.iter().take(SEEN).map(see_view).collect(),
        see_more: match squad.see_next.len().saturating_sub(SEEN) {
            0 => String::new(),
            more => {
                format!("{more} more with weaker reasons; the report's data lists them all.")
            }
        },
        alike: squad.alike.as_ref().map(alike_view),
        tried: squad.faults.len(),
        strips,
        slice_faults: standing.iter().take(SLICE_FAULTS).map(|f| f.name.clone()).collect(),
        slices: slices(squad, &standing),
        plans: plans(squad, interface),
        coaches: squad
            .follow_up
            .by_coach
            .iter()
            .map(|(coach, share)| MarkView {
                name: coach.clone(),
                here: of(share),
                rest: String::new(),
                mark: share_mark(share, None, 180.0).to_string(),
                apart: String::new(),
            })
            .collect(),
        worked,
        dashed: squad.worked.iter().take(WORKED).any(|worked| worked.by_itself.is_some()),
        worked_more: list(
            &squad
                .worked
                .iter()
                .skip(WORKED)
                .map(|worked| {
                    format!("{} ({})", worked.name.to_lowercase(), count(worked.players, "player"))
                })
                .collect::<Vec<_>>(),
        ),
        cautions: lines(squad, &cautions),
        today: day(squad.today),
        name,
    };
    let mut out = String::new();
    // Writing into a String cannot fail, and the template has no fallible expressions.
    page.render_into(&mut out).expect("a String takes every text");
    out
}

fn of(share: &Share) -> String {
    format!("{} of {}", share.with, share.of)
}

fn percent(share: &Share) -> String {
    format!("{:.0} to {:.0} %", 100.0 * share.interval.0, 100.0 * share.interval.1)
}

fn counted(squad: &Squad) -> String {
    let mut text = format!(
        "{}, {}, {}",
        count(squad.players, "player"),
        count(squad.looks, "look"),
        count(squad.serves, "serve")
    );
    if !squad.filter.is_empty() {
        text.push_str(&format!("; only {}", squad.filter));
    }
    text
}

fn see_view(one: &crate::squad::SeeNext) -> SeeView {
    SeeView {
        player: one.player.clone(),
        coach: one.coach.clone().unwrap_or_default(),
        last: day(one.last_seen),
        reasons: one.reasons.iter().map(|reason| sentence(&reason.text)).collect(),
    }
}

fn slices(squad: &Squad, standing: &[&SquadFault]) -> Vec<SliceView> {
    squad
        .slices
        .iter()
        .map(|slice| SliceView {
            by: slice.by,
            value: slice.value.replace('_', " "),
            players: slice.players,
            cells: standing
                .iter()
                .take(SLICE_FAULTS)
                .filter_map(|fault| slice.faults.iter().find(|own| own.fault == fault.fault))
                .map(|own| CellView {
                    name: own.name.clone(),
                    count: own.now.with.to_string(),
                    mark: share_mark(&own.now, None, 84.0).to_string(),
                })
                .collect(),
        })
        .collect()
}

fn plans(squad: &Squad, interface: Interface) -> String {
    let plans = &squad.follow_up;
    if plans.plans == 0 {
        let next =
            interface.says("Record one with plan", "Make one in a session: press Plan for it");
        return format!("No plan was made in this period. {next}.");
    }
    format!(
        "{} made: {} followed up, {} without a recorded follow-up though the player was seen \
         again, {} still running, {} overdue and not seen since{}.",
        sentence(&count(plans.plans, "plan")),
        plans.followed,
        plans.seen_again,
        plans.running,
        plans.overdue.len(),
        if plans.ended == 0 {
            String::new()
        } else {
            format!(", {} ended without another look", plans.ended)
        }
    )
}

fn worked_view(worked: &Worked, cautions: &mut Cautions) -> WorkedView {
    let rows = rows(worked);
    WorkedView {
        name: worked.name.clone(),
        measure: worked.measure.clone(),
        drills: evidence_views(&rows, WORKED_DRILLS, false, &str::to_owned, cautions),
        notes: worked.notes.join(" "),
    }
}

fn lines(squad: &Squad, cautions: &Cautions) -> Vec<String> {
    let own = [
        "A fault a recording cannot show counts as not seen: the true shares are probably \
         higher."
            .to_owned(),
        "What changed after a plan is associated with it, not proven to come from it; players \
         are looked at when something is wrong, and often look better later even without help."
            .to_owned(),
        "Better and worse count players whose measure moved by more than chance and measuring \
         error give, from their first look of the period to the last that can be compared. Who \
         is looked at changes from month to month; a share may move because other players came. A \
         fault that no measure shows is called rarer or more common only if more players lost it \
         than got it, or the other way round."
            .to_owned(),
        "That a fault is gone shows only at the next look, so the days it took are overestimates."
            .to_owned(),
    ];
    let general = cautions.lines().into_iter();
    general
        .chain(own)
        .chain(squad.notes.iter().map(|note| format!("{}.", sentence(note))))
        .collect()
}
