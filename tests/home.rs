//! At home on a machine: what is there, completions and manual made of the parser, an archive to
//! release.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::process::Command;

use desk::Desk;
use serde_json::Value;

fn finding<'a>(all: &'a [Value], what: &str) -> &'a Value {
    all.iter().find(|one| one["what"] == what).unwrap_or_else(|| panic!("{what}: {all:?}"))
}

#[test]
fn the_doctor_says_what_is_there_and_what_to_do() {
    // Nothing: no commands, no networks, no library.
    let bare = Desk::new();
    let output = bare
        .command(&["doctor", "--json"])
        .env("PATH", bare.at("no-commands-here"))
        .env("PRECEDENT_CACHE", bare.at("no-cache"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(1), "{output:?}");
    let out = String::from_utf8(output.stdout).unwrap();
    let all: Vec<Value> = out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    for (what, todo) in [
        ("ffmpeg", "install the package ffmpeg"),
        ("pose networks", "precedent setup-video"),
        ("browser", "Chromium"),
        ("library", "precedent add"),
    ] {
        let finding = finding(&all, what);
        assert_eq!(finding["state"], "missing", "{finding}");
        assert!(finding["todo"].as_str().unwrap().contains(todo), "{finding}");
    }
    assert_eq!(finding(&all, "free disk")["state"], "good");
    assert!(!bare.at("library").exists(), "it looks and makes nothing");

    // A library, never checked and then checked.
    let desk = Desk::stocked();
    let doctor = || -> Vec<Value> {
        let output = desk.run(&["doctor", "--json"]);
        let out = String::from_utf8(output.stdout).unwrap();
        out.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    };
    let before = doctor();
    let library = finding(&before, "library");
    assert_eq!(library["state"], "good");
    let found = library["found"].as_str().unwrap();
    assert!(found.contains("format 7, 3 players, 4 serves, 3 sessions"), "{found}");
    assert_eq!(finding(&before, "lock")["found"], "free");
    assert!(finding(&before, "last check")["found"].as_str().unwrap().contains("never"));
    desk.expect(0, &["verify"]);
    let after = doctor();
    assert!(finding(&after, "last check")["found"].as_str().unwrap().starts_with("sound on 20"));

    // Not a library at all.
    std::fs::write(desk.at("library/library.db"), "only words").unwrap();
    let (out, err) = desk.expect(2, &["doctor"]);
    assert!(out.contains("WRONG") && err.contains("restore it from a copy"), "{out}{err}");
}

#[test]
fn shells_and_manuals_know_every_command() {
    let desk = Desk::new();
    let (help, _) = desk.expect(0, &["--help"]);
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.len() > 25, "{commands:?}");
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let (out, err) = desk.expect(0, &["completions", shell]);
        assert!(err.is_empty(), "{err}");
        for command in &commands {
            assert!(out.contains(command), "{command} is unknown to {shell}");
        }
    }
    let (_, err) = desk.expect(2, &["completions", "no-shell"]);
    assert!(err.contains("no-shell") && err.lines().count() == 1, "{err}");
    std::fs::create_dir(desk.at("man")).unwrap();
    desk.expect(0, &["manual", "man"]);
    for command in &commands {
        let page = std::fs::read_to_string(desk.at(&format!("man/precedent-{command}.1")));
        assert!(page.is_ok_and(|text| text.contains(".SH")), "{command}");
    }
    // A shell reads what it is given, where one is here.
    let (bash, _) = desk.expect(0, &["completions", "bash"]);
    std::fs::write(desk.at("c.bash"), bash).unwrap();
    match Command::new("bash").arg("-n").arg(desk.at("c.bash")).status() {
        Ok(status) => assert!(status.success()),
        Err(error) => skip::skipped(format!("in part: no bash: {error}")),
    }
}

/// The archive of this machine, made of the program that is under test.
#[cfg(unix)]
#[test]
fn an_archive_holds_the_program_and_the_licences_of_everything_inside() {
    let desk = Desk::new();
    let root = env!("CARGO_MANIFEST_DIR");
    // One line that runs the program stands for it: what is packed is looked at, not its size.
    let program = format!("#!/bin/sh\nexec {} \"$@\"\n", env!("CARGO_BIN_EXE_precedent"));
    std::fs::write(desk.at("program"), program).unwrap();
    let rights = std::os::unix::fs::PermissionsExt::from_mode(0o755);
    std::fs::set_permissions(desk.at("program"), rights).unwrap();
    let output = Command::new("bash")
        .arg(format!("{root}/release/build"))
        .arg(desk.at("out"))
        .env("PRECEDENT_BINARY", desk.at("program"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let archive = String::from_utf8(output.stdout).unwrap();
    let archive = std::path::Path::new(archive.trim());
    assert!(archive.is_file() && archive.with_file_name("x").parent() == Some(&desk.at("out")));
    let unpacked = Command::new("tar")
        .args(["-xzf", archive.to_str().unwrap(), "--strip-components=1"])
        .current_dir(desk.at(""))
        .status()
        .unwrap();
    assert!(unpacked.success());
    let here = |name: &str| std::fs::read_to_string(desk.at(name)).unwrap();
    let said = Command::new(desk.at("precedent")).arg("--version").output().unwrap();
    assert!(String::from_utf8(said.stdout).unwrap().starts_with("precedent "));
    assert!(here("man/precedent-share.1").contains("precedent"));
    assert!(here("completions/precedent.fish").contains("retention"));

    // Every package the lock file names is there by name and version, or is no part of this program.
    let licences = here("LICENCES-OF-OTHERS.txt");
    for inside in
        ["rusqlite", "tantivy", "axum", "hpke", "ed25519-dalek", "argon2", "curve25519-dalek"]
    {
        assert!(licences.lines().any(|line| line.starts_with(&format!("{inside} "))), "{inside}");
    }
    for outside in ["assert_cmd", "proptest", "ureq"] {
        assert!(
            !licences.lines().any(|line| line.starts_with(&format!("{outside} "))),
            "{outside}"
        );
    }
    let named = licences.lines().filter(|line| line.contains("; texts ")).count();
    assert!(named > 150, "{named}");
    // The sum is that of the archive, by another program.
    let sum = std::fs::read_to_string(format!("{}.sha256", archive.display())).unwrap();
    if let Ok(output) = Command::new("sha256sum").arg(archive).output() {
        let expected = String::from_utf8(output.stdout).unwrap();
        assert_eq!(sum.split(' ').next(), expected.split(' ').next());
    }
}
