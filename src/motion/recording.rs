use serde::{Deserialize, Serialize};

use super::Joint;
use crate::remedy::Remedy;

/// How the joints were obtained; decides what can be measured and what compares with what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Capture {
    /// Optical markers on the body.
    Markers,
    /// A depth sensor's skeleton.
    DepthSensor,
    /// Joints from several cameras.
    SeveralCameras,
    /// Joints from one camera, lifted to three dimensions by a model.
    OneCameraLifted,
    /// Joints in the picture plane of one camera.
    OneCameraFlat,
    /// Made by a generator (the demo's invented academy).
    Generated,
    /// The file does not say.
    Unknown,
}

impl Capture {
    /// Whether all that is known comes from the picture of one camera.
    #[must_use]
    pub fn is_one_camera(self) -> bool {
        matches!(self, Self::OneCameraLifted | Self::OneCameraFlat)
    }

    /// How the joints were obtained, in words for a coach: "depth sensor", "one camera".
    #[must_use]
    pub fn describe(self) -> &'static str {
        match self {
            Self::Markers => "markers",
            Self::DepthSensor => "depth sensor",
            Self::SeveralCameras => "several cameras",
            Self::OneCameraLifted => "one camera",
            Self::OneCameraFlat => "one camera without depth",
            Self::Generated => "generated",
            Self::Unknown => "unknown",
        }
    }
}

/// Two or three measured dimensions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dimensions {
    /// Picture plane only: x to the picture's right, z up, y always 0.
    Two,
    /// Space.
    Three,
}

/// The unit of the positions held in a [`Recording`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Metres (readers convert millimetres and the like).
    Metre,
    /// Pixels of a picture.
    Pixel,
    /// Unknown scale: only ratios and angles mean anything.
    Arbitrary,
}

/// Where the camera stood, seen from the player who faces the net.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    /// Behind the player.
    Behind,
    /// In front of the player.
    Front,
    /// Beside the player.
    Side,
    /// Between behind (or front) and side.
    Diagonal,
}

impl View {
    /// Where the player is seen from, in words: "from behind", "diagonally".
    #[must_use]
    pub fn seen(self) -> &'static str {
        match self {
            Self::Behind => "from behind",
            Self::Front => "from the front",
            Self::Side => "from the side",
            Self::Diagonal => "diagonally",
        }
    }
}

/// One thing the file did not state and the program assumed or inferred.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Assumption {
    /// What was open: `layout`, `rate`, `up`, `unit`, `hand`, `view` ...
    pub what: String,
    /// What was taken.
    pub taken: String,
    /// Why, in a few words ("most frames have the head above the ankles along y").
    pub why: String,
}

impl Assumption {
    /// How to put it right; where `why` advises it, it ends with that.
    #[must_use]
    pub fn remedy(&self) -> Option<Remedy> {
        match self.what.as_str() {
            "hand" => Some(Remedy::SayHand),
            "view" => Some(Remedy::SayView),
            "unit" => Some(Remedy::CheckUnit),
            "sides" => Some(Remedy::Mirror),
            _ => None,
        }
    }
}

/// One recording: joints x frames in the canonical space.
///
/// Canonical space: right-handed, z up, in [`Unit`]s; for [`Dimensions::Two`] x is the picture's
/// right, z is up and y is 0. A joint missing in a frame (a gap) holds NaN in all three
/// coordinates and nowhere else does NaN occur; infinities never occur.
#[derive(Debug, Clone, PartialEq)]
pub struct Recording {
    /// The joints held, canonical order, each once.
    pub joints: Vec<Joint>,
    /// Time of each frame in seconds, strictly increasing.
    pub times_s: Vec<f64>,
    /// Frames x joints, row-major: `positions[frame * joints.len() + j]`.
    pub positions: Vec<[f64; 3]>,
    /// The source's own confidence 0 to 1 per frame and joint, laid out as `positions`.
    pub confidence: Option<Vec<f32>>,
    /// Nominal sample rate in Hz (median over the frames where times are uneven).
    pub rate_hz: f64,
    /// Two or three dimensions.
    pub dimensions: Dimensions,
    /// Unit of `positions`.
    pub unit: Unit,
    /// How the joints were obtained.
    pub capture: Capture,
    /// Camera view, where known.
    pub view: Option<View>,
    /// Subject name or prefix inside the file, where it has one.
    pub subject: Option<String>,
    /// Format and layout as read, for example `c3d` or `keypoints-33`.
    pub format: String,
    /// What the file did not say and the reader assumed.
    pub assumptions: Vec<Assumption>,
}

impl Recording {
    /// Number of frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.times_s.len()
    }

    /// Column of `joint`, if the source holds it.
    #[must_use]
    pub fn column(&self, joint: Joint) -> Option<usize> {
        self.joints.iter().position(|&held| held == joint)
    }

    /// Position of `joint` in `frame`; `None` if the source lacks the joint or the frame is a gap.
    ///
    /// # Panics
    /// If `frame` is not below [`Self::frames`].
    #[must_use]
    pub fn at(&self, frame: usize, joint: Joint) -> Option<[f64; 3]> {
        let position = self.positions[frame * self.joints.len() + self.column(joint)?];
        (!position[0].is_nan()).then_some(position)
    }

    /// Are the frames evenly spaced: every time within a tenth of a frame of the grid that
    /// [`Self::rate_hz`] spans from the first one?
    #[must_use]
    pub fn is_even(&self) -> bool {
        let start = self.times_s.first().copied().unwrap_or(0.0);
        self.times_s
            .iter()
            .enumerate()
            .all(|(frame, time)| ((time - start) * self.rate_hz - frame as f64).abs() <= 0.1)
    }

    /// One line for people: "312 frames, 9 joints, 240 Hz, m, 1 gap (frames 88-91)".
    ///
    /// Frames in which any joint is missing count as gap, at most three runs are listed.
    #[must_use]
    pub fn summary(&self) -> String {
        let width = self.joints.len();
        let mut runs: Vec<(usize, usize)> = Vec::new();
        for (frame, row) in self.positions.chunks_exact(width.max(1)).enumerate() {
            if row.iter().all(|p| !p[0].is_nan()) {
                continue;
            }
            match runs.last_mut() {
                Some((_, last)) if *last + 1 == frame => *last = frame,
                _ => runs.push((frame, frame)),
            }
        }
        let listed: Vec<String> = runs
            .iter()
            .take(3)
            .map(
                |&(first, last)| {
                    if first == last { first.to_string() } else { format!("{first}-{last}") }
                },
            )
            .collect();
        let gaps = match runs.len() {
            0 => "no gaps".to_owned(),
            1 => format!("1 gap (frames {})", listed[0]),
            n if n <= 3 => format!("{n} gaps (frames {})", listed.join(", ")),
            n => format!("{n} gaps (frames {} and {} more)", listed.join(", "), n - 3),
        };
        let unit = match self.unit {
            Unit::Metre => "m",
            Unit::Pixel => "px",
            Unit::Arbitrary => "unknown unit",
        };
        let rate = (self.rate_hz * 100.0).round() / 100.0;
        let even = if self.is_even() { "" } else { " (uneven time)" };
        let frames = if self.frames() == 1 { "frame" } else { "frames" };
        format!("{} {frames}, {width} joints, {rate} Hz{even}, {unit}, {gaps}", self.frames())
    }

    /// The mirror image: left and right joints exchanged, x negated, so the body stays a body.
    /// What a right-hander does becomes what a left-hander does, and the other way round.
    #[must_use]
    pub fn mirrored(&self) -> Self {
        let width = self.joints.len();
        let mut order: Vec<usize> = (0..width).collect();
        order.sort_by_key(|&j| self.joints[j].mirrored());
        let positions = self
            .positions
            .chunks_exact(width.max(1))
            .flat_map(|row| order.iter().map(|&j| [-row[j][0], row[j][1], row[j][2]]))
            .collect();
        let confidence = self.confidence.as_ref().map(|confidence| {
            let rows = confidence.chunks_exact(width.max(1));
            rows.flat_map(|row| order.iter().map(|&j| row[j])).collect()
        });
        Self {
            joints: order.iter().map(|&j| self.joints[j].mirrored()).collect(),
            positions,
            confidence,
            ..self.clone()
        }
    }
}
