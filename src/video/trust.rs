//! How far angles read from one camera may be off, measured in two ways.
//!
//! * Between views: four synchronised cameras saw one motion; the difference of an angle between
//!   two of them, over all pairs and frames (25 frames, one man, no serve).
//! * Planted: the demo's generated body, drawn as a shaded figure from four views and read back;
//!   the difference from the body's own angle over all frames of one serve, median of the views.
//!
//! Both are small samples of stand-ins for what counts, real serves under known truth, which
//! nobody here has measured; the larger of the two is taken.

/// An angle of the body that one camera is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BodyAngle {
    /// Bend of a knee.
    Knee,
    /// Bend of an elbow.
    Elbow,
    /// Upper arm against the trunk.
    UpperArm,
    /// Trunk against the vertical.
    TrunkInclination,
    /// Line of the shoulders against the level.
    ShoulderTilt,
    /// Turn of the shoulders against the hips about the vertical.
    Separation,
}

/// Measured differences of one angle, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneCameraError {
    /// Median difference between two views.
    pub between_views_median: f64,
    /// Nine of ten differences between two views are below this.
    pub between_views_p90: f64,
    /// Median difference from the planted truth; `None` where none was planted.
    pub planted_median: Option<f64>,
}

impl OneCameraError {
    /// Standard error of one reading, degrees: the larger of what both measurements say if errors
    /// are normal (median of |x| = 0.674 standard deviations; two views differ by two errors).
    #[must_use]
    pub fn standard_error_deg(&self) -> f64 {
        let between = self.between_views_median / 0.674 / std::f64::consts::SQRT_2;
        let planted = self.planted_median.map_or(0.0, |median| median / 0.674);
        between.max(planted)
    }
}

/// What one camera's reading of `angle` is worth.
#[must_use]
pub fn one_camera_error(angle: BodyAngle) -> OneCameraError {
    let (between_views_median, between_views_p90, planted_median) = match angle {
        BodyAngle::Knee => (12.8, 32.8, Some(11.0)),
        BodyAngle::Elbow => (13.7, 51.0, Some(21.4)),
        BodyAngle::UpperArm => (9.7, 35.0, Some(14.2)),
        BodyAngle::TrunkInclination => (7.2, 17.7, Some(4.7)),
        BodyAngle::ShoulderTilt => (10.6, 85.0, Some(3.9)),
        BodyAngle::Separation => (22.4, 49.4, None),
    };
    OneCameraError { between_views_median, between_views_p90, planted_median }
}
