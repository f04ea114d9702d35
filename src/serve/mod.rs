//! From a recording to its serves: found, cut, with events, measures and a comparable curve.

mod types;

pub use types::{
    CURVE_FRAMES, Curve, Event, EventKind, Figures, Found, MeasureDef, Reading, Refusal, Serve,
    ServeReading,
};
