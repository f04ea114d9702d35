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
        (&["--day", "2026-03-16", "--pain", "3"], "where does it hurt? Give --where"),
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
    assert!(notice.contains("pain 5 of 10: see a clinician, and leave out what loads the elbow"));
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
    desk.expect(0, &["share", "-o", "pack.zip", "--with-notes", "--unlocked"]);
    let file = std::fs::File::open(desk.at("pack.zip")).unwrap();
    let mut pack = zip::ZipArchive::new(file).unwrap();
    let mut cases = String::new();
    std::io::Read::read_to_string(&mut pack.by_name("cases.jsonl").unwrap(), &mut cases).unwrap();
    assert!(cases.contains("\"sessions_done\":4"), "the sum of the log");
    for kept in ["wallabywords", "pain", "effort"] {
        assert!(!cases.contains(kept), "{kept} left");
    }
}

/// A day of this week, so that what hurts then still counts today.
fn recently() -> jiff::civil::Date {
    jiff::ZonedDateTime::now().date().saturating_sub(jiff::ToSpan::days(5))
}

/// One invented player of twelve, recorded recently.
fn seen_recently() -> Desk {
    let desk = Desk::new();
    let day = recently().to_string();
    let born = recently().saturating_sub(jiff::ToSpan::years(12)).to_string();
    let add = ["add", &desk::sample("basket.trc"), "--player", "dunlin", "--consent", "share"];
    desk.expect(0, &[&add[..], &["--date", &day, "--born", &born]].concat());
    desk
}

const TOLD: [&str; 20] = [
    "--pain",
    "shoulder=5@serving",
    "--pain",
    "knee=2",
    "--injuries",
    "quokkasprain",
    "--serves-a-week",
    "200",
    "--tennis-hours",
    "13",
    "--sport-hours",
    "14",
    "--attempt",
    "second",
    "--court",
    "ad",
    "--target",
    "t",
    "--double-faults",
    "4",
];

/// What is asked at the look is said with the recording, or asked for; a bad answer stores nothing.
#[test]
fn a_recording_comes_with_what_was_asked_that_day() {
    let desk = Desk::new();
    let file = desk::sample("new-serve.c3d");
    let add = ["add", &file, "--player", "sanderling", "--date", "2026-03-14"];
    let with = |more: &[&'static str]| [&add[..], more].concat();
    for (more, said) in [
        (&["--pain", "ear=3"][..], "--pain: 'ear' is not one of the places that can hurt"),
        (&["--tennis-hours", "9", "--sport-hours", "4"], "--tennis-hours: 9 hours of tennis and 4"),
    ] {
        let (out, err) = desk.expect(2, &with(more));
        assert!(out.is_empty() && err.lines().count() == 1 && err.contains(said), "{said}: {err}");
    }
    assert!(!desk.at("library").exists(), "nothing is stored");
    let (_, err) = desk.expect(0, &with(&["--pain", "knee=5@afterwards", "--serves-a-week", "90"]));
    assert!(
        err.contains("pain 5 of 10: see a clinician, and leave out what loads the knee"),
        "{err}"
    );
    let object = desk.objects(0, &["label", "c1", "--json"]).remove(0);
    assert_eq!(object["check_in"]["pain"][0]["place"], "knee");
    assert_eq!(object["check_in"]["serves_a_week"], 90);
    // Told once, it is not asked again; of somebody else nobody has asked yet.
    let (_, err) = desk.expect(0, &with(&[]));
    assert!(!err.contains("does anything hurt?"), "{err}");
    let other = desk::sample("basket.trc");
    let (_, err) = desk.expect(0, &["add", &other, "--player", "dunlin", "--date", "2026-03-14"]);
    assert!(err.contains("c2: does anything hurt? Ask, then: precedent label c2"), "{err}");
}

#[test]
fn what_no_clip_shows_is_asked_kept_and_stays_at_home() {
    let desk = seen_recently();
    for (more, said) in [
        (&["--pain", "ear=3"][..], "--pain: 'ear' is not one of the places that can hurt"),
        (&["--pain", "knee"], "--pain: knee: how much does it hurt?"),
        (&["--pain", "knee=11"], "--pain: knee=11: how much does it hurt?"),
        (&["--pain", "knee=3@noon"], "--pain: 'noon' does not say when it hurts"),
        (&["--pain", "knee=3", "--pain", "knee=4"], "--pain: the knee is named twice"),
        (&["--pain", "none", "--pain", "knee=4"], "--pain: nothing hurts and the knee hurts"),
        (&["--tennis-hours", "9", "--sport-hours", "4"], "--tennis-hours: 9 hours of tennis and 4"),
        (&["--sport-hours", "200"], "--sport-hours: '200'; 0 to 168"),
        (&["--wide", "2", "--wide-left", "2", "--wide-right", "1"], "--wide-left: 3 wide left"),
        (&["--serves-a-week", "50000"], "--serves-a-week: 50000 serves a week"),
    ] {
        let (out, err) = desk.expect(2, &[&["label", "c1"][..], more].concat());
        assert!(out.is_empty() && err.lines().count() == 1 && err.contains(said), "{said}: {err}");
    }
    let (_, err) = desk.expect(0, &[&["label", "c1"][..], &TOLD].concat());
    assert!(
        err.contains("pain 5 of 10: see a clinician, and leave out what loads the shoulder"),
        "{err}"
    );
    // R112 and R113: no more hours a week than years of age; twelve of organised tennis.
    assert!(err.contains("14 hours of sport a week. The player is 12"), "{err}");
    assert!(err.contains("13 hours of tennis a week: juniors are advised 12 at most"), "{err}");

    let (out, err) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains("pain: shoulder, 5 of 10, while serving; knee, 2 of 10"), "{out}");
    assert!(out.contains("which serves: second serves, from the ad court, down the T"), "{out}");
    assert!(err.contains("The shoulder hurts, 5 of 10 on"), "{err}");
    let object = desk.objects(0, &["label", "c1", "--json"]).remove(0);
    assert_eq!(object["check_in"]["serves_a_week"], 200);
    assert_eq!(object["check_in"]["pain"][0]["when"], "serving");
    // What hurts is neither offered nor planned.
    let catalogue = precedent::catalogue::Catalogue::builtin();
    for offered in object["offers"].as_array().into_iter().flatten() {
        let drill = catalogue.drill(offered["drill"].as_str().unwrap()).unwrap();
        assert!(!drill.loads.contains(&precedent::catalogue::BodyPart::Shoulder), "{offered}");
    }
    let throw = ["plan", "c1", "--fault", "low_hitting_elbow", "--drill", "fence_throw", "--sure"];
    let (_, err) = desk.expect(2, &throw);
    assert!(err.contains("loads the shoulder, which hurts: not now"), "{err}");
    // Serves a week go into what a plan adds up to: 200 and 96 are more than four matches' worth.
    let legs = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill"];
    let legs = [&legs[..], &["land_inside=2 x 16 serves, three days a week@service_line"]].concat();
    let (_, err) = desk.expect(2, &legs);
    assert!(
        err.contains("loads the shoulder") || err.contains("296 serves and throws a week"),
        "{err}"
    );

    // Both copies of the review say it, the player's own answers among them.
    for reader in ["player", "coach"] {
        desk.expect(0, &["review", "s1", "--for", reader, "-o", "review.html"]);
        let page = std::fs::read_to_string(desk.at("review.html")).unwrap();
        assert!(page.contains("<b>First.</b> The shoulder hurts, 5 of 10 on"), "{reader}");
        assert!(page.contains("while serving; knee, 2 of 10 (as told, not measured)"), "{reader}");
    }
    // It can be filtered by, and nothing of it leaves.
    for (filter, hits) in [
        ("pain=shoulder", 0),
        ("pain=any attempt=second court=ad target=t", 0),
        ("pain=none", 1),
        ("attempt=first", 1),
        ("pain!=knee", 1),
    ] {
        desk.expect(hits, &["find", "dunlin", "--where", filter]);
    }
    desk.expect(0, &["share", "-o", "pack.zip", "--with-notes", "--unlocked"]);
    let mut pack = zip::ZipArchive::new(std::fs::File::open(desk.at("pack.zip")).unwrap()).unwrap();
    let mut cases = String::new();
    std::io::Read::read_to_string(&mut pack.by_name("cases.jsonl").unwrap(), &mut cases).unwrap();
    for kept in ["quokkasprain", "pain", "\"shoulder\"", "injuries", "tennis_hours"] {
        assert!(!cases.contains(kept), "{kept} left");
    }
    // Asked again and all clear: what loaded the place may be planned.
    desk.expect(0, &["label", "c1", "--pain", "none"]);
    desk.expect(0, &throw);
    desk.expect(0, &["history", "c1", "--undo"]);
}

/// The text of a card with these lines, its mark read off the page as a browser would have it.
fn card(desk: &Desk, lines: &str) -> String {
    let page = std::fs::read_to_string(desk.at("card.html")).unwrap();
    let mark = page.split_once("data-mark=\"").unwrap().1.split('"').next().unwrap();
    format!("Practice card of plan n1 ({mark})\n{lines}\nEnd of the card\n")
}

#[test]
fn a_practice_card_goes_out_and_comes_back() {
    let desk = seen_recently();
    let legs = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside=3 x 8"];
    desk.expect(0, &[&legs[..], &["--note", "wallaby <b>note</b>"]].concat());
    desk.expect(0, &["plan", "n1", "--card", "card.html"]);
    let page = std::fs::read_to_string(desk.at("card.html")).unwrap();
    assert!(page.contains("wallaby &#60;b&#62;note") && page.contains("3 x 8"), "escaped");
    assert!(!page.contains("http://") && !page.contains("https://"), "asks no network");
    assert!(page.contains("licensed clinician"));
    let (_, err) = desk.expect(2, &["plan", "n7", "--card", "none.html"]);
    assert!(err.contains("n7") && !desk.at("none.html").exists(), "{err}");

    let (one, two) = (recently(), recently().saturating_add(jiff::ToSpan::days(1)));
    let lines = format!(
        "{one}: sessions 2, repetitions 60, effort 5, pain 0\n{two}: Effort 6, pain 3 shoulder, words long day, windy"
    );
    let log = |text: &str, status| {
        std::fs::write(desk.at("card.txt"), text).unwrap();
        desk.expect(status, &["log", "n1", "--from", "card.txt"])
    };
    let whole = card(&desk, &lines);
    let (first, last) = (format!("{one}:"), "End of the card");
    for (text, said) in [
        (String::new(), "not a practice card"),
        ("Practice card of plan n1".to_owned(), "line 1: 'Practice card of plan n1' names no plan"),
        (whole.replace(last, ""), "the text was cut"),
        (whole.replace("n1 (", "n2 ("), "it is the card of n2, not of n1; log it for n2"),
        (whole.replace('(', "(ffffff"), "the card is marked ffffff"),
        (whole.replace("effort 5", "effort 50"), "line 2: effort is 0 (rest) to 10"),
        (whole.replace("effort 5", "effort hard"), "line 2: "),
        (whole.replace("pain 3 shoulder", "pain 3 ear"), "'ear' is not one of the places"),
        (whole.replace("sessions 2", "joy 2"), "'joy' is not on the card"),
        (whole.replace(&first, "16.3.:"), "a line begins with its day like 2026-03-16:"),
        (whole.replace(&format!("{two}:"), &first), "this day stands on the card twice"),
        (whole.replace(&first, "2001-01-01:"), "line 2: n1: starts on"),
        (card(&desk, ""), "no day is filled in"),
    ] {
        let (out, err) = log(&text, 2);
        assert!(out.is_empty() && err.lines().count() == 1, "{err}");
        assert!(
            err.contains(said) && err.contains("card.txt: ") && err.contains("nothing is logged"),
            "{said}: {err}"
        );
    }
    // As a message brings it.
    let sent = format!("[18:02] Dunlin:\n> {}", whole.replace('\n', "\r\n> "));
    let (out, _) = log(&sent, 0);
    assert_eq!(out, "n1: 2 days, d1 and d2; 3 sessions so far\n");
    // A week later the same card has one more day; what is there is passed over.
    let more = card(&desk, &format!("{lines}\n{}: pain 6 shoulder", two.tomorrow().unwrap()));
    let (out, err) = log(&more, 0);
    assert_eq!(out, "n1: 1 day, d3; 2 days logged already; 3 sessions so far\n");
    assert!(err.contains("pain 6 of 10: see a clinician"), "{err}");
    // The card made now says what hurts, and which drill waits.
    desk.expect(0, &["plan", "n1", "--card", "card.html"]);
    let page = std::fs::read_to_string(desk.at("card.html")).unwrap();
    assert!(page.contains("The shoulder hurts, 6 of 10 on"), "logged, not asked");
    let loads = precedent::catalogue::Catalogue::builtin().drill("land_inside").unwrap();
    let shoulder = loads.loads.contains(&precedent::catalogue::BodyPart::Shoulder);
    assert_eq!(page.contains("<b>Not now.</b> It loads what hurts"), shoulder);
    let (_, err) = log(&whole.replace("effort 5", "effort 7"), 2);
    assert!(err.contains("is already logged as d1, differently from here"), "{err}");
}
