use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg};
use crate::words::{about, amount, bare};

/// One measure against what is known about it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gauge<'a> {
    /// Name of the measure.
    pub name: &'a str,
    /// Unit.
    pub unit: &'a str,
    /// This serve's value and half its 90 % width; `None` when not measurable.
    pub value: Option<(f64, f64)>,
    /// Published reference band (low, high).
    pub reference: Option<(f64, f64)>,
    /// 10th to 90th percentile of the precedents.
    pub precedents: Option<(f64, f64)>,
}

/// One line: reference band in grey, precedents as a bracket above, this serve as a mark with its doubt.
///
/// Nothing to show gives an empty line; the words stand beside it on the page.
#[must_use]
pub fn gauge(gauge: &Gauge<'_>, width_px: f64) -> Svg {
    let height = 32.0;
    let mut ends: Vec<f64> = Vec::new();
    if let Some((value, give)) = gauge.value {
        ends.extend([value - give.abs(), value + give.abs()]);
    }
    for band in [gauge.reference, gauge.precedents].into_iter().flatten() {
        ends.extend([band.0, band.1]);
    }
    ends.retain(|v| v.is_finite());
    let (low, high) =
        ends.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| (l.min(v), h.max(v)));
    let band = |band: Option<(f64, f64)>, none: &str| {
        band.map_or_else(
            || none.to_owned(),
            |(from, to)| format!("{} to {}", bare(from, gauge.unit), amount(to, gauge.unit)),
        )
    };
    let description = format!(
        "This serve {}; reference {}; precedents {}.",
        gauge
            .value
            .map_or("not measurable".to_owned(), |(value, give)| about(value, give, gauge.unit)),
        band(gauge.reference, "none"),
        band(gauge.precedents, "none")
    );
    let mut canvas = Canvas::new("gauge", width_px, height, gauge.name, &description);
    if ends.is_empty() {
        return canvas.finish();
    }
    let pad = ((high - low) * 0.1).max(1e-6);
    let (low, high) = (low - pad, high + pad);
    let x = |value: f64| 4.0 + (value - low) / (high - low) * (width_px - 8.0);
    let y = 18.0;
    canvas.line([4.0, y], [width_px - 4.0, y], Stroke::solid(Tone::Quiet, 0.8));
    let finite = |band: &(f64, f64)| band.0.is_finite() && band.1.is_finite();
    if let Some((from, to)) = gauge.reference.filter(finite) {
        canvas.rect(
            [x(from), y - 6.0],
            [x(to) - x(from), 12.0],
            0.0,
            Paint::wash(Tone::Quiet, 0.28),
        );
    }
    if let Some((from, to)) = gauge.precedents.filter(finite) {
        let stroke = Stroke::solid(Tone::Precedent, 1.6);
        canvas.line([x(from), 6.0], [x(to), 6.0], stroke);
        canvas.line([x(from), 6.0], [x(from), 10.0], stroke);
        canvas.line([x(to), 6.0], [x(to), 10.0], stroke);
    }
    if let Some((value, give)) = gauge.value.filter(|v| v.0.is_finite()) {
        if give.is_finite() {
            canvas.line([x(value - give), y], [x(value + give), y], Stroke::solid(Tone::This, 2.0));
        }
        let centre = x(value);
        let diamond = [[centre, y - 6.5], [centre + 5.0, y], [centre, y + 6.5], [centre - 5.0, y]];
        canvas.shape(&diamond, true, Paint::fill(Tone::This).and(Stroke::solid(Tone::Paper, 1.0)));
    }
    canvas.finish()
}
