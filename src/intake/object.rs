//! What was found in a file, and what became of it, as JSON objects: the same for every interface.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use super::{SeenClip, Taken};
use crate::library::Player;
use crate::motion::{Recording, Side};
use crate::serve::PalmReading;
use crate::serve::{EventKind, MEASURES, Reading, Serve};

/// One serve of a file as a JSON object.
#[derive(Debug, Serialize)]
pub struct ServeObject<'a> {
    serve: usize,
    hand: Side,
    hand_trust: f64,
    frames: (usize, usize),
    rate_hz: f64,
    cutoff_hz: f64,
    events: BTreeMap<&'static str, EventObject>,
    measures: BTreeMap<&'a str, MeasureObject<'a>>,
    notes: &'a [String],
    /// Only for a clip.
    #[serde(skip_serializing_if = "Option::is_none")]
    palm_after_contact: Option<PalmObject<'a>>,
}

/// How the palm turned after contact.
#[derive(Debug, Serialize)]
pub struct PalmObject<'a> {
    /// `outward`, `sideways`, `down` or `unsure`.
    turn: &'static str,
    why: &'a str,
    /// Whose pictures decide: contact, then later.
    frames: Vec<PalmFrame>,
}

/// A frame that shows it.
#[derive(Debug, Serialize)]
pub struct PalmFrame {
    frame: usize,
    /// Frame of the clip, which differs where frames were left out.
    clip_frame: Option<usize>,
    time_s: f64,
    after_contact_s: f64,
}

/// An event.
#[derive(Debug, Serialize)]
pub struct EventObject {
    time_s: f64,
    frame: usize,
    trust: f64,
}

/// A reading.
#[derive(Debug, Serialize)]
#[serde(untagged)]
pub enum MeasureObject<'a> {
    /// A number.
    Value {
        /// The number.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// How far off it may be.
        give_or_take: f64,
        /// How sure, 0 to 1.
        trust: f64,
        /// When in the serve.
        moment: &'static str,
    },
    /// None.
    NotMeasurable {
        /// Why.
        not_measurable: &'a str,
    },
}

impl<'a> ServeObject<'a> {
    /// A serve of a recording, counted from 1; `seen`: what the clip showed of the palm.
    #[must_use]
    pub fn of(
        number: usize,
        serve: &'a Serve,
        recording: &Recording,
        seen: Option<(&SeenClip, &'a PalmReading)>,
    ) -> Self {
        Self {
            serve: number,
            hand: serve.hand,
            hand_trust: serve.hand_trust,
            frames: serve.frames,
            rate_hz: recording.rate_hz,
            cutoff_hz: serve.cutoff_hz,
            events: serve
                .events
                .iter()
                .map(|event| {
                    let object = EventObject {
                        time_s: event.time_s,
                        frame: event.frame,
                        trust: event.trust,
                    };
                    (event.kind.name(), object)
                })
                .collect(),
            measures: serve
                .readings
                .iter()
                .map(|entry| {
                    let about = MEASURES.iter().find(|def| def.id == entry.measure);
                    let object = match &entry.reading {
                        Reading::Value { value, trust, give_or_take } => MeasureObject::Value {
                            value: *value,
                            unit: about.map_or("", |def| def.unit),
                            give_or_take: *give_or_take,
                            trust: *trust,
                            moment: about.map_or("", |def| def.moment),
                        },
                        Reading::NotMeasurable { why } => {
                            MeasureObject::NotMeasurable { not_measurable: why }
                        }
                    };
                    (entry.measure.as_str(), object)
                })
                .collect(),
            notes: &serve.notes,
            palm_after_contact: seen
                .map(|(clip, palm)| PalmObject::of(clip, palm, serve, recording)),
        }
    }
}

impl<'a> PalmObject<'a> {
    fn of(clip: &SeenClip, palm: &'a PalmReading, serve: &Serve, recording: &Recording) -> Self {
        let contact_s = serve.events[EventKind::Contact as usize].time_s;
        let shown = |&frame: &usize| {
            let time_s = *recording.times_s.get(frame)?;
            Some(PalmFrame {
                frame,
                clip_frame: clip.kept.clip_frames.get(frame).map(|&frame| frame as usize),
                time_s,
                after_contact_s: time_s - contact_s,
            })
        };
        Self {
            turn: palm.turn.name(),
            why: &palm.why,
            frames: palm.frames.iter().filter_map(shown).collect(),
        }
    }
}

/// What became of one file as a JSON object.
#[derive(Debug, Serialize)]
pub struct FileObject<'a> {
    file: String,
    new: bool,
    recording: String,
    case: String,
    serves: Vec<String>,
    player: &'a str,
    date: String,
}

impl Taken {
    /// What became of this file of a player.
    #[must_use]
    pub fn object<'a>(&self, file: &Path, player: &'a Player) -> FileObject<'a> {
        let added = &self.added;
        FileObject {
            file: file.display().to_string(),
            new: added.new,
            recording: added.recording.to_string(),
            case: added.case.to_string(),
            serves: added.serves.iter().map(ToString::to_string).collect(),
            player: &player.code,
            date: self.date.to_string(),
        }
    }
}
