//! How near a past case lies to the serve that asks.

use std::collections::HashMap;

use curve_index::{DtwParams, Strategy};
use serde::{Deserialize, Serialize};

use super::kernel::{LEAST, kernel};
use crate::find::AGE_BANDS;
use crate::library::{Level, Library, Player, ServeHead, ServeId};
use crate::matcher::{BAND_FRAMES, LikeError, Source, incomparable};
use crate::motion::Side;
use crate::serve::Curve;
use crate::work::{Stage, Watch};

/// What remains of a weight for each step of level and for each age band apart, for the other
/// hand, and for a source or view that compares poorly. Our choice, no source.
const PER_LEVEL: f64 = 0.8;
const PER_AGE_BAND: f64 = 0.85;
const OTHER_HAND: f64 = 0.9;
const OTHER_SOURCE: f64 = 0.5;
/// Serves aligned between two questions whether to go on; some tens of milliseconds.
const PART: usize = 2048;

/// What is known about who serves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Who {
    pub(super) level: Option<Level>,
    pub(super) age: Option<i16>,
    pub(super) hand: Side,
    pub(super) source: Source,
}

impl Who {
    pub(super) fn of(player: &Player, head: &ServeHead) -> Self {
        Self {
            level: player.level,
            age: player.born.map(|born| head.date.year() - born.year()),
            hand: player.hand.unwrap_or(head.hand),
            source: Source { capture: head.capture, view: head.view },
        }
    }

    /// Share of a weight that remains because of who the two are; 1 for the same kind of player.
    fn alike(&self, other: &Self) -> f64 {
        let level = match (self.level, other.level) {
            (Some(a), Some(b)) => PER_LEVEL.powi((a as i32 - b as i32).abs()),
            _ => 1.0,
        };
        let band = |age: i16| AGE_BANDS.iter().position(|band| i64::from(age) <= band.2);
        let age = match (self.age.and_then(band), other.age.and_then(band)) {
            (Some(a), Some(b)) => PER_AGE_BAND.powi(a.abs_diff(b) as i32),
            _ => 1.0,
        };
        let hand = if self.hand == other.hand { 1.0 } else { OTHER_HAND };
        let source =
            if incomparable(self.source, other.source).is_none() { 1.0 } else { OTHER_SOURCE };
        level * age * hand * source
    }
}

/// Distance of each of `among` from `curve` under even weights, as the search measures it; serves
/// of other channels are missing. Cost: one full alignment per serve.
pub(super) fn distances(
    library: &Library,
    curve: &Curve,
    among: &[ServeId],
    watch: &Watch,
) -> Result<HashMap<ServeId, f64>, LikeError> {
    let Some(set) = library.curves(&curve.channel_set)? else { return Ok(HashMap::new()) };
    let params = DtwParams::new(curve.channels).band_frames(BAND_FRAMES).check()?;
    let mut far = HashMap::with_capacity(among.len());
    for (done, part) in among.chunks(PART).enumerate() {
        watch.step(Stage::Serves, done * PART, among.len())?;
        let near =
            set.nearest(&curve.values, &params, part.len(), part, Strategy::default()).map_err(
                |source| LikeError::Curve { channel_set: curve.channel_set.clone(), source },
            )?;
        far.extend(near.into_iter().map(|near| (near.serve, near.cost.sqrt())));
    }
    Ok(far)
}

/// Weights in (0, 1] of cases at these distances (`None`: cannot be placed): the [`kernel`] times
/// what the players share.
pub(super) fn weights(this: &Who, cases: &[(Option<f64>, Who)]) -> Vec<f64> {
    let distances: Vec<Option<f64>> = cases.iter().map(|case| case.0).collect();
    let near = kernel(&distances);
    near.iter().zip(cases).map(|(near, (_, who))| (near * this.alike(who)).max(LEAST)).collect()
}
