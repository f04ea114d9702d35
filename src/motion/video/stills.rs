//! Pictures cut from a clip, with the joints drawn over them.

use std::fmt::Write as _;
use std::io::{Read, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

use super::decode::Decoder;
use super::errors::ClipError;
use super::frame::Frame;
use super::probe::missing_or;
use crate::motion::{Dimensions, Joint, Recording, Unit};

/// One picture of a clip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Still {
    /// Frame of the clip, from 0.
    pub frame: usize,
    /// Picture size, pixels.
    pub size_px: (usize, usize),
    /// Size of the clip's own picture, pixels; joints are in these.
    pub clip_px: (usize, usize),
    /// The picture as JPEG.
    pub jpeg: Vec<u8>,
}

/// Cuts `frames` (any order, repeats allowed) from a clip, at most `max_height_px` high.
///
/// `clip_px`: the clip's picture size, as in [`super::ClipReading::size_px`]. The answer is in
/// order of frames, each once; a frame beyond the clip's end is left out.
///
/// # Cost
/// Decodes the clip from its start.
///
/// # Errors
/// [`ClipError::NoDecoder`], [`ClipError::Decoder`].
pub fn stills(
    path: &Path,
    frames: &[usize],
    clip_px: (usize, usize),
    max_height_px: usize,
) -> Result<Vec<Still>, ClipError> {
    let mut wanted = frames.to_vec();
    wanted.sort_unstable();
    wanted.dedup();
    if wanted.is_empty() {
        return Ok(Vec::new());
    }
    let mut filter = String::from("select='");
    for (k, frame) in wanted.iter().enumerate() {
        let plus = if k > 0 { "+" } else { "" };
        // Writing to a string cannot fail.
        let _ = write!(filter, "{plus}eq(n,{frame})");
    }
    let height = clip_px.1.min(max_height_px.max(2));
    let _ = write!(filter, "',scale=-2:{}", height - height % 2);
    let mut decoder = Decoder::start(path, Some(&filter))?;
    let mut cut = Vec::new();
    for frame in wanted {
        let Some(picture) = decoder.next()? else { break };
        cut.push(Still {
            frame,
            size_px: (picture.width, picture.height),
            clip_px,
            jpeg: jpeg(path, &picture)?,
        });
        decoder.recycle(picture);
    }
    Ok(cut)
}

fn jpeg(path: &Path, picture: &Frame) -> Result<Vec<u8>, ClipError> {
    let failed = |said: String| ClipError::Decoder { path: path.to_path_buf(), said };
    let mut child = Command::new("ffmpeg")
        .args(["-v", "error", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s"])
        .arg(format!("{}x{}", picture.width, picture.height))
        .args(["-i", "-", "-frames:v", "1", "-f", "image2pipe", "-c:v", "mjpeg"])
        .args(["-pix_fmt", "yuvj420p", "-q:v", "4", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| missing_or(path, "ffmpeg", &error))?;
    // The encoder writes nothing before it has the whole picture, so this cannot lock up.
    let sent = child.stdin.take().map(|mut pipe| pipe.write_all(&picture.rgb));
    let mut bytes = Vec::new();
    let got = child.stdout.take().map(|mut pipe| pipe.read_to_end(&mut bytes));
    let status = child.wait().map_err(|error| failed(error.to_string()))?;
    match (sent, got) {
        (Some(Ok(())), Some(Ok(_))) if status.success() && !bytes.is_empty() => Ok(bytes),
        _ => Err(failed(format!("no JPEG from ffmpeg ({status})"))),
    }
}

/// The lines of a drawn body.
const BONES: [(Joint, Joint); 14] = [
    (Joint::LeftShoulder, Joint::RightShoulder),
    (Joint::LeftHip, Joint::RightHip),
    (Joint::LeftShoulder, Joint::LeftHip),
    (Joint::RightShoulder, Joint::RightHip),
    (Joint::LeftShoulder, Joint::LeftElbow),
    (Joint::LeftElbow, Joint::LeftWrist),
    (Joint::RightShoulder, Joint::RightElbow),
    (Joint::RightElbow, Joint::RightWrist),
    (Joint::LeftHip, Joint::LeftKnee),
    (Joint::LeftKnee, Joint::LeftAnkle),
    (Joint::RightHip, Joint::RightKnee),
    (Joint::RightKnee, Joint::RightAnkle),
    (Joint::LeftAnkle, Joint::LeftToe),
    (Joint::RightAnkle, Joint::RightToe),
];

/// Joints the network rates below this are not drawn.
const MIN_SEEN: f32 = 0.3;

impl Still {
    /// The picture as one SVG element with the joints of `frame` of `picture` (the picture-plane
    /// recording of the same clip) drawn over it; `label` is its description for those who cannot
    /// see it. White lines on a dark rim stay visible on any ground.
    #[must_use]
    pub fn svg(&self, picture: &Recording, frame: usize, label: &str) -> String {
        let (width, height) = self.size_px;
        let scale = width as f64 / self.clip_px.0.max(1) as f64;
        let stroke = (height as f64 / 240.0).max(1.0);
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\"><title>{}</title><image href=\"data:image/jpeg;base64,{}\" width=\"{width}\" height=\"{height}\"/>",
            escaped(label),
            base64(&self.jpeg)
        );
        let flat = picture.dimensions == Dimensions::Two && picture.unit == Unit::Pixel;
        let at = |joint: Joint| {
            let column = picture.column(joint)?;
            let seen = picture
                .confidence
                .as_ref()
                .is_none_or(|c| c[frame * picture.joints.len() + column] >= MIN_SEEN);
            let [x, _, z] = picture.at(frame, joint)?;
            seen.then_some((x * scale, -z * scale))
        };
        if flat && frame < picture.frames() {
            let mut path = String::new();
            for (from, to) in BONES {
                if let (Some((x1, y1)), Some((x2, y2))) = (at(from), at(to)) {
                    let _ = write!(path, "M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}");
                }
            }
            for (colour, wide) in [("#111", 2.6), ("#fff", 1.2)] {
                let _ = write!(
                    svg,
                    "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{:.1}\" stroke-linecap=\"round\"/>",
                    wide * stroke
                );
            }
        }
        svg.push_str("</svg>");
        svg
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// RFC 4648, with padding.
fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let word = chunk.iter().fold(0_u32, |word, byte| word << 8 | u32::from(*byte));
        let word = word << (8 * (3 - chunk.len()));
        for k in 0..4 {
            if k <= chunk.len() {
                text.push(char::from(SIGNS[(word >> (18 - 6 * k) & 63) as usize]));
            } else {
                text.push('=');
            }
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_gives_the_standards_own_examples() {
        // RFC 4648, section 10.
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }
}
