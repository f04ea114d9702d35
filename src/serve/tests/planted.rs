//! Planted truth: events and angles of generated serves, found again at several rates with noise.
//!
//! The serves are invented (see `crate::simulator`); their truth is read off the noiseless body there by
//! other code. The limits are what these rules reach, rounded up; they are the stated errors.

use super::*;
use crate::library::{Level, ServeType};
use crate::motion::Joint;
use crate::simulator::{Ask, Body, Fault, Sensor, SensorKind, Server, Truth, record_serve};

const SERVES: u64 = 30;

fn without_racket(recording: Recording) -> Recording {
    let width = recording.joints.len();
    let kept: Vec<usize> = (0..width)
        .filter(|&j| !matches!(recording.joints[j], Joint::RacketTip | Joint::RacketThroat))
        .collect();
    let rows = recording.positions.chunks(width);
    Recording {
        positions: rows.flat_map(|row| kept.iter().map(|&j| row[j])).collect(),
        joints: kept.iter().map(|&j| recording.joints[j]).collect(),
        confidence: None,
        ..recording
    }
}

/// Both hands, five levels, three kinds of serve, children to adults, every second with a fault.
fn generated(seed: u64, sensor: Sensor) -> (Recording, Truth, Side) {
    use Level::{Beginner, Club, Competition, National, Professional};
    let level = [Professional, National, Competition, Club, Beginner][(seed % 5) as usize];
    let hand = if seed % 4 == 3 { Side::Left } else { Side::Right };
    let body = Body::new(1.35 + 0.02 * seed as f64, 1.0, 1.0);
    let faults = if seed % 2 == 1 {
        vec![(Fault::ALL[(seed as usize / 2) % Fault::ALL.len()], 0.9)]
    } else {
        Vec::new()
    };
    let serve_type = [ServeType::Flat, ServeType::Slice, ServeType::Kick][(seed % 3) as usize];
    let serve =
        Server::drawn(body, hand, level, seed).serve(&Ask { serve_type, faults, ..Ask::default() });
    let sensor = Sensor { net_heading_deg: 37.0 * seed as f64, ..sensor };
    let (recording, truth) = record_serve(&serve, &sensor, seed);
    (recording, truth, hand)
}

/// Nine of ten errors are at most this: events in ms (in order), then by measure.
struct Limits {
    kind: SensorKind,
    racket: bool,
    rate_hz: f64,
    events_ms: [f64; 6],
    measures: &'static [(&'static str, f64)],
}

const GRID: &[Limits] = &[
    Limits {
        kind: SensorKind::Markers,
        racket: true,
        rate_hz: 240.0,
        events_ms: [90.0, 8.0, 40.0, 25.0, 8.0, 130.0],
        measures: &[
            ("front_knee_flexion_trophy", 1.0),
            ("elbow_flexion_contact", 6.0),
            ("shoulder_elevation_contact", 2.0),
            ("trunk_inclination_trophy", 1.5),
            ("trunk_inclination_contact", 2.5),
            ("trunk_side_tilt_contact", 7.0),
            ("contact_height_ratio", 0.02),
            ("racket_height_contact", 0.03),
            ("tossing_arm_fall_time", 0.04),
        ],
    },
    Limits {
        kind: SensorKind::Markers,
        racket: false,
        rate_hz: 60.0,
        events_ms: [90.0, 8.0, 45.0, 90.0, 40.0, 130.0],
        measures: &[
            ("front_knee_flexion_trophy", 1.5),
            ("elbow_flexion_contact", 25.0),
            ("shoulder_elevation_contact", 5.0),
            ("trunk_inclination_trophy", 1.5),
            ("trunk_side_tilt_contact", 7.0),
            ("contact_height_ratio", 0.06),
        ],
    },
    Limits {
        kind: SensorKind::OneCamera,
        racket: false,
        rate_hz: 60.0,
        // Trophy: a knee near its deepest bend changes by 4 to 6 deg in 0.2 s, and longest where the
        // leg drive is late or the body stops (190 and 216 ms off here, 203 ms in nine of ten); a slow error of that
        // size chooses the moment, not the rule. The bend itself is read within 9 deg.
        // The start is planted at the lowest hand and read where the rise gains speed, as the eye does.
        events_ms: [270.0, 130.0, 205.0, 95.0, 45.0, 150.0],
        measures: &[("front_knee_flexion_trophy", 9.0), ("trunk_inclination_trophy", 6.0)],
    },
    Limits {
        kind: SensorKind::OneCamera,
        racket: false,
        rate_hz: 30.0,
        events_ms: [270.0, 140.0, 160.0, 95.0, 45.0, 150.0],
        measures: &[("front_knee_flexion_trophy", 11.0), ("trunk_inclination_trophy", 7.0)],
    },
    Limits {
        kind: SensorKind::Depth,
        racket: false,
        rate_hz: 15.0,
        events_ms: [200.0, 35.0, 190.0, f64::INFINITY, 45.0, 190.0],
        measures: &[("front_knee_flexion_trophy", 10.0), ("trunk_inclination_trophy", 6.0)],
    },
];

/// The measure's name in the planted truth.
fn planted_name(measure: &str) -> &str {
    match measure {
        "contact_height_ratio" => "wrist_height_contact",
        "racket_height_contact" => "racket_middle_height_contact",
        same => same,
    }
}

fn nine_of_ten(errors: &mut [f64]) -> f64 {
    errors.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
    errors[(errors.len() * 9 / 10).min(errors.len() - 1)].abs()
}

#[test]
fn planted_events_and_angles_are_found_again() {
    let mut beyond = Vec::new();
    for limits in GRID {
        let setting = format!("{:?} {} Hz, racket {}", limits.kind, limits.rate_hz, limits.racket);
        let mut events: [Vec<f64>; 6] = Default::default();
        let mut measures: Vec<Vec<f64>> = vec![Vec::new(); limits.measures.len()];
        let (mut inside, mut all) = (0usize, 0u32);
        for seed in 0..SERVES {
            let sensor = Sensor { rate_hz: limits.rate_hz, ..Sensor::usual(limits.kind) };
            let (recording, truth, hand) = generated(seed, sensor);
            let recording = if limits.racket { recording } else { without_racket(recording) };
            let found = find(&recording, &FindOptions::default());
            assert_eq!(found.serves.len(), 1, "{setting}, seed {seed}: {:?}", found.refused);
            let serve = &found.serves[0];
            assert_eq!(serve.hand, hand, "{setting}, seed {seed}");
            for (k, event) in serve.events.iter().enumerate() {
                events[k].push(1000.0 * (event.time_s - truth.events_s[k]));
            }
            for reading in &serve.readings {
                let Some(planted) = truth.measure(planted_name(&reading.measure)) else {
                    continue;
                };
                if let Reading::Value { value, give_or_take, .. } = reading.reading {
                    all += 1;
                    inside += usize::from((value - planted).abs() <= give_or_take);
                    let row = limits.measures.iter().position(|(id, _)| *id == reading.measure);
                    if let Some(row) = row {
                        measures[row].push(value - planted);
                    }
                }
            }
        }
        for (k, errors) in events.iter_mut().enumerate() {
            let got = nine_of_ten(errors);
            let limit = limits.events_ms[k];
            let name = EventKind::ALL[k].name();
            if got > limit {
                beyond.push(format!("{setting}: {name} off by {got:.1} ms, stated {limit}"));
            }
        }
        for ((id, limit), errors) in limits.measures.iter().zip(&mut measures) {
            assert!(!errors.is_empty(), "{setting}: {id} never measured");
            let got = nine_of_ten(errors);
            if got > *limit {
                beyond.push(format!("{setting}: {id} off by {got:.3}, stated {limit}"));
            }
        }
        // "Give or take" promises 9 of 10, over all measures together.
        let share = inside as f64 / f64::from(all);
        if share < 0.85 {
            beyond.push(format!("{setting}: only {share:.3} of {all} inside their give-or-take"));
        }
    }
    assert!(beyond.is_empty(), "{}", beyond.join("\n"));
}

#[test]
fn hands_and_racket_are_read_where_they_exist() {
    let (recording, ..) = generated(0, Sensor::usual(SensorKind::Markers));
    let found = find(&recording, &FindOptions::default());
    let reading = |id: &str| {
        let all = &found.serves[0].readings;
        all.iter().find(|r| r.measure == id).map(|r| r.reading.clone()).expect("known")
    };
    for id in ["palm_turn_after_contact", "palm_direction_after_contact", "palm_up_cocking"] {
        assert!(
            !matches!(&reading(id), Reading::NotMeasurable { why } if why.contains("hand")),
            "{id}"
        );
    }
    assert!(matches!(reading("racket_height_contact"), Reading::Value { .. }));

    let (recording, ..) = generated(0, Sensor::usual(SensorKind::Depth));
    let found = find(&recording, &FindOptions::default());
    for (id, words) in [
        ("palm_turn_after_contact", "no hand joints"),
        ("racket_height_contact", "no racket joints"),
        ("elbow_flexion_contact", "15 Hz"),
        ("slow_down_time", "15 Hz"),
        ("racket_low_to_contact_time", "15 Hz"),
    ] {
        let all = &found.serves[0].readings;
        let got = all.iter().find(|r| r.measure == id).expect("known");
        let said = matches!(&got.reading, Reading::NotMeasurable { why } if why.contains(words));
        assert!(said, "{id}: {got:?}");
    }
}

/// A wrist bent back keeps the palm up behind the head; a trunk that leans back, or none of it, does not.
/// Ten players each, so that one that the generator draws at an edge does not decide.
#[test]
fn a_tray_is_told_from_an_arched_back() {
    let palm_up = |fault: Option<Fault>| -> Vec<f64> {
        let of_player = |seed| {
            let body = Body::new(1.6 + 0.03 * seed as f64, 1.0, 1.0);
            let hand = if seed % 3 == 0 { Side::Left } else { Side::Right };
            let faults = fault.map(|fault| (fault, 0.9)).into_iter().collect();
            let ask = Ask { faults, ..Ask::default() };
            let serve = Server::drawn(body, hand, Level::Competition, seed).serve(&ask);
            let (recording, _) = record_serve(&serve, &Sensor::usual(SensorKind::Markers), seed);
            let found = find(&recording, &FindOptions::default());
            let all = &found.serves[0].readings;
            let read = all.iter().find(|one| one.measure == "palm_up_behind_head").expect("known");
            match &read.reading {
                Reading::Value { value, .. } => *value,
                Reading::NotMeasurable { why } => panic!("{fault:?}, player {seed}: {why}"),
            }
        };
        let mut read: Vec<f64> = (0..10).map(of_player).collect();
        read.sort_by(f64::total_cmp);
        read
    };
    let tray = palm_up(Some(Fault::WaitersTray));
    for other in [None, Some(Fault::LumbarArch)] {
        let read = palm_up(other);
        assert!(read[8] < tray[1] - 10.0, "{other:?}: {read:.0?}, a tray {tray:.0?}");
    }
}

/// A measure that keeps its promise falls below this in forty serves hardly ever (3.8 standard errors).
const LEAST_KEPT: f64 = 0.72;

/// Each "give or take" by itself promises 9 of 10; those of one kind of source together can hide one
/// that does not keep it.
#[test]
fn every_give_or_take_keeps_its_promise() {
    let settings = [
        (SensorKind::Markers, 120.0),
        (SensorKind::Markers, 50.0),
        (SensorKind::Depth, 30.0),
        (SensorKind::Depth, 15.0),
    ];
    for (kind, rate_hz) in settings {
        let mut kept: std::collections::BTreeMap<String, (u32, u32)> = Default::default();
        for seed in 0..40 {
            let sensor = Sensor { rate_hz, ..Sensor::usual(kind) };
            let (recording, truth, _) = generated(seed, sensor);
            let found = find(&recording, &FindOptions::default());
            for reading in found.serves.iter().flat_map(|serve| &serve.readings) {
                let planted = truth.measure(planted_name(&reading.measure));
                let (Some(planted), Reading::Value { value, give_or_take, .. }) =
                    (planted, &reading.reading)
                else {
                    continue;
                };
                let (inside, all) = kept.entry(reading.measure.clone()).or_default();
                *all += 1;
                *inside += u32::from((value - planted).abs() <= *give_or_take);
            }
        }
        for (measure, (inside, all)) in kept.into_iter().filter(|(_, (_, all))| *all >= 20) {
            let share = f64::from(inside) / f64::from(all);
            assert!(
                share >= LEAST_KEPT,
                "{kind:?} {rate_hz} Hz: {measure} kept {share:.2} of {all}"
            );
        }
    }
}
