use super::look::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{shorten, spread, ticks, width};
use super::words::{amount, bare, moment, sentence, short};
use crate::serve::{CURVE_FRAMES, EventKind};

/// One channel over the serve, in its own unit, samples 0 to 100 %.
#[derive(Debug, Clone, PartialEq)]
pub struct Channel {
    /// Name for people ("front knee").
    pub label: String,
    /// `deg`, `m`, `statures` ...
    pub unit: String,
    /// What a larger value is called ("more bent").
    pub larger: String,
    /// What a smaller value is called ("straighter").
    pub smaller: String,
    /// Smallest parting from the band worth naming, in the unit.
    pub notable: f64,
    /// This serve, [`CURVE_FRAMES`] values; NaN where missing.
    pub values: Vec<f64>,
    /// Samples (0 to 100) of this serve's events, in the order of [`EventKind::ALL`].
    pub event_samples: [f32; 6],
    /// The precedents, warped to this serve's events (see [`warp_to_events`]).
    pub band: Option<Band>,
}

/// Where precedents run, [`CURVE_FRAMES`] values each.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// 10th percentile.
    pub low: Vec<f64>,
    /// Median.
    pub middle: Vec<f64>,
    /// 90th percentile.
    pub high: Vec<f64>,
    /// Number of precedents.
    pub of: usize,
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
        let mut band =
            Self { low: Vec::new(), middle: Vec::new(), high: Vec::new(), of: curves.len() };
        for sample in 0..CURVE_FRAMES {
            let mut values: Vec<f64> =
                curves.iter().map(|c| c[sample]).filter(|v| v.is_finite()).collect();
            values.sort_by(f64::total_cmp);
            let at = |part: f64| {
                if values.len() < 3 {
                    return f64::NAN;
                }
                let place = part * (values.len() - 1) as f64;
                let (below, above) = (place.floor() as usize, place.ceil() as usize);
                values[below] + place.fract() * (values[above] - values[below])
            };
            band.low.push(at(0.1));
            band.middle.push(at(0.5));
            band.high.push(at(0.9));
        }
        Some(band)
    }
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
pub struct Parting {
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
    pub fn partings(&self) -> Vec<Parting> {
        let Some(band) = self.band.as_ref().filter(|band| self.fits(band)) else {
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
        let mut found: Vec<(f64, Parting)> = Vec::new();
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
                    most_of(band.of)
                );
                found.push((area, Parting { samples: (start, end), peak, by, words }));
            }
            start = end + 1;
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.into_iter().map(|(_, parting)| parting).collect()
    }

    fn fits(&self, band: &Band) -> bool {
        [&self.values, &band.low, &band.middle, &band.high].iter().all(|v| v.len() == CURVE_FRAMES)
    }
}

fn most_of(count: usize) -> String {
    if count >= 10 { "9 of 10".to_owned() } else { format!("most of only {count} precedents") }
}

/// Runs of finite points.
fn runs(points: impl Iterator<Item = Option<[f64; 2]>>) -> Vec<Vec<[f64; 2]>> {
    let mut out = vec![Vec::new()];
    for point in points {
        match point {
            Some(point) => {
                if let Some(run) = out.last_mut() {
                    run.push(point);
                }
            }
            None => out.push(Vec::new()),
        }
    }
    out.retain(|run| run.len() > 1);
    out
}

/// One channel over the serve: this serve a line, the precedents a band with its median, the events
/// as ticks; where they part, the area is hatched and the two largest partings are named.
///
/// `this_label` names the line ("you"). A channel without values says that it is not measurable.
#[must_use]
pub fn ribbon(channel: &Channel, this_label: &str, width_px: f64) -> Svg {
    let band = channel.band.as_ref().filter(|band| channel.fits(band));
    let narrow = width_px < 520.0;
    let finite: Vec<f64> = channel
        .values
        .iter()
        .chain(band.into_iter().flat_map(|b| b.low.iter().chain(&b.high)))
        .copied()
        .filter(|v| v.is_finite())
        .collect();
    let title = format!("{} over the serve, {}", sentence(&channel.label), channel.unit);
    if channel.values.len() != CURVE_FRAMES || channel.values.iter().all(|v| !v.is_finite()) {
        let text = format!("{}: not measurable from this clip", sentence(&channel.label));
        let mut canvas = Canvas::new("ribbon", width_px, 32.0, &title, &text);
        canvas.text(
            [0.0, 20.0],
            &shorten(&text, 12.0, false, width_px),
            Type::new(12.0, Tone::Quiet),
        );
        return canvas.finish();
    }
    let mut partings = channel.partings();
    partings.truncate(2);
    partings.sort_by_key(|parting| parting.peak);

    let (above, below): (Vec<&Parting>, Vec<&Parting>) = partings.iter().partition(|p| p.by > 0.0);
    let line_height = 18.0;
    // Two names above each other where they cannot stand side by side.
    let rows = |named: &[&Parting], left: f64, right: f64| {
        let total: f64 = named.iter().map(|p| width(&sentence(&p.words), 12.0, true) + 16.0).sum();
        if total <= right - left { named.len().min(1) } else { named.len() }
    };
    let left = 38.0;
    let right = if narrow { width_px - 4.0 } else { width_px - 96.0 };
    let (rows_above, rows_below) = (rows(&above, left, right), rows(&below, left, right));
    let top = 26.0 + line_height * rows_above as f64;
    let tall = if narrow { 120.0 } else { 112.0 };
    let bottom = top + tall;
    let axis = bottom + 8.0 + line_height * rows_below as f64;
    let height = axis + 24.0;

    let (mut low, mut high) =
        finite.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let pad = ((high - low) * 0.06).max(channel.notable.abs() * 0.2).max(1e-6);
    (low, high) = (low - pad, high + pad);
    let x = |sample: f64| left + sample / (CURVE_FRAMES - 1) as f64 * (right - left);
    let y = |value: f64| bottom - (value - low) / (high - low) * tall;
    let point =
        |values: &[f64], s: usize| values[s].is_finite().then(|| [x(s as f64), y(values[s])]);

    let mut description = match band {
        Some(band) => format!(
            "This serve as a line, {} precedents as a band from the 10th to the 90th percentile with its median.",
            band.of
        ),
        None => "This serve as a line; too few precedents for a band.".to_owned(),
    };
    for parting in &partings {
        description.push_str(&format!(" {}.", sentence(&parting.words)));
    }
    let mut canvas = Canvas::new("ribbon", width_px, height, &title, &description);
    let heading = format!("{}, {}", sentence(&channel.label), channel.unit);
    canvas.text([0.0, 13.0], &heading, Type::new(13.0, Tone::Ink).bold());

    for tick in ticks(low, high, 4) {
        canvas.line([left - 4.0, y(tick)], [left, y(tick)], Stroke::solid(Tone::Quiet, 1.0));
        let text = bare(tick, &channel.unit);
        canvas.text([left - 8.0, y(tick) + 4.0], &text, Type::new(11.0, Tone::Quiet).end());
    }

    if let Some(band) = band {
        for span in runs((0..CURVE_FRAMES).map(|s| point(&band.low, s).and(point(&band.high, s)))) {
            let samples: Vec<usize> = (0..CURVE_FRAMES)
                .filter(|&s| span.iter().any(|p| (p[0] - x(s as f64)).abs() < 1e-9))
                .collect();
            let mut outline: Vec<[f64; 2]> =
                samples.iter().map(|&s| [x(s as f64), y(band.high[s])]).collect();
            outline.extend(samples.iter().rev().map(|&s| [x(s as f64), y(band.low[s])]));
            canvas.shape(&outline, true, Paint::wash(Tone::Precedent, 0.20));
        }
        for run in runs((0..CURVE_FRAMES).map(|s| point(&band.middle, s))) {
            canvas.shape(&run, false, Paint::stroke(Stroke::dashed(Tone::Precedent, 1.5, "5 3")));
        }
    }
    for (index, &event) in channel.event_samples.iter().enumerate() {
        if event.is_finite() {
            let at = x(f64::from(event).clamp(0.0, 100.0));
            let contact = EventKind::ALL[index] == EventKind::Contact;
            let stroke = if contact {
                Stroke::solid(Tone::Quiet, 1.0)
            } else {
                Stroke::dashed(Tone::Quiet, 0.8, "1 4")
            };
            canvas.line([at, top], [at, axis], stroke);
        }
    }
    if let Some(band) = band {
        for parting in &partings {
            hatch(&mut canvas, channel, band, parting, &x, &y);
        }
    }
    for run in runs((0..CURVE_FRAMES).map(|s| point(&channel.values, s))) {
        canvas.shape(&run, false, Paint::stroke(Stroke::solid(Tone::This, 2.6)));
    }

    for (named, rows, first_line, toward) in
        [(&above, rows_above, 26.0 + 8.0, -1.0), (&below, rows_below, bottom + 14.0, 1.0)]
    {
        let labels: Vec<(f64, f64)> = named
            .iter()
            .map(|p| (x(p.peak as f64), width(&sentence(&p.words), 12.0, true).min(width_px)))
            .collect();
        let centres = if rows > 1 {
            labels.iter().map(|&label| spread(&[label], 0.0, width_px, 0.0)[0]).collect()
        } else {
            spread(&labels, 0.0, width_px, 16.0)
        };
        for (index, (parting, centre)) in named.iter().zip(centres).enumerate() {
            let base = first_line + if rows > 1 { line_height * index as f64 } else { 0.0 };
            let at = x(parting.peak as f64);
            let from = if toward < 0.0 { base + 4.0 } else { base - 12.0 };
            let to = y(channel.values[parting.peak]);
            canvas.line([at, from], [at, to], Stroke::solid(Tone::Attention, 1.0));
            let words = shorten(&sentence(&parting.words), 12.0, true, width_px);
            canvas.text(
                [centre, base],
                &words,
                Type::new(12.0, Tone::Attention).bold().middle().halo(),
            );
        }
    }

    canvas.line([left, axis], [right, axis], Stroke::solid(Tone::Quiet, 1.0));
    let names: Vec<(EventKind, f64)> = EventKind::ALL
        .into_iter()
        .zip(channel.event_samples)
        .filter(|(_, event)| event.is_finite())
        .map(|(kind, event)| (kind, x(f64::from(event).clamp(0.0, 100.0))))
        .collect();
    let size = if narrow { 10.5 } else { 11.5 };
    let labels: Vec<(f64, f64)> =
        names.iter().map(|&(kind, at)| (at, width(short(kind), size, false))).collect();
    for (&(kind, at), centre) in names.iter().zip(spread(&labels, left - 20.0, width_px, 6.0)) {
        canvas.line([at, axis], [at, axis + 5.0], Stroke::solid(Tone::Ink, 1.2));
        canvas.text([centre, axis + 19.0], short(kind), Type::new(size, Tone::Ink).middle());
    }
    ends(&mut canvas, channel, band, this_label, narrow, width_px, [right + 8.0, top, bottom], &y);
    canvas.finish()
}

/// Strokes from the band's edge to this serve's line: their length is the difference.
fn hatch(
    canvas: &mut Canvas,
    channel: &Channel,
    band: &Band,
    parting: &Parting,
    x: &impl Fn(f64) -> f64,
    y: &impl Fn(f64) -> f64,
) {
    let edge = if parting.by > 0.0 { &band.high } else { &band.low };
    let between = |values: &[f64], at: f64| {
        let low = at.floor() as usize;
        let high = (low + 1).min(CURVE_FRAMES - 1);
        values[low] + at.fract() * (values[high] - values[low])
    };
    let (from, to) = (parting.samples.0 as f64, parting.samples.1 as f64);
    let step = 3.2 / (x(1.0) - x(0.0));
    let mut at = from;
    while at <= to {
        let (a, b) = (between(edge, at), between(&channel.values, at));
        if a.is_finite() && b.is_finite() {
            canvas.line([x(at), y(a)], [x(at), y(b)], Stroke::solid(Tone::Attention, 1.0));
        }
        at += step;
    }
}

/// Names of line and band: at their right ends, or in the heading line where there is no room.
#[allow(clippy::too_many_arguments)]
fn ends(
    canvas: &mut Canvas,
    channel: &Channel,
    band: Option<&Band>,
    this_label: &str,
    narrow: bool,
    width_px: f64,
    [left, top, bottom]: [f64; 3],
    y: &impl Fn(f64) -> f64,
) {
    let precedents = band.map(|band| format!("{} precedents", band.of));
    if narrow {
        let mut right = width_px;
        if let Some(text) = precedents {
            canvas.text([right, 13.0], &text, Type::new(11.0, Tone::Precedent).end());
            right -= width(&text, 11.0, false) + 6.0;
            canvas.rect([right - 12.0, 4.0], [12.0, 10.0], 0.0, Paint::wash(Tone::Precedent, 0.3));
            right -= 24.0;
        }
        canvas.text([right, 13.0], this_label, Type::new(11.0, Tone::This).bold().end());
        right -= width(this_label, 11.0, true) + 6.0;
        canvas.line([right - 14.0, 9.0], [right, 9.0], Stroke::solid(Tone::This, 2.6));
        return;
    }
    let last = |values: &[f64]| values.iter().rev().copied().find(|v| v.is_finite()).map(y);
    let mut labels =
        vec![(this_label.to_owned(), last(&channel.values), Type::new(12.0, Tone::This).bold())];
    if let (Some(text), Some(band)) = (precedents, band) {
        labels.push((text, last(&band.middle), Type::new(12.0, Tone::Precedent)));
    }
    let wanted: Vec<(f64, f64)> =
        labels.iter().map(|label| (label.1.unwrap_or(top), 15.0)).collect();
    for ((text, _, style), at) in labels.into_iter().zip(spread(&wanted, top, bottom, 0.0)) {
        canvas.text([left, at + 4.0], &shorten(&text, 12.0, true, 88.0), style);
    }
}
