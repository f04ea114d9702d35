//! A jointed body moved through the serve by joint-angle courses, with faults planted and known:
//! for the demo, tests and benches.
//!
//! Nothing here is a recording of anyone. The courses pass through published values where there
//! are any (see the template) and are drawn by us between them; what is planted is known, so
//! the demo and the tests can ask whether it is found again.

mod body;
pub(crate) mod chance;
mod course;
mod curves;
mod fault;
mod motion;
mod sensor;
mod server;
mod space;
mod take;
mod template;
mod truth;

pub use body::Body;
pub use chance::{Chance, chance};
pub use course::{Channel, Tempo};
pub use curves::{SERVES_PER_PLAYER, curves, write_npy};
pub use fault::Fault;
pub use motion::Feet;
pub use sensor::{Sensor, SensorKind};
pub use server::{Ask, DemoServe, Server};
pub use take::{Take, record_forehands};
pub use truth::{PlantedMeasure, Truth};

use crate::motion::Recording;

/// One serve alone, as `sensor` would record it, with its planted truth in the recording's time.
///
/// The same arguments give the same recording, bit for bit. Contact is about 2.1 s after the
/// start; the recording runs from the ready position until recovered, about 3.5 s.
#[must_use]
pub fn record_serve(serve: &DemoServe, sensor: &Sensor, seed: u64) -> (Recording, Truth) {
    let (from_s, to_s) = serve.span_s();
    let mut chance = chance::chance(seed, 0);
    let recording =
        sensor.record(serve.hand, from_s, to_s, |time_s| serve.pose(time_s), &mut chance);
    let start_s = sensor.first_sample_s(from_s, &mut chance::chance(seed, 0));
    (recording, serve.truth.delayed(-start_s))
}

#[cfg(test)]
mod tests;
