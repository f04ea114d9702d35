//! Builds a large library of invented curves, to measure on it: `examples/keyboard` measures commands,
//! `examples/page` the page, and MEASURED.md has the figures. Memory: a few batches of players, however many serves.
//!
//! ```text
//! cargo run --release --example squad_scale -- FOLDER SERVES
//! ```

use std::error::Error;

use jiff::ToSpan;
use jiff::civil::date;
use precedent::evidence::sync_outcomes;
use precedent::library::{
    Author, Consent, FaultLabel, LabelState, Level, Library, NewRecording, Player, PlayerId,
};
use precedent::motion::{Capture, Dimensions, Joint, Recording, Side, Unit};
use precedent::serve::{CORE_SET, CURVE_FRAMES, Curve, Event, EventKind, Figures, Serve};
use precedent::simulator::{SERVES_PER_PLAYER, curves};

const SESSION: usize = 10;
const FAULTS: [&str; 4] =
    ["shallow_leg_drive", "tossing_arm_drops_early", "toss_low", "trunk_opens_early"];

fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let (Some(folder), Some(count)) = (args.next(), args.next()) else {
        return Err("usage: squad_scale FOLDER SERVES".into());
    };
    let count: usize = count.parse()?;
    let mut library = Library::create(&folder)?;
    let mut all = curves(count, 1);
    for number in 0..count.div_ceil(SERVES_PER_PLAYER) {
        let own: Vec<Vec<f32>> = all.by_ref().take(SERVES_PER_PLAYER).collect();
        library.write(|writer| {
            let player = writer.add_player(&player(number))?;
            for (session, some) in own.chunks(SESSION).enumerate() {
                let serves: Vec<Serve> = some.iter().map(|values| serve(values)).collect();
                let name = format!("p{number}-{session}");
                let added = writer.add_recording(&NewRecording {
                    player,
                    file_name: &name,
                    content_hash: hash_of(number, session).as_str(),
                    date: date(2026, 1, 5).saturating_add((session as i64).months()),
                    setting: None,
                    serve_type: None,
                    recording: &recording(),
                    serves: &serves,
                })?;
                for (at, fault) in FAULTS.iter().enumerate() {
                    if (number * 7 + session * 3 + at * 5) % 11 < 4 {
                        writer.set_label(
                            added.case,
                            &FaultLabel {
                                fault: (*fault).to_owned(),
                                state: LabelState::Suspected,
                                severity: 0.5,
                                by: Author::Program,
                                note: None,
                            },
                        )?;
                    }
                }
            }
            Ok::<(), precedent::library::WriteError>(())
        })?;
    }
    library.sync()?;
    sync_outcomes(&library)?;
    Ok(())
}

/// A name of 64 hex digits, different for every recording.
fn hash_of(number: usize, session: usize) -> String {
    format!("{:064x}", number * 1000 + session + 1)
}

fn player(number: usize) -> Player {
    Player {
        id: PlayerId(0),
        code: format!("p{number:04}"),
        name: None,
        hand: Some(Side::Right),
        level: Some(Level::Club),
        born: None,
        stature_m: None,
        squads: vec!["all".to_owned()],
        coach: Some("ash".to_owned()),
        consent: Consent { keep: true, ..Consent::default() },
    }
}

fn recording() -> Recording {
    Recording {
        confidence: None,
        joints: vec![Joint::RightShoulder, Joint::RightWrist],
        times_s: (0..4).map(|frame| f64::from(frame) / 120.0).collect(),
        positions: vec![[0.1, 0.2, 1.5]; 8],
        rate_hz: 120.0,
        dimensions: Dimensions::Three,
        unit: Unit::Metre,
        capture: Capture::Generated,
        view: None,
        subject: None,
        format: "made".to_owned(),
        assumptions: Vec::new(),
    }
}

fn serve(values: &[f32]) -> Serve {
    let joints = vec![Joint::RightShoulder, Joint::RightWrist];
    Serve {
        hand: Side::Right,
        hand_trust: 1.0,
        frames: (0, 3),
        events: EventKind::ALL.map(|kind| Event {
            kind,
            time_s: f64::from(kind as u8) * 0.25,
            frame: kind as usize,
            trust: 1.0,
        }),
        readings: Vec::new(),
        curve: Curve { channel_set: CORE_SET.to_owned(), channels: 12, values: values.to_vec() },
        figures: Figures {
            positions: vec![[0.1, 0.2, 1.5]; CURVE_FRAMES * joints.len()],
            joints,
            event_samples: [0.0, 30.0, 55.0, 70.0, 79.0, 100.0],
        },
        cutoff_hz: 12.0,
        notes: Vec::new(),
    }
}
