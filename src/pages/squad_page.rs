use askama::Template;

use crate::coaching::Cautions;
use crate::drawing::style_variables;
use crate::drawing::{map_drawing, month_shares, share_mark, tree_drawing};
use crate::evidence::Worked;
use crate::pages::gather::rows;
use crate::pages::review::{EvidenceView, evidence_views};
use crate::squad::{Alike, Basis, FaultFacts, GroupFacts, Share, Squad, TrendVerdict};
use crate::words::{count, day, list, sentence};

const WIDE: f64 = 720.0;
const NARROW: f64 = 358.0;
const HALF: f64 = 344.0;
/// What one table holds; the rest is named in a line.
const FAULTS: usize = 10;
const SEEN: usize = 8;
const STRIPS: usize = 8;
const GROUP_FAULTS: usize = 4;
const SLICE_FAULTS: usize = 5;
const WORKED: usize = 3;
const WORKED_DRILLS: usize = 4;

struct FaultView {
    name: String,
    now: String,
    interval: String,
    mark: String,
    trend: String,
    detail: String,
    changes: String,
    time: String,
}

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

struct GroupView {
    sentence: String,
    who: String,
    faults: Vec<MarkView>,
}

struct AlikeView {
    how: String,
    map: String,
    map_caption: String,
    groups: Vec<GroupView>,
    left_out: Vec<String>,
    tree: String,
    tree_note: &'static str,
}

struct WorkedView {
    name: String,
    measure: String,
    drills: Vec<EvidenceView>,
    notes: String,
}

struct StripView {
    drawing: String,
    caption: String,
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
pub fn squad_page(squad: &Squad) -> String {
    let name = squad.name.clone().unwrap_or_else(|| "all players".to_owned());
    let standing: Vec<&FaultFacts> = squad.faults.iter().filter(|f| f.now.with > 0).collect();
    let strips = strips(squad);
    let mut cautions = squad.cautions.clone();
    let worked = squad.worked.iter().take(WORKED);
    let worked = worked.map(|worked| worked_view(worked, &mut cautions)).collect();
    let page = Page {
        title: format!("Squad report, {name}"),
        style: format!(
            "{}{}{}",
            style_variables(),
            include_str!("templates/style.css"),
            include_str!("templates/squad.css")
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
                format!("{more} more with weaker reasons; the data of the report lists them all.")
            }
        },
        alike: squad.alike.as_ref().map(alike_view),
        tried: squad.faults.len(),
        strips,
        slice_faults: standing.iter().take(SLICE_FAULTS).map(|f| f.name.clone()).collect(),
        slices: slices(squad, &standing),
        plans: plans(squad),
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

/// The few faults that most have, where that is more than noise.
fn headline(squad: &Squad) -> String {
    let Some(first) = squad.faults.iter().find(|fault| fault.now.with > 0) else {
        return "No fault stands in this squad.".to_owned();
    };
    format!("Most common now: {}, in {} players.", first.name.to_lowercase(), of(&first.now))
}

fn lead(squad: &Squad) -> Vec<String> {
    let mut lines = Vec::new();
    for verdict in [TrendVerdict::Better, TrendVerdict::Worse] {
        lines.extend(
            trends(squad, verdict).map(|(word, names)| format!("Getting {word}: {names}.")),
        );
    }
    for verdict in [TrendVerdict::PerhapsBetter, TrendVerdict::PerhapsWorse] {
        lines.extend(trends(squad, verdict).map(|(word, names)| {
            let tried = squad.faults.len();
            let word = word.replace("perhaps", "Perhaps getting");
            format!("{word} ({tried} faults tried, so this may be chance): {names}.")
        }));
    }
    if lines.is_empty() {
        lines.push("No fault clearly gets better or worse in this period.".to_owned());
    }
    if let Some(alike) = squad.alike.as_ref() {
        lines.push(match alike.groups.len() {
            0 | 1 => "The serves form one group: no ways of serving part the squad.".to_owned(),
            more => format!("{more} groups of similar serves."),
        });
    }
    let overdue = squad.follow_up.overdue.len();
    if overdue > 0 {
        lines.push(format!("{} overdue for review.", sentence(&count(overdue, "plan"))));
    }
    lines
}

/// The faults of one verdict by how it is said, those a measure shows first.
fn trends(
    squad: &Squad,
    verdict: TrendVerdict,
) -> impl Iterator<Item = (&'static str, String)> + '_ {
    [true, false].into_iter().filter_map(move |measured| {
        let those = squad.faults.iter().filter(|fault| {
            fault.verdict == verdict && matches!(fault.basis, Basis::Measure(_)) == measured
        });
        let those: Vec<&FaultFacts> = those.collect();
        let word = those.first()?.basis.describe(verdict);
        let names: Vec<String> = those.iter().map(|fault| fault.name.to_lowercase()).collect();
        Some((word, list(&names)))
    })
}

fn fault_view(fault: &FaultFacts) -> FaultView {
    let detail = match &fault.basis {
        Basis::Measure(moved) => format!("{} ({})", moved.describe(), moved.measure),
        Basis::LabelsAndRatings { trend: Some(trend), .. } => {
            let odds = [trend.slope, trend.interval.0, trend.interval.1].map(f64::exp);
            let against =
                fault.verdict == TrendVerdict::NotClear && !(odds[1]..=odds[2]).contains(&1.0);
            let why_not = match (fault.new.len(), fault.cured.len()) {
                _ if !against => String::new(),
                (0, 0) => ", but no player got or lost it".to_owned(),
                (new, gone) => format!(", but {new} got it and {gone} lost it"),
            };
            format!(
                "as seen and rated, no measure shows it: odds times {:.2} a month ({:.2} to \
                 {:.2}){why_not}",
                odds[0], odds[1], odds[2]
            )
        }
        Basis::LabelsAndRatings { no_trend_because, .. } => format!(
            "no measure shows it{}",
            no_trend_because.as_ref().map_or_else(String::new, |why| format!("; {why}"))
        ),
    };
    let time = &fault.time_to_cure;
    let told = match (time.median_days, time.interval) {
        (Some(median), (Some(low), Some(high))) => {
            format!("half gone after {median:.0} days ({low:.0} to {high:.0})")
        }
        (Some(median), (Some(low), None)) => {
            format!("half gone after {median:.0} days ({low:.0} or more)")
        }
        (Some(median), _) => format!("half gone after {median:.0} days"),
        (None, _) if time.of > 0 => "fewer than half gone yet".to_owned(),
        (None, _) => String::new(),
    };
    FaultView {
        name: fault.name.clone(),
        now: of(&fault.now),
        interval: percent(&fault.now),
        mark: share_mark(&fault.now, None, 180.0).to_string(),
        trend: fault.basis.describe(fault.verdict).to_owned(),
        detail,
        changes: format!("{} new, {} gone", fault.new.len(), fault.cured.len()),
        time: told,
    }
}

fn see_view(one: &crate::squad::SeeNext) -> SeeView {
    SeeView {
        player: one.player.clone(),
        coach: one.coach.clone().unwrap_or_default(),
        last: day(one.last_seen),
        reasons: one.reasons.iter().map(|reason| sentence(&reason.text)).collect(),
    }
}

fn alike_view(alike: &Alike) -> AlikeView {
    let how = match alike.silhouette {
        Some(width) => {
            let tried: Vec<String> =
                alike.tried.iter().map(|(k, width)| format!("{k}: {width:.2}")).collect();
            format!(
                "{} of {} compared, all with all, by exact time warping. {} groups: the number \
                 with the widest silhouette between players ({width:.2}; tried {}).{}",
                count(alike.serves.len(), "serve"),
                count(alike.players.len(), "player"),
                alike.groups.len(),
                tried.join(", "),
                alike.second.map_or_else(String::new, |second| format!(
                    " {} (Agreement {:.2} of 1.)",
                    second.verdict.sentence(),
                    second.agreement
                ))
            )
        }
        None => {
            let widest = alike.tried.iter().map(|tried| tried.1).reduce(f64::max);
            let why = widest.map_or_else(
                || "too few players to part".to_owned(),
                |width| format!("no number of groups parts the players well (widest silhouette {width:.2}, 0.25 wanted)"),
            );
            format!(
                "{} of {} compared, all with all, by exact time warping: {why}.",
                count(alike.serves.len(), "serve"),
                count(alike.players.len(), "player")
            )
        }
    };
    let pair = |wide: String, narrow: String| {
        format!(r#"<div class="wide">{wide}</div><div class="narrow">{narrow}</div>"#)
    };
    let drawn = |draw: fn(&Alike, f64) -> crate::drawing::Svg| {
        pair(draw(alike, WIDE).to_string(), draw(alike, NARROW).to_string())
    };
    AlikeView {
        how,
        map: drawn(map_drawing),
        map_caption: format!(
            "One dot: one serve; near means alike. Two directions hold {:.0} % of the differences. \
             Figure: the serve that stands for its group, at trophy, seen from the \
             hitting side.",
            100.0 * alike.kept
        ),
        groups: alike.groups.iter().map(|group| group_view(group, alike.groups.len())).collect(),
        left_out: alike
            .left_out
            .iter()
            .map(|(serves, why)| {
                format!("Not compared: {}, because: {why}.", count(*serves, "serve"))
            })
            .collect(),
        tree: drawn(tree_drawing),
        tree_note: if alike.players.len() > 40 { "; the nearest share a wedge" } else { "" },
    }
}

fn group_view(group: &GroupFacts, groups: usize) -> GroupView {
    let stability = group.stability.map_or_else(String::new, |stability| {
        format!(" Found again in resampled squads: {stability:.2} of 1.")
    });
    let shown = group.codes.iter().take(24).cloned().collect::<Vec<_>>();
    let more = match group.codes.len() - shown.len() {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    GroupView {
        sentence: group.sentence.clone(),
        who: format!(
            "{}{more}. Stands for it: {} of {}.{stability}",
            shown.join(", "),
            group.medoid,
            group.medoid_player
        ),
        faults: group
            .faults
            .iter()
            .filter(|fault| groups > 1 && fault.here.with > 0)
            .take(GROUP_FAULTS)
            .map(|fault| MarkView {
                name: fault.name.clone(),
                here: of(&fault.here),
                rest: of(&fault.rest),
                mark: share_mark(&fault.here, Some(&fault.rest), 180.0).to_string(),
                apart: fault.apart.map_or_else(String::new, |apart| {
                    format!(
                        "{:+.0} points ({:+.0} to {:+.0}){}",
                        100.0 * apart.by,
                        100.0 * apart.interval.0,
                        100.0 * apart.interval.1,
                        if apart.is_clear() { "" } else { ", not clear" }
                    )
                }),
            })
            .collect(),
    }
}

/// Clear changes first, then the most common.
fn strips(squad: &Squad) -> Vec<StripView> {
    let rank = |fault: &&FaultFacts| match fault.verdict {
        TrendVerdict::Better | TrendVerdict::Worse => 0,
        TrendVerdict::PerhapsBetter | TrendVerdict::PerhapsWorse => 1,
        TrendVerdict::NotClear | TrendVerdict::TooLittle => 2,
    };
    let mut faults: Vec<&FaultFacts> = squad.faults.iter().collect();
    faults.sort_by_key(rank);
    faults
        .into_iter()
        .filter_map(|fault| {
            let verdict = sentence(fault.basis.describe(fault.verdict));
            Some(StripView {
                drawing: month_shares(fault, HALF)?.to_string(),
                caption: match &fault.basis {
                    Basis::Measure(moved) => {
                        format!("{verdict} by {}: {}.", moved.measure, moved.describe())
                    }
                    Basis::LabelsAndRatings { .. } => {
                        format!("{verdict}, as seen and rated: no measure shows it.")
                    }
                },
            })
        })
        .take(STRIPS)
        .collect()
}

fn slices(squad: &Squad, standing: &[&FaultFacts]) -> Vec<SliceView> {
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

fn plans(squad: &Squad) -> String {
    let plans = &squad.follow_up;
    if plans.plans == 0 {
        return "No plan was made in this period. Record one with plan.".to_owned();
    }
    format!(
        "{} made: {} followed up, {} without a recorded follow-up though the player was seen \
         again, {} still running, {} overdue and not seen since{}.",
        sentence(&count(plans.plans, "plan")),
        plans.followed,
        plans.seen_again,
        plans.running,
        plans.overdue.len(),
        if plans.ended == 0 { String::new() } else { format!(", {} ended unseen", plans.ended) }
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
        "A fault a recording cannot show counts as not seen: shares are rather too low than too \
         high."
            .to_owned(),
        "What changed after a plan is associated with it, not proven to come from it; players \
         are looked at when something is wrong, and look better later even without help."
            .to_owned(),
        "Better and worse count players whose measure moved by more than chance and measuring \
         give, from their first look of the period to the last that compares. Who is looked at \
         changes from month to month; a share may move because other players came. A fault no \
         measure shows is called rarer or more common only where more players lost it than got it, \
         or the other way round."
            .to_owned(),
        "Cures are seen at the next look, so the days to a cure are rather too many.".to_owned(),
    ];
    let general = cautions.lines().into_iter();
    general
        .chain(own)
        .chain(squad.notes.iter().map(|note| format!("{}.", sentence(note))))
        .collect()
}
