//! The page `src/serve/REAL-CLIPS.md`, and what its tables are made of.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use precedent::catalogue::{Catalogue, Finding};
use precedent::motion::{self, ReadOptions, Recording, View};
use precedent::serve::{EventKind, FindOptions, MEASURES, Serve, find};

use super::pictured::{NET_OF_MARKERS, pictured};
use super::*;

const PAGE_PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/src/serve/REAL-CLIPS.md");

/// Published values of the same definition (rows of the reference table), in words.
const PUBLISHED: [(&str, &str); 4] = [
    ("front_knee_flexion_trophy", "64.5 +- 9.7 (R025)"),
    ("front_knee_flexion_contact", "24 +- 14 (R022, recalled)"),
    ("elbow_flexion_contact", "30.1 +- 15.9 (R028), 20 +- 4 (R020)"),
    ("trunk_inclination_trophy", "25 +- 7.1 in any direction (R024)"),
];

const HEAD: &str = "# What real clips show

Written by the test `write_the_page` in `tests/real_clips/page.rs`; do not edit. The clips lie beside the
project (`recordings/one-camera`), made by others: two real serves as joints of a network, 95 as
joints marked by hand. Events by eye are good to 1 to 3 frames. The rules for one camera were fitted
to the seven serves below, so other serves will be somewhat further off.

## The moments

One definition each, whatever the source; how it is read depends on what the source shows.

| moment | definition | from joints in space | from one camera |
|---|---|---|---|
| start of the toss | the tossing hand begins the rise that ends in its top; bouncing the ball and getting ready come before | rises at 3 % of its fastest rise | at 25 %, for its joints tremble; if the hand is hidden until it is up, 0.47 s before the arm's top (0.40 to 0.50 s in six serves by eye), a guess |
| release | the ball leaves the tossing hand | the hand slows by more than gravity, or by a quarter | not seen without the ball: taken at 0.54 of the way from the start of the rise to the arm's top (0.46, 0.50 and 0.67 in three serves), very unsure, and no time from it is measured |
| trophy | deepest bend of the front knee before contact | read off the front knee | both knees while the tossing arm is up (four fifths of its height over the shoulders), and how long before contact it usually is (0.38 s, spread 0.2) |
| racket low point | racket head lowest behind the back; unseen, the hand | racket, or the forearm's line | hitting wrist lowest under the shoulders, and how long before contact it usually is (0.133 s, spread 0.05) |
| contact | racket meets ball | the racket's peak speed, or between the highest and the fastest hand | the middle of the time the hand is within 0.03 of stature of its top |
| finish | end of the follow-through | hand down and slow | the same |

";

/// The page as this program would write it.
fn page(folder: &Path) -> String {
    let mut page = HEAD.to_owned();
    page.push_str(
        "## How far the moments are off\n\nFrames at 30 Hz (33 ms), later is positive; - where the \
         eye could not tell.\n\n| clip | toss start | release | trophy | racket low | contact | \
         finish |\n|---|---|---|---|---|---|---|\n",
    );
    let mut sizes: Vec<Vec<f64>> = vec![Vec::new(); 6];
    for (name, recording, serve, by_eye) in seen_by_eye(folder) {
        let cells: Vec<String> = EventKind::ALL
            .iter()
            .map(|&kind| {
                let off = off(&recording, &serve, &by_eye, kind);
                if off.is_nan() {
                    return "-".to_owned();
                }
                sizes[kind as usize].push(off.abs());
                format!("{off:+.1}")
            })
            .collect();
        let _ = writeln!(page, "| `{name}` | {} |", cells.join(" | "));
    }
    let largest = |sizes: &[f64]| share(sizes, 1.0);
    for (title, of) in [("median size", &median as &dyn Fn(&[f64]) -> f64), ("largest", &largest)] {
        let cells: Vec<String> = sizes.iter().map(|sizes| format!("{:.1}", of(sizes))).collect();
        let _ = writeln!(page, "| *{title}* | {} |", cells.join(" | "));
    }
    let serves = flat_serves(folder);
    page.push_str(
        "\n## Measures by view\n\nOf the whole serves given as marked joints: median (a tenth lies \
         below, a tenth above) and in how many it was read. What a view is known to show wrongly is \
         not measured there.\n\n| measure | behind | side | front | published |\n|---|---|---|---|---|\n",
    );
    for def in MEASURES {
        let cells: Vec<String> = VIEWS
            .iter()
            .map(|&(view, _)| {
                let of_view = serves.iter().filter(|one| one.whole && one.view == view);
                let values: Vec<f64> =
                    of_view.filter_map(|one| value(one.serve.as_ref()?, def.id)).collect();
                if values.is_empty() {
                    return "not measured".to_owned();
                }
                let places = if def.unit == "deg" { 0 } else { 2 };
                format!(
                    "{:.places$} ({:.places$} to {:.places$}), {}",
                    median(&values),
                    share(&values, 0.1),
                    share(&values, 0.9),
                    values.len()
                )
            })
            .collect();
        if cells.iter().any(|cell| cell != "not measured") {
            let published = PUBLISHED.iter().find(|one| one.0 == def.id).map_or("-", |one| one.1);
            let _ = writeln!(
                page,
                "| {}, {} | {} | {published} |",
                def.name,
                def.unit,
                cells.join(" | ")
            );
        }
    }
    page.push_str(&around(folder));
    page.push_str(&by_rate(folder));
    page.push_str(
        "\n## What is suspected of strong players\n\nAll serves found, whole or not, each by itself: \
         suspected / to look at / judged. Faults that no view lets be judged are left out. A fault \
         suspected in more than a third of a view's serves has its measure or threshold at fault.\n\n\
         | fault | behind | side | front | rests on |\n|---|---|---|---|---|\n",
    );
    for (fault, tally) in tally(&serves) {
        let cells: Vec<String> = VIEWS
            .iter()
            .map(|&(view, _)| match tally.by_view.get(view) {
                Some([suspected, look, judged]) => format!("{suspected} / {look} / {judged}"),
                None => "not judged".to_owned(),
            })
            .collect();
        let name = Catalogue::builtin().fault_name(&fault);
        let rests: Vec<String> = tally
            .rests
            .iter()
            .map(|(measure, (starts, values))| {
                format!("{measure}: starts at {starts}, median {:.2}", median(values))
            })
            .collect();
        let _ = writeln!(page, "| {name} | {} | {} |", cells.join(" | "), rests.join("; "));
    }
    page.push_str(
        "\nIn the two serves a network read (`diagonal-30hz.json`, `side-slow-motion.json`):\n\n",
    );
    for (name, recording, serve, _) in seen_by_eye(folder).into_iter().take(2) {
        for one in suspicions(&recording, &serve) {
            let Finding::Scored { score, chance, evidence, .. } = &one.finding else { continue };
            let said = match (one.suspected(), one.to_look_at()) {
                (true, _) => "suspected",
                (_, true) => "to look at",
                _ => "no suspicion",
            };
            let rests: Vec<String> = evidence
                .iter()
                .map(|read| {
                    format!(
                        "{} {:.2}, give or take {:.2}, starts at {}",
                        read.measure, read.value, read.give_or_take, read.starts
                    )
                })
                .collect();
            let _ = writeln!(
                page,
                "- `{name}`, {}: {said} (strength {score:.2}, chance {chance:.2}); {}",
                Catalogue::builtin().fault_name(&one.fault),
                rests.join("; ")
            );
        }
    }
    page
}

/// What the flat serves show of one fault.
#[derive(Default)]
pub(super) struct Tally {
    /// Suspected, to look at, judged.
    pub(super) by_view: BTreeMap<&'static str, [usize; 3]>,
    /// Where each measure starts to count, and its values.
    rests: BTreeMap<String, (f64, Vec<f64>)>,
}

pub(super) fn tally(serves: &[FlatServe]) -> BTreeMap<String, Tally> {
    let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
    for one in serves {
        let Some(serve) = &one.serve else { continue };
        for suspicion in suspicions(&one.recording, serve) {
            let Finding::Scored { evidence, .. } = &suspicion.finding else { continue };
            let tally = tallies.entry(suspicion.fault.clone()).or_default();
            let counts = tally.by_view.entry(one.view).or_default();
            counts[0] += usize::from(suspicion.suspected());
            counts[1] += usize::from(suspicion.to_look_at());
            counts[2] += 1;
            for read in evidence {
                let rests = tally.rests.entry(read.measure.clone()).or_default();
                rests.0 = read.starts;
                rests.1.push(read.value);
            }
        }
    }
    tallies
}

/// Measures that some view shows in a picture.
const PICTURED: [&str; 5] = [
    "back_knee_flexion_trophy",
    "front_knee_flexion_contact",
    "trunk_backward_lean_trophy",
    "trunk_side_tilt_trophy",
    "trunk_side_tilt_contact",
];

/// Off the markers' own reading of the same serve, degrees, and how many serves were found.
fn off_markers(
    markers: &Recording,
    own: &[Serve],
    around_deg: f64,
) -> (usize, BTreeMap<&'static str, Vec<f64>>) {
    let seen = find(&pictured(markers, around_deg, NET_OF_MARKERS), &FindOptions::default()).serves;
    let mut off: BTreeMap<&'static str, Vec<f64>> = BTreeMap::new();
    for serve in &seen {
        let near = |own: &&Serve| (own.events[4].time_s - serve.events[4].time_s).abs() < 0.5;
        let Some(own) = own.iter().find(near) else { continue };
        for measure in PICTURED {
            if let (Some(seen), Some(true_in_space)) = (value(serve, measure), value(own, measure))
            {
                off.entry(measure).or_default().push(seen - true_in_space);
            }
        }
    }
    (seen.len(), off)
}

pub(super) fn markers(folder: &Path) -> Recording {
    let file = folder.join("../marker-serves-50hz.c3d");
    motion::read(&file, &ReadOptions::default()).expect("the marker serves")
}

/// The marker serves from all around, as rows of the page.
fn around(folder: &Path) -> String {
    let markers = markers(folder);
    let own = find(&markers, &FindOptions::default()).serves;
    let mut text = String::from(
        "\n## The marker serves as flat pictures\n\nFive serves without a ball, true in space, drawn \
         as points in the picture of a camera that goes round the player (0 from behind, 90 from the \
         player's right, 180 from in front): median of the picture's reading less the markers' own, \
         and the largest size, degrees. Two measures are read from no flat picture because of this \
         table as it stood before: from -30 to +30 deg the front knee at trophy read 5 to 57 deg too low, \
         the hitting elbow at contact 15 to 34 deg too high.\n\n| camera | found |",
    );
    for measure in PICTURED {
        let def = MEASURES.iter().find(|def| def.id == measure).expect("a measure");
        let _ = write!(text, " {} |", def.name);
    }
    let _ = writeln!(text, "\n|---|---|{}", "---|".repeat(PICTURED.len()));
    for step in -11..=12 {
        let around_deg = 15.0 * f64::from(step);
        let (found, off) = off_markers(&markers, &own, around_deg);
        let cells: Vec<String> = PICTURED
            .iter()
            .map(|measure| match off.get(measure) {
                Some(off) => {
                    let sizes: Vec<f64> = off.iter().map(|off| off.abs()).collect();
                    format!("{:+.0}, {:.0}", median(off), share(&sizes, 1.0))
                }
                None => "-".to_owned(),
            })
            .collect();
        let _ = writeln!(text, "| {around_deg:.0} | {found} | {} |", cells.join(" | "));
    }
    text
}

/// As a camera of this rate sees them, with the shutter open for half of each frame: each joint in the
/// middle of its way meanwhile.
fn blurred(markers: &Recording, rate_hz: f64) -> Recording {
    const FINE_HZ: f64 = 960.0;
    let fine = motion::resample(markers, FINE_HZ);
    let width = fine.joints.len();
    let each = FINE_HZ / rate_hz;
    let open = (each / 2.0) as usize;
    let count = ((fine.frames() - open) as f64 / each) as usize;
    let mut positions = Vec::with_capacity(count * width);
    let mut times_s = Vec::with_capacity(count);
    for frame in 0..count {
        let from = (frame as f64 * each).round() as usize;
        // The frame's time is the middle of what it saw.
        times_s.push(f64::midpoint(fine.times_s[from], fine.times_s[from + open - 1]));
        for joint in 0..width {
            let sum = (from..from + open).fold([0.0; 3], |sum, at| {
                let p = fine.positions[at * width + joint];
                [0, 1, 2].map(|axis| sum[axis] + p[axis])
            });
            positions.push(sum.map(|v| v / open as f64));
        }
    }
    Recording { times_s, positions, rate_hz, confidence: None, ..fine }
}

const RATES_HZ: [f64; 2] = [30.0, 240.0];
const SEEN: [EventKind; 4] =
    [EventKind::TossStart, EventKind::Trophy, EventKind::RacketLow, EventKind::Contact];

/// What one view shows of the marker serves at one rate: how many were found of how many, how far the
/// moments are off, s, and the measures, degrees.
#[derive(Default)]
struct AtRate {
    found: usize,
    of: usize,
    moments: [Vec<f64>; 4],
    measures: [Vec<f64>; PICTURED.len()],
}

fn at_rates(markers: &Recording, own: &[Serve]) -> BTreeMap<(&'static str, usize), AtRate> {
    use rayon::prelude::*;
    let blurred: Vec<Recording> = RATES_HZ.iter().map(|&hz| blurred(markers, hz)).collect();
    let all: Vec<(usize, i32)> =
        (0..RATES_HZ.len()).flat_map(|rate| (-5..=6).map(move |step| (rate, step))).collect();
    let seen: Vec<_> = all
        .par_iter()
        .map(|&(rate, step)| {
            let picture = pictured(&blurred[rate], 30.0 * f64::from(step), NET_OF_MARKERS);
            (rate, picture.view, find(&picture, &FindOptions::default()).serves)
        })
        .collect();
    let mut rows: BTreeMap<(&'static str, usize), AtRate> = BTreeMap::new();
    for (rate, view, serves) in seen {
        let view = match view {
            Some(View::Behind) => "behind",
            Some(View::Side) => "side",
            Some(View::Front) => "front",
            _ => "diagonal",
        };
        let row = rows.entry((view, rate)).or_default();
        row.of += own.len();
        for own in own {
            let contact = |serve: &Serve| serve.events[EventKind::Contact as usize].time_s;
            let near = |one: &&Serve| (contact(one) - contact(own)).abs() < 0.5;
            let Some(serve) = serves.iter().find(near) else { continue };
            row.found += 1;
            for (offs, kind) in row.moments.iter_mut().zip(SEEN) {
                offs.push(serve.events[kind as usize].time_s - own.events[kind as usize].time_s);
            }
            for (offs, measure) in row.measures.iter_mut().zip(PICTURED) {
                offs.extend(
                    Some(value(serve, measure))
                        .flatten()
                        .zip(value(own, measure))
                        .map(|(a, b)| a - b),
                );
            }
        }
    }
    rows
}

/// The marker serves at the rates of phones and with their blur, as rows of the page.
fn by_rate(folder: &Path) -> String {
    let markers = markers(folder);
    let own = find(&markers, &FindOptions::default()).serves;
    let mut text = String::from(
        "\n## The same with blur, by view and rate\n\nThe same five serves from every 30 deg (behind and in \
         front: up to 30 deg beside; side: 60 to 120), drawn as a camera of this rate sees them, its shutter \
         open for half of each frame. Against the markers' own reading: moments in ms, median and largest \
         size; measures in degrees, root mean square, - where that view does not measure them. Without a \
         ball there is no release, and the markers' trophy is the front knee's, their racket low point the \
         forearm's, and at no ball the hand goes on gaining speed after its top, where a camera puts contact. \
         Looked at once from every 15 deg at 60 and 120 Hz as well: the same to 1 ms and 1 deg.\n\n| view | Hz | found | toss start | trophy | racket low | contact |",
    );
    for measure in PICTURED {
        let def = MEASURES.iter().find(|def| def.id == measure).expect("a measure");
        let _ = write!(text, " {} |", def.name);
    }
    let _ = writeln!(text, "\n|---|---|---|---|---|---|---|{}", "---|".repeat(PICTURED.len()));
    for ((view, rate), row) in at_rates(&markers, &own) {
        let moments: Vec<String> = row
            .moments
            .iter()
            .map(|offs| {
                let sizes: Vec<f64> = offs.iter().map(|off| off.abs()).collect();
                format!("{:+.0}, {:.0}", 1000.0 * median(offs), 1000.0 * share(&sizes, 1.0))
            })
            .collect();
        let measures: Vec<String> = row
            .measures
            .iter()
            .map(|offs| {
                if offs.is_empty() {
                    return "-".to_owned();
                }
                let squares: f64 = offs.iter().map(|off| off * off).sum();
                format!("{:.0}", (squares / offs.len() as f64).sqrt())
            })
            .collect();
        let _ = writeln!(
            text,
            "| {view} | {:.0} | {} of {} | {} | {} |",
            RATES_HZ[rate],
            row.found,
            row.of,
            moments.join(" | "),
            measures.join(" | ")
        );
    }
    text
}

/// Writes `src/serve/REAL-CLIPS.md`.
#[test]
#[ignore = "writes src/serve/REAL-CLIPS.md"]
fn write_the_page() {
    let Some(folder) = folder() else { return };
    std::fs::write(PAGE_PATH, page(&folder)).expect("the page can be written");
}

#[test]
fn the_page_is_of_this_program() {
    let Some(folder) = folder() else { return };
    let (page, kept) = (page(&folder), std::fs::read_to_string(PAGE_PATH).expect("the page"));
    for (line, (now, kept)) in page.lines().zip(kept.lines()).enumerate() {
        assert_eq!(now, kept, "line {}: write it again with the test write_the_page", line + 1);
    }
    assert_eq!(page.lines().count(), kept.lines().count());
}
