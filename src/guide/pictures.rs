//! Pictures of the guide, drawn by the program from invented serves.

use curve_index::{Curve, DtwParams, Scratch, dtw};

use crate::drawing::svg::{Canvas, Paint, Stroke, Type};
use crate::drawing::{EventStrip, Svg, Tone, Viewpoint, event_strip};
use crate::library::Level;
use crate::motion::Side;
use crate::serve::{FindOptions, find};
use crate::simulator::{Ask, Body, Sensor, SensorKind, Server, curves, record_serve};

const WIDTH: f64 = 720.0;
/// Serves in the picture of the search, and how many of them are asked for.
const SERVES: usize = 28;
const CLOSEST: usize = 3;
const CHANNELS: usize = 12;
const BAND: usize = 10;

/// The picture of this name.
pub(super) fn drawn(name: &str) -> Option<Svg> {
    match name {
        "serve" => serve(),
        "search" => search(),
        _ => None,
    }
}

/// One serve at its six moments.
fn serve() -> Option<Svg> {
    let server = Server::plain(Body::new(1.8, 1.0, 1.0), Side::Right, Level::National);
    let ask = Ask::default();
    let (recording, _) = record_serve(&server.serve(&ask), &Sensor::usual(SensorKind::Markers), 1);
    let found = find(&recording, &FindOptions::default());
    let serve = found.serves.first()?;
    let strip = EventStrip {
        this: &serve.figures,
        this_label: "an invented serve",
        behind: None,
        events: &serve.events,
        seen: Viewpoint::FromHittingSide,
    };
    Some(event_strip(&strip, WIDTH))
}

/// A serve's lower bound and distance.
struct Compared {
    bound: f64,
    distance: f64,
}

/// Bounds and distances of invented serves from one of them.
fn search() -> Option<Svg> {
    // One in three, so that several players are among them.
    let all: Vec<Vec<f32>> = curves(4 * SERVES, 7).step_by(4).collect();
    let (query, others) = all.split_first()?;
    let params = DtwParams::new(CHANNELS).band_frames(BAND).check().ok()?;
    let mut scratch = Scratch::default();
    let mut rows = Vec::new();
    for other in others {
        let (a, b) = (Curve::new(query, CHANNELS).ok()?, Curve::new(other, CHANNELS).ok()?);
        let cost = dtw(a, b, &params, f64::INFINITY, &mut scratch)?;
        rows.push(Compared { bound: bound(query, other).sqrt(), distance: cost.sqrt() });
    }
    rows.sort_by(|a, b| a.bound.total_cmp(&b.bound));
    Some(draw(&rows))
}

/// What the alignment costs at least: how far the other leaves the envelope of the query within the
/// band (Keogh & Ratanamahatana 2005, doi 10.1007/s10115-004-0154-9).
fn bound(query: &[f32], other: &[f32]) -> f64 {
    let frames = query.len() / CHANNELS;
    let mut sum = 0.0;
    for frame in 0..frames {
        let near = frame.saturating_sub(BAND)..=(frame + BAND).min(frames - 1);
        for channel in 0..CHANNELS {
            let values = near.clone().map(|at| f64::from(query[at * CHANNELS + channel]));
            let (low, high) =
                values.fold((f64::MAX, f64::MIN), |(low, high), v| (low.min(v), high.max(v)));
            let value = f64::from(other[frame * CHANNELS + channel]);
            let beyond = (value - high).max(low - value).max(0.0);
            sum += beyond * beyond;
        }
    }
    sum
}

fn draw(rows: &[Compared]) -> Svg {
    const ROW: f64 = 13.0;
    const LEFT: f64 = 16.0;
    const TOP: f64 = 44.0;
    let height = TOP + rows.len() as f64 * ROW + 36.0;
    let largest = rows.iter().map(|row| row.distance).fold(1e-9, f64::max);
    let x = |value: f64| LEFT + value / largest * (WIDTH - LEFT - 150.0);
    let mut sorted: Vec<f64> = rows.iter().map(|row| row.distance).collect();
    sorted.sort_by(f64::total_cmp);
    let limit = sorted[CLOSEST.min(sorted.len()) - 1];
    let spared = rows.iter().filter(|row| row.bound > limit).count();
    let title = "How few serves must be compared";
    let told = format!(
        "{} serves; {spared} of them are ruled out by their bound, the {CLOSEST} closest are filled",
        rows.len()
    );
    let mut canvas = Canvas::new("search", WIDTH, height, title, &told);
    canvas.text([LEFT, 16.0], &told, Type::new(14.0, Tone::Ink).bold());
    let bottom = TOP + rows.len() as f64 * ROW;
    let dashed = Stroke::dashed(Tone::Attention, 1.5, "4 3");
    canvas.line([x(limit), TOP - 8.0], [x(limit), bottom], dashed);
    canvas.text([x(limit), TOP - 14.0], "third-closest", Type::new(12.0, Tone::Attention).middle());
    for (at, row) in rows.iter().enumerate() {
        let y = TOP + (at as f64 + 0.5) * ROW;
        let ruled_out = row.bound > limit;
        let tone = if ruled_out { Tone::Quiet } else { Tone::This };
        canvas.line([x(row.bound), y - 4.0], [x(row.bound), y + 4.0], Stroke::solid(tone, 2.0));
        if ruled_out {
            let said = Type::new(10.0, Tone::Quiet);
            canvas.text([x(row.bound) + 6.0, y + 3.5], "never compared", said);
            continue;
        }
        canvas.line([x(row.bound), y], [x(row.distance), y], Stroke::solid(tone, 1.0));
        let paint = if row.distance <= limit {
            Paint::fill(Tone::This)
        } else {
            Paint::fill(Tone::Paper).and(Stroke::solid(Tone::This, 1.5))
        };
        canvas.circle([x(row.distance), y], 4.0, paint);
    }
    canvas.text([LEFT, bottom + 20.0], "0", Type::new(12.0, Tone::Quiet));
    let far = Type::new(12.0, Tone::Quiet).end();
    canvas.text([x(largest), bottom + 20.0], "further apart", far);
    canvas.finish()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the picture claims: the bound is never above the distance, and some are ruled out.
    #[test]
    fn the_bound_is_never_above_the_distance() {
        let all: Vec<Vec<f32>> = curves(4 * SERVES, 7).step_by(4).collect();
        let params = DtwParams::new(CHANNELS).band_frames(BAND).check().unwrap();
        let mut costs = Vec::new();
        for other in &all[1..] {
            let (a, b) = (Curve::new(&all[0], CHANNELS), Curve::new(other, CHANNELS));
            let (a, b) = (a.unwrap(), b.unwrap());
            let cost = dtw(a, b, &params, f64::INFINITY, &mut Scratch::default()).unwrap();
            assert!(bound(&all[0], other) <= cost + 1e-9);
            costs.push((bound(&all[0], other), cost));
        }
        let mut sorted: Vec<f64> = costs.iter().map(|pair| pair.1).collect();
        sorted.sort_by(f64::total_cmp);
        let ruled_out = costs.iter().filter(|pair| pair.0 > sorted[CLOSEST - 1]).count();
        assert!(ruled_out > 5 && ruled_out < costs.len() - CLOSEST + 1, "{ruled_out}");
    }
}
