//! The catalogue from outside: read, checked, extended, and met in another academy's pack.

#![allow(missing_docs)]

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::Desk;

#[test]
fn it_is_listed_and_read() {
    let desk = Desk::new();
    let (out, err) = desk.expect(0, &["catalogue"]);
    for id in ["toss_low", "land_inside", "foot_up", "wheelchair"] {
        assert!(out.lines().any(|line| line.contains(id)), "{id}");
    }
    assert!(err.contains("not a diagnosis"), "{err}");
    let lines = desk.objects(0, &["catalogue", "--json"]);
    let catalogue = precedent::catalogue::Catalogue::builtin();
    let of = |kind: &str| lines.iter().filter(|line| line["kind"] == kind).count();
    assert_eq!(of("fault"), catalogue.faults().len());
    assert_eq!(of("drill"), catalogue.drills().len());

    let (out, err) = desk.expect(0, &["catalogue", "low_contact"]);
    for said in [
        "Contact too low [low_contact]",
        "what you see: ",
        "not to be confused with: A short player: ",
        "how well it is known: B: ",
        "source R093: ",
        "drills: ",
        "fully from 1.08",
    ] {
        assert!(out.contains(said), "{said}: {out}");
    }
    assert!(err.contains("licensed clinician"), "a drill is named: {err}");
    // What a drill says of when to stop and for whom it is made.
    let (out, err) = desk.expect(0, &["catalogue", "fence_throw"]);
    for said in [
        "for whom: Everyone with a pain-free shoulder",
        "stop: Stop when",
        "take care: ",
        "1. off court: ",
    ] {
        assert!(out.contains(said), "{said}: {out}");
    }
    assert!(err.contains("licensed clinician"), "{err}");
    let (out, _) = desk.expect(0, &["catalogue", "foot_up"]);
    assert!(out.contains("a way of serving, no fault"), "{out}");
    let (_, err) = desk.expect(2, &["catalogue", "toss_lov"]);
    assert!(err.contains("no fault or drill is called 'toss_lov'; there are "), "{err}");
    assert!(!desk.at("library").exists(), "reading makes no library");
}

#[test]
fn an_academys_own_is_checked_added_changed_and_kept() {
    let desk = Desk::stocked();
    desk.expect(0, &["catalogue", "--template", "own.toml"]);
    let template = std::fs::read_to_string(desk.at("own.toml")).unwrap();
    let (out, _) = desk.expect(0, &["catalogue", "--check", "own.toml"]);
    assert!(
        out.contains("own.toml: sound") && out.contains("1 fault and 1 drill of your own"),
        "{out}"
    );
    let line = |needle: &str| 1 + template.lines().position(|l| l.contains(needle)).unwrap();
    for (from, to, said) in [
        ("dose = \"2 x 8", "doses = \"2 x 8", format!("line {}: ", line("dose = "))),
        (
            "name = \"Stiff wrist\"",
            "name = \"\"",
            format!("line {}: fault 'own_stiff_wrist', name", line("name = \"Stiff")),
        ),
        (
            "\"own_stiff_wrist\", \"gripping_tight\"]",
            "\"own_stiff_wrist\", \"own_stif\"]",
            format!("line {}: drill 'own_shaken_hand', faults", line("faults = [")),
        ),
        (
            "speed = 1, consistency",
            "speed = 7, consistency",
            format!("line {}: fault 'own_stiff_wrist', cost", line("cost = {")),
        ),
        (
            "id = \"own_shaken_hand\"",
            "id = \"land_inside\"",
            format!("line {}: drill 'land_inside'", line("id = \"own_shaken")),
        ),
    ] {
        assert!(template.contains(from), "{from}");
        std::fs::write(desk.at("wrong.toml"), template.replace(from, to)).unwrap();
        for what in ["--check", "--extend"] {
            let (out, err) = desk.expect(2, &["catalogue", what, "wrong.toml"]);
            assert!(out.is_empty() && err.lines().count() == 1, "{err}");
            assert!(err.contains("wrong.toml: ") && err.contains(&said), "{said}: {err}");
        }
    }
    desk.expect(1, &["catalogue", "--files"]);
    desk.expect(2, &["--read-only", "catalogue", "--extend", "own.toml"]);
    let (out, _) = desk.expect(0, &["catalogue", "--extend", "own.toml", "--coach", "ash"]);
    assert!(out.contains("own.toml: added, version 1"), "{out}");
    let (out, _) = desk.expect(0, &["catalogue", "own_shaken_hand"]);
    assert!(out.contains("your own") && out.contains("take care: Not with a sore wrist."), "{out}");
    // It is a fault and a drill like any other.
    desk.expect(0, &["label", "c1", "--add", "own_stiff_wrist=0.5"]);
    let plan = ["plan", "c1", "--fault", "own_stiff_wrist", "--drill", "own_shaken_hand"];
    let (_, err) = desk.expect(0, &plan);
    assert!(err.contains("Not with a sore wrist."), "{err}");
    // A second version takes the first one's place, and both are kept.
    std::fs::write(desk.at("own.toml"), template.replace("Stiff wrist", "Locked wrist")).unwrap();
    desk.expect(0, &["catalogue", "--extend", "own.toml"]);
    let (out, _) = desk.expect(0, &["catalogue", "own_stiff_wrist"]);
    assert!(out.starts_with("Locked wrist"), "{out}");
    let (out, _) = desk.expect(0, &["catalogue", "--files", "own.toml@1", "--toml"]);
    assert_eq!(out.trim_end(), template.trim_end());
    let versions = desk.objects(0, &["catalogue", "--files", "--json"]);
    assert_eq!((versions.len(), &versions[0]["by"]), (2, &"ash".into()));
    // What cases name stays.
    let (_, err) = desk.expect(2, &["catalogue", "--drop", "own.toml"]);
    assert!(
        err.contains("'own_stiff_wrist' gone") && err.contains("what labels and plans name stays"),
        "{err}"
    );
    desk.expect(0, &["remove", "n1", "--yes"]);
    desk.expect(0, &["history", "c1", "--undo"]);
}

#[test]
fn it_travels_in_a_pack_and_conflicts_are_said() {
    let from = Desk::new();
    let add = ["add", &desk::sample("basket.trc"), "--player", "dunlin", "--consent", "share"];
    from.expect(0, &[&add[..], &["--date", "2026-03-14"]].concat());
    from.expect(0, &["catalogue", "--template", "own.toml"]);
    from.expect(0, &["catalogue", "--extend", "own.toml"]);
    let plan = ["plan", "c1", "--fault", "own_stiff_wrist", "--drill", "own_shaken_hand"];
    from.expect(0, &plan);
    from.expect(0, &["share", "-o", "pack.zip", "--academy", "North Side", "--unlocked"]);
    let pack = from.at("pack.zip");
    let pack = pack.to_str().unwrap();

    let to = Desk::new();
    let (_, err) = to.expect(0, &["receive", pack]);
    assert!(
        err.contains("the sender's own drill 'own_shaken_hand' is not in this catalogue"),
        "{err}"
    );
    assert!(err.contains("(catalogue own_shaken_hand)"), "{err}");
    let (out, err) = to.expect(0, &["catalogue", "own_shaken_hand"]);
    assert!(
        out.contains("from the pack of North Side") && out.contains("Not with a sore wrist"),
        "{out}"
    );
    assert!(err.contains("licensed clinician"), "{err}");
    // Read, checked and taken over, one after the other: the drill is for the fault.
    let mut own = String::new();
    for id in ["own_stiff_wrist", "own_shaken_hand"] {
        own += &to.expect(0, &["catalogue", id, "--toml"]).0;
    }
    std::fs::write(to.at("theirs.toml"), own).unwrap();
    to.expect(0, &["catalogue", "--extend", "theirs.toml"]);
    let (_, err) = to.expect(0, &["receive", pack]);
    assert!(!err.contains("own_shaken_hand"), "the same: {err}");

    // Another drill of that name is a conflict, and that is said.
    let other = Desk::new();
    other.expect(
        0,
        &[
            "add",
            &desk::sample("table.csv"),
            "--player",
            "knot",
            "--consent",
            "keep",
            "--date",
            "2026-03-14",
        ],
    );
    other.expect(0, &["catalogue", "--template", "mine.toml"]);
    let mine = std::fs::read_to_string(other.at("mine.toml")).unwrap();
    std::fs::write(other.at("mine.toml"), mine.replace("Shaken hand", "Wrist shower")).unwrap();
    other.expect(0, &["catalogue", "--extend", "mine.toml"]);
    let told = other.objects(0, &["receive", pack, "--dry-run", "--json"]).remove(0);
    assert_eq!(told["catalogue"].as_array().unwrap().len(), 1, "{told}");
    assert!(told["catalogue"][0].as_str().unwrap().contains("not the same as 'Wrist shower' here"));
}
