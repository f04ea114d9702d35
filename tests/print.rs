//! Printing that cannot be done, or is stopped: one error, and what was there before stays.
#![cfg(unix)]

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::os::unix::fs::PermissionsExt;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use desk::Desk;

const OLD: &str = "what was there before";

fn names(desk: &Desk) -> Vec<String> {
    let entries = std::fs::read_dir(desk.at("")).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// A browser that is none, by its script.
fn browser(desk: &Desk, script: &str) {
    std::fs::write(desk.at("browser"), format!("#!/bin/sh\n{script}\n")).unwrap();
    let rights = std::fs::Permissions::from_mode(0o755);
    std::fs::set_permissions(desk.at("browser"), rights).unwrap();
}

#[test]
fn without_a_browser_one_error_says_what_was_looked_for_and_nothing_is_written() {
    let desk = Desk::stocked();
    std::fs::write(desk.at("review.pdf"), OLD).unwrap();
    let before = names(&desk);
    let run = |named: &str, path: bool| {
        let mut command = desk.command(&["review", "s1", "-o", "review.pdf"]);
        command.env("PRECEDENT_BROWSER", named);
        if !path {
            command.env("PATH", desk.at("no-commands-here"));
        }
        let output = command.output().unwrap();
        let err = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{err}");
        assert_eq!(names(&desk), before, "{err}");
        assert_eq!(std::fs::read_to_string(desk.at("review.pdf")).unwrap(), OLD);
        err
    };
    let err = run("", false);
    assert_eq!(
        err,
        "precedent: a PDF is printed by a browser of the Chromium family, and none was found \
         (looked for chromium, chromium-browser, google-chrome); install one, or name yours in \
         PRECEDENT_BROWSER, or write HTML and print it from any browser\n"
    );
    let err = run("no-such-browser", true);
    assert!(err.contains("PRECEDENT_BROWSER names 'no-such-browser'"), "{err}");
    // One that ends well and prints nothing is no browser either.
    let err = run("/bin/true", true);
    assert!(err.contains("/bin/true printed no PDF; name another one"), "{err}");
    let (_, err) = desk.expect(2, &["review", "s1", "-o", "no-folder/review.pdf"]);
    assert!(err.contains("no such folder"), "{err}");
}

#[test]
fn an_interrupt_ends_the_browser_and_leaves_what_was_there() {
    let desk = Desk::stocked();
    std::fs::write(desk.at("review.pdf"), OLD).unwrap();
    let pid = desk.at("pid");
    browser(&desk, &format!("echo $$ >{0}.new; mv {0}.new {0}; exec sleep 600", pid.display()));
    let child = desk
        .command(&["review", "s1", "-o", "review.pdf"])
        .env("PRECEDENT_BROWSER", desk.at("browser"))
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let began = Instant::now();
    while !pid.exists() {
        assert!(began.elapsed() < Duration::from_secs(60), "the browser was not begun");
        std::thread::sleep(Duration::from_millis(20));
    }
    let interrupt = ["-INT", &child.id().to_string()];
    assert!(Command::new("kill").args(interrupt).status().unwrap().success());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2), "{err}");
    assert!(err.contains("stopped; nothing was kept"), "{err}");
    let browser = std::fs::read_to_string(&pid).unwrap();
    let there = Command::new("kill").args(["-0", browser.trim()]).stderr(Stdio::null()).status();
    assert!(!there.unwrap().success(), "the browser still runs");
    assert_eq!(std::fs::read_to_string(desk.at("review.pdf")).unwrap(), OLD);
    assert_eq!(names(&desk), ["browser", "library", "pid", "review.pdf"]);
}
