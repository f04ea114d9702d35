use std::path::Path;

use super::args::LikeArgs;
use super::chosen::{Chosen, Said, choose};
use super::output::{Output, count, table};
use super::short::Short;
use super::watch::Bars;
use super::{Exit, place, worked};
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, ShownDrill};
use crate::find::Filter;
use crate::judgement::asked_about;
use crate::library::{Ending, FaultLabel, LabelState, Library, Named};
use crate::looks::{FollowedPrecedent, Snapshot};
use crate::matcher::{Answer, Focus, Query, Subject, Unstored, like};
use crate::words::{self, signed};

pub(super) fn run(
    args: &LikeArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let library = place::for_reading(library)?;
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let focus = Focus::parse(args.focus.as_deref().unwrap_or_default())?;
    let ask = |subject| Query {
        focus: focus.clone(),
        filter: filter.clone(),
        others: args.others,
        one_each: args.one_each,
        ..Query::new(subject, args.k)
    };
    let said = Said {
        serve: &args.serve,
        nth: args.nth,
        player: args.player.as_deref(),
        read: &args.read,
    };
    let Some(chosen) = choose(&said, &library, out)? else {
        return Ok(Exit::Nothing);
    };
    let catalogue = library.catalogue()?;
    let found = match &chosen {
        Chosen::Stored(id) => {
            let subject = Subject::Stored(*id);
            print(&library, &catalogue, &ask(subject), &[], args.full, out)?
        }
        Chosen::File { looked, nth, player } => {
            let subject = Subject::Unstored(Unstored::of(looked, *nth, *player).on(args.date));
            let named = player.map(|id| library.player(id)).transpose()?;
            let suspected =
                looked.suspicions(&catalogue, named.and_then(|player| player.stature_m));
            print(&library, &catalogue, &ask(subject), &suspected, args.full, out)?
        }
    };
    Ok(if found { Exit::Found } else { Exit::Nothing })
}

/// The precedents and what worked for them; whether there are any.
///
/// `suspected`: what the program suspects in a serve that is not stored. `full`: everything, else
/// what fits a screen.
fn print(
    library: &Library,
    catalogue: &Catalogue,
    query: &Query<'_>,
    suspected: &[FaultLabel],
    full: bool,
    out: &mut Output,
) -> anyhow::Result<bool> {
    let bars = Bars::new(0, out);
    let watch = bars.watch();
    let answer = like(library, query, &watch)?;
    bars.finish();
    let subject = query.subject;
    let mut cautions =
        Cautions::of(catalogue, subject.age(library)?).hurting(&subject.sore(library)?);
    show(library, &answer, catalogue, full, &mut cautions, out)?;
    if answer.precedents.is_empty() {
        return Ok(false);
    }
    let faults = asked_about(library, subject, suspected, &answer, place::today())?;
    let asked = worked::Asked { subject, faults: &faults, full };
    worked::show(library, catalogue, &asked, &watch, &mut cautions, out)?;
    worked::end(&cautions, full, out)?;
    Ok(true)
}

/// Precedents as JSON lines or as text a coach reads top to bottom.
pub(super) fn show(
    library: &Library,
    answer: &Answer,
    catalogue: &Catalogue,
    full: bool,
    cautions: &mut Cautions,
    out: &mut Output,
) -> anyhow::Result<()> {
    let mut short = Short::new();
    let snapshot = Snapshot::new(library);
    for note in &answer.notes {
        out.say(note);
    }
    for precedent in &answer.precedents {
        let followed = snapshot.follow(catalogue, precedent.clone())?;
        if out.json {
            out.object(&followed.object(catalogue, cautions))?;
        } else {
            let lines = if full {
                in_full(&followed, catalogue, cautions)
            } else {
                short.precedent(&followed, catalogue, cautions)
            };
            for line in lines {
                out.line(&line)?;
            }
        }
    }
    if !out.json && !answer.precedents.is_empty() {
        out.say(&format!(
            "{} searched; the smaller the distance, the more alike{}",
            count(answer.searched, "serve"),
            if full { "" } else { "; --full says more" }
        ));
    }
    Ok(())
}

fn in_full(
    followed: &FollowedPrecedent,
    catalogue: &Catalogue,
    cautions: &mut Cautions,
) -> Vec<String> {
    let precedent = &followed.precedent;
    let mut who = vec![precedent.player.clone(), precedent.date.to_string()];
    who.extend(precedent.level.map(|level| level.name().to_owned()));
    let band = precedent.origin.as_ref().and_then(|origin| origin.age);
    who.extend(match (precedent.age, band) {
        (Some(age), _) => Some(format!("{age} years")),
        (None, Some((from, to))) => Some(format!("{from} to {to} years")),
        (None, None) => None,
    });
    who.push(format!("{} hand", precedent.hand.name()));
    who.extend(precedent.serve_type.map(|kind| kind.name().to_owned()));
    who.extend(precedent.setting.map(|setting| setting.name().replace('_', " ")));
    who.push(precedent.capture.describe().to_owned());
    who.extend(precedent.view.map(|view| format!("seen {}", view.seen())));
    let mut lines = vec![format!(
        "{}. {} in {}, distance {:.2}: {}",
        precedent.rank,
        precedent.serve,
        precedent.case,
        precedent.distance,
        who.join(", ")
    )];
    lines.extend(precedent.origin.as_ref().map(|origin| format!("   {}", origin.describe())));
    if precedent.same_set_up {
        lines.push("   same player, same set-up: the strongest comparison".to_owned());
    } else if precedent.same_player && precedent.comparable {
        lines.push("   same player; whether the set-up is the same is not known".to_owned());
    }
    if let Some(why) = &precedent.incomparable_because {
        lines.push(format!("   compares poorly: {why}"));
    }
    if let Some(why) = &precedent.why {
        lines.push(format!("   {}", why.sentence));
        let shares = |list: &[crate::matcher::Share]| {
            list.iter()
                .map(|share| format!("{} {:.0} %", share.label, 100.0 * share.share))
                .collect::<Vec<_>>()
                .join(", ")
        };
        lines.push(format!("   where they differ, by part: {}", shares(&why.parts)));
        lines.push(format!("   and by phase: {}", shares(&why.phases)));
    }
    let faults: Vec<String> = precedent
        .faults
        .iter()
        .map(|label| {
            let by = match label.state {
                LabelState::Suspected => "suspected by the program",
                LabelState::Confirmed | LabelState::Rejected => "confirmed by the coach",
                LabelState::Added => "seen by the coach",
                LabelState::Limiting => "the coach's limiting fault",
            };
            format!("{} ({by})", catalogue.fault_name(&label.fault))
        })
        .collect();
    lines.push(match faults.as_slice() {
        [] => "   faults: none recorded".to_owned(),
        some => format!("   faults: {}", some.join("; ")),
    });
    for plan in &precedent.plans {
        let drills = ShownDrill::of_plan(catalogue, plan);
        let drills: Vec<&str> = drills.iter().map(|drill| cautions.name(drill)).collect();
        let end = match &plan.ended {
            Some(end) if end.how == Ending::Withdrawn => format!(", withdrawn {}", end.day),
            Some(end) => format!(" to {}", end.day),
            None => String::new(),
        };
        lines.push(format!(
            "   plan from {}{end}: {}: {}",
            plan.start,
            catalogue.fault_name(&plan.limiting_fault),
            drills.join(", ")
        ));
    }
    if let Some(outcome) = &precedent.outcome {
        let mut came = Vec::new();
        came.extend(
            outcome.rating.map(|rating| format!("coach's rating {}", signed(f64::from(rating)))),
        );
        came.extend(outcome.speed_change_kmh.map(|by| format!("serve speed {} km/h", signed(by))));
        came.extend(outcome.first_serve_change_pct.map(words::first_serves));
        if came.is_empty() {
            came.push("followed up, no result recorded".to_owned());
        }
        lines.push(format!("   {} days later: {}", outcome.after_days, came.join(", ")));
    }
    for came in &followed.came {
        lines.push(format!("   {}: {}", catalogue.fault_name(&came.fault), came.describe()));
    }
    lines
}

/// The library as one line of counts.
pub(super) fn holdings(library: &Library) -> anyhow::Result<String> {
    let counts = library.counts()?;
    let mut summary = table(&["players", "recordings", "serves", "cases", "plans", "follow-ups"]);
    summary.add_row([
        counts.players,
        counts.recordings,
        counts.serves,
        counts.cases,
        counts.plans,
        counts.follow_ups,
    ]);
    Ok(summary.to_string())
}
