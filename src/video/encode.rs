//! Pictures to a clip that plays everywhere: H.264 in MP4, by the ffmpeg command.

use std::fs::File;
use std::io::{BufRead, BufReader, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::thread::JoinHandle;

use super::decode::{LISTING, MOST_MEMORY, hold_voice_to_limits};
use super::errors::ClipError;
use super::frame::Frame;
use super::probe::{argument, last_words, missing_or};
use crate::process::{Ended, Limits, PATIENCE, run, start};
use crate::work::Watch;

/// Kilobits a second of the pictures at most: with the voice, three minutes stay below 25 MB.
const MOST_KBITS: u32 = 900;
/// Kilobits a second of a voice.
const VOICE_KBITS: u32 = 96;
/// Longest voice, s: half an hour is no review any more.
const LONGEST_S: f64 = 30.0 * 60.0;
/// Samples a second at which a voice is counted.
const COUNTED_HZ: u32 = 8000;
/// Samples a second of voices that are joined.
const JOINED_HZ: u32 = 48_000;
/// Bytes of a WAV before its samples.
const WAV_HEADER: usize = 44;

/// A clip to be made.
#[derive(Debug, Clone)]
pub struct NewClip {
    /// Pixels across and down, even.
    pub size_px: (usize, usize),
    /// Pictures a second.
    pub rate_hz: f64,
    /// A recording of sound that goes with the pictures from the first one on.
    pub voice: Option<PathBuf>,
}

/// A clip being made; dropped before it is finished, it is ended.
pub struct Encoder {
    to: PathBuf,
    size_px: (usize, usize),
    child: Child,
    pictures: Option<ChildStdin>,
    words: Option<JoinHandle<String>>,
}

impl Encoder {
    /// Begins a clip at `to`, which is written over: 8 bit 4:2:0 as every phone plays it, the index
    /// first, nothing in it of where and with what its sources were filmed.
    ///
    /// # Errors
    /// [`ClipError::NoDecoder`] without ffmpeg, [`ClipError::NotMade`].
    pub fn start(clip: &NewClip, to: &Path) -> Result<Self, ClipError> {
        let (width, height) = clip.size_px;
        let mut command = Command::new("ffmpeg");
        command
            .args(["-v", "error", "-y", "-protocol_whitelist", "file,pipe"])
            .args(["-f", "rawvideo", "-pix_fmt", "rgb24", "-s"])
            .arg(format!("{width}x{height}"))
            .args(["-r", &clip.rate_hz.to_string(), "-i", "pipe:0"]);
        if let Some(voice) = &clip.voice {
            hold_voice_to_limits(&mut command);
            command.arg("-i").arg(argument(voice));
        }
        command.args(["-map", "0:v"]);
        if clip.voice.is_some() {
            command.args(["-map", "1:a:0", "-c:a", "aac", "-ac", "1", "-b:a"]);
            command.arg(format!("{VOICE_KBITS}k"));
        }
        command
            .args(["-vf", "scale=out_color_matrix=bt709:out_range=tv,format=yuv420p"])
            .args(["-c:v", "libx264", "-preset", "veryfast", "-crf", "23", "-maxrate"])
            .arg(format!("{MOST_KBITS}k"))
            .arg("-bufsize")
            .arg(format!("{}k", 2 * MOST_KBITS))
            .args(["-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"])
            .args(["-map_metadata", "-1", "-fflags", "+bitexact", "-movflags", "+faststart"])
            .args(["-f", "mp4"])
            .arg(argument(to))
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        let started = start(&mut command, Some(MOST_MEMORY));
        let mut child = started.map_err(|error| missing_or(to, "ffmpeg", &error))?;
        let pictures = child.stdin.take();
        let words = child.stderr.take().map(|stderr| {
            std::thread::spawn(move || {
                let lines = BufReader::new(stderr).lines().map_while(Result::ok);
                lines.filter(|line| !line.trim().is_empty()).last().unwrap_or_default()
            })
        });
        Ok(Self { to: to.to_path_buf(), size_px: clip.size_px, child, pictures, words })
    }

    /// The next picture.
    ///
    /// # Errors
    /// [`ClipError::NotMade`] with what the encoder said; [`ClipError::Stopped`].
    ///
    /// # Panics
    /// If the picture is not of the clip's size.
    pub fn push(&mut self, picture: &Frame, watch: &Watch) -> Result<(), ClipError> {
        assert_eq!((picture.width, picture.height), self.size_px, "one size in one clip");
        watch.check().map_err(ClipError::stopped(&self.to))?;
        let sent = self.pictures.as_mut().map(|pipe| pipe.write_all(&picture.rgb));
        match sent {
            Some(Ok(())) => Ok(()),
            // It closed the pipe and says why in its last words.
            _ => Err(self.not_made()),
        }
    }

    /// Ends the clip; only now the file is whole.
    ///
    /// # Errors
    /// As [`Self::push`].
    pub fn finish(mut self, watch: &Watch) -> Result<(), ClipError> {
        drop(self.pictures.take());
        loop {
            match self.child.try_wait() {
                Ok(Some(status)) if status.success() => return Ok(()),
                Ok(None) => {}
                _ => return Err(self.not_made()),
            }
            watch.check().map_err(ClipError::stopped(&self.to))?;
            std::thread::sleep(PATIENCE);
        }
    }

    fn not_made(&mut self) -> ClipError {
        drop(self.pictures.take());
        // If it has not ended by itself, nothing more is wanted of it.
        let _ = self.child.kill();
        let words = self.words.take().and_then(|thread| thread.join().ok());
        ClipError::NotMade { said: last_words(&words.unwrap_or_default()) }
    }
}

impl Drop for Encoder {
    fn drop(&mut self) {
        // Either it has ended by itself or nobody wants the rest.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Where it goes.
impl std::fmt::Debug for Encoder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Encoder").field("to", &self.to).finish_non_exhaustive()
    }
}

/// How long a voice is, s, by hearing it through: what a browser recorded does not say.
///
/// # Errors
/// [`ClipError::NoVoice`] without a sound, or beyond half an hour; [`ClipError::NoDecoder`],
/// [`ClipError::Stopped`].
pub fn voice_length_s(voice: &Path, watch: &Watch) -> Result<f64, ClipError> {
    Ok(samples(voice, COUNTED_HZ, watch)?.len() as f64 / 2.0 / f64::from(COUNTED_HZ))
}

/// One voice of several, one after the other, written to `to` as WAV (48 kHz, one channel, 16 bit);
/// the length of each, s, to the sample.
///
/// # Cost
/// Holds the samples of one voice at a time: 6 MB a minute.
///
/// # Errors
/// As [`voice_length_s`], each voice and all together; [`ClipError::Open`] where `to` cannot be
/// written.
pub fn join_voices(voices: &[&Path], to: &Path, watch: &Watch) -> Result<Vec<f64>, ClipError> {
    let io = |source| ClipError::Open { path: to.to_path_buf(), source };
    let mut file = File::create(to).map_err(io)?;
    file.write_all(&[0; WAV_HEADER]).map_err(io)?;
    let (mut lengths_s, mut bytes) = (Vec::with_capacity(voices.len()), 0_usize);
    for voice in voices {
        let heard = samples(voice, JOINED_HZ, watch)?;
        bytes += heard.len();
        if bytes as f64 > LONGEST_S * 2.0 * f64::from(JOINED_HZ) {
            let said = "all parts together are longer than half an hour".to_owned();
            return Err(ClipError::NoVoice { path: voice.to_path_buf(), said });
        }
        file.write_all(&heard).map_err(io)?;
        lengths_s.push(heard.len() as f64 / 2.0 / f64::from(JOINED_HZ));
    }
    file.seek(SeekFrom::Start(0)).map_err(io)?;
    file.write_all(&wav_header(bytes as u32)).map_err(io)?;
    Ok(lengths_s)
}

/// Header of a WAV of `bytes` samples of one channel, 16 bit (Microsoft's RIFF specification, 1991:
/// `fmt` chunk of 16 bytes, format 1).
fn wav_header(bytes: u32) -> [u8; WAV_HEADER] {
    let mut header = [0; WAV_HEADER];
    let mut put = |at: usize, field: &[u8]| header[at..at + field.len()].copy_from_slice(field);
    put(0, b"RIFF");
    put(4, &(bytes + WAV_HEADER as u32 - 8).to_le_bytes());
    put(8, b"WAVEfmt ");
    put(16, &16_u32.to_le_bytes());
    put(20, &1_u16.to_le_bytes());
    put(22, &1_u16.to_le_bytes());
    put(24, &JOINED_HZ.to_le_bytes());
    put(28, &(2 * JOINED_HZ).to_le_bytes());
    put(32, &2_u16.to_le_bytes());
    put(34, &16_u16.to_le_bytes());
    put(36, b"data");
    put(40, &bytes.to_le_bytes());
    header
}

/// A voice as it is heard, from its first moment on: samples of 16 bit, one channel. Where a browser
/// left a moment out, it is silent.
fn samples(voice: &Path, rate_hz: u32, watch: &Watch) -> Result<Vec<u8>, ClipError> {
    let no_voice = |said: &str| {
        let said = if said.is_empty() { "nothing is heard" } else { said };
        Err(ClipError::NoVoice { path: voice.to_path_buf(), said: said.to_owned() })
    };
    let mut command = Command::new("ffmpeg");
    command.args(["-v", "error", "-nostdin"]);
    hold_voice_to_limits(&mut command);
    command
        .arg("-i")
        .arg(argument(voice))
        .args(["-map", "0:a:0", "-ac", "1", "-t", &(LONGEST_S + 1.0).to_string()])
        .args(["-af", "aresample=async=1:first_pts=0", "-ar"])
        .args([&rate_hz.to_string(), "-f", "s16le", "-"]);
    let limits = Limits { time: Some(LISTING), memory: Some(MOST_MEMORY) };
    match run(&mut command, limits, watch).map_err(|error| missing_or(voice, "ffmpeg", &error))? {
        Ended::Itself(output) if output.status.success() && output.stdout.len() > 1 => {
            let long_s = (output.stdout.len() / 2) as f64 / f64::from(rate_hz);
            if long_s > LONGEST_S {
                return no_voice("it is longer than half an hour");
            }
            let mut heard = output.stdout;
            heard.truncate(heard.len() & !1);
            Ok(heard)
        }
        Ended::Itself(output) => {
            let words = String::from_utf8_lossy(&output.stderr);
            if words.contains("Format not on whitelist") {
                return no_voice("its content is not that of a voice, whatever its name says");
            }
            no_voice(&last_words(&words))
        }
        Ended::Stopped(stopped) => Err(ClipError::stopped(voice)(stopped)),
        Ended::TooLong => no_voice("it could not be heard through in time"),
    }
}
