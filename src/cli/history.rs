//! What was changed, and the last change taken back.

use std::path::Path;

use anyhow::bail;

use super::args::HistoryArgs;
use super::output::Output;
use super::{Exit, place};
use crate::library::{Author, Change, Named};

pub(super) fn run(
    args: &HistoryArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if args.undo {
        return undo(args, library, out);
    }
    let library = place::for_reading(library)?;
    let item = place::item(&library, &args.what)?;
    let changes = library.history(item)?;
    for change in &changes {
        if out.json {
            out.object(change)?;
        } else {
            print(change, out)?;
        }
    }
    if changes.is_empty() {
        out.complain(&format!("{item}: no change is recorded"));
        return Ok(Exit::Nothing);
    }
    Ok(Exit::Found)
}

fn undo(args: &HistoryArgs, library: Option<&Path>, out: &mut Output) -> anyhow::Result<Exit> {
    let by = Author::coach(&args.coach)?;
    let mut library = place::for_writing(library)?;
    let item = place::item(&library, &args.what)?;
    let Some(change) = library.last_change(item)? else {
        bail!("{item}: no change is recorded that could be taken back");
    };
    let changes = library.history(item)?;
    library.write(|writer| writer.undo(change, &by))?;
    out.say(&format!("{change}: taken back"));
    if let Some(change) = changes.iter().find(|known| known.id == change) {
        if out.json {
            out.object(&serde_json::json!({ "undone": change }))?;
        } else {
            print(change, out)?;
        }
    }
    Ok(Exit::Found)
}

fn print(change: &Change, out: &mut Output) -> anyhow::Result<()> {
    let by = change.by.as_ref().map_or_else(String::new, |by| format!(", {by}"));
    let at = change.at.get(..16).unwrap_or(&change.at).replace('T', " ");
    let mut head = format!("{}  {at} UTC{by}: {}", change.id, change.kind.name().replace('_', " "));
    if let Some(undone) = change.undoes {
        head.push_str(&format!(" {undone}"));
    }
    if let Some(later) = change.undone_by {
        head.push_str(&format!(" (taken back by {later})"));
    }
    out.line(&head)?;
    for field in &change.fields {
        out.line(&format!("    {}", field.line()))?;
    }
    Ok(())
}
