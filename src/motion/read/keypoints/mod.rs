//! Keypoint JSON in the 17-, 25- and 33-point layouts.
//!
//! A recording is an array of frames, `{"frames": [...]}`, one record per detection with an
//! `image_id`, or a folder with one file per frame. A frame is a list of points, a person that
//! holds one, or `{"people": [...]}`. Points are a flat list of numbers, lists `[x, y, score]`
//! or `[x, y, z, score]`, or objects `{x, y, z, visibility}`. `null`, and (0, 0) with score 0,
//! are gaps.
//!
//! Positions count as space where they are stored as such (a key with `world` or `3d`, four
//! numbers a point, a z beside points that are neither fractions of a picture nor pixels);
//! otherwise they lie in the picture, y down.

mod layouts;
mod parse;
mod people;
mod sight;

use serde_json::Value;

pub(in crate::motion) use self::layouts::joints_33;

use self::layouts::layout_of;
use self::parse::{About, Frame, about, frame, parse, structure};
use self::people::choose;
use self::sight::{Sight, third_numbers};
use super::ReadOptions;
use super::errors::{FilePlace, ReadErrorKind};
use super::layout::{SourceUnit, Up};
use super::raw::{Axes, Raw, Times, assumed};
use crate::motion::{Assumption, Capture, Dimensions};

/// A recording in the making: add documents, then finish.
#[derive(Default)]
pub(super) struct Keypoints {
    frames: Vec<Frame>,
    about: About,
}

/// Does the text start like JSON that can hold frames?
pub(super) fn sniff(text: &str) -> bool {
    text.trim_start().starts_with(['{', '['])
}

pub(super) fn read(text: &str, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
    let mut keypoints = Keypoints::default();
    keypoints.add_document(text)?;
    keypoints.finish(options)
}

impl Keypoints {
    /// All frames of one file.
    fn add_document(&mut self, text: &str) -> Result<(), ReadErrorKind> {
        let document = parse(text)?;
        let frames = match &document {
            Value::Object(object) => {
                self.about = about(object);
                match object.get("frames") {
                    Some(Value::Array(frames)) => frames.as_slice(),
                    Some(other) => {
                        return Err(structure(FilePlace::Header, "frames as an array", other));
                    }
                    None => std::slice::from_ref(&document),
                }
            }
            Value::Array(frames) => frames.as_slice(),
            other => return Err(structure(FilePlace::Header, "an array or an object", other)),
        };
        for value in frames {
            let number = self.frames.len();
            let frame = frame(value, number)?;
            match self.frames.last_mut() {
                // One record per detection: the same image again is one more person.
                Some(last) if frame.id.is_some() && last.id == frame.id => {
                    last.people.extend(frame.people);
                }
                _ => self.frames.push(frame),
            }
        }
        Ok(())
    }

    /// The one frame of a file of its own.
    pub(super) fn add_frame_file(
        &mut self,
        text: &str,
        id: Option<u64>,
    ) -> Result<(), ReadErrorKind> {
        let document = parse(text)?;
        let number = self.frames.len();
        if let Value::Object(object) = &document {
            if object.contains_key("frames") {
                return Err(structure(
                    FilePlace::Frame(number),
                    "one frame per file in a folder",
                    &Value::String("a file with many".to_owned()),
                ));
            }
            if number == 0 {
                self.about = about(object);
            }
        }
        let mut frame = frame(&document, number)?;
        frame.id = id;
        self.frames.push(frame);
        Ok(())
    }

    pub(super) fn finish(mut self, options: &ReadOptions) -> Result<Raw, ReadErrorKind> {
        let mut assumptions = Vec::new();
        self.restore_missing_frames(&mut assumptions)?;
        if self.frames.is_empty() {
            return Err(ReadErrorKind::NoFrames);
        }
        let times = self.times();
        let about = self.about.clone();
        let mut people = choose(self.frames, options, &mut assumptions)?;
        third_numbers(&mut people, &mut assumptions);
        let (layout, order) = layout_of(&people, options)?;
        let sight = Sight::of(&people, layout, &mut assumptions);
        let picture = match sight {
            Sight::Fractions => Some(
                options
                    .picture
                    .map(|size| size.map(f64::from))
                    .or(about.picture)
                    .filter(|[width, height]| *width > 0.0 && *height > 0.0)
                    .ok_or(ReadErrorKind::PictureUnknown)?,
            ),
            Sight::Pixels | Sight::Space { .. } => None,
        };
        let three = matches!(sight, Sight::Space { .. });
        let mut positions = Vec::with_capacity(people.len() * order.len());
        let mut confidence = Vec::new();
        let scored = people.iter().flatten().flat_map(|p| &p.points).any(|p| !p[3].is_nan());
        for person in &people {
            for (n, _) in order.iter().enumerate().filter(|(_, joint)| joint.is_some()) {
                let [x, y, z, score] = person.as_ref().map_or([f64::NAN; 4], |p| p.points[n]);
                let missing = x.is_nan()
                    || (three && z.is_nan())
                    || (x == 0.0 && y == 0.0 && (score == 0.0 || score.is_nan()));
                positions.push(match picture {
                    _ if missing => [f64::NAN; 3],
                    Some([width, height]) => [x * width, y * height, 0.0],
                    None => [x, y, if three { z } else { 0.0 }],
                });
                if scored {
                    let sure = if score.is_nan() { 1.0 } else { score.clamp(0.0, 1.0) };
                    confidence.push(if missing { 0.0 } else { sure as f32 });
                }
            }
        }
        Ok(Raw {
            layout,
            format: layout.name().to_owned(),
            joints: order.into_iter().flatten().collect(),
            positions,
            confidence: scored.then_some(confidence),
            times,
            dimensions: if three { Dimensions::Three } else { Dimensions::Two },
            unit: if three { about.unit } else { Some(SourceUnit::Pixel) },
            axes: if three { Axes::Open } else { Axes::Up(Up::MinusY) },
            capture: match sight {
                Sight::Space { lifted: true } => Capture::OneCameraLifted,
                Sight::Space { lifted: false } => Capture::Unknown,
                Sight::Pixels | Sight::Fractions => Capture::OneCameraFlat,
            },
            subject: None,
            unknown: Vec::new(),
            assumptions,
        })
    }

    /// Frames whose numbers are left out held no detection: they become gaps.
    fn restore_missing_frames(
        &mut self,
        assumptions: &mut Vec<Assumption>,
    ) -> Result<(), ReadErrorKind> {
        let ids: Option<Vec<u64>> = self.frames.iter().map(|frame| frame.id).collect();
        let Some(ids) = ids.filter(|ids| ids.len() > 1) else { return Ok(()) };
        let span = ids[ids.len() - 1].saturating_sub(ids[0]).saturating_add(1);
        let (count, rising) = (ids.len() as u64, ids.windows(2).all(|pair| pair[0] < pair[1]));
        if span == count && rising {
            return Ok(());
        }
        // Numbers that leap (hashes, time stamps) are names, not counts; three quarters missing
        // is no recording either.
        if !rising || span > 4 * count {
            return Err(structure(
                FilePlace::Header,
                "frame numbers that count upwards with few missing",
                &Value::String(format!("{count} frames from {} to {}", ids[0], ids[ids.len() - 1])),
            ));
        }
        assumptions.push(assumed(
            "frames",
            format!("{} gaps", span - count),
            "their numbers are missing: nobody was detected in them",
        ));
        let given = std::mem::take(&mut self.frames);
        let mut next = ids[0];
        for frame in given {
            while frame.id.is_some_and(|id| id > next) {
                self.frames.push(Frame::default());
                next += 1;
            }
            self.frames.push(frame);
            next += 1;
        }
        Ok(())
    }

    fn times(&self) -> Times {
        let each: Option<Vec<f64>> = self.frames.iter().map(|frame| frame.time_s).collect();
        let stated_hz = self.about.rate_hz;
        each.map_or(Times::Even(stated_hz), |times_s| Times::Each { times_s, stated_hz })
    }
}
