//! Removing something, after what depends on it was listed.

use std::path::Path;

use anyhow::bail;

use super::args::RemoveArgs;
use super::output::Output;
use super::{Exit, place};
use crate::intake;
use crate::library::{Author, ItemId, Removal};

pub(super) fn run(
    args: &RemoveArgs,
    library: Option<&Path>,
    read_only: bool,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let by = Author::coach(&args.coach)?;
    if args.yes && read_only {
        bail!("--read-only: this command changes the library; leave the option out");
    }
    // Without a yes nothing is changed.
    let reader = place::for_reading(library)?;
    let item = place::item(&reader, &args.what)?;
    let removal = match (item, &args.label) {
        (ItemId::Case(case), None) if args.note.is_some() => {
            Removal::Note { case, number: args.note.unwrap_or_default() }
        }
        (other, None) if args.note.is_some() => {
            bail!("remove {other}: --note belongs to a case (c1)")
        }
        (ItemId::Case(case), Some(fault)) => {
            let said = args.said_by.as_deref().map_or_else(|| by.clone(), Author::from_text);
            Removal::Label { case, fault: fault.clone(), by: said }
        }
        (other, Some(_)) => bail!("remove {other}: --label belongs to a case (c1)"),
        (ItemId::Recording(id), None) => Removal::Recording(id),
        (ItemId::Serve(id), None) => Removal::Serve(id),
        (ItemId::Plan(id), None) => Removal::Plan(id),
        (ItemId::FollowUp(id), None) => Removal::FollowUp(id),
        (ItemId::Practice(id), None) => Removal::Practice(id),
        (ItemId::Case(id), None) => {
            bail!(
                "remove {id}: a case goes with its last serve; for one of its labels give --label, \
                   for one of its notes --note"
            )
        }
        (ItemId::Player(id), None) => bail!("remove {id}: to remove a player, see forget"),
    };
    let on = reader.dependants(&removal)?;
    for line in on.lines() {
        out.complain(&format!("{removal}: {line}"));
    }
    if !args.yes {
        out.complain(&format!("{removal}: nothing is removed yet; add --yes to remove it"));
        if out.json {
            out.object(&serde_json::json!({
                "what": removal.to_string(), "removed": false, "depends": on,
            }))?;
        }
        return Ok(Exit::Nothing);
    }
    drop(reader);
    let mut library = place::for_writing(library)?;
    let catalogue = library.catalogue()?;
    intake::remove(&mut library, &catalogue, &removal, &by)?;
    out.say(&format!("{removal}: removed; what it held is kept, see history"));
    if out.json {
        out.object(&serde_json::json!({
            "what": removal.to_string(), "removed": true, "depends": on,
        }))?;
    } else {
        out.line(&removal.to_string())?;
    }
    Ok(Exit::Found)
}
