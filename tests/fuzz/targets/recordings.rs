//! One reader of joints each, and the search for serves on what they read.

use precedent::motion::{Layout, ReadOptions, Recording, SourceUnit, Up, read_bytes};
use precedent::serve::{FindOptions, find};

use super::said;

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

/// Read with nothing known but the layout, and with everything told that a file may lack.
fn read(layout: Layout, bytes: &[u8]) {
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
        match read_bytes(bytes, &options) {
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
