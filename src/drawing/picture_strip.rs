//! The player's own pictures at the events, each over the precedent's figure at the same event.

use std::fmt::Write as _;

use super::body::{Extent, Placement, Pose, Viewpoint, draw_outline, extent};
use super::style::Tone;
use super::svg::{Canvas, Stroke, Svg, escape};
use crate::serve::{Event, EventKind, Figures};
use crate::words::{from_contact, sentence, short};

const WIDTH: f64 = 116.0;
const HEIGHT: f64 = 168.0;

/// Pictures cut from the player's clip.
#[derive(Debug, Clone, PartialEq)]
pub struct Pictures {
    /// One picture per event with the joints drawn over it, as SVG.
    pub moments: Vec<(EventKind, String)>,
    /// The side a figure beside them is best drawn from.
    pub seen: Viewpoint,
    /// The palm after contact.
    pub palm: Palm,
    /// Why there are no pictures, and what to do.
    pub missing: Option<String>,
    /// Where the clip was when it was added; for the coach only, a path may hold names.
    pub place: String,
}

/// Which way the palm looks after contact.
#[derive(Debug, Clone, PartialEq)]
pub struct Palm {
    /// `outward`, `sideways`, `down` or `unsure`.
    pub turn: &'static str,
    /// What that rests on.
    pub why: String,
    /// Close pictures of the hand, as SVG, each with its time from contact in seconds.
    pub pictures: Vec<(f64, String)>,
}

/// Six columns (three on a phone): picture with joints, the precedent's figure, event and time.
pub(crate) fn picture_strip(
    pictures: &Pictures,
    events: &[Event],
    precedent: Option<(&Figures, &str)>,
) -> Option<String> {
    if pictures.moments.is_empty() {
        return None;
    }
    let contact_s = events.iter().find(|event| event.kind == EventKind::Contact)?.time_s;
    let mut html = String::from("<div class=\"shots\">");
    for (kind, picture) in &pictures.moments {
        let time = events.iter().find(|event| event.kind == *kind).map(|event| {
            let (time, when) = from_contact(event.time_s - contact_s);
            match event.trust {
                _ if *kind == EventKind::Contact => format!("{time} {when}"),
                trust if trust < 0.25 => "the exact moment is not known".to_owned(),
                trust if trust < 0.5 => format!("about {time} {when}"),
                _ => format!("{time} {when}"),
            }
        });
        let figure = precedent
            .map(|(figures, label)| figure(figures, *kind, pictures.seen, label).to_string());
        // Writing to a string cannot fail.
        let _ = write!(
            html,
            "<div>{picture}{}<p><b>{}</b><br>{}</p></div>",
            figure.unwrap_or_default(),
            escape(&sentence(short(*kind))),
            escape(&time.unwrap_or_default())
        );
    }
    html.push_str("</div>");
    Some(html)
}

/// The precedent at one event; all six at one scale on one ground line.
fn figure(figures: &Figures, kind: EventKind, seen: Viewpoint, label: &str) -> Svg {
    let pose = |kind: EventKind| Pose::at(figures, f64::from(figures.event_samples[kind as usize]));
    let all: Option<Extent> =
        EventKind::ALL.iter().filter_map(|&k| extent(&pose(k), seen)).reduce(Extent::union);
    let title = format!("{label}: {}", kind.label());
    let mut canvas = Canvas::new("precedent-figure", WIDTH, HEIGHT, &title, &title);
    let this = pose(kind);
    if let (Some(all), Some(own)) = (all, extent(&this, seen)) {
        let low = all.low.min(0.0);
        let scale = (HEIGHT - 12.0) / (all.high - low).max(0.1);
        let scale = scale.min((WIDTH - 4.0) / (own.right - own.left).max(0.1));
        let ground = HEIGHT - 6.0 + scale * low;
        canvas.line([0.0, ground], [WIDTH, ground], Stroke::solid(Tone::Quiet, 1.0));
        let origin = [WIDTH / 2.0 - scale * (own.left + own.right) / 2.0, ground];
        draw_outline(&mut canvas, &this, Placement { origin, scale, seen }, Tone::Precedent);
    }
    canvas.finish()
}

/// The hand after contact, close, for the coach's eye.
pub(crate) fn palm_strip(palm: &Palm) -> Option<String> {
    if palm.pictures.is_empty() {
        return None;
    }
    let mut html = String::from("<div class=\"shots\">");
    for (after_s, picture) in &palm.pictures {
        let (time, when) = from_contact(*after_s);
        let _ = write!(html, "<div>{picture}<p>{}</p></div>", escape(&format!("{time} {when}")));
    }
    html.push_str("</div>");
    Some(html)
}
