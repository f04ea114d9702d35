use std::io::{self, BufRead, IsTerminal, Read};
use std::path::Path;

use anyhow::{Context, bail};
use console::Term;
use zeroize::Zeroizing;

use super::output::Output;
use crate::exchange::Passphrase;

/// Where it is looked for without a file. Never an argument: those are seen by other users.
const VARIABLE: &str = "PRECEDENT_PASSPHRASE";
/// More than any passphrase that is taken.
const MOST_BYTES: u64 = 64 * 1024;

/// The passphrase that opens a pack: the first line of `file` (`-`: of standard input), else what
/// the environment holds, else what is typed unseen.
pub(super) fn passphrase(file: Option<&Path>, out: &mut Output) -> anyhow::Result<Passphrase> {
    read_passphrase(file, out, false)
}

/// One to lock a pack with: as [`passphrase`], but typed twice.
pub(super) fn new_passphrase(file: Option<&Path>, out: &mut Output) -> anyhow::Result<Passphrase> {
    read_passphrase(file, out, true)
}

fn read_passphrase(
    file: Option<&Path>,
    out: &mut Output,
    twice: bool,
) -> anyhow::Result<Passphrase> {
    let text = match file {
        Some(file) if file == Path::new("-") => {
            let mut text = Zeroizing::new(String::new());
            io::stdin().lock().take(MOST_BYTES).read_line(&mut text)?;
            text
        }
        Some(file) => {
            let mut text = Zeroizing::new(String::new());
            std::fs::File::open(file)
                .and_then(|open| open.take(MOST_BYTES).read_to_string(&mut text))
                .with_context(|| format!("{}: no passphrase can be read", file.display()))?;
            text
        }
        None => match std::env::var(VARIABLE) {
            Ok(text) => Zeroizing::new(text),
            Err(_) if io::stdin().is_terminal() && io::stderr().is_terminal() => {
                let text = typed("passphrase (nothing shows as you type):", out)?;
                if twice && typed("the same once more:", out)? != text {
                    bail!("the two passphrases differ; nothing was written, try again");
                }
                text
            }
            Err(_) => bail!(
                "no passphrase: give --passphrase-file FILE (- for standard input) or set {VARIABLE}"
            ),
        },
    };
    Ok(Passphrase::new(&text)?)
}

fn typed(prompt: &str, out: &mut Output) -> anyhow::Result<Zeroizing<String>> {
    out.complain(prompt);
    let text = Term::stderr().read_secure_line().context("no passphrase can be read")?;
    Ok(Zeroizing::new(text))
}
