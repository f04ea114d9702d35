//! How a measure moved between two looks, and what chance and measuring would give.

use super::session::{Pair, Session, Unlike, pairs};
use crate::catalogue::{Catalogue, Direction, Fault};
use crate::library::ServeId;
use crate::serve::{MEASURES, MeasureDef, Reading, ServeReading};

/// Half width of the stated nine-of-ten interval of a reading, in standard errors.
const NINE_OF_TEN: f64 = 1.645;

/// The measure a fault is followed by: the first the catalogue names for it.
///
/// One fault, one measure: what is said of one plan can be counted with what is said of another.
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

    /// How it moved from one day to a later one; see [`change`].
    ///
    /// # Errors
    /// Why the days do not compare.
    pub fn change(&self, before: &Session, after: &Session) -> Result<Change, Unlike> {
        change(self.def, Some(self.sign > 0.0), before, after)
    }
}

/// Mean of one measure over the serves that have it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean, in the measure's unit.
    pub value: f64,
    /// Serves that have the measure, at least 1.
    pub serves: usize,
    /// Standard error of one reading: root mean square over the serves, same unit.
    pub reading_error: f64,
}

impl Mean {
    /// Over the serves whose readings these are; `None` if none has the measure.
    #[must_use]
    pub fn of<'a>(
        serves: impl IntoIterator<Item = &'a [ServeReading]>,
        measure: &str,
    ) -> Option<Self> {
        let entries = serves.into_iter().flatten().filter(|entry| entry.measure == measure);
        Self::of_readings(entries.map(|entry| entry.reading.clone()))
    }

    /// Over readings of one measure, a stroke each.
    pub(super) fn of_readings(readings: impl IntoIterator<Item = Reading>) -> Option<Self> {
        let (mut sum, mut squares, mut count) = (0.0, 0.0, 0);
        for reading in readings {
            if let Reading::Value { value, give_or_take, .. } = reading
                && value.is_finite()
                && give_or_take.is_finite()
            {
                sum += value;
                squares += (give_or_take / NINE_OF_TEN).powi(2);
                count += 1;
            }
        }
        (count > 0).then(|| Self {
            value: sum / count as f64,
            serves: count,
            reading_error: (squares / count as f64).sqrt(),
        })
    }

    /// Standard error of the mean: the spread from serve to serve within a player, and the error of
    /// a reading, over the root of the number of serves.
    #[must_use]
    pub fn standard_error(&self, def: &MeasureDef) -> f64 {
        def.within_player_sd.hypot(self.reading_error) / (self.serves as f64).sqrt()
    }

    /// Half width within which the player's usual value should lie 9 times of 10.
    #[must_use]
    pub fn give_or_take(&self, def: &MeasureDef) -> f64 {
        NINE_OF_TEN * self.standard_error(def)
    }
}

/// Smallest change between two means of one player that chance and measuring give less than once in
/// twenty: the minimal detectable change, MDC95, in the measure's unit.
///
/// Both the spread from serve to serve and the error of a reading count, taken as independent
/// between serves: what a set-up shifts in all its readings alike drops out of a change within it.
///
/// Source: Weir 2005, doi 10.1519/15184.1, MDC = SEM x 1.96 x sqrt(2) for one trial each; here with
/// the SEM of each mean.
///
/// ```
/// use precedent::looks::{Mean, detectable_change};
/// let mut knee = precedent::serve::MEASURES[0];
/// knee.within_player_sd = 3.0;
/// let mean = |serves, reading_error| Mean { value: 60.0, serves, reading_error };
/// let one = detectable_change(&knee, &mean(1, 0.0), &mean(1, 0.0));
/// assert!((one - 1.96 * 3.0 * 2f64.sqrt()).abs() < 1e-12);
/// // A reading error of 4 makes 5 of 3; eight serves each instead of two: half of it.
/// let two = detectable_change(&knee, &mean(2, 4.0), &mean(2, 4.0));
/// let eight = detectable_change(&knee, &mean(8, 4.0), &mean(8, 4.0));
/// assert!((two - 1.96 * 5.0).abs() < 1e-12 && (eight - two / 2.0).abs() < 1e-12);
/// ```
#[must_use]
pub fn detectable_change(def: &MeasureDef, before: &Mean, after: &Mean) -> f64 {
    1.96 * before.standard_error(def).hypot(after.standard_error(def))
}

/// A measure before and after, as means over the serves that compare.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The measure.
    pub def: &'static MeasureDef,
    /// Before.
    pub before: Mean,
    /// After.
    pub after: Mean,
    /// Smallest change that chance and measuring give less than once in twenty.
    pub detectable: f64,
    /// Whether a larger value is better; `None` where the catalogue takes no side.
    pub larger_is_better: Option<bool>,
    /// Serves compared: those of the earlier look, then those of the later.
    pub serves: [Vec<ServeId>; 2],
}

impl Change {
    /// A change between two means.
    #[must_use]
    pub fn new(
        def: &'static MeasureDef,
        before: Mean,
        after: Mean,
        larger_is_better: Option<bool>,
    ) -> Self {
        let detectable = detectable_change(def, &before, &after);
        Self { def, before, after, detectable, larger_is_better, serves: Default::default() }
    }

    /// After minus before.
    #[must_use]
    pub fn by(&self) -> f64 {
        self.after.value - self.before.value
    }

    /// The same, positive = better; `None` where nothing is better.
    #[must_use]
    pub fn gain(&self) -> Option<f64> {
        Some(if self.larger_is_better? { self.by() } else { -self.by() })
    }

    /// Whether chance and measuring would give less than that, less than once in twenty. A change as
    /// large as the detectable one counts.
    #[must_use]
    pub fn beyond(&self) -> bool {
        beyond(self.by(), self.detectable)
    }

    /// Whether the change is for the better; `None` within chance or where nothing is better.
    #[must_use]
    pub fn better(&self) -> Option<bool> {
        let gain = self.gain()?;
        self.beyond().then_some(gain > 0.0)
    }
}

/// Whether a change is more than chance and measuring give: at least the detectable one, and some.
#[must_use]
pub fn beyond(change: f64, detectable: f64) -> bool {
    change != 0.0 && change.abs() >= detectable
}

/// How a measure moved from one day to a later one, like with like.
///
/// Of the looks that compare and show the measure, the pair counts that can show the smallest change:
/// of several recordings of one day the best reading of each measure, so a slow clip does not veto a
/// fast one and a second view of the same serves does not count them twice. Serves with a ball go
/// before practice swings; ties to the earlier looks. Which pair it is does not depend on how far
/// the measure moved.
///
/// # Errors
/// Why the days do not compare.
pub fn change(
    def: &'static MeasureDef,
    larger_is_better: Option<bool>,
    before: &Session,
    after: &Session,
) -> Result<Change, Unlike> {
    let pairs = pairs(before, after)?;
    best(def, larger_is_better, &pairs)
        .map(|(_, change)| change)
        .ok_or_else(|| Unlike::NotMeasurable { measure: def.name, why: why_not(def, &pairs) })
}

/// The pair that counts for a measure, and its change; `None` where no pair shows it.
///
/// `pairs`: in the order of [`pairs()`].
#[must_use]
pub fn best<'a, 'b>(
    def: &'static MeasureDef,
    larger_is_better: Option<bool>,
    pairs: &'a [Pair<'b>],
) -> Option<(&'a Pair<'b>, Change)> {
    let mut best: Option<(&Pair<'_>, Change)> = None;
    for pair in pairs {
        let (Some(before), Some(after)) = (pair.before.mean(def), pair.after.mean(def)) else {
            continue;
        };
        let swing = |pair: &Pair<'_>| pair.before.set_up.swing.max(pair.after.set_up.swing);
        let mut change = Change::new(def, before, after, larger_is_better);
        change.serves = [pair.before.ids(), pair.after.ids()];
        let wins = best.as_ref().is_none_or(|(held, known)| {
            (swing(pair), change.detectable) < (swing(held), known.detectable)
        });
        if wins {
            best = Some((pair, change));
        }
    }
    best
}

/// Why a measure is missing, in the words of the first recording that says so.
fn why_not(def: &MeasureDef, pairs: &[Pair<'_>]) -> Option<String> {
    let serves = pairs.iter().flat_map(|pair| pair.before.serves.iter().chain(&pair.after.serves));
    serves.flat_map(|serve| serve.readings.iter()).find_map(|entry| match &entry.reading {
        Reading::NotMeasurable { why } if entry.measure == def.id => Some(why.clone()),
        _ => None,
    })
}
