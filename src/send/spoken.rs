//! The spoken review: a coach's voice over the clip, with what the coach showed on it, as one clip.

use std::collections::VecDeque;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::steps::{Shown, Step, joined, timeline};
use crate::drawing::Tone;
use crate::drawing::raster::{Ink, fill, line, words, words_width};
use crate::library::{Library, Marked, Point, StoreError};
use crate::pages::{MissingClip, Reviewed, clip_file};
use crate::video::{
    ClipError, Encoder, Frame, Frames, NewClip, join_voices, probe, voice_length_s,
};
use crate::work::{Stage, Stopped, Watch};

/// Pixels of the shorter side of what is made.
const SHORT_PX: f64 = 720.0;
/// Pictures a second of what is made.
const RATE_HZ: f64 = 30.0;
/// Width of what is drawn, and its size of words, pixels.
const PEN_PX: f64 = 5.0;
const WORDS_PX: f64 = 30.0;
/// Pixels from the middle of where the hand points to its rim.
const POINT_PX: f64 = 14.0;
/// Frames held for a hand that goes back over them: 90 MB (our estimate of a step back's length).
const HELD: usize = 32;

/// Why there is no spoken review.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpokenError {
    /// The serve has no clip, or it is not there any more.
    #[error("a spoken review needs the player's clip: {said}")]
    NoClip {
        /// Why there is none.
        said: String,
    },
    /// The library cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The clip or the voice cannot be read, or the new clip not made.
    #[error(transparent)]
    Clip(#[from] ClipError),
    /// The system's folder for temporary files cannot be used.
    #[error("a spoken review needs room for temporary files: {0}; free some and try again")]
    Scratch(#[source] io::Error),
    /// The work was stopped.
    #[error("{0}")]
    Stopped(#[from] Stopped),
}

/// Where the clip of a reviewed serve lies.
///
/// # Errors
/// [`SpokenError::NoClip`], [`SpokenError::Store`], [`SpokenError::Stopped`].
pub fn clip_of(
    library: &Library,
    serve: Reviewed<'_>,
    watch: &Watch,
) -> Result<PathBuf, SpokenError> {
    let none = || SpokenError::NoClip { said: "this serve was not read from one".to_owned() };
    match serve {
        Reviewed::Stored(id) => {
            let recording = library.serve_head(id)?.recording;
            let clip = library.clip(recording)?.ok_or_else(none)?;
            clip_file(library, &clip, watch).map_err(|missing| match missing {
                MissingClip::Stopped(stopped) => stopped.into(),
                MissingClip::Said(said) => SpokenError::NoClip { said },
            })
        }
        Reviewed::File { looked, .. } => {
            looked.clip.as_ref().map(|_| looked.file.clone()).ok_or_else(none)
        }
    }
}

/// One MP4 (H.264, AAC, 720 pixels on its shorter side) of `clip` as `steps` show it while `voice` is
/// heard, as long as the voice.
///
/// Three minutes stay below 25 MB.
///
/// # Cost
/// Decodes the clip from its start for every step back of more than 31 frames, and once for every 31
/// that are gone back one by one.
///
/// # Errors
/// [`SpokenError`]; if the work is stopped, nothing is kept.
pub fn spoken(
    clip: &Path,
    steps: &[Step],
    voice: &Path,
    watch: &Watch,
) -> Result<Vec<u8>, SpokenError> {
    let long_s = voice_length_s(voice, watch)?;
    let info = probe(clip, watch)?;
    let shown = timeline(steps, &info.times_s, long_s, RATE_HZ);
    let none = || ClipError::NotVideo {
        path: clip.to_path_buf(),
        said: "no frame of it could be read".to_owned(),
    };
    let (width, height) = match Frames::whole(clip).at(0, watch)? {
        Some(frame) => (frame.width, frame.height),
        None => return Err(none().into()),
    };
    let scale = SHORT_PX / width.min(height) as f64;
    let even = |side: usize| ((side as f64 * scale).round() as usize + 1) & !1;
    let size_px = (even(width), even(height));
    let mut frames = Held::new(Frames::of_area(clip, [0, 0, width, height], size_px));
    let scratch = tempfile::tempdir().map_err(SpokenError::Scratch)?;
    let to = scratch.path().join("spoken.mp4");
    let new = NewClip { size_px, rate_hz: RATE_HZ, voice: Some(voice.to_path_buf()) };
    let mut encoder = Encoder::start(&new, &to)?;
    let mut before: Option<(&Shown<'_>, Frame)> = None;
    for (done, now) in shown.iter().enumerate() {
        watch.step(Stage::Frames, done, shown.len())?;
        let same = before.take().filter(|(was, _)| *was == now);
        let picture = match same {
            Some((_, picture)) => picture,
            None => {
                let mut picture = frames.at(now.frame, watch)?.ok_or_else(none)?.clone();
                now.drawings.iter().for_each(|drawing| draw(&mut picture, drawing, scale));
                if let Some(place) = now.point {
                    point(&mut picture, place, scale);
                }
                picture
            }
        };
        encoder.push(&picture, watch)?;
        before = Some((now, picture));
    }
    encoder.finish(watch)?;
    fs::read(&to).map_err(SpokenError::Scratch)
}

/// A stretch spoken at one go.
#[derive(Debug, Clone, Copy)]
pub struct Part<'a> {
    /// The voice.
    pub voice: &'a Path,
    /// What was shown meanwhile; times count from the voice's beginning.
    pub steps: &'a [Step],
}

/// [`spoken`] in several parts, one after the other: each begins on the frame its steps name, or where
/// the one before ended.
///
/// # Errors
/// As [`spoken`].
pub fn spoken_in_parts(
    clip: &Path,
    parts: &[Part<'_>],
    watch: &Watch,
) -> Result<Vec<u8>, SpokenError> {
    let scratch = tempfile::tempdir().map_err(SpokenError::Scratch)?;
    let voice = scratch.path().join("voice.wav");
    let voices: Vec<&Path> = parts.iter().map(|part| part.voice).collect();
    let lengths_s = join_voices(&voices, &voice, watch)?;
    let steps = joined(parts.iter().map(|part| part.steps).zip(lengths_s));
    spoken(clip, &steps, &voice, watch)
}

/// Frames of a clip, those before the last one held.
struct Held {
    frames: Frames,
    /// Number and picture, in their order.
    held: VecDeque<(usize, Frame)>,
}

impl Held {
    fn new(frames: Frames) -> Self {
        Self { frames, held: VecDeque::new() }
    }

    /// A frame of the clip, or its last one.
    fn at(&mut self, frame: usize, watch: &Watch) -> Result<Option<&Frame>, ClipError> {
        if !self.held.iter().any(|(held, _)| *held == frame) {
            let last = self.held.back().map(|(held, _)| *held);
            let from = match last {
                Some(last) if last < frame => frame.saturating_sub(HELD - 1).max(last + 1),
                _ => frame.saturating_sub(HELD - 1),
            };
            if last.is_some_and(|last| last > frame || last + 1 < from) {
                self.held.clear();
            }
            for number in from..=frame {
                let Some(picture) = self.frames.at(number, watch)? else { return Ok(None) };
                let picture = picture.clone();
                if self.held.len() == HELD {
                    self.held.pop_front();
                }
                self.held.push_back((number, picture));
            }
        }
        Ok(self.held.iter().find(|(held, _)| *held == frame).map(|(_, picture)| picture))
    }
}

/// Where the coach's hand points: a small ring, in ochre on a light rim.
fn point(picture: &mut Frame, place: Point, scale: f64) {
    let centre = place.map(|px| px * scale);
    let around = around(centre, POINT_PX);
    line(picture, &around, PEN_PX + 4.0, Ink::of(Tone::Paper));
    line(picture, &around, PEN_PX, Ink::of(Tone::Precedent));
}

fn around(centre: [f64; 2], radius: f64) -> Vec<[f64; 2]> {
    let at = |step: i32| {
        let (sin, cos) = (f64::from(step) / 64.0 * std::f64::consts::TAU).sin_cos();
        [centre[0] + radius * cos, centre[1] + radius * sin]
    };
    (0..=64).map(at).collect()
}

/// What a coach drew, in the coach's ochre on a light rim; `scale`: pixels of the picture for one of
/// the clip's.
fn draw(picture: &mut Frame, drawing: &Marked, scale: f64) {
    let at = |point: &[f64; 2]| point.map(|px| px * scale);
    let mut pen = |points: &[[f64; 2]]| {
        line(picture, points, PEN_PX + 4.0, Ink::of(Tone::Paper));
        line(picture, points, PEN_PX, Ink::of(Tone::Precedent));
    };
    match drawing {
        Marked::Line { points } => pen(&points.each_ref().map(at)),
        Marked::Arrow { points } => {
            let [from, to] = points.each_ref().map(at);
            let turn = (from[1] - to[1]).atan2(from[0] - to[0]);
            let barb =
                |by: f64| [to[0] + 28.0 * (turn + by).cos(), to[1] + 28.0 * (turn + by).sin()];
            pen(&[from, to]);
            pen(&[barb(0.45), to, barb(-0.45)]);
        }
        Marked::Ring { points } => {
            let [centre, edge] = points.each_ref().map(at);
            pen(&around(centre, (edge[0] - centre[0]).hypot(edge[1] - centre[1])));
        }
        Marked::Angle { points } => {
            let corners = points.each_ref().map(at);
            pen(&corners);
            if let Some(deg) = drawing.angle_in_picture_deg() {
                let said = format!("{deg:.0} deg in the picture");
                plate(picture, [corners[1][0] + 16.0, corners[1][1]], &said);
            }
        }
        Marked::Words { at: place, text } => {
            plate(picture, place.as_ref().map_or([24.0, 24.0 + WORDS_PX], at), text);
        }
        // Steps hold none.
        Marked::Moment { .. } => {}
    }
}

/// Words on a plate of paper, moved in where they would leave the picture.
fn plate(picture: &mut Frame, at: [f64; 2], text: &str) {
    let (across, down) = (picture.width as f64, picture.height as f64);
    let wide = words_width(text, WORDS_PX);
    let size_px = WORDS_PX * ((across - 24.0) / wide).min(1.0);
    let wide = words_width(text, size_px);
    let x = at[0].min(across - wide - 12.0).max(12.0);
    let y = at[1].clamp(1.2 * size_px, down - 0.4 * size_px);
    let (top, bottom) = (y - 1.0 * size_px, y + 0.35 * size_px);
    let corners =
        [[x - 8.0, top], [x + wide + 8.0, top], [x + wide + 8.0, bottom], [x - 8.0, bottom]];
    fill(picture, &corners, Ink::of(Tone::Paper));
    words(picture, [x, y], text, size_px, Ink::of(Tone::Ink));
}
