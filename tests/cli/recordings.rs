//! Files in: what is found in them, what is stored and what is refused.

use serde_json::Value;

use crate::desk::{Desk, real, sample};

/// Open sample data (Apache-2.0; its README names the source): one right-hander, five serves without
/// a ball; wrist speed peaks near frames 199, 383, 560, 744, 929 as read with an independent C3D reader.
#[test]
fn real_marker_serves_are_read_as_five() {
    let Some(file) = real("marker-serves-50hz.c3d") else { return };
    let serves = Desk::new().objects(0, &["read", &file, "--json"]);
    let contacts: Vec<i64> =
        serves.iter().map(|s| s["events"]["contact"]["frame"].as_i64().unwrap()).collect();
    assert_eq!(contacts.len(), 5, "{contacts:?}");
    for (found, listed) in contacts.iter().zip([199, 383, 560, 744, 929]) {
        assert!((found - listed).abs() <= 3, "{contacts:?}");
    }
    for serve in &serves {
        assert_eq!(serve["hand"], "right");
        let contact = &serve["events"]["contact"];
        let trust = contact["trust"].as_f64().unwrap();
        assert!((0.0..=1.0).contains(&trust));
        let frame = contact["frame"].as_f64().unwrap();
        assert!((contact["time_s"].as_f64().unwrap() - frame / 50.0).abs() <= 0.011);
        // No hand joints in this marker set: said, not guessed.
        let palm = &serve["measures"]["palm_turn_after_contact"];
        assert!(palm["not_measurable"].as_str().unwrap().contains("hand"), "{palm}");
        assert_eq!(serve["measures"]["front_knee_flexion_trophy"]["unit"], "deg");
    }
}

/// MSR Action3D (Li, Zhang, Liu 2010): a serve is one, a wave is none, broken tracking is refused.
#[test]
fn real_depth_sensor_takes_are_told_apart() {
    let Some(serve) = real("depth-sensor/serve_p01_t01.txt") else { return };
    let desk = Desk::new();
    assert_eq!(desk.objects(0, &["read", &serve, "--json"]).len(), 1);
    for other in ["two-hand-wave_p01", "high-throw_p02", "serve_p03_t02"] {
        let file = real(&format!("depth-sensor/{other}.txt")).unwrap();
        let (out, err) = desk.expect(1, &["read", &file, "--json"]);
        assert!(out.is_empty() && err.contains("no serve"), "{other}: {err}");
    }
    // A wave is not stored either.
    let wave = real("depth-sensor/two-hand-wave_p01.txt").unwrap();
    let (_, err) = desk.expect(2, &["add", &wave, "--player", "p1"]);
    assert!(err.contains("no serve found"), "{err}");
}

#[test]
fn a_hand_that_contradicts_the_motion_is_refused() {
    let (_, err) =
        Desk::new().expect(1, &["read", &sample("new-serve.c3d"), "--hand", "right", "--json"]);
    assert!(err.contains("left") && err.contains("right"), "{err}");
}

#[test]
fn the_same_file_is_recognised_and_another_player_cannot_take_it() {
    let desk = Desk::stocked();
    let file = sample("new-serve.c3d");
    let again = desk.objects(0, &["add", &file, "--player", "sanderling", "--json"]);
    assert_eq!(again[0]["new"], false);
    let (_, err) = desk.expect(2, &["add", &file, "--player", "somebody-else"]);
    assert!(err.contains("sanderling"), "{err}");
    let (_, err) = desk.expect(0, &["verify"]);
    assert!(err.contains("4 serves"), "{err}");
}

#[test]
fn a_folder_goes_on_past_bad_files_and_says_so() {
    let desk = Desk::new();
    let folder = desk.at("from-phone");
    std::fs::create_dir(&folder).unwrap();
    for name in ["new-serve.c3d", "forehands.csv", "table.csv"] {
        std::fs::copy(sample(name), folder.join(name)).unwrap();
    }
    let whole = std::fs::read(sample("new-serve.c3d")).unwrap();
    std::fs::write(folder.join("cut-off.c3d"), &whole[..whole.len() / 2]).unwrap();
    std::fs::write(folder.join("letter.txt"), "Dear coach,\n").unwrap();
    let (out, err) = desk.expect(2, &["add", folder.to_str().unwrap(), "--player", "p1"]);
    assert_eq!(out.lines().count(), 2, "{out}");
    for bad in ["cut-off.c3d", "letter.txt", "forehands.csv"] {
        let complaints = err.lines().filter(|line| line.contains(bad)).count();
        assert_eq!(complaints, 1, "{bad}: {err}");
    }
    desk.expect(0, &["verify"]);
}

#[test]
fn a_failed_add_leaves_no_player_behind() {
    let desk = Desk::stocked();
    for file in [sample("new-serve.c3d"), sample("forehands.csv"), "nowhere.c3d".to_owned()] {
        let (out, err) = desk.expect(2, &["add", &file, "--player", "mistyped"]);
        assert!(out.is_empty() && !err.contains("new player"), "{err}");
    }
    let (_, err) = desk.expect(0, &["verify"]);
    assert!(err.contains("3 players"), "{err}");
    let (_, err) = desk.expect(2, &["like", "s1", "--where", "player=mistyped"]);
    assert!(err.contains("player has no 'mistyped'"), "{err}");
}

/// A file is reviewed before it is stored; what only a stored case has is said. Once it is stored, the
/// file's name stands for the stored serve.
#[test]
fn a_file_is_reviewed_before_it_is_stored_and_asked_about_after() {
    let desk = Desk::stocked();
    let file = sample("practice-swings.c3d");
    let near = |args: &[&str]| -> Vec<(String, f64)> {
        let found = desk.precedents(args);
        let pair = |one: &Value| {
            (one["serve"].as_str().unwrap().to_owned(), one["distance"].as_f64().unwrap())
        };
        found.iter().map(pair).collect()
    };
    let before = near(&["like", &file, "--json"]);
    assert_eq!(before.len(), 4);
    desk.expect(0, &["review", &file, "-o", "file.html", "--for", "coach"]);
    let page = std::fs::read_to_string(desk.at("file.html")).unwrap();
    for said in ["This serve is not in the library", "player not named"] {
        assert!(page.contains(said), "{said}");
    }
    desk.expect(0, &["add", &file, "--player", "ruff", "--date", "2026-03-20"]);
    let serve = "s5";
    let after = near(&["like", serve, "--json"]);
    assert_eq!(after.len(), before.len());
    for ((a, near), (b, far)) in before.iter().zip(&after) {
        assert!(a == b && (near - far).abs() < 1e-6, "{before:?} {after:?}");
    }
    let (_, err) = desk.expect(0, &["review", &file, "-o", "stored.html", "--for", "coach"]);
    assert!(err.contains("stored as r4, not read again"), "{err}");
    desk.expect(0, &["review", serve, "-o", "same.html", "--for", "coach"]);
    let [stored, same] =
        ["stored.html", "same.html"].map(|name| std::fs::read(desk.at(name)).unwrap());
    assert!(stored == same, "the file's review is not that of the stored serve");
    let (_, err) = desk.expect(2, &["like", &file, "--player", "knot"]);
    assert!(err.contains("is stored as r4 of ruff"), "{err}");
}
