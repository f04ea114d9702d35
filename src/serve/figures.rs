//! The body over the serve, for drawing.

use super::body::{Body, between};
use super::events::Moments;
use super::{CURVE_FRAMES, EventKind, Figures};

/// Every joint held, at even steps of time from the start of the toss to the finish.
pub(super) fn figures(body: &Body, moments: &Moments) -> Figures {
    let (start, finish) = (moments.at(EventKind::TossStart), moments.at(EventKind::Finish));
    let mut joints: Vec<_> = body.track.held().collect();
    joints.sort();
    let mut positions = Vec::with_capacity(CURVE_FRAMES * joints.len());
    for sample in 0..CURVE_FRAMES {
        let at = start + (finish - start) * sample as f64 / (CURVE_FRAMES - 1) as f64;
        for &joint in &joints {
            let place =
                body.track.path(joint).map_or(super::vector::NAN3, |path| between(path, at));
            let lost = place.iter().any(|v| v.is_nan());
            positions.push(place.map(|v| if lost { f32::NAN } else { v as f32 }));
        }
    }
    let event_samples = EventKind::ALL.map(|kind| {
        ((moments.at(kind) - start) / (finish - start) * (CURVE_FRAMES - 1) as f64) as f32
    });
    Figures { joints, positions, event_samples }
}
