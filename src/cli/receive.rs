use std::path::Path;

use anyhow::{Context, bail};
use serde::Serialize;

use super::args::ReceiveArgs;
use super::output::{Output, count, table};
use super::passphrase::passphrase;
use super::{Exit, place};
use crate::exchange::{self, Brought, CatalogueNotice, Keys, PackNotice, ReceivingKey, Signing};
use crate::library::Library;

/// Fewest digits of a pack's id that name it.
const LEAST_DIGITS: usize = 6;
/// Digits of a pack's id that are shown.
const SHOWN_DIGITS: usize = 12;
/// Characters of a key's fingerprint in the list.
const SHOWN_KEY: usize = 9;

#[derive(Serialize)]
struct Told<'a> {
    pack: &'a str,
    academy: Option<&'a str>,
    made: &'a str,
    signer: Option<&'a str>,
    signature: Signing,
    dry_run: bool,
    #[serde(flatten)]
    brought: Brought,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    notices: &'a [PackNotice],
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    catalogue: &'a [CatalogueNotice],
}

pub(super) fn run(
    args: &ReceiveArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if args.key {
        return own_key(library, out);
    }
    match (&args.pack, &args.undo) {
        (Some(file), _) => take(file, args, library, out),
        (None, Some(pack)) => undo(pack, library, out),
        (None, None) => list(library, out),
    }
}

fn take(
    file: &Path,
    args: &ReceiveArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let at = || format!("{}", file.display());
    let bytes = std::fs::read(file).with_context(|| format!("{}: cannot be read", at()))?;
    let locked = exchange::is_locked(&bytes);
    let passphrase =
        locked.then(|| passphrase(args.passphrase_file.as_deref(), out)).transpose()?;
    let own = if exchange::is_for_keys(&bytes) {
        ReceivingKey::there(&place::folder(library)?)?
    } else {
        None
    };
    let keys = Keys { passphrase: passphrase.as_ref(), own: own.as_ref() };
    let pack = exchange::open_with(&bytes, keys).with_context(at)?;
    let dry_run = args.dry_run;
    let (mut library, made_new) = place::for_adding(library)?;
    let signature = Signing::of(&pack, &library.packs()?);
    if signature.is_suspect() && !args.new_key && !dry_run {
        if let Some(before) = &made_new {
            place::take_back(library, before)?;
        }
        bail!(
            "{}: {}; ask the sender in person or by phone, then add --new-key to take it; nothing was \
             stored",
            at(),
            signature.describe(&pack)
        );
    }
    let known = library.catalogue()?;
    let (notices, catalogue) = (pack.notices(&known), pack.catalogue_notices(&known));
    let result =
        if dry_run { library.try_receive(&pack) } else { library.write(|w| w.receive(&pack)) };
    if let Some(before) = made_new.filter(|_| dry_run || result.is_err()) {
        place::take_back(library, &before)?;
    }
    let brought = result.with_context(at)?;
    if out.json {
        out.object(&Told {
            pack: &pack.id,
            academy: pack.academy.as_deref(),
            made: &pack.made,
            signer: pack.signer.as_deref(),
            signature,
            dry_run,
            brought,
            notices: &notices,
            catalogue: &catalogue,
        })?;
    } else {
        out.line(&format!(
            "pack {} of {}, made {}",
            &pack.id[..SHOWN_DIGITS],
            pack.academy.as_deref().unwrap_or("an unnamed academy"),
            pack.made.get(..10).unwrap_or(&pack.made),
        ))?;
        out.line(&signature.describe(&pack))?;
        out.line(&format!(
            "{}: {}, {}, {} with {}",
            if dry_run { "would bring" } else { "brought" },
            count(brought.players, "player"),
            count(brought.cases, "case"),
            count(brought.recordings, "recording"),
            count(brought.serves, "serve"),
        ))?;
        for (number, what, how) in [
            (brought.replaced, "case", "changed to a newer version"),
            (brought.taken_back, "player", "taken back by the sender"),
            (brought.forgotten, "player", "forgotten here, so not taken"),
            (
                brought.in_the_way,
                "case",
                "not shown, because your own case of that player on that day stands",
            ),
        ] {
            if number > 0 {
                out.line(&format!("{}: {how}", count(number, what)))?;
            }
        }
    }
    for notice in &notices {
        out.complain(&notice.to_string());
    }
    for notice in &catalogue {
        out.complain(&match notice {
            CatalogueNotice::Unknown { id, .. } => format!("{notice} (catalogue {id})"),
            _ => notice.to_string(),
        });
    }
    if brought.known {
        out.say("this pack has been received before");
    }
    if dry_run {
        out.say("nothing was stored; leave out --dry-run to receive it");
    } else {
        out.say(&format!("take it back with receive --undo {}", &pack.id[..SHOWN_DIGITS]));
    }
    Ok(Exit::Found)
}

/// The key others lock packs with for this library.
fn own_key(library: Option<&Path>, out: &mut Output) -> anyhow::Result<Exit> {
    let (library, _) = place::for_adding(library)?;
    let key = ReceivingKey::of(library.folder())?.public();
    if out.json {
        let told = serde_json::json!({ "key": key.to_string(), "fingerprint": key.fingerprint() });
        out.object(&told)?;
    } else {
        out.line(&key.to_string())?;
    }
    out.say("send this line to whoever shares with you; they put it after --for");
    out.say(&format!(
        "have them read this fingerprint back to you over the phone: {}",
        key.fingerprint()
    ));
    out.say(
        "the other half is receiving.key in the library's folder: back it up and show it to nobody",
    );
    Ok(Exit::Found)
}

fn undo(prefix: &str, library: Option<&Path>, out: &mut Output) -> anyhow::Result<Exit> {
    let mut library = place::for_writing(library)?;
    let id = known(&library, prefix)?;
    let gone = library.write(|w| w.undo_pack(&id))?;
    if out.json {
        out.object(&gone)?;
    }
    out.say(&format!(
        "took back pack {}: {}, {}, {} gone",
        &id[..SHOWN_DIGITS],
        count(gone.players_gone, "player"),
        count(gone.cases_gone, "case"),
        count(gone.recordings_gone, "recording"),
    ));
    Ok(Exit::Found)
}

/// The one pack whose id begins so.
fn known(library: &Library, prefix: &str) -> anyhow::Result<String> {
    if prefix.len() < LEAST_DIGITS {
        bail!("--undo {prefix}: give at least {LEAST_DIGITS} digits of the pack's id");
    }
    let fitting: Vec<String> = library
        .packs()?
        .into_iter()
        .map(|pack| pack.id)
        .filter(|id| id.starts_with(prefix))
        .collect();
    match fitting.as_slice() {
        [one] => Ok(one.clone()),
        [] => bail!("--undo {prefix}: no such pack here; `receive` without a file lists them"),
        more => bail!("--undo {prefix}: {} packs begin like that; give more digits", more.len()),
    }
}

fn list(library: Option<&Path>, out: &mut Output) -> anyhow::Result<Exit> {
    let packs = place::for_reading(library)?.packs()?;
    if packs.is_empty() {
        out.say("no packs received; receive one with receive FILE");
        return Ok(Exit::Nothing);
    }
    let mut rows = table(&["pack", "academy", "made", "received", "players", "cases", "signed"]);
    for pack in &packs {
        if out.json {
            out.object(pack)?;
            continue;
        }
        rows.add_row([
            pack.id[..SHOWN_DIGITS].to_owned(),
            pack.academy.clone().unwrap_or_default(),
            pack.made.get(..10).unwrap_or_default().to_owned(),
            pack.received.get(..10).unwrap_or_default().to_owned(),
            pack.players.to_string(),
            pack.cases.to_string(),
            pack.signer.as_deref().map_or_else(String::new, |key| {
                exchange::fingerprint(key).chars().take(SHOWN_KEY).collect()
            }),
        ]);
    }
    if !out.json {
        out.line(&rows.to_string())?;
    }
    Ok(Exit::Found)
}
