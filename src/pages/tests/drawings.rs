//! Every drawing on its own.

use std::path::Path;

use jiff::civil::date;

use super::{SVG, check};
use crate::drawing::*;
use crate::motion::{ReadOptions, read};
use crate::pages::{review, sample};
use crate::serve::{BodyPart, CURVE_FRAMES, Figures, FindOptions, Serve, find};

/// Boxes of the words of a drawing, for overlaps: (left, right, baseline, size, words).
fn boxes(svg: &Svg) -> Vec<(f64, f64, f64, f64, String)> {
    let tree = roxmltree::Document::parse(svg.as_str()).unwrap();
    tree.descendants()
        .filter(|node| node.has_tag_name((SVG, "text")))
        .map(|node| {
            let number = |name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
            let words = node.text().unwrap_or_default().to_owned();
            let size = number("font-size");
            let length = text::width(&words, size, node.attribute("font-weight").is_some());
            let from = match node.attribute("text-anchor") {
                Some("middle") => number("x") - length / 2.0,
                Some("end") => number("x") - length,
                _ => number("x"),
            };
            (from, from + length, number("y"), size, words)
        })
        .collect()
}

fn devices(width: f64) -> Vec<Svg> {
    let this = sample::reviewed();
    let others = sample::others(14);
    let channels = sample::channels(&this, &others);
    let strip = |seen| EventStrip {
        this: &this.figures,
        this_label: "you",
        behind: Some((&others[3].figures, "the closest precedent")),
        events: &this.events,
        seen,
    };
    let rows = [
        sample::dots(
            "Serve from the service line",
            &[11.0, 14.0, 3.0, 9.0, 22.0, -2.0, 12.0],
            Some((10.0, 5.0, 15.0)),
        ),
        sample::dots("Jump-and-reach shadow swings", &[4.0, -8.0, 10.0], None),
    ];
    let range = rows
        .iter()
        .map(DotRow::range)
        .fold((0.0, 0.0), |a, b| (f64::min(a.0, b.0), f64::max(a.1, b.1)));
    let months = sample::months();
    let likeness = Likeness {
        parts: vec![
            (BodyPart::HittingArm, 0.21),
            (BodyPart::TossingArm, 0.17),
            (BodyPart::Trunk, 0.12),
            (BodyPart::FrontLeg, 0.31),
            (BodyPart::BackLeg, 0.19),
        ],
        phases: [
            ("toss", 0.1),
            ("loading", 0.46),
            ("racket drop", 0.22),
            ("swing up", 0.13),
            ("follow-through", 0.09),
        ]
        .map(|(name, share)| (name.to_owned(), share))
        .to_vec(),
    };
    let mut out = vec![
        event_strip(&strip(Viewpoint::FromBehind), width),
        event_strip(&strip(Viewpoint::FromHittingSide), width),
        likeness_figure(&likeness, "the closest precedent", 340.0),
    ];
    out.extend(channels.iter().map(|channel| ribbon(channel, "you", width)));
    out.extend(rows.iter().map(|row| dot_row(row, range, width)));
    out.extend(month_strip(&months, width));
    out.extend((1..=4).map(|rung| ladder_mark(rung, 4)));
    let line = Gauge {
        name: "front knee",
        unit: "deg",
        value: Some((38.0, 3.4)),
        reference: Some((54.8, 74.2)),
        precedents: Some((51.0, 66.0)),
    };
    out.push(gauge(&line, 240.0));
    out
}

#[test]
#[ignore = "writes files to look at"]
fn write_samples() {
    let folder = Path::new("target/review-sample");
    std::fs::create_dir_all(folder).unwrap();
    let write = |name: String, page: String| std::fs::write(folder.join(name), page).unwrap();
    let sheet = |drawings: &[Svg]| -> String {
        let body: String = drawings.iter().map(|svg| format!("<p>{svg}</p>")).collect();
        format!(
            "<!doctype html><meta charset=utf-8><style>body{{background:#fbfaf6;margin:16px}}p{{margin:0 0 28px}}</style>{body}"
        )
    };
    for (name, width) in [("wide", 720.0), ("narrow", 358.0)] {
        write(format!("devices-{name}.html"), sheet(&devices(width)));
    }
    for (name, data, audience) in super::reviews::all_reviews() {
        write(format!("{name}-{audience:?}.html").to_lowercase(), review(&data, audience));
    }
    let mut real = Vec::new();
    for serve in recorded_serves() {
        for seen in [Viewpoint::FromBehind, Viewpoint::FromHittingSide] {
            let strip = EventStrip {
                this: &serve.figures,
                this_label: "recorded",
                behind: None,
                events: &serve.events,
                seen,
            };
            real.push(event_strip(&strip, 720.0));
        }
    }
    write("recorded.html".to_owned(), sheet(&real));
}

/// Serves of real recordings beside the project, where they are.
fn recorded_serves() -> Vec<Serve> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings");
    let files = [
        "marker-serves-50hz.c3d",
        "depth-sensor/serve_p01_t01.txt",
        "depth-sensor/serve_p02_t02.txt",
    ];
    files
        .iter()
        .filter_map(|file| {
            let path = folder.join(file);
            if !path.exists() {
                crate::skip::skipped(format!("{} is not here", path.display()));
                return None;
            }
            let recording =
                read(&path, &ReadOptions::default()).unwrap_or_else(|e| panic!("{file}: {e}"));
            let found = find(&recording, &FindOptions::default());
            assert!(!found.serves.is_empty(), "{file}: {:?}", found.refused);
            found.serves.into_iter().next()
        })
        .collect()
}

#[test]
fn real_recordings_are_drawn_standing_on_the_ground() {
    for serve in recorded_serves() {
        let strip = EventStrip {
            this: &serve.figures,
            this_label: "recorded",
            behind: None,
            events: &serve.events,
            seen: Viewpoint::FromBehind,
        };
        for width in [358.0, 720.0] {
            let svg = event_strip(&strip, width);
            check(&svg);
            assert!(!svg.as_str().contains("not visible"));
        }
    }
}

#[test]
fn every_drawing_is_sound_at_every_width() {
    for width in [328.0, 358.0, 519.0, 520.0, 640.0, 720.0, 960.0] {
        for svg in devices(width) {
            check(&svg);
            let placed = boxes(&svg);
            let cut = placed.iter().find(|word| word.4.contains('…'));
            assert!(cut.is_none(), "{cut:?} is cut at {width} px");
            for (index, a) in placed.iter().enumerate() {
                for b in &placed[index + 1..] {
                    let apart = a.1 <= b.0 + 1.0
                        || b.1 <= a.0 + 1.0
                        || (a.2 - b.2).abs() >= 0.72 * a.3.min(b.3);
                    assert!(apart, "'{}' and '{}' overlap at {width} px", a.4, b.4);
                }
            }
        }
    }
}

#[test]
fn every_event_is_drawn_once_with_its_time() {
    let this = sample::figures();
    let events = sample::events();
    for width in [358.0, 720.0] {
        let strip = EventStrip {
            this: &this,
            this_label: "you",
            behind: None,
            events: &events,
            seen: Viewpoint::FromBehind,
        };
        let svg = event_strip(&strip, width);
        let tree = roxmltree::Document::parse(svg.as_str()).unwrap();
        for event in &events {
            let drawn: Vec<_> = tree
                .descendants()
                .filter(|node| {
                    node.has_tag_name((SVG, "g"))
                        && node.attribute("class") == Some(event.kind.name())
                })
                .collect();
            assert_eq!(drawn.len(), 1, "{:?}", event.kind);
            assert!(drawn[0].children().filter(|n| n.has_tag_name((SVG, "path"))).count() > 12);
        }
        let words: Vec<String> = boxes(&svg).into_iter().map(|b| b.4).collect();
        let words = words.join(" ");
        // Contact at 1.50 s: trophy at 1.08 s is 0.42 s before, the finish at 1.98 s 0.48 s after.
        for (said, times) in
            [("0.42 s before", 1), ("0.48 s after", 1), ("ball on strings", 1), ("s before", 4)]
        {
            assert_eq!(words.matches(said).count(), times, "{said} in {words:?}");
        }
    }
}

/// The same body with everything between its first and last sample a little later in time.
fn later(figures: &Figures) -> Figures {
    let late = |at: f32| at + 6.0 * (at / 100.0 * std::f32::consts::PI).sin();
    let count = figures.joints.len();
    let mut out = figures.clone();
    for sample in 0..CURVE_FRAMES {
        // Invert by bisection: which sample of the original shows now?
        let (mut low, mut high) = (0.0_f32, 100.0_f32);
        for _ in 0..40 {
            let middle = f32::midpoint(low, high);
            if late(middle) < sample as f32 { low = middle } else { high = middle }
        }
        let (at, part) = (low.floor() as usize, low.fract());
        let next = (at + 1).min(CURVE_FRAMES - 1);
        for joint in 0..count {
            let (a, b) =
                (figures.positions[at * count + joint], figures.positions[next * count + joint]);
            out.positions[sample * count + joint] =
                [0, 1, 2].map(|axis| a[axis] + part * (b[axis] - a[axis]));
        }
    }
    out.event_samples = figures.event_samples.map(late);
    out
}

#[test]
fn the_same_event_of_both_bodies_is_laid_over_each_other() {
    // The same body a little later in time: its outline must coincide, because each is taken at its event.
    let this = sample::figures();
    let later = later(&this);
    let events = sample::events();
    let both = EventStrip {
        this: &this,
        this_label: "you",
        behind: Some((&later, "you")),
        events: &events,
        seen: Viewpoint::FromBehind,
    };
    let paths = |svg: &Svg, tone: &str| -> Vec<Vec<f64>> {
        let tree = roxmltree::Document::parse(svg.as_str()).unwrap();
        tree.descendants()
            .filter(|n| {
                n.has_tag_name((SVG, "path"))
                    && n.attribute("class").is_some_and(|c| c.contains(tone))
            })
            .map(|n| {
                n.attribute("d")
                    .unwrap()
                    .split(['M', 'L', 'Z', ' '])
                    .filter_map(|part| part.parse().ok())
                    .collect()
            })
            .collect()
    };
    let near = |a: &[f64], b: &[f64]| {
        a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1.5)
    };
    let drawn = event_strip(&both, 720.0);
    let (outlined, solid) = (paths(&drawn, "s-precedent"), paths(&drawn, "f-this"));
    assert!(outlined.len() > 60);
    let matching = outlined.iter().filter(|d| solid.iter().any(|s| near(d, s))).count();
    // A hull whose corner count changes with a hair's difference cannot be compared corner by corner.
    assert!(
        matching * 10 >= outlined.len() * 8,
        "{matching} of {} outlines coincide",
        outlined.len()
    );
    // Taken at the same samples instead, the bodies would stand apart.
    let mut untimed = later.clone();
    untimed.event_samples = this.event_samples;
    let apart = EventStrip { behind: Some((&untimed, "you")), ..both };
    let drawn = event_strip(&apart, 720.0);
    let (outlined, solid) = (paths(&drawn, "s-precedent"), paths(&drawn, "f-this"));
    let matching = outlined.iter().filter(|d| solid.iter().any(|s| near(d, s))).count();
    assert!(
        matching * 10 < outlined.len() * 8,
        "{matching} of {} coincide by chance",
        outlined.len()
    );
}

#[test]
fn a_body_without_joints_says_so() {
    let mut this = sample::figures();
    for position in &mut this.positions {
        *position = [f32::NAN; 3];
    }
    let events = sample::events();
    let strip = EventStrip {
        this: &this,
        this_label: "you",
        behind: None,
        events: &events[..3],
        seen: Viewpoint::FromHittingSide,
    };
    let svg = event_strip(&strip, 720.0);
    check(&svg);
    assert_eq!(svg.as_str().matches("not visible").count(), 6);
    assert!(svg.as_str().contains("time not known"));
}

#[test]
fn a_parting_is_found_measured_and_named() {
    let flat = |value: f64| vec![value; 101];
    let mut values = flat(20.0);
    for (offset, value) in values[40..=50].iter_mut().enumerate() {
        *value = 2.0 + (offset as f64 - 5.0).abs();
    }
    let mut channel = Channel {
        name: "front_knee_flexion".to_owned(),
        label: "front knee".to_owned(),
        unit: "deg".to_owned(),
        larger: "more bent".to_owned(),
        smaller: "straighter".to_owned(),
        notable: 6.0,
        values,
        event_samples: [4.0, 30.0, 55.0, 70.0, 79.0, 99.0],
        band: Some(Band {
            low: flat(15.0),
            middle: flat(20.0),
            high: flat(25.0),
            of: 12,
            whose: "precedent",
        }),
    };
    let found = channel.deviations();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].samples, found[0].peak, found[0].by), ((40, 50), 45, -13.0));
    assert_eq!(found[0].words, "front knee, loading: 13 deg straighter than 9 of 10");
    assert!(ribbon(&channel, "you", 720.0).as_str().contains("13 deg straighter than 9 of 10"));
    if let Some(band) = &mut channel.band {
        band.of = 4;
    }
    assert!(channel.deviations()[0].words.ends_with("than most of the 4"));
    channel.notable = 14.0;
    assert!(channel.deviations().is_empty());
    channel.values = flat(f64::NAN);
    let svg = ribbon(&channel, "you", 720.0);
    check(&svg);
    assert!(svg.as_str().contains("not measurable from this recording"));
}

#[test]
fn a_band_is_the_percentiles_of_its_curves() {
    // Eleven constant curves 0..=10: type-7 percentiles (as NumPy's default) are 1, 5 and 9.
    let curves: Vec<Vec<f64>> = (0..11).map(|value| vec![f64::from(value); 101]).collect();
    let band = Band::of(&curves).unwrap();
    assert_eq!((band.low[7], band.middle[7], band.high[7], band.of), (1.0, 5.0, 9.0, 11));
    assert_eq!(Band::of(&curves[..2]), None);
}

#[test]
fn warping_moves_events_onto_events() {
    let from = [5.0, 25.0, 50.0, 70.0, 80.0, 98.0];
    let to = [3.0, 35.0, 58.0, 66.0, 79.0, 99.0];
    // A curve that holds its own time: after warping it must read `from` at `to`.
    let clock: Vec<f64> = (0..101).map(f64::from).collect();
    let warped = warp_to_events(&clock, &from, &to);
    for (a, b) in from.iter().zip(to) {
        assert!((warped[b as usize] - f64::from(*a)).abs() < 1e-9, "{a} {b}");
    }
    assert_eq!(warp_to_events(&clock, &from, &from), clock);
}

#[test]
fn dots_are_counted_and_filled_by_the_detectable_change() {
    let row = DotRow {
        label: "Serve from the service line".to_owned(),
        measure: "front knee".to_owned(),
        unit: "deg".to_owned(),
        changes: vec![6.0, 5.9, -7.0, 12.0, 12.1],
        // A player filmed more often has a smaller detectable change than the mean of all.
        better: vec![None, Some(true), Some(false), Some(true), Some(true)],
        detectable: 6.0,
        estimate: None,
        by_itself: None,
        interval_pct: 90,
    };
    assert_eq!(row.counted(), "3 of 5 better by more than chance (about 6 deg)");
    let svg = dot_row(&row, row.range(), 720.0);
    let tree = roxmltree::Document::parse(svg.as_str()).unwrap();
    let filled = |tone: &str| {
        tree.descendants()
            .filter(|n| {
                n.has_tag_name((SVG, "circle"))
                    && n.attribute("class").is_some_and(|c| c.starts_with(tone))
            })
            .count()
    };
    assert_eq!((filled("f-precedent"), filled("f-attention"), filled("f-paper")), (3, 1, 1));
    let none = DotRow { changes: Vec::new(), better: Vec::new(), ..row };
    let svg = dot_row(&none, none.range(), 358.0);
    check(&svg);
    assert!(svg.as_str().contains("nobody followed up yet"));
}

#[test]
fn a_month_strip_needs_a_review_and_says_what_chance_allows() {
    let mut strip = MonthStrip {
        measure: "front knee bend".to_owned(),
        unit: "deg".to_owned(),
        reviews: Vec::new(),
        detectable: 6.0,
        reference: None,
        plans: Vec::new(),
    };
    assert!(month_strip(&strip, 720.0).is_none());
    strip.reviews.push(ReviewPoint {
        date: date(2026, 1, 31),
        value: 40.0,
        give_or_take: 2.0,
        beyond: false,
    });
    check(&month_strip(&strip, 358.0).unwrap());
    strip.reviews.push(ReviewPoint {
        date: date(2026, 2, 1),
        value: 47.0,
        give_or_take: f64::NAN,
        beyond: true,
    });
    let svg = month_strip(&strip, 358.0).unwrap();
    check(&svg);
    assert!(svg.as_str().contains("Change 7 deg, beyond the 6 deg"));
}
