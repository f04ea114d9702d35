//! Putting right what was recorded.

use std::path::Path;

use anyhow::bail;

use super::args::{AgreedArg, AmendArgs, ClearArg};
use super::output::Output;
use super::{Exit, judge, place};
use crate::catalogue::Place;
use crate::coaching::{
    AmendRefusal, Amended, FollowUpAmendment, PlanAmendment, PlanRefusal, PlayerAmendment,
    add_words,
};
use crate::intake::{self, RecordingAmendment};
use crate::library::{Author, ItemId, Library, Named, RecordingId};

pub(super) fn run(
    args: &AmendArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let by = Author::coach(&args.coach)?;
    let mut library = place::for_writing(library)?;
    let item = place::item(&library, &args.what)?;
    let kind = match item {
        ItemId::Player(_) => "player",
        ItemId::Recording(_) => "recording",
        ItemId::Case(_) => "case",
        ItemId::Plan(_) => "plan",
        ItemId::FollowUp(_) => "follow-up",
        ItemId::Practice(id) => bail!("{id}: remove it and log it again"),
        ItemId::Serve(id) => {
            bail!("{id}: a serve has nothing of its own to amend; amend its recording, or move it")
        }
    };
    let given = args.given();
    if given.is_empty() {
        bail!("amend {item}: nothing to amend; see 'precedent amend --help'");
    }
    if let Some((option, _)) = given.iter().find(|(_, kinds)| !kinds.contains(&kind)) {
        bail!("amend {item}: {option} does not belong to a {kind}; see 'precedent amend --help'");
    }
    match item {
        ItemId::Player(id) => player(args).record(&mut library, id, &by)?,
        ItemId::Recording(id) => recording(args, &mut library, id, &by, out)?,
        ItemId::Case(id) => {
            let note = args.note.as_deref().unwrap_or_default();
            add_words(&mut library, id, note, &by)?;
        }
        ItemId::Plan(id) => {
            let amendment = plan(args)?;
            match amendment.clone().record(&mut library, id, &by) {
                Err(AmendRefusal::Plan(PlanRefusal::Unanswered(sure))) if args.sure => {
                    PlanAmendment { sure, ..amendment }.record(&mut library, id, &by)?;
                }
                recorded => recorded?,
            }
        }
        ItemId::FollowUp(id) => follow_up(args).record(&mut library, id, &by)?,
        ItemId::Serve(_) | ItemId::Practice(_) => {}
    }
    let change = library.last_change(item)?;
    out.say(&format!(
        "{item}: amended; the earlier version is kept, see 'precedent history {item}'"
    ));
    if out.json {
        let change = change.map(|change| change.to_string());
        out.object(&serde_json::json!({ "amended": item.to_string(), "change": change }))?;
    }
    Ok(Exit::Found)
}

/// What an option says anew, unless `--clear` says that it is not known.
fn anew<T>(args: &AmendArgs, value: Option<T>, clear: ClearArg) -> Amended<T> {
    match value {
        Some(value) => Amended::To(value),
        None if args.clear.contains(&clear) => Amended::Cleared,
        None => Amended::Kept,
    }
}

fn player(args: &AmendArgs) -> PlayerAmendment {
    let squads = !args.squad.is_empty() || args.clear.contains(&ClearArg::Squads);
    PlayerAmendment {
        code: args.code.clone(),
        name: anew(args, args.name.clone(), ClearArg::Name),
        hand: anew(args, args.hand, ClearArg::Hand),
        level: anew(args, args.level, ClearArg::Level),
        born: anew(args, args.born, ClearArg::Born),
        stature_m: anew(args, args.stature, ClearArg::Stature),
        squads: squads.then(|| args.squad.clone()),
        coach: anew(args, args.coach_of_player.clone(), ClearArg::CoachOfPlayer),
        consent: args.consent.map_or(Amended::Kept, AgreedArg::agreed),
        consent_by: args.consent_by,
    }
}

fn recording(
    args: &AmendArgs,
    library: &mut Library,
    id: RecordingId,
    by: &Author,
    out: &mut Output,
) -> anyhow::Result<()> {
    let amendment = RecordingAmendment {
        date: args.date,
        setting: args.setting,
        serve_type: args.serve_type,
        view: args.view,
        hand: args.hand,
    };
    let catalogue = library.catalogue()?;
    if let Some(moved) = intake::amend_recording(library, &catalogue, id, &amendment, by)? {
        super::move_to::print(&moved, out)?;
    }
    Ok(())
}

fn plan(args: &AmendArgs) -> anyhow::Result<PlanAmendment> {
    let pair = |option: &str, entry: &String, like: &str| match entry.split_once('=') {
        Some((drill, said)) => Ok((drill.trim().to_owned(), said.trim().to_owned())),
        None => bail!("{option} {entry}: expected {like}"),
    };
    let mut amendment = PlanAmendment {
        start: args.start,
        review_on: anew(args, args.review_on, ClearArg::ReviewOn),
        note: anew(args, args.note.clone(), ClearArg::Note),
        ended: match args.ended {
            Some(day) => Amended::To(day),
            None if args.in_force => Amended::Cleared,
            None => Amended::Kept,
        },
        ..PlanAmendment::default()
    };
    for entry in &args.dose {
        amendment.doses.push(pair("--dose", entry, "DRILL=DOSE, like 'towel_swing=3 x 10'")?);
    }
    for entry in &args.place {
        let (drill, name) = pair("--place", entry, "DRILL=PLACE, like towel_swing=wall")?;
        let Some(place) = Place::from_typed(&name) else {
            bail!("--place {entry}: no such place; choose from {}", Place::names());
        };
        amendment.places.push((drill, place));
    }
    Ok(amendment)
}

fn follow_up(args: &AmendArgs) -> FollowUpAmendment {
    let cleared = |what| args.clear.contains(&what);
    FollowUpAmendment {
        date: args.date,
        ball: judge::ball(&args.ball),
        no_speed: cleared(ClearArg::Speed),
        no_first_serve: cleared(ClearArg::FirstServe),
        no_misses: cleared(ClearArg::Misses),
        rating: anew(args, args.rating, ClearArg::Rating),
        sessions_done: anew(args, args.sessions, ClearArg::Sessions),
        note: anew(args, args.note.clone(), ClearArg::Note),
    }
}
