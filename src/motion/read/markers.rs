//! From markers on the skin to joints.
//!
//! | joint | rule |
//! |---|---|
//! | elbow, wrist, knee, ankle | midway between the two markers that bracket it; with one marker alone, that marker |
//! | hip | from the pelvis markers after Bell, Pedersen and Brand 1990 (J Biomech 23:617): with the pelvis width W between the front markers, 0.36 W to the side, 0.19 W back and 0.30 W down from their middle |
//! | shoulder | 17 % of the width between the acromion markers below them, towards the hips (Rab, Petuskey and Bagley 2002, Gait Posture 15:113, from memory) |
//! | head | middle of the head-band markers |
//! | neck | middle of C7 and the top of the breastbone |
//! | hand, heel, toe and joint-centre labels | the marker itself |
//!
//! Where a rule needs a marker that a frame lacks, the joint is a gap in that frame: half a pair
//! would make it jump. Long gaps are bridged first, where the other markers of the segment allow it
//! (`bridge.rs`).

use super::bridge::bridge;
use super::errors::{ReadErrorKind, shorten};
use super::labels::{Role, role};
use super::raw::{assumed, length, minus, plus};
use crate::motion::{Assumption, Joint, Side};

/// Markers as a file holds them, in a right-handed space.
pub(super) struct Markers {
    /// One label a column, without subject prefix.
    pub(super) labels: Vec<String>,
    /// Frames x labels; NaN = gap.
    pub(super) points: Vec<[f64; 3]>,
    /// The source's confidence, laid out as `points`.
    pub(super) confidence: Option<Vec<f32>>,
}

/// Joints made of markers.
pub(super) struct Joints {
    pub(super) joints: Vec<Joint>,
    /// Frames x joints.
    pub(super) positions: Vec<[f64; 3]>,
    /// Laid out as `positions`: of several markers the least sure one counts.
    pub(super) confidence: Option<Vec<f32>>,
    pub(super) unknown: Vec<String>,
    pub(super) assumptions: Vec<Assumption>,
}

const GAP: [f64; 3] = [f64::NAN; 3];

/// How one joint comes of the columns.
enum Rule {
    Column(usize),
    Mean(Vec<usize>),
    /// Front left, front right, and one or two at the back.
    Hip(Side, [usize; 2], Vec<usize>),
    /// The acromion columns left and right.
    Shoulder(Side, [usize; 2]),
}

impl Rule {
    fn confidence(&self, row: &[f32]) -> f32 {
        let least = |columns: &[usize]| columns.iter().map(|&c| row[c]).fold(1.0, f32::min);
        match self {
            Self::Column(column) => row[*column],
            Self::Mean(columns) => least(columns),
            Self::Hip(_, front, back) => least(front).min(least(back)),
            Self::Shoulder(_, pair) => least(pair),
        }
    }
}

/// Columns by role.
struct Columns(Vec<(Role, usize)>);

impl Columns {
    fn of(&self, role: Role) -> Option<usize> {
        self.0.iter().find(|(held, _)| *held == role).map(|&(_, column)| column)
    }
}

impl Markers {
    /// The joints, with long gaps bridged where the frames come at a known rate.
    pub(super) fn into_joints(mut self, rate_hz: Option<f64>) -> Result<Joints, ReadErrorKind> {
        let mut columns = Columns(Vec::new());
        let mut unknown = Vec::new();
        for (column, label) in self.labels.iter().enumerate() {
            match role(label) {
                None => unknown.push(label.clone()),
                Some(Role::Known) => {}
                Some(role) => match columns.of(role) {
                    Some(first) => {
                        return Err(ReadErrorKind::DuplicateLabel {
                            label: if self.labels[first] == *label {
                                label.clone()
                            } else {
                                format!("{} = {label}", self.labels[first])
                            },
                        });
                    }
                    None => columns.0.push((role, column)),
                },
            }
        }
        let bridged = bridge(&mut self, rate_hz);
        let mut notes = Notes::default();
        let rules = rules(&columns, &mut notes);
        let width = self.labels.len();
        let frames = self.points.len().checked_div(width).unwrap_or(0);
        let mut positions = Vec::with_capacity(frames * rules.len());
        for row in self.points.chunks_exact(width.max(1)) {
            let start = positions.len();
            positions.extend(rules.iter().map(|(_, rule)| first_pass(rule, row)));
            lower_shoulders(&rules, row, &mut positions[start..]);
        }
        let confidence = self.confidence.map(|confidence| {
            let rows = confidence.chunks_exact(width.max(1));
            rows.flat_map(|row| rules.iter().map(|(_, rule)| rule.confidence(row))).collect()
        });
        let mut assumptions = notes.into_assumptions();
        assumptions.extend(bridged);
        if !unknown.is_empty() {
            assumptions.push(assumed(
                "labels",
                format!("not used: {}", shorten(&unknown, 12)),
                "not joint or marker names known here",
            ));
        }
        Ok(Joints {
            joints: rules.into_iter().map(|(joint, _)| joint).collect(),
            positions,
            confidence,
            unknown,
            assumptions,
        })
    }
}

/// Which rules were used, for the record.
#[derive(Default)]
struct Notes {
    midway: Vec<&'static str>,
    single: Vec<&'static str>,
    regressed: Vec<&'static str>,
}

impl Notes {
    fn into_assumptions(self) -> Vec<Assumption> {
        let mut list = Vec::new();
        for (joints, taken, why) in [
            (self.midway, "midway between markers", "two markers bracket the joint"),
            (self.single, "the marker itself", "no second marker brackets the joint"),
            (
                self.regressed,
                "from neighbouring markers",
                "hips: Bell 1990; shoulders: 17 % of their width below the acromion",
            ),
        ] {
            if !joints.is_empty() {
                list.push(assumed("joint centres", format!("{}: {taken}", joints.join(", ")), why));
            }
        }
        list
    }
}

fn rules(columns: &Columns, notes: &mut Notes) -> Vec<(Joint, Rule)> {
    let mut rules = Vec::new();
    for &joint in Joint::ALL {
        let bracket = [0, 1].map(|which| columns.of(Role::Bracket(joint, which)));
        let rule = if let Some(column) = columns.of(Role::Centre(joint)) {
            Some(Rule::Column(column))
        } else if let [Some(outer), Some(inner)] = bracket {
            notes.midway.push(joint.name());
            Some(Rule::Mean(vec![outer, inner]))
        } else if let [Some(column), None] | [None, Some(column)] = bracket {
            notes.single.push(joint.name());
            Some(Rule::Column(column))
        } else {
            composed(joint, columns, notes)
        };
        rules.extend(rule.map(|rule| (joint, rule)));
    }
    rules
}

fn composed(joint: Joint, columns: &Columns, notes: &mut Notes) -> Option<Rule> {
    let both = |role: fn(Side) -> Role| {
        Some([columns.of(role(Side::Left))?, columns.of(role(Side::Right))?])
    };
    match (joint, joint.side()) {
        (Joint::LeftHip | Joint::RightHip, Some(side)) => {
            let front = both(Role::PelvisFront)?;
            let back = both(Role::PelvisBack)
                .map(Vec::from)
                .or_else(|| columns.of(Role::Sacrum).map(|column| vec![column]))?;
            notes.regressed.push(joint.name());
            Some(Rule::Hip(side, front, back))
        }
        (Joint::LeftShoulder | Joint::RightShoulder, Some(side)) => {
            let pair = both(Role::Acromion)?;
            notes.regressed.push(joint.name());
            Some(Rule::Shoulder(side, pair))
        }
        (Joint::Head, _) => {
            let band: Vec<_> = (0..4).filter_map(|n| columns.of(Role::HeadBand(n))).collect();
            (!band.is_empty()).then_some(Rule::Mean(band))
        }
        (Joint::Neck, _) => {
            let pair = [columns.of(Role::NeckBack), columns.of(Role::NeckFront)];
            let held: Vec<_> = pair.into_iter().flatten().collect();
            (!held.is_empty()).then_some(Rule::Mean(held))
        }
        _ => None,
    }
}

fn mean(columns: &[usize], row: &[[f64; 3]]) -> [f64; 3] {
    let sum = columns.iter().fold([0.0; 3], |sum, &column| plus(sum, row[column]));
    let mean = sum.map(|x| x / columns.len() as f64);
    // One missing marker makes the sum NaN in every coordinate, because gaps are NaN in all three.
    if mean[0].is_nan() { GAP } else { mean }
}

fn first_pass(rule: &Rule, row: &[[f64; 3]]) -> [f64; 3] {
    match rule {
        Rule::Column(column) => row[*column],
        Rule::Mean(columns) => mean(columns, row),
        Rule::Hip(side, front, back) => hip(*side, row[front[0]], row[front[1]], mean(back, row)),
        Rule::Shoulder(side, pair) => row[pair[usize::from(*side == Side::Right)]],
    }
}

fn hip(side: Side, left: [f64; 3], right: [f64; 3], back: [f64; 3]) -> [f64; 3] {
    let across = minus(left, right);
    let width = length(across);
    let y = across.map(|v| v / width);
    let middle = plus(left, right).map(|v| v / 2.0);
    let forward = minus(middle, back);
    let along = dot(forward, y);
    let forward = minus(forward, y.map(|v| v * along));
    let depth = length(forward);
    let x = forward.map(|v| v / depth);
    let z = cross(x, y);
    let sideways = if side == Side::Left { 0.36 } else { -0.36 };
    let place =
        [0, 1, 2].map(|i| middle[i] + width * (sideways * y[i] - 0.19 * x[i] - 0.30 * z[i]));
    // NaN also where the markers coincide and span no plane.
    if place.iter().all(|v| v.is_finite()) { place } else { GAP }
}

fn lower_shoulders(rules: &[(Joint, Rule)], row: &[[f64; 3]], joints: &mut [[f64; 3]]) {
    let at = |joint| rules.iter().position(|(held, _)| *held == joint);
    let (Some(left_hip), Some(right_hip)) = (at(Joint::LeftHip), at(Joint::RightHip)) else {
        return;
    };
    let hips = plus(joints[left_hip], joints[right_hip]).map(|v| v / 2.0);
    for (j, (_, rule)) in rules.iter().enumerate() {
        let Rule::Shoulder(_, pair) = rule else { continue };
        let (left, right) = (row[pair[0]], row[pair[1]]);
        let down = minus(hips, plus(left, right).map(|v| v / 2.0));
        let step = 0.17 * length(minus(left, right)) / length(down);
        let lowered = plus(joints[j], down.map(|v| v * step));
        joints[j] = if lowered.iter().all(|v| v.is_finite()) { lowered } else { GAP };
    }
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hips_follow_the_pelvis_markers() {
        // Facing +x, left = +y, pelvis 0.25 wide, level: worked by hand from the rule.
        let [left, right, back] = [[0.1, 0.125, 1.0], [0.1, -0.125, 1.0], [-0.1, 0.0, 1.0]];
        let got = hip(Side::Left, left, right, back);
        let want = [0.1 - 0.19 * 0.25, 0.36 * 0.25, 1.0 - 0.30 * 0.25];
        for i in 0..3 {
            assert!((got[i] - want[i]).abs() < 1e-12, "{got:?} {want:?}");
        }
        assert!(hip(Side::Left, left, left, back)[0].is_nan());
    }

    #[test]
    fn half_a_pair_is_a_gap_and_a_lone_marker_is_the_joint() {
        let markers = Markers {
            labels: ["LWRA", "LWRB", "RELB"].map(str::to_owned).to_vec(),
            points: vec![[0.0; 3], [2.0; 3], [5.0; 3], [0.0; 3], GAP, [6.0; 3]],
            confidence: Some(vec![0.5, 0.25, 1.0, 0.0, 0.0, 0.0]),
        };
        let joints = markers.into_joints(None).expect("three known labels");
        assert_eq!(joints.joints, [Joint::RightElbow, Joint::LeftWrist]);
        assert_eq!(joints.confidence.as_ref().map(|c| c[..2].to_vec()), Some(vec![1.0, 0.25]));
        assert_eq!(joints.positions[..2], [[5.0; 3], [1.0; 3]]);
        assert_eq!(joints.positions[2], [6.0; 3]);
        assert!(joints.positions[3][0].is_nan());
        assert_eq!(joints.assumptions.len(), 2);
    }
}
