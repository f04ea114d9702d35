use super::body::{Extent, Placement, Pose, Viewpoint, draw_outline, draw_solid, extent};
use super::style::Tone;
use super::svg::{Canvas, Stroke, Svg};
use crate::serve::{EventKind, Figures};
use crate::words::sentence;

/// Room of one figure, px.
const WIDTH: f64 = 56.0;
const HEIGHT: f64 = 76.0;

/// The body at one moment, small, to stand on a ruler: this serve in solid ink, another as an
/// outline behind it. All six of a serve have one scale and one ground line. A body without depth is drawn
/// in the plane of its picture.
#[must_use]
pub fn moment_figure(
    this: &Figures,
    behind: Option<&Figures>,
    kind: EventKind,
    seen: Viewpoint,
) -> Svg {
    let pose = |figures: &Figures, kind: EventKind| {
        Pose::at(figures, f64::from(figures.event_samples[kind as usize]))
    };
    let label = sentence(kind.label());
    let at = f64::from(this.event_samples[kind as usize]);
    let other = behind.map(|other| pose(other, kind));
    draw(this, &Pose::at(this, at), other.as_ref(), &label, seen)
}

/// The body at one sample (0 to 100) of a serve, as [`moment_figure()`] has it at a moment.
#[must_use]
pub fn sample_figure(this: &Figures, sample: f64, label: &str, seen: Viewpoint) -> Svg {
    draw(this, &Pose::at(this, sample), None, label, seen)
}

fn draw(this: &Figures, pose: &Pose, behind: Option<&Pose>, label: &str, seen: Viewpoint) -> Svg {
    let seen = if this.is_flat() { Viewpoint::FromBehind } else { seen };
    let moment = |kind: EventKind| Pose::at(this, f64::from(this.event_samples[kind as usize]));
    let mut canvas = Canvas::new("moment-figure", WIDTH, HEIGHT, label, label);
    let all = EventKind::ALL.iter().filter_map(|&kind| extent(&moment(kind), seen));
    let Some(all) = all.reduce(Extent::union) else { return canvas.finish() };
    let low = all.low.min(0.0);
    let scale = ((HEIGHT - 6.0) / (all.high - low).max(0.1))
        .min((WIDTH - 2.0) / (2.0 * all.right.max(-all.left)).max(0.1));
    let ground = HEIGHT - 3.0 + scale * low;
    let place = Placement { origin: [WIDTH / 2.0, ground], scale, seen };
    if let Some(behind) = behind {
        draw_outline(&mut canvas, behind, place, Tone::Precedent);
    }
    draw_solid(&mut canvas, pose, place, Tone::This);
    canvas.line([0.0, ground], [WIDTH, ground], Stroke::solid(Tone::Quiet, 1.0));
    canvas.finish()
}
