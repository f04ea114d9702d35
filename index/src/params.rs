//! What a comparison is made of, the shape of the curves, the band, the channel weights, and what comes of it.

use thiserror::Error;

/// Most frames a curve may have.
pub const MAX_FRAMES: usize = 1 << 16;
/// Most channels a curve may have.
pub const MAX_CHANNELS: usize = 1 << 10;

/// Why a shape, a curve or the parameters were refused.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum ParamError {
    /// A curve needs at least one frame and one channel, and not too many of either.
    #[error(
        "shape: a curve has 1 to {MAX_FRAMES} frames and 1 to {MAX_CHANNELS} channels, \
         found {frames} x {channels}; shorten or thin the curves"
    )]
    Shape {
        /// Frames asked for.
        frames: usize,
        /// Channels asked for.
        channels: usize,
    },
    /// One weight per channel.
    #[error("weights: one per channel, expected {expected}, found {found}; give every channel one")]
    WeightCount {
        /// Channels.
        expected: usize,
        /// Weights given.
        found: usize,
    },
    /// A weight outside the allowed range.
    #[error(
        "weights: channel {channel} has {weight}, expected 0 or a number from 1e-100 to 1e100; \
         rescale the weights"
    )]
    Weight {
        /// Place of the weight.
        channel: usize,
        /// The weight.
        weight: f64,
    },
    /// All weights zero: every curve would be equally near.
    #[error("weights: all are 0, so nothing would be compared; raise at least one")]
    NoWeight,
    /// A curve with a length that is no whole number of frames, or of the wrong shape.
    #[error(
        "curve: expected {expected} values (frames x channels), found {found}; \
         resample the curve or check the channel list"
    )]
    Length {
        /// Values expected (for a curve of free length: the channel count, of which it must be a
        /// positive multiple).
        expected: usize,
        /// Values found.
        found: usize,
    },
    /// A value that is not finite.
    #[error(
        "curve: frame {frame}, channel {channel} is {value}, expected a finite number; fill the gap first"
    )]
    NotFinite {
        /// Frame (from 0).
        frame: usize,
        /// Channel (from 0).
        channel: usize,
        /// The value.
        value: f32,
    },
}

/// Frames and channels of every curve in one index.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Shape {
    frames: u32,
    channels: u32,
}

impl Shape {
    /// A shape of at least 1 x 1 and at most [`MAX_FRAMES`] x [`MAX_CHANNELS`].
    ///
    /// ```
    /// let shape = curve_index::Shape::new(101, 12)?;
    /// assert_eq!(shape.values(), 1212);
    /// # Ok::<(), curve_index::ParamError>(())
    /// ```
    ///
    /// # Errors
    /// [`ParamError::Shape`] outside those limits.
    pub fn new(frames: usize, channels: usize) -> Result<Self, ParamError> {
        if frames == 0 || channels == 0 || frames > MAX_FRAMES || channels > MAX_CHANNELS {
            return Err(ParamError::Shape { frames, channels });
        }
        // Both fit: the limits are far below u32::MAX.
        Ok(Self { frames: frames as u32, channels: channels as u32 })
    }

    /// Frames per curve.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.frames as usize
    }

    /// Channels per frame.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.channels as usize
    }

    /// Values per curve: frames x channels.
    #[must_use]
    pub fn values(&self) -> usize {
        self.frames() * self.channels()
    }

    /// The values as a curve of exactly this shape.
    ///
    /// # Errors
    /// [`ParamError::Length`] or [`ParamError::NotFinite`].
    pub fn curve<'a>(&self, values: &'a [f32]) -> Result<Curve<'a>, ParamError> {
        if values.len() != self.values() {
            return Err(ParamError::Length { expected: self.values(), found: values.len() });
        }
        Curve::new(values, self.channels())
    }
}

/// A borrowed, checked curve: frames x channels, time first, every value finite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve<'a> {
    values: &'a [f32],
    channels: usize,
}

impl<'a> Curve<'a> {
    /// Checks `values` (frames x channels, row-major, time first; any positive number of frames).
    ///
    /// ```
    /// use curve_index::Curve;
    /// let curve = Curve::new(&[0.0, 1.0, 2.0, 3.0], 2)?; // two frames of two channels
    /// assert_eq!(curve.frames(), 2);
    /// assert!(Curve::new(&[0.0, f32::NAN], 2).is_err());
    /// # Ok::<(), curve_index::ParamError>(())
    /// ```
    ///
    /// # Errors
    /// [`ParamError::Length`] when the length is no positive multiple of `channels`,
    /// [`ParamError::NotFinite`] naming the first frame and channel that is not finite.
    pub fn new(values: &'a [f32], channels: usize) -> Result<Self, ParamError> {
        if channels == 0 || values.is_empty() || !values.len().is_multiple_of(channels) {
            return Err(ParamError::Length { expected: channels, found: values.len() });
        }
        if let Some(at) = values.iter().position(|value| !value.is_finite()) {
            return Err(ParamError::NotFinite {
                frame: at / channels,
                channel: at % channels,
                value: values[at],
            });
        }
        Ok(Self { values, channels })
    }

    /// A curve whose values were checked before (the index checks at the door).
    pub(crate) fn trusted(values: &'a [f32], channels: usize) -> Self {
        debug_assert!(!values.is_empty() && values.len().is_multiple_of(channels));
        Self { values, channels }
    }

    /// The values, frames x channels.
    #[must_use]
    pub fn values(&self) -> &'a [f32] {
        self.values
    }

    /// Channels per frame.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// Frames.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.values.len() / self.channels
    }

    /// One frame: `channels` values.
    #[must_use]
    pub fn frame(&self, frame: usize) -> &'a [f32] {
        &self.values[frame * self.channels..(frame + 1) * self.channels]
    }

    /// The frames of `section` as a curve of their own.
    pub(crate) fn section(&self, section: &std::ops::Range<usize>) -> Self {
        Self {
            values: &self.values[section.start * self.channels..section.end * self.channels],
            channels: self.channels,
        }
    }
}

/// A curve found: its id and the cost of aligning it with the query.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// Id of the curve.
    pub id: u64,
    /// DTW cost: the sum of weighted squared differences along the best path, no root taken.
    pub cost: f64,
}

impl Neighbour {
    /// The distance: the square root of [`cost`](Self::cost).
    #[must_use]
    pub fn distance(&self) -> f64 {
        self.cost.sqrt()
    }
}

/// Band and channel weights, as asked for; [`check`](Self::check) makes them usable.
///
/// ```
/// use curve_index::DtwParams;
/// let params = DtwParams::new(3).band_frames(10).weights(&[1.0, 0.0, 2.0]).check()?;
/// assert_eq!(params.band_frames(), 10);
/// let error = DtwParams::new(3).weights(&[1.0]).check().unwrap_err();
/// assert_eq!(
///     error.to_string(),
///     "weights: one per channel, expected 3, found 1; give every channel one"
/// );
/// # Ok::<(), curve_index::ParamError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct DtwParams {
    channels: usize,
    band_frames: usize,
    weights: Option<Vec<f64>>,
}

impl DtwParams {
    /// No band (any warping) and weight 1 for each of `channels` channels.
    #[must_use]
    pub fn new(channels: usize) -> Self {
        Self { channels, band_frames: usize::MAX, weights: None }
    }

    /// The Sakoe-Chiba band: frame i may meet frame j where |i - j| <= `band_frames` (curves of
    /// unequal length: measured from both diagonals, so the longer curve has room). 0 is the
    /// lock-step comparison; as many frames as the curve has means no band.
    #[must_use]
    pub fn band_frames(mut self, band_frames: usize) -> Self {
        self.band_frames = band_frames;
        self
    }

    /// One weight per channel, multiplying that channel's squared differences.
    #[must_use]
    pub fn weights(mut self, weights: &[f64]) -> Self {
        self.weights = Some(weights.to_vec());
        self
    }

    /// The checked parameters.
    ///
    /// # Errors
    /// [`ParamError`] naming the rule that does not hold.
    pub fn check(self) -> Result<ValidDtwParams, ParamError> {
        let Self { channels, band_frames, weights } = self;
        if channels == 0 || channels > MAX_CHANNELS {
            return Err(ParamError::Shape { frames: 1, channels });
        }
        let weights = weights.unwrap_or_else(|| vec![1.0; channels]);
        if weights.len() != channels {
            return Err(ParamError::WeightCount { expected: channels, found: weights.len() });
        }
        for (channel, &weight) in weights.iter().enumerate() {
            if !(weight == 0.0 || (1e-100..=1e100).contains(&weight)) {
                return Err(ParamError::Weight { channel, weight });
            }
        }
        if weights.iter().all(|&weight| weight == 0.0) {
            return Err(ParamError::NoWeight);
        }
        Ok(ValidDtwParams { band_frames: band_frames.min(MAX_FRAMES), weights })
    }
}

/// Checked band and weights; made by [`DtwParams::check`].
#[derive(Debug, Clone, PartialEq)]
pub struct ValidDtwParams {
    band_frames: usize,
    weights: Vec<f64>,
}

impl ValidDtwParams {
    /// Band in frames.
    #[must_use]
    pub fn band_frames(&self) -> usize {
        self.band_frames
    }

    /// One weight per channel, each 0 or from 1e-100 to 1e100.
    #[must_use]
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// Channels.
    #[must_use]
    pub fn channels(&self) -> usize {
        self.weights.len()
    }

    /// Columns `first..=last` of row `row` inside the band, for `rows` x `columns` frames.
    ///
    /// Neither limit decreases with `row`, the first row starts at column 0, the last row ends at
    /// the last column, and neighbouring rows overlap or touch diagonally: a path always exists.
    pub(crate) fn columns(&self, row: usize, rows: usize, columns: usize) -> (usize, usize) {
        let before = self.band_frames + rows.saturating_sub(columns);
        let after = self.band_frames + columns.saturating_sub(rows);
        (row.saturating_sub(before).min(columns - 1), (row + after).min(columns - 1))
    }
}
