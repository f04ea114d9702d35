//! One reader of joints each, and the search for serves on what they read.

use std::cell::RefCell;
use std::fmt::Display;
use std::fs;

use precedent::motion::{self, Layout, ReadOptions, Recording, SourceUnit, Up, read_bytes};
use precedent::serve::{FindOptions, find};
use tempfile::TempDir;

use super::{said, scratch};

pub(super) fn c3d(bytes: &[u8]) {
    read(Layout::C3d, bytes);
}

pub(super) fn trc(bytes: &[u8]) {
    read(Layout::Trc, bytes);
}

pub(super) fn bvh(bytes: &[u8]) {
    read(Layout::Bvh, bytes);
}

pub(super) fn keypoints(bytes: &[u8]) {
    read(Layout::Keypoints33, bytes);
}

pub(super) fn table(bytes: &[u8]) {
    read(Layout::Table, bytes);
}

pub(super) fn depth20(bytes: &[u8]) {
    read(Layout::Depth20, bytes);
}

thread_local! {
    static FRAMES: RefCell<TempDir> = RefCell::new(scratch());
}

/// Most files of a folder.
const FRAME_FILES: usize = 64;

/// Each line a file of its own, as one keypoint file per frame; a line that begins with a name and a colon has
/// that name.
pub(super) fn folder(bytes: &[u8]) {
    FRAMES.with_borrow(|folder| {
        let folder = folder.path();
        for old in fs::read_dir(folder).unwrap() {
            fs::remove_file(old.unwrap().path()).unwrap();
        }
        for (number, line) in bytes.split(|&byte| byte == b'\n').take(FRAME_FILES).enumerate() {
            let colon = line.iter().take(40).position(|&byte| byte == b':');
            let name = colon.and_then(|colon| std::str::from_utf8(&line[..colon]).ok());
            let name =
                name.filter(|name| !name.is_empty() && !name.contains(['/', '\0', '{', '.']));
            let content = if name.is_some() { &line[colon.unwrap_or(0) + 1..] } else { line };
            let name = name.map_or(format!("{number}.json"), |name| format!("{name}.json"));
            fs::write(folder.join(name), content).unwrap();
        }
        read_with(Layout::Keypoints33, |options| motion::read(folder, options));
    });
}

fn read(layout: Layout, bytes: &[u8]) {
    read_with(layout, |options| read_bytes(bytes, options));
}

/// Read with nothing known but the layout, and with everything told that a file may lack.
fn read_with<E: Display>(layout: Layout, read: impl Fn(&ReadOptions) -> Result<Recording, E>) {
    let bare = ReadOptions { layout: Some(layout), ..ReadOptions::default() };
    let told = ReadOptions {
        rate_hz: Some(60.0),
        up: Some(Up::Z),
        unit: Some(SourceUnit::Metre),
        person: Some(0),
        picture: Some([1920, 1080]),
        trim: true,
        ..bare.clone()
    };
    for options in [bare, told] {
        match read(&options) {
            Ok(recording) => promises(&recording),
            Err(error) => said(&error),
        }
    }
}

/// What every recording keeps, and that serves can be looked for in it.
fn promises(recording: &Recording) {
    assert_eq!(recording.positions.len(), recording.frames() * recording.joints.len());
    assert_eq!(recording.times_s.len(), recording.frames());
    assert!(recording.times_s.windows(2).all(|pair| pair[0] < pair[1]), "times do not increase");
    assert!(recording.rate_hz.is_finite() && recording.rate_hz > 0.0, "{}", recording.rate_hz);
    for place in &recording.positions {
        let gap = place.iter().all(|x| x.is_nan());
        assert!(gap || place.iter().all(|x| x.is_finite()), "half a position: {place:?}");
    }
    if let Some(confidence) = &recording.confidence {
        assert_eq!(confidence.len(), recording.positions.len());
    }
    let found = find(recording, &FindOptions::default());
    for serve in &found.serves {
        let (first, last) = serve.frames;
        assert!(first <= last && last < recording.frames(), "{:?}", serve.frames);
        assert!(serve.curve.values.iter().all(|value| value.is_finite()), "a curve with a hole");
        assert!(serve.events.windows(2).all(|pair| pair[0].time_s <= pair[1].time_s));
    }
    assert!(!found.serves.is_empty() || !found.refused.is_empty(), "nothing found, no reason");
}
