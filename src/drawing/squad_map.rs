use super::body::{Placement, Pose, Viewpoint, draw_solid, extent};
use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{spread, width};
use crate::serve::EventKind;
use crate::squad::Alike;
use crate::words::count;

/// Line styles by which outlines are told apart without colour.
const DASHES: [Option<&str>; 5] = [None, Some("7 4"), Some("2 3"), Some("10 3 2 3"), Some("4 2")];
/// An outline holds this share of a group's looks, those nearest to its middle.
const OUTLINED: f64 = 0.9;

/// Looks as small dots, groups as outlines, each with its medoid at trophy drawn small beside the
/// map and a line to where it lies.
///
/// Axes have no meaning of their own; the bar gives the scale. Outlines leave out a group's
/// outermost tenth. Up to as many groups as [`crate::squad::GroupsParams`] tries.
#[must_use]
pub fn map_drawing(alike: &Alike, width_px: f64) -> Svg {
    let narrow = width_px < 520.0;
    let grouped = alike.groups.len() > 1;
    let column = if narrow { 112.0 } else { 170.0 };
    let room = [width_px - column - 24.0, if narrow { 240.0 } else { 360.0 }];
    let bounds = |axis: usize| {
        let values = alike.serves.iter().map(|serve| serve.place[axis]);
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let ((left, right), (low, high)) = (bounds(0), bounds(1));
    let (wide, tall) = ((right - left).max(1e-9), (high - low).max(1e-9));
    let scale = (room[0] / wide).min(room[1] / tall);
    let row = figure_row(alike.groups.len(), narrow);
    let map_height = (tall * scale).max(row * alike.groups.len() as f64).max(120.0);
    let height = map_height + 52.0;
    let at = |place: [f64; 2]| {
        [
            12.0 + room[0] / 2.0 + (place[0] - f64::midpoint(left, right)) * scale,
            12.0 + map_height / 2.0 - (place[1] - f64::midpoint(low, high)) * scale,
        ]
    };
    let title = format!("Map of {}", count(alike.looks, "look"));
    let mut description = String::from("Looks that lie close together are alike.");
    for group in &alike.groups {
        description.push_str(&format!(
            " Group {}: {}, {}.",
            group.letter,
            count(group.players, "player"),
            count(group.serves, "serve")
        ));
    }
    let mut canvas = Canvas::new("squad-map", width_px, height, &title, &description);
    let radius = if alike.looks > 1500 { 1.2 } else { 2.4 };
    for (number, _) in alike.groups.iter().enumerate() {
        let places: Vec<[f64; 2]> = alike
            .serves
            .iter()
            .filter(|serve| serve.group == number && serve.typical)
            .map(|serve| at(serve.place))
            .collect();
        if grouped {
            let stroke = match DASHES[number % DASHES.len()] {
                Some(dash) => Stroke::dashed(Tone::Ink, 1.3, dash),
                None => Stroke::solid(Tone::Ink, 1.3),
            };
            canvas.shape(&outline(&places), true, Paint::wash(Tone::Quiet, 0.08).and(stroke));
        }
        for place in places {
            // Every other group hollow, so that neighbours differ without colour.
            let paint = if number % 2 == 0 {
                Paint::wash(Tone::This, 0.75)
            } else {
                Paint::fill(Tone::Paper).and(Stroke::solid(Tone::Precedent, 0.9))
            };
            canvas.circle(place, radius, paint);
        }
    }
    figures(&mut canvas, alike, [width_px - column, width_px, map_height + 12.0], row, &at);
    // One spread, as a bar.
    let unit = [0.1, 0.2, 0.5, 1.0, 2.0].into_iter().find(|u| u * scale >= 36.0).unwrap_or(5.0);
    let base = map_height + 36.0;
    canvas.line([12.0, base], [12.0 + unit * scale, base], Stroke::solid(Tone::Ink, 1.5));
    for end in [12.0, 12.0 + unit * scale] {
        canvas.line([end, base - 4.0], [end, base + 4.0], Stroke::solid(Tone::Ink, 1.5));
    }
    let told = if narrow {
        format!("{unit} spreads apart")
    } else {
        format!("{unit} typical spreads between players apart on average")
    };
    canvas.text([20.0 + unit * scale, base + 4.0], &told, Type::new(11.0, Tone::Quiet));
    canvas.finish()
}

/// Height of a medoid's place in the column: smaller where there are many.
fn figure_row(groups: usize, narrow: bool) -> f64 {
    let most = if narrow { 84.0 } else { 112.0 };
    (560.0 / groups.max(1) as f64).min(most)
}

/// The groups' medoids in a column at the right, each joined to its place, `row` px for each; how
/// many players they are where there is room for it.
fn figures(
    canvas: &mut Canvas,
    alike: &Alike,
    [left, right, bottom]: [f64; 3],
    row: f64,
    at: &impl Fn([f64; 2]) -> [f64; 2],
) {
    let tall = row - 10.0;
    let wanted: Vec<(f64, f64)> = alike
        .groups
        .iter()
        .map(|group| {
            let medoid = alike.serves.iter().find(|serve| serve.serve == group.medoid);
            (medoid.map_or(0.0, |serve| at(serve.place)[1]), tall)
        })
        .collect();
    let middles = spread(&wanted, 0.0, bottom, 8.0);
    for (group, middle) in alike.groups.iter().zip(middles) {
        if let Some(medoid) = alike.serves.iter().find(|serve| serve.serve == group.medoid) {
            let place = at(medoid.place);
            canvas.line(place, [left - 4.0, middle], Stroke::solid(Tone::Quiet, 0.8));
            canvas.circle(place, 4.6, Paint::fill(Tone::Ink));
        }
        let trophy = f64::from(group.figures.event_samples[EventKind::Trophy as usize]);
        let pose = Pose::at(&group.figures, trophy);
        let mut words_from = left + 4.0;
        if let Some(room) = extent(&pose, Viewpoint::FromHittingSide) {
            let scale = tall / (room.high - room.low).max(0.3);
            let ground = middle + tall / 2.0 + scale * room.low;
            let origin = [left + 4.0 - scale * room.left, ground];
            draw_solid(
                canvas,
                &pose,
                Placement { origin, scale, seen: Viewpoint::FromHittingSide },
                Tone::This,
            );
            words_from = left + 12.0 + scale * (room.right - room.left);
        }
        let name = if alike.groups.len() > 1 { group.letter.as_str() } else { "all" };
        canvas.text([words_from, middle], name, Type::new(16.0, Tone::Ink).bold());
        let players = count(group.players, "player");
        if words_from + width(&players, 11.0, false) <= right {
            canvas.text([words_from, middle + 16.0], &players, Type::new(11.0, Tone::Ink));
        }
    }
}

/// Corners of the hull of the inner nine tenths of `places`.
fn outline(places: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let count = places.len().max(1) as f64;
    let middle = [0, 1].map(|axis| places.iter().map(|place| place[axis]).sum::<f64>() / count);
    let far = |place: &[f64; 2]| (place[0] - middle[0]).hypot(place[1] - middle[1]);
    let mut inner = places.to_vec();
    inner.sort_by(|a, b| far(a).total_cmp(&far(b)));
    inner.truncate(((count * OUTLINED).ceil() as usize).max(1));
    // Room around each dot, so that one serve is an outline too.
    let circles: Vec<([f64; 2], f64)> = inner.into_iter().map(|place| (place, 7.0)).collect();
    super::body::hull(&circles)
}
