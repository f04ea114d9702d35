//! Where the camera stands, asked of drawn serves filmed from all around.
#![expect(clippy::print_stderr, reason = "a skipped test says so, and figures are shown")]

#[path = "support/film.rs"]
mod film;
#[path = "support/render.rs"]
mod render;
#[path = "support/skip.rs"]
mod skip;

use std::path::Path;

use film::{Shot, film, ready, serve};
use precedent::library::Level;
use precedent::motion::Side;
use precedent::serve::{EventKind, FindOptions, find};
use precedent::simulator::{Ask, Body, Server};
use precedent::video::{ClipOptions, Facing, ViewEstimate, read_clip};
use precedent::work::Watch;

/// Invented players of different size, level, hand and habits.
fn players() -> [(&'static str, Server); 4] {
    [
        ("plain", film::plain()),
        ("tall", Server::drawn(Body::new(1.93, 1.05, 1.0), Side::Right, Level::Professional, 11)),
        ("left", Server::drawn(Body::new(1.76, 1.0, 1.05), Side::Left, Level::Competition, 12)),
        ("small", Server::drawn(Body::new(1.58, 0.92, 1.0), Side::Right, Level::Club, 13)),
    ]
}

/// What a serve filmed from somewhere gives.
struct Seen {
    view: Option<ViewEstimate>,
    /// Whether the one serve is found with the player's own hand (`own`), the `other` one, or not
    /// at all (`none`); the hand is not told.
    serve: &'static str,
    contact_off_s: Option<f64>,
}

fn filmed(server: &Server, around_deg: f64, folder: &Path) -> Seen {
    let (body, truth) = serve(server, &Ask::default(), 30.0);
    let path = folder.join("shot.mp4");
    film(&Shot::small(around_deg), &body, &path);
    let reading = read_clip(&path, &ClipOptions::default(), &Watch::default()).unwrap();
    let found = find(&reading.recording, &FindOptions::default());
    let one = found.serves.first();
    Seen {
        serve: match one {
            Some(one) if one.hand == server.hand => "own",
            Some(_) => "other",
            None => "none",
        },
        contact_off_s: one.map(|one| {
            one.events[EventKind::Contact as usize].time_s - truth.event_s(EventKind::Contact)
        }),
        view: reading.view,
    }
}

/// Measures `tests/fixtures/video/view-all-around.csv`; minutes long, run by hand:
/// `cargo nextest run --release --test video_view --run-ignored only --no-capture`.
#[test]
#[ignore = "a measurement of minutes, not a check"]
fn measure_the_view_all_around() {
    assert!(ready(), "the networks are needed");
    let folder = tempfile::tempdir().unwrap();
    let mut table = String::from(
        "# tests/video_view.rs: drawn serves of invented players, full model, 30 Hz, 288 x 512\n\
         player,around_deg,after_deg,after_agreement,before_deg,before_agreement,serve,contact_off_s\n",
    );
    for (name, server) in players() {
        for around in (-165..=180).step_by(15) {
            let seen = filmed(&server, f64::from(around), folder.path());
            eprintln!("{name} {around}: {} {:?}", seen.serve, seen.view);
            let facing = |facing: Option<Facing>| {
                facing.map_or(",".to_owned(), |f| format!("{:.1},{:.3}", f.deg, f.agreement))
            };
            let view = seen.view.as_ref();
            table.push_str(&format!(
                "{name},{around},{},{},{},{}\n",
                facing(view.and_then(|view| view.after)),
                facing(view.and_then(|view| view.before)),
                seen.serve,
                seen.contact_off_s.map_or(String::new(), |off_s| format!("{off_s:.3}")),
            ));
            let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/view-all-around.csv");
            std::fs::write(kept, &table).unwrap();
        }
    }
}

/// What is said about where to film from is what the table holds.
#[test]
fn where_to_film_from_is_what_is_stated() {
    let table = include_str!("fixtures/video/view-all-around.csv");
    // Degrees towards the player's own hitting side; how the serve was found; contact off, s.
    let rows: Vec<(i32, &str, f64)> = table
        .lines()
        .skip(2)
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            let around: i32 = fields[1].parse().unwrap();
            let off_s: f64 = fields[7].parse().unwrap_or(f64::NAN);
            (if fields[0] == "left" { -around } else { around }, fields[6], off_s.abs())
        })
        .collect();
    assert_eq!(rows.len(), 96);
    let found = |from: i32, to: i32| {
        let inside = rows.iter().filter(|row| (from..=to).contains(&row.0));
        let inside: Vec<_> = inside.collect();
        ["own", "other", "none"].map(|how| inside.iter().filter(|row| row.1 == how).count())
    };
    // The hitting arm's side and diagonally before it; behind; the other side.
    assert_eq!(found(75, 165), [28, 0, 0]);
    assert_eq!(found(-30, 45), [15, 5, 4]);
    assert_eq!(found(-120, -45), [21, 0, 3]);
    let mut off_s: Vec<f64> =
        rows.iter().filter(|row| (75..=165).contains(&row.0)).map(|row| row.2).collect();
    off_s.sort_by(f64::total_cmp);
    assert_eq!((off_s[14], off_s[27]), (0.025, 0.108));
    // A serve with the wrong hand has its contact far off.
    assert!(rows.iter().filter(|row| row.1 == "other").all(|row| row.2 > 0.25));
}

/// The table is what the networks give: two of its rows again.
#[test]
fn the_table_of_views_is_what_the_networks_give() {
    if !ready() {
        return;
    }
    let table = include_str!("fixtures/video/view-all-around.csv");
    let folder = tempfile::tempdir().unwrap();
    for (player, around) in [(0, 90), (2, 180)] {
        let (name, server) = &players()[player];
        let seen = filmed(server, f64::from(around), folder.path());
        let view = seen.view.unwrap();
        let row = table.lines().find(|l| l.starts_with(&format!("{name},{around},"))).unwrap();
        let fields: Vec<&str> = row.split(',').collect();
        assert_eq!(seen.serve, fields[6], "{name} {around}");
        let stated: Vec<f64> = fields[2..6].iter().map(|f| f.parse().unwrap()).collect();
        let (after, before) = (view.after.unwrap(), view.before.unwrap());
        // Machines and encoders differ a little.
        for (found, stated) in [(after.deg, stated[0]), (before.deg, stated[2])] {
            let apart = (found - stated + 180.0).rem_euclid(360.0) - 180.0;
            assert!(apart.abs() < 6.0, "{name} {around}: {found:.1}, stated {stated}");
        }
    }
}
