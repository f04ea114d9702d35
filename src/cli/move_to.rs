//! A recording or serve to another player or day.

use std::path::Path;

use anyhow::bail;

use super::args::MoveArgs;
use super::output::Output;
use super::{Exit, place};
use crate::intake::{self, Movable};
use crate::library::{Author, ItemId, LeftCase, Moved};

pub(super) fn run(
    args: &MoveArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let by = Author::coach(&args.coach)?;
    let mut library = place::for_writing(library)?;
    let what = match place::item(&library, &args.what)? {
        ItemId::Recording(id) => Movable::Recording(id),
        ItemId::Serve(id) => Movable::Serve(id),
        other => bail!("move {other}: a recording (r3) or a serve (s12) can be moved"),
    };
    let player = match &args.player {
        Some(code) => Some(library.player_by_code(code)?.id),
        None => None,
    };
    let catalogue = library.catalogue()?;
    let moved = intake::move_to(&mut library, &catalogue, what, player, args.date, &by)?;
    print(&moved, out)?;
    Ok(Exit::Found)
}

/// Says what a move did.
pub(super) fn print(moved: &Moved, out: &mut Output) -> anyhow::Result<()> {
    match moved.left_case {
        LeftCase::HoldsOthers => {}
        LeftCase::Gone => out.say(&format!("{}: left empty, so it is removed", moved.left)),
        LeftCase::KeptEmpty => out.complain(&format!(
            "{}: has no serves now; it stays because of what you recorded there",
            moved.left
        )),
    }
    for id in &moved.follow_ups {
        out.complain(&format!(
            "{id}: no longer names these serves: they would not answer its plan"
        ));
    }
    for other in &moved.unsaid_of {
        out.complain(&format!(
            "{other}: what was said of the serves it shares with another clip no longer counts: they are \
             not of one day now"
        ));
    }
    if out.json { out.object(moved) } else { Ok(out.line(&moved.joined.to_string())?) }
}
