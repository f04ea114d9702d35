//! How a fault's own measure moved between two looks.

use crate::catalogue::{Catalogue, Direction, Fault};
use crate::serve::{MEASURES, MeasureDef, Reading, ServeReading};

/// The measure a fault is followed by: the first the catalogue names for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Followed {
    /// The measure.
    pub def: &'static MeasureDef,
    /// 1 where larger is better, -1 where smaller is.
    pub sign: f64,
}

impl Followed {
    /// The measure of this fault; `None` for a fault no measure shows.
    #[must_use]
    pub fn of(fault: &Fault) -> Option<Self> {
        let shows = fault.measures.first()?;
        let def = MEASURES.iter().find(|def| def.id == shows.measure)?;
        let sign = match shows.direction {
            Direction::Below => 1.0,
            Direction::Above => -1.0,
        };
        Some(Self { def, sign })
    }

    /// The same by the fault's id.
    #[must_use]
    pub fn by_id(catalogue: &Catalogue, fault: &str) -> Option<Self> {
        Self::of(catalogue.fault(fault)?)
    }

    /// Mean over the serves that have the measure, turned so that larger is better, and their
    /// number; `None` if none has it.
    pub(super) fn mean<'a>(
        &self,
        serves: impl IntoIterator<Item = &'a [ServeReading]>,
    ) -> Option<(f64, usize)> {
        let values: Vec<f64> = serves
            .into_iter()
            .flatten()
            .filter(|entry| entry.measure == self.def.id)
            .filter_map(|entry| match entry.reading {
                Reading::Value { value, .. } => Some(value),
                Reading::NotMeasurable { .. } => None,
            })
            .filter(|value| value.is_finite())
            .collect();
        let count = values.len();
        (count > 0).then(|| (self.sign * values.iter().sum::<f64>() / count as f64, count))
    }
}
