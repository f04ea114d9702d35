//! One review as one page.

mod captions;
mod changes;
mod drawn;
mod evidence;
mod faults;
mod plan;
mod precedents;

use std::fmt;

use askama::Template;

use self::captions::{ribbon_caption, shots_caption, shots_missing, strip_caption};
use self::changes::{ComparisonView, ProgressView, changes, progress_view};
use self::drawn::drawn_strip;
pub(super) use self::evidence::{EvidenceView, evidence_views};
use self::faults::{
    FaultView, MeasureView, asked_lines, fault_view, measure_view, not_measurable, offered,
};
use self::plan::{PlanView, plan_view};
pub(crate) use self::precedents::closest_label;
use self::precedents::{PrecedentView, precedent_strips, precedent_view, searched};
use super::redact::Redactor;
use super::{Audience, OtherViewFacts, ReviewData};
use crate::drawing::picture_strip::{palm_strip, picture_strip};
use crate::drawing::{
    Channel, EventStrip, Svg, Viewpoint, event_strip, likeness_figure, ribbon, style_variables,
};
use crate::library::Witness;
use crate::words::{self, Interface, amount, day, list, sentence};

/// Room on a sheet and on a large screen, and on a phone.
pub(super) const WIDE: f64 = 720.0;
pub(super) const NARROW: f64 = 358.0;
/// With words beside it.
const BESIDE: f64 = 430.0;
/// Two drawings side by side.
const HALF: f64 = 344.0;
/// What fits two sheets.
const PLAYER_DRILLS: usize = 1;
const PLAYER_PRECEDENTS: usize = 3;
const PLAYER_EVIDENCE: usize = 2;
const PLAYER_CHANGES: usize = 3;
const PLAYER_REASONS: usize = 3;
const COACH_STRIPS: usize = 3;

/// A drawing for wide and for narrow pages; the style sheet shows one of them.
pub(super) struct Pair {
    pub(super) wide: String,
    pub(super) narrow: String,
}

impl fmt::Display for Pair {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { wide, narrow } = self;
        write!(f, r#"<div class="wide">{wide}</div><div class="narrow">{narrow}</div>"#)
    }
}

fn pair(draw: impl Fn(f64) -> Svg) -> Pair {
    Pair { wide: draw(WIDE).to_string(), narrow: draw(NARROW).to_string() }
}

struct PalmView {
    turn: &'static str,
    why: String,
    shots: Option<String>,
}

/// What only the coach's copy holds.
struct Extra {
    second: Option<FaultView>,
    others: Vec<FaultView>,
    unseen: String,
    measures: Vec<MeasureView>,
    side: Option<Pair>,
    precedent_strips: Vec<Pair>,
    ribbons: Vec<String>,
    events: Vec<(String, String, String, String)>,
    notes: Vec<String>,
}

#[derive(Template)]
#[template(path = "review.html")]
struct Page {
    coach: bool,
    interface: Interface,
    title: String,
    style: String,
    date: String,
    who: String,
    limiting: Option<FaultView>,
    strip: Option<Pair>,
    strip_caption: String,
    shots: Option<String>,
    shots_caption: String,
    shots_missing: String,
    /// The same serve from elsewhere: what it shows, and what that is. On paper the coach's copy alone
    /// has them: the player's keeps to two sheets.
    views: Vec<(String, String)>,
    /// What the coach drew, frame by frame.
    drawn: Option<String>,
    palm: Option<PalmView>,
    ribbon: Option<Pair>,
    ribbon_caption: &'static str,
    plan: Option<PlanView>,
    /// What hurts and what to do, before any drill.
    sore: String,
    searched: String,
    found: Vec<PrecedentView>,
    likeness: Option<String>,
    evidence: Vec<EvidenceView>,
    evidence_notes: Vec<String>,
    dashed: bool,
    progress: Option<ProgressView>,
    with_ball: Option<ComparisonView>,
    /// Something stands beside the cautions.
    aside: bool,
    not_measurable: Vec<String>,
    asked: Vec<String>,
    cautions: Vec<String>,
    extra: Option<Extra>,
}

/// One review as one self-contained HTML file: no script, no outside resource, printable on A4.
///
/// A player's copy is two sheets when its texts are of ordinary length, and holds no code, id or date
/// of another player: those fields are left out, and known ones that occur in free texts are
/// replaced by "another player". All texts are escaped.
#[must_use]
pub fn review(data: &ReviewData, audience: Audience) -> String {
    let page = match audience {
        Audience::Player => page(data, None),
        Audience::Coach(interface) => page(data, Some(interface)),
    };
    let mut out = String::new();
    // Writing into a String cannot fail, and the templates have no fallible expressions.
    page.render_into(&mut out).expect("a String takes every text");
    out
}

/// `reads`: where the coach reads it; `None`: it is the player's.
fn page(data: &ReviewData, reads: Option<Interface>) -> Page {
    let coach = reads.is_some();
    let texts = if coach { Redactor::default() } else { Redactor::of(data) };
    let you = if coach { "this serve" } else { "you" };
    let closest = data.precedents.found.first();
    let behind = closest.and_then(|one| Some((one.figures.as_ref()?, closest_label(one, coach))));
    let strip = |seen: Viewpoint| {
        let this = data.figures.as_ref()?;
        let behind = behind.as_ref().map(|(figures, label)| (*figures, label.as_str()));
        let strip = EventStrip { this, this_label: you, behind, events: &data.events, seen };
        Some(pair(|width| event_strip(&strip, width)))
    };
    let behind_shots = behind.as_ref().map(|(figures, label)| (*figures, label.as_str()));
    let shots = data
        .pictures
        .as_ref()
        .and_then(|pictures| picture_strip(pictures, &data.events, behind_shots));
    let named = |channel: &Channel| pair(|width| ribbon(channel, you, width));
    let (shown, cut) = if coach {
        (data.precedents.found.len(), usize::MAX)
    } else {
        (PLAYER_PRECEDENTS, PLAYER_DRILLS)
    };
    let unmeasured = not_measurable(&data.measures, coach);
    let limits = if coach { (usize::MAX, usize::MAX) } else { (PLAYER_EVIDENCE, PLAYER_CHANGES) };
    let clean = |text: &str| texts.clean(text);
    let mut cautions = data.cautions.clone();
    let plan = plan_view(data, cut, &texts, &mut cautions);
    let found = data.precedents.found.iter().take(shown).enumerate();
    let found = found
        .map(|(index, one)| precedent_view(one, data, coach, coach || index == 0, &mut cautions))
        .collect();
    let evidence = evidence_views(&data.evidence, limits.0, coach, &clean, &mut cautions);
    let limiting = data.limiting.as_ref().map(|fault| {
        let mut view = fault_view(fault, data, &texts);
        if coach {
            view.order.push_str(&offered(&fault.offers, &mut cautions));
        }
        view
    });
    Page {
        coach,
        interface: reads.unwrap_or(Interface::Terminal),
        title: format!("Serve review, {}, {}", data.player.code, day(data.serve.date)),
        style: format!("{}{}", style_variables(), include_str!("../templates/style.css")),
        date: day(data.serve.date),
        who: who(data, coach),
        limiting,
        strip: strip(Viewpoint::FromBehind),
        strip_caption: strip_caption(data, behind.is_some(), coach),
        shots_caption: shots_caption(data, behind.is_some(), coach),
        shots,
        shots_missing: shots_missing(data, coach),
        views: data.views.iter().map(|view| other_view(view, coach)).collect(),
        drawn: drawn_strip(data, coach, &clean),
        palm: data.pictures.as_ref().filter(|_| coach).map(|pictures| PalmView {
            turn: pictures.palm.turn,
            why: pictures.palm.why.clone(),
            shots: palm_strip(&pictures.palm),
        }),
        ribbon: data.channels.first().map(&named),
        ribbon_caption: ribbon_caption(data.channels.first(), coach),
        plan,
        sore: cautions.sore().join(" "),
        searched: searched(data, shown, coach),
        found,
        likeness: closest
            .filter(|one| !one.likeness.parts.is_empty())
            .map(|one| likeness_figure(&one.likeness, "the closest precedent", 290.0).to_string()),
        evidence,
        evidence_notes: data.evidence_notes.iter().map(|note| texts.clean(note)).collect(),
        dashed: data.evidence.iter().any(|row| row.row.by_itself.is_some()),
        progress: progress_view(data, limits.1, coach, &texts),
        with_ball: data.with_ball.as_ref().map(|ball| ComparisonView {
            sentence: texts.clean(&ball.sentence),
            changes: changes(&ball.changes, limits.1, ["practice swing", "with the ball"]),
        }),
        aside: data.with_ball.is_some() || !data.asked.is_empty() || !unmeasured.is_empty(),
        not_measurable: unmeasured,
        asked: asked_lines(&data.asked, coach, &texts),
        cautions: if coach { cautions.lines() } else { cautions.in_short() }
            .iter()
            .map(|text| texts.clean(text))
            .collect(),
        extra: coach.then(|| Extra {
            second: data.second.as_ref().map(|fault| fault_view(fault, data, &texts)),
            others: data.other_faults.iter().map(|fault| fault_view(fault, data, &texts)).collect(),
            unseen: list(
                &data
                    .unseen_faults
                    .iter()
                    .map(|(fault, why)| format!("{fault} ({why})"))
                    .collect::<Vec<_>>(),
            ),
            measures: data.measures.iter().map(measure_view).collect(),
            // Without depth there is no other side to it.
            side: strip(Viewpoint::FromHittingSide)
                .filter(|_| data.figures.as_ref().is_some_and(|figures| !figures.is_flat())),
            precedent_strips: precedent_strips(data, you),
            ribbons: data
                .channels
                .iter()
                .skip(1)
                .map(|channel| ribbon(channel, you, HALF).to_string())
                .collect(),
            events: event_rows(data),
            notes: notes(data),
        }),
    }
}

/// Another view at the same moments: its clip's pictures, else the body as that camera saw it.
fn other_view(view: &OtherViewFacts, coach: bool) -> (String, String) {
    let shots = view.pictures.as_ref().and_then(|shots| picture_strip(shots, &view.events, None));
    let drawn = shots.unwrap_or_else(|| {
        let strip = EventStrip {
            this: &view.figures,
            this_label: &view.of.seen,
            behind: None,
            events: &view.events,
            seen: view.drawn_from,
        };
        pair(|width| event_strip(&strip, width)).to_string()
    });
    let of = if coach { format!(" ({})", view.of.serve) } else { String::new() };
    let caption = format!("The same serve{of}, {}, at the same moments.", view.of.seen);
    (drawn, caption)
}

fn who(data: &ReviewData, coach: bool) -> String {
    let player = &data.player;
    let mut parts = vec![player.code.clone(), words::handed(player.hand).to_owned()];
    parts.extend(player.level.map(|level| words::level(level).to_owned()));
    parts.extend(data.serve.setting.map(|setting| words::setting(setting).to_owned()));
    if coach {
        parts.extend(player.age_band.clone());
        parts.extend(player.stature_m.map(|stature| amount(stature, "m")));
        parts.extend(data.serve.serve_type.map(|kind| words::serve_type(kind).to_owned()));
        parts.push(format!("serve {}", data.serve.id));
    }
    parts.join(", ")
}

fn event_rows(data: &ReviewData) -> Vec<(String, String, String, String)> {
    data.events
        .iter()
        .enumerate()
        .map(|(at, event)| {
            let witness = data.witnesses.get(at).filter(|witness| **witness != Witness::Joints);
            let witness = witness.map(|witness| format!(", {}", witness.describe()));
            (
                sentence(event.kind.label()) + &witness.unwrap_or_default(),
                format!("{:.3} s", event.time_s),
                event.frame.to_string(),
                format!("{:.2}", event.trust),
            )
        })
        .collect()
}

fn notes(data: &ReviewData) -> Vec<String> {
    std::iter::once(format!("Recorded {} with {}.", day(data.serve.date), data.serve.source))
        .chain(data.serve.notes.iter().map(|note| sentence(note)))
        .collect()
}
