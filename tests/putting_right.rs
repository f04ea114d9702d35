//! A coach's mistakes, put right from the command line.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::Desk;
use serde_json::Value;

const FAULT: &str = "tossing_arm_drops_early";

fn drill() -> String {
    let catalogue = precedent::catalogue::Catalogue::builtin();
    catalogue.drills_for(FAULT)[0].id.clone()
}

/// Where a case stands, as `label --json` says.
fn case(desk: &Desk, id: &str) -> Value {
    desk.objects(0, &["label", id, "--json"]).remove(0)
}

#[test]
fn a_plan_ends_is_withdrawn_or_gives_way_to_another() {
    let desk = Desk::stocked();
    let drill = drill();
    let plan = ["plan", "c1", "--fault", FAULT, "--drill", &drill, "--coach", "ash"];
    assert_eq!(desk.expect(0, &plan).0.trim(), "n1");
    assert_eq!(case(&desk, "c1")["judgement"]["chosen"], "plan");
    let (new, _) = desk.expect(0, &[&plan[..], &["--replaces", "n1", "--reason", "x"]].concat());
    assert_eq!(new.trim(), "n2");
    let (_, err) = desk.expect(2, &["plan", "--end", "n1"]);
    assert!(err.contains("n1: was replaced by n2"), "{err}");
    // Words are needed where a plan is taken back.
    desk.expect(2, &["plan", "--withdraw", "n2"]);
    let ended = desk
        .objects(0, &["plan", "--withdraw", "n2", "--reason", "knee", "--coach", "ash", "--json"]);
    assert_eq!(ended[0]["ended"]["how"], "withdrawn");
    assert_eq!(
        (&ended[0]["ended"]["by"], &ended[0]["ended"]["reason"]),
        (&"ash".into(), &"knee".into())
    );
    // Without a plan in force the case stands as the program sees it.
    assert_eq!(case(&desk, "c1")["judgement"]["chosen"], "program");
    desk.expect(2, &["plan", "c2", "--end", "n2"]);
}

#[test]
fn words_are_added_and_a_change_is_taken_back() {
    let desk = Desk::stocked();
    desk.expect(0, &["label", "c1", "--note", "early toss", "--coach", "ash"]);
    desk.expect(0, &["amend", "c1", "--note", "calmer now", "--coach", "bo"]);
    let stands = case(&desk, "c1");
    assert_eq!(stands["note"], "early toss\ncalmer now");
    assert_eq!(stands["notes"][1]["by"], "bo");
    desk.expect(0, &["history", "c1", "--undo", "--coach", "ash"]);
    assert_eq!(case(&desk, "c1")["note"], "early toss");
    let history = desk.objects(0, &["history", "c1", "--json"]);
    let kinds: Vec<&str> = history.iter().filter_map(|change| change["kind"].as_str()).collect();
    assert_eq!(kinds[..3], ["undone", "amended", "judged"]);
    assert_eq!((&history[0]["by"], &history[0]["undoes"]), (&"ash".into(), &history[1]["id"]));
    let (out, _) = desk.expect(0, &["history", "c1"]);
    assert!(out.contains("(taken back by"), "{out}");
    let (_, err) = desk.expect(2, &["amend", "c1", "--rating", "1"]);
    assert!(err.contains("--rating does not belong to a case"), "{err}");
    desk.expect(2, &["--read-only", "history", "c1", "--undo"]);
    desk.expect(2, &["--read-only", "amend", "c1", "--note", "x"]);
}

#[test]
fn a_serve_under_the_wrong_player_is_moved_and_moved_back() {
    let desk = Desk::stocked();
    let before = desk.objects(0, &["label", "c1", "--json"]);
    let moved = desk.objects(0, &["move", "r1", "--player", "dunlin", "--json"]);
    assert_eq!((&moved[0]["left"], &moved[0]["left_case"]), (&"c1".into(), &"gone".into()));
    desk.expect(2, &["label", "c1"]);
    let joined = moved[0]["joined"].as_str().unwrap();
    assert_eq!(case(&desk, joined)["player"], "dunlin");
    desk.expect(0, &["verify"]);
    desk.expect(0, &["history", "r1", "--undo"]);
    assert_eq!(desk.objects(0, &["label", "c1", "--json"]), before);
    desk.expect(0, &["verify"]);
    let (_, err) = desk.expect(2, &["move", "r1", "--player", "nobody"]);
    assert!(err.contains("player 'nobody': not in this library"), "{err}");
    let (_, err) = desk.expect(2, &["move", "r1", "--date", "2999-01-01"]);
    assert!(err.contains("not in the future"), "{err}");
    desk.expect(2, &["--read-only", "move", "r1", "--player", "dunlin"]);
}

#[test]
fn what_depends_is_listed_and_nothing_goes_without_a_yes() {
    let desk = Desk::stocked();
    let drill = drill();
    desk.expect(0, &["plan", "c1", "--fault", FAULT, "--drill", &drill]);
    desk.expect(0, &["follow-up", "n1", "--date", "2026-04-14", "--rating", "1"]);
    let asked = desk.objects(1, &["remove", "n1", "--json"]);
    assert_eq!(asked[0]["removed"], false);
    assert_eq!(asked[0]["depends"]["follow_ups"], serde_json::json!(["f1"]));
    let (_, err) = desk.expect(1, &["remove", "n1"]);
    assert!(err.contains("its follow-ups go: f1") && err.contains("--yes"), "{err}");
    desk.expect(2, &["--read-only", "remove", "n1", "--yes"]);
    desk.expect(0, &["remove", "n1", "--yes", "--coach", "ash"]);
    let (_, err) = desk.expect(2, &["remove", "f1"]);
    assert!(err.contains("f1: not in this library"), "{err}");
    desk.expect(0, &["history", "c1", "--undo"]);
    desk.expect(0, &["amend", "f1", "--rating", "-1", "--coach", "ash"]);
    let changed = desk.objects(0, &["history", "f1", "--json"]);
    let rating = &changed[0]["fields"][0];
    assert_eq!(
        (&rating["field"], &rating["before"], &rating["after"]),
        (&"rating".into(), &"1".into(), &"-1".into())
    );
    desk.expect(0, &["verify"]);
}

#[test]
fn what_is_not_known_after_all_is_cleared_and_what_cannot_be_is_refused() {
    let desk = Desk::stocked();
    let drill = drill();
    desk.expect(
        0,
        &["plan", "c1", "--fault", FAULT, "--drill", &drill, "--review-on", "2026-05-01"],
    );
    let said = ["follow-up", "n1", "--date", "2026-04-14", "--rating", "1", "--speed", "148"];
    desk.expect(0, &said);
    desk.expect(0, &["amend", "f1", "--clear", "speed", "--sessions", "9"]);
    let now = desk.objects(0, &["history", "f1", "--json"]).remove(0);
    let fields: Vec<(&str, &Value)> = (now["fields"].as_array().unwrap().iter())
        .map(|field| (field["field"].as_str().unwrap(), &field["after"]))
        .collect();
    assert_eq!(fields, [("speed_kmh", &Value::Null), ("sessions_done", &"9".into())]);
    // Without a rating and sessions nothing but a day would be left.
    let bare = ["amend", "f1", "--clear", "rating", "--clear", "sessions"];
    let (_, err) = desk.expect(2, &bare);
    assert!(err.contains("f1: only its day would be left"), "{err}");

    let dose = |said: &str| format!("{drill}={said}");
    desk.expect(
        0,
        &["amend", "n1", "--dose", &dose("2 x 6, two days a week"), "--clear", "review-on"],
    );
    let (_, err) = desk.expect(2, &["amend", "n1", "--dose", &dose("2 x 6, two days a week")]);
    assert!(err.contains("n1: says that already"), "{err}");
    let (_, err) = desk.expect(2, &["amend", "n1", "--dose", &dose("30 x 40")]);
    assert!(err.contains("1200 repetitions"), "{err}");
    let (_, err) = desk.expect(2, &["amend", "n1", "--dose", "no_such_drill=3 x 8"]);
    assert!(
        err.contains("n1: has no drill 'no_such_drill'; it has") && err.contains(&drill),
        "{err}"
    );
    let (_, err) = desk.expect(2, &["amend", "n1", "--clear", "rating"]);
    assert!(err.contains("does not belong to a plan"), "{err}");

    desk.expect(0, &["amend", "dunlin", "--stature", "1.71", "--consent", "none"]);
    desk.expect(0, &["amend", "dunlin", "--clear", "stature"]);
    let (_, err) = desk.expect(2, &["move", "r1", "--player", "dunlin"]);
    assert!(err.contains("dunlin"), "{err}");
    desk.expect(0, &["label", "c1", "--note", "seen", "--coach", "ash"]);
    desk.expect(0, &["remove", "c1", "--note", "1", "--yes"]);
    desk.expect(2, &["remove", "c1", "--note", "1", "--yes"]);
    desk.expect(0, &["verify"]);
}
