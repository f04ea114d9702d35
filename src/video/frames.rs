//! Frames of a clip by their numbers, cut and scaled.

use std::path::{Path, PathBuf};

use super::decode::Decoder;
use super::errors::ClipError;
use super::frame::Frame;
use crate::work::Watch;

/// Frames of a clip, cheap as long as they are asked for in their order; dropping it ends the command
/// behind it.
pub struct Frames {
    path: PathBuf,
    /// What is done to every frame, as an ffmpeg filter.
    shape: String,
    running: Option<Decoder>,
    /// The frame that was read last.
    at: Option<(usize, Frame)>,
}

impl Frames {
    /// Of the part `area_px` of the picture (left, top, width, height), scaled to `size_px`.
    #[must_use]
    pub fn of_area(path: &Path, area_px: [usize; 4], size_px: (usize, usize)) -> Self {
        let [left, top, width, height] = area_px;
        let (across, down) = size_px;
        let shape = format!("crop={width}:{height}:{left}:{top},scale={across}:{down}");
        Self { path: path.to_path_buf(), shape, running: None, at: None }
    }

    /// Of the whole picture as it is.
    #[must_use]
    pub fn whole(path: &Path) -> Self {
        Self { path: path.to_path_buf(), shape: "null".to_owned(), running: None, at: None }
    }

    /// A frame of the clip, counted from 0; the last one where the clip ends before it, and `None` where
    /// none was read.
    ///
    /// # Cost
    /// A step back decodes the clip from its start.
    ///
    /// # Errors
    /// [`ClipError::NoDecoder`], [`ClipError::Decoder`], [`ClipError::Stopped`].
    pub fn at(&mut self, frame: usize, watch: &Watch) -> Result<Option<&Frame>, ClipError> {
        if self.at.as_ref().is_none_or(|(at, _)| *at > frame) {
            self.at = None;
            let filter = format!("select='gte(n,{frame})',{}", self.shape);
            self.running = Some(Decoder::start(&self.path, Some(&filter))?);
        }
        while let Some(decoder) = &mut self.running {
            let next = match &self.at {
                Some((at, _)) if *at >= frame => break,
                Some((at, _)) => at + 1,
                None => frame,
            };
            let Some(read) = decoder.next(watch)? else { break };
            if let Some((_, spent)) = self.at.replace((next, read)) {
                decoder.recycle(spent);
            }
        }
        Ok(self.at.as_ref().map(|(_, frame)| frame))
    }
}

impl std::fmt::Debug for Frames {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Frames").field("path", &self.path).finish_non_exhaustive()
    }
}
