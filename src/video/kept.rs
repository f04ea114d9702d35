//! What is kept of a clip beside its joints in space: the joints in the picture, for drawing, and
//! a few facts.

use serde::{Deserialize, Serialize};

use super::read::ClipReading;
use crate::files::decode;
use crate::motion::Joint;

/// Number of the form in which [`Kept`] is written.
const FORM: u16 = 1;

/// Joints in the picture and facts of a clip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// Picture size in pixels, across and down.
    pub size_px: (u32, u32),
    /// Frames without the person.
    pub lost_frames: u32,
    /// Frame of the clip behind each frame of the recording.
    pub clip_frames: Vec<u32>,
    /// Names of the joints, one per column.
    joints: Vec<String>,
    /// Frames x joints: column and row in pixels, and visibility 0 to 1; NaN where out of sight.
    points: Vec<[f32; 3]>,
}

/// Why what was kept of a clip cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum KeptError {
    /// Another form.
    #[error(
        "what was kept from the clip is in form {found}, this program reads form {FORM}; add the \
         clip again"
    )]
    Form {
        /// The number found.
        found: u16,
    },
    /// Not what was written.
    #[error("what was kept from the clip is damaged; add the clip again")]
    Damaged,
}

impl Kept {
    /// What is to be kept of a reading.
    #[must_use]
    pub fn of(reading: &ClipReading) -> Self {
        let picture = &reading.picture;
        let columns = picture.joints.len().max(1);
        let seen = |at: usize| picture.confidence.as_ref().map_or(1.0, |c| c[at]);
        debug_assert_eq!(picture.positions.len(), picture.frames() * columns);
        Self {
            size_px: (small(reading.size_px.0), small(reading.size_px.1)),
            lost_frames: small(reading.lost_frames),
            clip_frames: reading.clip_frames.iter().map(|&frame| small(frame)).collect(),
            joints: picture.joints.iter().map(|joint| joint.name().to_owned()).collect(),
            points: picture
                .positions
                .iter()
                .enumerate()
                .map(|(at, [x, _, z])| [*x as f32, -*z as f32, seen(at)])
                .collect(),
        }
    }

    /// A clip of this picture size without frames.
    #[cfg(test)]
    pub(crate) fn of_size(size_px: (u32, u32)) -> Self {
        Self {
            size_px,
            lost_frames: 0,
            clip_frames: Vec::new(),
            joints: Vec::new(),
            points: Vec::new(),
        }
    }

    /// Column, row (pixels) and visibility of a joint; `None` where it is out of sight or unknown.
    #[must_use]
    pub fn at(&self, frame: usize, joint: Joint) -> Option<([f64; 2], f64)> {
        let column = self.joints.iter().position(|name| name == joint.name())?;
        let [x, y, seen] = self.points.get(frame * self.joints.len() + column)?.map(f64::from);
        x.is_finite().then_some(([x, y], seen))
    }

    /// The form's number, little-endian, then the fields.
    ///
    /// # Panics
    /// Never: numbers and names can always be written to memory.
    #[must_use]
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = FORM.to_le_bytes().to_vec();
        let fields = bincode::serde::encode_to_vec(self, bincode::config::standard());
        bytes.extend(fields.expect("plain fields are written to memory"));
        bytes
    }

    /// What [`Self::to_bytes`] wrote.
    ///
    /// # Errors
    /// [`KeptError`] for another form or damage.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, KeptError> {
        let Some((form, fields)) = bytes.split_at_checked(2) else {
            return Err(KeptError::Damaged);
        };
        let found = u16::from_le_bytes([form[0], form[1]]);
        if found != FORM {
            return Err(KeptError::Form { found });
        }
        let (kept, read) = decode::<Self, { 1 << 28 }>(fields).map_err(|_| KeptError::Damaged)?;
        let whole =
            read == fields.len() && kept.points.len() == kept.clip_frames.len() * kept.joints.len();
        if whole { Ok(kept) } else { Err(KeptError::Damaged) }
    }
}

fn small(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_and_damage_is_said() {
        let kept = Kept {
            size_px: (1080, 1920),
            lost_frames: 1,
            clip_frames: vec![0, 2],
            joints: vec!["nose".to_owned()],
            points: vec![[10.0, 20.0, 0.5], [f32::NAN, f32::NAN, 0.0]],
        };
        let bytes = kept.to_bytes();
        let back = Kept::from_bytes(&bytes).unwrap();
        assert_eq!(back.at(0, Joint::Nose), Some(([10.0, 20.0], 0.5)));
        assert_eq!(back.at(1, Joint::Nose), None);
        assert_eq!(back.at(0, Joint::LeftHip), None);
        assert_eq!(back.at(9, Joint::Nose), None);
        for cut in 0..bytes.len() {
            assert!(Kept::from_bytes(&bytes[..cut]).is_err(), "{cut}");
        }
        let mut other = bytes;
        other[0] = 9;
        assert_eq!(Kept::from_bytes(&other), Err(KeptError::Form { found: 9 }));
    }
}
