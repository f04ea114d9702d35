//! What is asked of a library: precedents, words, and what somebody mistyped.

use serde_json::Value;

use crate::desk::{Desk, sample};

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
