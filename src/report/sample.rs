//! Invented bodies and reviews for the tests of this room, none of them a measured person.

use jiff::civil::date;

use super::*;
use crate::catalogue::Catalogue;
use crate::library::{Level, ServeType, Setting};
use crate::motion::{Joint, Side};
use crate::serve::{CURVE_FRAMES, Event, EventKind, Figures, Reading};

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

fn figures_of(knee: f64) -> Figures {
    figures(&Swing { knee, ..Swing::default() })
}

fn measure(
    name: &str,
    moment: &str,
    value: Option<(f64, f64)>,
    unit: &str,
    reference: Option<(f64, f64)>,
) -> MeasureRow {
    MeasureRow {
        name: name.to_owned(),
        moment: moment.to_owned(),
        definition: format!("Read at {moment}, 0 = straight; invented for the test."),
        unit: unit.to_owned(),
        reading: value.map_or_else(
            || Reading::NotMeasurable { why: "no hand joints".to_owned() },
            |(value, give_or_take)| Reading::Value { value, trust: 0.82, give_or_take },
        ),
        reference: reference.map(|(low, high)| {
            (low, high, "Jacquier-Bret and Gorce 2024, pooled, mean and one spread".to_owned())
        }),
        precedents: reference.map(|(low, high)| (low + 2.0, high - 6.0)),
    }
}

fn likeness(turn: f64) -> Likeness {
    use BodyPart::{BackLeg, FrontLeg, HittingArm, TossingArm, Trunk};
    Likeness {
        parts: vec![
            (HittingArm, 0.21 - turn),
            (TossingArm, 0.17),
            (Trunk, 0.12),
            (FrontLeg, 0.31 + turn),
            (BackLeg, 0.19),
        ],
        phases: [
            ("toss", 0.1),
            ("loading", 0.46),
            ("cocking", 0.22),
            ("acceleration", 0.13),
            ("follow-through", 0.09),
        ]
        .map(|(name, share)| (name.to_owned(), share))
        .to_vec(),
    }
}

fn precedent(number: usize, level: Level, changed: Option<f64>, drills: &[&str]) -> Precedent {
    Precedent {
        player: format!("HOLM-{number}"),
        serve: format!("s{}", 300 + number),
        case: format!("c{}", 40 + number),
        date: date(2025, 3, 7 + number as i8),
        own: false,
        level: Some(level),
        hand: Some(Side::Right),
        context: "15 to 16, 1.71 m, flat".to_owned(),
        distance: 1.9 + 0.31 * number as f64,
        likeness: likeness(0.02 * number as f64),
        faults: vec!["Shallow leg drive".to_owned(), "Tossing arm drops early".to_owned()],
        same_fault: true,
        drills: drills.iter().map(|&drill| drill.to_owned()).collect(),
        outcome: match changed {
            Some(by) => Outcome::Changed {
                measure: "front knee bend".to_owned(),
                by,
                unit: "deg".to_owned(),
                detectable: 6.0,
            },
            None => Outcome::NotFollowedUp,
        },
        figures: Some(figures_of(0.8 + 0.1 * number as f64)),
    }
}

/// Dots of an invented drill.
pub(super) fn dots(label: &str, changes: &[f64], estimate: Option<(f64, f64, f64)>) -> DotRow {
    DotRow {
        label: label.to_owned(),
        measure: "front knee bend at trophy".to_owned(),
        unit: "deg".to_owned(),
        changes: changes.to_vec(),
        detectable: 6.0,
        estimate,
        interval_pct: 90,
    }
}

/// Invented reviews of one player.
pub(super) fn months() -> MonthStrip {
    let point =
        |month, day, value| ReviewPoint { date: date(2026, month, day), value, give_or_take: 3.4 };
    let plan = |label: &str, start, end| PlanSpan { label: label.to_owned(), start, end };
    MonthStrip {
        measure: "front knee bend at trophy".to_owned(),
        unit: "deg".to_owned(),
        reviews: vec![point(5, 4, 31.0), point(6, 8, 33.0), point(7, 6, 36.0), point(9, 2, 38.0)],
        detectable: 6.0,
        reference: Some((54.8, 74.2)),
        plans: vec![
            plan("Toss inside the whole rhythm", date(2026, 5, 5), Some(date(2026, 7, 6))),
            plan("Serves from the service line", date(2026, 7, 7), None),
        ],
    }
}

/// A whole review with every part filled, invented.
pub(super) fn review_data() -> ReviewData {
    use Joint::{
        LeftAnkle, LeftElbow, LeftHip, LeftKnee, LeftShoulder, LeftWrist, RightElbow,
        RightShoulder, RightWrist,
    };
    let this = figures(&Swing { knee: 0.55, lean: 0.06, arm_up: 0.3, late: 0.0 });
    let others = others(14);
    let catalogue = Catalogue::builtin();
    let drill = |id: &str, dose| DrillFacts::new(catalogue.drill(id).unwrap(), dose);
    let change = |measure: &str, before, after, unit: &str, detectable, larger_is_better| Change {
        measure: measure.to_owned(),
        unit: unit.to_owned(),
        before,
        after,
        detectable,
        larger_is_better,
    };
    let fault = |id: &str, score, measures: &[usize], decided: Option<&str>| {
        let fault = catalogue.fault(id).unwrap();
        FaultFacts {
            name: fault.name.clone(),
            to_player: fault.to_player.clone(),
            why: fault.cost.text.clone(),
            score: Some(score),
            decided: decided.map(str::to_owned),
            measures: measures.to_vec(),
            order: Some("First because it lies upstream of the early tossing arm, costs most speed, and 5 of 7 players with it improved.".to_owned()),
        }
    };
    ReviewData {
        serve: ServeFacts {
            id: "s412".to_owned(), date: date(2026, 9, 2), source: "markers, 120 Hz".to_owned(),
            setting: Some(Setting::Target), serve_type: Some(ServeType::Flat),
            notes: vec!["gap of 0.05 s at the left wrist filled".to_owned(), "low-pass at 8 Hz".to_owned()],
        },
        player: PlayerFacts {
            code: "BIRK-3".to_owned(), hand: Side::Left, level: Some(Level::Club),
            age_band: Some("15 to 16".to_owned()), stature_m: Some(1.68),
        },
        events: events(),
        limiting: Some(fault("shallow_leg_drive", 0.71, &[0], Some("confirmed by the coach"))),
        second: Some(fault("tossing_arm_drops_early", 0.44, &[2], None)),
        other_faults: vec![fault("collapsed_front_knee", 0.31, &[3], None)],
        unseen_faults: vec![("No turn of the palm after contact".to_owned(), "needs hand joints".to_owned())],
        channels: vec![
            channel("front knee", ["more bent", "straighter"], [LeftHip, LeftKnee, LeftAnkle], &this, &others),
            channel("hitting elbow", ["more bent", "straighter"], [RightShoulder, RightElbow, RightWrist], &this, &others),
            channel("tossing elbow", ["more bent", "straighter"], [LeftShoulder, LeftElbow, LeftWrist], &this, &others),
        ],
        measures: vec![
            measure("front knee bend at trophy", "trophy", Some((38.0, 3.4)), "deg", Some((54.8, 74.2))),
            measure("trunk inclination at trophy", "trophy", Some((22.1, 4.6)), "deg", Some((17.9, 32.1))),
            measure("tossing arm falls before contact", "release to contact", Some((0.41, 0.05)), "s", None),
            measure("front knee bend at contact", "contact", Some((29.0, 5.0)), "deg", Some((10.0, 38.0))),
            measure("contact height over stature", "contact", Some((1.44, 0.02)), "ratio", None),
            measure("palm rotation after contact", "contact to finish", None, "deg", None),
        ],
        precedents: Precedents {
            searched: 388,
            filter: Some("right handed or left handed, not the same player".to_owned()),
            found: vec![
                precedent(1, Level::Club, Some(11.0), &["Serves from the service line", "Jump and reach"]),
                precedent(2, Level::Competition, Some(3.0), &["Jump and reach"]),
                precedent(3, Level::Club, None, &["Land inside the line"]),
                precedent(4, Level::National, Some(-8.0), &["Land inside the line"]),
            ],
        },
        plan: Some(PlanFacts {
            start: Some(date(2026, 9, 3)),
            review_on: Some(date(2026, 10, 5)),
            drills: vec![drill("service_line_serves", None), drill("jump_and_reach", Some("3 x 5, Monday and Thursday")), drill("land_inside", None)],
            note: None,
        }),
        evidence: vec![
            EvidenceRow {
                row: dots("Serves from the service line", &[11.0, 14.0, 3.0, 9.0, 22.0, -2.0, 12.0], Some((10.0, 5.0, 15.0))),
                effective_players: Some(4.6), typical_days: Some(38.0),
                trust: "Seven players, few enough that one more could shift this.".to_owned(),
            },
            EvidenceRow {
                row: dots("Jump and reach", &[4.0, -8.0, 10.0], None),
                effective_players: Some(2.1), typical_days: None,
                trust: "Only three players, HOLM-2 among them: read it as three stories, not as a number.".to_owned(),
            },
        ],
        progress: Some(Progress {
            sentence: "Since May your front knee bend at trophy went from about 31 to 38 deg; that is more than chance allows (6 deg).".to_owned(),
            months: Some(months()),
            earlier: Some((figures_of(0.4), "4 May 2026".to_owned())),
            elsewhere: vec![
                change("tossing arm falls before contact", 0.33, 0.41, "s", 0.06, Some(false)),
                change("contact height over stature", 1.41, 1.44, "ratio", 0.04, Some(true)),
            ],
            ball: vec!["Serve speed 131, then 137 km/h (as reported).".to_owned()],
        }),
        with_ball: Some(Comparison {
            sentence: "Without a ball you bend more: the fault grows when the ball comes, so part of it is timing.".to_owned(),
            changes: vec![change("front knee bend at trophy", 49.0, 38.0, "deg", 6.0, Some(true))],
        }),
        asked: vec![
            Asked { what: "grip: bevel under the index knuckle".to_owned(), answer: Some("2".to_owned()) },
            Asked { what: "where misses go".to_owned(), answer: None },
        ],
        cautions: vec!["Sore front knee reported in May: keep jumps low and few.".to_owned()],
        figures: Some(this),
    }
}

/// The same serve with everything optional absent.
pub(super) fn bare_review() -> ReviewData {
    let full = review_data();
    ReviewData {
        figures: None,
        events: Vec::new(),
        limiting: None,
        second: None,
        other_faults: Vec::new(),
        unseen_faults: Vec::new(),
        channels: Vec::new(),
        measures: Vec::new(),
        precedents: Precedents::default(),
        plan: None,
        evidence: Vec::new(),
        progress: None,
        with_ball: None,
        asked: Vec::new(),
        cautions: Vec::new(),
        ..full
    }
}
