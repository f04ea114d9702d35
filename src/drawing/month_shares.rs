use jiff::civil::Date;

use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::shorten;
use crate::squad::{SquadFault, Trend};
use crate::words;

/// The share of players with a fault, month by month: a dot with its interval, "with of seen"
/// under it, and the fitted trend dashed where that decides. `None` without a month.
#[must_use]
pub fn month_shares(fault: &SquadFault, width_px: f64) -> Option<Svg> {
    let (first, last) = (fault.months.first()?.month, fault.months.last()?.month);
    let months_apart = |date: Date| -> f64 {
        f64::from(date.year() - first.year()) * 12.0 + f64::from(date.month() - first.month())
    };
    let steps = months_apart(last).max(1.0);
    let (left, right) = (36.0, width_px - 14.0);
    let (top, bottom) = (26.0, 104.0);
    let x = |month: f64| left + 8.0 + month / steps * (right - left - 16.0);
    let y = |share: f64| bottom - share * (bottom - top);
    let title = format!("{}: share of players by month", fault.name);
    let mut description = String::new();
    for each in &fault.months {
        description.push_str(&format!(
            "{} {}: {} of {}. ",
            words::month(each.month),
            each.month.year(),
            each.share.with,
            each.share.of
        ));
    }
    let mut canvas = Canvas::new("month-shares", width_px, bottom + 34.0, &title, &description);
    let name = shorten(&fault.name, 13.0, true, width_px);
    canvas.text([0.0, 13.0], &name, Type::new(13.0, Tone::Ink).bold());
    for share in [0.0, 0.5, 1.0] {
        canvas.line([left, y(share)], [right, y(share)], Stroke::solid(Tone::Quiet, 0.6));
        let text = format!("{:.0} %", 100.0 * share);
        canvas.text([left - 4.0, y(share) + 4.0], &text, Type::new(10.5, Tone::Quiet).end());
    }
    if let Some(trend) = fault.basis.trend() {
        let points: Vec<[f64; 2]> = (0..=24)
            .map(|at| steps * f64::from(at) / 24.0)
            .map(|m| [x(m), y(fitted(trend, m, steps))])
            .collect();
        canvas.shape(&points, false, Paint::stroke(Stroke::dashed(Tone::Attention, 1.5, "5 3")));
    }
    let every = ((steps + 1.0) * 26.0 / (right - left)).ceil().max(1.0) as usize;
    for each in &fault.months {
        let at = months_apart(each.month);
        let Some(share) = each.share.share() else { continue };
        let (low, high) = each.share.interval;
        canvas.line([x(at), y(low)], [x(at), y(high)], Stroke::solid(Tone::This, 1.3));
        canvas.circle([x(at), y(share)], 3.6, Paint::fill(Tone::This));
        if (at as usize).is_multiple_of(every) {
            let small = Type::new(10.5, Tone::Quiet).middle();
            canvas.text([x(at), bottom + 15.0], &words::month(each.month), small);
            let counted = format!("{}/{}", each.share.with, each.share.of);
            canvas.text([x(at), bottom + 28.0], &counted, Type::new(10.0, Tone::Ink).middle());
        }
    }
    Some(canvas.finish())
}

/// The fitted share at `month` of `steps`; the fit's ends are the first and the last look, which lie
/// within those months.
fn fitted(trend: &Trend, month: f64, steps: f64) -> f64 {
    let logit = |share: f64| {
        let share = share.clamp(1e-6, 1.0 - 1e-6);
        (share / (1.0 - share)).ln()
    };
    let (from, to) = (logit(trend.shares.0), logit(trend.shares.1));
    1.0 / (1.0 + (-(from + (to - from) * month / steps)).exp())
}
