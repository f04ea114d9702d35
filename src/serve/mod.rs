//! From a recording to its serves: found, cut, with events, measures and a comparable curve.

mod body;
mod channels;
mod clock;
mod cuts;
mod detect;
mod events;
mod figures;
mod find;
mod geometry;
mod given;
mod hidden;
mod measures;
mod net;
mod palm;
mod signs;
#[cfg(test)]
mod tests;
mod track;
mod types;
mod vector;
mod views;

pub use channels::{BodyPart, CORE_SET, ChannelDef, FLAT_SET, PHASES, Phase, channels};
pub use clock::ServeClock;
pub use events::usual_error_s;
pub use find::{FindOptions, find, find_given};
pub use geometry::{
    BALL_RADIUS_M, BASELINE_TO_NET_M, NET_HEIGHT_M, NET_TO_SERVICE_LINE_M, falling_height_m,
    straight_line_height_m,
};
pub use given::{GivenMoment, GivenServe};
pub use measures::MEASURES;
pub use palm::{PalmReading, PalmTurn, palm_turn};
pub use track::MAX_FILLED_GAP_S;
pub use types::{
    CURVE_FRAMES, Curve, Event, EventKind, Figures, Found, MeasureDef, Reading, Refusal, Serve,
    ServeReading,
};
pub use views::{
    ClipMatch, ClipsCompared, SAME_FROM, TimedContact, best_view, compare_clips, laid_at,
};
