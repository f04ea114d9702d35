use std::path::Path;

use anyhow::bail;

use super::args::LikeArgs;
use super::face::{Face, count, table};
use super::watch::Bars;
use super::{Outcome, place, remedy, worked};
use crate::catalogue::Catalogue;
use crate::coaching::{Cautions, ShownDrill};
use crate::find::Filter;
use crate::intake::{self, Context, Looked};
use crate::library::{Ending, LabelState, Library, Named, ServeId};
use crate::matcher::{Answer, Focus, Precedent, Query, Source, Subject, Unstored, like};
use crate::motion::Recording;
use crate::serve::{FindOptions, Serve};
use crate::words::signed;

pub(super) fn run(
    args: &LikeArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
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
    let found = match args.serve.parse::<ServeId>() {
        Ok(id) if !Path::new(&args.serve).exists() => {
            if args.player.is_some() {
                bail!("--player: {id} is stored and has its player; give it for a file only");
            }
            let subject = Subject::Stored(id);
            tell(&library, subject, &like(&library, &ask(subject))?, face)?
        }
        _ => {
            let named = args.player.as_deref().map(|code| library.player_by_code(code));
            let named = named.transpose()?.map(|player| player.id);
            let bars = Bars::new(1, face);
            let context = Context {
                read: args.read.options(),
                clip: args.read.clip(),
                watch: bars.watch(),
                ..Context::default()
            };
            let looked = from_file(args, &context, face);
            bars.finish();
            let Some((serve, recording)) = looked? else {
                return Ok(Outcome::Nothing);
            };
            let hash = intake::content_hash(Path::new(&args.serve), &context)?;
            let same = library.recording_by_hash(&hash)?;
            let subject = Subject::Unstored(Unstored {
                serve: &serve,
                source: Source { capture: recording.capture, view: recording.view },
                player: named.or(same.as_ref().map(|row| row.player)),
                recording: same.as_ref().map(|row| row.id),
            });
            tell(&library, subject, &like(&library, &ask(subject))?, face)?
        }
    };
    Ok(if found { Outcome::Found } else { Outcome::Nothing })
}

/// The precedents and what worked for them; whether there are any.
fn tell(
    library: &Library,
    subject: Subject<'_>,
    answer: &Answer,
    face: &mut Face,
) -> anyhow::Result<bool> {
    let catalogue = library.catalogue()?;
    let mut cautions = Cautions::of(&catalogue, subject.age(library)?);
    show(answer, &catalogue, &mut cautions, face)?;
    if answer.precedents.is_empty() {
        return Ok(false);
    }
    worked::show(library, &catalogue, subject, answer, &mut cautions, face)?;
    worked::end(&cautions, face)?;
    Ok(true)
}

/// The chosen serve of a file; `None`, said why, if the file holds none.
fn from_file(
    args: &LikeArgs,
    context: &Context,
    face: &mut Face,
) -> anyhow::Result<Option<(Serve, Recording)>> {
    let file = Path::new(&args.serve);
    if !file.exists() {
        bail!("'{}' is neither a serve's id (like s12) nor a file that exists", args.serve);
    }
    let known = FindOptions { hand: args.read.hand(), ..FindOptions::default() };
    let Looked { recording, mut found, .. } = intake::look(file, context, &known)?;
    face.say(&format!("{}: {}", file.display(), recording.summary()));
    for assumed in &recording.assumptions {
        face.say(&format!(
            "assumed {}: {} ({})",
            assumed.what,
            assumed.taken,
            remedy::why(assumed)
        ));
    }
    let count = found.serves.len();
    if count == 0 {
        face.say(&format!("{}: no serve found: {}", file.display(), intake::why_none(&found)));
        return Ok(None);
    }
    if args.nth == 0 || args.nth > count {
        bail!(
            "--nth {}: {} holds {}, counted from 1",
            args.nth,
            file.display(),
            self::count(count, "serve")
        );
    }
    if count > 1 {
        face.say(&format!("serve {} of {count}; choose another with --nth", args.nth));
    }
    Ok(Some((found.serves.swap_remove(args.nth - 1), recording)))
}

/// Precedents as JSON lines or as text a coach reads top to bottom.
pub(super) fn show(
    answer: &Answer,
    catalogue: &Catalogue,
    cautions: &mut Cautions,
    face: &mut Face,
) -> anyhow::Result<()> {
    for note in &answer.notes {
        face.say(note);
    }
    for precedent in &answer.precedents {
        if face.json {
            face.object(&precedent.object(catalogue, cautions))?;
        } else {
            for line in told(precedent, catalogue, cautions) {
                face.line(&line)?;
            }
        }
    }
    if !face.json && !answer.precedents.is_empty() {
        face.say(&format!(
            "{} searched; distance is in ordinary spreads between players, 0 = the same",
            count(answer.searched, "serve")
        ));
    }
    Ok(())
}

fn told(precedent: &Precedent, catalogue: &Catalogue, cautions: &mut Cautions) -> Vec<String> {
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
    who.push(precedent.capture.told().to_owned());
    who.extend(precedent.view.map(|view| format!("seen {}", view.seen())));
    let mut lines = vec![format!(
        "{}. {} in {}, distance {:.2}: {}",
        precedent.rank,
        precedent.serve,
        precedent.case,
        precedent.distance,
        who.join(", ")
    )];
    lines.extend(precedent.origin.as_ref().map(|origin| format!("   {}", origin.told())));
    if precedent.same_set_up {
        lines.push("   same player, same set-up: the strongest comparison".to_owned());
    } else if precedent.same_player && precedent.comparable {
        lines.push("   same player, not known to be the same set-up".to_owned());
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
        came.extend(
            outcome
                .first_serve_change_pct
                .map(|by| format!("first serves in {} points", signed(by))),
        );
        if came.is_empty() {
            came.push("followed up, no result recorded".to_owned());
        }
        lines.push(format!("   after {} days: {}", outcome.after_days, came.join(", ")));
    } else if !precedent.plans.is_empty() {
        lines.push("   not followed up".to_owned());
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
