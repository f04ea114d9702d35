//! The seam between our pipeline and whatever runs the networks.

use super::detector::{self, Candidate};
use super::frame::{Border, Frame, Region, crop};
use super::landmarks::{self, Pose};

/// Which landmark network runs; larger ones are slower and steadier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum ModelChoice {
    /// Quickest, coarsest.
    Lite,
    /// The default.
    #[default]
    Full,
    /// About four times as slow as [`Self::Full`].
    Heavy,
}

impl ModelChoice {
    /// All choices.
    pub const ALL: [Self; 3] = [Self::Lite, Self::Full, Self::Heavy];

    /// Name in data and on the command line: `lite`, `full`, `heavy`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Lite => "lite",
            Self::Full => "full",
            Self::Heavy => "heavy",
        }
    }

    /// The choice with this name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|choice| choice.name() == name)
    }
}

/// Why a network could not run; the text of the library that runs it.
#[derive(Debug, thiserror::Error)]
#[error("the pose network failed: {what}")]
pub struct ModelError {
    /// What the library said.
    pub what: String,
}

/// Finds people in a picture and reads one person's joints.
///
/// Implementations differ in who computes; what a region, a candidate and a pose mean is fixed by
/// their types, so the tracker does not care.
pub trait PoseModel {
    /// People in the square `area` of `frame`, best first.
    ///
    /// # Errors
    /// If the network cannot run.
    fn find(&mut self, frame: &Frame, area: Region) -> Result<Vec<Candidate>, ModelError>;

    /// The figure in `region` of `frame`; `None` if there is none.
    ///
    /// # Errors
    /// If the network cannot run.
    fn follow(&mut self, frame: &Frame, region: Region) -> Result<Option<Pose>, ModelError>;
}

/// The two networks as plain functions of numbers.
pub(super) trait Networks {
    /// Detector: 224 x 224 x 3 in [-1, 1] to boxes and logits.
    fn detector(&mut self, input: &[f32]) -> Result<(&[f32], &[f32]), ModelError>;
    /// Landmarks: 256 x 256 x 3 in [0, 1].
    fn landmarks(&mut self, input: &[f32]) -> Result<&landmarks::Raw, ModelError>;
}

/// A [`PoseModel`] made of crops, two networks and their decoding.
pub(super) struct TwoStage<N> {
    networks: N,
    anchors: Vec<[f64; 2]>,
    small: Vec<f32>,
    large: Vec<f32>,
}

impl<N: Networks> TwoStage<N> {
    pub(super) fn new(networks: N) -> Self {
        Self {
            networks,
            anchors: detector::anchors(),
            small: vec![0.0; detector::INPUT * detector::INPUT * 3],
            large: vec![0.0; landmarks::INPUT * landmarks::INPUT * 3],
        }
    }
}

impl<N: Networks> PoseModel for TwoStage<N> {
    fn find(&mut self, frame: &Frame, area: Region) -> Result<Vec<Candidate>, ModelError> {
        let range = (2.0 / 255.0, -1.0);
        crop(frame, area, detector::INPUT, Border::Zero, range, &mut self.small);
        let (boxes, logits) = self.networks.detector(&self.small)?;
        Ok(detector::decode(&self.anchors, boxes, logits, area))
    }

    fn follow(&mut self, frame: &Frame, region: Region) -> Result<Option<Pose>, ModelError> {
        let range = (1.0 / 255.0, 0.0);
        crop(frame, region, landmarks::INPUT, Border::Replicate, range, &mut self.large);
        let raw = self.networks.landmarks(&self.large)?;
        Ok(landmarks::decode(raw, region))
    }
}
