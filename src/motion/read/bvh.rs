//! BVH: a skeleton of joints with offsets, and a table of its channels (positions, and rotations
//! in degrees applied in the order the channels are named).
//!
//! Each joint is placed by forward kinematics; its name says which one it is. A joint is where
//! its bone starts: `LeftArm` is the shoulder, `LeftForeArm` the elbow, `LeftHand` the wrist,
//! `LeftUpLeg` the hip, `LeftLeg` the knee, `LeftFoot` the ankle; names of the joints themselves
//! are understood as well. Where both an arm and a shoulder are there, the shoulder is the inner
//! end of the collar bone and is left out. The head is midway between the joint `Head` and its
//! end site.

use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind, excerpt};
use super::layout::Layout;
use super::raw::{Axes, Raw, Times, assumed, checked, plus};
use super::text::{finite, number};
use crate::motion::{Capture, Dimensions, Joint, Side};

pub(super) fn sniff(text: &str) -> bool {
    text.trim_start().starts_with("HIERARCHY")
}

/// One channel of a node.
#[derive(Clone, Copy)]
enum Channel {
    Position(usize),
    Rotation(usize),
}

struct Node {
    name: String,
    /// Always an earlier node.
    parent: Option<usize>,
    end_site: bool,
    offset: [f64; 3],
    channels: Vec<Channel>,
}

/// Words with the lines they stand on.
struct Words<'a> {
    lines: std::iter::Enumerate<std::str::Lines<'a>>,
    words: std::str::SplitWhitespace<'a>,
    line: usize,
}

impl<'a> Words<'a> {
    fn new(text: &'a str) -> Self {
        Self { lines: text.lines().enumerate(), words: "".split_whitespace(), line: 0 }
    }

    fn next(&mut self) -> Option<&'a str> {
        loop {
            if let Some(word) = self.words.next() {
                return Some(word);
            }
            let (n, line) = self.lines.next()?;
            self.line = n + 1;
            self.words = line.split_whitespace();
        }
    }

    fn expect(&mut self, expected: &'static str) -> Result<&'a str, ReadErrorKind> {
        self.next().ok_or_else(|| self.broken(expected, "the end of the file"))
    }

    fn word(&mut self, wanted: &'static str) -> Result<(), ReadErrorKind> {
        let found = self.expect(wanted)?;
        if found.eq_ignore_ascii_case(wanted) { Ok(()) } else { Err(self.broken(wanted, found)) }
    }

    fn number(&mut self, expected: &'static str) -> Result<f64, ReadErrorKind> {
        let word = self.expect(expected)?;
        finite(word, || FilePlace::Line(self.line))
    }

    fn broken(&self, expected: &'static str, found: &str) -> ReadErrorKind {
        ReadErrorKind::Structure {
            layout: Layout::Bvh,
            place: FilePlace::Line(self.line),
            expected,
            found: excerpt(found),
        }
    }
}

pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let mut words = Words::new(text);
    let nodes = hierarchy(&mut words)?;
    words.word("Frames:")?;
    let promised = words.number("a number of frames")?;
    if promised < 0.0 || promised.fract() != 0.0 {
        return Err(words.broken("a whole number of frames", &promised.to_string()));
    }
    words.word("Frame")?;
    words.word("Time:")?;
    let frame_s = words.number("a frame time")?;
    let channels: usize = nodes.iter().map(|node| node.channels.len()).sum();
    if channels == 0 {
        return Err(words.broken("channels", "none"));
    }
    let (sources, unknown) = sources(&nodes);
    let mut places = Vec::new();
    let mut positions = Vec::new();
    let mut row = Vec::with_capacity(channels);
    let mut frames = 0_u64;
    // Ends with the file: nothing is set aside for what the header promises.
    while let Some(word) = words.next() {
        row.push(number(word, || FilePlace::Line(words.line))?);
        if row.len() == channels {
            pose(&nodes, &row, &mut places);
            for (_, source) in &sources {
                let p = match *source {
                    Source::Node(node) => places[node],
                    Source::Between(a, b) => plus(places[a], places[b]).map(|x| x / 2.0),
                };
                for x in p {
                    checked(x, || FilePlace::Frame(frames as usize))?;
                }
                positions.push(p);
            }
            row.clear();
            frames += 1;
        }
    }
    let promised = promised as u64;
    let mut assumptions = Vec::new();
    if promised > frames || !row.is_empty() {
        if !options.trim || frames == 0 {
            let held = frames;
            return Err(if promised > frames {
                ReadErrorKind::Truncated { layout: Layout::Bvh, promised, held }
            } else {
                let (place, expected) = (FilePlace::Line(words.line), channels);
                ReadErrorKind::RaggedRow { place, expected, found: row.len() }
            });
        }
        assumptions.push(assumed(
            "frames",
            format!("the {frames} complete ones"),
            "trimmed as asked",
        ));
    } else if promised < frames {
        assumptions.push(assumed(
            "frames",
            format!("all {frames} rows"),
            format!("the header says {promised}"),
        ));
    }
    if frames == 0 {
        return Err(ReadErrorKind::NoFrames);
    }
    if !unknown.is_empty() {
        assumptions.push(assumed(
            "labels",
            format!("not used: {}", super::errors::shorten(&unknown, 12)),
            "not joint names known here",
        ));
    }
    Ok(Raw {
        layout: Layout::Bvh,
        format: Layout::Bvh.name().to_owned(),
        joints: sources.iter().map(|(joint, _)| *joint).collect(),
        positions,
        confidence: None,
        times: Times::Even((frame_s > 0.0).then(|| whole_hz(1.0 / frame_s))),
        dimensions: Dimensions::Three,
        unit: None,
        axes: Axes::Open,
        capture: Capture::Unknown,
        subject: None,
        unknown,
        assumptions,
    })
}

/// Frame times are written with few digits (0.0083333): a rate within 0.1 % of a whole number
/// of Hz is that.
fn whole_hz(rate_hz: f64) -> f64 {
    let whole = rate_hz.round();
    if (rate_hz - whole).abs() < 1e-3 * whole { whole } else { rate_hz }
}

fn hierarchy(words: &mut Words<'_>) -> Result<Vec<Node>, ReadErrorKind> {
    words.word("HIERARCHY")?;
    let mut nodes: Vec<Node> = Vec::new();
    // The path from the root to where we are; a loop, so that no depth can exhaust the stack.
    let mut path: Vec<usize> = Vec::new();
    loop {
        let word = words.expect("ROOT, JOINT, End Site or MOTION")?;
        match word.to_ascii_uppercase().as_str() {
            "ROOT" | "JOINT" => {
                let name = words.expect("a name")?.to_owned();
                open(words, &mut nodes, &mut path, name, false)?;
            }
            "END" => {
                words.word("Site")?;
                let parent = path.last().map_or("", |&node| nodes[node].name.as_str());
                let name = parent.to_owned();
                open(words, &mut nodes, &mut path, name, true)?;
            }
            "OFFSET" => {
                let node = *path.last().ok_or_else(|| words.broken("a joint", "OFFSET"))?;
                for axis in 0..3 {
                    nodes[node].offset[axis] = words.number("an offset")?;
                }
            }
            "CHANNELS" => {
                let node = *path.last().ok_or_else(|| words.broken("a joint", "CHANNELS"))?;
                let count = words.number("a number of channels")?;
                for _ in 0..count as usize {
                    let name = words.expect("a channel")?;
                    let channel = channel(name)
                        .ok_or_else(|| words.broken("Xposition ... Zrotation", name))?;
                    nodes[node].channels.push(channel);
                }
            }
            "}" => {
                path.pop().ok_or_else(|| words.broken("ROOT, JOINT or MOTION", "}"))?;
            }
            "MOTION" if path.is_empty() && !nodes.is_empty() => return Ok(nodes),
            _ => return Err(words.broken("JOINT, End Site, OFFSET, CHANNELS or }", word)),
        }
    }
}

fn open(
    words: &mut Words<'_>,
    nodes: &mut Vec<Node>,
    path: &mut Vec<usize>,
    name: String,
    end_site: bool,
) -> Result<(), ReadErrorKind> {
    // Far beyond any skeleton; keeps the naming below quick whatever the file holds.
    if nodes.len() >= 2_000 {
        return Err(words.broken("at most 2000 joints", "one more"));
    }
    words.word("{")?;
    let parent = path.last().copied();
    path.push(nodes.len());
    nodes.push(Node { name, parent, end_site, offset: [0.0; 3], channels: Vec::new() });
    Ok(())
}

fn channel(name: &str) -> Option<Channel> {
    let lower = name.to_ascii_lowercase();
    let axis = match lower.as_bytes().first()? {
        b'x' => 0,
        b'y' => 1,
        b'z' => 2,
        _ => return None,
    };
    match &lower[1..] {
        "position" => Some(Channel::Position(axis)),
        "rotation" => Some(Channel::Rotation(axis)),
        _ => None,
    }
}

type Matrix = [[f64; 3]; 3];

fn times(a: &Matrix, b: &Matrix) -> Matrix {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

fn rotation(axis: usize, degrees: f64) -> Matrix {
    let (sin, cos) = degrees.to_radians().sin_cos();
    match axis {
        0 => [[1.0, 0.0, 0.0], [0.0, cos, -sin], [0.0, sin, cos]],
        1 => [[cos, 0.0, sin], [0.0, 1.0, 0.0], [-sin, 0.0, cos]],
        _ => [[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]],
    }
}

/// Where every node is in one frame. A position channel takes the place of the node's offset.
fn pose(nodes: &[Node], row: &[f64], places: &mut Vec<[f64; 3]>) {
    const STILL: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    places.clear();
    let mut turns: Vec<Matrix> = Vec::with_capacity(nodes.len());
    let mut values = row.iter();
    for node in nodes {
        let (mut shift, mut turn) = (node.offset, STILL);
        for (channel, &value) in node.channels.iter().zip(values.by_ref()) {
            match *channel {
                Channel::Position(axis) => shift[axis] = value,
                Channel::Rotation(axis) => turn = times(&turn, &rotation(axis, value)),
            }
        }
        let (base, base_turn) =
            node.parent.map_or(([0.0; 3], STILL), |parent| (places[parent], turns[parent]));
        let turned = base_turn.map(|r| r[0] * shift[0] + r[1] * shift[1] + r[2] * shift[2]);
        places.push(plus(base, turned));
        turns.push(times(&base_turn, &turn));
    }
}

/// Where a joint comes from.
#[derive(Clone, Copy)]
enum Source {
    Node(usize),
    Between(usize, usize),
}

fn sources(nodes: &[Node]) -> (Vec<(Joint, Source)>, Vec<String>) {
    let parts: Vec<_> = nodes.iter().map(|node| part(&node.name)).collect();
    let has = |side, names: &[&str]| {
        parts.iter().any(|(held, part)| *held == side && names.contains(&part.as_str()))
    };
    let mut found: Vec<(Joint, Source)> = Vec::new();
    let mut unknown = Vec::new();
    for (index, node) in nodes.iter().enumerate() {
        if node.end_site {
            continue;
        }
        let (side, part) = &parts[index];
        let arm = has(*side, &["arm", "upperarm", "uparm"]);
        let thigh = has(*side, &["upleg", "upperleg", "thigh"]);
        let Some(left) = joint(part, side.is_some(), arm, thigh) else {
            unknown.push(node.name.clone());
            continue;
        };
        let joint = if *side == Some(Side::Right) { left.mirrored() } else { left };
        if found.iter().any(|(held, _)| *held == joint) {
            unknown.push(node.name.clone());
            continue;
        }
        let end = nodes.iter().position(|end| end.end_site && end.parent == Some(index));
        let source = match end {
            Some(end) if joint == Joint::Head => Source::Between(index, end),
            _ => Source::Node(index),
        };
        found.push((joint, source));
    }
    (found, unknown)
}

/// Side and bare lower-case part of a name: `rig:LeftForeArm` -> (left, `forearm`).
fn part(name: &str) -> (Option<Side>, String) {
    let bare = name.rsplit(':').next().unwrap_or(name);
    let mut side = None;
    let mut part = String::new();
    for word in super::labels::words(bare) {
        match (word.as_str(), side) {
            ("l" | "left", None) => side = Some(Side::Left),
            ("r" | "right", None) => side = Some(Side::Right),
            _ => part.push_str(&word),
        }
    }
    (side, part)
}

/// The left joint (or the midline one) that starts at the bone `part`.
fn joint(part: &str, sided: bool, arm: bool, thigh: bool) -> Option<Joint> {
    use Joint::*;
    if !sided {
        return match part {
            "head" => Some(Head),
            "neck" => Some(Neck),
            "rackettip" => Some(RacketTip),
            "racketthroat" => Some(RacketThroat),
            _ => None,
        };
    }
    match part {
        "arm" | "upperarm" | "uparm" => Some(LeftShoulder),
        "shoulder" if !arm => Some(LeftShoulder),
        "forearm" | "lowerarm" | "lowarm" | "elbow" => Some(LeftElbow),
        "hand" | "wrist" => Some(LeftWrist),
        "handmiddle1" | "middle1" => Some(LeftHand),
        "handthumb1" | "thumb1" => Some(LeftThumb),
        "handindex1" | "index1" => Some(LeftIndex),
        "handpinky1" | "pinky1" | "handlittle1" | "little1" => Some(LeftLittle),
        "upleg" | "upperleg" | "thigh" => Some(LeftHip),
        "hip" if !thigh => Some(LeftHip),
        "leg" | "lowleg" | "lowerleg" | "shin" | "calf" | "knee" => Some(LeftKnee),
        "foot" | "ankle" => Some(LeftAnkle),
        "toebase" | "toe" | "toes" | "ball" => Some(LeftToe),
        _ => None,
    }
}
