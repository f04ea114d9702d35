//! The program from outside: real files in, exit status and both streams out.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/skip.rs"]
mod skip;

use desk::{Desk, real, sample};
use serde_json::Value;

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

#[test]
fn precedents_come_as_objects_ordered_and_filtered() {
    let desk = Desk::stocked();
    let found = desk.precedents(&["like", "s1", "--json", "-k", "10"]);
    assert_eq!(found.len(), 3, "own recording left out");
    for (n, one) in found.iter().enumerate() {
        assert_eq!(one["rank"], n + 1);
        assert!(one["serve"].as_str().unwrap().starts_with('s'));
        assert!(one["case"].as_str().unwrap().starts_with('c'));
        assert_ne!(one["player"], "sanderling");
        assert!(one["distance"].as_f64().unwrap() > 0.0);
        let shares: f64 = one["why"]["parts"]
            .as_array()
            .unwrap()
            .iter()
            .map(|part| part["share"].as_f64().unwrap())
            .sum();
        assert!((shares - 1.0).abs() < 1e-6, "{shares}");
    }
    // From the file itself: the stored twin is its own recording and stays out.
    let from_file = desk.precedents(&["like", &sample("new-serve.c3d"), "--json", "-k", "10"]);
    let ids = |list: &[Value]| list.iter().map(|o| o["serve"].to_string()).collect::<Vec<_>>();
    assert_eq!(ids(&from_file), ids(&found));

    let dunlin = desk.precedents(&["like", "s1", "--json", "--where", "player=dunlin"]);
    assert_eq!(dunlin.len(), 2);
    let (out, err) = desk.expect(1, &["like", "s1", "--where", "player=dunlin level=national"]);
    assert!(out.is_empty() && err.contains("level=national"), "{err}");
    let (_, err) = desk.expect(2, &["like", "s1", "--where", "colour=red"]);
    assert!(err.contains("colour"), "{err}");
    let (_, err) = desk.expect(2, &["like", "s99"]);
    assert!(err.contains("s99"), "{err}");
    // Nothing found is 1, from a file as from the library.
    let (out, err) = desk.expect(1, &["like", &sample("forehands.csv"), "--json"]);
    assert!(out.is_empty() && err.contains("no serve found"), "{err}");
    let one_each = desk.precedents(&["like", "s1", "--json", "--one-each"]);
    assert_eq!(one_each.len(), 2);
}

#[test]
fn judgement_is_kept_and_shown() {
    let desk = Desk::stocked();
    let (_, err) = desk.expect(2, &["label", "c1", "--add", "bad_luck"]);
    assert!(err.contains("bad_luck") && err.contains("tossing_arm_drops_early"), "{err}");
    let fault = "tossing_arm_drops_early";
    desk.expect(
        0,
        &["label", "c1", "--add", "tossing_arm_drops_early=0.8", "--heel-pad", "2", "--net", "7"],
    );
    let drills: Vec<String> = precedent::catalogue::Catalogue::builtin()
        .drills_for(fault)
        .iter()
        .map(|drill| drill.id.clone())
        .collect();
    let dose = format!("{}=2 x 10", drills[0]);
    let (plan, _) =
        desk.expect(0, &["plan", "c1", "--fault", fault, "--drill", &dose, "--coach", "ash"]);
    assert_eq!(plan.trim(), "n1");
    // A plan that is refused says so in one line, without the cautions of one that stands.
    for (drills, rule) in [
        (&["--drill", &drills[0], "--review-on", "2026-03-01"][..], "not before the start"),
        (&["--drill", &drills[0], "--drill", &drills[0]], "is named twice"),
    ] {
        let (_, err) = desk.expect(2, &[&["plan", "c2", "--fault", fault], drills].concat());
        assert!(err.lines().count() == 1 && err.contains(rule), "{err}");
    }
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2026-04-14", "--serve", "s1"]);
    assert!(err.contains("a session after the plan's own"), "{err}");
    desk.expect(0, &["follow-up", "n1", "--date", "2026-04-14", "--rating", "1", "--speed", "131"]);
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2025-01-01", "--rating", "1"]);
    assert!(err.contains("2026-03-14"), "{err}");

    let like = desk.precedents(&["like", "s2", "--json", "--where", &format!("fault={fault}")]);
    assert_eq!(like.len(), 1);
    assert_eq!(like[0]["player"], "sanderling");
    assert_eq!(like[0]["plans"][0]["limiting_fault"], fault);
    assert_eq!(like[0]["outcome"]["rating"], 1);

    let page = desk.at("review.html");
    desk.expect(0, &["review", "s1", "-o", page.to_str().unwrap()]);
    let html = std::fs::read_to_string(&page).unwrap();
    for word in ["Your tossing arm", "2 x 10", "clinician", "<svg"] {
        assert!(html.contains(word), "{word}");
    }
    for outside in ["src=\"http", "href=\"http", "url(http", "@import", "<script"] {
        assert!(!html.contains(outside), "the page reaches outside itself: {outside}");
    }
    assert!(!html.contains("dunlin"), "another player's code in the player's copy");
    desk.expect(0, &["review", "s1", "--for", "coach", "-o", page.to_str().unwrap()]);
    assert!(std::fs::read_to_string(&page).unwrap().contains("dunlin"));
}

#[test]
fn export_gives_arrays_and_tables_that_agree() {
    let desk = Desk::stocked();
    let out = desk.at("study");
    desk.expect(0, &["export", "-o", out.to_str().unwrap()]);
    let array = std::fs::read(out.join("curves-core-1.npy")).unwrap();
    let header = String::from_utf8_lossy(&array[..128]).into_owned();
    assert!(header.contains("'<f4'") && header.contains("(4, 101, 12)"), "{header}");
    let table = std::fs::read_to_string(out.join("curves-core-1.csv")).unwrap();
    assert_eq!(table.lines().count(), 1 + 4 * 101);
    assert!(table.starts_with("serve,percent,front_knee_flexion,"));
    let first: f32 = table.lines().nth(1).unwrap().split(',').nth(2).unwrap().parse().unwrap();
    let values = &array[array.len() - 4 * 101 * 12 * 4..];
    assert_eq!(first, f32::from_le_bytes(values[..4].try_into().unwrap()));
    let measures = std::fs::read_to_string(out.join("measures.csv")).unwrap();
    assert!(measures.lines().next().unwrap().contains("unit"));
    let (_, err) = desk.expect(2, &["export", "-o", out.to_str().unwrap()]);
    assert!(err.contains("exists already"), "{err}");
}

#[test]
fn derived_indexes_are_rebuilt_from_the_store() {
    let desk = Desk::stocked();
    let before = desk.precedents(&["like", "s1", "--json"]);
    for derived in ["curves", "words"] {
        std::fs::remove_dir_all(desk.at("library").join(derived)).ok();
    }
    desk.expect(0, &["verify", "--rebuild"]);
    assert_eq!(desk.precedents(&["like", "s1", "--json"]), before);
}

#[test]
fn mistakes_get_one_line_each() {
    let desk = Desk::new();
    for args in [
        &["like", "s1"][..],
        &["read", "nowhere.c3d"],
        &["review", "seven", "-o", "x.html"],
        &["verify"],
    ] {
        let (out, err) = desk.expect(2, args);
        assert!(out.is_empty() && err.lines().count() == 1, "{args:?}: {err}");
        assert!(err.starts_with("precedent: "), "{err}");
    }
    assert!(!desk.at("x.html").exists());
    // A name out of a file neither breaks the line nor steers the terminal.
    let table = "time,left_wrist_x,left_wrist_y,left_wrist_z,\u{1b}[2J\u{7}_x,\u{1b}[2J\u{7}_y,\u{1b}[2J\u{7}_z\n\
                 0,1,1,1,1,1,1\n0.1,1,1,1,1,1,1\n";
    std::fs::write(desk.at("odd.csv"), table).unwrap();
    let (_, err) = desk.expect(2, &["read", "odd.csv"]);
    assert!(err.contains(r"\u{1b}[2J") && !err.trim_end().contains(char::is_control), "{err}");
    let (_, err) = desk.expect(2, &["read", &sample("new-serve.c3d"), "--rate", "-5"]);
    assert!(err.lines().count() == 1 && err.contains("-5 Hz"), "{err}");
    // Said once, however many layers it came through.
    let (_, err) = desk.expect(2, &["read", &sample("scenario.toml")]);
    assert_eq!(err.matches("scenario.toml").count(), 1, "{err}");
    let told = err.trim_start_matches("precedent: ").trim();
    let (_, reason) = told.split_once(": ").unwrap();
    assert_eq!(err.matches(reason).count(), 1, "{err}");
}

/// Whoever prescribes has settled on a fault, label or not; the page must not say otherwise.
#[test]
fn a_plan_alone_names_the_limiting_fault() {
    let desk = Desk::stocked();
    let fault = "shallow_leg_drive";
    let labels = desk.precedents(&["like", "s1", "--json", "-k", "10"]);
    let dunlin = labels.iter().find(|one| one["player"] == "dunlin").unwrap();
    assert!(!dunlin["faults"].to_string().contains(fault), "not labelled: {dunlin}");
    let (case, serve) = (dunlin["case"].as_str().unwrap(), dunlin["serve"].as_str().unwrap());
    desk.expect(0, &["plan", case, "--fault", fault, "--drill", "land_inside"]);
    let page = desk.at("review.html");
    for reader in ["player", "coach"] {
        desk.expect(0, &["review", serve, "--for", reader, "-o", page.to_str().unwrap()]);
        let html = std::fs::read_to_string(&page).unwrap();
        assert!(!html.contains("has not settled"), "{reader}");
        let said = &precedent::catalogue::Catalogue::builtin().fault(fault).unwrap().to_player;
        assert!(html.contains(said.split('\'').next().unwrap()), "{reader}: {said}");
    }
}

/// A coach's choice of the limiting fault changes where the case stands, and the page follows.
#[test]
fn the_coachs_limiting_fault_is_followed() {
    let desk = Desk::stocked();
    let (first, chosen) = ("shallow_leg_drive", "short_finish");
    desk.expect(0, &["label", "c1", "--add", &format!("{first}=0.9"), "--coach", "ash"]);
    desk.expect(0, &["label", "c1", "--add", &format!("{chosen}=0.2"), "--coach", "ash"]);
    let stands = || desk.objects(0, &["label", "c1", "--json"]).remove(0)["judgement"].clone();
    let before = stands();
    assert_eq!(
        (&before["order"][0]["fault"], &before["chosen"]),
        (&first.into(), &"program".into())
    );

    desk.expect(0, &["label", "c1", "--limiting", chosen, "--coach", "ash"]);
    let after = stands();
    assert_eq!((&after["order"][0]["fault"], &after["chosen"]), (&chosen.into(), &"coach".into()));
    assert_eq!(after["program_first"], before["order"][0]["name"]);
    let (out, _) = desk.expect(0, &["label", "c1"]);
    assert!(out.contains(&format!("[{chosen}]; the coach's choice")), "{out}");

    let catalogue = precedent::catalogue::Catalogue::builtin();
    let said = |fault: &str| {
        let text = &catalogue.fault(fault).unwrap().to_player;
        text.split('\'').next().unwrap().to_owned()
    };
    let page = desk.at("review.html");
    desk.expect(0, &["review", "s1", "-o", page.to_str().unwrap()]);
    let html = std::fs::read_to_string(&page).unwrap();
    let at = |fault: &str| html.find(&said(fault));
    assert!(at(chosen).is_some(), "{}", said(chosen));
    assert!(at(first).is_none_or(|first| at(chosen).unwrap() < first), "the choice comes first");
}

/// A drill that makes a fault worse which the case shows is refused in one line, and nothing is kept.
#[test]
fn a_harmful_plan_is_refused_and_stores_nothing() {
    let desk = Desk::stocked();
    let catalogue = precedent::catalogue::Catalogue::builtin();
    let drill = catalogue.drills().find(|drill| !drill.not_for.is_empty()).unwrap();
    let (fault, worse) = (drill.faults[0].as_str(), drill.not_for[0].as_str());
    desk.expect(0, &["label", "c1", "--add", worse, "--coach", "ash"]);
    let before = desk.precedents(&["like", "s2", "--json", "-k", "9"]);
    let plan = ["plan", "c1", "--fault", fault, "--drill", &drill.id, "--coach", "ash"];
    let (out, err) = desk.expect(2, &plan);
    assert_eq!((out.as_str(), err.lines().count()), ("", 1), "{err}");
    for said in [drill.id.as_str(), worse, "worse", &format!("--reject {worse}")] {
        assert!(err.contains(said), "{said}: {err}");
    }
    assert_eq!(desk.precedents(&["like", "s2", "--json", "-k", "9"]), before);
    let (_, err) = desk.expect(2, &["follow-up", "n1", "--date", "2026-04-14", "--rating", "1"]);
    assert!(err.contains("n1"), "no plan was stored: {err}");
}

/// Cautions come with every plan, whatever is kept back.
#[test]
fn a_plan_brings_its_cautions_quiet_or_as_an_object() {
    let desk = Desk::stocked();
    let catalogue = precedent::catalogue::Catalogue::builtin();
    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside"];
    let (_, err) = desk.expect(0, &[&plan[..], &["--quiet"]].concat());
    let object = desk.objects(0, &[&plan[..], &["--json"]].concat()).remove(0);
    let listed: Vec<&str> =
        object["cautions"].as_array().unwrap().iter().map(|one| one.as_str().unwrap()).collect();
    assert!(object["plan"].as_str().unwrap().starts_with('n'), "{object}");
    let own = &catalogue.drill("land_inside").unwrap().cautions;
    assert!(!own.is_empty());
    for caution in own.iter().map(String::as_str).chain(catalogue.general_cautions()) {
        assert!(err.contains(caution), "{caution}: {err}");
        assert!(listed.iter().any(|one| one.ends_with(caution)), "{caution}: {object}");
    }
}

/// The invented academy, whole: the planted fault of the new serve is found, the answer is the
/// same from the command, and a player with earlier reviews is shown progress.
#[test]
fn the_demo_finds_what_was_planted() {
    let desk = Desk::new();
    let (out, err) = desk.expect(0, &["demo", "--into", "demo"]);
    assert!(out.contains("Who served like"), "{out}");
    assert!(err.contains("Tossing arm falls away early"), "planted at 0.7: {err}");
    let page = std::fs::read_to_string(desk.at("demo/review.html")).unwrap();
    for word in ["Your tossing arm falls away", "No earlier review", "clinician"] {
        assert!(page.contains(word), "{word}");
    }
    let coach = std::fs::read_to_string(desk.at("demo/review-coach.html")).unwrap();
    for word in ["2 practice swings against 1 serve", "Only with the ball: tossing arm"] {
        assert!(coach.contains(word), "{word}");
    }
    let library = desk.at("demo/library");
    let library = ["--library", library.to_str().unwrap()];
    let mut all =
        desk.objects(0, &[&library[..], &["like", "s397", "-k", "1000", "--json"]].concat());
    let worked = all.iter().filter(|line| line.get("worked").is_some()).count();
    assert!(worked > 0, "what worked is told beside the precedents");
    all.retain(|line| line.get("serve").is_some());
    assert_eq!(all.len(), 396, "every planted serve is stored and comes back");
    // A player reviewed more than once: the last review holds the earlier ones against it.
    let mut days: std::collections::BTreeMap<String, Vec<(String, String)>> = Default::default();
    for one in &all {
        let text = |key: &str| one[key].as_str().unwrap().to_owned();
        days.entry(text("player")).or_default().push((text("date"), text("serve")));
    }
    let (date, serve) = days
        .values_mut()
        .find_map(|serves| {
            serves.sort();
            (serves[0].0 != serves[serves.len() - 1].0).then(|| serves[serves.len() - 1].clone())
        })
        .unwrap();
    let page = desk.at("later.html");
    let write = ["review", &serve, "--for", "coach", "-o", page.to_str().unwrap()];
    desk.expect(0, &[&library[..], &write].concat());
    let page = std::fs::read_to_string(&page).unwrap();
    assert!(!page.contains("No earlier review"), "{serve} of {date}");
    assert!(page.contains("Since ") || page.contains("The last review was on"), "{serve}");
    names_nobody_else(&desk, "s397");
    names_nobody_else(&desk, &serve);
    // A second demo uses the library that is there and stores nothing twice.
    desk.expect(0, &["demo", "--into", "demo"]);
    let (_, err) = desk.expect(0, &[&library[..], &["verify"]].concat());
    assert!(err.contains("399 serves") && err.contains("sound"), "{err}");
}

/// The player's copy holds no other player's code or name, no other coach and no day of another
/// player's case; the coach's copy of the same serve names other players, so the search finds them.
fn names_nobody_else(desk: &Desk, serve: &str) {
    let folder = desk.at("demo/library");
    let write = |reader: &str| {
        let page = desk.at("copy.html");
        let library = ["--library", folder.to_str().unwrap()];
        let review = ["review", serve, "--for", reader, "-o", page.to_str().unwrap()];
        desk.expect(0, &[&library[..], &review].concat());
        std::fs::read_to_string(&page).unwrap()
    };
    let (own, coach) = (write("player"), write("coach"));
    let library = precedent::library::Library::open_read_only(&folder).unwrap();
    let player = library.serve_head(serve.parse().unwrap()).unwrap().player;
    let players = library.players().unwrap();
    let this = players.iter().find(|one| one.id == player).unwrap();
    let days = |of: &dyn Fn(precedent::library::PlayerId) -> bool| {
        let cases = library.cases(None).unwrap().into_iter().filter(|case| of(case.player));
        cases.map(|case| case.date).collect::<std::collections::BTreeSet<_>>()
    };
    let mine = days(&|one| one == player);
    let mut foreign = Vec::new();
    for other in players.iter().filter(|one| one.id != player) {
        foreign.push(other.code.clone());
        foreign.extend(other.name.clone());
        foreign.extend(other.coach.clone().filter(|code| Some(code) != this.coach.as_ref()));
    }
    for day in days(&|one| one != player).difference(&mine) {
        foreign.extend([day.to_string(), day.strftime("%-d %b %Y").to_string()]);
    }
    let named = |page: &str| {
        let is_part = |c: char| c.is_alphanumeric() || c == '_';
        let whole = |text: &str| {
            page.match_indices(text).any(|(at, _)| {
                !page[..at].ends_with(is_part) && !page[at + text.len()..].starts_with(is_part)
            })
        };
        foreign.iter().filter(|text| whole(text)).cloned().collect::<Vec<_>>()
    };
    assert!(!named(&coach).is_empty(), "{serve}: nobody to be found in the coach's copy either");
    assert_eq!(named(&own), Vec::<String>::new(), "{serve}: in the player's copy");
}

/// Two people in the picture whose order changes every third frame: the one asked for is read as if
/// she were alone, and the change is said.
#[test]
fn a_person_is_followed_when_the_order_changes() {
    let desk = Desk::new();
    let alone = desk.objects(0, &["read", &sample("phone-clip.json"), "--json"]);
    let mut clip: Value =
        serde_json::from_slice(&std::fs::read(sample("phone-clip.json")).unwrap()).unwrap();
    let frames = clip["frames"].as_array_mut().unwrap();
    // Somebody stands still two metres beside her.
    let mut still = frames[0]["world_landmarks"].clone();
    for point in still.as_array_mut().unwrap() {
        if let Some(x) = point["x"].as_f64() {
            point["x"] = (x + 2.0).into();
        }
    }
    for (at, frame) in frames.iter_mut().enumerate() {
        let own = frame["world_landmarks"].take();
        let mut people = vec![own, still.clone()];
        if at % 3 == 1 {
            people.reverse();
        }
        *frame = serde_json::json!({
            "time_s": frame["time_s"],
            "people": people.into_iter().map(|points| serde_json::json!({"world_landmarks": points})).collect::<Vec<_>>(),
        });
    }
    std::fs::write(desk.at("two.json"), clip.to_string()).unwrap();
    let (_, err) = desk.expect(2, &["read", "two.json"]);
    assert!(err.contains("2 people") && err.contains("--person 1 to 2"), "{err}");
    let (out, err) = desk.expect(0, &["read", "two.json", "--person", "1", "--json"]);
    let serve: Value = serde_json::from_str(out.lines().next().unwrap()).unwrap();
    assert_eq!(serve["events"], alone[0]["events"]);
    assert!(
        err.contains("followed by how close they are") && err.contains("changed in 35 of 106"),
        "{err}"
    );
    let (_, err) = desk.expect(1, &["read", "two.json", "--person", "2"]);
    assert!(err.contains("no serve found"), "{err}");
}

/// Groups, faults and the page of a small squad; nothing is left where nothing was found.
#[test]
fn a_squad_is_told_and_written() {
    let desk = Desk::stocked();
    desk.expect(0, &["label", "c1", "--add", "toss_low=0.5", "--coach", "ash"]);
    let lines = desk.objects(0, &["squad", "--json", "-o", "squad.html", "--to", "2026-04-01"]);
    assert_eq!(lines[0]["about"], "squad");
    assert_eq!(lines[0]["players"], 3);
    let of = |about: &str| lines.iter().filter(|line| line["about"] == about).collect::<Vec<_>>();
    assert!(!of("group").is_empty() && !of("tree").is_empty() && !of("fault").is_empty());
    let toss = of("fault").into_iter().find(|line| line["fault"] == "toss_low").unwrap();
    assert!(toss["now"]["with"].as_u64().unwrap() >= 1, "{toss}");
    let page = std::fs::read_to_string(desk.at("squad.html")).unwrap();
    assert!(page.contains("sanderling") && page.contains("Take care"));

    let (out, _) = desk.expect(0, &["squad"]);
    assert!(out.contains("all players: 3 players"), "{out}");
    let (_, err) = desk.expect(2, &["squad", "nobody"]);
    assert!(err.contains("squad has no 'nobody'"), "{err}");
    let (out, err) = desk.expect(1, &["squad", "--from", "2030-01-01", "-o", "none.html"]);
    assert!(out.is_empty() && err.contains("no match"), "{err}");
    assert!(!desk.at("none.html").exists());
}

#[test]
fn a_player_is_forgotten_only_when_that_is_confirmed() {
    let desk = Desk::stocked();
    let (_, err) = desk.expect(2, &["forget", "dunlin"]);
    assert!(err.contains("cannot be undone; add --yes"), "{err}");
    let (_, err) = desk.expect(2, &["forget", "dunlin", "--yes", "--read-only"]);
    assert!(err.contains("--read-only: this command changes the library"), "{err}");
    desk.expect(0, &["like", "s1", "--where", "player=dunlin"]);
    let (_, err) = desk.expect(0, &["forget", "dunlin", "--yes"]);
    assert!(err.contains("removed dunlin with 1 recording"), "{err}");
    let (_, err) = desk.expect(2, &["forget", "dunlin", "--yes"]);
    assert!(err.contains("player 'dunlin': not in this library"), "{err}");
    let (_, err) = desk.expect(0, &["verify"]);
    assert!(err.contains("checked 2 players") && err.contains("sound"), "{err}");
}

/// Another process has the library open for writing: nobody minds. It is in the middle of a change:
/// reading goes on, a change waits for its turn and in the end names who has it.
#[test]
fn while_one_writes_others_read_and_wait_for_their_turn() {
    let desk = Desk::stocked();
    let open = precedent::library::Library::open(desk.at("library")).unwrap();
    desk.expect(0, &["label", "c1", "--heel-pad", "2"]);
    let lock = std::fs::File::create(desk.at("library").join("library.lock")).unwrap();
    lock.lock().unwrap();
    std::io::Write::write_all(&mut &lock, b"4711\ncourt-side\n2026-11-30T06:00:00Z\n").unwrap();
    desk.expect(0, &["like", "s1"]);
    let (_, err) = desk.expect(0, &["verify", "--read-only"]);
    assert!(err.contains("the library is sound"), "{err}");
    let (_, err) = desk.expect(2, &["verify", "--rebuild", "--read-only"]);
    assert!(err.contains("read-only"), "{err}");
    let (_, err) = desk.expect(2, &["label", "c1", "--heel-pad", "3"]);
    let holder = "process 4711 on court-side since 2026-11-30 06:00:00 UTC is changing the library";
    assert!(err.contains(holder) && err.contains("let it finish, or end it"), "{err}");
    drop(lock);
    desk.expect(0, &["label", "c1", "--heel-pad", "3"]);
    drop(open);
}

/// Two processes add at the same time, a new player's recordings both, to a library that neither
/// finds there: both succeed, and nothing is lost.
#[test]
fn two_processes_add_at_the_same_time() {
    let desk = Desk::new();
    let runs: Vec<_> = ["new-serve.c3d", "practice-swings.c3d"]
        .map(|name| {
            let mut command = desk.command(&["add", &sample(name), "--player", "knot", "--json"]);
            command.stdout(std::process::Stdio::piped()).stderr(std::process::Stdio::piped());
            command.spawn().unwrap()
        })
        .into_iter()
        .map(|child| child.wait_with_output().unwrap())
        .collect();
    for run in &runs {
        let said = String::from_utf8_lossy(&run.stderr);
        assert!(run.status.success(), "{said}");
    }
    let library = precedent::library::Library::open_read_only(desk.at("library")).unwrap();
    let counts = library.counts().unwrap();
    assert_eq!((counts.players, counts.recordings), (1, 2));
    drop(library);
    let (_, err) = desk.expect(0, &["verify", "--read-only"]);
    assert!(err.contains("the library is sound"), "{err}");
}

#[test]
fn words_are_found_ranked_with_excerpts_and_cautions() {
    let desk = Desk::stocked();
    desk.expect(0, &["label", "c2", "--note", "late <toss> & \"bench\" again"]);
    desk.expect(0, &["label", "c1", "--note", "toss fine"]);
    let (out, err) = desk.expect(0, &["find", "late", "toss", "the"]);
    // A fault's own name may come first; of the cases it is the one with both words.
    let case = out.find("c2 of dunlin, 2026-03-14\n   note: late <toss> & \"bench\" again\n");
    let rank = case.map(|at| out[..at].matches("\n").count());
    assert!(rank.is_some_and(|lines| lines <= 3), "{out}");
    assert!(out.find("c1 of").is_none_or(|other| Some(other) > case), "{out}");
    assert!(err.contains("left out: 'the' (too common or too long a word)"), "{err}");
    let hits = desk.objects(0, &["find", "bench", "--json"]);
    let case = hits.iter().find(|hit| hit["kind"] == "case").unwrap();
    assert_eq!((&case["case"], &case["player"]), (&Value::from("c2"), &Value::from("dunlin")));
    assert_eq!(case["excerpts"][0]["text"], "late <toss> & \"bench\" again");
    assert_eq!(case["excerpts"][0]["matches"][0], serde_json::json!({"start": 15, "end": 20}));
    // A drill never comes without its cautions, in either form.
    let drill = hits.iter().find(|hit| hit["id"] == "bench_rise").unwrap();
    let (out, _) = desk.expect(0, &["find", "bench"]);
    let cautions = drill["cautions"].as_array().unwrap();
    assert!(cautions.len() > 1);
    for caution in cautions {
        assert_eq!(out.matches(caution.as_str().unwrap()).count(), 1, "{caution}\n{out}");
    }
    let hits = desk.objects(0, &["find", "toss", "--where", "player=sanderling", "--json"]);
    assert_eq!(hits.iter().map(|hit| &hit["case"]).collect::<Vec<_>>(), ["c1"]);
    let (out, err) = desk.expect(1, &["find", "zebrafinch"]);
    assert!(out.is_empty() && err.contains("'zebrafinch' (is nowhere"), "{err}");
    let (_, err) = desk.expect(1, &["find", "toss", "--where", "player=knot date<2020-01-01"]);
    assert!(err.contains("3 cases searched"), "{err}");
    let (_, err) = desk.expect(2, &["find", "toss", "--where", "player=nobody"]);
    assert!(err.contains("player has no 'nobody'"), "{err}");
}
