use super::body::{Extent, Placement, Pose, Viewpoint, draw_outline, draw_solid, extent};
use super::style::Tone;
use super::svg::{Canvas, Paint, Stroke, Svg, Type};
use super::text::{shorten, width};
use crate::serve::{Event, EventKind, Figures};
use crate::words::{from_contact, sentence, short};

/// The bodies of an event strip.
#[derive(Debug, Clone, Copy)]
pub struct EventStrip<'a> {
    /// This serve, solid.
    pub this: &'a Figures,
    /// Whose it is, for the legend ("you").
    pub this_label: &'a str,
    /// The precedent or the earlier serve, outlined behind it.
    pub behind: Option<(&'a Figures, &'a str)>,
    /// This serve's events; one without a time gets no time.
    pub events: &'a [Event],
    /// Where the reader stands.
    pub seen: Viewpoint,
}

const GAP: f64 = 14.0;
const ROW_GAP: f64 = 14.0;
/// Room a caption needs.
const CAPTION_WIDTH: f64 = 110.0;
const LEGEND: f64 = 28.0;

/// One figure per event on one ground line, left to right; the time from contact under each.
///
/// Both bodies are drawn at one scale and laid over each other by the middle of the hips; each body
/// is taken at its own event. Below 520 px the strip breaks into two rows. Missing joints leave out
/// their limbs; a body that cannot be drawn at an event says so. A body without depth is drawn in the plane of
/// its picture, wherever the reader stands, and that is said.
#[must_use]
pub fn event_strip(strip: &EventStrip<'_>, width_px: f64) -> Svg {
    let columns = if width_px < 520.0 { 3 } else { 6 };
    let is_flat = strip.this.is_flat();
    let strip =
        &EventStrip { seen: if is_flat { Viewpoint::FromBehind } else { strip.seen }, ..*strip };
    let poses: Vec<(Pose, Pose)> = (0..EventKind::ALL.len())
        .map(|index| {
            let at = |figures: &Figures| Pose::at(figures, f64::from(figures.event_samples[index]));
            (at(strip.this), strip.behind.map(|(figures, _)| at(figures)).unwrap_or_default())
        })
        .collect();
    let extents: Vec<Option<Extent>> = poses
        .iter()
        .map(|(this, behind)| {
            [extent(this, strip.seen), extent(behind, strip.seen)]
                .into_iter()
                .flatten()
                .reduce(Extent::union)
        })
        .collect();
    let lines: Vec<&[Option<Extent>]> = extents.chunks(columns).collect();
    let tallest = extents.iter().flatten().map(|e| e.high - e.low).fold(1.0, f64::max);
    let scale =
        lines.iter().map(|line| largest_scale(line, width_px)).fold(210.0 / tallest, f64::min);
    let highest =
        |line: &[Option<Extent>]| line.iter().flatten().map(|e| e.high).fold(0.3, f64::max);
    let lowest = |line: &[Option<Extent>]| line.iter().flatten().map(|e| e.low).fold(0.0, f64::min);
    let time_room = if strip.events.iter().any(|event| event.trust < 0.5) { 150.0 } else { 118.0 };
    let one_line = lines.iter().all(|line| {
        let spare = spare(line, scale, width_px);
        line.iter().all(|room| cell(*room, scale) + spare >= time_room)
    });
    let under = if one_line { 42.0 } else { 56.0 };
    let row = |line: &[Option<Extent>]| scale * (highest(line) - lowest(line)) + under;
    let height = LEGEND
        + lines.iter().map(|line| row(line)).sum::<f64>()
        + ROW_GAP * (lines.len() - 1) as f64;

    let contact_s = strip.events.iter().find(|e| e.kind == EventKind::Contact).map(|e| e.time_s);
    let offset = |kind: EventKind| {
        let event = strip.events.iter().find(|e| e.kind == kind)?;
        let offset_s = event.time_s - contact_s?;
        offset_s.is_finite().then_some((offset_s, event.trust))
    };
    let seen = match strip.seen {
        _ if is_flat => "as the camera saw it",
        Viewpoint::FromBehind => "seen from behind",
        Viewpoint::FromHittingSide => "seen from the hitting side, net to the right",
    };
    let mut description = format!("Six moments of the serve, {seen}, left to right.");
    for kind in EventKind::ALL {
        let said = offset(kind).map_or_else(
            || "time not known".to_owned(),
            |(offset_s, _)| {
                let (time, when) = from_contact(offset_s);
                format!("{time} {when}")
            },
        );
        description.push_str(&format!(" {}: {said}.", sentence(kind.label())));
    }
    let title = match strip.behind {
        Some((_, label)) => {
            format!("The serve in six moments: {}, with {label} as outline", strip.this_label)
        }
        None => format!("The serve in six moments: {}", strip.this_label),
    };
    let mut canvas = Canvas::new("event-strip", width_px, height, &title, &description);
    legend(&mut canvas, strip, width_px, seen);

    let mut top = LEGEND;
    for (line, kinds) in lines.iter().zip(EventKind::ALL.chunks(columns)) {
        let ground = top + scale * highest(line);
        canvas.line([0.0, ground], [width_px, ground], Stroke::solid(Tone::Quiet, 1.0));
        let spare = spare(line, scale, width_px);
        let mut left = 0.0;
        for (room, &kind) in line.iter().zip(kinds) {
            let own = cell(*room, scale) + spare;
            let centre = left + own / 2.0;
            let (this, behind) = &poses[kind as usize];
            canvas.open(kind.name());
            if let Some(room) = room {
                let origin = [centre - scale * (room.left + room.right) / 2.0, ground];
                let place = Placement { origin, scale, seen: strip.seen };
                draw_outline(&mut canvas, behind, place, Tone::Precedent);
                draw_solid(&mut canvas, this, place, Tone::This);
            } else {
                let style = Type::new(12.0, Tone::Quiet).middle();
                canvas.text([centre, ground - 28.0], "not visible", style);
                canvas.text([centre, ground - 12.0], "in this recording", style);
            }
            canvas.close();
            let at = [centre, ground - scale * lowest(line)];
            caption(&mut canvas, kind, offset(kind), at, own, one_line);
            left += own;
        }
        top += row(line) + ROW_GAP;
    }
    canvas.finish()
}

/// Width of a figure's cell in pixels.
fn cell(room: Option<Extent>, scale: f64) -> f64 {
    room.map_or(0.0, |e| scale * (e.right - e.left) + GAP).max(CAPTION_WIDTH)
}

/// What is left of a row's width for each of its cells.
fn spare(line: &[Option<Extent>], scale: f64, width_px: f64) -> f64 {
    let used: f64 = line.iter().map(|room| cell(*room, scale)).sum();
    (width_px - used) / line.len() as f64
}

/// Largest scale (pixels per stature) at which a row fits `width_px`.
fn largest_scale(line: &[Option<Extent>], width_px: f64) -> f64 {
    let fits = |scale| line.iter().map(|room| cell(*room, scale)).sum::<f64>() <= width_px;
    let (mut low, mut high) = (1.0, 400.0);
    for _ in 0..24 {
        let middle = f64::midpoint(low, high);
        if fits(middle) { low = middle } else { high = middle }
    }
    low
}

fn caption(
    canvas: &mut Canvas,
    kind: EventKind,
    offset: Option<(f64, f64)>,
    at: [f64; 2],
    room: f64,
    one_line: bool,
) {
    let long = sentence(kind.label());
    let name = if width(&long, 12.0, true) <= room { long } else { sentence(short(kind)) };
    canvas.text([at[0], at[1] + 20.0], &name, Type::new(12.0, Tone::Ink).bold().middle());
    let quiet = Type::new(11.0, Tone::Quiet).middle();
    let Some((offset_s, trust)) = offset else {
        canvas.text([at[0], at[1] + 35.0], "time not known", quiet);
        return;
    };
    let (time, when) = from_contact(offset_s);
    let unsure = trust < 0.5 && kind != EventKind::Contact;
    let time = if unsure { format!("about {time}") } else { time };
    if one_line {
        // Six stand side by side, and contact is named among them.
        let said = match when.strip_suffix(" contact") {
            Some(side) => format!("{time} {side}"),
            None => when.to_owned(),
        };
        canvas.text([at[0], at[1] + 35.0], &shorten(&said, 11.0, false, room), quiet);
    } else {
        canvas.text([at[0], at[1] + 35.0], &time, Type::new(12.0, Tone::Ink).middle());
        canvas.text([at[0], at[1] + 49.0], when, quiet);
    }
}

fn legend(canvas: &mut Canvas, strip: &EventStrip<'_>, width_px: f64, seen: &str) {
    let mut entries = vec![(strip.this_label, true)];
    entries.extend(strip.behind.map(|(_, label)| (label, false)));
    let room = width_px / entries.len() as f64 - 28.0;
    let mut x = 0.0;
    for (label, solid) in entries {
        let label = shorten(label, 12.0, solid, room);
        let centre = [x + 6.0, 9.0];
        if solid {
            canvas.circle(centre, 5.0, Paint::fill(Tone::This));
        } else {
            let line = Stroke::solid(Tone::Precedent, 1.4);
            canvas.circle(centre, 5.0, Paint::stroke(line));
        }
        let style = if solid {
            Type::new(12.0, Tone::This).bold()
        } else {
            Type::new(12.0, Tone::Precedent)
        };
        canvas.text([x + 18.0, 13.0], &label, style);
        x += 18.0 + width(&label, 12.0, solid) + 20.0;
    }
    let length = width(seen, 11.0, false);
    if x + length < width_px {
        canvas.text([width_px, 13.0], seen, Type::new(11.0, Tone::Quiet).end());
    }
}
