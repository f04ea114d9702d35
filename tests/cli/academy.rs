//! The invented academy: its faults are found, its players and squad are followed.

use serde_json::Value;

use crate::desk::{Desk, sample};

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
