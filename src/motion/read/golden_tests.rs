//! C3D values against PyPI `ezc3d` 1.7.2, SGI files against PyPI `c3d` 0.6.0, because `ezc3d` does not read
//! them (tests/fixtures/motion/make_ezc3d_golden.py).

use std::collections::HashMap;
use std::path::PathBuf;

use serde::Deserialize;

use super::sample::{body, erase};
use super::*;
use crate::motion::Joint;
use crate::motion::write::{C3dStyle, c3d};

#[derive(Deserialize)]
struct Golden {
    rate_hz: f64,
    labels: Vec<String>,
    points: Vec<Vec<Option<[f64; 3]>>>,
}

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/motion").join(name)
}

fn golden() -> HashMap<String, Golden> {
    let text =
        std::fs::read_to_string(fixture("ezc3d-1.7.2-c3d-0.6.0.json")).expect("the golden file");
    serde_json::from_str(&text).expect("JSON")
}

fn small_files() -> Vec<(String, Vec<u8>)> {
    let mut recording = body(5, 100.0);
    erase(&mut recording, 2, Joint::RightElbow);
    let mut files = Vec::new();
    for (name, processor) in
        [("intel", Processor::Intel), ("dec", Processor::Dec), ("sgi", Processor::Sgi)]
    {
        for (storage, integers) in [("float", false), ("integer", true)] {
            let style = C3dStyle { processor, integers, analog: 6, ..C3dStyle::default() };
            let bytes = c3d(&recording, &style).expect("writable");
            files.push((format!("small-{name}-{storage}.c3d"), bytes));
        }
    }
    files
}

/// Set `PRECEDENT_BLESS` to write the files anew (then run the script again).
#[test]
fn the_small_files_are_what_the_writer_writes() {
    for (name, bytes) in small_files() {
        if std::env::var_os("PRECEDENT_BLESS").is_some() {
            std::fs::write(fixture(&name), &bytes).expect("written");
        }
        assert!(std::fs::read(fixture(&name)).expect("the fixture") == bytes, "{name} differs");
    }
}

#[test]
fn every_storage_is_read_as_independent_readers_read_it() {
    let golden = golden();
    for (name, _) in small_files() {
        let want = &golden[&name];
        let got = read(&fixture(&name), &ReadOptions::default()).expect("a sound file");
        assert_eq!((got.rate_hz, got.frames()), (want.rate_hz, want.points.len()), "{name}");
        let mut compared = 0;
        for (frame, row) in want.points.iter().enumerate() {
            for (label, want) in want.labels.iter().zip(row) {
                let joint = Joint::from_name(label).expect("canonical labels");
                let got = got.at(frame, joint);
                assert_eq!(got.is_none(), want.is_none(), "{name}, frame {frame}, {label}");
                if let (Some(got), Some(want)) = (got, want) {
                    for i in 0..3 {
                        // ezc3d scales integers in f32: 7 digits of at most 1.65 m.
                        let close = (got[i] - want[i]).abs() <= 3e-7;
                        assert!(close, "{name}, frame {frame}, {label}: {got:?}, {want:?}");
                    }
                    compared += 1;
                }
            }
        }
        assert_eq!(compared, 5 * 17 - 1, "{name}");
    }
}

/// Markers, millimetres, analog data, a gap, an unlabelled point and a second subject.
#[test]
fn a_file_ezc3d_wrote_is_read() {
    let want = &golden()["written-by-ezc3d.c3d"];
    let got = read(&fixture("written-by-ezc3d.c3d"), &ReadOptions::default()).expect("sound");
    assert_eq!((got.rate_hz, got.frames()), (200.0, 8));
    assert_eq!(got.subject.as_deref(), Some("Cara"));
    let at = |frame: usize, label: &str| {
        let column = want.labels.iter().position(|held| held == label).expect("a label");
        want.points[frame][column]
    };
    for frame in 0..8 {
        for (joint, label) in [
            (Joint::LeftElbow, "Cara:LELB"),
            (Joint::RightKnee, "Cara:RKNE"),
            (Joint::RightToe, "Cara:RTOE"),
            (Joint::LeftHand, "Cara:LFIN"),
        ] {
            let (got, want) = (got.at(frame, joint), at(frame, label));
            assert_eq!(got.is_none(), want.is_none(), "frame {frame}, {label}");
            if let (Some(got), Some(want)) = (got, want) {
                for i in 0..3 {
                    assert!((got[i] - want[i] / 1000.0).abs() < 1e-9, "{got:?}, {want:?}");
                }
            }
        }
    }
    assert_eq!(got.summary(), "8 frames, 19 joints, 200 Hz, m, 1 gap (frames 2-3)");
}
