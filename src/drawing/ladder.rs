use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};

/// The mark beside a rung: a ladder of `of` rungs, the first `rung` (from 1) of them inked, the
/// number of this one beside it. The easy end is the foot of the ladder.
///
/// The words of a rung are set by the page, so that they break as the reader's screen wants.
#[must_use]
pub fn ladder_mark(rung: usize, of: usize) -> Svg {
    let (width, height) = (44.0, 48.0);
    let of = of.max(1);
    let rung = rung.clamp(1, of);
    let title = format!("Rung {rung} of {of}");
    let said = if rung == 1 {
        "the easy end"
    } else if rung == of {
        "the full serve"
    } else {
        "in between"
    };
    let mut canvas = Canvas::new("ladder-mark", width, height, &title, said);
    let (left, right, top, bottom) = (4.0, 24.0, 2.0, height - 2.0);
    for rail in [left, right] {
        canvas.line([rail, top], [rail, bottom], Stroke::solid(Tone::Ink, 1.6));
    }
    let gap = (bottom - top) / (of + 1) as f64;
    for step in 1..=of {
        let y = bottom - gap * step as f64;
        if step < rung {
            canvas.line([left, y], [right, y], Stroke::solid(Tone::Ink, 1.6));
        } else if step > rung {
            canvas.line([left, y], [right, y], Stroke::dashed(Tone::Quiet, 1.0, "2 2"));
        } else {
            canvas.rect([left, y - 2.5], [right - left, 5.0], 0.0, Paint::fill(Tone::This));
            let number = Type::new(14.0, Tone::This).bold();
            canvas.text([right + 6.0, (y + 5.0).min(height - 2.0)], &rung.to_string(), number);
        }
    }
    canvas.finish()
}
