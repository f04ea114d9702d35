//! A stretch of a clip as single pictures, each complete in itself, so that a page shows any frame
//! at once and exactly.

use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};

use serde::{Deserialize, Serialize};

use super::decode::{MOST_MEMORY, hold_to_limits};
use super::errors::ClipError;
use super::probe::{argument, last_words, missing_or};
use crate::process::{PATIENCE, start};
use crate::work::{Stage, Watch};

/// Longest side of a picture to look at closely, pixels: what a phone films. Our estimate of what a
/// screen can show.
const SHARP_PX: usize = 1920;
/// Longest side of a picture that follows the hand, pixels: decoded in a few milliseconds (our
/// estimate).
const QUICK_PX: usize = 720;
/// ffmpeg's JPEG quality, 2 (best) to 31, of both.
const QUALITY: [&str; 2] = ["4", "6"];

/// Which pictures of a film.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FilmSize {
    /// As the clip has them, up to 1920 pixels.
    Sharp,
    /// Small ones that are there at once.
    Quick,
}

impl FilmSize {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Sharp, Self::Quick];

    /// Name in addresses and of the file in a film's folder.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Sharp => "sharp",
            Self::Quick => "quick",
        }
    }

    /// The size with this name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|size| size.name() == name)
    }

    fn longest_px(self) -> usize {
        match self {
            Self::Sharp => SHARP_PX,
            Self::Quick => QUICK_PX,
        }
    }
}

/// A stretch of a clip as pictures: what lies in its two files, one JPEG after the other.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Film {
    /// First frame of the clip.
    pub first: usize,
    /// Bytes of each sharp picture, in order; as many as frames.
    pub sharp: Vec<usize>,
    /// Bytes of each quick picture.
    pub quick: Vec<usize>,
}

/// Cuts the frames `first` to `last` of a clip into pictures, in files named after [`FilmSize`] in
/// the folder `into`; fewer where the clip ends before.
///
/// # Cost
/// Decodes the clip from its start to the last frame; memory is bounded.
///
/// # Errors
/// [`ClipError::NoDecoder`], [`ClipError::Decoder`], [`ClipError::Stopped`]; what is in `into` is
/// then of no use.
pub fn film(
    path: &Path,
    (first, last): (usize, usize),
    into: &Path,
    watch: &Watch,
) -> Result<Film, ClipError> {
    let frames = last.saturating_sub(first) + 1;
    let mut filter = format!("[0:V:0]select='between(n,{first},{last})',split=2[a][b]");
    for (size, from) in FilmSize::ALL.into_iter().zip(["a", "b"]) {
        let (name, most) = (size.name(), size.longest_px());
        filter.push_str(&format!(
            ";[{from}]scale=w='min(iw,{most})':h='min(ih,{most})':\
             force_original_aspect_ratio=decrease:force_divisible_by=2:out_range=pc,\
             format=yuvj420p[{name}]"
        ));
    }
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-nostdin", "-nostats", "-progress", "pipe:1"]);
    hold_to_limits(&mut command);
    command.arg("-i").arg(argument(path)).args(["-filter_complex", &filter]);
    for (size, quality) in FilmSize::ALL.into_iter().zip(QUALITY) {
        command
            .args(["-map", &format!("[{}]", size.name()), "-fps_mode", "passthrough"])
            .args(["-frames:v", &frames.to_string(), "-c:v", "mjpeg", "-q:v", quality])
            .args(["-f", "mjpeg", "-y"])
            .arg(argument(&into.join(size.name())));
    }
    run(path, command, frames, watch)?;
    let read = |size: FilmSize| {
        let file = into.join(size.name());
        let found = std::fs::File::open(&file).and_then(|file| sizes(BufReader::new(file)));
        found.map_err(|error| ClipError::Decoder {
            path: path.to_path_buf(),
            said: format!("its pictures cannot be read again: {error}"),
        })
    };
    let film = Film { first, sharp: read(FilmSize::Sharp)?, quick: read(FilmSize::Quick)? };
    if film.sharp.is_empty() || film.sharp.len() != film.quick.len() {
        let said = "no pictures came out of it".to_owned();
        return Err(ClipError::Decoder { path: path.to_path_buf(), said });
    }
    Ok(film)
}

/// Ends its command when it goes.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        // Either it has ended by itself or nobody wants the rest.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Runs the command to its end and tells `watch` each frame it reports.
fn run(path: &Path, mut command: Command, frames: usize, watch: &Watch) -> Result<(), ClipError> {
    let stopped = |stop| ClipError::stopped(path)(stop);
    watch.step(Stage::Pictures, 0, frames).map_err(stopped)?;
    let failed = |said: String| ClipError::Decoder { path: PathBuf::from(path), said };
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let started = start(&mut command, Some(MOST_MEMORY));
    let child = started.map_err(|error| missing_or(path, "ffmpeg", &error))?;
    let mut child = Running(child);
    let (Some(stdout), Some(mut stderr)) = (child.0.stdout.take(), child.0.stderr.take()) else {
        return Err(failed("no pipe to ffmpeg".to_owned()));
    };
    let words = std::thread::spawn(move || {
        let mut said = String::new();
        // What cannot be read as text is not told.
        let _ = stderr.read_to_string(&mut said);
        said
    });
    let (tell, told) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(stdout).lines().map_while(Result::ok) {
            let frame = line.strip_prefix("frame=").and_then(|n| n.trim().parse::<usize>().ok());
            if let Some(frame) = frame
                && tell.send(frame).is_err()
            {
                return;
            }
        }
    });
    loop {
        match told.recv_timeout(PATIENCE) {
            Ok(done) => watch.step(Stage::Pictures, done, frames).map_err(stopped)?,
            Err(RecvTimeoutError::Timeout) => watch.check().map_err(stopped)?,
            Err(RecvTimeoutError::Disconnected) => break,
        }
    }
    let status = child.0.wait().map_err(|error| failed(error.to_string()))?;
    if status.success() {
        return Ok(());
    }
    Err(failed(last_words(&words.join().unwrap_or_default())))
}

/// Bytes of each JPEG in a row of them.
///
/// Inside a picture 0xff 0xd9 stands at its end only: coded data stuffs a 0 behind 0xff, and these
/// pictures hold no smaller one (ITU-T T.81, B.1.1.2 and B.1.1.5).
fn sizes(mut source: impl BufRead) -> io::Result<Vec<usize>> {
    let (mut sizes, mut size, mut after_ff) = (Vec::new(), 0, false);
    loop {
        let bytes = source.fill_buf()?;
        if bytes.is_empty() {
            break;
        }
        for &byte in bytes {
            size += 1;
            if after_ff && byte == 0xd9 {
                sizes.push(std::mem::take(&mut size));
            }
            after_ff = byte == 0xff;
        }
        let read = bytes.len();
        source.consume(read);
    }
    if size > 0 {
        return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the last picture is cut off"));
    }
    Ok(sizes)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A clip whose frame `n` is one even grey of 16 + 6 n: drawn by ffmpeg, so the pictures are not
    /// of our making.
    fn ramp(folder: &Path, frames: usize) -> Option<PathBuf> {
        let path = folder.join("ramp.mp4");
        let drawn = Command::new("ffmpeg")
            .args(["-v", "error", "-f", "lavfi", "-i"])
            .arg(format!(
                "color=black:s=64x96:r=25:d={},geq=lum='16+6*N':cb=128:cr=128",
                frames as f64 / 25.0
            ))
            .args(["-c:v", "libx264", "-g", "12", "-bf", "2", "-pix_fmt", "yuv420p"])
            .arg(&path)
            .status();
        match drawn {
            Ok(status) if status.success() => Some(path),
            _ => {
                crate::skip::skipped("ffmpeg is not here");
                None
            }
        }
    }

    /// Mean brightness of a JPEG, 0 to 255, read by ffmpeg.
    fn brightness(jpeg: &[u8]) -> f64 {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("one.jpg");
        std::fs::write(&file, jpeg).unwrap();
        let grey = Command::new("ffmpeg")
            .args(["-v", "error", "-i"])
            .arg(&file)
            .args(["-f", "rawvideo", "-pix_fmt", "gray", "-"])
            .output()
            .unwrap();
        let sum: f64 = grey.stdout.iter().map(|&value| f64::from(value)).sum();
        sum / grey.stdout.len() as f64
    }

    #[test]
    fn each_picture_is_the_frame_it_says() {
        let folder = tempfile::tempdir().unwrap();
        let Some(clip) = ramp(folder.path(), 36) else { return };
        let film = film(&clip, (7, 20), folder.path(), &Watch::default()).unwrap();
        assert_eq!((film.first, film.sharp.len(), film.quick.len()), (7, 14, 14));
        for (size, all) in [(FilmSize::Sharp, &film.sharp), (FilmSize::Quick, &film.quick)] {
            let bytes = std::fs::read(folder.path().join(size.name())).unwrap();
            assert_eq!(bytes.len(), all.iter().sum::<usize>());
            for at in [0, 6, 13] {
                let from: usize = all[..at].iter().sum();
                let seen = brightness(&bytes[from..from + all[at]]);
                // 16 + 6 n of 16 to 235, as full range; 6 steps apart, so 3 is half a frame.
                let want = (6 * (7 + at)) as f64 * 255.0 / 219.0;
                assert!((seen - want).abs() < 3.0, "frame {}: {seen}, not {want}", 7 + at);
            }
        }
    }

    #[test]
    fn a_clip_that_ends_before_gives_what_it_has_and_a_stop_ends_it() {
        let folder = tempfile::tempdir().unwrap();
        let Some(clip) = ramp(folder.path(), 10) else { return };
        let short = film(&clip, (6, 40), folder.path(), &Watch::default()).unwrap();
        assert_eq!(short.sharp.len(), 4);
        assert!(film(&clip, (30, 40), folder.path(), &Watch::default()).is_err());
        let watch = Watch::default();
        watch.stop();
        let stopped = film(&clip, (0, 3), folder.path(), &watch).unwrap_err();
        assert!(matches!(stopped, ClipError::Stopped { .. }), "{stopped}");
    }

    #[test]
    fn pictures_are_told_apart_by_their_ends() {
        let row = [0xff, 0xd8, 0xff, 0x00, 0xd9, 0xff, 0xd9, 0xff, 0xd8, 0xff, 0xd9];
        assert_eq!(sizes(&row[..]).unwrap(), [7, 4]);
        assert!(sizes(&row[..9]).is_err());
        assert!(sizes(&row[..0]).unwrap().is_empty());
    }
}
