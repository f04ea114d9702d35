//! The serve a command is about: one of the library, or one of a file that may not be stored.

use std::path::Path;

use anyhow::bail;

use super::args::ReadArgs;
use super::output::{Output, count};
use super::remedy;
use super::watch::Bars;
use crate::intake::{self, Context, Looked};
use crate::library::{Library, PlayerId, ServeId};
use crate::serve::FindOptions;

/// What the command line says about the serve.
pub(super) struct Said<'a> {
    /// A serve's id, or a file.
    pub(super) serve: &'a str,
    /// Which serve of the file, from 1.
    pub(super) nth: usize,
    /// Whose serve a file holds.
    pub(super) player: Option<&'a str>,
    /// How to read a file.
    pub(super) read: &'a ReadArgs,
}

/// The serve.
pub(super) enum Chosen {
    /// One of the library, also where its file was named.
    Stored(ServeId),
    /// One of a file the library does not hold.
    File {
        looked: Box<Looked>,
        /// From 0.
        nth: usize,
        player: Option<PlayerId>,
    },
}

/// Finds the serve; `None`, said why, if the file holds none.
pub(super) fn choose(
    said: &Said<'_>,
    library: &Library,
    out: &mut Output,
) -> anyhow::Result<Option<Chosen>> {
    let file = Path::new(said.serve);
    match said.serve.parse::<ServeId>() {
        Ok(id) if !file.exists() => {
            if said.player.is_some() {
                bail!(
                    "--player: {id} is stored and already has its player; give it only for a \
                file"
                );
            }
            return Ok(Some(Chosen::Stored(id)));
        }
        _ if !file.exists() => {
            bail!("'{}' is neither a serve's id (like s12) nor a file that exists", said.serve)
        }
        _ => {}
    }
    let named = said.player.map(|code| library.player_by_code(code)).transpose()?;
    let bars = Bars::new(1, out);
    bars.file(file);
    let context =
        Context { read: said.read.options(), clip: said.read.clip(), ..Context::default() };
    let known = FindOptions {
        hand: said.read.hand().or(named.as_ref().and_then(|player| player.hand)),
        stature_m: named.as_ref().and_then(|player| player.stature_m),
    };
    let looked = intake::look(Some(library), file, &context, &known, &bars.watch());
    bars.finish();
    let looked = looked?;
    describe(&looked, out);
    let serves = looked.found.serves.len();
    if serves == 0 {
        let why = intake::why_none(&looked.found);
        out.say(&format!("{}: no serve found: {why}", file.display()));
        return Ok(None);
    }
    if said.nth == 0 || said.nth > serves {
        let held = count(serves, "serve");
        bail!("--nth {}: {} holds {held}, counted from 1", said.nth, file.display());
    }
    if serves > 1 {
        out.say(&format!("serve {} of {serves}; choose another with --nth", said.nth));
    }
    let nth = said.nth - 1;
    if let (Some(row), true) = (&looked.stored, looked.from_store) {
        if let Some(named) = named.filter(|named| named.id != row.player) {
            let owner = library.player(row.player)?.code;
            bail!("--player {}: {} is stored as {} of {owner}", named.code, file.display(), row.id);
        }
        let serve = library.serves_in(row.id)?[nth];
        return Ok(Some(Chosen::Stored(serve)));
    }
    let player = named.map(|player| player.id).or(looked.stored.as_ref().map(|row| row.player));
    Ok(Some(Chosen::File { looked: Box::new(looked), nth, player }))
}

/// What the file holds and what was assumed, as talk.
fn describe(looked: &Looked, out: &mut Output) {
    let file = looked.file.display();
    out.say(&format!("{file}: {}", looked.recording.summary()));
    if let (Some(row), true) = (&looked.stored, looked.from_store) {
        let how =
            if looked.passed_over { "; how to read it was settled when it was stored" } else { "" };
        out.say(&format!("{file}: stored as {}, not read again{how}", row.id));
        return;
    }
    for assumed in &looked.recording.assumptions {
        out.say(&format!("assumed {}: {} ({})", assumed.what, assumed.taken, remedy::why(assumed)));
    }
}
