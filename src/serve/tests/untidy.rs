//! Untidy clips: cuts, slow motion nobody declared, frames without anybody.

use super::*;
use crate::motion::{Joint, read_bytes};

/// `first` up to a frame, then `second` from a frame on, as if one film.
fn joined(first: &Recording, to: usize, second: &Recording, from: usize) -> Recording {
    assert_eq!(first.joints, second.joints);
    let width = first.joints.len();
    let mut positions = first.positions[..to * width].to_vec();
    positions.extend_from_slice(&second.positions[from * width..]);
    let frames = positions.len() / width;
    Recording {
        times_s: (0..frames).map(|frame| frame as f64 / first.rate_hz).collect(),
        positions,
        confidence: None,
        ..first.clone()
    }
}

/// Events by eye of the two real serves: `../shared/recordings/README.md`.
#[test]
fn a_serve_never_goes_on_over_a_cut() {
    let names = ["serve_2164", "serve_2308", "serve_2213", "serve_2251"];
    let mut takes = Vec::new();
    for name in names {
        let Some(take) = real_recording(&format!("one-camera/flat/{name}.csv")) else { return };
        takes.push(take);
    }
    // Tossing arm at its top, by eye.
    let tops = [33, 36, 28, 40];
    for (a, first) in takes.iter().enumerate() {
        for (b, second) in takes.iter().enumerate().filter(|(b, _)| *b != a) {
            // The toss of one, the swing of another.
            let film = joined(first, tops[a], second, tops[b]);
            let found = find(&film, &FindOptions::default());
            let over = |serve: &&Serve| serve.frames.0 < tops[a] && serve.frames.1 >= tops[a];
            assert!(!found.serves.iter().any(|one| over(&one)), "{} and {}", names[a], names[b]);
        }
    }
    // Uncut, each is whole.
    for (name, take) in names.iter().zip(&takes) {
        let stature = crate::serve::track::stature(take).unwrap();
        assert_eq!(crate::serve::cuts::cuts(take, stature), [0; 0], "{name}");
    }
}

#[test]
fn no_take_of_the_flat_recordings_is_taken_for_a_cut_film() {
    let Some(folder) = recordings() else { return };
    let mut read = 0;
    for entry in std::fs::read_dir(folder.join("one-camera/flat")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if !name.contains('_') {
            continue;
        }
        let take = real_recording(&format!("one-camera/flat/{name}")).unwrap();
        let stature = crate::serve::track::stature(&take).unwrap();
        assert_eq!(crate::serve::cuts::cuts(&take, stature), [0; 0], "{name}");
        read += 1;
    }
    assert_eq!(read, 166);
}

/// Filmed at 90 Hz +- 15 by the ball's flight (`../shared/recordings/README.md`), here as if it played
/// in real time at 30.
#[test]
fn slow_motion_nobody_declared_is_asked_about_with_a_figure() {
    let Some(real) = real_recording("one-camera/side-slow-motion.json") else { return };
    assert_eq!(find(&real, &FindOptions::default()).serves.len(), 1);
    let slow = Recording {
        times_s: real.times_s.iter().map(|time_s| time_s * 3.0).collect(),
        rate_hz: real.rate_hz / 3.0,
        ..real
    };
    let found = find(&slow, &FindOptions::default());
    assert_eq!(found.serves.len(), 0);
    let reason = &found.refused[0].reason;
    assert!(reason.ends_with("give the rate it was filmed at"), "{reason}");
    let figure = reason.split("at about ").nth(1).and_then(|rest| rest.split(' ').next());
    let rate_hz: f64 = figure.and_then(|text| text.parse().ok()).unwrap_or(f64::NAN);
    assert!((75.0..=105.0).contains(&rate_hz), "{reason}");
}

/// No forehand of the shared recordings is a serve, at whatever speed it is played.
#[test]
fn nobody_is_asked_about_a_forehand() {
    let Some(folder) = recordings() else { return };
    let (mut asked, mut read) = (Vec::new(), 0);
    for entry in std::fs::read_dir(folder.join("one-camera/flat")).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if !name.starts_with("forehand_") {
            continue;
        }
        read += 1;
        let take = real_recording(&format!("one-camera/flat/{name}")).unwrap();
        let found = find(&take, &FindOptions::default());
        if found.refused.iter().any(|refusal| refusal.reason.contains("slow motion")) {
            asked.push(name);
        }
    }
    assert_eq!(read, 71);
    assert!(asked.len() <= 1, "{asked:?}");
}

#[test]
fn a_frame_without_anybody_is_a_gap_however_the_file_says_so() {
    let Some(real) = real_recording("one-camera/diagonal-30hz.json") else { return };
    // Frame 75 is lost, says the README; the file holds it with empty lists.
    assert_eq!(real.frames(), 106);
    let lost = |recording: &Recording| -> Vec<usize> {
        let gone = |frame: &usize| recording.at(*frame, Joint::LeftHip).is_none();
        (0..recording.frames()).filter(gone).collect()
    };
    assert_eq!(lost(&real), [75]);
    assert_eq!(find(&real, &FindOptions::default()).serves.len(), 1);

    let path = recordings().unwrap().join("one-camera/diagonal-30hz.json");
    let mut file: serde_json::Value =
        serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap();
    let empty = [
        serde_json::json!(null),
        serde_json::json!({}),
        serde_json::json!([]),
        serde_json::json!({"time_s": 2.5145}),
        serde_json::json!({"time_s": 2.5145, "landmarks": null}),
        serde_json::json!({"time_s": 2.5145, "landmarks": [[]]}),
        serde_json::json!({"time_s": 2.5145, "people": []}),
        serde_json::json!({"time_s": 2.5145, "people": [{"person_id": -1}]}),
    ];
    for without in empty {
        // Times are left out, so that all frames are alike in that.
        for frame in file["frames"].as_array_mut().unwrap() {
            frame.as_object_mut().map(|frame| frame.remove("time_s"));
        }
        let mut without_time = without.clone();
        without_time.as_object_mut().map(|frame| frame.remove("time_s"));
        file["frames"][75] = without_time;
        let options = ReadOptions { rate_hz: Some(29.83), ..ReadOptions::default() };
        let read = read_bytes(file.to_string().as_bytes(), &options)
            .unwrap_or_else(|error| panic!("{without}: {error}"));
        assert_eq!(lost(&read), [75], "{without}");
        assert_eq!(read.frames(), 106, "{without}");
    }
}
