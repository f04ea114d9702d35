//! Every command of the guide is run, topic by topic, on a library that begins empty; every Python
//! example too.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/film.rs"]
mod film;
#[path = "support/render.rs"]
mod render;
#[path = "support/skip.rs"]
mod skip;

use std::io::BufRead;
use std::process::{Command, Stdio};

use desk::{Desk, sample};
use precedent::guide::{TOPICS, Topic};
use precedent::simulator::Ask;

/// Blocks of a topic: what stands after the fence, and the lines.
fn blocks(topic: &Topic) -> Vec<(String, Vec<String>)> {
    let mut found = Vec::new();
    let mut open: Option<(String, Vec<String>)> = None;
    for line in topic.text.lines() {
        match (line.strip_prefix("```"), open.take()) {
            (Some(kind), None) => open = Some((kind.to_owned(), Vec::new())),
            (Some(_), Some(block)) => found.push(block),
            (None, Some((kind, mut lines))) => {
                lines.push(line.to_owned());
                open = Some((kind, lines));
            }
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "{}: a block has no end", topic.name);
    found
}

/// Words of a command as a shell takes them: blanks part them, double quotes hold them together.
fn words(line: &str) -> Vec<String> {
    let mut found = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => found.push(String::new()),
            c => found.last_mut().unwrap().push(c),
        }
    }
    found
}

/// The page serves until it is ended; it has begun once it says its address.
fn page(desk: &Desk, args: &[&str]) {
    let mut command = desk.command(args);
    command.arg("--no-open").stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = command.spawn().unwrap();
    let mut line = String::new();
    std::io::BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    assert!(line.starts_with("http://127.0.0.1:"), "{line}");
}

fn run(desk: &Desk, topic: &str, line: &str) -> String {
    let words = words(line);
    let args: Vec<&str> = words.iter().map(String::as_str).collect();
    let ("precedent", args) = (args[0], &args[1..]) else { panic!("{topic}: {line}") };
    if args[0] == "page" {
        page(desk, args);
        return String::new();
    }
    let output = desk.run(args);
    let (out, err) = (
        String::from_utf8_lossy(&output.stdout).into_owned(),
        String::from_utf8_lossy(&output.stderr).into_owned(),
    );
    // Nothing found is an answer too: what a machine lacks, nobody kept for too long.
    let may_find_nothing = ["doctor", "retention"].contains(&args[0]);
    let expected =
        output.status.code() == Some(0) || (may_find_nothing && output.status.code() == Some(1));
    assert!(expected, "{topic}: {line}\n--- out\n{out}\n--- err\n{err}");
    out
}

#[test]
fn every_command_of_the_guide_runs() {
    let mut commands = 0;
    for topic in TOPICS {
        let (desk, theirs) = (Desk::new(), Desk::new());
        for (name, from) in [
            ("serve.c3d", "new-serve.c3d"),
            ("basket.trc", "basket.trc"),
            ("table.csv", "table.csv"),
        ] {
            std::fs::copy(sample(from), desk.at(name)).unwrap();
        }
        let films = topic.text.contains("clip.mp4");
        if films {
            if !film::ready() {
                continue;
            }
            let shot = film::Shot::small(90.0);
            let (body, _) = film::serve(&film::plain(), &Ask::default(), shot.rate_hz);
            film::film(&shot, &body, &desk.at("clip.mp4"));
        }
        let mut key = String::new();
        for (kind, lines) in blocks(topic) {
            match kind.as_str() {
                "sh" | "sh theirs" => {
                    for line in lines {
                        let at = if kind == "sh" { &desk } else { &theirs };
                        if kind == "sh theirs" && desk.at("pack.zip").exists() {
                            std::fs::copy(desk.at("pack.zip"), theirs.at("pack.zip")).unwrap();
                        }
                        let out = run(at, topic.name, &line.replace("KEY", &key));
                        if line == "precedent receive --key" {
                            key = out.trim().to_owned();
                        }
                        commands += 1;
                    }
                }
                "python" => {
                    let Some(python) = std::env::var_os("PRECEDENT_ORACLE") else {
                        skip::skipped("PRECEDENT_ORACLE names no Python; tests/run sets it");
                        continue;
                    };
                    let output = Command::new(python)
                        .args(["-c", &lines.join("\n")])
                        .current_dir(desk.at(""))
                        .output()
                        .unwrap();
                    let err = String::from_utf8_lossy(&output.stderr);
                    assert!(output.status.success(), "{}: {err}", topic.name);
                }
                // Words for one face, not commands.
                "page" | "terminal" => {}
                other => panic!("{}: a block of '{other}'", topic.name),
            }
        }
    }
    assert!(commands > 35, "{commands} commands");
}

#[test]
fn the_guide_is_read_on_a_terminal() {
    let desk = Desk::new();
    let (out, _) = desk.expect(0, &["guide"]);
    for topic in TOPICS {
        assert!(out.contains(topic.name) && out.contains(topic.title()), "{out}");
        let (out, err) = desk.expect(0, &["guide", topic.name]);
        assert!(out.starts_with(topic.title()) && err.is_empty(), "{out}");
    }
    let (_, err) = desk.expect(2, &["guide", "nothing"]);
    assert!(err.contains("no such topic; choose one of first-hour"), "{err}");
}
