//! The command line: a thin interface over the library's functions.
//!
//! Standard output is data, standard error is talk. Exit status 0: found; 1: nothing found;
//! 2: an error, or a batch in which something failed.

mod add;
mod amend;
mod args;
mod batch;
mod card;
mod catalogue;
mod catalogue_entry;
mod chosen;
mod demo;
mod doctor;
mod export;
mod find;
mod forget;
mod guide;

mod history;
mod judge;
mod like;
mod log;
mod mark;
mod move_to;
mod output;
mod page;
mod passphrase;
mod place;
mod plan_end;
mod progress;
mod questions;
mod read;
mod receive;
mod remedy;
mod remove;
mod retention;
mod review;
mod setup_video;
mod share;
mod shell;
mod short;
mod squad;
mod verify;
mod views;
mod watch;
mod worked;

use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;

use args::{Cli, Command};
use output::Output;

/// Whether a command that worked found what was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Exit {
    /// Exit 0.
    Found,
    /// Exit 1.
    Nothing,
    /// Exit 2: the rest was done, what failed was named.
    SomeFailed,
}

/// Parses the command line, does what it says and returns the exit status.
#[must_use]
pub fn run() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        // Help and version were asked for and are no error; both go where clap sends them.
        Err(told) if !told.use_stderr() => told.exit(),
        Err(told) if told.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            told.exit()
        }
        Err(error) => {
            Output::new(false, false).complain(&output::usage(&error, std::env::args().skip(1)));
            return ExitCode::from(2);
        }
    };
    let mut out = Output::new(cli.json, cli.quiet);
    match dispatch(cli, &mut out) {
        Ok(Exit::Found) => ExitCode::SUCCESS,
        Ok(Exit::Nothing) => ExitCode::from(1),
        Ok(Exit::SomeFailed) => ExitCode::from(2),
        Err(error) if output::is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            out.complain(&output::error_text(&error));
            ExitCode::from(2)
        }
    }
}

fn dispatch(cli: Cli, out: &mut Output) -> anyhow::Result<Exit> {
    let library = cli.library.as_deref();
    let undoes = matches!(&cli.command, Command::History(args) if args.undo);
    let marks = matches!(&cli.command, Command::Mark(args) if args.changes());
    let extends = matches!(&cli.command, Command::Catalogue(args) if args.changes());
    let retains = matches!(&cli.command, Command::Retention(args) if args.changes());
    let pairs = matches!(&cli.command, Command::Views(args) if args.changes());
    let receives = matches!(&cli.command, Command::Receive(args) if args.changes());
    if cli.read_only
        && (receives
            || retains
            || undoes
            || marks
            || pairs
            || extends
            || matches!(
                cli.command,
                Command::Add(_)
                    | Command::Answer(_)
                    | Command::Label(_)
                    | Command::Plan(_)
                    | Command::FollowUp(_)
                    | Command::Amend(_)
                    | Command::Move(_)
                    | Command::Log(_)
                    | Command::Forget(_)
                    | Command::Share(_)
                    | Command::Demo(_)
                    | Command::Page(_)
            ))
    {
        anyhow::bail!("--read-only: this command changes the library; leave the option out");
    }
    match &cli.command {
        Command::Demo(args) => demo::run(args, out),
        Command::Read(args) => read::run(args, out),
        Command::Add(args) => add::run(args, library, out),
        Command::List(args) => questions::list(args, library, out),
        Command::Answer(args) => questions::answer(args, library, out),
        Command::SetupVideo => setup_video::run(out),
        Command::Page(args) => page::run(args, library, out),
        Command::Find(args) => find::run(args, library, out),
        Command::Like(args) => like::run(args, library, out),
        Command::Review(args) => review::run(args, library, out),
        Command::Label(args) => judge::label(args, library, out),
        Command::Plan(args) if args.end.is_some() || args.withdraw.is_some() => {
            plan_end::run(args, library, out)
        }
        Command::Plan(args) if args.card.is_some() => card::write(args, library, out),
        Command::Plan(args) => judge::plan(args, library, out),
        Command::FollowUp(args) => judge::follow_up(args, library, out),
        Command::Mark(args) => mark::run(args, library, out),
        Command::Views(args) => views::run(args, library, out),
        Command::Amend(args) => amend::run(args, library, out),
        Command::Move(args) => move_to::run(args, library, out),
        Command::Remove(args) => remove::run(args, library, cli.read_only, out),
        Command::History(args) => history::run(args, library, out),
        Command::Log(args) if args.from.is_some() => card::log(args, library, out),
        Command::Log(args) => log::run(args, library, out),
        Command::Progress(args) => progress::run(args, library, out),
        Command::Squad(args) => squad::run(args, library, out),
        Command::Catalogue(args) => catalogue::run(args, library, out),
        Command::Export(args) => export::run(args, library, out),
        Command::Retention(args) => retention::run(args, library, out),
        Command::Forget(args) => forget::run(args, library, out),
        Command::Share(args) => share::run(args, library, out),
        Command::Receive(args) => receive::run(args, library, out),
        Command::Doctor => doctor::run(library, out),
        Command::Completions { shell } => shell::completions(*shell, out),
        Command::Manual { folder } => shell::manual(folder, out),
        Command::Guide { topic } => guide::run(topic.as_deref(), out),
        Command::Verify(args) => verify::run(args, library, cli.read_only, out),
    }
}
