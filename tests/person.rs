//! All that is stored of a player goes to the player, and nothing of anybody else; consent is shown
//! and demanded; packs leave for named keys. From outside.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use std::collections::BTreeMap;
use std::io::Read;

use desk::{Desk, sample};
use serde_json::Value;

/// Every entry of an archive.
fn entries(path: &std::path::Path) -> BTreeMap<String, Vec<u8>> {
    let mut archive = zip::ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
    let mut found = BTreeMap::new();
    for at in 0..archive.len() {
        let mut entry = archive.by_index(at).unwrap();
        let name = entry.name().unwrap().into_owned();
        let mut bytes = Vec::new();
        entry.read_to_end(&mut bytes).unwrap();
        found.insert(name, bytes);
    }
    found
}

/// Two players with a plan, practice with pain, notes that name each other, and something moved.
fn stocked() -> Desk {
    let desk = Desk::stocked();
    let drill = "fence_throw=2 x 10 throws, three days a week@off_court";
    for case in ["c1", "c2"] {
        let plan = ["plan", case, "--fault", "low_hitting_elbow", "--drill", drill, "--sure"];
        desk.expect(0, &plan);
    }
    desk.expect(0, &["amend", "dunlin", "--name", "Dana Invented", "--born", "2012-05-03"]);
    desk.expect(0, &["label", "c2", "--note", "quollword: hits with sanderling and with Knot"]);
    desk.expect(0, &["label", "c1", "--note", "numbatword: does what dunlin does"]);
    let log = ["log", "n2", "--day", "2026-03-20", "--sessions", "2", "--pain", "3"];
    desk.expect(0, &[&log[..], &["--where", "shoulder"]].concat());
    desk.expect(0, &["move", "r3", "--player", "dunlin"]);
    desk
}

#[test]
fn a_player_gets_all_that_is_stored_and_nothing_of_others() {
    let desk = stocked();
    let (_, err) = desk.expect(0, &["export", "--player", "dunlin", "-o", "dunlin.zip"]);
    assert!(err.contains("dunlin agreed to keeping recordings here"), "{err}");
    assert!(err.contains("parent or guardian"), "{err}");
    let entries = entries(&desk.at("dunlin.zip"));
    let names: Vec<&str> = entries.keys().map(String::as_str).collect();
    for name in ["READ-ME.txt", "data.json", "report.html", "joints/r2.csv", "joints/r3.csv"] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    let curves = names.iter().filter(|name| name.starts_with("serves/curves-")).count();
    assert!(curves >= 2 && names.contains(&"serves/measures.csv"), "{names:?}");

    let data: Value = serde_json::from_slice(&entries["data.json"]).unwrap();
    let tables = &data["tables"];
    assert_eq!(tables["players"].as_array().unwrap().len(), 1);
    assert_eq!(tables["players"][0]["name"], "Dana Invented");
    assert_eq!(tables["practice"][0]["pain"], 3);
    assert_eq!(tables["recordings"].as_array().unwrap().len(), 2);
    assert_eq!(tables["plans"].as_array().unwrap().len(), 1);
    // Each bytes the rows name are there, as long as they say.
    let joints = &tables["recording_joints"][0]["positions"];
    assert_eq!(entries[joints["file"].as_str().unwrap()].len() as u64, joints["bytes"]);
    assert!(data["cautions"].to_string().contains("pain"), "{}", data["cautions"]);
    let told = data["history"].to_string();
    assert!(told.contains("pain") && told.contains("another player"), "{told}");

    let report = String::from_utf8(entries["report.html"].clone()).unwrap();
    for own in ["Dana Invented", "quollword", "pain 3 of 10 (shoulder)", "Take care", "3 May 2012"]
    {
        assert!(report.contains(own), "{own}");
    }
    // Of others not a word in any entry: codes, notes, file names.
    for (name, bytes) in &entries {
        let text = String::from_utf8_lossy(bytes).to_lowercase();
        for other in ["sanderling", "knot", "numbatword", "new-serve"] {
            assert!(!text.contains(other), "{other} in {name}");
        }
    }
    assert!(report.contains("hits with another player and with another player"), "{report}");
}

#[test]
fn a_report_that_fails_leaves_what_was_there() {
    let desk = Desk::stocked();
    std::fs::write(desk.at("dunlin.zip"), "what was there").unwrap();
    let (_, err) = desk.expect(2, &["export", "--player", "nobody", "-o", "dunlin.zip"]);
    assert!(err.contains("player 'nobody'") && err.lines().count() == 1, "{err}");
    assert_eq!(std::fs::read(desk.at("dunlin.zip")).unwrap(), b"what was there");
    let (_, err) = desk.expect(2, &["export", "--player", "dunlin", "-o", "no/such/dunlin.zip"]);
    assert!(err.contains("no/such/dunlin.zip: cannot be written"), "{err}");
    let left = std::fs::read_dir(desk.at("")).unwrap().count();
    assert_eq!(left, 2, "only the library and the file");
}

#[test]
fn a_time_is_set_and_reminded_of() {
    let desk = Desk::stocked();
    let (_, err) = desk.expect(1, &["retention"]);
    assert!(err.contains("no limit is set"), "{err}");
    let (_, err) = desk.expect(2, &["retention", "--months", "0"]);
    assert!(err.contains("months: 0; 1 to 1200 months"), "{err}");
    let (_, err) = desk.expect(2, &["--read-only", "retention", "--months", "3"]);
    assert!(err.contains("--read-only"), "{err}");
    // Added today, so consent is of today and nobody is due.
    let (_, err) = desk.expect(1, &["retention", "--months", "1", "--coach", "ash"]);
    assert!(err.contains("1 month after") && err.contains("as ash said on"), "{err}");
    desk.expect(0, &["verify"]);
    desk.expect(1, &["retention", "--no-limit"]);
}

#[test]
fn who_agreed_is_asked_stored_and_told() {
    let desk = Desk::new();
    let file = sample("new-serve.c3d");
    let add = ["add", &file, "--player", "knot", "--date", "2026-03-14", "--born", "2012-05-03"];
    let consent = ["--consent", "share", "--consent-by"];
    let (_, err) = desk.expect(2, &[&add[..], &["--consent-by", "guardian"]].concat());
    assert!(err.contains("--consent"), "{err}");
    let (_, err) = desk.expect(2, &[&add[..], &consent, &["player"]].concat());
    assert!(err.contains("under eighteen") && err.contains("guardian"), "{err}");
    let (_, err) = desk.expect(0, &[&add[..], &["--consent", "keep"]].concat());
    assert!(err.contains("who agreed for knot is not recorded"), "{err}");
    let (_, err) = desk.expect(0, &["export", "--player", "knot", "-o", "before.zip"]);
    assert!(err.contains("who said so is not recorded"), "{err}");

    let (_, err) =
        desk.expect(0, &["amend", "knot", "--consent", "share", "--consent-by", "guardian"]);
    assert!(!err.contains("not recorded"), "{err}");
    let (out, err) = desk.expect(0, &["export", "--player", "knot", "-o", "after.zip", "--json"]);
    assert!(err.contains("without a name") && err.contains("by a parent or guardian"), "{err}");
    let said: Value = serde_json::from_str(out.lines().next().unwrap()).unwrap();
    assert_eq!(said["consent"]["by"], "guardian");
    let (out, _) = desk.expect(0, &["history", "knot"]);
    assert!(out.contains("consent given by") || out.contains("guardian"), "{out}");
    let (_, err) =
        desk.expect(2, &["amend", "knot", "--consent", "keep", "--consent-by", "player"]);
    assert!(err.contains("under eighteen"), "{err}");

    // A table says it, too.
    let table = |by: &str| {
        format!(
            "player,born,consent_keep,consent_date,consent_by,case_date\n\
             wren,2011-01-01,yes,2026-02-01,{by},2026-02-02\n"
        )
    };
    std::fs::write(desk.at("past.csv"), table("player")).unwrap();
    let (_, err) = desk.expect(2, &["add", "--table", "past.csv"]);
    assert!(err.contains("consent_by") && err.contains("under eighteen"), "{err}");
    std::fs::write(desk.at("past.csv"), table("guardian")).unwrap();
    desk.expect(0, &["add", "--table", "past.csv"]);
    let (_, err) = desk.expect(0, &["export", "--player", "wren", "-o", "wren.zip"]);
    assert!(err.contains("1 Feb 2026, by a parent or guardian"), "{err}");
}

/// The key goes one way, the pack the other; nobody else opens it.
#[test]
fn a_pack_leaves_for_a_key_and_opens_only_there() {
    let (ours, theirs, other) = (Desk::new(), Desk::new(), Desk::stocked());
    let day = ["--date", "2026-03-14", "--consent", "share", "--born", "2012-05-03"];
    let file = sample("new-serve.c3d");
    ours.expect(0, &[&["add", &file, "--player", "sanderling"], &day[..]].concat());
    let (key, err) = theirs.expect(0, &["receive", "--key"]);
    let key = key.trim();
    assert!(key.starts_with("precedent-key-") && err.contains("fingerprint"), "{err}");
    assert_eq!(theirs.expect(0, &["receive", "--key"]).0.trim(), key, "made once");

    // Who says nothing about who may read it is asked.
    let (_, err) = ours.expect(2, &["share", "-o", "p.pack"]);
    assert!(err.contains("--for") && err.contains("--unlocked"), "{err}");
    let (_, err) =
        ours.expect(2, &["share", "-o", "p.pack", "--for", &key.replace("key-", "key-0")]);
    assert!(err.contains("receiver's key") && !ours.at("p.pack").exists(), "{err}");
    let named = format!("North Side={key}");
    let (out, err) = ours.expect(0, &["share", "-o", "p.pack", "--for", &named]);
    assert!(out.contains("sanderling: agreed to keeping recordings here and to sharing"), "{out}");
    assert!(err.contains("only North Side (key ") && err.contains("signed"), "{err}");
    assert!(err.contains("1 player under eighteen") && err.contains("guardian"), "{err}");
    let pack = ours.at("p.pack");
    let pack = pack.to_str().unwrap();

    for desk in [&Desk::new(), &other] {
        let (_, err) = desk.expect(2, &["receive", pack]);
        assert!(err.contains("locked for another library"), "{err}");
    }
    let (out, _) = theirs.expect(0, &["receive", pack]);
    assert!(out.contains("signed with a key new here") && out.contains("1 case"), "{out}");
    // Whom it went to is told before a player is forgotten.
    let (out, _) = ours.expect(0, &["forget", "sanderling", "--yes"]);
    assert!(out.contains("to North Side (key "), "{out}");
}
