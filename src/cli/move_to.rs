//! A recording or serve to another player or day.

use std::path::Path;

use anyhow::bail;

use super::args::MoveArgs;
use super::face::Face;
use super::{Outcome, place};
use crate::intake::{self, Movable};
use crate::library::{Author, ItemId, LeftCase, Moved};

pub(super) fn run(
    args: &MoveArgs,
    library: Option<&Path>,
    face: &mut Face,
) -> anyhow::Result<Outcome> {
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
    tell(&moved, face)?;
    Ok(Outcome::Found)
}

/// Says what a move did.
pub(super) fn tell(moved: &Moved, face: &mut Face) -> anyhow::Result<()> {
    match moved.left_case {
        LeftCase::HoldsOthers => {}
        LeftCase::Gone => face.say(&format!("{}: was empty and is gone", moved.left)),
        LeftCase::KeptEmpty => face.complain(&format!(
            "{}: is without serves now; it stays for what you recorded there",
            moved.left
        )),
    }
    for id in &moved.follow_ups {
        face.complain(&format!("{id}: names these serves no more, they would not answer its plan"));
    }
    if face.json { face.object(moved) } else { Ok(face.line(&moved.joined.to_string())?) }
}
