use std::io::{self, IsTerminal};
use std::path::Path;

use anyhow::bail;

use super::args::ForgetArgs;
use super::output::{Output, count};
use super::{Exit, place};

pub(super) fn run(
    args: &ForgetArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let mut library = place::for_writing(library)?;
    let player = library.player_by_code(&args.player)?;
    let (goes, sent) = library.before_forgetting(player.id)?;
    let what = format!(
        "{} with {}, {}, {} and {}",
        player.code,
        count(goes.recordings, "recording"),
        count(goes.serves, "serve"),
        count(goes.cases, "case"),
        count(goes.plans, "plan"),
    );
    for pack in &sent {
        out.line(&format!(
            "already sent: {} in the pack of {} to {} (blake3 {})",
            count(pack.cases, "case"),
            pack.made.get(..10).unwrap_or(&pack.made),
            pack.recipient.as_deref().unwrap_or("a receiver who was not named"),
            pack.file_hash.get(..16).unwrap_or(&pack.file_hash),
        ))?;
    }
    if !args.yes && !confirmed(&what, &player.code, out)? {
        bail!("forget {}: not confirmed, nothing is removed", player.code);
    }
    let forgotten = library.forget(player.id, jiff::ZonedDateTime::now().date())?;
    out.say(&format!("removed {what}"));
    if !forgotten.wiped {
        out.complain(
            "another program still reads the old state: close it and run `precedent verify`, which \
             wipes the rest",
        );
    }
    if !forgotten.mentions.is_empty() {
        let cases: Vec<String> = forgotten.mentions.iter().map(ToString::to_string).collect();
        out.complain(&format!(
            "notes of other players still hold the code or name: {}; change them with label --note",
            cases.join(", ")
        ));
    }
    if !sent.is_empty() {
        out.say("ask those who received these packs to remove the player too");
    }
    out.say("backups of the library still hold the player; delete those too");
    Ok(Exit::Found)
}

/// Asks on a terminal; anywhere else it takes `--yes`.
fn confirmed(what: &str, code: &str, out: &mut Output) -> anyhow::Result<bool> {
    if !io::stdin().is_terminal() {
        bail!("forget {code}: removes {what} and cannot be undone; add --yes to do it");
    }
    out.complain(&format!("removes {what}; this cannot be undone. Type the code to go on:"));
    let mut answer = String::new();
    io::stdin().read_line(&mut answer)?;
    Ok(answer.trim().eq_ignore_ascii_case(code))
}
