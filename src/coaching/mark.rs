use std::str::FromStr;

use thiserror::Error;

use crate::library::{
    Author, Library, MarkId, Marked, NewMark, Point, RecordingId, ServeId, StoreError, WriteError,
};
use crate::motion::Recording;
use crate::serve::EventKind;
use crate::video::Kept;

/// A moment further than this from the serve's contact belongs to no serve.
const REACH_S: f64 = 5.0;

/// A place in time in a recording, as somebody names it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ClipTime {
    /// Seconds, as the program shows them.
    Second(f64),
    /// A frame, from 0.
    Frame(usize),
}

impl FromStr for ClipTime {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let frame = text.trim().strip_prefix("frame:").map(|frame| frame.trim().parse());
        match frame {
            Some(Ok(frame)) => return Ok(Self::Frame(frame)),
            Some(Err(_)) => {}
            None => {
                let second = text.trim().parse().ok().filter(|second: &f64| second.is_finite());
                if let Some(second) = second {
                    return Ok(Self::Second(second));
                }
            }
        }
        Err(format!("a time in seconds (2.31) or a frame (frame:104), found '{text}'"))
    }
}

impl ClipTime {
    /// The time and the nearest frame in a recording.
    ///
    /// # Errors
    /// [`MarkRefusal::OutsideRecording`].
    pub fn settle(self, recording: &Recording) -> Result<(f64, usize), MarkRefusal> {
        let times = &recording.times_s;
        let (Some(&first_s), Some(&last_s)) = (times.first(), times.last()) else {
            return Err(MarkRefusal::NoJoints);
        };
        let outside = |found| MarkRefusal::OutsideRecording {
            found,
            first_s,
            last_s,
            last_frame: times.len() - 1,
        };
        match self {
            Self::Frame(frame) => {
                let time_s = times.get(frame).ok_or_else(|| outside(format!("frame {frame}")))?;
                Ok((*time_s, frame))
            }
            Self::Second(second) => {
                let half_frame_s = 0.5 / recording.rate_hz;
                if second < first_s - half_frame_s || second > last_s + half_frame_s {
                    return Err(outside(format!("{second:.2} s")));
                }
                let second = second.clamp(first_s, last_s);
                let after = times.partition_point(|&time| time < second).min(times.len() - 1);
                let before = after.saturating_sub(1);
                let nearer_before = second - times[before] < times[after] - second;
                Ok((second, if nearer_before { before } else { after }))
            }
        }
    }
}

/// Moments of one serve to be set, or taken back.
#[derive(Debug, Clone, PartialEq)]
pub struct MomentsRequest {
    /// The serve.
    pub serve: ServeId,
    /// Moments and when they were.
    pub set: Vec<(EventKind, ClipTime)>,
    /// Moments that were set and are the program's again.
    pub clear: Vec<EventKind>,
}

/// A moment with the time and frame that were meant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SettledMoment {
    pub(crate) event: EventKind,
    pub(crate) time_s: f64,
    pub(crate) frame: usize,
}

impl MomentsRequest {
    /// The moments of this serve that are set by hand once the request is carried out, those that
    /// the request sets first.
    ///
    /// `recording`: the serve's.
    ///
    /// # Errors
    /// [`MarkRefusal`]: nothing asked for, one moment twice, outside the recording or far from the
    /// serve, out of order, not set and to be taken back.
    pub(crate) fn settle(
        &self,
        library: &Library,
        recording: &Recording,
    ) -> Result<(Vec<SettledMoment>, Vec<SettledMoment>), MarkRefusal> {
        let serve = self.serve;
        if self.set.is_empty() && self.clear.is_empty() {
            return Err(MarkRefusal::Nothing { serve });
        }
        let named = self.set.iter().map(|(event, _)| event).chain(&self.clear);
        let mut seen = Vec::new();
        for event in named {
            if seen.contains(event) {
                return Err(MarkRefusal::Twice { event: *event });
            }
            seen.push(*event);
        }
        let marks = library.marks_of_serve(serve)?;
        for event in &self.clear {
            if marks.iter().all(|mark| mark.what.event() != Some(*event)) {
                return Err(MarkRefusal::NotSet { serve, event: *event });
            }
        }
        let contact_s = library.serve(serve)?.serve.events[EventKind::Contact as usize].time_s;
        let mut new = Vec::new();
        for &(event, at) in &self.set {
            let (time_s, frame) = at.settle(recording)?;
            if (time_s - contact_s).abs() > REACH_S {
                return Err(MarkRefusal::FarAway { serve, event, time_s, contact_s });
            }
            new.push(SettledMoment { event, time_s, frame });
        }
        let mut after = new.clone();
        for mark in &marks {
            if let Some(event) = mark.what.event()
                && !seen.contains(&event)
            {
                after.push(SettledMoment { event, time_s: mark.time_s, frame: mark.frame });
            }
        }
        after.sort_by_key(|moment| moment.event);
        for pair in after.windows(2) {
            if pair[0].time_s >= pair[1].time_s {
                return Err(MarkRefusal::OutOfOrder {
                    earlier: (pair[0].event, pair[0].time_s),
                    later: (pair[1].event, pair[1].time_s),
                });
            }
        }
        Ok((new, after))
    }
}

/// Something to be drawn on a clip's picture, or words for a moment of any recording.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawingRequest {
    /// The recording.
    pub recording: RecordingId,
    /// When.
    pub at: ClipTime,
    /// What; no moment, which is set on a serve.
    pub what: Marked,
}

impl DrawingRequest {
    /// Checks and stores it as one change.
    ///
    /// # Errors
    /// [`MarkRefusal`]; nothing is stored then.
    pub fn record(self, library: &mut Library, by: &Author) -> Result<MarkId, MarkRefusal> {
        let turn = library.take_turn()?;
        let row = library.recording(self.recording)?;
        if library.is_received(row.player)? {
            return Err(WriteError::FromPack { what: self.recording.to_string() }.into());
        }
        if let Some(event) = self.what.event() {
            return Err(MarkRefusal::OfServe { event });
        }
        let (time_s, frame) = self.at.settle(&library.joints(self.recording)?)?;
        if !self.what.points().is_empty() {
            self.check_points(library)?;
        }
        let mark =
            NewMark { recording: self.recording, serve: None, what: self.what, time_s, frame };
        Ok(library.write_in(&turn, |writer| writer.set_mark(&mark, by))?)
    }

    /// Points lie in the clip's picture, and apart from each other.
    fn check_points(&self, library: &Library) -> Result<(), MarkRefusal> {
        let recording = self.recording;
        let clip = library.clip(recording)?.ok_or(MarkRefusal::NoPicture { recording })?;
        let kept = Kept::from_bytes(&clip.body)
            .map_err(|error| MarkRefusal::Picture { recording, why: error.to_string() })?;
        let size_px = kept.size_px;
        let (across, down) = (f64::from(size_px.0), f64::from(size_px.1));
        let points = self.what.points();
        for &[x, y] in points {
            if !((0.0..=across).contains(&x) && (0.0..=down).contains(&y)) {
                return Err(MarkRefusal::OutsidePicture { found: [x, y], size_px });
            }
        }
        if points.windows(2).any(|pair| pair[0] == pair[1]) {
            return Err(MarkRefusal::SamePoints { kind: self.what.kind() });
        }
        Ok(())
    }
}

/// Takes something drawn, or words, off a recording.
///
/// # Errors
/// [`MarkRefusal::OfServe`] for a moment; [`MarkRefusal::Write`].
pub fn remove_drawing(library: &mut Library, id: MarkId, by: &Author) -> Result<(), MarkRefusal> {
    let turn = library.take_turn()?;
    let mark = library.mark(id)?;
    if let Some(event) = mark.what.event() {
        return Err(MarkRefusal::OfServe { event });
    }
    Ok(library.write_in(&turn, |writer| writer.remove_mark(&mark, by))?)
}

/// Why a mark was not set; nothing is stored then.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum MarkRefusal {
    /// Nothing was asked for.
    #[error("{serve}: no moment to set or to take back; name one with its time or frame")]
    Nothing {
        /// The serve.
        serve: ServeId,
    },
    /// One moment, two words on it.
    #[error("{}: named twice; name it once", event.label())]
    Twice {
        /// The moment.
        event: EventKind,
    },
    /// The recording does not go there.
    #[error(
        "{found}: outside the recording, which goes from {first_s:.2} to {last_s:.2} s, frames 0 \
         to {last_frame}; name a time or frame within it"
    )]
    OutsideRecording {
        /// The time or frame asked for.
        found: String,
        /// Its first second.
        first_s: f64,
        /// Its last.
        last_s: f64,
        /// Its last frame.
        last_frame: usize,
    },
    /// There is nothing to read a serve from.
    #[error("the recording holds no joints, so no moment can be set on it; add its file here")]
    NoJoints,
    /// It lies at another serve or at none.
    #[error(
        "{} at {time_s:.2} s: more than {REACH_S:.0} s from the contact of {serve} at \
         {contact_s:.2} s; check the time, or the serve", event.label()
    )]
    FarAway {
        /// The serve.
        serve: ServeId,
        /// The moment.
        event: EventKind,
        /// The time asked for.
        time_s: f64,
        /// The serve's contact.
        contact_s: f64,
    },
    /// Two marked moments change places.
    #[error(
        "{} at {:.2} s: must come before {} at {:.2} s; correct one of them",
        earlier.0.label(), earlier.1, later.0.label(), later.1
    )]
    OutOfOrder {
        /// What comes first in a serve, and its time.
        earlier: (EventKind, f64),
        /// What comes after it, and its time.
        later: (EventKind, f64),
    },
    /// It would be taken back and never was set.
    #[error("{serve}: nobody set its {}, so there is nothing to take back", event.label())]
    NotSet {
        /// The serve.
        serve: ServeId,
        /// The moment.
        event: EventKind,
    },
    /// With these moments it is no serve.
    #[error("{serve}: cannot be read with these moments: {why}; correct them, or set that one too")]
    Unreadable {
        /// The serve.
        serve: ServeId,
        /// Why.
        why: String,
    },
    /// A moment is not drawn.
    #[error("{}: a moment belongs to a serve; set it on the serve, or take it back there", event.label())]
    OfServe {
        /// The moment.
        event: EventKind,
    },
    /// There is no picture to draw on.
    #[error(
        "{recording}: was not read from a clip, so there is no picture to draw on; words need none"
    )]
    NoPicture {
        /// The recording.
        recording: RecordingId,
    },
    /// Its picture is not known.
    #[error("{recording}: {why}")]
    Picture {
        /// The recording.
        recording: RecordingId,
        /// Why.
        why: String,
    },
    /// A point beside the picture.
    #[error(
        "point {:.0}, {:.0}: outside the picture, which is {} x {} pixels; draw within it",
        found[0], found[1], size_px.0, size_px.1
    )]
    OutsidePicture {
        /// The point.
        found: Point,
        /// Pixels across and down.
        size_px: (u32, u32),
    },
    /// Points on one another.
    #[error("{kind}: its points lie on one another; set them apart")]
    SamePoints {
        /// What was to be drawn.
        kind: &'static str,
    },
    /// The store would not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

impl From<StoreError> for MarkRefusal {
    fn from(error: StoreError) -> Self {
        Self::Write(error.into())
    }
}
