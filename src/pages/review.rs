use std::fmt;

use askama::Template;

use super::data::{
    Audience, ChangeFacts, EvidenceRow, FaultFacts, MeasureRow, OutcomeFacts, Precedent, ReviewData,
};
use super::redact::Redactor;
use crate::coaching::{Cautions, ShownDrill};
use crate::drawing::picture_strip::{palm_strip, picture_strip};
use crate::drawing::style_variables;
use crate::drawing::{
    Channel, DotRow, Gauge, Seen, Svg, dot_row, gauge, ladder_mark, likeness_figure, month_strip,
    ribbon,
};
use crate::drawing::{EventStrip, event_strip};
use crate::looks::{Change, Unlike, Verdict};
use crate::motion::Side;
use crate::serve::Reading;
use crate::words::{self, about, about_moment, amount, bare, day, list, moments, sentence};

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

struct MeasureView {
    name: String,
    definition: String,
    said: String,
    trust: String,
    against: String,
    source: String,
    gauge: String,
    measured: bool,
}

struct FaultView {
    name: String,
    sentence: String,
    why: String,
    score: String,
    decided: String,
    order: String,
    shown: Vec<MeasureView>,
}

struct RungView {
    mark: String,
    place: String,
    what: String,
}

struct DrillView {
    name: String,
    cue: String,
    rungs: Vec<RungView>,
    dose: String,
    place: String,
    step_up: String,
    equipment: String,
    support: String,
    cautions: String,
}

struct PlanView {
    dates: String,
    note: String,
    drills: Vec<DrillView>,
    more: Vec<String>,
}

struct PrecedentView {
    who: String,
    identity: String,
    faults: String,
    plan: String,
    outcome: String,
    differs: String,
    /// How well it compares beside its distance, where that must be said.
    standing: String,
}

pub(super) struct EvidenceView {
    pub(super) drawing: String,
    pub(super) trust: String,
}

struct ChangeView {
    measure: String,
    before: String,
    after: String,
    said: String,
    class: &'static str,
}

#[derive(Template)]
#[template(path = "changes.html")]
struct Changes {
    rows: Vec<ChangeView>,
    before: &'static str,
    after: &'static str,
}

struct PalmView {
    turn: &'static str,
    why: String,
    shots: Option<String>,
}

struct ProgressView {
    sentence: String,
    months: Option<Pair>,
    strip: Option<Pair>,
    elsewhere: Changes,
    ball: Vec<String>,
}

#[derive(Template)]
#[template(path = "with_ball.html")]
struct ComparisonView {
    sentence: String,
    changes: Changes,
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
    palm: Option<PalmView>,
    ribbon: Option<Pair>,
    ribbon_caption: &'static str,
    plan: Option<PlanView>,
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
    let page = page(data, audience == Audience::Coach);
    let mut out = String::new();
    // Writing into a String cannot fail, and the templates have no fallible expressions.
    page.render_into(&mut out).expect("a String takes every text");
    out
}

fn page(data: &ReviewData, coach: bool) -> Page {
    let texts = if coach { Redactor::default() } else { Redactor::of(data) };
    let you = if coach { "this serve" } else { "you" };
    let closest = data.precedents.found.first();
    let behind = closest.and_then(|one| Some((one.figures.as_ref()?, closest_label(one, coach))));
    let strip = |seen: Seen| {
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
        title: format!("Serve review, {}, {}", data.player.code, day(data.serve.date)),
        style: format!("{}{}", style_variables(), include_str!("templates/style.css")),
        date: day(data.serve.date),
        who: who(data, coach),
        limiting,
        strip: strip(Seen::FromBehind),
        strip_caption: strip_caption(data, behind.is_some(), coach),
        shots_caption: shots_caption(data, behind.is_some(), coach),
        shots,
        shots_missing: shots_missing(data, coach),
        palm: data.pictures.as_ref().filter(|_| coach).map(|pictures| PalmView {
            turn: pictures.palm.turn,
            why: pictures.palm.why.clone(),
            shots: palm_strip(&pictures.palm),
        }),
        ribbon: data.channels.first().map(&named),
        ribbon_caption: ribbon_caption(data.channels.first(), coach),
        plan,
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
            side: strip(Seen::FromHittingSide),
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

fn closest_label(one: &Precedent, coach: bool) -> String {
    if coach {
        format!("closest precedent: {}, {}", one.player, one.serve)
    } else if one.own {
        format!("you, {}", day(one.date))
    } else {
        "the closest precedent".to_owned()
    }
}

fn strip_caption(data: &ReviewData, outlined: bool, coach: bool) -> String {
    let mut text = if outlined {
        format!(
            "Solid: {}. Outline: the serve most like {}.",
            if coach { "this serve" } else { "you" },
            if coach { "it" } else { "yours" }
        )
    } else {
        "Without an outline: no precedent can be drawn yet.".to_owned()
    };
    if data.player.hand == Side::Left {
        text.push_str(if coach {
            " Left-handed, drawn mirrored: the hitting side is on the right."
        } else {
            " You serve left-handed; drawn mirrored, your hitting arm is on the right."
        });
    }
    text
}

fn shots_caption(data: &ReviewData, outlined: bool, coach: bool) -> String {
    let mut text = format!(
        "{} own clip at the six moments, with the joints as the program sees them.",
        if coach { "The player's" } else { "Your" }
    );
    if outlined {
        text.push_str(" Below: the closest precedent at the same moments.");
        if data.player.hand == Side::Left {
            text.push_str(" It is drawn with the hitting arm on the right.");
        }
    }
    text
}

fn shots_missing(data: &ReviewData, coach: bool) -> String {
    let Some(pictures) = &data.pictures else { return String::new() };
    let Some(why) = &pictures.missing else { return String::new() };
    if coach {
        format!("{} It was: {}", sentence(why) + ".", pictures.place)
    } else {
        sentence(why) + "."
    }
}

fn ribbon_caption(channel: Option<&Channel>, coach: bool) -> &'static str {
    match (channel.and_then(|channel| channel.band.as_ref()), coach) {
        (Some(_), true) => {
            "Line: this serve. Band: 10th to 90th percentile of the precedents, dashed: their median; events aligned."
        }
        (Some(_), false) => {
            "Your line against the players who serve most like you; 8 of 10 of them stay in the band."
        }
        (None, true) => "Line: this serve. Fewer than three precedents: no band.",
        (None, false) => "Your line alone: too few players to hold it against.",
    }
}

fn measure_view(row: &MeasureRow) -> MeasureView {
    let (said, trust, value) = match &row.reading {
        Reading::Value { value, trust, give_or_take } if value.is_finite() => (
            if row.is_moment() {
                about_moment(*value, *give_or_take)
            } else {
                about(*value, *give_or_take, &row.unit)
            },
            format!("trust {trust:.2}"),
            Some((*value, *give_or_take)),
        ),
        Reading::Value { .. } => {
            ("not measurable from this recording".to_owned(), String::new(), None)
        }
        Reading::NotMeasurable { why } => {
            (format!("not measurable from this recording: {why}"), String::new(), None)
        }
    };
    let span = |(low, high): (f64, f64)| {
        if row.is_moment() {
            moments(low, high)
        } else {
            format!("{} to {}", bare(low, &row.unit), amount(high, &row.unit))
        }
    };
    let mut against: Vec<String> = Vec::new();
    against.extend(row.reference.as_ref().map(|r| format!("Reference {}.", span((r.0, r.1)))));
    against.extend(row.precedents.map(|p| format!("Precedents {}.", span(p))));
    if against.is_empty() && value.is_some() {
        against.push("Nothing published for this definition, and too few precedents.".to_owned());
    }
    let line = Gauge {
        name: &row.name,
        unit: &row.unit,
        value,
        reference: row.reference.as_ref().map(|r| (r.0, r.1)),
        precedents: row.precedents,
    };
    MeasureView {
        name: sentence(&row.name),
        definition: row.definition.clone(),
        said,
        trust,
        against: against.join(" "),
        source: row.reference.as_ref().map(|r| r.2.clone()).unwrap_or_default(),
        gauge: gauge(&line, 112.0).to_string(),
        measured: value.is_some(),
    }
}

fn fault_view(fault: &FaultFacts, data: &ReviewData, texts: &Redactor) -> FaultView {
    FaultView {
        name: fault.name.clone(),
        sentence: texts.clean(&fault.to_player),
        why: texts.clean(&fault.why),
        score: fault
            .score
            .filter(|score| score.is_finite())
            .map_or_else(|| "not detectable".to_owned(), |score| format!("{score:.2}")),
        decided: fault.decided.clone().unwrap_or_default(),
        order: fault.order.clone().unwrap_or_default(),
        shown: fault
            .measures
            .iter()
            .filter_map(|&at| data.measures.get(at))
            .map(measure_view)
            .collect(),
    }
}

/// Drills to choose from, to the coach.
fn offered(drills: &[ShownDrill], cautions: &mut Cautions) -> String {
    let names: Vec<&str> = drills.iter().map(|drill| cautions.name(drill)).collect();
    if names.is_empty() {
        String::new()
    } else {
        format!(" Drills to choose from: {}.", names.join(", "))
    }
}

fn plan_view(
    data: &ReviewData,
    full: usize,
    texts: &Redactor,
    cautions: &mut Cautions,
) -> Option<PlanView> {
    let plan = data.plan.as_ref()?;
    let mut dates = Vec::new();
    dates.extend(plan.start.map(|date| format!("from {}", day(date))));
    dates.extend(plan.review_on.map(|date| format!("next review on {}", day(date))));
    let drills = plan
        .drills
        .iter()
        .take(full)
        .map(|drill| {
            let text = cautions.in_full(drill);
            DrillView {
                name: text.name.to_owned(),
                cue: text.cue.to_owned(),
                rungs: text
                    .steps
                    .iter()
                    .enumerate()
                    .map(|(index, step)| RungView {
                        mark: ladder_mark(index + 1, text.steps.len()).to_string(),
                        place: sentence(step.place.label()),
                        what: step.text.clone(),
                    })
                    .collect(),
                dose: text.dose.to_owned(),
                place: text.place.map(|place| sentence(place.label())).unwrap_or_default(),
                step_up: text.step_up.to_owned(),
                equipment: list(text.equipment),
                support: text.support.to_owned(),
                cautions: text.cautions.join(" "),
            }
        })
        .collect();
    let more = plan.drills.iter().skip(full).map(|drill| {
        let text = cautions.in_full(drill);
        let mut parts = vec![format!("{}:", text.name)];
        let told = text.dose_and_place();
        parts.extend(Some(told).filter(|told| !told.is_empty()).map(|told| told + "."));
        parts.extend(text.cautions.iter().cloned());
        parts.join(" ")
    });
    let more = more.collect();
    Some(PlanView {
        dates: sentence(&dates.join(", ")),
        note: plan.note.as_deref().map(|note| texts.clean(note)).unwrap_or_default(),
        drills,
        more,
    })
}

fn searched(data: &ReviewData, shown: usize, coach: bool) -> String {
    let all = words::count(data.precedents.searched, "serve");
    let mut text = match data.precedents.found.len().min(shown) {
        0 => format!("{} searched.", sentence(&all)),
        1 => format!("The closest of {all} searched."),
        some => format!("The {some} closest of {all} searched."),
    };
    if let Some(first) = &data.precedents.searched_first
        && data.precedents.searched > 0
    {
        text.push_str(&format!(
            " Those {first} come first: {} of them.",
            match data.precedents.comparable {
                n if n == data.precedents.searched => "all".to_owned(),
                n => n.to_string(),
            }
        ));
    }
    if let Some(filter) = data.precedents.filter.as_ref().filter(|_| coach) {
        text.push_str(&format!(" Filter: {filter}."));
    }
    text
}

fn outcome_words(outcomes: &[OutcomeFacts]) -> String {
    if outcomes.is_empty() {
        return "Nothing was prescribed.".to_owned();
    }
    let words = |outcome: &OutcomeFacts| {
        let moved = |change: &Change, word: &str| {
            let by = words::apart(change.before.value, change.after.value, change.def.unit);
            format!("Afterwards: {} {word} by {by}", change.def.name)
        };
        match &outcome.verdict {
            Verdict::Better(change) => {
                format!("{}, more than chance allows.", moved(change, "better"))
            }
            Verdict::Worse(change) => {
                format!("{}, more than chance allows.", moved(change, "worse"))
            }
            Verdict::NoClearChange(change) => {
                format!("{}, which chance alone can do.", moved(change, "changed"))
            }
            // Without its day: a player's copy tells no days of others.
            Verdict::NotComparable { why: Unlike::NoServe { .. } } => {
                "Followed up, but no serve is recorded both times.".to_owned()
            }
            Verdict::NotComparable { why } => format!("Seen again, but {why}."),
            Verdict::NotYet { .. } => {
                "Not followed up, so nobody knows whether it helped.".to_owned()
            }
        }
    };
    match outcomes {
        [one] => words(one),
        several => {
            let each = |one: &OutcomeFacts| format!("{}: {}", one.fault, words(one));
            several.iter().map(each).collect::<Vec<_>>().join(" ")
        }
    }
}

fn precedent_view(
    one: &Precedent,
    data: &ReviewData,
    coach: bool,
    compared: bool,
    cautions: &mut Cautions,
) -> PrecedentView {
    let mut who = match one.level {
        _ if one.own => format!("You, {}", day(one.date)),
        Some(level) => format!("A {}", words::level(level)),
        None => "A player".to_owned(),
    };
    if let Some(hand) = one.hand.filter(|_| !one.own) {
        who.push_str(&format!(", {}", words::handed(hand)));
    }
    if coach && one.own {
        who = format!("The same player, {}", day(one.date));
    }
    let other: Vec<String> = one.faults.iter().map(|fault| fault.to_lowercase()).collect();
    let faults = match (one.same_fault, data.limiting.as_ref()) {
        (true, Some(_)) => {
            let limiting =
                data.limiting.as_ref().map(|f| f.name.to_lowercase()).unwrap_or_default();
            let rest: Vec<_> = other.into_iter().filter(|fault| *fault != limiting).collect();
            if rest.is_empty() {
                "Had the same fault.".to_owned()
            } else {
                format!("Had the same fault. Also: {}.", rest.join("; "))
            }
        }
        _ if other.is_empty() => "No fault was noted.".to_owned(),
        _ => format!("Noted: {}.", other.join("; ")),
    };
    let plan = if one.drills.is_empty() {
        String::new()
    } else {
        let names: Vec<&str> = one.drills.iter().map(|drill| cautions.name(drill)).collect();
        format!("Drills: {}.", names.join("; "))
    };
    let most = |shares: Vec<(String, f64)>| {
        shares.into_iter().filter(|share| share.1.is_finite()).max_by(|a, b| a.1.total_cmp(&b.1))
    };
    let parts = one.likeness.parts.iter().map(|(part, share)| (part.label().to_owned(), *share));
    let differs = most(parts.collect()).map_or_else(String::new, |(part, share)| {
        let phase = most(one.likeness.phases.clone()).map_or_else(String::new, |(phase, share)| {
            format!(", and in {phase} ({:.0} %)", share * 100.0)
        });
        format!("Differs most in the {part} ({:.0} %){phase}.", share * 100.0)
    });
    let identity = format!(
        "{}, serve {}, case {}, {}{}{}; distance {:.2}",
        one.player,
        one.serve,
        one.case,
        day(one.date),
        if one.context.is_empty() { "" } else { ", " },
        one.context,
        one.distance
    );
    PrecedentView {
        who,
        identity: if coach { identity } else { String::new() },
        faults,
        plan,
        outcome: outcome_words(&one.outcomes),
        differs: if compared { differs } else { String::new() },
        standing: standing(one, coach),
    }
}

fn standing(one: &Precedent, coach: bool) -> String {
    let player = if coach { "Same player" } else { "You" };
    match &one.poor_because {
        _ if one.same_set_up => format!("{player}, same set-up: the strongest comparison."),
        Some(why) => format!("Compares poorly: {why}."),
        None if one.own => format!("{player}, not known to be the same set-up."),
        None => String::new(),
    }
}

/// Rows of dots on one scale with what they say; `nearness`: whether to say what the players count
/// like, `clean` goes over every text.
pub(super) fn evidence_views(
    rows: &[EvidenceRow],
    most: usize,
    nearness: bool,
    clean: &dyn Fn(&str) -> String,
    cautions: &mut Cautions,
) -> Vec<EvidenceView> {
    let rows: Vec<_> = rows.iter().take(most).collect();
    let range = rows
        .iter()
        .map(|row| row.row.range())
        .fold((0.0, 0.0), |a: (f64, f64), b| (a.0.min(b.0), a.1.max(b.1)));
    rows.into_iter()
        .map(|row| {
            let (label, own) = cautions.together(&row.done);
            let row_of_dots = DotRow { label, ..row.row.clone() };
            let mut trust =
                vec![format!("{}.", sentence(&row_of_dots.estimated())), clean(&row.trust)];
            trust.extend(row.typical_days.filter(|d| d.is_finite()).map(|days| {
                format!("Typical time to change: about {:.0} weeks.", (days / 7.0).max(1.0))
            }));
            trust.extend(
                row.effective_players
                    .filter(|n| nearness && n.is_finite())
                    .map(|n| format!("Counts like {n:.1} players as close as the closest.")),
            );
            if !own.is_empty() {
                let own: Vec<_> = own.into_iter().map(clean).collect();
                trust.push(format!("Caution: {}", own.join(" ")));
            }
            EvidenceView {
                drawing: dot_row(&row_of_dots, range, HALF).to_string(),
                trust: trust.join(" "),
            }
        })
        .collect()
}

fn changes(rows: &[ChangeFacts], most: usize, [before, after]: [&'static str; 2]) -> Changes {
    Changes { rows: rows.iter().take(most).map(change_view).collect(), before, after }
}

fn change_view(change: &ChangeFacts) -> ChangeView {
    let by = change.after - change.before;
    let (said, class) = if !by.is_finite() {
        ("not measurable both times".to_owned(), "")
    } else if !change.beyond {
        (format!("within chance ({} could be)", amount(change.detectable, &change.unit)), "")
    } else {
        let (word, class) = match change.better {
            Some(true) => ("better", "better"),
            Some(false) => ("worse", "worse"),
            None => (if by > 0.0 { "more" } else { "less" }, ""),
        };
        (format!("{word}, by {}", words::apart(change.before, change.after, &change.unit)), class)
    };
    ChangeView {
        measure: sentence(&change.measure),
        before: words::reading(&change.measure, &change.unit, change.before),
        after: words::reading(&change.measure, &change.unit, change.after),
        said,
        class,
    }
}

fn progress_view(
    data: &ReviewData,
    most: usize,
    coach: bool,
    texts: &Redactor,
) -> Option<ProgressView> {
    let progress = data.progress.as_ref()?;
    let months = progress.months.as_ref().and_then(|strip| {
        Some(Pair {
            wide: month_strip(strip, BESIDE)?.to_string(),
            narrow: month_strip(strip, NARROW)?.to_string(),
        })
    });
    // A player's two sheets have room for one strip.
    let strip = progress.earlier.as_ref().filter(|_| coach).and_then(|(figures, label)| {
        let strip = EventStrip {
            this: data.figures.as_ref()?,
            this_label: "now",
            behind: Some((figures, label.as_str())),
            events: &data.events,
            seen: Seen::FromBehind,
        };
        Some(pair(|width| event_strip(&strip, width)))
    });
    Some(ProgressView {
        sentence: texts.clean(&progress.sentence),
        months,
        strip,
        elsewhere: changes(&progress.elsewhere, most, ["before", "now"]),
        ball: progress
            .ball
            .iter()
            .chain(progress.curves.as_ref().filter(|_| coach))
            .map(|line| texts.clean(line))
            .collect(),
    })
}

/// One line per reason: "Palm rotation, wrist snap: no hand joints". A player reads the reasons
/// that keep most from being measured, with a name each and a count.
fn not_measurable(measures: &[MeasureRow], coach: bool) -> Vec<String> {
    let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
    for row in measures {
        let why = match &row.reading {
            Reading::NotMeasurable { why } => why.as_str(),
            Reading::Value { value, .. } if !value.is_finite() => "no value",
            Reading::Value { .. } => continue,
        };
        match reasons.iter_mut().find(|reason| reason.0 == why) {
            Some(reason) => reason.1.push(&row.name),
            None => reasons.push((why, vec![&row.name])),
        }
    }
    let mut further = 0;
    if !coach {
        reasons.sort_by_key(|(_, names)| std::cmp::Reverse(names.len()));
        let cut = reasons.split_off(reasons.len().min(PLAYER_REASONS));
        further = cut.iter().map(|(_, names)| names.len()).sum();
    }
    let mut lines: Vec<String> = reasons
        .into_iter()
        .map(|(why, names)| {
            let said = match names.as_slice() {
                [first, rest @ ..] if !coach && rest.len() > 1 => {
                    format!("{first} and {} others", rest.len())
                }
                all => list(all),
            };
            format!("Not measurable from this recording ({why}): {said}.")
        })
        .collect();
    if further > 0 {
        lines.push(format!(
            "For other reasons not measurable: {further} more; your coach has the list."
        ));
    }
    lines
}

/// What was answered, a line each; what is still to be asked, in one line.
fn asked_lines(asked: &[super::data::Asked], coach: bool, texts: &Redactor) -> Vec<String> {
    let answered = asked.iter().filter_map(|one| {
        let answer = texts.clean(one.answer.as_ref()?);
        Some(format!("{}: {answer} (as told, not measured).", sentence(&one.what)))
    });
    let mut lines: Vec<String> = answered.collect();
    let open: Vec<&str> =
        asked.iter().filter(|one| one.answer.is_none()).map(|one| one.what.as_str()).collect();
    if !open.is_empty() {
        let open = list(&open);
        lines.push(match coach {
            true => format!("Not asked yet: {open}. Ask, and record the answers."),
            false => format!("Your coach will ask you for: {open}."),
        });
    }
    lines
}

fn precedent_strips(data: &ReviewData, you: &str) -> Vec<Pair> {
    let Some(this) = data.figures.as_ref() else { return Vec::new() };
    data.precedents
        .found
        .iter()
        .skip(1)
        .filter_map(|one| Some((one, one.figures.as_ref()?)))
        .take(COACH_STRIPS - 1)
        .map(|(one, figures)| {
            let label = format!("{}, {}, distance {:.2}", one.player, one.serve, one.distance);
            let behind = Some((figures, label.as_str()));
            let strip = EventStrip {
                this,
                this_label: you,
                behind,
                events: &data.events,
                seen: Seen::FromBehind,
            };
            pair(|width| event_strip(&strip, width))
        })
        .collect()
}

fn event_rows(data: &ReviewData) -> Vec<(String, String, String, String)> {
    data.events
        .iter()
        .map(|event| {
            (
                sentence(event.kind.label()),
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
