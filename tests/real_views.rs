//! Real movements measured in space, photographed from all around: serves are found with the right
//! hand, other movements are not taken for serves. And what is said of a hand that is hidden.
//!
//! The movements are by others (`recordings/README.md` beside the project): fourteen serves and eight
//! other movements before a depth sensor (MSR Action3D), five serves as markers (sample data of the
//! Kinetics Toolkit), serves and forehands as joints marked by hand (Penn Action).

#![allow(missing_docs)]

#[path = "support/photographed.rs"]
mod photographed;
#[path = "support/skip.rs"]
mod skip;

use std::path::{Path, PathBuf};

use photographed::{Camera, photographed};
use precedent::motion::{self, ReadOptions, Recording, Side, View};
use precedent::serve::{EventKind, FindOptions, find};
use rayon::prelude::*;

/// The cameras: from every 30 deg, from the ground, a tripod and a balcony.
const HEIGHTS_M: [f64; 3] = [0.5, 1.5, 4.0];
/// Each mark is off by this much of stature.
const TREMBLING: f64 = 0.015;

fn folder() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings");
    if !folder.is_dir() {
        skip::skipped(format!("{} is absent", folder.display()));
        return None;
    }
    Some(folder)
}

fn read(file: &Path, view: Option<View>) -> Recording {
    let options = ReadOptions { view, ..ReadOptions::default() };
    motion::read(file, &options).unwrap_or_else(|error| panic!("{}: {error}", file.display()))
}

fn named(folder: &Path, wanted: impl Fn(&str) -> bool) -> Vec<(String, PathBuf)> {
    let mut files: Vec<(String, PathBuf)> = std::fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| entry.expect("an entry"))
        .map(|entry| (entry.file_name().into_string().expect("a name"), entry.path()))
        .filter(|(name, _)| wanted(name))
        .collect();
    files.sort();
    files
}

/// A take from every camera at 30 Hz, every other one in a mirror: where from, whether mirrored, what
/// is seen. Both sources face the net along -y.
fn all_around(space: &Recording) -> Vec<(String, bool, Recording)> {
    let space = motion::resample(space, 30.0);
    let cameras = (0..12).flat_map(|step| HEIGHTS_M.map(|high_m| (step, high_m)));
    cameras
        .enumerate()
        .map(|(number, (step, high_m))| {
            let around_deg = 30.0 * f64::from(step);
            let camera = Camera { around_deg, high_m, net_y: -1.0 };
            let seen = photographed(&space, camera, TREMBLING, number as u64);
            let mirrored = (number + step as usize) % 2 == 1;
            let seen = if mirrored { seen.mirrored() } else { seen };
            (format!("{around_deg} deg, {high_m} m"), mirrored, seen)
        })
        .collect()
}

/// Takes of serves with the hand that hits: of the markers the right (README), of the depth sensor the
/// side B, which the reader calls left.
fn serves(folder: &Path) -> Vec<(String, Recording, Side)> {
    let depth = named(&folder.join("depth-sensor"), |name| {
        // The one with broken tracking.
        name.starts_with("serve") && name != "serve_p03_t02.txt"
    });
    let mut serves: Vec<(String, Recording, Side)> =
        depth.into_iter().map(|(name, file)| (name, read(&file, None), Side::Left)).collect();
    let markers = read(&folder.join("marker-serves-50hz.c3d"), None);
    let width = markers.joints.len();
    // Frames of the wrist's peak speed (README).
    for hit in [199usize, 383, 560, 744, 929] {
        let (from, to) = (hit.saturating_sub(90), (hit + 50).min(markers.frames()));
        let take = Recording {
            times_s: markers.times_s[from..to].to_vec(),
            positions: markers.positions[from * width..to * width].to_vec(),
            confidence: None,
            ..markers.clone()
        };
        serves.push((format!("markers, hit at {hit}"), take, Side::Right));
    }
    serves
}

/// Nine in ten are to be found from every side, none with the other hand. (Looked at once with marks
/// off by 1 and by 2 %: 1362 of 1368, and half of the markers' serves were lost from 30 deg before a
/// hand that is hidden until it is up was known as such.)
#[test]
fn a_serve_is_found_from_all_around_with_the_right_hand() {
    let Some(folder) = folder() else { return };
    let takes = serves(&folder);
    assert_eq!(takes.len(), 19);
    let told: Vec<(String, bool)> = takes
        .par_iter()
        .flat_map_iter(|(name, space, hits)| {
            all_around(space).into_iter().map(move |(camera, mirrored, seen)| {
                let hits = if mirrored { hits.other() } else { *hits };
                let found = find(&seen, &FindOptions::default());
                for serve in &found.serves {
                    assert_eq!(serve.hand, hits, "{name}, {camera}");
                }
                (camera, found.serves.len() == 1)
            })
        })
        .collect();
    for step in 0..12 {
        let from = format!("{} deg", 30 * step);
        let of_side: Vec<bool> =
            told.iter().filter(|one| one.0.starts_with(&from)).map(|one| one.1).collect();
        let found = of_side.iter().filter(|found| **found).count();
        assert!(
            of_side.len() == 57 && 10 * found >= 9 * 57,
            "{from}: {found} of {}",
            of_side.len()
        );
    }
}

/// Throws, racket swings, waves: none is a serve. (Of a pick-up and throw, one picture in ten was: the
/// bent trunk was forgiven as what a view may hide.)
#[test]
fn no_other_movement_is_taken_for_a_serve_from_anywhere() {
    let Some(folder) = folder() else { return };
    let others = named(&folder.join("depth-sensor"), |name| !name.starts_with("serve"));
    assert_eq!(others.len(), 8);
    others.par_iter().for_each(|(name, file)| {
        for (camera, _, seen) in all_around(&read(file, None)) {
            let found = find(&seen, &FindOptions::default());
            assert!(found.serves.is_empty(), "{name}, {camera}");
        }
    });
}

/// The tossing hand of these three is hidden for the first half second and more, and over the
/// shoulders when it appears (read off the files' own confidence).
#[test]
fn a_toss_hidden_until_the_hand_is_up_is_found_and_its_start_said_to_be_a_guess() {
    let Some(folder) = folder() else { return };
    for number in [2170, 2192, 2268] {
        let file = folder.join(format!("one-camera/flat/serve_{number}.csv"));
        let seen = read(&file, Some(View::Behind));
        let found = find(&seen, &FindOptions::default());
        assert_eq!(found.serves.len(), 1, "{number}: {:?}", found.refused);
        let serve = &found.serves[0];
        assert!(serve.notes.iter().any(|note| note.contains("hidden until")), "{number}");
        let start = &serve.events[EventKind::TossStart as usize];
        assert!(start.trust < 0.2, "{number}: {start:?}");
        // Without the confidence the hand stands up from the start: a toss that is not shown.
        let sure = Recording { confidence: None, ..seen };
        let refused = find(&sure, &FindOptions::default());
        assert!(refused.serves.is_empty(), "{number}");
        let told = refused.refused.iter().any(|one| one.reason.contains("up from the start"));
        assert!(told, "{number}: {:?}", refused.refused);
    }
}

/// The five whole serves that are not found: the hitting wrist is hidden from before the hit or through
/// it (read off the files' own confidence), and that is said.
#[test]
fn a_hidden_hitting_hand_is_named_in_the_refusal() {
    let Some(folder) = folder() else { return };
    let hidden = [
        (2174, View::Front, "right"),
        (2176, View::Side, "right"),
        (2180, View::Front, "right"),
        (2210, View::Behind, "right"),
        (2326, View::Side, "right"),
    ];
    for (number, view, side) in hidden {
        let file = folder.join(format!("one-camera/flat/serve_{number}.csv"));
        let found = find(&read(&file, Some(view)), &FindOptions::default());
        assert!(found.serves.is_empty(), "{number}: found after all");
        let told = found.refused.iter().any(|one| {
            let hidden = one.reason.split("out of sight, so only guessed at").nth(1);
            hidden.is_some_and(|words| words.contains(&format!("the {side} wrist")))
        });
        assert!(told, "{number}: {:?}", found.refused);
    }
}
