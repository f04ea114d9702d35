//! A serve that moves on one side of a picture: the player's own clip, or a drawn figure.

use std::path::PathBuf;

use crate::drawing::raster::{BodyLook, Ink, body, lay_picture, line, sheet};
use crate::drawing::{Extent, Placement, Pose, Tone, Viewpoint, extent};
use crate::pages::body_area;
use crate::serve::{CURVE_FRAMES, EventKind, Serve};
use crate::video::{ClipError, Cut, Frame, Frames, Kept};
use crate::work::Watch;

/// A clip of the player's own, where it lies, and which of its frames a time is on.
#[derive(Debug, Clone)]
pub(super) struct OwnClip {
    pub(super) file: PathBuf,
    pub(super) kept: Kept,
    /// Times of the recording's frames, s.
    pub(super) times_s: Vec<f64>,
}

/// A serve to be shown moving.
#[derive(Debug)]
pub(super) struct Moving {
    /// Whose, in words.
    pub(super) label: String,
    /// The reviewed serve, not the one it is held beside.
    pub(super) this: bool,
    pub(super) serve: Serve,
    /// The player's own pictures; without them it is drawn.
    pub(super) clip: Option<OwnClip>,
}

impl Moving {
    fn time_s(&self, event: EventKind) -> f64 {
        self.serve.events[event as usize].time_s
    }

    /// From the start of the toss to the finish, in seconds from contact; `None` where a moment is not
    /// known.
    pub(super) fn span_s(&self) -> Option<(f64, f64)> {
        let contact_s = self.time_s(EventKind::Contact);
        let from = self.time_s(EventKind::TossStart) - contact_s;
        let to = self.time_s(EventKind::Finish) - contact_s;
        (from < 0.0 && to > 0.0 && (to - from).is_finite()).then_some((from, to))
    }
}

/// Where and how a side is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stand {
    pub(super) size_px: (usize, usize),
    pub(super) seen: Viewpoint,
    /// Figures are right-handers; a left-hander's are turned round.
    pub(super) mirrored: bool,
}

/// One side of the picture.
pub(super) enum Side<'a> {
    Clip(ClipSide<'a>),
    Figure(FigureSide<'a>),
}

impl<'a> Side<'a> {
    pub(super) fn new(moving: &'a Moving, stand: Stand) -> Self {
        match &moving.clip {
            Some(clip) => Self::Clip(ClipSide::new(moving, clip, stand)),
            None => Self::Figure(FigureSide { moving, stand, extent: whole(moving, stand.seen) }),
        }
    }

    /// The serve at this time from contact; before its start and after its end it stands still.
    pub(super) fn picture(
        &mut self,
        from_contact_s: f64,
        watch: &Watch,
    ) -> Result<Frame, ClipError> {
        match self {
            Self::Clip(clip) => clip.picture(from_contact_s, watch),
            Self::Figure(figure) => Ok(figure.picture(from_contact_s)),
        }
    }
}

/// The player's own pictures.
pub(super) struct ClipSide<'a> {
    moving: &'a Moving,
    clip: &'a OwnClip,
    stand: Stand,
    frames: Frames,
}

impl<'a> ClipSide<'a> {
    fn new(moving: &'a Moving, clip: &'a OwnClip, stand: Stand) -> Self {
        let (first, last) = moving.serve.frames;
        let (across, down) = stand.size_px;
        let picture = (clip.kept.size_px.0 as usize, clip.kept.size_px.1 as usize);
        let area_px = body_area(&clip.kept, first..=last, across as f64 / down as f64);
        let area_px = Cut { frame: 0, area_px, height_px: down }.placed(picture).area_px;
        let [_, _, width, height] = area_px;
        let scale = (across as f64 / width as f64).min(down as f64 / height as f64);
        let even =
            |side: usize, most: usize| ((side as f64 * scale).round() as usize & !1).clamp(2, most);
        let frames =
            Frames::of_area(&clip.file, area_px, (even(width, across), even(height, down)));
        Self { moving, clip, stand, frames }
    }

    fn picture(&mut self, from_contact_s: f64, watch: &Watch) -> Result<Frame, ClipError> {
        let wanted = self.frame_at(from_contact_s);
        let (across, down) = self.stand.size_px;
        let mut out = sheet(across, down, Ink::of(Tone::Ink));
        if let Some(frame) = self.frames.at(wanted, watch)? {
            let corner = [(across - frame.width) / 2, (down - frame.height) / 2];
            lay_picture(&mut out, frame, corner);
        }
        Ok(out)
    }

    /// The clip's frame nearest to a time from contact, within the serve.
    fn frame_at(&self, from_contact_s: f64) -> usize {
        let time_s = self.moving.time_s(EventKind::Contact) + from_contact_s;
        let times = &self.clip.times_s;
        let after = times.partition_point(|&at| at < time_s).min(times.len().saturating_sub(1));
        let before = after.saturating_sub(1);
        let nearest = if time_s - times[before] < times[after] - time_s { before } else { after };
        let (first, last) = self.moving.serve.frames;
        let frame = nearest.clamp(first, last);
        self.clip.kept.clip_frames.get(frame).map_or(frame, |&frame| frame as usize)
    }
}

/// The body, drawn.
pub(super) struct FigureSide<'a> {
    moving: &'a Moving,
    stand: Stand,
    extent: Option<Extent>,
}

/// Room the body takes over the whole serve.
fn whole(moving: &Moving, seen: Viewpoint) -> Option<Extent> {
    let all = (0..CURVE_FRAMES).map(|sample| Pose::at(&moving.serve.figures, sample as f64));
    all.filter_map(|pose| extent(&pose, seen)).reduce(Extent::union)
}

impl FigureSide<'_> {
    /// Share of the side that stays free around the body.
    const MARGIN: f64 = 0.06;

    fn picture(&self, from_contact_s: f64) -> Frame {
        let Stand { size_px: (across, down), seen, mirrored } = self.stand;
        let paper = Ink::of(Tone::Paper);
        let mut out = sheet(across, down, paper);
        let (Some(room), Some((from_s, to_s))) = (self.extent, self.moving.span_s()) else {
            return out;
        };
        let (across, down) = (across as f64, down as f64);
        let low = room.low.min(0.0);
        let free = 1.0 - 2.0 * Self::MARGIN;
        let reach = room.right.max(-room.left).max(0.1);
        let scale = (free * down / (room.high - low)).min(free * across / (2.0 * reach));
        let ground = down * (1.0 - Self::MARGIN) + scale * low;
        let edge = [[0.0, ground], [across, ground]];
        line(&mut out, &edge, 2.0, Ink::of(Tone::Quiet));
        let share = (from_contact_s - from_s) / (to_s - from_s);
        let pose = Pose::at(&self.moving.serve.figures, share * (CURVE_FRAMES - 1) as f64);
        let place = Placement { origin: [across / 2.0, ground], scale, seen };
        let tone = if self.moving.this { Tone::This } else { Tone::Precedent };
        let look = BodyLook { ink: Ink::of(tone), solid: self.moving.this, mirrored };
        body(&mut out, &pose, place, look, paper);
        out
    }
}
