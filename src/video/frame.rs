//! One decoded frame, and the rotated square crops the networks look at.

/// One frame of a clip: 8-bit RGB, row-major, phone rotation already applied.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Frame {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// `rgb[(row * width + column) * 3 + channel]`.
    pub rgb: Vec<u8>,
}

/// A square of a picture, turned about its centre; pixels, y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// Centre x, y.
    pub centre_px: [f64; 2],
    /// Length of the side.
    pub side_px: f64,
    /// Turn in radians, clockwise as seen (y points down).
    pub turn_rad: f64,
}

/// What a crop shows beyond the edge of the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Border {
    /// Black.
    Zero,
    /// The nearest pixel of the picture.
    Replicate,
}

impl Region {
    /// The upright square around a whole picture.
    #[must_use]
    pub fn whole(frame: &Frame) -> Self {
        Self {
            centre_px: [frame.width as f64 / 2.0, frame.height as f64 / 2.0],
            side_px: frame.width.max(frame.height) as f64,
            turn_rad: 0.0,
        }
    }

    /// The region a figure fills, from its mid-hip point `a` and its scale-and-turn point `b`.
    pub(super) fn from_points(a: [f64; 2], b: [f64; 2]) -> Self {
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let turn = std::f64::consts::FRAC_PI_2 - (-dy).atan2(dx);
        Self { centre_px: a, side_px: 2.0 * dx.hypot(dy) * 1.25, turn_rad: wrap(turn) }
    }

    /// A point given in fractions of the region, in pixels of the picture.
    pub(super) fn to_picture(self, u: f64, v: f64) -> [f64; 2] {
        let (sin, cos) = self.turn_rad.sin_cos();
        let (x, y) = ((u - 0.5) * self.side_px, (v - 0.5) * self.side_px);
        [x * cos - y * sin + self.centre_px[0], x * sin + y * cos + self.centre_px[1]]
    }
}

fn wrap(angle_rad: f64) -> f64 {
    use std::f64::consts::{PI, TAU};
    angle_rad - TAU * ((angle_rad + PI) / TAU).floor()
}

/// Samples `region` to n x n RGB in `out` (n * n * 3), bilinear, as `value * scale + offset`.
///
/// Output pixel (x, y) looks at (x S/n - S/2, y S/n - S/2), turned and moved to the centre: no
/// half-pixel offset, as the networks were trained.
pub(super) fn crop(
    frame: &Frame,
    region: Region,
    n: usize,
    border: Border,
    (scale, offset): (f32, f32),
    out: &mut [f32],
) {
    let (sin, cos) = region.turn_rad.sin_cos();
    let step = region.side_px / n as f64;
    let half = region.side_px / 2.0;
    let [centre_x, centre_y] = region.centre_px;
    let (last_column, last_line) = (frame.width as i64 - 1, frame.height as i64 - 1);
    let row = frame.width * 3;
    // Quicker than to turn each byte into such a number: a million of them.
    let light: [f32; 256] = std::array::from_fn(|value| value as f32);
    for (y, line) in out.chunks_exact_mut(n * 3).take(n).enumerate() {
        let v = y as f64 * step - half;
        let (aside, down) = (v * sin, v * cos);
        for x in 0..n {
            let u = x as f64 * step - half;
            let px = u * cos - aside + centre_x;
            let py = u * sin + down + centre_y;
            let (left, top) = (floor(px), floor(py));
            let (fx, fy) = ((px - left as f64) as f32, (py - top as f64) as f32);
            let (gx, gy) = (1.0 - fx, 1.0 - fy);
            let target = &mut line[3 * x..3 * x + 3];
            let inside = left >= 0 && top >= 0 && left < last_column && top < last_line;
            // Where the pixels above and below begin, and how far to their right the next ones do.
            let (above, below, right) = if inside {
                let above = top as usize * row + left as usize * 3;
                (above, above + row, 3)
            } else if border == Border::Replicate {
                let column = left.clamp(0, last_column) as usize;
                let next = left.saturating_add(1).clamp(0, last_column) as usize;
                let line = |line: i64| line.clamp(0, last_line) as usize * row + column * 3;
                (line(top), line(top.saturating_add(1)), (next - column) * 3)
            } else {
                let pixel = |right: i64, below: i64| {
                    pixel_or_black(frame, left.saturating_add(right), top.saturating_add(below))
                };
                let corners = [pixel(0, 0), pixel(1, 0), pixel(0, 1), pixel(1, 1)];
                for (c, value) in target.iter_mut().enumerate() {
                    let [a, b, d, e] = corners.map(|colour| light[usize::from(colour[c])]);
                    *value = ((a * gx + b * fx) * gy + (d * gx + e * fx) * fy) * scale + offset;
                }
                continue;
            };
            let upper = &frame.rgb[above..above + right + 3];
            let lower = &frame.rgb[below..below + right + 3];
            for (c, value) in target.iter_mut().enumerate() {
                let of = |line: &[u8], at: usize| light[usize::from(line[at])];
                let above = of(upper, c) * gx + of(upper, right + c) * fx;
                let below = of(lower, c) * gx + of(lower, right + c) * fx;
                *value = (above * gy + below * fy) * scale + offset;
            }
        }
    }
}

/// The largest whole number that is not above: what the standard library asks a distant function for.
fn floor(value: f64) -> i64 {
    let towards_zero = value as i64;
    towards_zero.saturating_sub(i64::from(towards_zero as f64 > value))
}

/// A pixel of the picture; black beyond its edge.
fn pixel_or_black(frame: &Frame, column: i64, line: i64) -> [u8; 3] {
    let (width, height) = (frame.width as i64, frame.height as i64);
    if !(0..width).contains(&column) || !(0..height).contains(&line) {
        return [0; 3];
    }
    let at = (line as usize * frame.width + column as usize) * 3;
    [frame.rgb[at], frame.rgb[at + 1], frame.rgb[at + 2]]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 4 x 4, red = column * 10, green = row * 10.
    fn ramp() -> Frame {
        let mut rgb = Vec::new();
        for row in 0..4 {
            for column in 0..4 {
                rgb.extend([column * 10, row * 10, 0]);
            }
        }
        Frame { width: 4, height: 4, rgb }
    }

    #[test]
    fn an_upright_crop_of_the_whole_copies_the_pixels() {
        let frame = ramp();
        let mut out = vec![0.0; 48];
        crop(&frame, Region::whole(&frame), 4, Border::Zero, (1.0, 0.0), &mut out);
        let want: Vec<f32> = frame.rgb.iter().map(|&v| f32::from(v)).collect();
        assert_eq!(out, want);
    }

    #[test]
    fn beyond_the_edge_zero_is_black_and_replicate_repeats() {
        let frame = ramp();
        let region = Region { centre_px: [-10.0, 1.0], side_px: 2.0, turn_rad: 0.0 };
        let mut out = vec![9.0; 12];
        crop(&frame, region, 2, Border::Zero, (2.0, -1.0), &mut out);
        assert!(out.iter().all(|&v| v == -1.0), "{out:?}");
        crop(&frame, region, 2, Border::Replicate, (1.0, 0.0), &mut out);
        assert_eq!(&out[..3], &[0.0, 0.0, 0.0]);
        assert_eq!(&out[6..9], &[0.0, 10.0, 0.0]);
    }

    #[test]
    fn a_figure_lying_to_the_right_is_turned_upright() {
        // Scale point to the right of the hip: the figure's up is the picture's right.
        let region = Region::from_points([100.0, 50.0], [180.0, 50.0]);
        assert!((region.turn_rad - std::f64::consts::FRAC_PI_2).abs() < 1e-12);
        assert!((region.side_px - 200.0).abs() < 1e-9);
        // The crop's top centre is then 100 px to the right of the hip.
        let top = region.to_picture(0.5, 0.0);
        assert!((top[0] - 200.0).abs() < 1e-9 && (top[1] - 50.0).abs() < 1e-9, "{top:?}");
    }
}
