use super::body::{Placement, Pose, Viewpoint, draw_inked, part_centre};
use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{spread, width, wrap};
use crate::motion::Joint;
use crate::serve::BodyPart;
use crate::words::sentence;

/// How a distance is made up: shares that each add to 1.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Likeness {
    /// Share of each body part.
    pub parts: Vec<(BodyPart, f64)>,
    /// Share of each phase, in order of time.
    pub phases: Vec<(String, f64)>,
}

impl Likeness {
    fn share(&self, part: BodyPart) -> f64 {
        let share: f64 = self.parts.iter().filter(|held| held.0 == part).map(|held| held.1).sum();
        if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 }
    }
}

/// A body standing ready, drawn by us; it measures nobody.
fn standing() -> Pose {
    use Joint::*;
    Pose::new(vec![
        (Head, [0.0, 0.0, 0.94]),
        (Neck, [0.0, 0.0, 0.83]),
        (LeftShoulder, [-0.11, 0.0, 0.81]),
        (RightShoulder, [0.11, 0.0, 0.81]),
        (LeftElbow, [-0.21, 0.0, 0.68]),
        (RightElbow, [0.22, 0.0, 0.69]),
        (LeftWrist, [-0.30, 0.0, 0.56]),
        (RightWrist, [0.31, 0.0, 0.81]),
        (LeftIndex, [-0.325, 0.0, 0.52]),
        (RightIndex, [0.325, 0.0, 0.855]),
        (RacketThroat, [0.35, 0.0, 1.0]),
        (RacketTip, [0.38, 0.0, 1.16]),
        (LeftHip, [-0.065, 0.0, 0.52]),
        (RightHip, [0.065, 0.0, 0.52]),
        (LeftKnee, [-0.115, 0.0, 0.285]),
        (RightKnee, [0.115, 0.0, 0.285]),
        (LeftAnkle, [-0.14, 0.0, 0.05]),
        (RightAnkle, [0.14, 0.0, 0.05]),
        (LeftToe, [-0.19, 0.0, 0.015]),
        (RightToe, [0.19, 0.0, 0.015]),
    ])
}

/// A standing figure whose parts are inked by their share of the distance, the share written beside
/// each part, and a phase bar under it: the darker, the more the two serves differ there.
///
/// `with` names the other serve ("the closest precedent"). Drawn for 250 to 400 px.
#[must_use]
pub fn likeness_figure(likeness: &Likeness, with: &str, width_px: f64) -> Svg {
    let tall = if width_px < 300.0 { 150.0 } else { 220.0 };
    let figure_top = 12.0;
    let ground = figure_top + tall;
    let scale = tall / 1.2;
    let columns = likeness.phases.len().max(1) as f64;
    let cell = width_px / columns;
    let names_size = if cell < 64.0 { 9.5 } else { 10.5 };
    let names: Vec<Vec<String>> =
        likeness.phases.iter().map(|(name, _)| wrap(name, names_size, false, cell - 2.0)).collect();
    let lines = names.iter().map(Vec::len).max().unwrap_or(0) as f64;
    let bar_top = ground + 24.0;
    let height =
        if likeness.phases.is_empty() { ground + 8.0 } else { bar_top + 38.0 + 12.0 * lines };

    let percent = |share: f64| format!("{:.0} %", share * 100.0);
    let mut description = format!("Share of the difference to {with}.");
    for part in BodyPart::ALL {
        description.push_str(&format!(
            " {} {}.",
            sentence(part.label()),
            percent(likeness.share(part))
        ));
    }
    for (name, share) in &likeness.phases {
        description.push_str(&format!(" {} {}.", sentence(name), percent(share.clamp(0.0, 1.0))));
    }
    let title = format!("Where this serve differs from {with}");
    let mut canvas = Canvas::new("likeness", width_px, height, &title, &description);

    let most =
        BodyPart::ALL.map(|part| likeness.share(part)).into_iter().fold(0.0, f64::max).max(1e-9);
    let place = Placement { origin: [width_px / 2.0, ground], scale, seen: Viewpoint::FromBehind };
    let pose = standing();
    canvas.line(
        [width_px * 0.2, ground],
        [width_px * 0.8, ground],
        Stroke::solid(Tone::Quiet, 1.0),
    );
    draw_inked(&mut canvas, &pose, place, Tone::This, |part| 0.92 * likeness.share(part) / most);

    for (parts, left) in [
        (&[BodyPart::TossingArm, BodyPart::FrontLeg][..], true),
        (&[BodyPart::HittingArm, BodyPart::Trunk, BodyPart::BackLeg][..], false),
    ] {
        let centres: Vec<(BodyPart, [f64; 2])> = parts
            .iter()
            .filter_map(|&part| Some((part, part_centre(&pose, place, part)?)))
            .collect();
        let wanted: Vec<(f64, f64)> = centres.iter().map(|(_, at)| (at[1], 34.0)).collect();
        for (&(part, at), y) in centres.iter().zip(spread(&wanted, figure_top, ground, 4.0)) {
            let (x, style) = if left {
                (0.0, Type::new(12.0, Tone::Ink))
            } else {
                (width_px, Type::new(12.0, Tone::Ink).end())
            };
            let share = percent(likeness.share(part));
            canvas.text([x, y], part.label(), style);
            canvas.text([x, y + 15.0], &share, style.bold());
            let room = width(part.label(), 12.0, false) + 5.0;
            let from = if left { x + room } else { x - room };
            let half = if part == BodyPart::Trunk { scale * 0.06 } else { scale * 0.035 };
            let to = if left { at[0] - half } else { at[0] + half };
            canvas.line([from, y - 4.0], [to, at[1]], Stroke::solid(Tone::Quiet, 0.8));
        }
    }

    let strongest = likeness.phases.iter().map(|p| p.1).fold(0.0, f64::max).max(1e-9);
    for (index, ((_, share), name)) in likeness.phases.iter().zip(&names).enumerate() {
        let share = if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 };
        let x = cell * index as f64;
        let paint = Paint::wash(Tone::This, 0.92 * share / strongest);
        canvas.rect(
            [x + 1.0, bar_top],
            [cell - 2.0, 12.0],
            0.0,
            paint.and(Stroke::solid(Tone::This, 1.0)),
        );
        let middle = x + cell / 2.0;
        canvas.text(
            [middle, bar_top + 27.0],
            &percent(share),
            Type::new(12.0, Tone::Ink).bold().middle(),
        );
        for (line, text) in name.iter().enumerate() {
            let at = [middle, bar_top + 40.0 + 12.0 * line as f64];
            canvas.text(at, text, Type::new(names_size, Tone::Quiet).middle());
        }
    }
    canvas.finish()
}
