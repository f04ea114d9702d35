//! For how long players are kept, and who has been kept longer.

use std::path::Path;

use super::args::RetentionArgs;
use super::output::{Output, count, table};
use super::{Exit, place};
use crate::coaching::{describe_retention, kept_too_long, set_retention};
use crate::library::{Author, Library, StoreError};

pub(super) fn run(
    args: &RetentionArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if args.changes() {
        let mut library = place::for_writing(library)?;
        let by = Author::coach(&args.coach)?;
        set_retention(&mut library, args.months, &by, place::today())?;
    }
    let library = place::for_reading(library)?;
    match library.retention()? {
        Some(set) => out.say(&describe_retention(&set)),
        None => {
            out.say("no limit is set; set one with retention --months N");
            return Ok(Exit::Nothing);
        }
    }
    let due = kept_too_long(&library, place::today())?;
    let mut rows = table(&["player", "last recorded", "kept until", "consent"]);
    for one in &due {
        if out.json {
            out.object(one)?;
            continue;
        }
        let last = one.last.map_or_else(|| "never".to_owned(), |day| day.to_string());
        let until = one.last.map_or_else(String::new, |_| one.due.to_string());
        rows.add_row([one.code.clone(), last, until, one.consent.clone()]);
    }
    if due.is_empty() {
        out.say("nobody has been kept for longer than that");
        return Ok(Exit::Nothing);
    }
    if !out.json {
        out.line(&rows.to_string())?;
    }
    out.say(
        "ask them, or a junior's parent or guardian, whether you may go on; give them what is stored \
         with export --player, remove them with forget",
    );
    Ok(Exit::Found)
}

/// Says who has been kept for too long, where somebody has.
pub(super) fn remind(library: &Library, out: &mut Output) -> Result<(), StoreError> {
    let due = kept_too_long(library, place::today())?;
    if !due.is_empty() {
        out.say(&format!(
            "{} kept for longer than you mean to: see retention",
            count(due.len(), "player")
        ));
    }
    Ok(())
}
