//! From the landmark network's raw numbers to one figure.

use super::detector::sigmoid;
use super::frame::Region;

/// Side of the landmark network's input in pixels.
pub(super) const INPUT: usize = 256;
/// Landmarks the network gives: 33 of the body, then points that steer the next region.
pub(super) const ALL: usize = 39;
/// Landmarks of the body.
pub const BODY: usize = 33;
/// Cells along a side of the heatmap.
pub(super) const HEATMAP: usize = 64;

const MIN_FLAG: f32 = 0.5;
const WINDOW: i64 = 4;
const MIN_HEAT: f64 = 0.5;

/// The network's outputs for one crop.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Raw {
    /// [`ALL`] x (x, y, z, visibility, presence); x, y, z in pixels of the input.
    pub(super) points: Vec<f32>,
    /// Whether the crop holds a figure, 0 to 1.
    pub(super) flag: f32,
    /// [`HEATMAP`] x [`HEATMAP`] x [`ALL`] logits.
    pub(super) heat: Vec<f32>,
    /// [`ALL`] x (x, y, z) in metres about the mid-hip point.
    pub(super) world: Vec<f32>,
}

/// One figure in one frame.
///
/// Landmark order: nose; left eye inner, eye, outer; right eye inner, eye, outer; ears (left,
/// right from here on); mouth corners; shoulders; elbows; wrists; little fingers; index fingers;
/// thumbs; hips; knees; ankles; heels; toes.
#[derive(Debug, Clone, PartialEq)]
pub struct Pose {
    /// Picture plane, pixels, y down.
    pub picture_px: [[f64; 2]; BODY],
    /// Visibility of each landmark, 0 to 1, as the network rates it.
    pub visibility: [f64; BODY],
    /// Metres about the mid-hip point: x to the picture's right, y down, z away from the camera.
    pub world_m: [[f64; 3]; BODY],
    /// How sure the network is that the region held a figure, 0.5 to 1.
    pub flag: f64,
    /// The two points that steer the next region (mid-hip, scale and turn), pixels.
    pub steering_px: [[f64; 2]; 2],
}

/// The figure in `region`, or `None` if the network sees none there.
pub(super) fn decode(raw: &Raw, region: Region) -> Option<Pose> {
    if raw.flag.is_nan() || raw.flag < MIN_FLAG {
        return None;
    }
    let mut picture = [[0.0; 2]; ALL];
    let mut visibility = [0.0; BODY];
    for (k, place) in picture.iter_mut().enumerate() {
        let point = &raw.points[k * 5..][..5];
        let (u, v) = (f64::from(point[0]) / INPUT as f64, f64::from(point[1]) / INPUT as f64);
        let (u, v) = refine(&raw.heat, k, u, v);
        *place = region.to_picture(u, v);
        if let Some(seen) = visibility.get_mut(k) {
            *seen = sigmoid(f64::from(point[3]));
        }
    }
    let (sin, cos) = region.turn_rad.sin_cos();
    let world_m = std::array::from_fn(|k| {
        let [x, y, z] = std::array::from_fn(|c| f64::from(raw.world[k * 3 + c]));
        [x * cos - y * sin, x * sin + y * cos, z]
    });
    let pose = Pose {
        picture_px: std::array::from_fn(|k| picture[k]),
        visibility,
        world_m,
        flag: f64::from(raw.flag),
        steering_px: [picture[BODY], picture[BODY + 1]],
    };
    let finite = picture.iter().flatten().all(|v| v.is_finite())
        && pose.world_m.iter().flatten().all(|v| v.is_finite());
    finite.then_some(pose)
}

/// The landmark moved to the weighted mean of its heatmap's window, where that is warm enough.
fn refine(heat: &[f32], k: usize, u: f64, v: f64) -> (f64, f64) {
    let size = HEATMAP as i64;
    let column = (u * HEATMAP as f64).floor() as i64;
    let row = (v * HEATMAP as f64).floor() as i64;
    if !(0..size).contains(&column) || !(0..size).contains(&row) {
        return (u, v);
    }
    let (mut sum, mut across, mut down, mut warmest) = (0.0, 0.0, 0.0, 0.0_f64);
    for y in (row - WINDOW).max(0)..=(row + WINDOW).min(size - 1) {
        for x in (column - WINDOW).max(0)..=(column + WINDOW).min(size - 1) {
            let logit = heat[(y as usize * HEATMAP + x as usize) * ALL + k];
            let weight = sigmoid(f64::from(logit));
            sum += weight;
            across += weight * x as f64;
            down += weight * y as f64;
            warmest = warmest.max(weight);
        }
    }
    if warmest >= MIN_HEAT && sum > 0.0 {
        (across / sum / HEATMAP as f64, down / sum / HEATMAP as f64)
    } else {
        (u, v)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn raw() -> Raw {
        let mut points = vec![0.0; ALL * 5];
        for k in 0..ALL {
            points[k * 5] = 128.0;
            points[k * 5 + 1] = 64.0;
        }
        Raw {
            points,
            flag: 0.9,
            heat: vec![-20.0; HEATMAP * HEATMAP * ALL],
            world: vec![0.0; ALL * 3],
        }
    }

    const REGION: Region = Region { centre_px: [300.0, 400.0], side_px: 256.0, turn_rad: 0.0 };

    #[test]
    fn a_cold_heatmap_leaves_the_point_and_a_hot_cell_takes_it() {
        let mut raw = raw();
        let pose = decode(&raw, REGION).unwrap();
        assert_eq!(pose.picture_px[0], [300.0, 336.0]);
        assert_eq!(pose.visibility[0], 0.5);
        // Cell (34, 18) of the nose: 34 / 64 of the region from its left edge.
        raw.heat[(18 * HEATMAP + 34) * ALL] = 20.0;
        let pose = decode(&raw, REGION).unwrap();
        assert!((pose.picture_px[0][0] - (300.0 - 128.0 + 34.0 * 4.0)).abs() < 1e-3);
        assert!((pose.picture_px[0][1] - (400.0 - 128.0 + 18.0 * 4.0)).abs() < 1e-3);
        assert_eq!(pose.picture_px[1], [300.0, 336.0]);
        // Outside the 9 x 9 window nothing is drawn in.
        raw.heat[(18 * HEATMAP + 34) * ALL] = -20.0;
        raw.heat[(18 * HEATMAP + 40) * ALL] = 20.0;
        assert_eq!(decode(&raw, REGION).unwrap().picture_px[0], [300.0, 336.0]);
    }

    #[test]
    fn a_low_flag_is_no_figure_and_the_world_turns_with_the_region() {
        let mut raw = raw();
        raw.world[0] = 1.0;
        raw.world[2] = 0.25;
        let turned = Region { turn_rad: std::f64::consts::FRAC_PI_2, ..REGION };
        let nose = decode(&raw, turned).unwrap().world_m[0];
        assert!(nose[0].abs() < 1e-12 && (nose[1] - 1.0).abs() < 1e-12, "{nose:?}");
        assert_eq!(nose[2], 0.25);
        raw.flag = 0.49;
        assert_eq!(decode(&raw, REGION), None);
        raw.flag = f32::NAN;
        assert_eq!(decode(&raw, REGION), None);
    }
}
