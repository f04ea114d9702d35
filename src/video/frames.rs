//! A stretch of a clip, frame by frame, cut and scaled.

use std::path::Path;

use super::decode::Decoder;
use super::errors::ClipError;
use super::frame::Frame;
use crate::work::Watch;

/// Frames of a clip one after the other; dropping it ends the command behind it.
pub struct Frames {
    decoder: Decoder,
}

impl Frames {
    /// Begins at the clip's frame `from`, counted from 0: the part `area_px` of the picture (left, top,
    /// width, height), scaled to `size_px`.
    ///
    /// # Cost
    /// Decodes the clip from its start.
    ///
    /// # Errors
    /// [`ClipError::NoDecoder`], [`ClipError::Decoder`].
    pub fn open(
        path: &Path,
        from: usize,
        area_px: [usize; 4],
        size_px: (usize, usize),
    ) -> Result<Self, ClipError> {
        let [left, top, width, height] = area_px;
        let (across, down) = size_px;
        let filter = format!(
            "select='gte(n,{from})',crop={width}:{height}:{left}:{top},scale={across}:{down}"
        );
        Ok(Self { decoder: Decoder::start(path, Some(&filter))? })
    }

    /// The next frame, or `None` after the last.
    ///
    /// # Errors
    /// [`ClipError::Decoder`], [`ClipError::Stopped`].
    pub fn next(&mut self, watch: &Watch) -> Result<Option<Frame>, ClipError> {
        self.decoder.next(watch)
    }

    /// Gives a frame's memory back for reuse.
    pub fn recycle(&self, frame: Frame) {
        self.decoder.recycle(frame);
    }
}

impl std::fmt::Debug for Frames {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Frames").finish_non_exhaustive()
    }
}
