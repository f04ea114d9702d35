//! A library of clips: drawn serves of invented players go the whole way from the clip to the
//! precedents, the review, the plan, the follow-up and the progress page.

#[path = "support/desk.rs"]
mod desk;
#[path = "support/film.rs"]
mod film;
#[path = "support/render.rs"]
mod render;
#[path = "support/skip.rs"]
mod skip;

use desk::{Desk, sample};
use film::{Shot, film, ready, serve};
use precedent::library::Level;
use precedent::motion::Side;
use precedent::simulator::{Ask, Body, Fault, Server};
use serde_json::Value;

fn player(seed: u64) -> Server {
    let stature_m = [1.84, 1.68, 1.76][seed as usize % 3];
    Server::drawn(Body::new(stature_m, 1.0, 1.0), Side::Right, Level::Competition, seed)
}

/// Films one serve of `server` into `name`.
fn clip(desk: &Desk, name: &str, server: &Server, legs: f64, session: u64, around_deg: f64) {
    let ask = Ask { faults: vec![(Fault::ShallowLegDrive, legs)], session, ..Ask::default() };
    let shot = Shot::small(around_deg);
    film(&shot, &serve(server, &ask, shot.rate_hz).0, &desk.at(name));
}

#[test]
fn a_players_clips_a_month_apart_are_held_against_each_other_first() {
    if !ready() {
        return;
    }
    let desk = Desk::new();
    let [own, other] = [41, 43].map(player);
    clip(&desk, "march.mp4", &own, 0.9, 1, 90.0);
    clip(&desk, "april.mp4", &own, 0.1, 2, 90.0);
    clip(&desk, "front.mp4", &other, 0.8, 1, 180.0);
    let add = |file: &str, player: &str, date: &str, view: &str| {
        let all = ["add", file, "--player", player, "--date", date, "--view", view];
        let (out, _) = desk.expect(0, &[&all[..], &["--consent", "keep"]].concat());
        out.split(": ").last().unwrap().trim().to_owned()
    };
    let march = add("march.mp4", "dunlin", "2026-03-14", "side");
    let front = add("front.mp4", "ruff", "2026-03-15", "front");
    let joints = add(&sample("new-serve.c3d"), "sanderling", "2026-03-15", "behind");

    // The clip is asked before it is stored: its own player's serve first, then what compares
    // poorly, each marked.
    let ask = ["like", "april.mp4", "--view", "side", "--player", "dunlin"];
    let found = desk.precedents(&[&ask[..], &["--json"]].concat());
    let marks = |one: &Value| {
        ["same_player", "same_set_up", "comparable"].map(|mark| one[mark].as_bool().unwrap())
    };
    assert_eq!(found.len(), 3);
    assert_eq!((&found[0]["serve"], marks(&found[0])), (&Value::from(&*march), [true; 3]));
    for one in &found[1..] {
        assert_eq!(marks(one), [false; 3], "{one}");
        let (serve, why) = (&one["serve"], &one["incomparable_because"]);
        let expected = if *serve == *front {
            "seen from the front, not from the side"
        } else {
            assert_eq!(*serve, *joints);
            "markers, not one camera"
        };
        assert_eq!(why, expected);
    }
    // Whose it is must be known for that.
    let (_, err) = desk.expect(2, &["like", "april.mp4", "--player", "nobody"]);
    assert!(err.contains("nobody"), "{err}");

    let plan = ["plan", "c1", "--fault", "shallow_leg_drive", "--drill", "land_inside=3 x 8"];
    desk.expect(0, &[&plan[..], &["--start", "2026-03-15"]].concat());
    let april = add("april.mp4", "dunlin", "2026-04-15", "side");
    let (out, err) = desk.expect(0, &["like", &april, "--full"]);
    assert!(out.contains("\n   same player, same set-up: the strongest comparison\n"), "{out}");
    assert!(out.contains("\n   compares poorly: seen from the front"), "{out}");
    assert!(err.contains("searched first: 1 of 3 serves, filmed by one camera from the side"));
    desk.expect(0, &["follow-up", "n1", "--date", "2026-04-15", "--rating", "1"]);
    let (out, _) = desk.expect(0, &["progress", "dunlin", "-o", "progress.html"]);
    // Planted: the legs bend more. They bend towards a camera at the side, so nothing is claimed.
    let unseen = "Front knee bend at trophy could not be measured on both days (one camera: the knees bend \
                  towards it";
    assert!(out.contains(unseen), "{out}");
    assert!(!out.contains("went from"), "{out}");

    for (reader, own) in [("player", "You"), ("coach", "Same player")] {
        desk.expect(0, &["review", &april, "-o", "review.html", "--for", reader]);
        let page = std::fs::read_to_string(desk.at("review.html")).unwrap();
        for said in [
            "Those filmed by one camera from the side come first: 1 of them.",
            &format!("{own}, same set-up: the strongest comparison."),
            "Compares poorly: seen from the front, not from the side.",
        ] {
            assert!(page.contains(said), "'{said}' is missing for the {reader}");
        }
        // Its pictures were cut once: the second review needs no decoder and is the same.
        assert!(page.contains("data:image/jpeg"), "no picture for the {reader}");
        desk.expect_alone(0, &["review", &april, "-o", "again.html", "--for", reader]);
        let again = std::fs::read_to_string(desk.at("again.html")).unwrap();
        assert!(again == page, "the second review differs for the {reader}");
    }
    // A stored clip is never read again, whatever its file is called.
    std::fs::copy(desk.at("april.mp4"), desk.at("renamed.mp4")).unwrap();
    let (_, err) = desk.expect_alone(0, &["like", "renamed.mp4"]);
    assert!(err.contains("renamed.mp4: stored as r4, not read again"), "{err}");
    let all = ["add", "renamed.mp4", "--player", "dunlin", "--date", "2026-04-15"];
    let (out, _) = desk.expect_alone(0, &all);
    assert!(out.contains("already stored"), "{out}");
    // Its pictures go with the player.
    assert!(desk.at("library/stills").read_dir().unwrap().next().is_some());
    desk.expect(0, &["forget", "dunlin", "--yes"]);
    assert!(desk.at("library/stills").read_dir().unwrap().next().is_none());
    desk.expect(0, &["verify"]);
}
