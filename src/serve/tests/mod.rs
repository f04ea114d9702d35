use super::*;
use crate::motion::{self, ReadOptions, Recording, Side};
use std::path::PathBuf;

mod halves;
mod planted;
mod properties;
mod refusals;
mod untidy;

/// The shared real recordings; `None`, said on stderr, where they are absent.
fn recordings() -> Option<PathBuf> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings");
    if folder.is_dir() {
        return Some(folder);
    }
    crate::skip::skipped(format!("{} is absent", folder.display()));
    None
}

/// One of them; depth-sensor files state no rate, their README does: 15 Hz.
fn real_recording(name: &str) -> Option<Recording> {
    let path = recordings()?.join(name);
    let rate_hz = name.ends_with(".txt").then_some(15.0);
    let options = ReadOptions { rate_hz, ..ReadOptions::default() };
    Some(motion::read(&path, &options).unwrap_or_else(|error| panic!("{name}: {error}")))
}
