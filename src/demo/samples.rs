//! A handful of small files in open formats, so that the way from a file can be tried.

use crate::coaching::{ConsentRequest, PlayerRequest, SquadsRequest};
use crate::library::{Level, ServeType};
use crate::motion::write::{self, C3dStyle, WriteError};
use crate::motion::{Recording, Side};
use crate::simulator::Body;
use crate::simulator::Fault;
use crate::simulator::record_serve;
use crate::simulator::{Ask, Server};
use crate::simulator::{Sensor, SensorKind};
use crate::simulator::{Take, record_forehands};

/// A player who is new to the academy; `new-serve.c3d` is hers.
#[must_use]
pub fn new_player() -> PlayerRequest {
    PlayerRequest {
        hand: Some(Side::Left),
        level: Some(Level::Club),
        stature_m: Some(1.68),
        squads: SquadsRequest::Too(vec!["adults".to_owned()]),
        coach: Some("ash".to_owned()),
        consent: ConsentRequest {
            keep: Some(true),
            share: Some(false),
            ..ConsentRequest::default()
        },
        ..PlayerRequest::new("sanderling")
    }
}

/// The sample files, as (name, bytes); the same bytes every time.
///
/// - `new-serve.c3d`: one serve of a left-hander with markers at 120 Hz; the tossing arm drops
///   early and the trunk opens early.
/// - `practice-swings.c3d`: two practice swings of hers on the same day, without a ball: her arm stays up.
/// - `basket.trc`: two serves with a walk back and ball bouncing between, markers at 60 Hz.
/// - `phone-clip.json`: one serve in the 33-point keypoint layout at 30 Hz.
/// - `table.csv`: one serve of a junior as a joint table at 60 Hz.
/// - `forehands.csv`: no serve at all.
///
/// # Errors
/// [`WriteError`] if a format cannot hold its recording; none of these should.
pub fn samples() -> Result<Vec<(&'static str, Vec<u8>)>, WriteError> {
    let seen = |server: &Server, faults: &[(Fault, f64)], sensor: Sensor, seed: u64| {
        let serve = server.serve(&Ask {
            faults: faults.to_vec(),
            serve_type: ServeType::Flat,
            session: seed,
            ..Ask::default()
        });
        rounded(record_serve(&serve, &sensor, seed).0)
    };
    let at = |kind: SensorKind, rate_hz: f64, net_heading_deg: f64| Sensor {
        rate_hz,
        net_heading_deg,
        ..Sensor::usual(kind)
    };
    let newcomer = Server::drawn(Body::new(1.68, 1.0, 1.0), Side::Left, Level::Club, 9001);
    let swings = Take {
        serves: (0..2)
            .map(|serve| {
                let faults = vec![(Fault::TossingArmDropsEarly, 0.05)];
                newcomer.serve(&Ask { serve, faults, session: 1, ..Ask::default() })
            })
            .collect(),
        walk_between: false,
        forehands: false,
    };
    let swings = rounded(swings.record(&at(SensorKind::Markers, 120.0, 35.0), 6).0);
    let newcomer = seen(
        &newcomer,
        &[(Fault::TossingArmDropsEarly, 0.7), (Fault::TrunkOpensEarly, 0.4)],
        at(SensorKind::Markers, 120.0, 35.0),
        1,
    );
    let regular = Server::drawn(Body::new(1.82, 1.01, 1.0), Side::Right, Level::National, 9002);
    let basket = Take {
        serves: (0..2).map(|serve| regular.serve(&Ask { serve, ..Ask::default() })).collect(),
        walk_between: true,
        forehands: false,
    };
    let basket = rounded(basket.record(&at(SensorKind::Markers, 60.0, -80.0), 2).0);
    let clip = seen(
        &Server::drawn(Body::new(1.75, 1.0, 0.99), Side::Right, Level::Competition, 9003),
        &[(Fault::ShallowLegDrive, 0.7)],
        at(SensorKind::OneCamera, 30.0, 10.0),
        3,
    );
    let junior = Server::drawn(Body::new(1.48, 1.0, 1.0), Side::Right, Level::Beginner, 9004);
    let table =
        seen(&junior, &[(Fault::LowHittingElbow, 0.6)], at(SensorKind::OneCamera, 60.0, 120.0), 4);
    let forehands =
        record_forehands(&regular.serve(&Ask::default()), &at(SensorKind::OneCamera, 30.0, 0.0), 5);
    Ok(vec![
        ("new-serve.c3d", write::c3d(&newcomer, &C3dStyle::default())?),
        ("practice-swings.c3d", write::c3d(&swings, &C3dStyle::default())?),
        ("basket.trc", write::trc(&basket)?.into_bytes()),
        ("phone-clip.json", write::keypoints_33(&clip).into_bytes()),
        ("table.csv", write::table(&table).into_bytes()),
        ("forehands.csv", write::table(&rounded(forehands)).into_bytes()),
    ])
}

/// Positions to a tenth of a millimetre and times to a microsecond: small files, and the same
/// ones on machines whose sines differ in the last bit.
fn rounded(mut recording: Recording) -> Recording {
    for value in recording.positions.iter_mut().flatten() {
        *value = (*value * 1e4).round() / 1e4;
    }
    for time in &mut recording.times_s {
        *time = (*time * 1e6).round() / 1e6;
    }
    recording
}
