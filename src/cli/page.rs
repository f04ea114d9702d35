//! The coach's page: served until Ctrl-C.

use std::path::Path;
use std::process::{Command, Stdio};

use super::args::PageArgs;
use super::output::Output;
use super::watch::Bars;
use super::{Exit, demo, place};
use crate::page::{Server, Settings};

pub(super) fn run(
    args: &PageArgs,
    library: Option<&Path>,
    out: &mut Output,
) -> anyhow::Result<Exit> {
    let folder = if args.demo { demo::academy_for_page(out)? } else { place::folder(library)? };
    // The first recording may come in through the page. A folder that was named and holds no library is
    // sooner a slip.
    if !args.demo && library.is_none() && place::for_adding(None)?.1.is_some() {
        out.say(&format!("{}: a new library", folder.display()));
    }
    let server =
        Server::bind(&Settings { library: folder, coach: args.coach.clone(), port: args.port })?;
    let address = server.address();
    if out.json {
        out.object(&serde_json::json!({ "address": address }))?;
    } else {
        out.line(&address)?;
    }
    if !args.no_open && !open(&address) {
        out.complain("no browser could be opened; open the address above in yours");
    }
    out.say("this address lets one browser in, once; Ctrl-C ends the page");
    server.run(&Bars::new(0, out).watch())?;
    out.say("the page is closed");
    Ok(Exit::Found)
}

/// Asks the system to open an address in the user's browser; whether it took the request.
fn open(address: &str) -> bool {
    let (program, args): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(windows) {
        // The empty word is the window's title, which `start` would take the address for.
        ("cmd", &["/C", "start", ""])
    } else {
        ("xdg-open", &[])
    };
    let mut command = Command::new(program);
    command.args(args).arg(address);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().is_ok()
}
