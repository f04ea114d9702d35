//! One review as a page, and the drawings every face shares.
//!
//! Each drawing is a pure function from plain values to one [`Svg`]; `width_px` is the room it may
//! take, and it breaks differently below 520 px (a phone) than above. Nothing here reads the store:
//! whoever calls fills the structs. Missing values are NaN or `None` and are said, never drawn.

mod body;
mod channel;
mod course;
mod data;
mod dot_row;
mod event_strip;
mod gather;
mod gauge;
mod ladder;
mod likeness;
mod look;
mod month_strip;
mod picture_strip;
mod progress_page;
mod redact;
mod review;
mod ribbon;
#[cfg(test)]
mod sample;
mod squad;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod words;

pub use body::Seen;
pub use channel::{Band, Channel, Parting, channels_of, warp_to_events};
pub use course::{
    ChannelMoved, Course, CurvesMoved, Look, Moved, ReportedResult, Step, StepDrawing, StepPlan,
};
pub use data::{
    Asked, Audience, Change, Comparison, DrillFacts, EvidenceRow, FaultFacts, MeasureRow, Outcome,
    Palm, Pictures, PlanFacts, PlayerFacts, Precedent, Precedents, Progress, ReviewData,
    ServeFacts,
};
pub use dot_row::{DotRow, dot_row};
pub use event_strip::{EventStrip, event_strip};
pub use gather::{
    Wanted, clip_pictures, course, gather, told_changes, told_curves, told_main, told_result,
    told_value,
};
pub use gauge::{Gauge, gauge};
pub use ladder::{Rung, ladder_mark};
pub use likeness::{Likeness, likeness_figure};
pub use look::{Tone, style_variables};
pub use month_strip::{MonthStrip, PlanSpan, ReviewPoint, month_strip};
pub use progress_page::progress_page;
pub use review::review;
pub use ribbon::ribbon;
pub use squad::{map_drawing, month_shares, share_mark, squad_page, tree_drawing};
pub use svg::Svg;
pub use words::{about, amount, phase, signed};
