//! The faults of a squad: how common, and whether they get better.

use super::{HALF, of, percent};
use crate::drawing::{month_shares, share_mark};
use crate::squad::{Squad, SquadFault, TrendBasis, TrendVerdict};
use crate::words::{count, list, sentence};

/// Faults drawn month by month.
const STRIPS: usize = 8;

pub(super) struct FaultView {
    pub(super) name: String,
    pub(super) now: String,
    pub(super) interval: String,
    pub(super) mark: String,
    pub(super) trend: String,
    pub(super) detail: String,
    pub(super) changes: String,
    pub(super) time: String,
}

pub(super) struct StripView {
    pub(super) drawing: String,
    pub(super) caption: String,
}

/// The few faults that most have, where that is more than noise.
pub(super) fn headline(squad: &Squad) -> String {
    let Some(first) = squad.faults.iter().find(|fault| fault.now.with > 0) else {
        return "No open faults in this squad.".to_owned();
    };
    format!("Most common now: {}, in {} players.", first.name.to_lowercase(), of(&first.now))
}

pub(super) fn lead(squad: &Squad) -> Vec<String> {
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
        lines.push("No fault is clearly getting better or worse in this period.".to_owned());
    }
    if let Some(alike) = squad.alike.as_ref() {
        lines.push(match alike.groups.len() {
            0 | 1 => "The serves form one group: no way of serving splits the squad.".to_owned(),
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
            fault.verdict == verdict && matches!(fault.basis, TrendBasis::Measure(_)) == measured
        });
        let those: Vec<&SquadFault> = those.collect();
        let word = those.first()?.basis.describe(verdict);
        let names: Vec<String> = those.iter().map(|fault| fault.name.to_lowercase()).collect();
        Some((word, list(&names)))
    })
}

pub(super) fn fault_view(fault: &SquadFault) -> FaultView {
    let detail = match &fault.basis {
        TrendBasis::Measure(moved) => format!("{} ({})", moved.describe(), moved.measure),
        TrendBasis::LabelsAndRatings { trend: Some(trend), .. } => {
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
        TrendBasis::LabelsAndRatings { no_trend_because, .. } => format!(
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

/// Clear changes first, then the most common.
pub(super) fn strips(squad: &Squad) -> Vec<StripView> {
    let rank = |fault: &&SquadFault| match fault.verdict {
        TrendVerdict::Better | TrendVerdict::Worse => 0,
        TrendVerdict::PerhapsBetter | TrendVerdict::PerhapsWorse => 1,
        TrendVerdict::NotClear | TrendVerdict::TooLittle => 2,
    };
    let mut faults: Vec<&SquadFault> = squad.faults.iter().collect();
    faults.sort_by_key(rank);
    faults
        .into_iter()
        .filter_map(|fault| {
            let verdict = sentence(fault.basis.describe(fault.verdict));
            Some(StripView {
                drawing: month_shares(fault, HALF)?.to_string(),
                caption: match &fault.basis {
                    TrendBasis::Measure(moved) => {
                        format!("{verdict} by {}: {}.", moved.measure, moved.describe())
                    }
                    TrendBasis::LabelsAndRatings { .. } => {
                        format!("{verdict}, as seen and rated: no measure shows it.")
                    }
                },
            })
        })
        .take(STRIPS)
        .collect()
}
