//! One channel along a clock: the ribbon's line and band without margins, so that a cursor can run
//! over it.

use super::channel::Channel;
use super::ribbon::runs;
use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::ticks;
use crate::serve::{CURVE_FRAMES, EventKind};
use crate::words::{bare, sentence};

/// Height of the drawing, px.
const HEIGHT: f64 = 120.0;

/// One channel from the start of the toss at the left edge to the finish at the right, over all of
/// `width_px`: this serve a line, the precedents a band with its median, one other serve (`beside`,
/// already re-timed to this one's moments) a dashed line.
///
/// A channel without values says that it is not measurable.
#[must_use]
pub fn rail(channel: &Channel, beside: Option<&[f64]>, width_px: f64) -> Svg {
    let label = sentence(&channel.label);
    let title = format!("{label} over the serve, {}", channel.unit);
    if channel.values.len() != CURVE_FRAMES || channel.values.iter().all(|v| !v.is_finite()) {
        let text = "Not measurable from this recording.";
        let mut canvas = Canvas::new("rail", width_px, 32.0, &title, text);
        canvas.text([8.0, 20.0], text, Type::new(12.0, Tone::Quiet));
        return canvas.finish();
    }
    let band = channel.band.as_ref().filter(|band| channel.fits(band));
    let beside = beside.filter(|values| values.len() == CURVE_FRAMES);
    let drawn = channel.values.iter().chain(beside.into_iter().flatten());
    let (mut low, mut high) = drawn
        .chain(band.into_iter().flat_map(|band| band.low.iter().chain(&band.high)))
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let pad = ((high - low) * 0.08).max(channel.notable.abs() * 0.2).max(1e-6);
    (low, high) = (low - pad, high + pad);
    let x = |sample: usize| sample as f64 / (CURVE_FRAMES - 1) as f64 * width_px;
    let y = |value: f64| HEIGHT - (value - low) / (high - low) * HEIGHT;
    let point = |values: &[f64], s: usize| values[s].is_finite().then(|| [x(s), y(values[s])]);
    let line = |values: &[f64]| runs((0..CURVE_FRAMES).map(|s| point(values, s)));

    let mut said = "This serve as a line".to_owned();
    if band.is_some() {
        said.push_str(", the precedents as a band with its middle");
    }
    if beside.is_some() {
        said.push_str(", the serve beside it as a dashed line");
    }
    let mut canvas = Canvas::new("rail", width_px, HEIGHT, &title, &format!("{said}."));
    for (index, &event) in channel.event_samples.iter().enumerate() {
        if event.is_finite() {
            let at = x(0) + f64::from(event).clamp(0.0, 100.0) / 100.0 * width_px;
            let contact = EventKind::ALL[index] == EventKind::Contact;
            let dash = if contact { None } else { Some("1 4") };
            let stroke = Stroke { tone: Tone::Quiet, width: 1.0, dash };
            canvas.line([at, 0.0], [at, HEIGHT], stroke);
        }
    }
    if let Some(band) = band {
        for span in runs((0..CURVE_FRAMES).map(|s| point(&band.low, s).and(point(&band.high, s)))) {
            let (first, last) = (span[0][0], span[span.len() - 1][0]);
            let samples = (0..CURVE_FRAMES).filter(|&s| (first..=last).contains(&x(s)));
            let mut outline: Vec<[f64; 2]> =
                samples.clone().map(|s| [x(s), y(band.high[s])]).collect();
            outline.extend(samples.rev().map(|s| [x(s), y(band.low[s])]));
            canvas.shape(&outline, true, Paint::wash(Tone::Precedent, 0.20));
        }
        for run in line(&band.middle) {
            canvas.shape(&run, false, Paint::stroke(Stroke::solid(Tone::Precedent, 1.0)));
        }
    }
    if let Some(values) = beside {
        for run in line(values) {
            canvas.shape(&run, false, Paint::stroke(Stroke::dashed(Tone::Precedent, 2.2, "6 4")));
        }
    }
    for run in line(&channel.values) {
        canvas.shape(&run, false, Paint::stroke(Stroke::solid(Tone::This, 2.6)));
    }
    for tick in ticks(low, high, 3) {
        let at = y(tick).clamp(12.0, HEIGHT - 4.0);
        canvas.line([0.0, y(tick)], [5.0, y(tick)], Stroke::solid(Tone::Quiet, 1.0));
        let style = Type::new(11.0, Tone::Quiet).halo();
        canvas.text([8.0, at + 4.0], &bare(tick, &channel.unit), style);
    }
    canvas.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(values: Vec<f64>) -> Channel {
        Channel {
            name: "front_knee_flexion".to_owned(),
            label: "front knee".to_owned(),
            unit: "deg".to_owned(),
            larger: "more bent".to_owned(),
            smaller: "straighter".to_owned(),
            notable: 5.0,
            values,
            event_samples: [0.0, 20.0, 50.0, 70.0, 80.0, 100.0],
            band: None,
        }
    }

    /// Ends of the line of this serve.
    fn ends(svg: &Svg) -> ([f64; 2], [f64; 2]) {
        let tree = roxmltree::Document::parse(svg.as_str()).unwrap();
        let line = tree.descendants().find(|n| n.attribute("class") == Some("s-this")).unwrap();
        let points: Vec<[f64; 2]> = line.attribute("d").unwrap()[1..]
            .split('L')
            .map(|pair| {
                let (x, y) = pair.split_once(' ').unwrap();
                [x.parse().unwrap(), y.parse().unwrap()]
            })
            .collect();
        (points[0], points[points.len() - 1])
    }

    #[test]
    fn the_line_fills_the_width_and_rises_with_its_values() {
        let rising = channel((0..CURVE_FRAMES).map(|s| s as f64).collect());
        let (from, to) = ends(&rail(&rising, None, 640.0));
        assert_eq!((from[0], to[0]), (0.0, 640.0));
        assert!(from[1] > to[1] && to[1] > 0.0 && from[1] < HEIGHT, "{from:?} {to:?}");
        // Another serve further up makes room for itself.
        let other = vec![300.0; CURVE_FRAMES];
        let (_, lower) = ends(&rail(&rising, Some(&other), 640.0));
        assert!(lower[1] > to[1], "{lower:?} {to:?}");
    }

    #[test]
    fn what_is_not_measured_is_said() {
        let nothing = rail(&channel(vec![f64::NAN; CURVE_FRAMES]), None, 300.0);
        assert!(nothing.as_str().contains("Not measurable"), "{nothing}");
    }
}
