//! A jointed body as a shaded figure: capsules and balls lit from one side, on a court under a
//! sky. Enough for a person detector, and every joint is known.

use precedent::motion::{Joint, Recording};

type V3 = [f64; 3];

fn add(a: V3, b: V3, k: f64) -> V3 {
    std::array::from_fn(|i| a[i] + k * b[i])
}

fn sub(a: V3, b: V3) -> V3 {
    add(a, b, -1.0)
}

fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: V3, b: V3) -> V3 {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn unit(a: V3) -> V3 {
    let n = dot(a, a).sqrt();
    a.map(|x| x / n)
}

/// A camera that looks level at the player.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Camera {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Degrees about the player: 0 behind, 90 on the right-hander's hitting side, 180 in front.
    pub(crate) around_deg: f64,
    /// Pixels a metre at the player's distance.
    pub(crate) pixels_per_m: f64,
}

const DISTANCE_M: f64 = 9.0;
const EYE_M: f64 = 1.45;

/// The camera's axes: right, into the picture, and where it stands.
struct Pinhole {
    right: V3,
    into: V3,
    eye: V3,
    focal_px: f64,
    centre: [f64; 2],
}

impl Camera {
    /// Where a point in space falls in the picture: column and row, pixels.
    #[allow(dead_code, reason = "each test file uses its part")]
    pub(crate) fn project(&self, point: V3) -> [f64; 2] {
        let [x, y, _] = self.pinhole().project(point);
        [x, y]
    }

    fn pinhole(&self) -> Pinhole {
        let (s, c) = self.around_deg.to_radians().sin_cos();
        let into = [-s, c, 0.0];
        Pinhole {
            right: [c, s, 0.0],
            into,
            eye: add([0.0, 0.0, EYE_M], into, -DISTANCE_M),
            focal_px: self.pixels_per_m * DISTANCE_M,
            centre: [self.width as f64 / 2.0, self.height as f64 / 2.0],
        }
    }
}

impl Pinhole {
    /// Column, row, distance into the picture.
    fn project(&self, p: V3) -> [f64; 3] {
        let d = sub(p, self.eye);
        let depth = dot(d, self.into);
        let k = self.focal_px / depth;
        [self.centre[0] + k * dot(d, self.right), self.centre[1] - k * d[2], depth]
    }
}

const SKIN: V3 = [224.0, 172.0, 140.0];
const SHIRT: V3 = [196.0, 60.0, 52.0];
const SHORTS: V3 = [40.0, 46.0, 74.0];
const HAIR: V3 = [58.0, 40.0, 28.0];
const SHOE: V3 = [236.0, 236.0, 240.0];
const DARK: V3 = [30.0, 24.0, 24.0];
const LIPS: V3 = [176.0, 84.0, 84.0];
const FRAME: V3 = [20.0, 20.0, 24.0];

/// A picture with depth.
#[derive(Clone)]
struct Canvas {
    width: usize,
    height: usize,
    /// Light per channel, 0 to 255.
    light: Vec<[f32; 3]>,
    depth: Vec<f32>,
}

impl Canvas {
    fn ground(camera: &Camera) -> Self {
        let pinhole = camera.pinhole();
        let (width, height) = (camera.width, camera.height);
        let mut light = Vec::with_capacity(width * height);
        for row in 0..height {
            for column in 0..width {
                let down = (row as f64 - pinhole.centre[1]) / pinhole.focal_px;
                let speck = ((column * 7919 + row * 104_729) % 17) as f64 - 8.0;
                light.push(
                    if down <= 0.004 {
                        let up = 1.0 - row as f64 / pinhole.centre[1].max(1.0);
                        // A hedge behind the court, sky above it.
                        if down > -0.09 {
                            [54.0 + speck * 2.0, 84.0 + speck * 2.5, 58.0 + speck * 1.5]
                        } else {
                            [168.0 - 60.0 * up, 196.0 - 36.0 * up, 226.0]
                        }
                    } else {
                        let far = EYE_M / down;
                        let side = (column as f64 - pinhole.centre[0]) / pinhole.focal_px * far;
                        let spot = add(
                            add(add(pinhole.eye, pinhole.into, far), pinhole.right, side),
                            [0.0, 0.0, EYE_M],
                            -1.0,
                        );
                        // The baseline just before the front foot.
                        if (spot[1] - 0.15).abs() < 0.05 && spot[0].abs() < 5.0 {
                            [232.0, 232.0, 228.0]
                        } else {
                            [52.0 + speck, 104.0 + speck, 142.0 + speck]
                        }
                    }
                    .map(|v| v as f32),
                );
            }
        }
        Self { width, height, light, depth: vec![f32::INFINITY; width * height] }
    }

    fn ball(&mut self, pinhole: &Pinhole, at: V3, radius_m: f64, colour: V3) {
        let [x, y, depth] = pinhole.project(at);
        let radius = radius_m * pinhole.focal_px / depth;
        if radius <= 0.0 || !x.is_finite() || !y.is_finite() {
            return;
        }
        let range = |centre: f64, end: usize| {
            let from = (centre - radius).ceil().max(0.0) as usize;
            let to = ((centre + radius).floor() + 1.0).clamp(0.0, end as f64) as usize;
            from..to
        };
        let sun = unit([0.45, -0.5, 0.9]);
        let sun = [dot(sun, pinhole.right), dot(sun, pinhole.into), sun[2]];
        for row in range(y, self.height) {
            for column in range(x, self.width) {
                let u = (column as f64 - x) / radius;
                let v = (row as f64 - y) / radius;
                let flat = u * u + v * v;
                if flat > 1.0 {
                    continue;
                }
                let out = (1.0 - flat).sqrt();
                let here = (depth - out * radius_m) as f32;
                let pixel = row * self.width + column;
                if here >= self.depth[pixel] {
                    continue;
                }
                self.depth[pixel] = here;
                let lit = 0.58 + 0.42 * (u * sun[0] - out * sun[1] - v * sun[2]).max(0.0);
                self.light[pixel] = colour.map(|c| (c * lit) as f32);
            }
        }
    }

    fn limb(&mut self, pinhole: &Pinhole, ends: [V3; 2], radii_m: [f64; 2], colour: V3) {
        let way = sub(ends[1], ends[0]);
        let thin = radii_m[0].min(radii_m[1]);
        let steps = (dot(way, way).sqrt() / (0.15 * thin)).ceil().clamp(2.0, 200.0) as usize;
        for i in 0..=steps {
            let t = i as f64 / steps as f64;
            let radius = radii_m[0] + t * (radii_m[1] - radii_m[0]);
            self.ball(pinhole, add(ends[0], way, t), radius, colour);
        }
    }
}

/// A camera before the empty court.
pub(crate) struct Set {
    camera: Camera,
    empty: Canvas,
}

impl Set {
    pub(crate) fn new(camera: Camera) -> Self {
        Self { camera, empty: Canvas::ground(&camera) }
    }

    /// The body of one frame of `recording` (which must hold every joint); light per channel, 0
    /// to 255, row by row.
    pub(crate) fn draw(&self, recording: &Recording, frame: usize) -> Vec<[f32; 3]> {
        let mut canvas = self.empty.clone();
        figure(&mut canvas, &self.camera.pinhole(), |joint| {
            recording.at(frame, joint).expect("the generator holds every joint")
        });
        canvas.light
    }
}

fn figure(c: &mut Canvas, pinhole: &Pinhole, at: impl Fn(Joint) -> V3) {
    use Joint::*;
    let middle = |a: V3, b: V3| add(a, sub(b, a), 0.5);
    let (neck, hips) =
        (middle(at(LeftShoulder), at(RightShoulder)), middle(at(LeftHip), at(RightHip)));
    let across = unit(sub(at(RightShoulder), at(LeftShoulder)));
    let chest = unit(cross(sub(neck, hips), across).map(|x| -x));
    // Trunk: a flat bundle of capsules.
    for k in -3..=3 {
        let side = f64::from(k) / 3.0;
        let top = add(add(neck, sub(at(RightShoulder), neck), 0.86 * side), [0.0, 0.0, 1.0], -0.05);
        let waist = add(middle(neck, hips), across, 0.11 * side);
        let foot = add(hips, sub(at(RightHip), hips), 1.15 * side);
        let bulge = 0.02 * (1.0 - side * side);
        c.limb(pinhole, [add(top, chest, bulge), waist], [0.085, 0.095], SHIRT);
        c.limb(pinhole, [waist, foot], [0.095, 0.095], SHIRT);
        c.limb(pinhole, [foot, add(foot, [0.0, 0.0, -1.0], 0.05)], [0.097, 0.099], SHORTS);
    }
    for (shoulder, elbow, wrist, index, little, thumb) in [
        (LeftShoulder, LeftElbow, LeftWrist, LeftIndex, LeftLittle, LeftThumb),
        (RightShoulder, RightElbow, RightWrist, RightIndex, RightLittle, RightThumb),
    ] {
        let sleeve = add(at(shoulder), sub(at(elbow), at(shoulder)), 0.55);
        c.limb(pinhole, [at(shoulder), sleeve], [0.068, 0.06], SHIRT);
        c.limb(pinhole, [sleeve, at(elbow)], [0.05, 0.042], SKIN);
        c.limb(pinhole, [at(elbow), at(wrist)], [0.044, 0.029], SKIN);
        for (finger, reach, radius) in
            [(index, 1.7, 0.016), (little, 1.6, 0.014), (thumb, 1.3, 0.015)]
        {
            let tip = add(at(wrist), sub(at(finger), at(wrist)), reach);
            c.limb(pinhole, [at(wrist), at(finger)], [0.026, 0.018], SKIN);
            c.limb(pinhole, [at(finger), tip], [radius, 0.011], SKIN);
        }
        let palm = middle(at(index), at(little));
        c.limb(pinhole, [at(wrist), add(palm, sub(palm, at(wrist)), 0.6)], [0.028, 0.02], SKIN);
    }
    for (hip, knee, ankle, heel, toe) in [
        (LeftHip, LeftKnee, LeftAnkle, LeftHeel, LeftToe),
        (RightHip, RightKnee, RightAnkle, RightHeel, RightToe),
    ] {
        let hem = add(at(hip), sub(at(knee), at(hip)), 0.62);
        c.limb(pinhole, [at(hip), hem], [0.096, 0.084], SHORTS);
        c.limb(pinhole, [hem, at(knee)], [0.07, 0.056], SKIN);
        let calf = add(at(knee), sub(at(ankle), at(knee)), 0.3);
        c.limb(pinhole, [at(knee), calf], [0.054, 0.057], SKIN);
        c.limb(pinhole, [calf, at(ankle)], [0.057, 0.036], SKIN);
        c.limb(pinhole, [at(ankle), at(heel)], [0.042, 0.04], SHOE);
        c.limb(pinhole, [at(heel), at(toe)], [0.042, 0.036], SHOE);
    }
    // Head: skull, face, hair, features.
    let skull = at(Head);
    let ears = unit(sub(at(RightEar), at(LeftEar)));
    let ahead = sub(at(Nose), middle(at(LeftEar), at(RightEar)));
    let ahead = unit(add(ahead, ears, -dot(ahead, ears)));
    let crown = cross(ears, ahead);
    c.limb(
        pinhole,
        [add(neck, [0.0, 0.0, 1.0], -0.02), add(skull, crown, -0.05)],
        [0.058, 0.052],
        SKIN,
    );
    c.ball(pinhole, add(skull, crown, 0.012), 0.094, SKIN);
    c.ball(pinhole, add(add(skull, crown, -0.045), ahead, 0.028), 0.068, SKIN);
    c.ball(pinhole, add(add(skull, crown, 0.03), ahead, -0.018), 0.1, HAIR);
    c.limb(
        pinhole,
        [add(add(skull, crown, 0.1), ahead, 0.03), add(add(skull, crown, -0.04), ahead, -0.06)],
        [0.03, 0.05],
        HAIR,
    );
    c.ball(pinhole, at(LeftEar), 0.021, SKIN);
    c.ball(pinhole, at(RightEar), 0.021, SKIN);
    let face = |joint: Joint| add(at(joint), ahead, 0.0);
    for eye in [LeftEye, RightEye] {
        let lid = add(face(eye), ahead, -0.004);
        c.ball(pinhole, lid, 0.0125, [246.0, 244.0, 240.0]);
        c.ball(pinhole, add(lid, ahead, 0.007), 0.0075, DARK);
        let brow = add(lid, crown, 0.02);
        c.limb(pinhole, [add(brow, ears, -0.015), add(brow, ears, 0.015)], [0.006, 0.006], HAIR);
    }
    let nose = add(at(Nose), ahead, -0.012);
    c.limb(pinhole, [add(nose, crown, 0.03), nose], [0.011, 0.016], [232.0, 176.0, 144.0]);
    let mouth = add(add(at(Nose), crown, -0.038), ahead, -0.014);
    c.limb(pinhole, [add(mouth, ears, -0.022), add(mouth, ears, 0.022)], [0.007, 0.007], LIPS);
    // Racket: handle, and a hoop facing across the shaft.
    let (throat, tip) = (at(RacketThroat), at(RacketTip));
    let far = |joint: Joint| dot(sub(at(joint), throat), sub(at(joint), throat));
    let (wrist, index, little) = if far(RightWrist) < far(LeftWrist) {
        (RightWrist, RightIndex, RightLittle)
    } else {
        (LeftWrist, LeftIndex, LeftLittle)
    };
    c.limb(pinhole, [at(wrist), throat], [0.016, 0.014], FRAME);
    let long = sub(tip, throat);
    let wide = unit(cross(long, sub(at(index), at(little))));
    let centre = middle(throat, tip);
    let rim = |k: usize| {
        let angle = k as f64 / 24.0 * std::f64::consts::TAU;
        add(add(centre, long, 0.5 * angle.cos()), wide, 0.12 * angle.sin())
    };
    for k in 0..24 {
        c.limb(pinhole, [rim(k), rim(k + 1)], [0.011, 0.011], FRAME);
    }
}
