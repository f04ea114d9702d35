//! Whole-pipeline tests. Those that need ffmpeg, the networks or other people's clips skip, saying
//! so on stderr, where these are absent; `precedent setup-video` and
//! `tests/fixtures/video/fetch.sh` bring them.

#![expect(clippy::print_stderr, reason = "a skipped test says so, and figures are shown")]

mod agreement;
mod clips;
mod disagree;
mod people;

use std::path::{Path, PathBuf};

use super::decode::Decoder;
use super::landmarks::Pose;
use super::model::ModelChoice;
use super::probe::probe;
use super::runtime::with_model;
use super::setup::{Installed, installed, runs};
use super::track::{Person, Tracker};
use crate::work::Watch;

/// The workspace's folder.
fn home() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A fetched clip or still, or `None` with a word on stderr.
fn clip(name: &str) -> Option<PathBuf> {
    let path = home().join("target/video-clips").join(name);
    if path.is_file() && runs("ffmpeg") {
        return Some(path);
    }
    crate::skip::skipped(format!(
        "{name} or ffmpeg is absent; tests/fixtures/video/fetch.sh brings the clips"
    ));
    None
}

/// The installed networks, or `None` with a word on stderr.
fn networks(choice: ModelChoice) -> Option<Installed> {
    match installed(choice) {
        Ok(installed) => Some(installed),
        Err(error) => {
            crate::skip::skipped(error);
            None
        }
    }
}

/// Every frame's pose and time.
fn follow(
    path: &Path,
    installed: &Installed,
    person: Person,
    times_s: &[f64],
) -> Vec<Option<Pose>> {
    with_model(installed, |model| {
        let mut tracker = Tracker::new(person);
        let mut decoder = Decoder::start(path, None).unwrap();
        let mut poses = Vec::new();
        while let Some(frame) = decoder.next(&Watch::default()).unwrap() {
            poses.push(tracker.next(model, &frame, times_s[poses.len()]).unwrap());
            decoder.recycle(frame);
        }
        poses
    })
    .unwrap()
}

fn median(mut values: Vec<f64>) -> f64 {
    assert!(!values.is_empty());
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
