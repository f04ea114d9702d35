use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg};
use crate::squad::Share;

/// A share of players on a line from 0 to 100 %: a filled dot with its interval as a bracket, and
/// under it, hollow, the share to hold it against.
#[must_use]
pub fn share_mark(share: &Share, rest: Option<&Share>, width_px: f64) -> Svg {
    let height = if rest.is_some() { 30.0 } else { 20.0 };
    let (left, right) = (6.0, width_px - 6.0);
    let x = |part: f64| left + part.clamp(0.0, 1.0) * (right - left);
    let told = |share: &Share| {
        format!(
            "{} of {} players, interval {:.0} to {:.0} %",
            share.with,
            share.of,
            100.0 * share.interval.0,
            100.0 * share.interval.1
        )
    };
    let mut description = told(share);
    if let Some(rest) = rest {
        description.push_str(&format!("; the rest: {}", told(rest)));
    }
    let mut canvas = Canvas::new("share-mark", width_px, height, "Share of players", &description);
    let middle = height / 2.0;
    canvas.line([left, middle], [right, middle], Stroke::solid(Tone::Quiet, 0.8));
    for part in [0.0, 0.25, 0.5, 0.75, 1.0] {
        let tall = if part == 0.0 || part == 0.5 || part == 1.0 { 4.0 } else { 2.0 };
        let quiet = Stroke::solid(Tone::Quiet, 0.8);
        canvas.line([x(part), middle - tall], [x(part), middle + tall], quiet);
    }
    let lanes = if rest.is_some() { [middle - 8.0, middle + 8.0] } else { [middle, middle] };
    let rows = [Some(share), rest];
    for (lane, share) in lanes.into_iter().zip(rows) {
        let Some((share, part)) = share.and_then(|share| Some((share, share.share()?))) else {
            continue;
        };
        let first = lane <= middle;
        let (tone, thick) = if first { (Tone::This, 2.0) } else { (Tone::Precedent, 1.2) };
        let stroke = Stroke::solid(tone, thick);
        let (low, high) = share.interval;
        canvas.line([x(low), lane], [x(high), lane], stroke);
        for end in [low, high] {
            canvas.line([x(end), lane - 3.0], [x(end), lane + 3.0], stroke);
        }
        let paint = if first {
            Paint::fill(tone)
        } else {
            Paint::fill(Tone::Paper).and(Stroke::solid(tone, 1.4))
        };
        canvas.circle([x(part), lane], 4.0, paint);
    }
    canvas.finish()
}
