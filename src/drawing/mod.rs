//! The drawings every page shares.
//!
//! Each is a pure function from plain values to one [`Svg`]; `width_px` is the room it may take,
//! and it breaks differently below 520 px (a phone) than above. Nothing here reads the store:
//! whoever calls fills the structs. Missing values are NaN or `None` and are said, never drawn.

mod body;
pub(crate) mod channel;
mod dot_row;
mod event_strip;
mod gauge;
mod hand_drawn;
mod ladder;
mod likeness;
mod moment_figure;
mod month_shares;
mod month_strip;
pub(crate) mod picture_strip;
mod rail;
pub(crate) mod raster;
mod ribbon;
mod share_mark;
mod squad_map;
mod style;
pub(crate) mod svg;
pub(crate) mod text;
mod tree;

pub use body::Viewpoint;
pub(crate) use body::{Extent, Placement, Pose, extent};
pub use channel::{Band, Channel, Deviation, channels_of, warp_to_events};
pub use dot_row::{DotRow, dot_row};
pub use event_strip::{EventStrip, event_strip};
pub use gauge::{Gauge, gauge};
pub use hand_drawn::{describe_drawn, hand_drawn};
pub use ladder::ladder_mark;
pub use likeness::{Likeness, likeness_figure};
pub use moment_figure::{moment_figure, sample_figure};
pub use month_shares::month_shares;
pub use month_strip::{MonthStrip, PlanSpan, ReviewPoint, month_strip};
pub use picture_strip::{Palm, Pictures};
pub use rail::rail;
pub use ribbon::ribbon;
pub use share_mark::share_mark;
pub use squad_map::map_drawing;
pub use style::{Tone, style_variables};
pub use svg::Svg;
pub use tree::tree_drawing;
