//! Frames of a clip, one after the other, by the ffmpeg command.

use std::io::{self, BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, SyncSender, channel, sync_channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::errors::ClipError;
use super::frame::Frame;
use super::probe::{argument, last_words, missing_or};
use crate::process::{PATIENCE, start};
use crate::work::Watch;

/// Frames decoded ahead of the one in work; each is width x height x 3 bytes.
const AHEAD: usize = 2;
/// A header line longer than this is no picture.
const MAX_HEADER: u64 = 64;
/// Larger pictures are refused before their memory is asked for.
const MAX_PIXELS: usize = 1 << 27;
/// Bytes of the decoder's complaints kept.
const MAX_WORDS: usize = 4096;

/// How long a decoder may be silent: the slowest frame of a large clip takes a few seconds (our
/// estimate).
const SILENCE: Duration = Duration::from_secs(120);
/// How long a listing of a clip may take: an hour of film takes seconds (our estimate).
pub(super) const LISTING: Duration = Duration::from_secs(600);
/// Most memory a decoder may write to, bytes. H.264 with sixteen reference pictures, which needs the most,
/// was read whole with 1 GiB in 4K by sixteen threads, and with 2 GiB in 8K by two (ffmpeg 5.1).
pub(super) const MOST_MEMORY: u64 = 4 << 30;
/// Containers a clip may come in, by the decoder's names; pictures among them so that one is told
/// from damage. Not one that names other files or addresses: a playlist is no clip.
const CONTAINERS: &str = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,avi,mpeg,mpegts,mpegvideo,m4v,h264,\
    hevc,flv,asf,ogg,gif,png_pipe,jpeg_pipe,webp_pipe,bmp_pipe,tiff_pipe";
/// Those a voice may come in: what browsers, telephones and recorders write. No playlist either.
const VOICES: &str =
    "wav,w64,mp3,aac,flac,ogg,matroska,webm,mov,mp4,m4a,3gp,3g2,mj2,caf,aiff,amr,asf";

/// What every reader of a file that came from somebody is told: this file and no other, no network,
/// containers that are clips, pictures and blocks of memory of a bounded size. All of its memory is
/// bounded where it is started, by [`MOST_MEMORY`].
pub(super) fn hold_to_limits(command: &mut Command) {
    hold(command, CONTAINERS);
    command.arg("-max_pixels").arg(MAX_PIXELS.to_string());
}

/// The same for a file that is to hold a voice.
pub(super) fn hold_voice_to_limits(command: &mut Command) {
    hold(command, VOICES);
}

fn hold(command: &mut Command, containers: &str) {
    command.args(["-max_alloc", "1073741824"]).args([
        "-protocol_whitelist",
        "file,pipe",
        "-format_whitelist",
        containers,
    ]);
}

/// A running decoder; memory is bounded by a few frames whatever the clip's length. Dropping it
/// ends the command.
pub(super) struct Decoder {
    path: PathBuf,
    child: Child,
    frames: Receiver<io::Result<Frame>>,
    spent: Sender<Frame>,
    words: Option<JoinHandle<String>>,
}

impl Decoder {
    /// Starts decoding `path`; `filter` is an ffmpeg filter chain, or nothing.
    pub(super) fn start(path: &Path, filter: Option<&str>) -> Result<Self, ClipError> {
        Self::start_at(path, None, filter)
    }

    /// As [`Self::start`], from the last picture at or before a time of the stream, seconds, that can be
    /// decoded without those before it, as the container's index has it; times stay the stream's own.
    pub(super) fn start_at(
        path: &Path,
        from_s: Option<f64>,
        filter: Option<&str>,
    ) -> Result<Self, ClipError> {
        let mut command = Command::new("ffmpeg");
        command.args(["-v", "error", "-nostdin"]);
        hold_to_limits(&mut command);
        if let Some(from_s) = from_s {
            command.args(["-copyts", "-noaccurate_seek", "-seek_timestamp", "1", "-ss"]);
            command.arg(format!("{from_s:.3}"));
        }
        command.arg("-i").arg(argument(path)).args(["-map", "0:V:0"]);
        if let Some(filter) = filter {
            command.args(["-vf", filter]);
        }
        command
            .args(["-fps_mode", "passthrough", "-f", "image2pipe"])
            .args(["-c:v", "ppm", "-pix_fmt", "rgb24", "-"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let started = start(&mut command, Some(MOST_MEMORY));
        let mut child = started.map_err(|error| missing_or(path, "ffmpeg", &error))?;
        let (Some(stdout), Some(stderr)) = (child.stdout.take(), child.stderr.take()) else {
            return Err(ClipError::Decoder {
                path: path.to_path_buf(),
                said: "no pipe to ffmpeg".to_owned(),
            });
        };
        let (ready, frames) = sync_channel(AHEAD);
        let (spent, empty) = channel();
        std::thread::spawn(move || pump(BufReader::with_capacity(1 << 20, stdout), &ready, &empty));
        let words = std::thread::spawn(move || {
            let mut kept = Vec::new();
            let mut stderr = BufReader::new(stderr);
            let mut line = Vec::new();
            while matches!(stderr.read_until(b'\n', &mut line), Ok(n) if n > 0) {
                kept.append(&mut line);
                let over = kept.len().saturating_sub(MAX_WORDS);
                kept.drain(..over);
            }
            String::from_utf8_lossy(&kept).into_owned()
        });
        Ok(Self { path: path.to_path_buf(), child, frames, spent, words: Some(words) })
    }

    /// The next frame, or `None` after the last.
    pub(super) fn next(&mut self, watch: &Watch) -> Result<Option<Frame>, ClipError> {
        let asked = Instant::now();
        loop {
            watch.check().map_err(ClipError::stopped(&self.path))?;
            if asked.elapsed() > SILENCE {
                let said = format!("no picture within {} s", SILENCE.as_secs());
                return Err(ClipError::Decoder { path: self.path.clone(), said });
            }
            return match self.frames.recv_timeout(PATIENCE) {
                Ok(Ok(frame)) => Ok(Some(frame)),
                Ok(Err(error)) => {
                    Err(ClipError::Decoder { path: self.path.clone(), said: error.to_string() })
                }
                Err(RecvTimeoutError::Timeout) => continue,
                Err(RecvTimeoutError::Disconnected) => Ok(None),
            };
        }
    }

    /// Gives a frame's memory back for reuse.
    pub(super) fn recycle(&self, frame: Frame) {
        // After the last frame nobody takes it; then it is simply freed.
        let _ = self.spent.send(frame);
    }

    /// What the decoder complained about, once all frames are read: its last line, or nothing.
    pub(super) fn complaint(&mut self) -> String {
        let words = self.words.take().and_then(|thread| thread.join().ok());
        last_words(&words.unwrap_or_default())
    }
}

impl Drop for Decoder {
    fn drop(&mut self) {
        // Either it has ended by itself or nobody wants the rest.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn pump(mut source: impl BufRead, ready: &SyncSender<io::Result<Frame>>, empty: &Receiver<Frame>) {
    loop {
        let reused = empty.try_recv().unwrap_or_default();
        match read_picture(&mut source, reused) {
            Ok(None) => return,
            Ok(Some(frame)) => {
                if ready.send(Ok(frame)).is_err() {
                    return;
                }
            }
            Err(error) => {
                // Nobody left to tell is as good as told.
                let _ = ready.send(Err(error));
                return;
            }
        }
    }
}

/// One binary PPM picture; `None` at the end of the stream.
fn read_picture(source: &mut impl BufRead, mut frame: Frame) -> io::Result<Option<Frame>> {
    let bad = |what: &str| io::Error::new(io::ErrorKind::InvalidData, what.to_owned());
    let mut fields = Vec::with_capacity(4);
    while fields.len() < 4 {
        let mut line = Vec::new();
        let mut limited = source.by_ref().take(MAX_HEADER);
        if limited.read_until(b'\n', &mut line)? == 0 {
            if fields.is_empty() {
                return Ok(None);
            }
            return Err(bad("the picture stream ends inside a header"));
        }
        let text = std::str::from_utf8(&line).map_err(|_| bad("a picture header is not text"))?;
        fields.extend(text.split_ascii_whitespace().map(str::to_owned));
        if fields.first().is_none_or(|magic| magic != "P6") {
            return Err(bad("a picture does not begin with P6"));
        }
    }
    let size = |text: &str| text.parse::<usize>().ok().filter(|&n| n > 0);
    let (Some(width), Some(height), "255") = (size(&fields[1]), size(&fields[2]), &*fields[3])
    else {
        return Err(bad("a picture header is not 'P6 width height 255'"));
    };
    if width.saturating_mul(height) > MAX_PIXELS {
        return Err(bad("a picture has more than 134 million pixels"));
    }
    frame.width = width;
    frame.height = height;
    frame.rgb.resize(width * height * 3, 0);
    source.read_exact(&mut frame.rgb)?;
    Ok(Some(frame))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_follow_one_another_and_the_memory_is_reused() {
        let bytes = b"P6\n2 1\n255\nabcdefP6\n1 1\n255\nxyz";
        let mut source = &bytes[..];
        let first = read_picture(&mut source, Frame::default()).unwrap().unwrap();
        assert_eq!((first.width, first.height, &*first.rgb), (2, 1, &b"abcdef"[..]));
        let second = read_picture(&mut source, first).unwrap().unwrap();
        assert_eq!((second.width, &*second.rgb), (1, &b"xyz"[..]));
        assert!(read_picture(&mut source, second).unwrap().is_none());
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_decoder_is_held_to_its_memory() {
        // Ended or not, it is known to the system until it is waited for.
        let decoder = match Decoder::start(Path::new("no-such-clip.mp4"), None) {
            Ok(decoder) => decoder,
            Err(error) => return crate::skip::skipped(error.to_string()),
        };
        let limits = std::fs::read_to_string(format!("/proc/{}/limits", decoder.child.id()));
        let limits = limits.unwrap();
        let line = limits.lines().find(|line| line.starts_with("Max data size")).unwrap();
        let words: Vec<&str> = line.split_whitespace().collect();
        let most = MOST_MEMORY.to_string();
        assert_eq!(words[3..5], [&*most, &*most], "{line}");
    }

    #[test]
    fn a_broken_stream_is_an_error_not_a_panic() {
        for bytes in [
            &b"P5\n2 1\n255\n"[..],
            b"P6\n2 1\n255\nabc",
            b"P6\n-2 1\n255\nabc",
            b"P6\n2 1\n65535\nabc",
            b"P6\n99999999 99999999\n255\n",
            b"P6\n2",
            b"P6 \xff",
        ] {
            let mut source = bytes;
            assert!(read_picture(&mut source, Frame::default()).is_err(), "{bytes:?}");
        }
    }
}
