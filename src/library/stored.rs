//! The frozen structs behind the format numbers, and their ways to and from the living types.
//!
//! A struct here never changes once a library was written with it: a new need is a new struct
//! with the next format number. Enums are stored by name, so their order is free to change.

use serde::{Deserialize, Serialize};

use super::envelope::{checksum, raw_f32, raw_f64, read_f32, read_f64, seal, unseal};
use super::{Damage, Named};
use crate::motion::{Assumption, Joint, Recording, Side};
use crate::serve::{CURVE_FRAMES, Curve, Event, EventKind, Figures, Reading, Serve, ServeReading};

const SERVE: [u8; 4] = *b"PSrv";
const SERVE_FORMAT: u16 = 1;
const RECORDING: [u8; 4] = *b"PRec";
const RECORDING_FORMAT: u16 = 1;

#[derive(Serialize, Deserialize)]
struct EventV1 {
    kind: String,
    time_s: f64,
    frame: u64,
    trust: f64,
}

#[derive(Serialize, Deserialize)]
struct ReadingV1 {
    measure: String,
    /// Value, trust, give or take.
    value: Option<(f64, f64, f64)>,
    why_not: Option<String>,
}

#[derive(Serialize, Deserialize)]
struct ServeV1 {
    hand_trust: f64,
    first_frame: u64,
    last_frame: u64,
    events: Vec<EventV1>,
    readings: Vec<ReadingV1>,
    figure_joints: Vec<String>,
    event_samples: [f32; 6],
    cutoff_hz: f64,
    notes: Vec<String>,
}

/// A serve taken apart for its columns.
pub(crate) struct ServeBytes {
    pub(crate) curve: Vec<u8>,
    pub(crate) curve_sum: i64,
    pub(crate) figures: Vec<u8>,
    pub(crate) figures_sum: i64,
    pub(crate) details: Vec<u8>,
}

/// What a serve's plain columns hold.
pub(crate) struct ServeColumns {
    pub(crate) hand: Side,
    pub(crate) channel_set: String,
    pub(crate) channels: usize,
}

impl ServeBytes {
    pub(crate) fn of(serve: &Serve) -> Result<Self, Damage> {
        let curve = raw_f32(&serve.curve.values);
        let figures = raw_f32(serve.figures.positions.as_flattened());
        let details = ServeV1 {
            hand_trust: serve.hand_trust,
            first_frame: serve.frames.0 as u64,
            last_frame: serve.frames.1 as u64,
            events: serve
                .events
                .iter()
                .map(|event| EventV1 {
                    kind: event.kind.name().to_owned(),
                    time_s: event.time_s,
                    frame: event.frame as u64,
                    trust: event.trust,
                })
                .collect(),
            readings: serve.readings.iter().map(reading_v1).collect(),
            figure_joints: serve.figures.joints.iter().map(|j| j.name().to_owned()).collect(),
            event_samples: serve.figures.event_samples,
            cutoff_hz: serve.cutoff_hz,
            notes: serve.notes.clone(),
        };
        Ok(Self {
            curve_sum: checksum(&curve).cast_signed(),
            curve,
            figures_sum: checksum(&figures).cast_signed(),
            figures,
            details: seal(SERVE, SERVE_FORMAT, &details)?,
        })
    }

    pub(crate) fn serve(&self, columns: ServeColumns) -> Result<Serve, Damage> {
        let stored: ServeV1 = unseal(SERVE, SERVE_FORMAT, &self.details)?;
        let joints = joints(&stored.figure_joints)?;
        let count = CURVE_FRAMES * joints.len() * 3;
        let flat = read_f32(&self.figures, count, self.figures_sum)?;
        let values = read_curve(&self.curve, columns.channels, self.curve_sum)?;
        let mut events = Vec::with_capacity(stored.events.len());
        for event in &stored.events {
            events.push(Event {
                kind: event_kind(&event.kind)?,
                time_s: event.time_s,
                frame: index(event.frame)?,
                trust: event.trust,
            });
        }
        let count = events.len();
        let events = events
            .try_into()
            .map_err(|_| Damage::Value(format!("{count} events, a serve has six")))?;
        Ok(Serve {
            hand: columns.hand,
            hand_trust: stored.hand_trust,
            frames: (index(stored.first_frame)?, index(stored.last_frame)?),
            events,
            readings: stored.readings.into_iter().map(reading).collect::<Result<_, _>>()?,
            curve: Curve { channel_set: columns.channel_set, channels: columns.channels, values },
            figures: Figures {
                joints,
                positions: flat.as_chunks().0.to_vec(),
                event_samples: stored.event_samples,
            },
            cutoff_hz: stored.cutoff_hz,
            notes: stored.notes,
        })
    }
}

/// Only the readings of a stored serve.
pub(crate) fn read_readings(details: &[u8]) -> Result<Vec<ServeReading>, Damage> {
    let stored: ServeV1 = unseal(SERVE, SERVE_FORMAT, details)?;
    stored.readings.into_iter().map(reading).collect()
}

/// Only the time of contact of a stored serve, seconds; NaN where it is not known.
pub(crate) fn read_contact_s(details: &[u8]) -> Result<f64, Damage> {
    let stored: ServeV1 = unseal(SERVE, SERVE_FORMAT, details)?;
    let contact = stored.events.iter().find(|event| event.kind == EventKind::Contact.name());
    Ok(contact.map_or(f64::NAN, |event| event.time_s))
}

/// Only the first and last frame of a stored serve.
pub(crate) fn read_frames(details: &[u8]) -> Result<(usize, usize), Damage> {
    let stored: ServeV1 = unseal(SERVE, SERVE_FORMAT, details)?;
    Ok((index(stored.first_frame)?, index(stored.last_frame)?))
}

/// The samples of a stored curve, length and checksum checked.
pub(crate) fn read_curve(bytes: &[u8], channels: usize, sum: i64) -> Result<Vec<f32>, Damage> {
    read_f32(bytes, CURVE_FRAMES.saturating_mul(channels), sum)
}

fn reading_v1(reading: &ServeReading) -> ReadingV1 {
    let (value, why_not) = match &reading.reading {
        Reading::Value { value, trust, give_or_take } => {
            (Some((*value, *trust, *give_or_take)), None)
        }
        Reading::NotMeasurable { why } => (None, Some(why.clone())),
    };
    ReadingV1 { measure: reading.measure.clone(), value, why_not }
}

fn reading(stored: ReadingV1) -> Result<ServeReading, Damage> {
    let reading = match (stored.value, stored.why_not) {
        (Some((value, trust, give_or_take)), None) => Reading::Value { value, trust, give_or_take },
        (None, Some(why)) => Reading::NotMeasurable { why },
        _ => {
            let measure = &stored.measure;
            return Err(Damage::Value(format!("'{measure}' is neither measured nor refused")));
        }
    };
    Ok(ServeReading { measure: stored.measure, reading })
}

fn event_kind(name: &str) -> Result<EventKind, Damage> {
    EventKind::ALL
        .into_iter()
        .find(|kind| kind.name() == name)
        .ok_or_else(|| Damage::Value(format!("unknown event '{name}'")))
}

fn joints(names: &[String]) -> Result<Vec<Joint>, Damage> {
    names
        .iter()
        .map(|name| {
            Joint::from_name(name).ok_or_else(|| Damage::Value(format!("unknown joint '{name}'")))
        })
        .collect()
}

fn index(value: u64) -> Result<usize, Damage> {
    usize::try_from(value).map_err(|_| Damage::Value(format!("frame {value} is out of range")))
}

#[derive(Serialize, Deserialize)]
struct RecordingV1 {
    joints: Vec<String>,
    frames: u64,
    has_confidence: bool,
    rate_hz: f64,
    dimensions: String,
    unit: String,
    capture: String,
    view: Option<String>,
    subject: Option<String>,
    format: String,
    /// What, taken, why.
    assumptions: Vec<(String, String, String)>,
}

/// A recording taken apart for its columns: times in `f64`, positions and confidence in `f32`.
///
/// Positions lose at most one part in 16 million, far below any tracker's noise.
pub(crate) struct RecordingBytes {
    pub(crate) head: Vec<u8>,
    pub(crate) times: Vec<u8>,
    pub(crate) times_sum: i64,
    pub(crate) positions: Vec<u8>,
    pub(crate) positions_sum: i64,
    pub(crate) confidence: Option<Vec<u8>>,
    pub(crate) confidence_sum: Option<i64>,
}

impl RecordingBytes {
    pub(crate) fn of(recording: &Recording) -> Result<Self, Damage> {
        let head = RecordingV1 {
            joints: recording.joints.iter().map(|j| j.name().to_owned()).collect(),
            frames: recording.frames() as u64,
            has_confidence: recording.confidence.is_some(),
            rate_hz: recording.rate_hz,
            dimensions: recording.dimensions.name().to_owned(),
            unit: recording.unit.name().to_owned(),
            capture: recording.capture.name().to_owned(),
            view: recording.view.map(|view| view.name().to_owned()),
            subject: recording.subject.clone(),
            format: recording.format.clone(),
            assumptions: recording
                .assumptions
                .iter()
                .map(|a| (a.what.clone(), a.taken.clone(), a.why.clone()))
                .collect(),
        };
        let times = raw_f64(&recording.times_s);
        let flat: Vec<f32> =
            recording.positions.as_flattened().iter().map(|&value| value as f32).collect();
        let positions = raw_f32(&flat);
        let confidence = recording.confidence.as_deref().map(raw_f32);
        Ok(Self {
            head: seal(RECORDING, RECORDING_FORMAT, &head)?,
            times_sum: checksum(&times).cast_signed(),
            times,
            positions_sum: checksum(&positions).cast_signed(),
            positions,
            confidence_sum: confidence.as_deref().map(|bytes| checksum(bytes).cast_signed()),
            confidence,
        })
    }

    pub(crate) fn recording(&self) -> Result<Recording, Damage> {
        let head: RecordingV1 = unseal(RECORDING, RECORDING_FORMAT, &self.head)?;
        let joints = joints(&head.joints)?;
        let frames = index(head.frames)?;
        let cells = frames.saturating_mul(joints.len());
        let flat = read_f32(&self.positions, cells.saturating_mul(3), self.positions_sum)?;
        let confidence = match (head.has_confidence, &self.confidence, self.confidence_sum) {
            (true, Some(bytes), Some(sum)) => Some(read_f32(bytes, cells, sum)?),
            (false, None, None) => None,
            _ => return Err(Damage::Value("confidence is half there".to_owned())),
        };
        Ok(Recording {
            times_s: read_f64(&self.times, frames, self.times_sum)?,
            positions: flat
                .as_chunks::<3>()
                .0
                .iter()
                .map(|position| position.map(f64::from))
                .collect(),
            confidence,
            rate_hz: head.rate_hz,
            dimensions: known(&head.dimensions)?,
            unit: known(&head.unit)?,
            capture: known(&head.capture)?,
            view: head.view.as_deref().map(known).transpose()?,
            subject: head.subject,
            format: head.format,
            assumptions: head
                .assumptions
                .into_iter()
                .map(|(what, taken, why)| Assumption { what, taken, why })
                .collect(),
            joints,
        })
    }
}

fn known<T: Named>(name: &str) -> Result<T, Damage> {
    T::from_name(name).ok_or_else(|| Damage::Value(format!("unknown {} '{name}'", T::WHAT)))
}
