//! Is what was planted found again? Errors of `serve::find` on generated serves, with limits.

use precedent::library::{Level, ServeType};
use precedent::motion::Side;
use precedent::serve::{EventKind, FindOptions, Reading, Serve, find};
use precedent::simulator::{
    Ask, Body, DemoServe, Fault, Sensor, SensorKind, Server, Take, record_forehands, record_serve,
};

/// Serves of six players of both hands and all levels, one with a fault each.
fn serves() -> Vec<DemoServe> {
    let faults = [
        None,
        Some(Fault::ShallowLegDrive),
        Some(Fault::TossingArmDropsEarly),
        Some(Fault::LumbarArch),
        None,
        Some(Fault::LowHittingElbow),
    ];
    let levels = [Level::Professional, Level::National, Level::Competition, Level::Club];
    (0..12u64)
        .map(|n| {
            let hand = if n % 2 == 0 { Side::Right } else { Side::Left };
            let body = Body::new(1.55 + 0.03 * n as f64, 1.0, 1.0);
            let server = Server::drawn(body, hand, levels[n as usize % 4], 500 + n);
            let fault = faults[n as usize % 6].map(|fault| (fault, 0.7));
            server.serve(&Ask {
                faults: fault.into_iter().collect(),
                serve_type: [ServeType::Flat, ServeType::Slice, ServeType::Kick][n as usize % 3],
                ..Ask::default()
            })
        })
        .collect()
}

/// Error of one thing over all serves.
struct Errors {
    all: Vec<f64>,
}

impl Errors {
    fn bias(&self) -> f64 {
        self.all.iter().sum::<f64>() / self.all.len() as f64
    }

    fn typical(&self) -> f64 {
        let mut sizes: Vec<f64> = self.all.iter().map(|e| e.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        sizes[sizes.len() / 2]
    }

    fn nine_of_ten(&self) -> f64 {
        let mut sizes: Vec<f64> = self.all.iter().map(|e| e.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        sizes[(sizes.len() * 9).div_ceil(10) - 1]
    }
}

const MEASURES: [&str; 14] = [
    "front_knee_flexion_trophy",
    "front_knee_flexion_contact",
    "elbow_flexion_contact",
    "shoulder_elevation_trophy",
    "shoulder_elevation_contact",
    "trunk_inclination_trophy",
    "trunk_inclination_contact",
    "trunk_backward_lean_trophy",
    "trunk_backward_lean_greatest",
    "arch_greatest",
    "shoulder_elevation_drop",
    "trunk_side_tilt_contact",
    "tossing_arm_fall_time",
    "knee_extension_lead",
];

fn measured(serve: &Serve, measure: &str) -> Option<f64> {
    let reading = serve.readings.iter().find(|each| each.measure == measure)?;
    match reading.reading {
        Reading::Value { value, .. } => Some(value),
        Reading::NotMeasurable { .. } => None,
    }
}

/// Reads every serve back and returns (name, errors) for events (s) and measures.
fn read_back(sensor: &Sensor) -> Vec<(String, Errors)> {
    let mut rows: Vec<(String, Errors)> = EventKind::ALL
        .iter()
        .map(|kind| kind.name().to_owned())
        .chain(MEASURES.iter().map(|&m| m.to_owned()))
        .map(|name| (name, Errors { all: Vec::new() }))
        .collect();
    for (n, serve) in serves().iter().enumerate() {
        let sensor = Sensor { net_heading_deg: 30.0 * n as f64, ..*sensor };
        let (recording, truth) = record_serve(serve, &sensor, n as u64);
        let found = find(&recording, &FindOptions::default());
        assert_eq!(
            found.serves.len(),
            1,
            "serve {n} at {} Hz: {:?}",
            sensor.rate_hz,
            found.refused
        );
        let got = &found.serves[0];
        assert_eq!(got.hand, serve.hand, "serve {n} at {} Hz", sensor.rate_hz);
        for (i, event) in got.events.iter().enumerate() {
            rows[i].1.all.push(event.time_s - truth.events_s[i]);
        }
        for (i, measure) in MEASURES.iter().enumerate() {
            if let (Some(got), Some(planted)) = (measured(got, measure), truth.measure(measure)) {
                rows[6 + i].1.all.push(got - planted);
            }
        }
    }
    rows
}

fn table(title: &str, rows: &[(String, Errors)]) -> String {
    let mut text =
        format!("{title}\n{:30} {:>4} {:>8} {:>8} {:>8}\n", "", "n", "bias", "typical", "9 of 10");
    for (name, errors) in rows.iter().filter(|row| !row.1.all.is_empty()) {
        text += &format!(
            "{name:30} {:4} {:8.3} {:8.3} {:8.3}\n",
            errors.all.len(),
            errors.bias(),
            errors.typical(),
            errors.nine_of_ten()
        );
    }
    text
}

/// Limits for nine of ten errors; events in seconds, angles in degrees, lead times in seconds.
///
/// Known biases, kept visible: the start of the toss is planted at the lowest point of the tossing
/// wrist and found where the rise gains speed, about 0.05 to 0.09 s later; the finish is found
/// about 0.07 s late; and where no racket is seen, the elbow at contact reads 4 to 5 deg too bent.
#[allow(clippy::print_stderr)] // the table is what these tests are for
fn check(sensor: &Sensor, limits: &[(&str, f64)]) {
    let rows = read_back(sensor);
    let title = format!("{:?}, {} Hz, {} m", sensor.kind, sensor.rate_hz, sensor.noise_m);
    let all = table(&title, &rows);
    eprintln!("{all}");
    for &(name, limit) in limits {
        let (_, errors) = rows.iter().find(|row| row.0 == name).expect(name);
        assert!(
            errors.all.len() >= 8,
            "{name} was read in {} serves only\n{all}",
            errors.all.len()
        );
        let got = errors.nine_of_ten();
        assert!(got <= limit, "{name}: 9 of 10 within {got:.3}, limit {limit}\n{all}");
    }
}

#[test]
fn markers_at_240_hz_are_read_back() {
    check(
        &Sensor::usual(SensorKind::Markers),
        &[
            ("toss_start", 0.16),
            ("release", 0.012),
            ("trophy", 0.03),
            ("racket_low", 0.03),
            ("contact", 0.010),
            ("finish", 0.16),
            ("front_knee_flexion_trophy", 0.8),
            ("front_knee_flexion_contact", 2.0),
            ("elbow_flexion_contact", 8.0),
            ("shoulder_elevation_trophy", 2.0),
            ("shoulder_elevation_contact", 2.0),
            ("trunk_inclination_trophy", 1.0),
            ("trunk_inclination_contact", 1.5),
            ("trunk_backward_lean_trophy", 6.0),
            // A planted arch leans far to the side as well, and the heading's error turns that into this.
            ("trunk_backward_lean_greatest", 11.0),
            ("arch_greatest", 4.0),
            ("shoulder_elevation_drop", 2.0),
            ("trunk_side_tilt_contact", 6.0),
            ("tossing_arm_fall_time", 0.012),
            ("knee_extension_lead", 0.05),
        ],
    );
}

/// The toss starts where the rise gains speed, as the eye sees it, 0.2 s after the lowest hand that is
/// planted; knees are not claimed where the camera stands at the side (4 of 12).
/// Durations and the arm and trunk at contact are not claimed from one camera: clips of drawn
/// figures gave errors as large as the differences between players, whatever this sensor gives.
#[test]
fn one_camera_at_60_hz_is_read_back() {
    let sensor = Sensor { rate_hz: 60.0, ..Sensor::usual(SensorKind::OneCamera) };
    check(
        &sensor,
        &[
            ("toss_start", 0.26),
            ("release", 0.11),
            ("trophy", 0.10),
            ("racket_low", 0.06),
            ("contact", 0.04),
            ("finish", 0.20),
            ("front_knee_flexion_trophy", 10.0),
            ("front_knee_flexion_contact", 12.0),
            ("trunk_inclination_trophy", 9.0),
        ],
    );
}

#[test]
fn one_camera_at_30_hz_is_read_back() {
    let sensor = Sensor { rate_hz: 30.0, ..Sensor::usual(SensorKind::OneCamera) };
    check(
        &sensor,
        &[
            ("toss_start", 0.26),
            ("release", 0.13),
            ("trophy", 0.10),
            ("racket_low", 0.06),
            ("contact", 0.04),
            ("finish", 0.20),
            ("front_knee_flexion_trophy", 10.0),
            ("front_knee_flexion_contact", 12.0),
            ("trunk_inclination_trophy", 9.0),
        ],
    );
}

/// At 15 Hz only slow posture can be asked for.
#[test]
fn a_depth_sensor_at_15_hz_shows_slow_posture() {
    check(
        &Sensor::usual(SensorKind::Depth),
        &[
            ("release", 0.05),
            ("contact", 0.05),
            ("front_knee_flexion_trophy", 10.0),
            ("trunk_inclination_trophy", 6.0),
        ],
    );
}

/// A basket: walking, ball bouncing and forehands lie between the serves and are no serves.
#[test]
fn a_basket_yields_its_serves_and_nothing_else() {
    for hand in [Side::Right, Side::Left] {
        let server = Server::drawn(Body::new(1.78, 1.0, 1.0), hand, Level::Competition, 77);
        let serves = (0..4).map(|serve| server.serve(&Ask { serve, ..Ask::default() }));
        let take = Take { serves: serves.collect(), walk_between: true, forehands: true };
        let sensor = Sensor { rate_hz: 120.0, ..Sensor::usual(SensorKind::Markers) };
        let (recording, truths) = take.record(&sensor, 3);
        let found = find(&recording, &FindOptions::default());
        let contacts: Vec<f64> = found.serves.iter().map(|serve| serve.events[4].time_s).collect();
        assert_eq!(contacts.len(), 4, "{hand:?}: {contacts:?}, refused {:?}", found.refused);
        for (got, truth) in contacts.iter().zip(&truths) {
            let planted = truth.event_s(EventKind::Contact);
            assert!((got - planted).abs() < 0.02, "{hand:?}: contact {got}, planted {planted}");
        }
        let swings = record_forehands(&server.serve(&Ask::default()), &sensor, 3);
        let found = find(&swings, &FindOptions::default());
        assert!(found.serves.is_empty(), "{hand:?}: a forehand was taken for a serve");
        assert!(!found.refused.is_empty());
    }
}
