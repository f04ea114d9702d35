//! Slow motion that a film does not declare: no serve in it, and one once it is played faster.

use super::{FindOptions, search};
use crate::motion::{Capture, Recording};
use crate::remedy::Remedy;
use crate::serve::{EventKind, Serve};

/// From the start of the toss to contact in six real serves of the shared recordings, events by eye:
/// 0.96 to 1.13 s, median 1.03; a little more, since the program tends to see the start early (our
/// estimate).
const USUAL_S: f64 = 1.10;
/// How far that varies among players, and the program's reading of it, as a share (our estimate).
const VARIES: f64 = 0.2;
/// How often phones slow down, as tries; what lies between is found from the nearest.
const TRIES: [f64; 5] = [2.0, 3.0, 4.0, 6.0, 8.0];

/// Asks for the rate a film was made at, if a serve is in it once it is played faster.
///
/// Only one camera's: markers and sensors have clocks.
pub(super) fn ask_for_rate(recording: &Recording, options: &FindOptions) -> Option<String> {
    if !matches!(recording.capture, Capture::OneCameraFlat | Capture::OneCameraLifted) {
        return None;
    }
    let tries = TRIES.iter().filter_map(|&times| {
        let faster = Recording {
            times_s: recording.times_s.iter().map(|time_s| time_s / times).collect(),
            rate_hz: recording.rate_hz * times,
            ..recording.clone()
        };
        let found = search(&faster, options, &[]);
        let took_s = found.serves.iter().map(toss_to_contact_s).next()?;
        let off = (took_s / USUAL_S).ln().abs();
        (off.is_finite() && off < 2.0_f64.ln()).then_some((off, times * took_s / USUAL_S))
    });
    let (_, slower) = tries.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let rate_hz = recording.rate_hz * slower;
    Some(format!(
        "a serve {slower:.1} times slower than anybody serves: filmed in slow motion, at about \
         {rate_hz:.0} Hz ({:.0} to {:.0}), and not declared; {}",
        rate_hz * (1.0 - VARIES),
        rate_hz * (1.0 + VARIES),
        Remedy::SayCaptureRate
    ))
}

fn toss_to_contact_s(serve: &Serve) -> f64 {
    let at = |kind: EventKind| serve.events[kind as usize].time_s;
    at(EventKind::Contact) - at(EventKind::TossStart)
}
