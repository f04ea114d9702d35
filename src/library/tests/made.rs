//! Invented players, recordings and serves for the tests of this folder.

use jiff::civil::{Date, date};

use crate::library::{Added, Consent, Library, NewRecording, Player, PlayerId, WriteError};
use crate::motion::{Assumption, Capture, Dimensions, Joint, Recording, Side, Unit};
use crate::serve::{CURVE_FRAMES, Curve, Event, EventKind, Figures, Reading, Serve, ServeReading};

pub(crate) const SET: &str = "core-1";
pub(crate) const CHANNELS: usize = 12;

pub(crate) fn player(code: &str) -> Player {
    Player {
        id: PlayerId(0),
        code: code.to_owned(),
        name: Some(format!("Name of {code}")),
        hand: Some(Side::Left),
        level: Some(crate::library::Level::Club),
        born: Some(date(2012, 5, 3)),
        stature_m: Some(1.62),
        squads: vec!["monday".to_owned(), "girls".to_owned()],
        coach: Some("anna".to_owned()),
        consent: Consent { keep: true, share: false, date: Some(date(2026, 1, 2)), by: None },
    }
}

/// A recording whose numbers depend on `seed` and are exact in `f32`.
pub(crate) fn recording(seed: u32) -> Recording {
    let joints = vec![Joint::LeftShoulder, Joint::RightWrist];
    let frames = 7;
    let positions = (0..frames * joints.len())
        .map(|cell| {
            if cell == 3 { [f64::NAN; 3] } else { [f64::from(seed) * 0.5, cell as f64 * 0.25, 1.0] }
        })
        .collect();
    Recording {
        confidence: Some((0..frames * joints.len()).map(|cell| cell as f32 / 16.0).collect()),
        joints,
        times_s: (0..frames).map(|frame| frame as f64 / 120.0).collect(),
        positions,
        rate_hz: 120.0,
        dimensions: Dimensions::Three,
        unit: Unit::Metre,
        capture: Capture::Generated,
        view: None,
        subject: Some("A".to_owned()),
        format: "csv".to_owned(),
        assumptions: vec![Assumption {
            what: "up".to_owned(),
            taken: "z".to_owned(),
            why: "head above ankles".to_owned(),
        }],
    }
}

/// A serve whose curve depends on `seed`.
pub(crate) fn serve(seed: u32) -> Serve {
    let values = (0..CURVE_FRAMES * CHANNELS)
        .map(|at| {
            let (frame, channel) = (at / CHANNELS, at % CHANNELS);
            let phase = frame as f32 / 16.0 + channel as f32 + seed as f32 * 0.37;
            phase.sin() + (seed % 7) as f32 * 0.1
        })
        .collect();
    let joints = vec![Joint::RightShoulder, Joint::RightWrist];
    let mut positions = vec![[0.1, 0.2, 1.5]; CURVE_FRAMES * joints.len()];
    positions[5] = [0.25, 0.5, seed as f32];
    let events = EventKind::ALL.map(|kind| Event {
        kind,
        time_s: kind as u8 as f64 * 0.25,
        frame: kind as usize * 30,
        trust: 0.9,
    });
    Serve {
        hand: Side::Left,
        hand_trust: 0.95,
        frames: (3, 180),
        events,
        readings: vec![
            ServeReading {
                measure: "front_knee_flexion_trophy".to_owned(),
                reading: Reading::Value { value: 61.5, trust: 0.8, give_or_take: 4.0 },
            },
            ServeReading {
                measure: "palm_rotation".to_owned(),
                reading: Reading::NotMeasurable { why: "no hand joints".to_owned() },
            },
        ],
        curve: Curve { channel_set: SET.to_owned(), channels: CHANNELS, values },
        figures: Figures { joints, positions, event_samples: [0.0, 20.0, 45.0, 60.0, 70.0, 100.0] },
        cutoff_hz: 12.0,
        notes: vec!["gap of 0.1 s filled".to_owned()],
    }
}

/// Adds recording number `seed` with `serves` serves.
pub(crate) fn add(
    library: &mut Library,
    player: PlayerId,
    seed: u32,
    date: Date,
    serves: u32,
) -> Result<Added, WriteError> {
    let serves: Vec<Serve> = (0..serves).map(|n| serve(seed * 10 + n)).collect();
    library.add_recording(&NewRecording {
        player,
        file_name: &format!("file-{seed}.csv"),
        content_hash: &hash(seed),
        date,
        setting: None,
        serve_type: None,
        recording: &recording(seed),
        serves: &serves,
    })
}

pub(crate) fn hash(seed: u32) -> String {
    blake3::hash(&seed.to_le_bytes()).to_hex().to_string()
}

/// Every file of a folder that holds `needle`.
pub(crate) fn holding(folder: &std::path::Path, needle: &[u8]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            found.extend(holding(&entry.path(), needle));
        } else if std::fs::read(entry.path()).unwrap().windows(needle.len()).any(|w| w == needle) {
            found.push(entry.path().display().to_string());
        }
    }
    found
}
