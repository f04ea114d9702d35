use super::channel::{Band, Channel, Deviation};
use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{shorten, spread, ticks, width, wrap};
use crate::serve::{CURVE_FRAMES, EventKind};
use crate::words::{bare, count, sentence, short};

/// Room for a name at the right end of a wide ribbon, px.
const MARGIN: f64 = 88.0;

/// Height of a line of words about a deviation, px.
const LINE: f64 = 18.0;

/// What is said of a deviation, in lines no wider than the drawing.
struct Callout<'a> {
    deviation: &'a Deviation,
    /// At least one.
    lines: Vec<String>,
    /// Of the widest line, px.
    wide: f64,
}

impl<'a> Callout<'a> {
    /// The heading names the channel `label`; where the whole sentence has no room, its moment on
    /// suffices.
    fn new(deviation: &'a Deviation, label: &str, width_px: f64) -> Self {
        let whole = sentence(&deviation.words);
        let rest = deviation.words.strip_prefix(&format!("{label}, "));
        let words = match rest {
            Some(rest) if width(&whole, 12.0, true) > width_px => sentence(rest),
            _ => whole,
        };
        let mut lines = wrap(&words, 12.0, true, width_px);
        if lines.is_empty() {
            lines.push(String::new());
        }
        let wide = lines.iter().map(|line| width(line, 12.0, true)).fold(0.0, f64::max);
        Self { deviation, lines, wide }
    }
}

/// Lines that all names on one side take: above each other where they cannot stand side by side.
fn rows(named: &[Callout<'_>], room: f64) -> usize {
    let total: f64 = named.iter().map(|one| one.wide + 16.0).sum();
    if total <= room && named.iter().all(|one| one.lines.len() == 1) {
        named.len().min(1)
    } else {
        named.iter().map(|one| one.lines.len()).sum()
    }
}

/// Runs of finite points.
pub(super) fn runs(points: impl Iterator<Item = Option<[f64; 2]>>) -> Vec<Vec<[f64; 2]>> {
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
/// as ticks; where they part, the area is hatched and the two largest deviations are named.
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
        let text = format!("{}: not measurable from this recording", sentence(&channel.label));
        let mut canvas = Canvas::new("ribbon", width_px, 32.0, &title, &text);
        canvas.text(
            [0.0, 20.0],
            &shorten(&text, 12.0, false, width_px),
            Type::new(12.0, Tone::Quiet),
        );
        return canvas.finish();
    }
    let mut deviations = channel.deviations();
    deviations.truncate(2);
    deviations.sort_by_key(|deviation| deviation.peak);

    let named =
        deviations.iter().map(|deviation| Callout::new(deviation, &channel.label, width_px));
    let (above, below): (Vec<_>, Vec<_>) = named.partition(|named| named.deviation.by > 0.0);
    let left = 38.0;
    let right = if narrow { width_px - 4.0 } else { width_px - 96.0 };
    let (rows_above, rows_below) = (rows(&above, right - left), rows(&below, right - left));
    let heading = format!("{}, {}", sentence(&channel.label), channel.unit);
    let precedents = band.map(|band| {
        let whole = count(band.of, band.whose);
        // The name stands in the margin; "2 earlier" says it where "2 earlier serves" is cut.
        match band.whose.split_once(' ') {
            Some((first, _)) if width(&whole, 12.0, false) > MARGIN => {
                format!("{} {first}", band.of)
            }
            _ => whole,
        }
    });
    let beside =
        width(&heading, 13.0, true) + 16.0 + legend_width(this_label, precedents.as_deref());
    let head = if narrow && beside > width_px { 42.0 } else { 26.0 };
    let top = head + LINE * rows_above as f64;
    let tall = if narrow { 120.0 } else { 112.0 };
    let bottom = top + tall;
    let axis = bottom + 8.0 + LINE * rows_below as f64;
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
            "This serve as a line, {} as a band{} with its middle.",
            count(band.of, band.whose),
            if band.of < 3 { "" } else { " from the 10th to the 90th percentile" }
        ),
        None => "This serve as a line; too few precedents for a band.".to_owned(),
    };
    for deviation in &deviations {
        description.push_str(&format!(" {}.", sentence(&deviation.words)));
    }
    let mut canvas = Canvas::new("ribbon", width_px, height, &title, &description);
    let heading = shorten(&heading, 13.0, true, width_px);
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
        for deviation in &deviations {
            hatch(&mut canvas, channel, band, deviation, &x, &y);
        }
    }
    for run in runs((0..CURVE_FRAMES).map(|s| point(&channel.values, s))) {
        canvas.shape(&run, false, Paint::stroke(Stroke::solid(Tone::This, 2.6)));
    }

    for (named, rows, first_line, toward) in
        [(&above, rows_above, head + 8.0, -1.0), (&below, rows_below, bottom + 14.0, 1.0)]
    {
        let labels: Vec<(f64, f64)> =
            named.iter().map(|one| (x(one.deviation.peak as f64), one.wide)).collect();
        let centres = if rows > 1 {
            labels.iter().map(|&label| spread(&[label], 0.0, width_px, 0.0)[0]).collect()
        } else {
            spread(&labels, 0.0, width_px, 16.0)
        };
        let mut base = first_line;
        for (Callout { deviation, lines, .. }, centre) in named.iter().zip(centres) {
            let at = x(deviation.peak as f64);
            let last = base + LINE * (lines.len() - 1) as f64;
            let from = if toward < 0.0 { last + 4.0 } else { base - 12.0 };
            let to = y(channel.values[deviation.peak]);
            canvas.line([at, from], [at, to], Stroke::solid(Tone::Attention, 1.0));
            let style = Type::new(12.0, Tone::Attention).bold().middle().halo();
            for (number, line) in lines.iter().enumerate() {
                canvas.text([centre, base + LINE * number as f64], line, style);
            }
            if rows > 1 {
                base = last + LINE;
            }
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
    let last = |values: &[f64]| values.iter().rev().copied().find(|v| v.is_finite()).map(&y);
    if narrow {
        legend(&mut canvas, this_label, precedents.as_deref(), [width_px, head - 13.0]);
    } else {
        let band = band.and_then(|band| Some((precedents.as_deref()?, last(&band.middle))));
        ends(&mut canvas, (this_label, last(&channel.values)), band, [right + 8.0, top, bottom]);
    }
    canvas.finish()
}

/// Strokes from the band's edge to this serve's line: their length is the difference.
fn hatch(
    canvas: &mut Canvas,
    channel: &Channel,
    band: &Band,
    deviation: &Deviation,
    x: &impl Fn(f64) -> f64,
    y: &impl Fn(f64) -> f64,
) {
    let edge = if deviation.by > 0.0 { &band.high } else { &band.low };
    let between = |values: &[f64], at: f64| {
        let low = at.floor() as usize;
        let high = (low + 1).min(CURVE_FRAMES - 1);
        values[low] + at.fract() * (values[high] - values[low])
    };
    let (from, to) = (deviation.samples.0 as f64, deviation.samples.1 as f64);
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

/// Room the legend of a narrow ribbon takes.
fn legend_width(this_label: &str, precedents: Option<&str>) -> f64 {
    let mark = 20.0;
    width(this_label, 11.0, true)
        + mark
        + precedents.map_or(0.0, |text| width(text, 11.0, false) + mark + 12.0)
}

/// Names of line and band in one line that ends at `right`.
fn legend(canvas: &mut Canvas, this_label: &str, precedents: Option<&str>, [right, y]: [f64; 2]) {
    let mut right = right;
    if let Some(text) = precedents {
        canvas.text([right, y], text, Type::new(11.0, Tone::Precedent).end());
        right -= width(text, 11.0, false) + 6.0;
        canvas.rect([right - 12.0, y - 9.0], [12.0, 10.0], 0.0, Paint::wash(Tone::Precedent, 0.3));
        right -= 24.0;
    }
    canvas.text([right, y], this_label, Type::new(11.0, Tone::This).bold().end());
    right -= width(this_label, 11.0, true) + 6.0;
    canvas.line([right - 14.0, y - 4.0], [right, y - 4.0], Stroke::solid(Tone::This, 2.6));
}

/// Names of line and band at their right ends: (name, where it ends).
fn ends(
    canvas: &mut Canvas,
    this: (&str, Option<f64>),
    precedents: Option<(&str, Option<f64>)>,
    [left, top, bottom]: [f64; 3],
) {
    let mut labels = vec![(this, Type::new(12.0, Tone::This).bold())];
    labels.extend(precedents.map(|label| (label, Type::new(12.0, Tone::Precedent))));
    let wanted: Vec<(f64, f64)> =
        labels.iter().map(|((_, end), _)| (end.unwrap_or(top), 15.0)).collect();
    for (((text, _), style), at) in labels.into_iter().zip(spread(&wanted, top, bottom, 0.0)) {
        canvas.text([left, at + 4.0], &shorten(text, 12.0, style.bold, MARGIN), style);
    }
}
