//! A folder of recordings taken in one go: by their paths, past a kill, and with questions that are
//! answered later. The players are invented, their serves generated.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::Stdio;

use desk::{Desk, sample};
use precedent::library::Level;
use precedent::motion::Side;
use precedent::motion::write::{C3dStyle, c3d, keypoints_33};
use precedent::simulator::{Ask, Body, Sensor, SensorKind, Server, record_serve};
use serde_json::Value;

/// A serve of an invented player; every session differs.
fn serve(folder: &Path, name: &str, seed: u64, session: u64, phone: bool) {
    let server = Server::drawn(Body::new(1.75, 1.0, 1.0), Side::Right, Level::Competition, seed);
    let ask = Ask { session, ..Ask::default() };
    let kind = if phone { SensorKind::OneCamera } else { SensorKind::Markers };
    let (recording, _) = record_serve(&server.serve(&ask), &Sensor::usual(kind), session);
    let path = folder.join(name);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    let bytes = if phone {
        keypoints_33(&recording).into_bytes()
    } else {
        c3d(&recording, &C3dStyle::default()).unwrap()
    };
    std::fs::write(path, bytes).unwrap();
}

const PATTERN: [&str; 2] = ["--from-path", "{player}/{date}-{view}"];

fn add<'a>(folder: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&["add", folder], &PATTERN[..], more].concat()
}

fn counts(desk: &Desk) -> (usize, usize) {
    let library = precedent::library::Library::open_read_only(desk.at("library")).unwrap();
    let counts = library.counts().unwrap();
    (counts.recordings, counts.serves)
}

fn questions(desk: &Desk) -> Vec<Value> {
    desk.objects(0, &["list", "--questions", "--json"])
}

#[test]
fn a_pattern_is_held_against_the_first_file_before_anything_is_read() {
    let desk = Desk::new();
    serve(&desk.at("clips"), "avocet/may.c3d", 1, 1, false);
    let (_, err) = desk.expect(2, &add("clips", &[]));
    assert!(err.contains("'may' does not fit '{date}-{view}'"), "{err}");
    assert!(err.contains("avocet/2026-05-04-side.mp4"), "{err}");
    assert!(!desk.at("library").exists());
    let (_, err) = desk.expect(2, &["add", "clips", "--from-path", "{who}/{date}"]);
    assert!(err.contains("{player}, {date}, {view}"), "{err}");
    let (_, err) = desk.expect(2, &["add", "clips", "--from-path", "*/may*{view}"]);
    assert!(err.contains("whose the recordings are"), "{err}");
    assert!(!desk.at("library").exists());
}

#[test]
fn a_folder_goes_in_by_its_paths_and_what_is_asked_is_answered_later() {
    let desk = Desk::new();
    let clips = desk.at("clips");
    serve(&clips, "avocet/2026-03-04-side.json", 1, 1, true);
    serve(&clips, "avocet/2026-03-05-side.json", 1, 2, true);
    serve(&clips, "knot/2026-03-04-behind.c3d", 2, 3, false);
    serve(&clips, "ruff/whenever.c3d", 3, 4, false);
    std::fs::copy(sample("forehands.csv"), clips.join("knot/2026-03-06-side.csv")).unwrap();
    std::fs::write(clips.join("knot/notes.txt.bak"), "not a recording").unwrap();

    // All are said to be one camera's, so that hands are asked for.
    let said = ["--date", "2026-01-01", "--capture", "one-camera-lifted"];
    let (out, err) = desk.expect(0, &add("clips", &said));
    assert_eq!(out.lines().filter(|line| line.starts_with("stored ")).count(), 3, "{out}{err}");
    assert!(err.contains("5 files in"), "{err}");
    assert!(err.contains("3 stored with 3 serves, 2 waiting or set aside"), "{err}");
    assert_eq!(counts(&desk), (3, 3));

    // The path's day goes before the one on the command line; the view is the path's.
    let library = precedent::library::Library::open_read_only(desk.at("library")).unwrap();
    let avocet = library.player_by_code("avocet").unwrap();
    let rows = library.recordings(Some(avocet.id)).unwrap();
    let days: Vec<String> = rows.iter().map(|row| row.date.to_string()).collect();
    assert_eq!(days, ["2026-03-04", "2026-03-05"]);
    assert!(rows.iter().all(|row| row.view == Some(precedent::motion::View::Side)));
    drop(library);

    // Asked: whose the one is whose path does not say it; the hand of who is seen by one camera
    // only; and there is one that holds no serve.
    let asked = questions(&desk);
    let of = |name: &str| asked.iter().find(|one| one["file"].as_str().unwrap().contains(name));
    assert_eq!(of("whenever.c3d").unwrap()["asks"], serde_json::json!(["player"]));
    assert_eq!(of("2026-03-06-side.csv").unwrap()["asks"], serde_json::json!([]));
    let hands = asked.iter().filter(|one| one["asks"] == serde_json::json!(["hand"])).count();
    assert_eq!((hands, asked.len()), (3, 5), "{asked:?}");

    // Begun again, nothing is read again and nothing is asked twice.
    let (out, err) = desk.expect(0, &add("clips", &[]));
    assert!(out.is_empty() && err.contains("0 stored with 0 serves, 5 there before"), "{out}{err}");

    // One by its name, all of a folder by the folder, one by its file.
    let name = of("whenever.c3d").unwrap()["question"].as_str().unwrap();
    let (out, _) = desk.expect(0, &["answer", name, "--player", "ruff", "--date", "2026-03-07"]);
    assert!(out.contains("of ruff"), "{out}");
    assert_eq!(counts(&desk), (4, 4));
    // The hand is the player's, so one answer is enough for both recordings of avocet.
    let of_hand = |player: &str| {
        let asked = questions(&desk);
        let names = asked.iter().filter(|one| one["player"] == player && one["asks"][0] == "hand");
        names.map(|one| one["question"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let avocet = of_hand("avocet");
    assert_eq!(avocet.len(), 2);
    let (_, err) = desk.expect(0, &["answer", &avocet[0], "--hand", "right"]);
    assert!(err.contains("1 stored recording put right"), "{err}");
    assert!(of_hand("avocet").is_empty());
    desk.expect(0, &["answer", &of_hand("knot")[0], "--hand", "right"]);
    desk.expect(0, &["answer", "clips/knot/2026-03-06-side.csv", "--leave"]);
    desk.expect(1, &["list", "--questions"]);

    let (_, err) = desk.expect(2, &["answer", "clips/nowhere", "--view", "side"]);
    assert!(err.contains("'clips/nowhere' is no open question"), "{err}");
    // Left alone, it is looked at anew when it is brought again.
    let (_, err) = desk.expect(0, &add("clips", &[]));
    assert!(err.contains("1 waiting or set aside"), "{err}");
}

#[test]
fn a_folder_that_was_killed_half_way_goes_on_where_it_was() {
    let desk = Desk::new();
    let clips = desk.at("clips");
    for file in 0..8 {
        serve(&clips, &format!("dunlin/2026-03-{:02}-side.c3d", file + 1), 5, file, false);
    }
    let mut child = desk
        .command(&add("clips", &["--jobs", "1"]))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let first = lines.next().unwrap().unwrap();
    assert!(first.starts_with("stored "), "{first}");
    child.kill().unwrap();
    child.wait().unwrap();
    let (before, _) = counts(&desk);
    assert!((1..=8).contains(&before), "{before}");

    let (out, err) = desk.expect(0, &add("clips", &["--jobs", "3"]));
    assert_eq!(out.lines().count(), 8 - before, "{out}");
    assert!(err.contains(&format!("{} stored with", 8 - before)), "{err}");
    assert_eq!(counts(&desk), (8, 8));
    desk.expect(0, &["verify"]);
}
