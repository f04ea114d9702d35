use crate::serve::{CURVE_FRAMES, ChannelDef, Curve, channels};
use crate::words::{amount, moment};

/// One channel over the serve, in its own unit, samples 0 to 100 %.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Name in data.
    pub name: String,
    /// Name for people ("front knee").
    pub label: String,
    /// `deg`, `m`, `statures` ...
    pub unit: String,
    /// What a larger value is called ("more bent").
    pub larger: String,
    /// What a smaller value is called ("straighter").
    pub smaller: String,
    /// Smallest deviation from the band worth naming, in the unit.
    pub notable: f64,
    /// This serve, [`CURVE_FRAMES`] values; NaN where missing.
    pub values: Vec<f64>,
    /// Samples (0 to 100) of this serve's events, in the order of [`crate::serve::EventKind::ALL`].
    pub event_samples: [f32; 6],
    /// The precedents, warped to this serve's events (see [`warp_to_events`]).
    pub band: Option<Band>,
}

/// What a curve of another player's past serve is called.
const PRECEDENT: &str = "precedent";

/// Where precedents run, [`CURVE_FRAMES`] values each.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// 10th percentile.
    pub low: Vec<f64>,
    /// Median.
    pub middle: Vec<f64>,
    /// 90th percentile.
    pub high: Vec<f64>,
    /// Number of curves behind it.
    pub of: usize,
    /// What one of them is called ("precedent").
    pub whose: &'static str,
}

impl Band {
    /// The band of `curves` ([`CURVE_FRAMES`] values each, NaN where missing), sample by sample, by
    /// linear interpolation between order statistics (Hyndman and Fan 1996, type 7).
    ///
    /// `None` where fewer than three curves have the right length: that is no band. A sample where
    /// fewer than three curves have a value is NaN.
    #[must_use]
    pub fn of(curves: &[Vec<f64>]) -> Option<Self> {
        let curves: Vec<&Vec<f64>> = curves.iter().filter(|c| c.len() == CURVE_FRAMES).collect();
        if curves.len() < 3 {
            return None;
        }
        let mut band = Self {
            low: Vec::new(),
            middle: Vec::new(),
            high: Vec::new(),
            of: curves.len(),
            whose: PRECEDENT,
        };
        for sample in 0..CURVE_FRAMES {
            let mut values: Vec<f64> =
                curves.iter().map(|c| c[sample]).filter(|v| v.is_finite()).collect();
            values.sort_by(f64::total_cmp);
            let values = if values.len() < 3 { &values[..0] } else { &values[..] };
            let at = |share| quantile(values, share).unwrap_or(f64::NAN);
            band.low.push(at(0.1));
            band.middle.push(at(0.5));
            band.high.push(at(0.9));
        }
        Some(band)
    }

    /// The band of a player's own few curves, `whose` naming one of them: as [`Band::of`] where
    /// there are three, else from the lowest to the highest with their mean in the middle.
    ///
    /// `None` where no curve has the right length.
    #[must_use]
    pub fn around(curves: &[Vec<f64>], whose: &'static str) -> Option<Self> {
        if let Some(band) = Self::of(curves) {
            return Some(Self { whose, ..band });
        }
        let curves: Vec<&Vec<f64>> = curves.iter().filter(|c| c.len() == CURVE_FRAMES).collect();
        let fold = |merge: fn(f64, f64) -> f64| -> Option<Vec<f64>> {
            let first = (*curves.first()?).clone();
            Some(curves[1..].iter().fold(first, |so_far, curve| {
                so_far.iter().zip(*curve).map(|(a, b)| merge(*a, *b)).collect()
            }))
        };
        let count = curves.len() as f64;
        Some(Self {
            low: fold(f64::min)?,
            high: fold(f64::max)?,
            middle: fold(|a, b| a + b)?.into_iter().map(|sum| sum / count).collect(),
            of: curves.len(),
            whose,
        })
    }
}

/// The value below which `share` (0 to 1) of the sorted values lie, linear between neighbours;
/// `None` of none. Type 7 of Hyndman & Fan 1996, doi 10.1080/00031305.1996.10473566.
pub(crate) fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let place = share * sorted.len().checked_sub(1)? as f64;
    let (below, above) = (place.floor() as usize, place.ceil() as usize);
    Some(sorted[below] + place.fract() * (sorted[above] - sorted[below]))
}

/// `values` of one serve re-timed so that its events fall on another serve's, piecewise linearly.
///
/// `from`, `to`: samples of the events, in order of time. Values are interpolated linearly; NaN stays
/// NaN. Events that are not in order, or values that are not [`CURVE_FRAMES`] long, are returned as
/// they came.
#[must_use]
pub fn warp_to_events(values: &[f64], from: &[f32; 6], to: &[f32; 6]) -> Vec<f64> {
    let knots = |events: &[f32; 6]| {
        let end = (CURVE_FRAMES - 1) as f64;
        let mut all = vec![0.0];
        all.extend(events.iter().map(|&event| f64::from(event)));
        all.push(end);
        all
    };
    let (from, to) = (knots(from), knots(to));
    let ordered = |knots: &[f64]| knots.windows(2).all(|pair| pair[0] <= pair[1]);
    if values.len() != CURVE_FRAMES || !ordered(&from) || !ordered(&to) {
        return values.to_vec();
    }
    (0..CURVE_FRAMES)
        .map(|sample| {
            let at = sample as f64;
            let piece = (1..to.len() - 1).find(|&knot| at <= to[knot]).unwrap_or(to.len() - 1);
            let length = to[piece] - to[piece - 1];
            let part = if length > 0.0 { (at - to[piece - 1]) / length } else { 0.0 };
            let source = from[piece - 1] + part * (from[piece] - from[piece - 1]);
            let low = (source.floor().max(0.0) as usize).min(CURVE_FRAMES - 1);
            let share = (source - low as f64).clamp(0.0, 1.0);
            if share == 0.0 {
                values[low]
            } else {
                let high = (low + 1).min(CURVE_FRAMES - 1);
                values[low] + share * (values[high] - values[low])
            }
        })
        .collect()
}

/// A stretch where this serve leaves the band.
#[derive(Debug, Clone, PartialEq)]
pub struct Deviation {
    /// First and last sample.
    pub samples: (usize, usize),
    /// Sample where it is furthest out.
    pub peak: usize,
    /// How far beyond the band there, in the unit; positive above the band.
    pub by: f64,
    /// In words: "front knee, loading: 18 deg straighter than 9 of 10".
    pub words: String,
}

impl Channel {
    /// Stretches of at least three samples outside the band by at least [`Channel::notable`] somewhere,
    /// the largest area first.
    #[must_use]
    pub fn deviations(&self) -> Vec<Deviation> {
        // Two curves show no spread to be outside of.
        let band = self.band.as_ref().filter(|band| band.of >= 3 && self.fits(band));
        let Some(band) = band else {
            return Vec::new();
        };
        let beyond = |sample: usize| {
            let (value, low, high) = (self.values[sample], band.low[sample], band.high[sample]);
            if value > high {
                value - high
            } else if value < low {
                value - low
            } else {
                0.0
            }
        };
        let mut found: Vec<(f64, Deviation)> = Vec::new();
        let mut start = 0;
        while start < CURVE_FRAMES {
            let side = beyond(start).signum();
            if beyond(start) == 0.0 || beyond(start).is_nan() {
                start += 1;
                continue;
            }
            let end = (start..CURVE_FRAMES)
                .take_while(|&s| beyond(s) != 0.0 && beyond(s).signum() == side)
                .last()
                .unwrap_or(start);
            let peak = (start..=end)
                .max_by(|&a, &b| beyond(a).abs().total_cmp(&beyond(b).abs()))
                .unwrap_or(start);
            let by = beyond(peak);
            if end - start >= 2 && by.abs() >= self.notable {
                let area = (start..=end).map(|s| beyond(s).abs()).sum();
                let words = format!(
                    "{}, {}: {} {} than {}",
                    self.label,
                    moment(peak as f64, &self.event_samples),
                    amount(by.abs(), &self.unit),
                    if by > 0.0 { &self.larger } else { &self.smaller },
                    most_of(band)
                );
                found.push((area, Deviation { samples: (start, end), peak, by, words }));
            }
            start = end + 1;
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.into_iter().map(|(_, deviation)| deviation).collect()
    }

    pub(crate) fn fits(&self, band: &Band) -> bool {
        [&self.values, &band.low, &band.middle, &band.high].iter().all(|v| v.len() == CURVE_FRAMES)
    }
}

fn most_of(band: &Band) -> String {
    match band.of {
        // A player's own earlier serves.
        _ if band.whose != PRECEDENT => "before".to_owned(),
        few @ ..10 => format!("most of the {few}"),
        _ => "9 of 10".to_owned(),
    }
}

/// What a larger and a smaller value of a channel is called, by its name in data.
pub(crate) fn directions(def: &ChannelDef) -> [&'static str; 2] {
    match def.name {
        name if name.ends_with("_flexion") => ["more bent", "straighter"],
        name if name.ends_with("_turn") => ["more open", "more closed"],
        name if name.starts_with("trunk_") => ["further over", "further back"],
        name if name.ends_with("_elevation") || name.ends_with("_height") => ["higher", "lower"],
        _ => ["more", "less"],
    }
}

/// The channels of a serve's curve in their own units, with the band of its precedents.
///
/// `events`: samples of the serve's events; `precedents`: curve and event samples of each, closest
/// first. Precedents are warped to the serve's events; those of another channel set are left out.
/// A deviation is notable from half of a channel's population scale. In the order of the channel set;
/// empty for an unknown set or a curve of another shape.
#[must_use]
pub fn channels_of(
    curve: &Curve,
    events: &[f32; 6],
    precedents: &[(&Curve, [f32; 6])],
) -> Vec<Channel> {
    let defs = channels(&curve.channel_set);
    let whole = |curve: &Curve| {
        curve.channels == defs.len() && curve.values.len() == CURVE_FRAMES * defs.len()
    };
    if !whole(curve) {
        return Vec::new();
    }
    let column = |curve: &Curve, index: usize| -> Vec<f64> {
        let values = curve.values.iter().skip(index).step_by(defs.len());
        values.map(|&value| f64::from(value) * defs[index].scale).collect()
    };
    defs.iter()
        .enumerate()
        .map(|(index, def)| {
            let others: Vec<Vec<f64>> = precedents
                .iter()
                .filter(|(other, _)| other.channel_set == curve.channel_set && whole(other))
                .map(|(other, from)| warp_to_events(&column(other, index), from, events))
                .collect();
            let [larger, smaller] = directions(def).map(str::to_owned);
            Channel {
                name: def.name.to_owned(),
                label: def.label.to_owned(),
                // Heights are told in the body's own length.
                unit: if def.unit == "ratio" { "statures" } else { def.unit }.to_owned(),
                larger,
                smaller,
                notable: def.scale / 2.0,
                values: column(curve, index),
                event_samples: *events,
                band: Band::of(&others),
            }
        })
        .collect()
}
