use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{shorten, ticks, width};
use crate::words::{amount, bare};

/// What happened to the players who did one thing, one vote each.
#[derive(Debug, Clone, PartialEq)]
pub struct DotRow {
    /// What they did (a drill or a plan).
    pub label: String,
    /// The measure whose change is shown.
    pub measure: String,
    /// Its unit.
    pub unit: String,
    /// Change of each player, positive = the wanted direction.
    pub changes: Vec<f64>,
    /// Beside each change, whether it is for the better; `None` within what chance and measuring give.
    pub better: Vec<Option<bool>>,
    /// Minimal detectable change, mean over the players, same unit.
    pub detectable: f64,
    /// Estimate and its interval (low, high), same sign rule; `None` when there is too little to say.
    pub estimate: Option<(f64, f64, f64)>,
    /// Change to be expected without it, same sign rule; `None` where nobody can say.
    pub by_itself: Option<f64>,
    /// Coverage of the interval in percent, for example 90.
    pub interval_pct: u8,
}

impl DotRow {
    /// Players who changed for the better by more than chance and measuring give.
    #[must_use]
    pub fn beyond(&self) -> usize {
        self.better.iter().filter(|better| **better == Some(true)).count()
    }

    /// The counts in words: "5 of 7 better by more than chance (about 6 deg)".
    #[must_use]
    pub fn counted(&self) -> String {
        let beyond = self.beyond();
        let all = self.changes.len();
        if all == 0 {
            return "nobody followed up yet".to_owned();
        }
        format!(
            "{beyond} of {all} better by more than chance (about {})",
            amount(self.detectable, &self.unit)
        )
    }

    /// The estimate in words: "10 deg better on average, 90 % interval 5 to 15 deg".
    #[must_use]
    pub fn estimated(&self) -> String {
        match self.estimate {
            Some((middle, low, high)) => format!(
                "{} {} on average, {} % interval {} to {}",
                amount(middle.abs(), &self.unit),
                if middle < 0.0 { "worse" } else { "better" },
                self.interval_pct,
                bare(low, &self.unit),
                amount(high, &self.unit)
            ),
            None => "too few to estimate an average".to_owned(),
        }
    }

    /// From the smallest to the largest value the row shows.
    #[must_use]
    pub fn range(&self) -> (f64, f64) {
        let mut values = self.changes.clone();
        values.extend([0.0, -self.detectable, self.detectable]);
        values.extend(self.by_itself);
        values.extend(self.estimate.iter().flat_map(|&(middle, low, high)| [middle, low, high]));
        values
            .into_iter()
            .filter(|v| v.is_finite())
            .fold((0.0, 0.0), |(low, high), value| (f64::min(low, value), f64::max(high, value)))
    }
}

/// One dot per player on a line of change: filled when beyond that player's detectable change, hollow
/// within it; the interval as a bracket under the line, the count written out. [`DotRow::estimated`] belongs
/// into the caption.
///
/// `range`: the axis, shared between rows that are read against each other (see [`DotRow::range`]).
#[must_use]
pub fn dot_row(row: &DotRow, range: (f64, f64), width_px: f64) -> Svg {
    const RADIUS: f64 = 5.0;
    let (left, right) = (12.0, width_px - 12.0);
    let pad = ((range.1 - range.0) * 0.04).max(1e-6);
    let (low, high) = (range.0 - pad, range.1 + pad);
    let x = |value: f64| left + (value.clamp(low, high) - low) / (high - low) * (right - left);

    let dots = row.changes.iter().copied().zip(row.better.iter().copied());
    let mut sorted: Vec<(f64, Option<bool>)> = dots.filter(|dot| dot.0.is_finite()).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Dots that would overlap are stacked upwards.
    let mut placed: Vec<(f64, usize, Option<bool>)> = Vec::new();
    for &(change, better) in &sorted {
        let at = x(change);
        let level = (0..)
            .find(|&level| {
                placed.iter().all(|p| p.1 != level || (p.0 - at).abs() >= 2.0 * RADIUS + 2.0)
            })
            .unwrap_or(0);
        placed.push((at, level, better));
    }
    let levels = placed.iter().map(|p| p.1 + 1).max().unwrap_or(1) as f64;
    let counted = row.counted();
    let label = shorten(&row.label, 13.0, true, width_px);
    let beside = width(&label, 13.0, true) + 16.0 + width(&counted, 12.0, false) <= width_px;
    let head = if beside { 22.0 } else { 40.0 };
    let line = head + levels * (2.0 * RADIUS + 2.0) + 2.0;
    let axis = line + if row.estimate.is_some() { 34.0 } else { 22.0 };
    let height = axis + 4.0;

    let title = format!("{}: change in {}", row.label, row.measure);
    let description = format!(
        "{counted}; {}. One dot per player, filled when beyond that player's detectable change; right is better.{}",
        row.estimated(),
        row.by_itself.map_or_else(String::new, |value| format!(
            " Dashed: {} would have come anyway.",
            amount(value, &row.unit)
        ))
    );
    let mut canvas = Canvas::new("dot-row", width_px, height, &title, &description);
    canvas.text([0.0, 14.0], &label, Type::new(13.0, Tone::Ink).bold());
    let style = Type::new(12.0, Tone::Ink);
    if beside {
        canvas.text([width_px, 14.0], &counted, style.end());
    } else {
        canvas.text([0.0, 31.0], &counted, style);
    }

    let d = row.detectable.abs();
    canvas.rect([x(-d), line - 14.0], [x(d) - x(-d), 22.0], 0.0, Paint::wash(Tone::Quiet, 0.16));
    canvas.line([left, line + 4.0], [right, line + 4.0], Stroke::solid(Tone::Quiet, 1.0));
    canvas.line([x(0.0), line - 14.0], [x(0.0), line + 8.0], Stroke::solid(Tone::Ink, 1.2));
    if let Some(by_itself) = row.by_itself.filter(|value| value.is_finite()) {
        let (at, stroke) = (x(by_itself), Stroke::dashed(Tone::Ink, 1.2, "3 3"));
        canvas.line([at, line - 16.0], [at, line + 20.0], stroke);
    }
    for (at, level, better) in placed {
        let centre = [at, line - RADIUS - (2.0 * RADIUS + 2.0) * level as f64];
        let paint = match better {
            Some(true) => Paint::fill(Tone::Precedent).and(Stroke::solid(Tone::Precedent, 1.4)),
            Some(false) => Paint::fill(Tone::Attention).and(Stroke::solid(Tone::Attention, 1.4)),
            None => Paint::fill(Tone::Paper).and(Stroke::solid(Tone::Precedent, 1.4)),
        };
        canvas.circle(centre, RADIUS, paint);
    }
    if let Some((middle, from, to)) = row.estimate {
        let y = line + 14.0;
        let stroke = Stroke::solid(Tone::Ink, 1.6);
        canvas.line([x(from), y], [x(to), y], stroke);
        for end in [from, to] {
            canvas.line([x(end), y - 4.0], [x(end), y + 4.0], stroke);
        }
        canvas.circle([x(middle), y], 3.2, Paint::fill(Tone::Ink));
    }
    let (worse, better) = ("worse", format!("better, {}", row.unit));
    canvas.text([width_px, axis], &better, Type::new(11.0, Tone::Quiet).end());
    canvas.text([0.0, axis], worse, Type::new(11.0, Tone::Quiet));
    let (free_from, free_to) =
        (width(worse, 11.0, false) + 8.0, width_px - width(&better, 11.0, false) - 8.0);
    for tick in ticks(low, high, 6) {
        let text = bare(tick, &row.unit);
        let half = width(&text, 11.0, false) / 2.0;
        canvas.line([x(tick), line + 4.0], [x(tick), line + 7.0], Stroke::solid(Tone::Quiet, 1.0));
        if x(tick) - half > free_from && x(tick) + half < free_to {
            canvas.text([x(tick), axis], &text, Type::new(11.0, Tone::Quiet).middle());
        }
    }
    canvas.finish()
}
