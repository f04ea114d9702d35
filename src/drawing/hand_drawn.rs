//! What a coach drew on a picture, over the picture.

use std::fmt::Write as _;

use super::style::{SANS, Tone};
use super::svg::{escape, num};
use crate::library::{Marked, Point};

/// Dark enough to be seen on any ground, and to print.
const RIM: &str = "#14110a";
/// Length of an arrow's head and of an angle's arc, px.
const HEAD: f64 = 24.0;
const ARC: f64 = 34.0;

/// A mark as SVG in a drawing of its own: `to` takes a place in the clip there. Nothing for a moment,
/// and for words that have no place.
#[must_use]
pub fn hand_drawn(what: &Marked, to: impl Fn(Point) -> Point) -> String {
    let points: Vec<Point> = what.points().iter().map(|&point| to(point)).collect();
    let mut path = String::new();
    let mut label = None;
    match (what, points.as_slice()) {
        (Marked::Angle { .. }, &[a, vertex, b]) => {
            polyline(&mut path, &[a, vertex, b]);
            let towards = |p: Point| (p[1] - vertex[1]).atan2(p[0] - vertex[0]);
            let (from, until) = (towards(a), towards(b));
            let at =
                |angle: f64, r: f64| [vertex[0] + r * angle.cos(), vertex[1] + r * angle.sin()];
            let turn = (until - from).rem_euclid(std::f64::consts::TAU);
            let other_way = turn > std::f64::consts::PI;
            let (start, end) = (at(from, ARC), at(until, ARC));
            let _ = write!(
                path,
                "M{} {}A{ARC} {ARC} 0 0 {} {} {}",
                num(start[0]),
                num(start[1]),
                u8::from(!other_way),
                num(end[0]),
                num(end[1])
            );
            let half = if other_way { turn - std::f64::consts::TAU } else { turn } / 2.0;
            let said = what.angle_in_picture_deg().map(|deg| format!("{deg:.0} deg"));
            label = said.map(|said| (said, at(from + half, ARC + 34.0)));
        }
        (Marked::Line { .. }, &[a, b]) => polyline(&mut path, &[a, b]),
        (Marked::Arrow { .. }, &[a, b]) => {
            polyline(&mut path, &[a, b]);
            let way = (b[1] - a[1]).atan2(b[0] - a[0]);
            for side in [-0.45, 0.45_f64] {
                let (sin, cos) = (way + side).sin_cos();
                polyline(&mut path, &[b, [b[0] - HEAD * cos, b[1] - HEAD * sin]]);
            }
        }
        (Marked::Ring { .. }, &[centre, edge]) => {
            let r = num((edge[0] - centre[0]).hypot(edge[1] - centre[1]));
            let (left, y) =
                (centre[0] - (edge[0] - centre[0]).hypot(edge[1] - centre[1]), num(centre[1]));
            let right = 2.0 * centre[0] - left;
            let (left, right) = (num(left), num(right));
            let _ = write!(path, "M{left} {y}A{r} {r} 0 1 1 {right} {y}A{r} {r} 0 1 1 {left} {y}");
        }
        (Marked::Words { text, .. }, &[at]) => label = Some((text.clone(), at)),
        _ => {}
    }
    // The dark variant of the coach's ochre: on pictures it is the lighter one that is seen.
    let ink = Tone::Precedent.dark();
    let mut svg = String::new();
    for (colour, wide) in [(RIM, 8.0), (ink, 4.0)] {
        if !path.is_empty() {
            let _ = write!(
                svg,
                r#"<path d="{path}" fill="none" stroke="{colour}" stroke-width="{wide}" stroke-linecap="round" stroke-linejoin="round"/>"#
            );
        }
    }
    if let Some((text, [x, y])) = label {
        let _ = write!(
            svg,
            r#"<text x="{}" y="{}" font-family="{SANS}" font-size="24" font-weight="600" text-anchor="middle" fill="{ink}" stroke="{RIM}" stroke-width="6" stroke-linejoin="round" paint-order="stroke">{}</text>"#,
            num(x),
            num(y + 8.0),
            escape(&text)
        );
    }
    svg
}

/// What a mark is called in a line of text; nothing for a moment.
#[must_use]
pub fn describe_drawn(what: &Marked) -> Option<String> {
    Some(match what {
        Marked::Moment { .. } => return None,
        Marked::Angle { .. } => {
            format!("angle of {:.0} deg in the picture", what.angle_in_picture_deg()?)
        }
        Marked::Line { .. } => "a line".to_owned(),
        Marked::Arrow { .. } => "an arrow".to_owned(),
        Marked::Ring { .. } => "a ring".to_owned(),
        Marked::Words { text, .. } => text.clone(),
    })
}

fn polyline(path: &mut String, points: &[Point]) {
    for (at, point) in points.iter().enumerate() {
        // Writing to a string cannot fail.
        let _ =
            write!(path, "{}{} {}", if at == 0 { "M" } else { "L" }, num(point[0]), num(point[1]));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_drawing_lies_where_it_was_put_and_its_words_stay_text() {
        let half = |[x, y]: Point| [x / 2.0, y / 2.0];
        let line = hand_drawn(&Marked::Line { points: [[10.0, 20.0], [30.0, 40.0]] }, half);
        assert!(line.contains(r#"d="M5 10L15 20""#), "{line}");
        // A right angle, as anybody can see.
        let square = Marked::Angle { points: [[100.0, 0.0], [0.0, 0.0], [0.0, 100.0]] };
        assert!(hand_drawn(&square, half).contains(">90 deg</text>"));
        assert_eq!(describe_drawn(&square).unwrap(), "angle of 90 deg in the picture");
        let words = Marked::Words { at: Some([8.0, 8.0]), text: "</text><b>".to_owned() };
        let drawn = format!("<svg>{}</svg>", hand_drawn(&words, half));
        let tree = roxmltree::Document::parse(&drawn).unwrap();
        assert_eq!(tree.root_element().first_element_child().unwrap().text(), Some("</text><b>"));
    }
}
