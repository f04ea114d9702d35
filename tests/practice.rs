//! The practice log from outside: logged, added up, cautioned, and kept at home.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::Desk;

/// A case with one plan in force, n1 of c1.
fn planned() -> Desk {
    let desk = Desk::stocked();
    let drill = "fence_throw=2 x 10 throws, three days a week@off_court";
    let (fault, sure) = ("low_hitting_elbow", "--sure");
    let (out, err) =
        desk.expect(0, &["plan", "c1", "--fault", fault, "--drill", drill, sure, "--coach", "ash"]);
    assert_eq!(out.trim(), "n1");
    // 2 x 10 throws on three days.
    assert!(err.contains("a week: 60 throws; at most 20 serves and throws on one day"), "{err}");
    desk
}

#[test]
fn a_plan_is_shown_with_its_week_and_what_is_said_to_juniors() {
    let desk = planned();
    let catalogue = precedent::catalogue::Catalogue::builtin();
    let junior = catalogue.junior_cautions().next().unwrap();
    let (out, err) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains("n1 from 2026-03-14") && out.contains("a week: 60 throws"), "{out}");
    assert!(err.contains(junior) && err.contains("No birth date is recorded"), "{err}");
    let object = desk.objects(0, &["label", "c1", "--json"]).remove(0);
    let week = &object["in_force"]["load"]["week"];
    assert_eq!(week["throws"], serde_json::json!({ "least": 60.0, "most": 60.0 }));
    assert_eq!(object["in_force"]["plans"][0]["plan"], "n1");
    assert!(object["cautions"].to_string().contains(junior.split('"').next().unwrap()), "{object}");
    // More than a junior's match on one day is asked about first.
    let much = ["plan", "c1", "--fault", "low_contact", "--drill"];
    let much = [&much[..], &["over_the_rope=80 serves, two days a week@baseline"]].concat();
    let (_, err) = desk.expect(2, &much);
    assert!(err.contains("100 serves and throws on one day, 64 at most here"), "{err}");
    assert!(err.contains("plan it anyway?") && err.contains("--sure"), "{err}");
}

#[test]
fn practice_is_logged_counted_and_cautioned() {
    let desk = planned();
    let log = |more: &[&'static str]| [&["log", "n1"][..], more].concat();
    for (more, said) in [
        (&["--day", "2026-03-13"][..], "--day: n1: starts on 2026-03-14"),
        (&["--day", "2999-01-01"], "--day: practised on 2999-01-01"),
        (&["--day", "2026-03-16", "--sessions", "12"], "--sessions: 12 sessions on one day"),
        (&["--day", "2026-03-16", "--effort", "11"], "--effort: effort is 0 (rest) to 10"),
        (&["--day", "2026-03-16", "--where", "knee"], "--where: the knee is named"),
        (&["--day", "2026-03-16", "--pain", "3"], "where does it hurt? Say it (--where)"),
    ] {
        let (out, err) = desk.expect(2, &log(more));
        assert!(out.is_empty() && err.lines().count() == 1 && err.contains(said), "{err}");
    }
    let (out, err) = desk.expect(0, &["log", "c1", "--day", "2026-03-16", "--sessions", "2"]);
    assert_eq!((out.as_str(), err.as_str()), ("d1 of n1: 2 sessions so far\n", ""));
    let hurts = ["--day", "2026-03-18", "--effort", "6", "--pain", "5", "--where", "elbow"];
    let told = desk.objects(0, &[&log(&hurts)[..], &["--json", "--quiet"]].concat()).remove(0);
    assert_eq!((&told["plan"], &told["sessions_so_far"]), (&"n1".into(), &3.into()));
    let notice = told["notices"][0].as_str().unwrap();
    assert!(notice.contains("pain 5 of 10: see a clinician, and leave what loads the elbow"));
    // What hurts is not loaded anew.
    let again = ["plan", "c1", "--fault", "low_contact", "--drill", "over_the_rope", "--sure"];
    let again = [&again[..], &["--start", "2026-03-20", "--replaces", "n1"]].concat();
    desk.expect(0, &again);
    let elbow = ["plan", "c1", "--fault", "low_hitting_elbow", "--drill", "towel_swing", "--sure"];
    let (_, err) = desk.expect(2, &[&elbow[..], &["--start", "2026-03-21"]].concat());
    assert!(err.contains("loads the elbow, which hurts") && err.contains("clinician"), "{err}");
    // n1 is over; what was done under it stays.
    let (_, err) = desk.expect(2, &log(&["--day", "2026-03-20"]));
    assert!(err.contains("in force until 2026-03-20"), "{err}");
}

#[test]
fn a_follow_up_takes_its_sessions_from_the_log() {
    let desk = Desk::new();
    for (file, day) in [("basket.trc", "2026-03-14"), ("table.csv", "2026-04-14")] {
        let add = ["add", &desk::sample(file), "--player", "knot", "--consent", "share"];
        desk.expect(0, &[&add[..], &["--date", day]].concat());
    }
    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside=3 x 8"];
    desk.expect(0, &plan);
    for day in ["2026-03-20", "2026-03-22", "2026-04-20"] {
        let pain = ["--pain", "2", "--where", "shoulder", "--note", "wallabywords"];
        desk.expect(0, &[&["log", "n1", "--day", day, "--sessions", "2"][..], &pain].concat());
    }
    desk.expect(0, &["follow-up", "n1", "--date", "2026-04-14", "--serve", "s3", "--rating", "1"]);
    let steps = desk.objects(0, &["progress", "knot", "--json"]);
    // Two sessions on each of the two days before it, the day after it apart.
    let sessions = serde_json::json!({ "before": null, "after": 4.0 });
    assert_eq!(steps[0]["results"]["sessions"], sessions);

    // A pack takes the number along and nothing of the pain.
    desk.expect(0, &["share", "-o", "pack.zip", "--with-notes"]);
    let file = std::fs::File::open(desk.at("pack.zip")).unwrap();
    let mut pack = zip::ZipArchive::new(file).unwrap();
    let mut cases = String::new();
    std::io::Read::read_to_string(&mut pack.by_name("cases.jsonl").unwrap(), &mut cases).unwrap();
    assert!(cases.contains("\"sessions_done\":4"), "the sum of the log");
    for kept in ["wallabywords", "pain", "effort"] {
        assert!(!cases.contains(kept), "{kept} left");
    }
}
