use std::path::Path;

use anyhow::bail;
use serde::Serialize;

use super::args::ShareArgs;
use super::output::{Output, count};
use super::passphrase::new_passphrase;
use super::watch::Bars;
use super::{Exit, place};
use crate::coaching::{describe_consent, guardians_to_ask};
use crate::exchange::{self, PackError, PackKey, Protection, ReceiverKey, Request};
use crate::find::Filter;

#[derive(Serialize)]
struct Told<'a> {
    pack: &'a str,
    players: usize,
    cases: usize,
    recordings: usize,
    serves: usize,
    without_consent: usize,
    from_others: usize,
    taken_back: usize,
    signer: Option<String>,
    locked: bool,
    receivers: Vec<String>,
    /// Player and what was agreed.
    consents: Vec<(String, String)>,
}

pub(super) fn run(
    args: &ShareArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    if args.receivers.is_empty() && !args.lock && !args.unlocked {
        bail!(
            "who may open the pack? Give the receiver's key (--for KEY; receive --key shows it there), \
             lock it with a passphrase (--lock), or say that everybody may (--unlocked)"
        );
    }
    let mut library = place::for_writing(library)?;
    let filter = Filter::parse(args.filter.as_deref().unwrap_or_default())?;
    let passphrase =
        args.lock.then(|| new_passphrase(args.passphrase_file.as_deref(), out)).transpose()?;
    if let Some(passphrase) = &passphrase {
        passphrase.check_strong()?;
    }
    let receivers: Vec<ReceiverKey> =
        args.receivers.iter().map(|text| text.parse()).collect::<Result<_, PackError>>()?;
    let protection = match &passphrase {
        Some(passphrase) => Protection::Passphrase(passphrase),
        None if receivers.is_empty() => Protection::Open,
        None => Protection::For(&receivers),
    };
    let signs = args.sign || protection.needs_signature();
    let key = signs.then(|| PackKey::of(library.folder())).transpose()?;
    let request = Request {
        filter: &filter,
        academy: args.academy.as_deref(),
        with_notes: args.with_notes,
        made: jiff::Timestamp::now(),
        key: key.as_ref(),
        protection,
    };
    let bars = Bars::new(0, out);
    let packed = exchange::pack(&library, &request, &bars.watch())?;
    bars.finish();
    let left = packed.left_out;
    if left.no_consent > 0 {
        out.say(&format!(
            "left out: {} of {} with no dated consent to sharing; record it with \
             add --consent share",
            count(left.no_consent, "case"),
            count(left.players, "player"),
        ));
    }
    if left.received > 0 {
        let cases = count(left.received, "case");
        out.say(&format!(
            "left out: {cases} that came in a pack; only those who made them can share them"
        ));
    }
    let cases = packed.leaving.cases.len();
    if cases == 0 && packed.withdrawn == 0 {
        out.say(&packed.selection.why_empty().unwrap_or_else(|| "nothing to share".to_owned()));
        return Ok(Exit::Nothing);
    }
    exchange::send(&mut library, &packed, |bytes| place::write_whole(&args.output, bytes))?;
    if out.json {
        out.object(&Told {
            pack: &packed.id,
            players: packed.players,
            cases,
            recordings: packed.recordings,
            serves: packed.leaving.serves,
            without_consent: left.no_consent,
            from_others: left.received,
            taken_back: packed.withdrawn,
            signer: key.as_ref().map(PackKey::public),
            locked: passphrase.is_some() || !receivers.is_empty(),
            receivers: receivers.iter().map(ReceiverKey::describe).collect(),
            consents: packed
                .consents
                .iter()
                .map(|one| (one.code.clone(), describe_consent(one.consent)))
                .collect(),
        })?;
    } else {
        for one in &packed.consents {
            out.line(&format!("{}: {}", one.code, describe_consent(one.consent)))?;
        }
    }
    if let Some(ask) = guardians_to_ask(packed.consents.iter().map(|one| (one.age, one.consent))) {
        out.complain(&ask);
    }
    out.say(&format!(
        "{} of {} with {} to {}: under pseudonyms, age bands for ages; no names, files or pictures",
        count(cases, "case"),
        count(packed.players, "player"),
        count(packed.leaving.serves, "serve"),
        args.output.display(),
    ));
    out.say(
        "days, level, height and the motion itself are in it: send it only to people you trust",
    );
    if packed.withdrawn > 0 {
        out.say(&format!(
            "it takes back {} sent earlier: forgotten since, or sharing no longer agreed to",
            count(packed.withdrawn, "player")
        ));
    }
    if let Some(key) = &key {
        out.say(&format!(
            "signed; read the receiver this fingerprint over the phone: {}",
            key.fingerprint()
        ));
    }
    for receiver in &receivers {
        out.say(&format!(
            "only {} can open it; have them read you this fingerprint once over the phone: {}",
            receiver.describe(),
            receiver.fingerprint()
        ));
    }
    if args.unlocked {
        out.complain("not locked: whoever gets hold of the file can read it");
    }
    if passphrase.is_some() {
        out.say("locked; tell the receiver the passphrase over the phone");
    }
    if args.with_notes {
        out.say("notes are in it: they may name other people");
    }
    Ok(Exit::Found)
}
