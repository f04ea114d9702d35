//! The command line: a thin face over the library's functions.
//!
//! Standard output is data, standard error is talk. Exit status 0: found; 1: nothing found;
//! 2: an error, or a batch in which something failed.

mod add;
mod amend;
mod args;
mod chosen;
mod demo;
mod export;
mod face;
mod find;
mod forget;
mod history;
mod judge;
mod like;
mod log;
mod move_to;
mod passphrase;
mod place;
mod plan_end;
mod progress;
mod read;
mod receive;
mod remedy;
mod remove;
mod review;
mod setup_video;
mod share;
mod squad;
mod verify;
mod watch;
mod worked;

use std::process::ExitCode;

use clap::Parser;
use clap::error::ErrorKind;

use args::{Cli, Command};
use face::Face;

/// Whether a command that worked found what was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outcome {
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
            Face::new(false, false).complain(&face::usage(&error, std::env::args().skip(1)));
            return ExitCode::from(2);
        }
    };
    let mut face = Face::new(cli.json, cli.quiet);
    match dispatch(cli, &mut face) {
        Ok(Outcome::Found) => ExitCode::SUCCESS,
        Ok(Outcome::Nothing) => ExitCode::from(1),
        Ok(Outcome::SomeFailed) => ExitCode::from(2),
        Err(error) if face::is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            face.complain(&face::told(&error));
            ExitCode::from(2)
        }
    }
}

fn dispatch(cli: Cli, face: &mut Face) -> anyhow::Result<Outcome> {
    let library = cli.library.as_deref();
    let undoes = matches!(&cli.command, Command::History(args) if args.undo);
    let receives = matches!(&cli.command, Command::Receive(args) if args.changes());
    if cli.read_only
        && (receives
            || undoes
            || matches!(
                cli.command,
                Command::Add(_)
                    | Command::Label(_)
                    | Command::Plan(_)
                    | Command::FollowUp(_)
                    | Command::Amend(_)
                    | Command::Move(_)
                    | Command::Log(_)
                    | Command::Forget(_)
                    | Command::Share(_)
                    | Command::Demo(_)
            ))
    {
        anyhow::bail!("--read-only: this command changes the library; leave the option out");
    }
    match &cli.command {
        Command::Demo(args) => demo::run(args, face),
        Command::Read(args) => read::run(args, face),
        Command::Add(args) => add::run(args, library, face),
        Command::SetupVideo => setup_video::run(face),
        Command::Find(args) => find::run(args, library, face),
        Command::Like(args) => like::run(args, library, face),
        Command::Review(args) => review::run(args, library, face),
        Command::Label(args) => judge::label(args, library, face),
        Command::Plan(args) if args.end.is_some() || args.withdraw.is_some() => {
            plan_end::run(args, library, face)
        }
        Command::Plan(args) => judge::plan(args, library, face),
        Command::FollowUp(args) => judge::follow_up(args, library, face),
        Command::Amend(args) => amend::run(args, library, face),
        Command::Move(args) => move_to::run(args, library, face),
        Command::Remove(args) => remove::run(args, library, cli.read_only, face),
        Command::History(args) => history::run(args, library, face),
        Command::Log(args) => log::run(args, library, face),
        Command::Progress(args) => progress::run(args, library, face),
        Command::Squad(args) => squad::run(args, library, face),
        Command::Export(args) => export::run(args, library, face),
        Command::Forget(args) => forget::run(args, library, face),
        Command::Share(args) => share::run(args, library, face),
        Command::Receive(args) => receive::run(args, library, face),
        Command::Verify(args) => verify::run(args, library, cli.read_only, face),
    }
}
