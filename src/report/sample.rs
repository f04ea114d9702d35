//! Invented bodies and reviews for the tests of this room, none of them a measured person.

use super::ribbon::{Band, Channel, warp_to_events};
use crate::motion::Joint;
use crate::serve::{CURVE_FRAMES, Event, EventKind, Figures};

/// What is changed about the invented serve.
#[derive(Debug, Clone, Copy)]
pub(super) struct Swing {
    /// 0 = straight legs, 1 = the deep bend of the drawing.
    pub knee: f64,
    /// Extra trunk lean to the tossing side at contact, as a part of the trunk's direction.
    pub lean: f64,
    /// 1 = tossing arm stays up, 0 = falls at once.
    pub arm_up: f64,
    /// Percent by which the middle events come later.
    pub late: f64,
}

impl Default for Swing {
    fn default() -> Self {
        Self { knee: 1.0, lean: 0.0, arm_up: 1.0, late: 0.0 }
    }
}

type V = [f64; 3];

struct Key {
    trunk: V,
    /// Direction from the tossing-side to the hitting-side shoulder and hip.
    shoulders: V,
    hips: V,
    toss: [V; 2],
    hit: [V; 3],
    front: [V; 2],
    back: [V; 2],
    feet: [V; 2],
    lift: f64,
}

fn unit(v: V) -> V {
    let length = (v[0] * v[0] + v[1] * v[1] + v[2] * v[2]).sqrt();
    v.map(|x| x / length)
}

fn go(from: V, direction: V, length: f64) -> V {
    let d = unit(direction);
    [0, 1, 2].map(|axis| from[axis] + length * d[axis])
}

fn keys(swing: &Swing) -> [Key; 6] {
    let (k, arm) = (swing.knee, swing.arm_up);
    [
        Key {
            trunk: [0.06, 0.03, 1.0],
            shoulders: [-0.05, -1.0, 0.0],
            hips: [0.05, -1.0, 0.0],
            toss: [[0.35, 0.15, -0.9], [0.9, -0.15, -0.15]],
            hit: [[0.3, -0.1, -0.95], [0.85, 0.45, 0.1], [0.75, 0.35, 0.55]],
            front: [[0.08, 0.12, -1.0], [-0.06, 0.05, -1.0]],
            back: [[0.08, -0.2, -1.0], [-0.06, -0.12, -1.0]],
            feet: [[0.6, 0.8, 0.0], [0.95, 0.1, 0.0]],
            lift: 0.0,
        },
        Key {
            trunk: [0.0, 0.1, 1.0],
            shoulders: [-0.2, -0.95, -0.15],
            hips: [-0.05, -1.0, 0.0],
            toss: [[0.6, 0.45, 0.65], [0.55, 0.4, 0.75]],
            hit: [[-0.25, -0.75, -0.55], [0.25, -0.8, -0.25], [0.3, -0.85, 0.1]],
            front: [[0.3 * k + 0.05, 0.18, -1.0], [-0.22 * k, 0.0, -1.0]],
            back: [[0.3 * k + 0.05, -0.12, -1.0], [-0.22 * k, -0.15, -1.0]],
            feet: [[0.6, 0.8, 0.0], [0.95, 0.1, 0.0]],
            lift: 0.0,
        },
        Key {
            trunk: [-0.16, -0.12, 1.0],
            shoulders: [-0.35, -0.85, -0.45],
            hips: [-0.2, -0.95, -0.1],
            toss: [[0.25, 0.3, 0.92], [0.2, 0.3, 0.95]],
            hit: [[-0.45, -0.85, -0.1], [0.35, -0.25, 0.92], [0.1, 0.45, 0.85]],
            front: [[0.62 * k + 0.03, 0.32, -0.8], [-0.55 * k, 0.0, -0.88]],
            back: [[0.62 * k + 0.03, 0.02, -0.8], [-0.55 * k, -0.22, -0.88]],
            feet: [[0.6, 0.8, 0.0], [0.85, 0.4, 0.0]],
            lift: 0.0,
        },
        Key {
            trunk: [-0.2, 0.05, 1.0],
            shoulders: [0.5, -0.8, 0.1],
            hips: [0.45, -0.9, 0.1],
            toss: [[0.15, 0.55, 0.3 * arm + 0.05], [0.45, 0.3, 0.7 * arm - 0.5]],
            hit: [[0.75, -0.5, 0.4], [-0.35, -0.3, -0.75], [-0.15, 0.1, -0.95]],
            front: [[0.2 * k, 0.2, -1.0], [-0.2 * k, -0.05, -1.0]],
            back: [[0.2 * k, 0.05, -1.0], [-0.2 * k, -0.25, -1.0]],
            feet: [[0.4, 0.5, -0.75], [0.4, 0.5, -0.75]],
            lift: 0.03 + 0.02 * k,
        },
        Key {
            trunk: [-0.38 - swing.lean, 0.25, 1.0],
            shoulders: [0.72, -0.1, 0.62],
            hips: [0.9, -0.3, 0.25],
            toss: [[-0.05, 0.5, -0.8], [0.75, 0.1, -0.15]],
            hit: [[0.28, 0.25, 0.92], [0.03, 0.25, 0.97], [-0.12, 0.3, 0.95]],
            front: [[0.02, 0.12, -1.0], [-0.05, -0.12, -1.0]],
            back: [[0.12, -0.05, -1.0], [-0.05, -0.55, -0.85]],
            feet: [[0.1, 0.35, -0.9], [0.1, -0.3, -0.9]],
            lift: 0.06 + 0.05 * k,
        },
        Key {
            trunk: [-0.12, 0.6, 0.85],
            shoulders: [0.65, 0.65, -0.3],
            hips: [0.85, 0.35, 0.0],
            toss: [[-0.4, -0.1, -0.8], [0.5, 0.5, -0.2]],
            hit: [[-0.55, 0.35, -0.75], [-0.8, -0.1, -0.55], [-0.55, -0.55, -0.35]],
            front: [[0.12, 0.35, -1.0], [-0.1, -0.25, -1.0]],
            back: [[0.1, -0.35, -1.0], [0.05, -0.95, 0.1]],
            feet: [[0.2, 0.95, 0.0], [0.0, -0.3, -0.9]],
            lift: 0.0,
        },
    ]
}

const JOINTS: [Joint; 20] = [
    Joint::Head,
    Joint::Neck,
    Joint::LeftShoulder,
    Joint::RightShoulder,
    Joint::LeftElbow,
    Joint::RightElbow,
    Joint::LeftWrist,
    Joint::RightWrist,
    Joint::LeftIndex,
    Joint::RightIndex,
    Joint::LeftHip,
    Joint::RightHip,
    Joint::LeftKnee,
    Joint::RightKnee,
    Joint::LeftAnkle,
    Joint::RightAnkle,
    Joint::LeftToe,
    Joint::RightToe,
    Joint::RacketTip,
    Joint::RacketThroat,
];

fn body(a: &Key, b: &Key, part: f64) -> Vec<V> {
    let mix = |x: V, y: V| unit([0, 1, 2].map(|i| unit(x)[i] * (1.0 - part) + unit(y)[i] * part));
    let half = |v: V, length: f64| unit(v).map(|x| x * length);
    let pelvis = [0.0, 0.0, 0.0];
    let neck = go(pelvis, mix(a.trunk, b.trunk), 0.29);
    let head = go(neck, mix(mix(a.trunk, b.trunk), [0.0, 0.1, 1.0]), 0.115);
    let (shoulders, hips) =
        (half(mix(a.shoulders, b.shoulders), 0.105), half(mix(a.hips, b.hips), 0.065));
    let at = |middle: V, offset: V, sign: f64| [0, 1, 2].map(|i| middle[i] + sign * offset[i]);
    let (ls, rs) = (at(neck, shoulders, -1.0), at(neck, shoulders, 1.0));
    let (lh, rh) = (at(pelvis, hips, -1.0), at(pelvis, hips, 1.0));
    let le = go(ls, mix(a.toss[0], b.toss[0]), 0.17);
    let lw = go(le, mix(a.toss[1], b.toss[1]), 0.15);
    let li = go(lw, mix(a.toss[1], b.toss[1]), 0.045);
    let re = go(rs, mix(a.hit[0], b.hit[0]), 0.17);
    let rw = go(re, mix(a.hit[1], b.hit[1]), 0.15);
    let ri = go(rw, mix(a.hit[1], b.hit[1]), 0.04);
    let throat = go(ri, mix(a.hit[2], b.hit[2]), 0.16);
    let tip = go(throat, mix(a.hit[2], b.hit[2]), 0.18);
    let lk = go(lh, mix(a.front[0], b.front[0]), 0.245);
    let la = go(lk, mix(a.front[1], b.front[1]), 0.245);
    let rk = go(rh, mix(a.back[0], b.back[0]), 0.245);
    let ra = go(rk, mix(a.back[1], b.back[1]), 0.245);
    let low = |ankle: V| [ankle[0], ankle[1], ankle[2] - 0.03];
    let lt = go(low(la), mix(a.feet[0], b.feet[0]), 0.11);
    let rt = go(low(ra), mix(a.feet[1], b.feet[1]), 0.11);
    let ground = la[2].min(ra[2]) - 0.045 - (a.lift * (1.0 - part) + b.lift * part);
    [head, neck, ls, rs, le, re, lw, rw, li, ri, lh, rh, lk, rk, la, ra, lt, rt, tip, throat]
        .into_iter()
        .map(|p| [p[0], p[1], p[2] - ground])
        .collect()
}

/// An invented serve's body, at rates and times an ordinary serve has.
pub(super) fn figures(swing: &Swing) -> Figures {
    let late = swing.late as f32;
    let event_samples = [4.0, 30.0 + late, 55.0 + late, 70.0 + late / 2.0, 79.0, 99.0];
    let keys = keys(swing);
    let mut positions = Vec::new();
    for sample in 0..CURVE_FRAMES {
        let sample = sample as f32;
        let after = event_samples.iter().position(|&event| event >= sample).unwrap_or(5).max(1);
        let (from, to) = (event_samples[after - 1], event_samples[after]);
        let part = f64::from(((sample - from) / (to - from)).clamp(0.0, 1.0));
        let part = part * part * (3.0 - 2.0 * part);
        positions
            .extend(body(&keys[after - 1], &keys[after], part).iter().map(|p| p.map(|x| x as f32)));
    }
    Figures { joints: JOINTS.to_vec(), positions, event_samples }
}

/// Angle at the middle of three joints over the serve, 0 = straight, degrees.
pub(super) fn flexion(figures: &Figures, joints: [Joint; 3]) -> Vec<f64> {
    let column = |joint| figures.joints.iter().position(|&held| held == joint);
    let Some(columns) = joints.map(column).into_iter().collect::<Option<Vec<_>>>() else {
        return vec![f64::NAN; CURVE_FRAMES];
    };
    (0..CURVE_FRAMES)
        .map(|sample| {
            let at = |k: usize| {
                figures.positions[sample * figures.joints.len() + columns[k]].map(f64::from)
            };
            let (a, b, c) = (at(0), at(1), at(2));
            let (u, v) =
                (unit([0, 1, 2].map(|i| b[i] - a[i])), unit([0, 1, 2].map(|i| c[i] - b[i])));
            (u[0] * v[0] + u[1] * v[1] + u[2] * v[2]).clamp(-1.0, 1.0).acos().to_degrees()
        })
        .collect()
}

/// Invented serves around the default one.
pub(super) fn others(count: usize) -> Vec<Figures> {
    (0..count)
        .map(|index| {
            let turn = (index * 7 % count) as f64 / count as f64 - 0.5;
            figures(&Swing {
                knee: 1.0 + 0.24 * turn,
                lean: 0.1 * turn,
                arm_up: 1.0,
                late: 5.0 * turn,
            })
        })
        .collect()
}

/// A channel of the invented serve `this` with the band of `others`.
pub(super) fn channel(
    label: &str,
    [larger, smaller]: [&str; 2],
    joints: [Joint; 3],
    this: &Figures,
    others: &[Figures],
) -> Channel {
    let curves: Vec<Vec<f64>> = others
        .iter()
        .map(|other| {
            warp_to_events(&flexion(other, joints), &other.event_samples, &this.event_samples)
        })
        .collect();
    Channel {
        label: label.to_owned(),
        unit: "deg".to_owned(),
        larger: larger.to_owned(),
        smaller: smaller.to_owned(),
        notable: 6.0,
        values: flexion(this, joints),
        event_samples: this.event_samples,
        band: Band::of(&curves),
    }
}

/// Events at the times an ordinary serve has.
pub(super) fn events() -> Vec<Event> {
    EventKind::ALL
        .into_iter()
        .zip([0.1, 0.62, 1.08, 1.32, 1.50, 1.98])
        .map(|(kind, time_s)| Event { kind, time_s, frame: (time_s * 120.0) as usize, trust: 0.9 })
        .collect()
}
