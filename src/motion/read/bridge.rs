//! Long gaps of a marker, bridged from the other markers of the same segment.
//!
//! A segment moves as one piece, nearly: where three of its other markers are seen all through a
//! gap, they carry the missing one. Its place among them is taken from just before and just after,
//! and goes evenly from the one to the other, since skin and joints give a little. The same is tried
//! on stretches as long as the gap right beside it, where the marker is seen; where that comes out too
//! far off, the gap stays.

use super::errors::shorten;
use super::markers::Markers;
use super::raw::{assumed, length, minus, plus};
use crate::motion::{Assumption, MAX_FILLED_GAP_S};

/// Markers that move together, by the conventional names without the side; those of a joint belong
/// to both of its segments.
const SEGMENTS: [&[&str]; 6] = [
    &["FHD", "BHD"],
    &["C7", "CLAV", "STRN", "T10", "BAK", "SHO"],
    &["ASI", "PSI", "SACR"],
    &["SHO", "UPA", "ELB", "ELBM", "FRM", "FRA"],
    &["ELB", "ELBM", "FRM", "FRA", "WRA", "WRB", "FIN"],
    &["KNE", "KNEM", "TIB", "ANK", "ANKM", "HEE", "TOE", "MT1", "MT5"],
];
/// The first three lie about the middle of the body: both sides count.
const MIDLINE: usize = 3;

/// No gap longer than this is bridged.
const LONGEST_S: f64 = 1.0;
/// Share of the body's size by which the bridge may be off beside the gap: some 2 cm.
const MOST_OFF: f64 = 0.012;

type Point = [f64; 3];

struct Gap {
    column: usize,
    /// First frame of the gap and first after it; there is one before and one after.
    from: usize,
    to: usize,
}

/// Bridges what can be bridged in `markers` and says what; gaps that a spline fills are left to it.
pub(super) fn bridge(markers: &mut Markers, rate_hz: Option<f64>) -> Option<Assumption> {
    let rate_hz = rate_hz.filter(|hz| *hz > 0.0)?;
    let width = markers.labels.len();
    let gaps = long_gaps(markers, rate_hz);
    let limit = MOST_OFF * body_size(markers)?;
    // From what was measured alone, never from what was bridged.
    let measured = markers.points.clone();
    let seen = Seen { points: &measured, width };
    let mut bridged = Vec::new();
    for gap in gaps {
        let Some(way) = others(&markers.labels, gap.column)
            .into_iter()
            .filter_map(|others| Way::over(&seen, &gap, &others))
            .filter(|way| way.off <= limit)
            .min_by(|a, b| a.off.total_cmp(&b.off))
        else {
            continue;
        };
        for (frame, place) in (gap.from..gap.to).zip(&way.places) {
            let at = frame * width + gap.column;
            markers.points[at] = *place;
            if let Some(confidence) = &mut markers.confidence {
                confidence[at] = 0.0;
            }
        }
        let label = &markers.labels[gap.column];
        bridged.push(format!("{label} in frames {}-{}", gap.from, gap.to - 1));
    }
    (!bridged.is_empty()).then(|| {
        assumed(
            "gaps",
            format!("bridged: {}", shorten(&bridged, 12)),
            "longer than a spline fills; carried by other markers of the same segment, which are \
             right to 2 cm beside the gap",
        )
    })
}

fn long_gaps(markers: &Markers, rate_hz: f64) -> Vec<Gap> {
    let width = markers.labels.len();
    let frames = markers.points.len().checked_div(width).unwrap_or(0);
    let lost = |frame: usize, column: usize| markers.points[frame * width + column][0].is_nan();
    let mut found = Vec::new();
    for column in 0..width {
        let mut before = None;
        for frame in (0..frames).filter(|&frame| !lost(frame, column)) {
            if let Some(last) = before {
                let lost_s = (frame - last - 1) as f64 / rate_hz;
                if lost_s > MAX_FILLED_GAP_S + 1e-3 / rate_hz && lost_s <= LONGEST_S {
                    found.push(Gap { column, from: last + 1, to: frame });
                }
            }
            before = Some(frame);
        }
    }
    found
}

/// The other columns of each segment a marker belongs to.
fn others(labels: &[String], column: usize) -> Vec<Vec<usize>> {
    let parts: Vec<(Option<char>, String)> = labels.iter().map(|label| part(label)).collect();
    let (side, name) = &parts[column];
    SEGMENTS
        .iter()
        .enumerate()
        .filter(|(_, members)| members.contains(&name.as_str()))
        .map(|(segment, members)| {
            let belongs = |at: &usize| {
                let (other, name) = &parts[*at];
                *at != column
                    && members.contains(&name.as_str())
                    && (segment < MIDLINE || other == side)
            };
            (0..labels.len()).filter(belongs).collect()
        })
        .collect()
}

/// A conventional name as its side and the rest.
fn part(label: &str) -> (Option<char>, String) {
    let name = label.trim().to_ascii_uppercase();
    let midline = ["C7", "CLAV", "STRN", "T10", "SACR"].contains(&name.as_str());
    match name.chars().next() {
        Some(side @ ('L' | 'R')) if !midline => (Some(side), name[1..].to_owned()),
        _ => (None, name),
    }
}

/// Diagonal of the box about all markers, the middle of its frames.
fn body_size(markers: &Markers) -> Option<f64> {
    let width = markers.labels.len().max(1);
    let mut sizes: Vec<f64> = markers
        .points
        .chunks_exact(width)
        .step_by((markers.points.len() / width / 500).max(1))
        .map(|row| {
            let seen = || row.iter().filter(|p| !p[0].is_nan());
            let least = seen().fold([f64::INFINITY; 3], |a, p| [0, 1, 2].map(|i| a[i].min(p[i])));
            let most =
                seen().fold([f64::NEG_INFINITY; 3], |a, p| [0, 1, 2].map(|i| a[i].max(p[i])));
            length(minus(most, least))
        })
        .filter(|size| size.is_finite())
        .collect();
    sizes.sort_by(f64::total_cmp);
    sizes.get(sizes.len() / 2).copied()
}

struct Seen<'a> {
    points: &'a [Point],
    width: usize,
}

impl Seen<'_> {
    fn at(&self, frame: usize, column: usize) -> Point {
        self.points[frame * self.width + column]
    }

    fn frames(&self) -> usize {
        self.points.len() / self.width
    }
}

/// The places of a marker over its gap, and how far off the same rule is beside it.
struct Way {
    places: Vec<Point>,
    off: f64,
}

impl Way {
    fn over(seen: &Seen<'_>, gap: &Gap, others: &[usize]) -> Option<Self> {
        let (before, after) = (gap.from - 1, gap.to);
        let whole =
            |&column: &usize| (before..=after).all(|frame| !seen.at(frame, column)[0].is_nan());
        let others: Vec<usize> = others.iter().copied().filter(whole).collect();
        let axes = Axes::of(seen, before, &others)?;
        let places = axes.carried(seen, gap.column, before, after)?;
        // As if it were lost beside the gap.
        let span = after - before;
        let beside = [
            before.checked_sub(span).map(|from| (from, before)),
            Some((after, after + span)).filter(|(_, to)| *to < seen.frames()),
        ];
        let offs: Vec<f64> = beside
            .into_iter()
            .flatten()
            .filter_map(|(from, to)| {
                let carried = axes.carried(seen, gap.column, from, to)?;
                let offs = carried.iter().zip(from + 1..to).map(|(place, frame)| {
                    let off = length(minus(*place, seen.at(frame, gap.column)));
                    (!off.is_nan()).then_some(off)
                });
                offs.collect::<Option<Vec<f64>>>()
            })
            .flatten()
            .collect();
        let off = offs.into_iter().max_by(f64::total_cmp)?;
        Some(Self { places, off })
    }
}

/// Three columns that span a frame of their own: a line, and a third beside it.
struct Axes {
    columns: Vec<usize>,
    line: [usize; 2],
    beside: usize,
}

impl Axes {
    /// The longest line among the columns, and the column furthest from it.
    fn of(seen: &Seen<'_>, frame: usize, columns: &[usize]) -> Option<Self> {
        let apart = |a: usize, b: usize| length(minus(seen.at(frame, a), seen.at(frame, b)));
        let pairs = columns
            .iter()
            .enumerate()
            .flat_map(|(i, &a)| columns[i + 1..].iter().map(move |&b| [a, b]));
        let line = pairs.max_by(|x, y| apart(x[0], x[1]).total_cmp(&apart(y[0], y[1])))?;
        let from = seen.at(frame, line[0]);
        let along = unit(minus(seen.at(frame, line[1]), from));
        let off_line = |&column: &usize| length(cross(minus(seen.at(frame, column), from), along));
        let rest = columns.iter().copied().filter(|column| !line.contains(column));
        let beside = rest.max_by(|a, b| off_line(a).total_cmp(&off_line(b)))?;
        // A third one on the line says nothing about turns about it.
        (off_line(&beside) > 0.1 * apart(line[0], line[1])).then(|| Self {
            columns: columns.to_vec(),
            line,
            beside,
        })
    }

    /// Middle of the columns and three axes; `None` where one of them is lost.
    fn at(&self, seen: &Seen<'_>, frame: usize) -> Option<(Point, [Point; 3])> {
        let sum =
            self.columns.iter().fold([0.0; 3], |sum, &column| plus(sum, seen.at(frame, column)));
        let middle = sum.map(|v| v / self.columns.len() as f64);
        let [a, b] = self.line.map(|column| seen.at(frame, column));
        let x = unit(minus(b, a));
        let z = unit(cross(x, minus(seen.at(frame, self.beside), a)));
        let axes = [x, cross(z, x), z];
        (!middle[0].is_nan() && !z[0].is_nan()).then_some((middle, axes))
    }

    /// The places of `column` strictly between two frames that show it.
    fn carried(
        &self,
        seen: &Seen<'_>,
        column: usize,
        from: usize,
        to: usize,
    ) -> Option<Vec<Point>> {
        let within = |frame: usize| -> Option<Point> {
            let (middle, axes) = self.at(seen, frame)?;
            let place = minus(seen.at(frame, column), middle);
            (!place[0].is_nan()).then(|| axes.map(|axis| dot(place, axis)))
        };
        let (first, last) = (within(from)?, within(to)?);
        (from + 1..to)
            .map(|frame| {
                let (middle, axes) = self.at(seen, frame)?;
                let part = (frame - from) as f64 / (to - from) as f64;
                let own = [0, 1, 2].map(|i| first[i] + part * (last[i] - first[i]));
                Some([0, 1, 2].map(|i| {
                    middle[i] + own[0] * axes[0][i] + own[1] * axes[1][i] + own[2] * axes[2][i]
                }))
            })
            .collect()
    }
}

fn unit(v: Point) -> Point {
    let size = length(v);
    v.map(|x| x / size)
}

fn dot(a: Point, b: Point) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: Point, b: Point) -> Point {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pelvis that walks and turns, 100 Hz; the right front marker is lost for half a second.
    fn pelvis(soft: f64) -> (Markers, Vec<Point>) {
        let still: [Point; 4] =
            [[0.1, 0.125, 0.0], [0.1, -0.125, 0.0], [-0.1, 0.05, 0.02], [-0.1, -0.05, 0.03]];
        let (mut points, mut truth) = (Vec::new(), Vec::new());
        for frame in 0..200 {
            let t = f64::from(frame) / 100.0;
            let (sin, cos) = (1.5 * t).sin_cos();
            for (k, p) in still.iter().enumerate() {
                let give = if k == 1 { soft * (40.0 * t).sin() } else { 0.0 };
                let (x, y) = (p[0] + give, p[1]);
                let place = [x * cos - y * sin + t, x * sin + y * cos, 1.0 + p[2]];
                let lost = k == 1 && (80..130).contains(&frame);
                points.push(if lost { [f64::NAN; 3] } else { place });
                truth.extend((k == 1).then_some(place));
            }
        }
        let labels = ["LASI", "RASI", "LPSI", "RPSI"].map(str::to_owned).to_vec();
        (Markers { labels, points, confidence: None }, truth)
    }

    #[test]
    fn a_marker_of_a_stiff_segment_is_carried_by_the_others() {
        let (mut markers, truth) = pelvis(0.0);
        let said = bridge(&mut markers, Some(100.0)).expect("bridged");
        assert_eq!(said.taken, "bridged: RASI in frames 80-129");
        for (frame, place) in truth.iter().enumerate() {
            let off = length(minus(markers.points[frame * 4 + 1], *place));
            assert!(off < 1e-9, "frame {frame}: {off}");
        }
    }

    #[test]
    fn what_gives_too_much_what_is_short_and_what_is_too_long_stays() {
        let lost = |markers: &Markers| markers.points[100 * 4 + 1][0].is_nan();
        let (mut soft, _) = pelvis(0.05);
        assert!(bridge(&mut soft, Some(100.0)).is_none() && lost(&soft));
        let (mut short, _) = pelvis(0.0);
        // Half a second at 100 Hz is a fifth at 250, and five at 10.
        assert!(bridge(&mut short, Some(250.0)).is_none() && lost(&short));
        assert!(bridge(&mut short, Some(10.0)).is_none() && lost(&short));
        assert!(bridge(&mut short, None).is_none());
        // Two markers do not hold a third.
        let (mut two, _) = pelvis(0.0);
        for row in two.points.chunks_exact_mut(4) {
            row[3] = [f64::NAN; 3];
        }
        assert!(bridge(&mut two, Some(100.0)).is_none() && lost(&two));
    }
}
