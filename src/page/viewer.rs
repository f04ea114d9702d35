//! What the viewer draws: a serve over time, as our own script reads it.

use std::sync::{Arc, Mutex};

use axum::extract::{Path, State};
use axum::response::Response;
use serde::Serialize;

use super::desk::Desk;
use super::fields::Asked;
use super::film::json;
use super::hand::last_marked;
use super::long::lock;
use super::refusal::Refusal;
use super::serve::asked_for;
use crate::drawing::{Channel, Viewpoint, channels_of, moment_figure, rail, warp_to_events};
use crate::library::{Library, Mark, Point, ServeHead, ServeId, ServeMoment, ServeRow, Witness};
use crate::matcher::{Query, Subject, align, like};
use crate::motion::{Joint, Side};
use crate::pages::{Footage, footage};
use crate::serve::{CURVE_FRAMES, EventKind, Figures, Serve, ServeClock};
use crate::video::{BONES, MIN_SEEN};
use crate::words::{count, day, sentence, short};
use crate::work::Watch;

/// Precedents behind a ribbon's band, as in a review.
const IN_BAND: usize = 9;
/// Width a ribbon may take, px.
const WIDTHS: std::ops::RangeInclusive<f64> = 120.0..=3000.0;

/// One of the six moments.
#[derive(Debug, Serialize)]
struct Moment {
    name: &'static str,
    label: &'static str,
    short: &'static str,
    /// Seconds from contact; nothing where it is not known.
    t: Option<f64>,
    /// How sure, 0 to 1.
    trust: f64,
    /// "set by ash".
    witness: String,
    by_hand: bool,
    /// Where the program saw it, where somebody else's word counts.
    seen: Option<f64>,
}

/// Something a person drew, or words.
#[derive(Debug, Serialize)]
struct Drawn {
    id: String,
    kind: &'static str,
    /// Number among the frames that can be shown.
    frame: usize,
    t: f64,
    points: Vec<Point>,
    text: Option<String>,
    by: String,
}

/// A serve over time; times are seconds from contact.
#[derive(Debug, Serialize)]
pub(super) struct Moving {
    serve: String,
    who: String,
    /// Figures of left-handers are mirrored.
    mirrored: bool,
    moments: Vec<Moment>,
    /// Times of samples 0 and 100.
    ends: [f64; 2],
    joints: Vec<&'static str>,
    /// Samples x joints x 3, in statures; nothing where a joint is missing.
    figure: Vec<Option<f64>>,
    /// Whether the figure is drawn as the camera saw it and from nowhere else.
    flat: bool,
    /// Times of the frames that can be shown.
    times: Vec<f64>,
    /// Number of the first of them in the recording, or in the clip.
    first: usize,
    /// Frame of the recording behind each; nothing where nobody was seen.
    recorded: Vec<Option<usize>>,
    picture: Option<Picture>,
    drawn: Vec<Drawn>,
    /// The last thing a hand did that can be taken back.
    undo: Option<String>,
}

/// The joints in the picture.
#[derive(Debug, Serialize)]
struct Picture {
    /// Across and down, px of the clip.
    size: (u32, u32),
    /// Pairs of columns of `points`.
    bones: Vec<[usize; 2]>,
    /// Per frame: column and row of each joint, px; nothing where it is out of sight.
    points: Vec<Vec<Option<[f64; 2]>>>,
}

/// Two serves on one clock.
#[derive(Debug, Serialize)]
struct Pair {
    beside: Moving,
    /// Where each sample lies on the other, along the warping path; nothing where the two hold
    /// different channels.
    along: Option<Vec<f64>>,
    /// This serve at its six moments with the other behind it, as drawings.
    figures: Vec<String>,
}

pub(super) async fn moving(
    State(desk): State<Arc<Desk>>,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    desk.fetch(move |_, library, _| {
        let id = asked_for(&id)?;
        json(&Moving::of(library, &library.serve(id)?, &library.serve_head(id)?)?)
    })
    .await
}

pub(super) async fn moving_beside(
    State(desk): State<Arc<Desk>>,
    Path((id, other)): Path<(String, String)>,
) -> Result<Response, Refusal> {
    desk.fetch(move |_, library, _| {
        let this = library.serve(asked_for(&id)?)?;
        let other = asked_for(&other)?;
        let row = library.serve(other)?;
        let pair = Pair {
            beside: Moving::of(library, &row, &library.serve_head(other)?)?,
            along: align(&this.serve.curve, &row.serve.curve),
            figures: moment_figures(&this.serve, Some(&row.serve.figures)),
        };
        json(&pair)
    })
    .await
}

/// The six moments as small figures, from the hitting side.
pub(super) fn moment_figures(serve: &Serve, behind: Option<&Figures>) -> Vec<String> {
    let draw = |kind| moment_figure(&serve.figures, behind, kind, Viewpoint::FromHittingSide);
    EventKind::ALL.map(|kind| draw(kind).to_string()).into()
}

impl Moving {
    pub(super) fn of(library: &Library, row: &ServeRow, head: &ServeHead) -> Result<Self, Refusal> {
        let serve = &row.serve;
        let clock = ServeClock::of(serve);
        let moments = library.moments(row)?.into_iter().map(|moment| Moment::of(&moment, &clock));
        let moments = moments.collect();
        let ends = [clock.after_s(0.0), clock.after_s((CURVE_FRAMES - 1) as f64)];
        let (first, picture, recorded, times_s) = match footage(library, row)? {
            Some(seen) => {
                let picture = Some(Picture::of(&seen));
                (seen.of.frames.0, picture, seen.frames, seen.times_s)
            }
            None => {
                let all = library.joints(row.recording)?.times_s;
                let shown = |&(_, time_s): &(usize, f64)| {
                    (ends[0]..=ends[1]).contains(&(time_s - clock.contact_s))
                };
                let inside: Vec<(usize, f64)> = all.into_iter().enumerate().filter(shown).collect();
                let first = inside.first().map_or(serve.frames.0, |(frame, _)| *frame);
                let recorded: Vec<_> = inside.iter().map(|(frame, _)| Some(*frame)).collect();
                let times_s: Vec<f64> = inside.into_iter().map(|(_, time_s)| time_s).collect();
                (first, None, recorded, times_s)
            }
        };
        let times: Vec<f64> =
            times_s.iter().map(|time_s| milli(time_s - clock.contact_s)).collect();
        let drawn = library.marks(row.recording)?;
        let drawn = drawn.iter().filter_map(|mark| Drawn::of(mark, &recorded, &times)).collect();
        let undo = last_marked(library, row.recording, row.id)?;
        let figure = serve.figures.positions.as_flattened().iter();
        Ok(Self {
            serve: row.id.to_string(),
            who: format!("{}, {}", head.player_code, day(head.date)),
            mirrored: serve.hand == Side::Left,
            moments,
            ends: ends.map(milli),
            joints: serve.figures.joints.iter().map(|joint| joint.name()).collect(),
            figure: figure.map(|&v| v.is_finite().then(|| milli(f64::from(v)))).collect(),
            flat: serve.figures.is_flat(),
            times,
            first,
            recorded,
            picture,
            drawn,
            undo: undo.map(|change| change.id.to_string()),
        })
    }
}

impl Moment {
    fn of(moment: &ServeMoment, clock: &ServeClock) -> Self {
        let event = &moment.event;
        let from_contact = |time_s: f64| milli(time_s - clock.contact_s);
        Self {
            name: event.kind.name(),
            label: event.kind.label(),
            short: short(event.kind),
            t: event.time_s.is_finite().then(|| from_contact(event.time_s)),
            trust: event.trust,
            witness: moment.witness.describe(),
            by_hand: matches!(moment.witness, Witness::Person(_)),
            seen: moment.beside.first().map(|seen| from_contact(seen.time_s)),
        }
    }
}

impl Drawn {
    /// `None` for a moment, and for what lies on a frame that is not shown here.
    fn of(mark: &Mark, recorded: &[Option<usize>], times: &[f64]) -> Option<Self> {
        if mark.what.event().is_some() {
            return None;
        }
        let frame = recorded.iter().position(|&frame| frame == Some(mark.frame))?;
        Some(Self {
            id: mark.id.to_string(),
            kind: mark.what.kind(),
            frame,
            t: times[frame],
            points: mark.what.points().to_vec(),
            text: mark.what.text().map(str::to_owned),
            by: mark.by.to_string(),
        })
    }
}

impl Picture {
    fn of(footage: &Footage) -> Self {
        let mut joints: Vec<Joint> = BONES.iter().flat_map(|&(a, b)| [a, b]).collect();
        joints.sort();
        joints.dedup();
        let column = |joint: Joint| joints.iter().position(|&known| known == joint).unwrap_or(0);
        let place = |frame: Option<usize>, joint: Joint| {
            let (place, seen) = footage.kept.at(frame?, joint)?;
            (seen >= MIN_SEEN).then(|| place.map(f64::round))
        };
        let frames = footage.frames.iter();
        Self {
            size: footage.kept.size_px,
            bones: BONES.iter().map(|&(a, b)| [column(a), column(b)]).collect(),
            points: frames
                .map(|&frame| joints.iter().map(|&joint| place(frame, joint)).collect())
                .collect(),
        }
    }
}

/// To three decimals: a millisecond, a thousandth of the body's length.
fn milli(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// One channel along the clock, drawn, with what is said of it.
#[derive(Debug, Serialize)]
struct Ribbon {
    drawing: String,
    label: String,
    /// What the band is, where there is one.
    band: Option<String>,
    deviations: Vec<String>,
}

/// A serve, and the library's last change.
type At = (ServeId, Option<i64>);

/// The precedents behind the ribbons of the serve that is looked at: every channel asks for the same
/// ones, until anything in the library changes.
#[derive(Debug, Default)]
pub(super) struct Band(Mutex<Option<(At, Vec<ServeId>)>>);

impl Band {
    fn precedents(
        &self,
        library: &Library,
        id: ServeId,
        watch: &Watch,
    ) -> Result<Vec<ServeId>, Refusal> {
        let asked = (id, library.last_player_change()?);
        if let Some((known, precedents)) = &*lock(&self.0)
            && *known == asked
        {
            return Ok(precedents.clone());
        }
        let query = Query { one_each: true, ..Query::new(Subject::Stored(id), IN_BAND) };
        let found = like(library, &query, watch)?.precedents;
        let precedents: Vec<ServeId> = found.iter().map(|one| one.serve).collect();
        // A library of an earlier format does not number its changes.
        if asked.1.is_some() {
            *lock(&self.0) = Some((asked, precedents.clone()));
        }
        Ok(precedents)
    }
}

pub(super) async fn ribbon(
    State(desk): State<Arc<Desk>>,
    Path((id, name)): Path<(String, String)>,
    Asked(fields): Asked,
) -> Result<Response, Refusal> {
    desk.fetch(move |desk, library, watch| {
        let id = asked_for(&id)?;
        let row = library.serve(id)?;
        let mut others = Vec::new();
        for precedent in desk.band.precedents(library, id, watch)? {
            others.push(library.serve(precedent)?.serve);
        }
        let pairs: Vec<_> = others.iter().map(|o| (&o.curve, o.figures.event_samples)).collect();
        let events = row.serve.figures.event_samples;
        let named = |channel: &Channel| channel.name == name;
        let channel = channels_of(&row.serve.curve, &events, &pairs).into_iter().find(named);
        let channel = channel.ok_or_else(|| Refusal::no_such("ribbon", &name))?;
        let beside = match fields.text("beside") {
            Some(other) => {
                let other = library.serve(asked_for(other)?)?.serve;
                let samples = other.figures.event_samples;
                let found = channels_of(&other.curve, &samples, &[]).into_iter().find(named);
                found.map(|channel| warp_to_events(&channel.values, &samples, &events))
            }
            None => None,
        };
        let width = fields.value::<f64>("width", "Width")?.unwrap_or(720.0);
        let width = if width.is_finite() { width } else { 720.0 };
        let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
        json(&Ribbon {
            drawing: rail(&channel, beside.as_deref(), width).to_string(),
            label: format!("{}, {}", sentence(&channel.label), channel.unit),
            band: channel.band.as_ref().map(|band| count(band.of, band.whose)),
            deviations: channel
                .deviations()
                .into_iter()
                .take(2)
                .map(|p| sentence(&p.words))
                .collect(),
        })
    })
    .await
}
