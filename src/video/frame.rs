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
    let (width, height) = (frame.width as i64, frame.height as i64);
    for y in 0..n {
        let v = y as f64 * step - half;
        for x in 0..n {
            let u = x as f64 * step - half;
            let px = u * cos - v * sin + region.centre_px[0];
            let py = u * sin + v * cos + region.centre_px[1];
            let (left, top) = (px.floor(), py.floor());
            let (fx, fy) = ((px - left) as f32, (py - top) as f32);
            let (left, top) = (left as i64, top as i64);
            let target = &mut out[(y * n + x) * 3..][..3];
            if left >= 0 && top >= 0 && left + 1 < width && top + 1 < height {
                let row = frame.width * 3;
                let at = top as usize * row + left as usize * 3;
                let upper = &frame.rgb[at..at + 6];
                let lower = &frame.rgb[at + row..at + row + 6];
                for (c, value) in target.iter_mut().enumerate() {
                    let above = f32::from(upper[c]) * (1.0 - fx) + f32::from(upper[c + 3]) * fx;
                    let below = f32::from(lower[c]) * (1.0 - fx) + f32::from(lower[c + 3]) * fx;
                    *value = (above * (1.0 - fy) + below * fy) * scale + offset;
                }
                continue;
            }
            let pixel = |column: i64, line: i64, c: usize| -> f32 {
                let inside = (0..width).contains(&column) && (0..height).contains(&line);
                if !inside && border == Border::Zero {
                    return 0.0;
                }
                let column = column.clamp(0, width - 1) as usize;
                let line = line.clamp(0, height - 1) as usize;
                f32::from(frame.rgb[(line * frame.width + column) * 3 + c])
            };
            for (c, value) in target.iter_mut().enumerate() {
                let above = pixel(left, top, c) * (1.0 - fx) + pixel(left + 1, top, c) * fx;
                let below = pixel(left, top + 1, c) * (1.0 - fx) + pixel(left + 1, top + 1, c) * fx;
                *value = (above * (1.0 - fy) + below * fy) * scale + offset;
            }
        }
    }
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
