//! Frames of a clip by their numbers, cut and scaled.

use std::path::{Path, PathBuf};

use super::decode::Decoder;
use super::errors::ClipError;
use super::frame::Frame;
use super::probe::ClipInfo;
use crate::work::Watch;

/// An index is asked for a place so much earlier, seconds: some count in the order of decoding.
const BEFORE_S: f64 = 0.25;

/// Frames of a clip, cheap as long as they are asked for in their order; dropping it ends the command
/// behind it.
pub struct Frames {
    path: PathBuf,
    /// What is done to every frame, as an ffmpeg filter.
    shape: String,
    /// A frame of which the time is known.
    sought: Option<Box<Sought>>,
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
        Self { path: path.to_path_buf(), shape, sought: None, running: None, at: None }
    }

    /// Of the whole picture as it is.
    #[must_use]
    pub fn whole(path: &Path) -> Self {
        let shape = "null".to_owned();
        Self { path: path.to_path_buf(), shape, sought: None, running: None, at: None }
    }

    /// With the time of the frame that will be asked for first, so that the clip need not be decoded from
    /// its start up to there. The frames are the same ones: where no picture of exactly that time turns
    /// up, they are counted from the start after all.
    #[must_use]
    pub fn beginning_at(mut self, frame: usize, info: &ClipInfo) -> Self {
        self.sought = Sought::of(frame, info).map(Box::new);
        self
    }

    /// A frame of the clip, counted from 0; the last one where the clip ends before it, and `None` where
    /// none was read.
    ///
    /// # Cost
    /// A step back decodes the clip from its start, as does the first frame unless its time is known.
    ///
    /// # Errors
    /// [`ClipError::NoDecoder`], [`ClipError::Decoder`], [`ClipError::Stopped`].
    pub fn at(&mut self, frame: usize, watch: &Watch) -> Result<Option<&Frame>, ClipError> {
        if self.at.as_ref().is_none_or(|(at, _)| *at > frame) {
            self.at = self.seek(frame, watch)?;
            if self.at.is_none() {
                let filter = format!("select='gte(n,{frame})',{}", self.shape);
                self.running = Some(Decoder::start(&self.path, Some(&filter))?);
            }
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

    /// The frame found by its time; `None` if that is not known or was not found.
    fn seek(&mut self, frame: usize, watch: &Watch) -> Result<Option<(usize, Frame)>, ClipError> {
        let Some(sought) = self.sought.take().filter(|sought| sought.frame == frame) else {
            return Ok(None);
        };
        // Nothing is let through before the frame itself was.
        let [after_s, before_s] = sought.between_s;
        let filter = format!(
            "select='between(t,{after_s:.6},{before_s:.6})+gt(selected_n,0)*gte(t,{after_s:.6})',{}",
            self.shape
        );
        let from_s = (after_s - BEFORE_S).max(0.0);
        let mut decoder = Decoder::start_at(&self.path, Some(from_s), Some(&filter))?;
        let first = decoder.next(watch)?;
        self.running = Some(decoder);
        Ok(first.map(|read| (frame, read)))
    }
}

/// A frame and the times of the stream between which there is no other one, seconds.
struct Sought {
    frame: usize,
    between_s: [f64; 2],
}

impl Sought {
    /// `None` where the container has no index to go by, or times repeat.
    fn of(frame: usize, info: &ClipInfo) -> Option<Self> {
        let time_s = |at: usize| info.times_s.get(at).copied();
        let (at_s, next_s) = (time_s(frame)?, time_s(frame + 1)?);
        let last_s = time_s(frame.checked_sub(1)?)?;
        let apart = last_s < at_s && at_s < next_s;
        (info.indexed && apart)
            .then(|| Self { frame, between_s: [(last_s + at_s) / 2.0, (at_s + next_s) / 2.0] })
    }
}

impl std::fmt::Debug for Frames {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Frames").field("path", &self.path).finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use std::process::Command;

    use super::*;
    use crate::video::probe::probe;
    use crate::video::setup::runs;

    /// A clip of the decoder's own moving test picture with a way in every 12 frames.
    fn made(folder: &Path, name: &str, codec: &[&str]) -> PathBuf {
        let path = folder.join(name);
        let status = Command::new("ffmpeg")
            .args(["-v", "error", "-f", "lavfi", "-i", "testsrc2=size=192x108:rate=30:duration=2"])
            .args(codec)
            .args(["-g", "12"])
            .arg(&path)
            .status();
        assert!(status.unwrap().success(), "{name}");
        path
    }

    /// Held to the decoder's own count of the frames, from the start.
    #[test]
    fn a_frame_found_by_its_time_is_the_one_of_its_number() {
        if !runs("ffmpeg") {
            return crate::skip::skipped("ffmpeg is absent");
        }
        let folder = tempfile::tempdir().unwrap();
        let watch = Watch::default();
        let late: &[&str] = &["-c:v", "libx264", "-bf", "3", "-output_ts_offset", "7.3"];
        let open: &[&str] = &["-c:v", "libx264", "-bf", "3", "-x264-params", "open-gop=1"];
        let clips = [
            made(folder.path(), "h264.mp4", &["-c:v", "libx264", "-bf", "3"]),
            made(folder.path(), "h264.mov", &["-c:v", "libx264", "-bf", "0"]),
            made(folder.path(), "late.mp4", late),
            made(folder.path(), "open.mp4", open),
            made(folder.path(), "hevc.mp4", &["-c:v", "libx265", "-x265-params", "log-level=none"]),
            made(folder.path(), "vp9.webm", &["-c:v", "libvpx-vp9", "-deadline", "realtime"]),
        ];
        for path in &clips {
            let info = probe(path, &watch).unwrap();
            assert_eq!(info.times_s.len(), 60, "{path:?}");
            for frame in [1, 11, 12, 13, 35, 36, 47, 58] {
                let shape = || Frames::of_area(path, [16, 8, 160, 90], (80, 46));
                let mut counted = shape();
                let mut sought = shape().beginning_at(frame, &info);
                let (at, first) = sought.seek(frame, &watch).unwrap().expect("found by its time");
                assert_eq!((at, Some(&first)), (frame, counted.at(frame, &watch).unwrap()));
                sought.at = Some((at, first));
                let next = counted.at(frame + 1, &watch).unwrap().cloned();
                assert_eq!(
                    sought.at(frame + 1, &watch).unwrap(),
                    next.as_ref(),
                    "{path:?} {frame}"
                );
            }
        }
        // Times that are not those of the frames: counted after all.
        let mut info = probe(&clips[0], &watch).unwrap();
        info.times_s.iter_mut().for_each(|time_s| *time_s *= 1000.0);
        let mut sought = Frames::whole(&clips[0]).beginning_at(30, &info);
        let found = sought.at(30, &watch).unwrap().cloned();
        assert_eq!(found.as_ref(), Frames::whole(&clips[0]).at(30, &watch).unwrap());
        assert!(found.is_some());
        // Nothing to go by.
        info.indexed = false;
        assert!(Sought::of(30, &info).is_none());
        info.indexed = true;
        info.times_s[31] = info.times_s[30];
        assert!(Sought::of(30, &info).is_none() && Sought::of(0, &info).is_none());
    }
}
