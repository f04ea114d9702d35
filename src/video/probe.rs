//! What a clip's container says: frames with their times, size, codec, rates.

use std::ffi::OsString;
use std::io::Read;
use std::path::Path;
use std::process::Command;

use serde::Deserialize;

use super::decode::{LISTING, MOST_MEMORY, hold_to_limits};
use super::errors::ClipError;
use crate::process::{Ended, Limits, run};
use crate::work::Watch;

/// What a clip holds, from its container, before any picture is decoded.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipInfo {
    /// Codec name, for example `h264`, `hevc`, `vp9`.
    pub codec: String,
    /// Time of each shown frame in seconds, as the stream has it, strictly increasing.
    pub times_s: Vec<f64>,
    /// Rate the clip plays at in Hz: one over the median step between frames.
    pub container_hz: f64,
    /// Rate the phone says it captured at, where the container has that tag.
    pub tagged_capture_hz: Option<f64>,
    /// Longest over median step: 1 for an even clip.
    pub unevenness: f64,
    /// Frames the container announces; fewer in the file mean a truncated clip.
    pub(super) announced: Option<usize>,
    /// Frames in the file, hidden ones included.
    pub(super) packets: usize,
    /// Seconds the container announces.
    pub(super) announced_s: Option<f64>,
    /// Whether the container has an index that leads to a time.
    pub(super) indexed: bool,
}

#[derive(Deserialize)]
struct Listing {
    #[serde(default)]
    packets: Vec<Packet>,
    #[serde(default)]
    frames: Vec<FrameLine>,
    #[serde(default)]
    streams: Vec<Stream>,
    format: Option<Format>,
}

#[derive(Deserialize)]
struct Packet {
    pts_time: Option<String>,
    #[serde(default)]
    flags: String,
}

#[derive(Deserialize)]
struct FrameLine {
    best_effort_timestamp_time: Option<String>,
}

#[derive(Deserialize)]
struct Stream {
    codec_name: Option<String>,
    nb_frames: Option<String>,
    duration: Option<String>,
    #[serde(default)]
    tags: std::collections::BTreeMap<String, String>,
}

#[derive(Deserialize)]
struct Format {
    format_name: Option<String>,
    duration: Option<String>,
    #[serde(default)]
    tags: std::collections::BTreeMap<String, String>,
}

/// Tag in which phones note the rate a slow-motion clip was captured at.
const CAPTURE_TAG: &str = "com.android.capture.fps";

/// Containers with an index that leads to a time.
const INDEXED_FORMATS: [&str; 2] = ["mov", "matroska"];

/// Containers of single pictures, which the decoder also opens.
const STILL_FORMATS: [&str; 3] = ["image2", "_pipe", "gif"];

/// Endings of names under which clips are kept.
const ENDINGS: [&str; 17] = [
    "mp4", "m4v", "mov", "qt", "mkv", "webm", "avi", "3gp", "3g2", "mts", "m2ts", "mpg", "mpeg",
    "wmv", "flv", "ogv", "hevc",
];

/// Whether a file is meant as a clip: by the first bytes of its content (MP4 and MOV, Matroska and
/// WebM, AVI, MPEG program stream) or by the ending of its name, so that a damaged clip is refused
/// as a clip. A file that cannot be opened is judged by its name.
#[must_use]
pub fn is_clip(path: &Path) -> bool {
    if path.is_dir() {
        return false;
    }
    if has_clip_ending(path) {
        return true;
    }
    let mut head = Vec::with_capacity(12);
    let read = std::fs::File::open(path).and_then(|file| file.take(12).read_to_end(&mut head));
    read.is_ok()
        && head.len() == 12
        && (&head[4..8] == b"ftyp"
            || head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3])
            || (head.starts_with(b"RIFF") && &head[8..] == b"AVI ")
            || head.starts_with(&[0, 0, 1, 0xba]))
}

/// Whether a name ends as a clip's does; the file is not looked at.
#[must_use]
pub fn has_clip_ending(path: &Path) -> bool {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    ENDINGS.iter().any(|known| ending.eq_ignore_ascii_case(known))
}

/// The clip as an argument that is never taken for an option or another protocol.
pub(super) fn argument(path: &Path) -> OsString {
    let mut text = OsString::from("file:");
    text.push(path);
    text
}

/// Reads the container of `path`.
///
/// # Errors
/// [`ClipError::Open`], [`ClipError::NoDecoder`], [`ClipError::NotVideo`],
/// [`ClipError::Truncated`]; [`ClipError::Stopped`].
pub fn probe(path: &Path, watch: &Watch) -> Result<ClipInfo, ClipError> {
    let there = std::fs::metadata(path).and_then(|found| {
        if found.is_file() {
            std::fs::File::open(path).map(|_| ())
        } else {
            Err(std::io::Error::other("not a file"))
        }
    });
    there.map_err(|source| ClipError::Open { path: path.to_path_buf(), source })?;
    let entries = "format=format_name,duration:format_tags:stream=codec_name,nb_frames,duration:stream_tags:packet=pts_time,flags";
    let (listing, said) = list(path, entries, watch)?;
    let not_video =
        |said: &str| ClipError::NotVideo { path: path.to_path_buf(), said: said.to_owned() };
    let Some(stream) = listing.streams.first() else {
        // A half-copied clip has no index to open it by; the decoder names that.
        if said.contains("moov atom not found") && begins_as_clip(path) {
            return Err(ClipError::Truncated {
                path: path.to_path_buf(),
                found: "none".to_owned(),
                expected: "its frames can be opened: the index at its end is missing".to_owned(),
                said: String::new(),
            });
        }
        return Err(not_video(&unopened(path, &said)));
    };
    let format = listing.format.as_ref();
    let name = format.and_then(|f| f.format_name.as_deref()).unwrap_or_default();
    if STILL_FORMATS.iter().any(|still| name.contains(still)) {
        return Err(not_video(&format!("a picture ({name})")));
    }
    let shown: Vec<&Packet> =
        listing.packets.iter().filter(|packet| !packet.flags.contains('D')).collect();
    let times: Option<Vec<f64>> =
        shown.iter().map(|packet| packet.pts_time.as_ref()?.parse().ok()).collect();
    let mut times_s = match times {
        Some(times) => times,
        None => frame_times(path, watch)?,
    };
    times_s.sort_by(f64::total_cmp);
    if times_s.len() < 2 {
        return Err(not_video(match times_s.len() {
            0 => "it holds no moving picture",
            _ => "it holds a single picture",
        }));
    }
    let mut steps: Vec<f64> = times_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_by(f64::total_cmp);
    let step = steps[steps.len() / 2];
    if step <= 0.0 {
        return Err(not_video("its frames have no times"));
    }
    let seconds = |text: Option<&String>| text.and_then(|t| t.parse::<f64>().ok());
    let tagged = [Some(&stream.tags), format.map(|f| &f.tags)]
        .into_iter()
        .flatten()
        .find_map(|tags| tags.get(CAPTURE_TAG)?.parse::<f64>().ok())
        .filter(|rate| rate.is_finite() && *rate > 0.0);
    Ok(ClipInfo {
        codec: stream.codec_name.clone().unwrap_or_default(),
        container_hz: 1.0 / step,
        tagged_capture_hz: tagged,
        unevenness: steps[steps.len() - 1] / step,
        announced: stream.nb_frames.as_ref().and_then(|n| n.parse().ok()),
        packets: listing.packets.len(),
        announced_s: seconds(stream.duration.as_ref())
            .or_else(|| seconds(format.and_then(|f| f.duration.as_ref()))),
        indexed: INDEXED_FORMATS.iter().any(|indexed| name.contains(indexed)),
        times_s,
    })
}

/// Why the decoder found no picture to play, in words a user can act on.
fn unopened(path: &Path, said: &str) -> String {
    let empty = std::fs::metadata(path).is_ok_and(|found| found.len() == 0);
    let was_refused = said.contains("Format not on whitelist");
    match last_words(said) {
        _ if empty => "the file is empty".to_owned(),
        said if said.is_empty() => "it holds no moving picture".to_owned(),
        // The decoder's ways of saying that it knows no such content, or none that a clip has.
        said if said.starts_with("Invalid data found") || was_refused => {
            "its content is not that of a clip, whatever its name says".to_owned()
        }
        said => said,
    }
}

/// Whether the file begins with a box of the MP4 and MOV family (ISO/IEC 14496-12).
fn begins_as_clip(path: &Path) -> bool {
    let mut head = [0; 8];
    std::fs::File::open(path).and_then(|mut file| file.read_exact(&mut head)).is_ok()
        && [b"ftyp", b"moov", b"mdat", b"wide", b"free"].iter().any(|kind| head[4..] == kind[..])
}

/// Frame times by decoding; slow, only for streams whose packets do not say.
pub(super) fn frame_times(path: &Path, watch: &Watch) -> Result<Vec<f64>, ClipError> {
    let (listing, _) = list(path, "frame=best_effort_timestamp_time", watch)?;
    listing
        .frames
        .iter()
        .map(|frame| frame.best_effort_timestamp_time.as_ref()?.parse().ok())
        .collect::<Option<Vec<f64>>>()
        .ok_or_else(|| ClipError::NotVideo {
            path: path.to_path_buf(),
            said: "its frames have no times (a bare stream without container)".to_owned(),
        })
}

fn list(path: &Path, entries: &str, watch: &Watch) -> Result<(Listing, String), ClipError> {
    let mut command = Command::new("ffprobe");
    hold_to_limits(&mut command);
    command
        .args(["-v", "error", "-of", "json"])
        .args(["-select_streams", "V:0", "-show_entries", entries])
        .arg(argument(path));
    let limits = Limits { time: Some(LISTING), memory: Some(MOST_MEMORY) };
    let ended = run(&mut command, limits, watch);
    let output = match ended.map_err(|error| missing_or(path, "ffprobe", &error))? {
        Ended::Itself(output) => output,
        Ended::Stopped(stopped) => return Err(ClipError::stopped(path)(stopped)),
        Ended::TooLong => {
            let said = format!("no end within {} s", LISTING.as_secs());
            return Err(ClipError::Decoder { path: path.to_path_buf(), said });
        }
    };
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let listing = serde_json::from_slice(&output.stdout)
        .map_err(|_| ClipError::NotVideo { path: path.to_path_buf(), said: last_words(&said) })?;
    Ok((listing, said))
}

pub(super) fn missing_or(path: &Path, command: &'static str, error: &std::io::Error) -> ClipError {
    if error.kind() == std::io::ErrorKind::NotFound {
        ClipError::NoDecoder { command }
    } else {
        ClipError::Decoder { path: path.to_path_buf(), said: format!("{command}: {error}") }
    }
}

/// The last line a command wrote, without addresses of its internals.
pub(super) fn last_words(stderr: &str) -> String {
    let telling = |line: &&str| !line.is_empty() && !line.contains("Last message repeated");
    let line = stderr.lines().map(str::trim).rfind(telling).unwrap_or_default();
    let line = match line.split_once("] ") {
        Some((tag, rest)) if tag.starts_with('[') => rest,
        _ => line,
    };
    // The path is named by our own message already.
    match line.rsplit_once(": ") {
        Some((before, rest)) if before.starts_with("file:") => rest.to_owned(),
        _ => line.to_owned(),
    }
}
