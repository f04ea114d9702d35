//! What a coach types in: tables of past records, plans, results, days; and what a mistake leaves.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::{Desk, sample};

#[test]
fn a_table_goes_in_whole_or_not_at_all() {
    let desk = Desk::new();
    desk.expect(0, &["add", "--template", "past.csv"]);
    let (_, err) = desk.expect(2, &["add", "--template", "past.csv"]);
    assert!(err.contains("past.csv: exists already"), "{err}");
    let template = std::fs::read_to_string(desk.at("past.csv")).unwrap();

    // A bad cell in the last row: nothing of it stays, not even the new library's folder.
    let bad = template.replace("2026-04-01,second review", "1.4.2026,second review");
    assert_ne!(bad, template);
    std::fs::write(desk.at("bad.csv"), bad).unwrap();
    let (out, err) = desk.expect(2, &["add", "--table", "bad.csv"]);
    assert!(out.is_empty() && err.lines().count() == 1, "{err}");
    for said in ["bad.csv", "row 3", "column case_date", "'1.4.2026'", "nothing is stored"] {
        assert!(err.contains(said), "{said}: {err}");
    }
    assert!(!desk.at("library").exists());
    std::fs::write(desk.at("latin.csv"), b"player,case_note\np1,f\xfcr\n").unwrap();
    let (_, err) = desk.expect(2, &["add", "--table", "latin.csv"]);
    assert!(err.contains("UTF-8") && err.lines().count() == 1, "{err}");
    let (_, err) = desk.expect(2, &["add", "--table", "nowhere.csv"]);
    assert!(err.contains("nowhere.csv: cannot be read"), "{err}");

    let new = desk.objects(0, &["add", "--table", "past.csv", "--json"]);
    assert_eq!(
        new[0],
        serde_json::json!({"rows": 2, "players": 1, "cases": 2, "plans": 1, "follow_ups": 1})
    );
    let (again, _) = desk.expect(0, &["add", "--table", "past.csv"]);
    assert!(
        again.contains("2 rows read; new: 0 players, 0 cases, 0 plans, 0 follow-ups"),
        "{again}"
    );
    let (_, err) = desk.expect(0, &["verify"]);
    assert!(err.contains("checked 1 player, 0 recordings, 0 serves, 2 cases, 1 plan, 1 follow-up"));

    // What was typed in answers a later question about that player.
    let known = desk.objects(0, &["label", "c1", "--note", "calm now", "--json"]);
    assert_eq!(known[0]["player"], "p01");
    assert_eq!(known[0]["ball"]["misses"]["net"], 7);
    assert_eq!(known[0]["labels"][0]["fault"], "toss_behind");
}

#[test]
fn labels_come_back_as_one_object() {
    let desk = Desk::stocked();
    let said = desk.objects(
        0,
        &["label", "c1", "--add", "toss_low=0.4", "--heel-pad", "2", "--coach", "ash", "--json"],
    );
    assert_eq!(said.len(), 1);
    assert_eq!((&said[0]["case"], &said[0]["player"]), (&"c1".into(), &"sanderling".into()));
    let labels = said[0]["labels"].as_array().unwrap();
    let own = labels.iter().find(|label| label["by"] == "ash").unwrap();
    assert_eq!((&own["fault"], &own["state"]), (&"toss_low".into(), &"added".into()));
    assert_eq!(said[0]["grip"]["heel_pad"], 2);
}

#[test]
fn a_plan_says_where_and_a_follow_up_says_something() {
    let desk = Desk::stocked();
    let drill = |entry| ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", entry];
    let (_, err) = desk.expect(2, &drill("land_inside=3 x 8@moon"));
    assert!(err.contains("'moon' is not a place") && err.contains("service_line"), "{err}");
    desk.expect(0, &drill("land_inside=3 x 8@practice_swing"));
    let like = desk.precedents(&["like", "s2", "--where", "player=sanderling", "--json"]);
    let planned = &like[0]["plans"][0]["drills"][0];
    assert_eq!((&planned["dose"], &planned["place"]), (&"3 x 8".into(), &"practice_swing".into()));

    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2026-04-14"]);
    assert!(err.lines().count() == 1 && err.contains("only a date"), "{err}");
    for option in ["--serve", "--speed", "--first-serve", "--net", "--rating", "--sessions"] {
        assert!(err.contains(option), "{option}: {err}");
    }
    let (out, _) = desk.expect(
        0,
        &[
            "follow-up",
            "n1",
            "--date",
            "2026-04-14",
            "--speed",
            "131",
            "--first-serve",
            "55",
            "--net",
            "4",
            "--long",
            "1",
            "--wide",
            "0",
            "--rating",
            "1",
            "--sessions",
            "12",
        ],
    );
    assert_eq!(out.trim(), "f1");
}

#[test]
fn days_that_cannot_be_are_refused() {
    let desk = Desk::new();
    let file = sample("new-serve.c3d");
    let add = ["add", &file, "--player", "knot", "--consent", "keep"];
    for (more, said) in [
        (&["--date", "2999-01-01"][..], "not in the future"),
        (&["--date", "0001-01-01"], "1950-01-01 or later"),
        (&["--date", "2026-03-14", "--born", "2026-05-01"], "before the recording"),
        (&["--born", "2999-01-01"], "today"),
    ] {
        let (_, err) = desk.expect(2, &[&add[..], more].concat());
        assert!(err.lines().count() == 1 && err.contains(said), "{more:?}: {err}");
        assert!(!desk.at("library").exists(), "{more:?}");
    }
    let stocked = [&add[..], &["--date", "2026-03-14", "--born", "2011-02-03"]].concat();
    desk.expect(0, &stocked);
    let late = ["add", &sample("basket.trc"), "--player", "knot", "--born", "2026-03-14"];
    let (_, err) = desk.expect(2, &late);
    assert!(err.contains("--born: '2026-03-14'; before the recording of 2026-03-14"), "{err}");
    let plan = ["plan", "c1", "--fault", "toss_low", "--drill", "window_toss"];
    let (_, err) = desk.expect(2, &[&plan[..], &["--review-on", "2999-01-01"]].concat());
    assert!(err.contains("--review-on: '2999-01-01'"), "{err}");
    desk.expect(0, &plan);
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2999-01-01", "--rating", "1"]);
    assert!(err.contains("not in the future"), "{err}");
}

#[test]
fn a_first_add_that_fails_leaves_no_library() {
    let desk = Desk::new();
    let bad = ["add", &sample("forehands.csv"), "--player", "p1"];
    let (_, err) = desk.expect(2, &bad);
    assert!(!desk.at("library").exists() && !err.contains("made a new library"), "{err}");
    // A folder that was there stays, with what was in it.
    std::fs::create_dir(desk.at("library")).unwrap();
    std::fs::write(desk.at("library/letter.txt"), "Dear coach,").unwrap();
    desk.expect(2, &bad);
    let left: Vec<_> = std::fs::read_dir(desk.at("library")).unwrap().collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

#[test]
fn a_review_is_a_file_like_any_other() {
    let desk = Desk::stocked();
    desk.expect(0, &["review", "s1", "-o", "review.html"]);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::fs::write(desk.at("plain"), "").unwrap();
        let mode = |name| std::fs::metadata(desk.at(name)).unwrap().permissions().mode();
        assert_eq!(mode("review.html"), mode("plain"));
    }
    let (_, err) = desk.expect(2, &["review", "s1", "-o", "nowhere/review.html"]);
    assert_eq!(err, "precedent: nowhere: no such folder; make it first, or write elsewhere\n");
    std::fs::create_dir(desk.at("pages")).unwrap();
    let (_, err) = desk.expect(2, &["review", "s1", "-o", "pages"]);
    assert_eq!(err, "precedent: pages: is a folder; name a file in it\n");
}

#[test]
fn usage_errors_take_one_line() {
    let desk = Desk::new();
    for (args, said) in [
        (&["add"][..], "--player"),
        (&["add", "x.c3d", "--player", "p", "--table", "t.csv"], "--table"),
        (&["plan", "c1"], "--drill"),
        (&["like", "s1", "-k", "0"], "1 or more"),
        (&["like", "s1", "--focuss", "legs"], "--focus"),
        (&["review", "s1", "-o", "x.html", "--for", "umpire"], "coach"),
        (&["follow-up", "n1", "--date", "4.3.2026"], "--date"),
        (&["sing"], "sing"),
    ] {
        let (out, err) = desk.expect(2, args);
        assert!(out.is_empty() && err.lines().count() == 1, "{args:?}: {err}");
        assert!(err.starts_with("precedent: ") && err.contains(said), "{args:?}: {err}");
        assert!(err.contains("; see 'precedent ") && err.contains("--help'"), "{args:?}: {err}");
    }
    let (out, err) = desk.expect(0, &["plan", "--help"]);
    assert!(out.contains("--drill") && err.is_empty());
    let (out, _) = desk.expect(0, &["--version"]);
    assert!(out.starts_with("precedent "));
}

/// The word index is derived: without it, or with half of it, a reader still answers.
#[test]
fn words_are_found_without_their_index() {
    let desk = Desk::stocked();
    desk.expect(0, &["label", "c1", "--note", "a calm toss"]);
    let ask = ["like", "s2", "--where", "words=calm", "--json"];
    let before = desk.precedents(&ask);
    assert_eq!(before.len(), 1);
    let words = desk.at("library/words");
    for entry in std::fs::read_dir(&words).unwrap().map(Result::unwrap) {
        if entry.file_name() != "meta.json" {
            std::fs::remove_file(entry.path()).unwrap();
        }
    }
    assert_eq!(desk.precedents(&ask), before);
    std::fs::remove_dir_all(&words).unwrap();
    assert_eq!(desk.precedents(&ask), before);
    // Whoever writes next builds it anew.
    desk.expect(0, &["label", "c2", "--note", "calm too"]);
    assert!(words.join("meta.json").is_file());
    assert_eq!(desk.precedents(&["like", "s1", "--where", "words=calm", "--json"]).len(), 2);
}

/// A player with two reviews, a plan and its follow-up: text, objects, page, and the review.
#[test]
fn progress_holds_before_against_after() {
    let desk = Desk::new();
    let add = |file: &str, day| {
        desk.expect(
            0,
            &[
                "add",
                &sample(file),
                "--player",
                "knot",
                "--date",
                day,
                "--setting",
                "target",
                "--consent",
                "keep",
            ],
        );
    };
    add("basket.trc", "2026-03-14");
    let (_, err) = desk.expect(1, &["progress", "knot"]);
    assert!(err.contains("1 review;") && err.contains("a change needs two"), "{err}");
    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside=3 x 8"];
    desk.expect(0, &plan);
    desk.expect(0, &["label", "c1", "--speed", "131", "--net", "7"]);
    let (out, _) = desk.expect(0, &["progress", "knot"]);
    assert!(out.contains("not followed up yet"), "{out}");
    add("table.csv", "2026-04-14");
    desk.expect(
        0,
        &[
            "follow-up",
            "n1",
            "--date",
            "2026-04-14",
            "--serve",
            "s3",
            "--speed",
            "137",
            "--net",
            "4",
            "--rating",
            "1",
            "--sessions",
            "12",
        ],
    );

    let (out, err) = desk.expect(0, &["progress", "knot", "-o", "progress.html"]);
    for said in [
        "n1, Shallow leg drive: 2026-03-14",
        "3 x 8",
        "what chance and measuring error would give",
        "131 before, 137 km/h after",
        "7 before, 4 after",
        "12 sessions done",
        "+1 (better)",
        "take care",
    ] {
        assert!(out.contains(said), "{said}: {out}");
    }
    assert!(err.contains("wrote progress.html") && err.contains("not proven"), "{err}");
    let page = std::fs::read_to_string(desk.at("progress.html")).unwrap();
    assert!(page.contains("<svg") && page.contains("clinician") && !page.contains("<script"));
    let steps = desk.objects(0, &["progress", "knot", "--json"]);
    assert_eq!(steps.len(), 1);
    assert_eq!((&steps[0]["plan"], &steps[0]["follow_up"]), (&"n1".into(), &"f1".into()));
    let main = &steps[0]["measure"];
    let (before, after) = (main["before"].as_f64().unwrap(), main["after"].as_f64().unwrap());
    assert!((main["change"].as_f64().unwrap() - (after - before)).abs() < 1e-9);
    let beyond = (after - before).abs() > main["detectable"].as_f64().unwrap();
    assert_eq!(main["beyond"], beyond);
    assert_eq!(steps[0]["results"]["net"], serde_json::json!({"before": 7.0, "after": 4.0}));
    assert!(steps[0]["curves"]["between_spreads"].as_f64().unwrap() > 0.0);

    desk.expect(0, &["review", "s3", "-o", "review.html"]);
    let review = std::fs::read_to_string(desk.at("review.html")).unwrap();
    for said in ["Since 14 Mar 2026", "what chance and measuring error", "speed 131, then 137 km/h"]
    {
        assert!(review.contains(said), "{said}");
    }
    let (_, err) = desk.expect(2, &["progress", "nobody"]);
    assert!(err.contains("nobody"), "{err}");
}
