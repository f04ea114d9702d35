//! A plan's practice card: written for the player, and read when it comes back.

use std::path::Path;

use anyhow::{Context, anyhow};

use super::args::{LogArgs, PlanArgs};
use super::output::{Output, count};
use super::{Exit, place};
use crate::coaching::CardText;
use crate::library::PlanId;
use crate::pages::practice_card;
use crate::words;

pub(super) fn write(
    args: &PlanArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    // The parser asks for both.
    let file = args.card.as_deref().context("--card: name the file to write")?;
    let plan: PlanId = place::id("--card", args.case.as_deref().unwrap_or_default())?;
    let library = place::for_reading(library)?;
    let card = practice_card(&library, plan, place::today())?;
    place::write_whole(file, card.as_bytes())?;
    out.say(&format!(
        "wrote {}: the player prints it, or opens it on a phone; what comes back: precedent log \
         {plan} --from FILE",
        file.display()
    ));
    Ok(Exit::Found)
}

pub(super) fn log(
    args: &LogArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let file = args.from.as_deref().context("--from: name the file to read")?;
    let plan: PlanId = place::id("--from", &args.practised)?;
    let bytes = std::fs::read(file)
        .map_err(|error| anyhow!("{}: cannot be read: {error}", file.display()))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| anyhow!("{}: not text in UTF-8; save it as plain text", file.display()))?;
    let refused = |error| anyhow!("{}: {error}; nothing is logged", file.display());
    let card = CardText::read(&text).map_err(refused)?;
    let mut library = place::for_writing(library)?;
    let logged = card.record(&mut library, plan, args.coach.as_deref()).map_err(refused)?;
    // Said whatever is kept back: it is about the body.
    for notice in &logged.notices {
        out.complain(&notice.to_string());
    }
    if out.json {
        out.object(&logged)?;
        return Ok(Exit::Found);
    }
    let ids: Vec<String> = logged.practice.iter().map(ToString::to_string).collect();
    let new = match ids.is_empty() {
        true => "nothing new".to_owned(),
        false => format!("{}, {}", count(ids.len(), "day"), words::list(&ids)),
    };
    let known = match logged.known {
        0 => String::new(),
        days => format!("; {} logged already", count(days, "day")),
    };
    let sessions = count(logged.sessions as usize, "session");
    out.line(&format!("{plan}: {new}{known}; {sessions} so far"))?;
    Ok(Exit::Found)
}
