//! Is what was planted suspected, and nothing else? Precision and recall on generated serves.
//!
//! All serves here are invented. A session is three serves of one drawn player of either hand and
//! any level, with none to three faults of severity 0.5 to 1; severities are on the catalogue's
//! scale (see [`super::fault`]), so the suspicion threshold lies at 0.38.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use rand::Rng;

use super::chance::chance;
use super::*;
use crate::catalogue::{Catalogue, Conditions, Suspicion, detect};
use crate::library::Level;
use crate::motion::Side;
use crate::serve::{FindOptions, find};

/// What became of one fault over many sessions.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    planted: u32,
    hit: u32,
    missed: u32,
    /// Suspected without having been planted.
    wrong: u32,
    unseen: u32,
}

impl Tally {
    fn recall(self) -> f64 {
        f64::from(self.hit) / f64::from(self.hit + self.missed)
    }

    fn precision(self) -> f64 {
        f64::from(self.hit) / f64::from(self.hit + self.wrong)
    }
}

/// Sessions at one setting.
#[derive(Debug, Default)]
struct Trial {
    tallies: BTreeMap<Fault, Tally>,
    /// (planted, suspected though not planted): sessions.
    mixed: BTreeMap<(Fault, Fault), u32>,
    planted: BTreeMap<Fault, u32>,
    /// Sessions without any fault, and those of them with a suspicion.
    clean: u32,
    clean_suspected: u32,
    unread: u32,
}

/// Faults that cannot be had together: a low toss leaves no time for a stop, and both low toss
/// and hurry are readings of the same shortened time.
const TEMPO: [Fault; 3] = [Fault::TossLow, Fault::RushedTempo, Fault::PauseInRhythm];

fn draw_faults(chance: &mut chance::Chance) -> Vec<(Fault, f64)> {
    let mut faults: Vec<(Fault, f64)> = Vec::new();
    for _ in 0..chance.gen_range(0..=3) {
        let fault = Fault::ALL[chance.gen_range(0..Fault::ALL.len())];
        let tempo = TEMPO.contains(&fault) && faults.iter().any(|each| TEMPO.contains(&each.0));
        if !tempo && faults.iter().all(|each| each.0 != fault) {
            faults.push((fault, chance.gen_range(0.5..1.0)));
        }
    }
    faults
}

fn session(seed: u64, sensor: &Sensor) -> (Vec<(Fault, f64)>, Vec<Suspicion>) {
    let mut chance = chance(seed, 7);
    let faults = draw_faults(&mut chance);
    let hand = if chance.gen_bool(0.3) { Side::Left } else { Side::Right };
    let level = [Level::Professional, Level::National, Level::Competition, Level::Club]
        [chance.gen_range(0..4)];
    let server = Server::drawn(Body::new(chance.gen_range(1.5..1.95), 1.0, 1.0), hand, level, seed);
    let sensor = Sensor { net_heading_deg: chance.gen_range(-40.0..40.0), ..*sensor };
    let mut capture = None;
    let read: Vec<_> = (0..3)
        .flat_map(|number| {
            let serve =
                server.serve(&Ask { faults: faults.clone(), serve: number, ..Ask::default() });
            let (recording, _) = record_serve(&serve, &sensor, seed * 8 + number);
            capture = Some(recording.capture);
            find(&recording, &FindOptions::default()).serves
        })
        .map(|serve| serve.readings)
        .collect();
    let readings: Vec<_> = read.iter().map(Vec::as_slice).collect();
    let capture = capture.expect("three recordings");
    let conditions = Conditions::of(capture, sensor.rate_hz);
    (faults, detect(Catalogue::builtin(), &readings, &conditions))
}

fn trial(sensor: &Sensor, seeds: std::ops::Range<u64>) -> Trial {
    let mut trial = Trial::default();
    for seed in seeds {
        let (planted, found) = session(seed, sensor);
        let mut wrong = Vec::new();
        for &fault in Fault::ALL {
            let suspicion = found.iter().find(|each| each.fault == fault.id()).expect("judged");
            let is_planted = planted.iter().any(|each| each.0 == fault);
            let tally = trial.tallies.entry(fault).or_default();
            tally.planted += u32::from(is_planted);
            match (suspicion.score(), suspicion.suspected(), is_planted) {
                (None, ..) => tally.unseen += 1,
                (_, true, true) => tally.hit += 1,
                (_, false, true) => tally.missed += 1,
                (_, true, false) => {
                    tally.wrong += 1;
                    wrong.push(fault);
                }
                (_, false, false) => {}
            }
        }
        for &(fault, _) in &planted {
            *trial.planted.entry(fault).or_default() += 1;
            for &other in &wrong {
                *trial.mixed.entry((fault, other)).or_default() += 1;
            }
        }
        if planted.is_empty() {
            trial.clean += 1;
            trial.clean_suspected += u32::from(!wrong.is_empty());
        }
        trial.unread += u32::from(found.iter().all(|each| each.score().is_none()));
    }
    trial
}

const SETTINGS: [(SensorKind, f64, f64); 9] = [
    (SensorKind::Markers, 240.0, 0.002),
    (SensorKind::Markers, 120.0, 0.002),
    (SensorKind::Markers, 120.0, 0.005),
    (SensorKind::Markers, 60.0, 0.002),
    (SensorKind::Markers, 30.0, 0.002),
    (SensorKind::OneCamera, 120.0, 0.015),
    (SensorKind::OneCamera, 60.0, 0.015),
    (SensorKind::OneCamera, 30.0, 0.015),
    (SensorKind::Depth, 30.0, 0.015),
];

fn sensor(kind: SensorKind, rate_hz: f64, noise_m: f64) -> Sensor {
    Sensor { rate_hz, noise_m, ..Sensor::usual(kind) }
}

/// `precision / recall` in per cent, or why there is none.
fn cell(tally: Tally) -> String {
    let seen = tally.hit + tally.missed;
    if seen == 0 {
        return "not measurable".to_owned();
    }
    let precision = if tally.hit + tally.wrong == 0 {
        "-".to_owned()
    } else {
        format!("{:.0}", 100.0 * tally.precision())
    };
    format!("{precision} / {:.0} ({seen})", 100.0 * tally.recall())
}

/// Writes the tables of precision and recall per fault to stdout; half an hour unoptimised.
#[test]
#[ignore = "half an hour unoptimised: writes precision and recall per fault to stdout"]
#[allow(clippy::print_stdout)]
fn detection_tables() {
    let n: u64 = std::env::var("SESSIONS").ok().and_then(|count| count.parse().ok()).unwrap_or(200);
    let trials: Vec<Trial> = SETTINGS
        .iter()
        .map(|&(kind, rate_hz, noise_m)| trial(&sensor(kind, rate_hz, noise_m), 0..n))
        .collect();
    let mut text = String::from("| fault |");
    for (kind, rate_hz, noise_m) in SETTINGS {
        let kind = match kind {
            SensorKind::Markers => "markers",
            SensorKind::OneCamera => "one camera",
            SensorKind::Depth => "depth",
        };
        write!(text, " {kind} {rate_hz:.0} Hz, {:.0} mm |", 1000.0 * noise_m).unwrap();
    }
    text += &format!("\n|---|{}\n", "---|".repeat(SETTINGS.len()));
    for &fault in Fault::ALL {
        write!(text, "| {} |", fault.id()).unwrap();
        for trial in &trials {
            write!(text, " {} |", cell(trial.tallies[&fault])).unwrap();
        }
        text += "\n";
    }
    text += "| *faultless sessions with any suspicion* |";
    for trial in &trials {
        write!(text, " {} of {} |", trial.clean_suspected, trial.clean).unwrap();
    }
    text += "\n| *sessions in which no serve was found* |";
    for trial in &trials {
        write!(text, " {} |", trial.unread).unwrap();
    }
    text += "\n\nMixed up (markers, 240 Hz):\n\n| planted | sessions | also suspected though not planted |\n|---|---|---|\n";
    let first = &trials[0];
    for &fault in Fault::ALL {
        let others: Vec<String> = first
            .mixed
            .iter()
            .filter(|((planted, _), _)| *planted == fault)
            .map(|((_, other), count)| format!("{} {count}", other.id()))
            .collect();
        let sessions = first.planted.get(&fault).copied().unwrap_or(0);
        let others = if others.is_empty() { "nothing".to_owned() } else { others.join(", ") };
        writeln!(text, "| {} | {sessions} | {others} |", fault.id()).unwrap();
    }
    println!("{text}");
}

#[test]
fn planted_faults_are_suspected_and_others_are_not() {
    for (sensor, recall, precision) in [
        (sensor(SensorKind::Markers, 120.0, 0.002), 0.80, 0.80),
        (sensor(SensorKind::OneCamera, 60.0, 0.015), 0.45, 0.70),
    ] {
        let trial = trial(&sensor, 1000..1040);
        let sum = |of: fn(&Tally) -> u32| f64::from(trial.tallies.values().map(of).sum::<u32>());
        let (hit, missed, wrong) = (sum(|t| t.hit), sum(|t| t.missed), sum(|t| t.wrong));
        let (got, sure) = (hit / (hit + missed), hit / (hit + wrong));
        let where_ = format!("{:?} {} Hz, seeds 1000 to 1039", sensor.kind, sensor.rate_hz);
        assert!(hit > 10.0, "{where_}: only {hit} found, {missed} missed");
        assert!(got >= recall, "{where_}: recall {got:.2}, floor {recall}");
        assert!(sure >= precision, "{where_}: precision {sure:.2}, floor {precision}");
    }
}

/// A fault that a rate cannot show is not judged at all, however strongly it is planted.
#[test]
fn what_a_rate_cannot_show_is_not_measurable() {
    let server = Server::plain(Body::new(1.8, 1.0, 1.0), Side::Right, Level::National);
    let hidden = [
        (Fault::NoTurnAfterContact, SensorKind::Markers, 60.0),
        (Fault::NoTurnAfterContact, SensorKind::OneCamera, 120.0),
        (Fault::WaitersTray, SensorKind::Markers, 30.0),
        (Fault::TrunkOpensEarly, SensorKind::OneCamera, 30.0),
        (Fault::ShortFinish, SensorKind::Depth, 30.0),
        (Fault::PauseInRhythm, SensorKind::Depth, 15.0),
    ];
    for (fault, kind, rate_hz) in hidden {
        let serve = server.serve(&Ask { faults: vec![(fault, 1.0)], ..Ask::default() });
        let sensor = Sensor { rate_hz, ..Sensor::usual(kind) };
        let (recording, _) = record_serve(&serve, &sensor, 4);
        let found = find(&recording, &FindOptions::default());
        assert_eq!(found.serves.len(), 1, "{} at {rate_hz} Hz: {:?}", fault.id(), found.refused);
        let readings = [found.serves[0].readings.as_slice()];
        let all = detect(
            Catalogue::builtin(),
            &readings,
            &Conditions::of(recording.capture, recording.rate_hz),
        );
        let own = all.iter().find(|each| each.fault == fault.id()).expect("judged");
        assert_eq!(own.score(), None, "{} at {rate_hz} Hz: {own:?}", fault.id());
    }
}
