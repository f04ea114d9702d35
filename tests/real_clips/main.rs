//! Real serves before one camera: what the program says of them, held against what was seen by eye
//! and published. `src/serve/REAL-CLIPS.md` is written from here.

#![allow(missing_docs)]

mod found;
mod measures;
mod page;
#[path = "../support/pictured.rs"]
mod pictured;
#[path = "../support/skip.rs"]
mod skip;
mod worse;

use std::path::{Path, PathBuf};

use precedent::catalogue::{Catalogue, Conditions, Observed, Recorded, Suspicion, detect};
use precedent::motion::{self, ReadOptions, Recording, View};
use precedent::serve::{EventKind, FindOptions, Reading, Serve, find};

/// A frame at 30 Hz, s.
const FRAME_S: f64 = 1.0 / 30.0;

/// The shared clips; `None`, said on stderr, where they are absent.
fn folder() -> Option<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings/one-camera");
    if !folder.is_dir() {
        skip::skipped(format!("{} is absent", folder.display()));
        return None;
    }
    Some(folder)
}

fn clip(folder: &Path, name: &str, view: View) -> Recording {
    let options = ReadOptions { view: Some(view), ..ReadOptions::default() };
    motion::read(&folder.join(name), &options).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Frames by eye (README beside the clips) in the order of [`EventKind::ALL`]; NaN: not seen.
const BY_EYE: [(&str, View, [f64; 6]); 7] = [
    ("diagonal-30hz.json", View::Diagonal, [41.0, 47.5, 61.0, 70.0, 73.5, 85.0]),
    ("side-slow-motion.json", View::Side, [117.0, 146.0, 176.0, 186.0, 203.0, 242.0]),
    ("flat/serve_2164.csv", View::Side, [19.0, f64::NAN, 39.0, 46.0, 51.0, 59.0]),
    ("flat/serve_2276.csv", View::Side, [17.0, f64::NAN, 38.0, 45.0, 47.0, 53.0]),
    ("flat/serve_2308.csv", View::Side, [f64::NAN, f64::NAN, 43.0, 54.0, 60.0, 66.0]),
    ("flat/serve_2213.csv", View::Front, [16.0, f64::NAN, 38.0, 46.0, 50.0, 57.0]),
    ("flat/serve_2251.csv", View::Behind, [26.0, f64::NAN, 49.0, 52.0, 55.0, 61.0]),
];

/// The one serve of a clip with events by eye.
fn seen_by_eye(folder: &Path) -> Vec<(&'static str, Recording, Serve, [f64; 6])> {
    BY_EYE
        .iter()
        .map(|&(name, view, by_eye)| {
            let recording = clip(folder, name, view);
            let mut found = find(&recording, &FindOptions::default());
            assert_eq!(found.serves.len(), 1, "{name}: {:?}", found.refused);
            (name, recording, found.serves.remove(0), by_eye)
        })
        .collect()
}

/// How far an event is from the eye, in frames at 30 Hz; NaN where the eye saw nothing.
fn off(recording: &Recording, serve: &Serve, by_eye: &[f64; 6], kind: EventKind) -> f64 {
    let eye_s = recording.times_s[0] + by_eye[kind as usize] / recording.rate_hz;
    (serve.events[kind as usize].time_s - eye_s) / FRAME_S
}

/// One of the serves given as marked joints.
struct FlatServe {
    name: String,
    view: &'static str,
    /// The side of the picture the player faces, 1 right and -1 left; 0 from behind and in front.
    faces: f64,
    whole: bool,
    recording: Recording,
    serve: Option<Serve>,
}

const VIEWS: [(&str, View); 3] =
    [("behind", View::Behind), ("side", View::Side), ("front", View::Front)];

fn flat_serves(folder: &Path) -> Vec<FlatServe> {
    let index = std::fs::read_to_string(folder.join("flat/index.csv")).expect("the index");
    index
        .lines()
        .skip(1)
        .map(|line| {
            let fields: Vec<&str> = line.split(',').collect();
            let (view, stood) =
                VIEWS.into_iter().find(|one| one.0 == fields[1]).expect("a known view");
            let recording = clip(folder, &format!("flat/{}", fields[0]), stood);
            let serve = find(&recording, &FindOptions::default()).serves.into_iter().next();
            let faces = match fields[2] {
                "right" => 1.0,
                "left" => -1.0,
                _ => 0.0,
            };
            let whole = fields[4] == "1";
            FlatServe { name: fields[0].to_owned(), view, faces, whole, recording, serve }
        })
        .collect()
}

fn value(serve: &Serve, measure: &str) -> Option<f64> {
    let reading = serve.readings.iter().find(|one| one.measure == measure)?;
    match reading.reading {
        Reading::Value { value, .. } => Some(value),
        Reading::NotMeasurable { .. } => None,
    }
}

fn suspicions(recording: &Recording, serve: &Serve) -> Vec<Suspicion> {
    let recorded =
        Recorded { capture: recording.capture, view: recording.view, rate_hz: recording.rate_hz };
    let serve = Observed { readings: &serve.readings, recorded, serve_type: None, stroke: None };
    detect(Catalogue::builtin(), &[serve], &Conditions::default())
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    f64::midpoint(sorted[(sorted.len() - 1) / 2], sorted[sorted.len() / 2])
}

fn share(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}
