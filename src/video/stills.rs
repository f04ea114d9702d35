//! Pictures cut from a clip, with the joints drawn over them.

use std::fmt::Write as _;
use std::io::{Read, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

use super::decode::Decoder;
use super::errors::ClipError;
use super::frame::Frame;
use super::kept::Kept;
use super::probe::missing_or;
use crate::motion::Joint;
use crate::work::{Stage, Watch};

/// A picture to cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cut {
    /// Frame of the clip, from 0.
    pub frame: usize,
    /// Part of the picture: left, top, width, height in pixels; `None` for all of it.
    pub area_px: Option<[f64; 4]>,
    /// Most pixels down.
    pub height_px: usize,
}

/// A cut fitted into a clip's picture: all that decides what the cut-out picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Placed {
    /// Frame of the clip, from 0.
    pub frame: usize,
    /// Part of the clip's picture: left, top, width, height in its pixels, the last two even.
    pub area_px: [usize; 4],
    /// Size of the cut-out picture, pixels, even.
    pub size_px: (usize, usize),
}

impl Cut {
    /// Where the cut lies in a picture of this size (across, down); an area that reaches beyond it is
    /// moved inwards.
    #[must_use]
    pub fn placed(&self, picture_px: (usize, usize)) -> Placed {
        let whole = [picture_px.0, picture_px.1];
        let asked = self.area_px.unwrap_or([0.0, 0.0, whole[0] as f64, whole[1] as f64]);
        // The encoder halves its colour planes, so sizes are even.
        let even = |n: usize| (n & !1).max(2);
        let side = |k: usize| even((asked[2 + k].max(2.0) as usize).min(whole[k]));
        let (width, height) = (side(0), side(1));
        let corner =
            |k: usize, side: usize| (asked[k].max(0.0) as usize).min(whole[k].saturating_sub(side));
        let down = even(height.min(self.height_px));
        let across = even((width as f64 * down as f64 / height as f64).round() as usize);
        Placed {
            frame: self.frame,
            area_px: [corner(0, width), corner(1, height), width, height],
            size_px: (across, down),
        }
    }
}

/// One picture of a clip.
#[derive(Debug, Clone, PartialEq)]
pub struct Still {
    /// Frame of the clip, from 0.
    pub frame: usize,
    /// Picture size, pixels.
    pub size_px: (usize, usize),
    /// Part of the clip's picture it shows: left, top, width, height in the clip's pixels.
    pub area_px: [f64; 4],
    /// The picture as JPEG.
    pub jpeg: Vec<u8>,
}

/// Cuts pictures from a clip, in the order asked for; `None` for a frame beyond the clip's end.
///
/// An area is moved inwards where it reaches beyond the picture.
///
/// # Cost
/// Decodes the clip from its start to the last frame asked for.
///
/// # Errors
/// [`ClipError::NoDecoder`], [`ClipError::Decoder`], [`ClipError::Stopped`].
pub fn stills(path: &Path, cuts: &[Cut], watch: &Watch) -> Result<Vec<Option<Still>>, ClipError> {
    let mut wanted: Vec<usize> = cuts.iter().map(|cut| cut.frame).collect();
    wanted.sort_unstable();
    wanted.dedup();
    let mut cut_out = vec![None; cuts.len()];
    if wanted.is_empty() {
        return Ok(cut_out);
    }
    let mut filter = String::from("select='");
    for (k, frame) in wanted.iter().enumerate() {
        let plus = if k > 0 { "+" } else { "" };
        // Writing to a string cannot fail.
        let _ = write!(filter, "{plus}eq(n,{frame})");
    }
    filter.push('\'');
    let mut decoder = Decoder::start(path, Some(&filter))?;
    let mut done = 0;
    for frame in wanted {
        let Some(picture) = decoder.next(watch)? else { break };
        for (cut, out) in cuts.iter().zip(&mut cut_out).filter(|(cut, _)| cut.frame == frame) {
            *out = Some(still(path, &picture, cut)?);
            done += 1;
            watch.step(Stage::Pictures, done, cuts.len()).map_err(ClipError::stopped(path))?;
        }
        decoder.recycle(picture);
    }
    Ok(cut_out)
}

fn still(path: &Path, picture: &Frame, cut: &Cut) -> Result<Still, ClipError> {
    let place = cut.placed((picture.width, picture.height));
    let [left, top, width, height] = place.area_px;
    let (across, down) = place.size_px;
    let filter = format!("crop={width}:{height}:{left}:{top},scale={across}:{down}");
    Ok(Still::of(place, jpeg(path, picture, &filter)?))
}

fn jpeg(path: &Path, picture: &Frame, filter: &str) -> Result<Vec<u8>, ClipError> {
    let failed = |said: String| ClipError::Decoder { path: path.to_path_buf(), said };
    let mut child = Command::new("ffmpeg")
        .args(["-v", "error", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s"])
        .arg(format!("{}x{}", picture.width, picture.height))
        .args(["-i", "-", "-vf", filter, "-frames:v", "1", "-f", "image2pipe", "-c:v", "mjpeg"])
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
pub const BONES: [(Joint, Joint); 14] = [
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
pub const MIN_SEEN: f64 = 0.3;

impl Still {
    /// The picture that was cut at `place`.
    #[must_use]
    pub fn of(place: Placed, jpeg: Vec<u8>) -> Self {
        Self {
            frame: place.frame,
            size_px: place.size_px,
            area_px: place.area_px.map(|px| px as f64),
            jpeg,
        }
    }

    /// The picture as one SVG element with the joints of `kept` at `frame` of the recording drawn
    /// over it; `label` is its description for those who cannot see it. White lines on a dark rim
    /// stay visible on any ground.
    #[must_use]
    pub fn svg(&self, kept: &Kept, frame: usize, label: &str) -> String {
        let stroke = (self.size_px.1 as f64 / 240.0).max(1.0);
        let mut svg = String::new();
        let at = |joint: Joint| {
            let (place, seen) = kept.at(frame, joint)?;
            let [x, y] = self.place(place);
            (seen >= MIN_SEEN).then_some((x, y))
        };
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
        self.svg_under(&svg, label)
    }

    /// Where a place in the clip lies in this picture, px.
    #[must_use]
    pub fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let scale = self.size_px.0 as f64 / self.area_px[2].max(1.0);
        [(x - self.area_px[0]) * scale, (y - self.area_px[1]) * scale]
    }

    /// The picture as one SVG element with SVG markup in its own pixels over it; `label` is its
    /// description for those who cannot see it.
    #[must_use]
    pub fn svg_under(&self, over: &str, label: &str) -> String {
        let (width, height) = self.size_px;
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" role=\"img\" style=\"overflow:hidden\"><title>{}</title><image href=\"data:image/jpeg;base64,{}\" width=\"{width}\" height=\"{height}\"/>{over}</svg>",
            escaped(label),
            base64(&self.jpeg)
        )
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// RFC 4648, with padding.
pub(super) fn base64(bytes: &[u8]) -> String {
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
