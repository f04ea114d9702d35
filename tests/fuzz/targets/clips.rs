//! Clips, which ffmpeg reads for us: what we make of its answers, and what is kept of a clip that was read.

use std::cell::RefCell;
use std::fs;
use std::path::Path;

use precedent::motion::Joint;
use precedent::video::{Kept, Sound, is_clip, probe, voice_length_s};
use precedent::work::Watch;
use tempfile::TempDir;

use super::{said, scratch};

thread_local! {
    static FOLDER: RefCell<TempDir> = RefCell::new(scratch());
}

/// The bytes as a clip and as a voice that came from a browser.
pub(super) fn clip(bytes: &[u8]) {
    FOLDER.with_borrow(|folder| {
        let path = folder.path().join("clip");
        fs::write(&path, bytes).unwrap();
        let watch = Watch::default();
        let _either = is_clip(&path);
        match probe(&path, &watch) {
            Ok(info) => {
                assert!(info.times_s.len() >= 2 && info.times_s.is_sorted());
                assert!(info.container_hz > 0.0 && info.unevenness >= 1.0, "{info:?}");
                // Nobody listens to what was refused.
                listen(&path, &watch);
            }
            Err(error) => said(&error),
        }
        match voice_length_s(&path, &watch) {
            Ok(long_s) => assert!(long_s > 0.0 && long_s.is_finite(), "{long_s} s"),
            Err(error) => said(&error),
        }
        let left: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|one| one.unwrap()).collect();
        assert_eq!(left.len(), 1, "something was left behind: {left:?}");
    });
}

fn listen(path: &Path, watch: &Watch) {
    match Sound::of_clip(path, watch) {
        Ok(Some(sound)) => {
            if let Some(heard_s) = sound.hit(0.5, 0.5) {
                assert!((0.0..=1.1).contains(&heard_s), "a hit at {heard_s} s");
            }
        }
        Ok(None) => {}
        Err(error) => said(&error),
    }
}

/// The joints in the picture, as a recording of a clip keeps them.
pub(super) fn kept_points(bytes: &[u8]) {
    match Kept::from_bytes(bytes) {
        Ok(kept) => {
            for frame in [0, 1, 1000] {
                if let Some((place, _)) = kept.at(frame, Joint::Nose) {
                    assert!(place[0].is_finite());
                }
            }
        }
        Err(error) => said(&error),
    }
}
