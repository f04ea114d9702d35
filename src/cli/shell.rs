//! What shells and manuals are told of the commands; all of it made of the parser itself.

use std::io::Cursor;
use std::path::Path;

use anyhow::Context;
use clap::CommandFactory;
use clap_complete::Shell;

use super::Exit;
use super::args::Cli;
use super::output::Output;

/// Completions for a shell, on standard output.
pub(super) fn completions(shell: Shell, out: &mut Output) -> anyhow::Result<Exit> {
    let mut text = Cursor::new(Vec::new());
    clap_complete::generate(shell, &mut Cli::command(), "precedent", &mut text);
    out.line(String::from_utf8_lossy(text.get_ref()).trim_end())?;
    Ok(Exit::Found)
}

/// One page per command into a folder that is there.
pub(super) fn manual(folder: &Path, out: &mut Output) -> anyhow::Result<Exit> {
    clap_mangen::generate_to(Cli::command().disable_help_subcommand(true), folder).with_context(
        || format!("{}: no pages can be written; is it a folder?", folder.display()),
    )?;
    out.say(&format!("manual pages to {}", folder.display()));
    Ok(Exit::Found)
}
