//! The drawn body: joints in, limbs out.

use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke};
use crate::motion::Joint;
use crate::serve::{BodyPart, CURVE_FRAMES, Figures};

/// Where the reader stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Viewpoint {
    /// Behind the player, looking at the net; the hitting side is to the right.
    FromBehind,
    /// On the hitting side; the net is to the right.
    FromHittingSide,
}

/// The body at one moment: joints in the body frame, in statures.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pose {
    joints: Vec<(Joint, [f64; 3])>,
}

impl Pose {
    pub(crate) fn new(joints: Vec<(Joint, [f64; 3])>) -> Self {
        Self { joints }
    }

    /// The body at `sample` (0 to 100, between samples interpolated); joints missing there are left out.
    pub(crate) fn at(figures: &Figures, sample: f64) -> Self {
        let count = figures.joints.len();
        if !sample.is_finite() || count == 0 {
            return Self::default();
        }
        let sample = sample.clamp(0.0, (CURVE_FRAMES - 1) as f64);
        let (low, part) = (sample.floor(), sample - sample.floor());
        let row = |at: f64, joint: usize| {
            let position = figures.positions.get(at as usize * count + joint)?;
            position.iter().all(|value| value.is_finite()).then(|| position.map(f64::from))
        };
        let joints = figures
            .joints
            .iter()
            .enumerate()
            .filter_map(|(index, &joint)| {
                let position = match (row(low, index), row(sample.ceil(), index)) {
                    (Some(a), Some(b)) => {
                        [0, 1, 2].map(|axis| a[axis] + part * (b[axis] - a[axis]))
                    }
                    (Some(a), None) if part <= 0.5 => a,
                    (None, Some(b)) if part >= 0.5 => b,
                    _ => return None,
                };
                Some((joint, position))
            })
            .collect();
        Self { joints }
    }

    fn get(&self, joint: Joint) -> Option<[f64; 3]> {
        self.joints.iter().find(|held| held.0 == joint).map(|held| held.1)
    }

    fn mean(&self, joints: &[Joint]) -> Option<[f64; 3]> {
        let held: Vec<_> = joints.iter().filter_map(|&joint| self.get(joint)).collect();
        let count = held.len() as f64;
        (!held.is_empty())
            .then(|| [0, 1, 2].map(|axis| held.iter().map(|p| p[axis]).sum::<f64>() / count))
    }

    fn both(&self, a: Joint, b: Joint) -> Option<[f64; 3]> {
        let (a, b) = (self.get(a)?, self.get(b)?);
        Some([0, 1, 2].map(|axis| (a[axis] + b[axis]) / 2.0))
    }

    /// Centre of the drawn head.
    fn head(&self) -> Option<[f64; 3]> {
        use Joint::{Head, LeftEar, LeftEye, Nose, RightEar, RightEye};
        self.get(Head)
            .or_else(|| self.both(LeftEar, RightEar))
            .or_else(|| self.mean(&[Nose, LeftEye, RightEye, LeftEar, RightEar]))
    }

    fn neck(&self) -> Option<[f64; 3]> {
        self.get(Joint::Neck).or_else(|| self.both(Joint::LeftShoulder, Joint::RightShoulder))
    }

    /// The point two bodies are laid over each other by: the middle of the hips, else of what there is.
    fn middle(&self) -> Option<[f64; 3]> {
        self.both(Joint::LeftHip, Joint::RightHip).or_else(|| {
            let all: Vec<_> = self.joints.iter().map(|held| held.0).collect();
            self.mean(&all)
        })
    }
}

type Point = [f64; 3];

/// How a piece meets what lies under it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Edge {
    /// With a hair of paper around it.
    Halo,
    /// Merging.
    Bare,
    /// Inside a limb, hiding the halo of the limb that goes on from its joint; lies at this depth.
    Join(f64),
}

/// A piece of a body: circles (centre, radius in statures) whose hull is drawn; `part` is `None` for
/// head, neck and racket.
struct Limb {
    part: Option<BodyPart>,
    circles: Vec<(Point, f64)>,
    edge: Edge,
}

impl Limb {
    fn new(part: Option<BodyPart>, circles: Vec<(Point, f64)>) -> Self {
        Self { part, circles, edge: Edge::Halo }
    }
}

/// A chain of joints, each (position, radius), where pieces that lack an end are left out; `drawn`
/// skips pieces that only tell the first join what it lies on.
fn chain(
    out: &mut Vec<Limb>,
    part: Option<BodyPart>,
    joints: &[(Option<Point>, f64)],
    drawn: usize,
    seen: Viewpoint,
) {
    /// Part of a limb's length a join covers.
    const REACH: f64 = 0.35;
    for pair in joints.windows(2).skip(drawn) {
        if let [(Some(a), ra), (Some(b), rb)] = *pair {
            out.push(Limb::new(part, vec![(a, ra), (b, rb)]));
        }
    }
    for three in joints.windows(3) {
        if let [(Some(a), ra), (Some(joint), r), (Some(b), rb)] = *three {
            let depth = |at: Point| f64::midpoint(project(joint, seen).1, project(at, seen).1);
            let edge = Edge::Join(depth(a).max(depth(b)));
            for (end, radius) in [(a, ra), (b, rb)] {
                let near = [0, 1, 2].map(|axis| joint[axis] + REACH * (end[axis] - joint[axis]));
                let circles = vec![(joint, r), (near, r + REACH * (radius - r))];
                out.push(Limb { part, circles, edge });
            }
        }
    }
}

/// Radii are a drawing's, roughly an athlete's limb girths over stature; no measure depends on them.
fn limbs(pose: &Pose, seen: Viewpoint) -> Vec<Limb> {
    use BodyPart::{BackLeg, FrontLeg, HittingArm, TossingArm, Trunk};
    use Joint::{
        LeftAnkle, LeftElbow, LeftHeel, LeftHip, LeftIndex, LeftKnee, LeftLittle, LeftShoulder,
        LeftToe, LeftWrist, RightAnkle, RightElbow, RightHeel, RightHip, RightIndex, RightKnee,
        RightLittle, RightShoulder, RightToe, RightWrist,
    };
    let mut out = Vec::new();
    for (part, shoulder, elbow, wrist, index, little) in [
        (HittingArm, RightShoulder, RightElbow, RightWrist, RightIndex, RightLittle),
        (TossingArm, LeftShoulder, LeftElbow, LeftWrist, LeftIndex, LeftLittle),
    ] {
        let arm = [
            (pose.get(shoulder), 0.030),
            (pose.get(elbow), 0.022),
            (pose.get(wrist), 0.0145),
            (pose.mean(&[index, little]), 0.017),
        ];
        chain(&mut out, Some(part), &arm, 0, seen);
    }
    for (part, hip, knee, ankle, heel, toe) in [
        (FrontLeg, LeftHip, LeftKnee, LeftAnkle, LeftHeel, LeftToe),
        (BackLeg, RightHip, RightKnee, RightAnkle, RightHeel, RightToe),
    ] {
        let leg = [
            (pose.neck(), 0.040),
            (pose.get(hip), 0.046),
            (pose.get(knee), 0.030),
            (pose.get(ankle), 0.018),
            (pose.get(toe), 0.011),
        ];
        chain(&mut out, Some(part), &leg, 1, seen);
        if let (Some(heel), Some(toe)) = (pose.get(heel), pose.get(toe)) {
            let mut circles = vec![(heel, 0.016), (toe, 0.011)];
            circles.extend(pose.get(ankle).map(|at| (at, 0.018)));
            out.push(Limb::new(Some(part), circles));
        }
    }
    let hips = [LeftHip, RightHip];
    if pose.neck().is_some() && hips.iter().any(|&hip| pose.get(hip).is_some()) {
        let circles = [
            (pose.get(LeftShoulder), 0.036),
            (pose.get(RightShoulder), 0.036),
            (pose.neck(), 0.040),
            (pose.both(LeftHip, RightHip), 0.060),
            (pose.get(LeftHip), 0.046),
            (pose.get(RightHip), 0.046),
        ];
        let circles = circles.into_iter().filter_map(|(at, r)| Some((at?, r))).collect();
        out.push(Limb::new(Some(Trunk), circles));
    }
    if let Some(head) = pose.head() {
        if let Some(neck) = pose.neck() {
            let circles = vec![(neck, 0.026), (head, 0.024)];
            out.push(Limb { part: None, circles, edge: Edge::Bare });
        }
        out.push(Limb::new(None, vec![(head, 0.060)]));
    }
    out
}

/// Racket as up to two straight pieces: hand to throat, throat to tip.
fn racket(pose: &Pose) -> Vec<([f64; 3], [f64; 3], f64)> {
    let hand =
        pose.mean(&[Joint::RightIndex, Joint::RightLittle]).or_else(|| pose.get(Joint::RightWrist));
    match (hand, pose.get(Joint::RacketThroat), pose.get(Joint::RacketTip)) {
        (Some(hand), Some(throat), Some(tip)) => vec![(hand, throat, 0.011), (throat, tip, 0.022)],
        (Some(hand), Some(throat), None) => vec![(hand, throat, 0.011)],
        (Some(hand), None, Some(tip)) => vec![(hand, tip, 0.011)],
        _ => Vec::new(),
    }
}

/// Body frame to drawing: `[right, up]` in statures, and how near the reader it is.
fn project(point: [f64; 3], seen: Viewpoint) -> ([f64; 2], f64) {
    match seen {
        Viewpoint::FromBehind => ([point[0], point[2]], -point[1]),
        Viewpoint::FromHittingSide => ([point[1], point[2]], point[0]),
    }
}

/// Corners of the convex hull of circles, counter-clockwise (Andrew's monotone chain).
pub(crate) fn hull(circles: &[([f64; 2], f64)]) -> Vec<[f64; 2]> {
    const AROUND: usize = 18;
    let mut points: Vec<[f64; 2]> = circles
        .iter()
        .flat_map(|&(centre, radius)| {
            (0..AROUND).map(move |step| {
                let angle = step as f64 / AROUND as f64 * std::f64::consts::TAU;
                [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
            })
        })
        .collect();
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let turn = |o: [f64; 2], a: [f64; 2], b: [f64; 2]| {
        (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])
    };
    let mut chain: Vec<[f64; 2]> = Vec::new();
    for pass in 0..2 {
        let start = chain.len();
        let walk: Box<dyn Iterator<Item = &[f64; 2]>> =
            if pass == 0 { Box::new(points.iter()) } else { Box::new(points.iter().rev()) };
        for &point in walk {
            while chain.len() >= start + 2
                && turn(chain[chain.len() - 2], chain[chain.len() - 1], point) <= 0.0
            {
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
    }
    chain
}

/// Where a body is put on a drawing: pixels = `origin` + `scale` x statures, `origin` on the ground.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Placement {
    pub origin: [f64; 2],
    pub scale: f64,
    pub seen: Viewpoint,
}

/// Room a body takes around the middle of its hips, in statures: left, right, bottom and top.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Extent {
    pub left: f64,
    pub right: f64,
    pub low: f64,
    pub high: f64,
}

impl Extent {
    pub(crate) fn union(self, other: Self) -> Self {
        Self {
            left: self.left.min(other.left),
            right: self.right.max(other.right),
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }
}

/// A piece of a body on the drawing.
pub(super) struct Laid {
    part: Option<BodyPart>,
    corners: Vec<[f64; 2]>,
    depth: f64,
    pub(super) edge: Edge,
}

/// The pieces of a body around the middle of its hips, in statures, far ones first.
pub(super) fn lay(pose: &Pose, seen: Viewpoint) -> Vec<Laid> {
    let middle = pose.middle().map_or(0.0, |at| project(at, seen).0[0]);
    let sticks = racket(pose).into_iter().map(|(a, b, r)| Limb::new(None, vec![(a, r), (b, r)]));
    let mut out: Vec<Laid> = limbs(pose, seen)
        .into_iter()
        .chain(sticks)
        .map(|limb| {
            let flat: Vec<_> = limb.circles.iter().map(|&(at, r)| (project(at, seen), r)).collect();
            let mean = flat.iter().map(|((_, depth), _)| depth).sum::<f64>() / flat.len() as f64;
            let circles: Vec<_> =
                flat.iter().map(|&((at, _), r)| ([at[0] - middle, at[1]], r)).collect();
            let depth = if let Edge::Join(depth) = limb.edge { depth } else { mean };
            Laid { part: limb.part, corners: hull(&circles), depth, edge: limb.edge }
        })
        .collect();
    let order = |limb: &Laid| matches!(limb.edge, Edge::Join(_));
    out.sort_by(|a, b| a.depth.total_cmp(&b.depth).then(order(a).cmp(&order(b))));
    out
}

/// Room `pose` takes; `None` when there is nothing to draw.
pub(crate) fn extent(pose: &Pose, seen: Viewpoint) -> Option<Extent> {
    lay(pose, seen)
        .iter()
        .flat_map(|limb| &limb.corners)
        .map(|c| Extent { left: c[0], right: c[0], low: c[1], high: c[1] })
        .reduce(Extent::union)
}

pub(super) fn corners(limb: &Laid, place: Placement) -> Vec<[f64; 2]> {
    limb.corners
        .iter()
        .map(|c| [place.origin[0] + place.scale * c[0], place.origin[1] - place.scale * c[1]])
        .collect()
}

/// The body in solid ink; each limb carries a hair of paper around it so that crossings read.
pub(crate) fn draw_solid(canvas: &mut Canvas, pose: &Pose, place: Placement, tone: Tone) {
    for limb in lay(pose, place.seen) {
        let fill = Paint::fill(tone);
        let halo = Stroke::solid(Tone::Paper, 1.8);
        let paint = if limb.edge == Edge::Halo { fill.and(halo).stroke_first() } else { fill };
        canvas.shape(&corners(&limb, place), true, paint);
    }
}

/// The body as one outline around all limbs.
pub(crate) fn draw_outline(canvas: &mut Canvas, pose: &Pose, place: Placement, tone: Tone) {
    let mut limbs = lay(pose, place.seen);
    limbs.retain(|limb| !matches!(limb.edge, Edge::Join(_)));
    for limb in &limbs {
        canvas.shape(&corners(limb, place), true, Paint::stroke(Stroke::solid(tone, 3.0)));
    }
    for limb in &limbs {
        canvas.shape(&corners(limb, place), true, Paint::fill(Tone::Paper));
    }
}

/// The body with every part inked as `ink` says (0 = empty, 1 = full), all outlined.
pub(crate) fn draw_inked(
    canvas: &mut Canvas,
    pose: &Pose,
    place: Placement,
    tone: Tone,
    ink: impl Fn(BodyPart) -> f64,
) {
    draw_outline(canvas, pose, place, tone);
    for limb in lay(pose, place.seen).iter().filter(|limb| !matches!(limb.edge, Edge::Join(_))) {
        let opacity = limb.part.map_or(0.0, &ink).clamp(0.0, 1.0);
        if opacity > 0.0 {
            let corners = corners(limb, place);
            canvas.shape(&corners, true, Paint::fill(Tone::Paper));
            canvas.shape(&corners, true, Paint::wash(tone, opacity));
        }
    }
}

/// Middle of a part on the drawing, for a label's leader.
pub(crate) fn part_centre(pose: &Pose, place: Placement, part: BodyPart) -> Option<[f64; 2]> {
    let all: Vec<[f64; 2]> = lay(pose, place.seen)
        .iter()
        .filter(|limb| limb.part == Some(part))
        .flat_map(|limb| corners(limb, place))
        .collect();
    let count = all.len() as f64;
    (!all.is_empty())
        .then(|| [0, 1].map(|axis| all.iter().map(|corner| corner[axis]).sum::<f64>() / count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hull_of_two_circles_holds_both_and_bulges_nowhere() {
        let ends = [([0.0, 0.0], 0.3), ([1.0, 0.0], 0.1)];
        let corners = hull(&ends);
        for corner in &corners {
            let nearest = ends
                .iter()
                .map(|(c, r)| {
                    (((corner[0] - c[0]).powi(2) + (corner[1] - c[1]).powi(2)).sqrt() - r).abs()
                })
                .fold(f64::INFINITY, f64::min);
            assert!(nearest < 1e-9, "{corner:?} lies on no circle");
        }
        assert!(corners.iter().any(|c| c[0] < -0.29) && corners.iter().any(|c| c[0] > 1.09));
    }

    #[test]
    fn the_hitting_side_is_right_from_behind_and_the_net_is_right_from_the_side() {
        let right_hand = [0.4, 0.1, 1.0];
        assert_eq!(project(right_hand, Viewpoint::FromBehind).0, [0.4, 1.0]);
        assert_eq!(project(right_hand, Viewpoint::FromHittingSide).0, [0.1, 1.0]);
    }

    #[test]
    fn missing_joints_leave_out_their_limbs_only() {
        let whole = crate::pages::sample::figures();
        let mut holed = whole.clone();
        let knee = holed.joints.iter().position(|&j| j == Joint::LeftKnee).unwrap();
        for sample in 0..CURVE_FRAMES {
            holed.positions[sample * holed.joints.len() + knee] = [f32::NAN; 3];
        }
        let count = |figures: &Figures, part| {
            lay(&Pose::at(figures, 50.0), Viewpoint::FromBehind)
                .iter()
                .filter(|l| l.edge == Edge::Halo && l.part == Some(part))
                .count()
        };
        assert_eq!(count(&whole, BodyPart::FrontLeg), 4);
        assert_eq!(count(&holed, BodyPart::FrontLeg), 2, "the foot stays");
        assert_eq!(count(&holed, BodyPart::BackLeg), 4);
    }

    #[test]
    fn proportions_are_true() {
        // One scale for both axes: the drawn body is as tall as its highest joint says.
        let figures = crate::pages::sample::figures();
        let pose = Pose::at(&figures, 0.0);
        let room = extent(&pose, Viewpoint::FromBehind).unwrap();
        assert!((0.93..1.07).contains(&room.high), "{room:?}");
        assert!(room.low > -0.03, "{room:?}");
    }
}
