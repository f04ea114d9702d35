//! Drawing on pictures: shapes, words and the body in pixels with soft edges, for clips that are made.
//!
//! Places are pixels from the top left of the picture, centres of pixels at one half; what lies beyond
//! its edge is left out.

use std::sync::OnceLock;

use ab_glyph::{Font, FontRef, PxScale, ScaleFont};
use ab_glyph_rasterizer::{Rasterizer, point};

use super::body::{Edge, Placement, Pose, corners, hull, lay};
use super::style::Tone;
use crate::video::Frame;

/// Words over pictures are bold: they stand on any ground.
const FONT: &[u8] = include_bytes!("font/DejaVuSans-Bold-part.ttf");
/// Shapes beyond this are not on any picture we make.
const LARGEST_PX: f64 = 1e4;

/// What is drawn with: red, green and blue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Ink {
    pub(crate) rgb: [u8; 3],
}

impl Ink {
    /// A tone as it is on light paper.
    pub(crate) fn of(tone: Tone) -> Self {
        let hex = u32::from_str_radix(&tone.light()[1..], 16).unwrap_or_default();
        let [_, rgb @ ..] = hex.to_be_bytes();
        Self { rgb }
    }
}

/// An empty picture in one colour.
pub(crate) fn sheet(width: usize, height: usize, ink: Ink) -> Frame {
    Frame { width, height, rgb: ink.rgb.repeat(width * height) }
}

/// Lays `picture` on `frame` with its top left corner at `at`.
pub(crate) fn lay_picture(frame: &mut Frame, picture: &Frame, at: [usize; 2]) {
    let across = picture.width.min(frame.width.saturating_sub(at[0])) * 3;
    for row in 0..picture.height.min(frame.height.saturating_sub(at[1])) {
        let (from, to) = (row * picture.width * 3, ((row + at[1]) * frame.width + at[0]) * 3);
        frame.rgb[to..to + across].copy_from_slice(&picture.rgb[from..from + across]);
    }
}

/// Covers one pixel in part.
fn blend(frame: &mut Frame, x: i64, y: i64, ink: Ink, share: f32) {
    if x < 0 || y < 0 || x >= frame.width as i64 || y >= frame.height as i64 {
        return;
    }
    let at = (y as usize * frame.width + x as usize) * 3;
    let cover = share.clamp(0.0, 1.0);
    for (under, over) in frame.rgb[at..at + 3].iter_mut().zip(ink.rgb) {
        let under_was = f32::from(*under);
        *under = (under_was + cover * (f32::from(over) - under_was)).round() as u8;
    }
}

/// Fills the shape whose corners are given in order.
pub(crate) fn fill(frame: &mut Frame, shape: &[[f64; 2]], ink: Ink) {
    let low = |axis: usize| shape.iter().map(|at| at[axis]).fold(f64::INFINITY, f64::min).floor();
    let high = |axis: usize| shape.iter().map(|at| at[axis]).fold(f64::NEG_INFINITY, f64::max);
    let (left, top) = (low(0), low(1));
    let size = [high(0) - left, high(1) - top];
    if shape.len() < 3 || !size.iter().all(|side| (0.0..LARGEST_PX).contains(side)) {
        return;
    }
    let mut raster = Rasterizer::new(size[0].ceil() as usize + 2, size[1].ceil() as usize + 2);
    let place = |at: [f64; 2]| point((at[0] - left) as f32, (at[1] - top) as f32);
    for (index, &corner) in shape.iter().enumerate() {
        raster.draw_line(place(corner), place(shape[(index + 1) % shape.len()]));
    }
    raster.for_each_pixel_2d(|x, y, share| {
        blend(frame, left as i64 + i64::from(x), top as i64 + i64::from(y), ink, share);
    });
}

/// A line through `points` with round ends, `wide` pixels wide.
pub(crate) fn line(frame: &mut Frame, points: &[[f64; 2]], wide: f64, ink: Ink) {
    for pair in points.windows(2) {
        fill(frame, &hull(&[(pair[0], wide / 2.0), (pair[1], wide / 2.0)]), ink);
    }
}

fn font() -> &'static FontRef<'static> {
    static READ: OnceLock<FontRef<'static>> = OnceLock::new();
    READ.get_or_init(|| FontRef::try_from_slice(FONT).expect("the font in the program is whole"))
}

/// Pixels that words of this size take across.
pub(crate) fn words_width(text: &str, size_px: f64) -> f64 {
    let scaled = font().as_scaled(PxScale::from(size_px as f32));
    text.chars().map(|c| f64::from(scaled.h_advance(font().glyph_id(c)))).sum()
}

/// Words in one line that begin at `at` and stand on it; a letter the font lacks shows as its sign
/// for the unknown.
pub(crate) fn words(frame: &mut Frame, at: [f64; 2], text: &str, size_px: f64, ink: Ink) {
    let scale = PxScale::from(size_px as f32);
    let mut x = at[0] as f32;
    for c in text.chars() {
        let id = font().glyph_id(c);
        let glyph = id.with_scale_and_position(scale, ab_glyph::point(x, at[1] as f32));
        x += font().as_scaled(scale).h_advance(id);
        let Some(outlined) = font().outline_glyph(glyph) else { continue };
        let corner = outlined.px_bounds().min;
        outlined.draw(|column, row, share| {
            let (left, top) = (corner.x as i64, corner.y as i64);
            blend(frame, left + i64::from(column), top + i64::from(row), ink, share);
        });
    }
}

/// The body, solid in one ink or as an outline, on a ground of `paper`; mirrored about the middle of
/// its hips if so wished.
pub(crate) fn body(frame: &mut Frame, pose: &Pose, place: Placement, look: BodyLook, paper: Ink) {
    let turned = |limb: &super::body::Laid| {
        let mut shape = corners(limb, place);
        if look.mirrored {
            shape.iter_mut().for_each(|at| at[0] = 2.0 * place.origin[0] - at[0]);
        }
        shape
    };
    // Limbs are convex, so that what lies around one is the hull of its corners made round.
    let around = |shape: &[[f64; 2]], by: f64| {
        hull(&shape.iter().map(|&corner| (corner, by)).collect::<Vec<_>>())
    };
    let limbs = lay(pose, place.seen);
    if look.solid {
        for limb in &limbs {
            let shape = turned(limb);
            if limb.edge == Edge::Halo {
                fill(frame, &around(&shape, 2.0), paper);
            }
            fill(frame, &shape, look.ink);
        }
        return;
    }
    let outer = || limbs.iter().filter(|limb| !matches!(limb.edge, Edge::Join(_)));
    for limb in outer() {
        fill(frame, &around(&turned(limb), 3.0), look.ink);
    }
    for limb in outer() {
        fill(frame, &turned(limb), paper);
    }
}

/// How a body is drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BodyLook {
    pub(crate) ink: Ink,
    /// In solid ink, not as an outline.
    pub(crate) solid: bool,
    /// Left and right exchanged: figures are drawn as right-handers.
    pub(crate) mirrored: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHITE: Ink = Ink { rgb: [255; 3] };
    const BLACK: Ink = Ink { rgb: [0; 3] };

    fn darkness(frame: &Frame) -> f64 {
        frame.rgb.iter().step_by(3).map(|&v| 1.0 - f64::from(v) / 255.0).sum()
    }

    #[test]
    fn a_shape_covers_its_area_and_only_its_place() {
        let mut frame = sheet(40, 30, WHITE);
        fill(&mut frame, &[[10.5, 5.0], [20.5, 5.0], [20.5, 15.0], [10.5, 15.0]], BLACK);
        // By hand: 10 x 10 pixels, the outer columns half covered.
        assert!((darkness(&frame) - 100.0).abs() < 0.5, "{}", darkness(&frame));
        let at = |x: usize, y: usize| frame.rgb[(y * 40 + x) * 3];
        assert_eq!((at(15, 10), at(9, 10), at(15, 16)), (0, 255, 255));
        assert!((126..=129).contains(&at(10, 10)), "{}", at(10, 10));
    }

    #[test]
    fn what_lies_beyond_the_edge_is_left_out() {
        let mut frame = sheet(10, 10, WHITE);
        line(&mut frame, &[[-9.0, 30.0], [40.0, 30.0]], 2.0, BLACK);
        fill(&mut frame, &[[-5.0, -5.0], [5.0, -5.0], [5.0, 5.0], [-5.0, 5.0]], BLACK);
        fill(&mut frame, &[[0.0, 0.0], [f64::NAN, 1.0], [1e9, 1.0]], BLACK);
        words(&mut frame, [-400.0, 5.0], "beyond", 12.0, BLACK);
        assert!((darkness(&frame) - 25.0).abs() < 0.5, "{}", darkness(&frame));
        let picture = sheet(20, 20, BLACK);
        lay_picture(&mut frame, &picture, [8, 9]);
        assert!((darkness(&frame) - 27.0).abs() < 0.5);
    }

    #[test]
    fn words_are_as_wide_as_their_letters_and_every_letter_of_a_language_is_there() {
        let mut frame = sheet(400, 60, WHITE);
        words(&mut frame, [10.0, 40.0], "Contact, 0.42 s", 24.0, BLACK);
        let inked = |x: usize| (0..60).any(|y| frame.rgb[(y * 400 + x) * 3] < 128);
        let last = (0..400).rev().find(|&x| inked(x)).unwrap() as f64;
        let wide = words_width("Contact, 0.42 s", 24.0);
        assert!((10.0 + wide - last).abs() < 4.0, "{wide} {last}");
        for c in "AZaz09 äöüßéèñçøåžșğ ΑΩαω АЯая – “” …".chars().filter(|c| !c.is_whitespace())
        {
            assert_ne!(font().glyph_id(c).0, 0, "the font lacks {c}");
        }
    }
}
