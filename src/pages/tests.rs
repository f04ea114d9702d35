use std::path::Path;

use jiff::civil::date;

use super::sample;
use super::*;
use crate::catalogue::Catalogue;
use crate::coaching::{Age, Cautions, ShownDrill, ShownTogether};
use crate::drawing::*;
use crate::motion::{ReadOptions, read};
use crate::serve::{BodyPart, CURVE_FRAMES, Figures, FindOptions, Reading, Serve, find};

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
        event_strip(&strip(Seen::FromBehind), width),
        event_strip(&strip(Seen::FromHittingSide), width),
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
    for (name, data, audience) in all_reviews() {
        write(format!("{name}-{audience:?}.html").to_lowercase(), review(&data, audience));
    }
    let mut real = Vec::new();
    for serve in recorded_serves() {
        for seen in [Seen::FromBehind, Seen::FromHittingSide] {
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
            seen: Seen::FromBehind,
        };
        for width in [358.0, 720.0] {
            let svg = event_strip(&strip, width);
            check(&svg);
            assert!(!svg.as_str().contains("not visible"));
        }
    }
}

const SVG: &str = "http://www.w3.org/2000/svg";

/// Every drawing must parse, name itself to a screen reader, hold no NaN and keep its words inside.
fn check(svg: &Svg) {
    let text = svg.as_str();
    let tree = roxmltree::Document::parse(text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let root = tree.root_element();
    assert_eq!(root.attribute("role"), Some("img"));
    for name in ["title", "desc"] {
        let node = root.children().find(|node| node.has_tag_name((SVG, name)));
        let said = node.and_then(|node| node.text()).unwrap_or_default();
        assert!(!said.trim().is_empty(), "no {name}: {text}");
    }
    for wrong in ["NaN", "inf", "href", "<script"] {
        assert!(!text.contains(wrong), "{wrong} in {text}");
    }
    let room: f64 = root.attribute("width").unwrap().parse().unwrap();
    let tall: f64 = root.attribute("height").unwrap().parse().unwrap();
    for node in tree.descendants().filter(|node| node.has_tag_name((SVG, "text"))) {
        let number = |name: &str| node.attribute(name).unwrap().parse::<f64>().unwrap();
        let words = node.text().unwrap_or_default();
        let length =
            text::width(words, number("font-size"), node.attribute("font-weight").is_some());
        let from = match node.attribute("text-anchor") {
            Some("middle") => number("x") - length / 2.0,
            Some("end") => number("x") - length,
            _ => number("x"),
        };
        assert!(
            from >= -0.5 && from + length <= room + 0.5,
            "'{words}' leaves the drawing: {text}"
        );
        assert!(number("y") <= tall && number("y") >= 8.0, "'{words}' is cut: {text}");
    }
}

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
            seen: Seen::FromBehind,
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
        for (said, times) in [
            ("0.42 s before contact", 1),
            ("0.48 s after contact", 1),
            ("0.00 s ball on strings", 1),
            ("before contact", 4),
        ] {
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
        seen: Seen::FromBehind,
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
        seen: Seen::FromHittingSide,
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
    let found = channel.partings();
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].samples, found[0].peak, found[0].by), ((40, 50), 45, -13.0));
    assert_eq!(found[0].words, "front knee, loading: 13 deg straighter than 9 of 10");
    assert!(ribbon(&channel, "you", 720.0).as_str().contains("13 deg straighter than 9 of 10"));
    if let Some(band) = &mut channel.band {
        band.of = 4;
    }
    assert!(channel.partings()[0].words.ends_with("than most of only 4"));
    channel.notable = 14.0;
    assert!(channel.partings().is_empty());
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
    assert_eq!(row.counted(), "3 of 5 players better, beyond chance (about 6 deg)");
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

/// Inline drawings of a page, each a document of its own.
fn drawings(page: &str) -> Vec<Svg> {
    page.split("<svg")
        .skip(1)
        .map(|rest| Svg::for_test(format!("<svg{}</svg>", rest.split("</svg>").next().unwrap())))
        .collect()
}

/// Words a reader sees: tags and style removed, spaces joined.
fn words_of(page: &str) -> String {
    let body = page.split("</style>").nth(1).unwrap();
    let text = body.split('<').filter_map(|piece| piece.split_once('>')).map(|(_, text)| text);
    let text: Vec<&str> = text.flat_map(str::split_whitespace).collect();
    text.join(" ")
}

fn all_reviews() -> Vec<(&'static str, ReviewData, Audience)> {
    let mut out = Vec::new();
    for audience in [Audience::Player, Audience::Coach] {
        out.push(("full", sample::review_data(), audience));
        out.push(("bare", sample::bare_review(), audience));
    }
    out
}

#[test]
fn a_review_stands_alone_and_its_drawings_are_sound() {
    for (name, data, audience) in all_reviews() {
        let page = review(&data, audience);
        for outside in
            ["http://", "https://", "<script", "<link", "<img", "@import", "url(", "NaN", "inf "]
        {
            let found = page.replace("http://www.w3.org/2000/svg", "");
            assert!(!found.contains(outside), "{outside} in the {name} review for {audience:?}");
        }
        for svg in drawings(&page) {
            check(&svg);
        }
        for (open, close) in [
            ("<section", "</section>"),
            ("<div", "</div>"),
            ("<table", "</table>"),
            ("<ul", "</ul>"),
            ("<ol", "</ol>"),
            ("<figure", "</figure>"),
        ] {
            assert_eq!(page.matches(open).count(), page.matches(close).count(), "{open} in {name}");
        }
        assert!(page.contains(r#"lang="en""#) && page.contains("viewport"));
    }
}

#[test]
fn a_players_copy_names_nobody_else() {
    let mut data = sample::review_data();
    data.limiting.as_mut().unwrap().why =
        "As with HOLM-1 in s301 (c41), the arm makes the speed.".to_owned();
    let page = words_of(&review(&data, Audience::Player));
    for one in &data.precedents.found {
        for secret in
            [&one.player, &one.serve, &one.case, &one.context, &crate::words::day(one.date)]
        {
            assert!(!page.contains(secret.as_str()), "{secret} in the player's copy");
        }
        assert!(!page.contains(&format!("{:.2}", one.distance)));
    }
    assert!(page.contains("As with another player in another player (another player)"));
    assert!(page.contains("BIRK-3"), "the player's own code stays");

    let coach = words_of(&review(&data, Audience::Coach));
    for one in &data.precedents.found {
        for known in
            [&one.player, &one.serve, &one.case, &one.context, &crate::words::day(one.date)]
        {
            assert!(coach.contains(known.as_str()), "{known} not in the coach's copy");
        }
    }
}

#[test]
fn an_own_earlier_serve_keeps_its_date() {
    let mut data = sample::review_data();
    data.precedents.found[0].own = true;
    data.precedents.found[0].player = data.player.code.clone();
    let page = words_of(&review(&data, Audience::Player));
    assert!(page.contains("You, 8 Mar 2025"));
    assert!(page.contains("BIRK-3"));
}

#[test]
fn the_review_says_the_numbers_with_their_doubt() {
    let data = sample::review_data();
    let trophy = format!("{:.2} s before contact", data.events[4].time_s - data.events[2].time_s);
    let page = words_of(&review(&data, Audience::Player));
    for said in [
        "about 38 deg, give or take 3",
        "Reference 55 to 74 deg",
        &trophy,
        "5 of 7 players better, beyond chance (about 6 deg)",
        "10 deg better on average, 90 % interval 5 to 15 deg",
        "Too few to estimate an average",
        "within chance (0.04 could be)",
        "worse, by 0.08 s",
        "better by 11 deg, more than chance allows",
        "which chance alone can do",
        "Not measurable from this recording (no hand joints): palm rotation after contact",
        "2 (as told, not measured)",
        "drawn mirrored",
        "Associated with the drill",
        "not a diagnosis",
        "licensed clinician",
        "rules of federation and club come first",
        "Stop",
    ] {
        assert!(page.contains(said), "'{said}' is missing in: {page}");
    }
    assert!(!page.contains("caused by the drill"));
    let coach = words_of(&review(&sample::review_data(), Audience::Coach));
    assert!(coach.contains("trust 0.82") && coach.contains("Counts like 4.6 players"));
    assert_eq!(coach.matches("Read at").count(), 6, "every measure with its definition");
}

#[test]
fn what_is_absent_is_said_with_what_to_do() {
    for audience in [Audience::Player, Audience::Coach] {
        let page = words_of(&review(&sample::bare_review(), audience));
        for said in [
            "No drawing.",
            "No curve.",
            "No plan yet.",
            "No precedent.",
            "Too little to say.",
            "No earlier review.",
            "not a diagnosis",
        ] {
            assert!(page.contains(said), "'{said}' is missing for {audience:?}");
        }
    }
}

#[test]
fn the_set_up_of_each_precedent_is_said_where_it_matters() {
    let mut data = sample::review_data();
    let own = &mut data.precedents.found[0];
    (own.own, own.same_set_up) = (true, true);
    data.precedents.found[1].own = true;
    data.precedents.found[2].poor_because = Some("seen diagonally, not from the side".to_owned());
    data.precedents.searched_first = Some("filmed by one camera from the side".to_owned());
    data.precedents.comparable = 12;
    for (audience, who) in [(Audience::Player, "You"), (Audience::Coach, "Same player")] {
        let page = words_of(&review(&data, audience));
        for said in [
            "Those filmed by one camera from the side come first: 12 of them.",
            &format!("{who}, same set-up: the strongest comparison."),
            &format!("{who}, not known to be the same set-up."),
            "Compares poorly: seen diagonally, not from the side.",
        ] {
            assert!(page.contains(said), "'{said}' is missing for {audience:?}");
        }
    }
}

#[test]
fn a_player_reads_why_most_is_unmeasured_and_the_coach_all_of_it() {
    let mut data = sample::review_data();
    let one = data.measures.swap_remove(0);
    let row = |name: &str, why: &str| MeasureRow {
        name: name.to_owned(),
        reading: Reading::NotMeasurable { why: why.to_owned() },
        ..one.clone()
    };
    let said = |data: &ReviewData, audience| {
        let page = words_of(&review(data, audience));
        let (_, rest) = page.split_once("What this recording cannot show").unwrap();
        rest.split_once("rip: bevel").unwrap().0.to_owned()
    };
    data.measures = vec![row("a", "no racket"), row("b", "dark"), row("c", "dark")];
    data.measures.extend(["d", "e", "f"].map(|name| row(name, "one camera")));
    data.measures.extend([row("g", "no hands"), row("h", "no feet")]);
    let player = said(&data, Audience::Player);
    for line in [
        "(one camera): d and 2 others. Not",
        "(dark): b and c. Not",
        "(no racket): a. For other reasons not measurable: 2 more; your coach has the list.",
    ] {
        assert!(player.contains(line), "'{line}' is missing: {player}");
    }
    let coach = said(&data, Audience::Coach);
    for line in ["(no racket): a.", "(one camera): d, e and f.", "(no hands): g.", "(no feet): h."]
    {
        assert!(coach.contains(line), "'{line}' is missing: {coach}");
    }
}

#[test]
fn no_band_is_claimed_where_there_is_none() {
    let mut data = sample::review_data();
    assert!(words_of(&review(&data, Audience::Player)).contains("8 of 10 of them"));
    data.channels[0].band = None;
    let page = words_of(&review(&data, Audience::Player));
    assert!(!page.contains("8 of 10 of them") && page.contains("Your line alone"));
}

/// Own cautions as the catalogue has them, with the page's escapes.
fn own_cautions(id: &str) -> Vec<String> {
    let drill = Catalogue::builtin().drill(id).unwrap();
    drill.cautions.iter().map(|caution| caution.replace('\'', "&#39;")).collect()
}

#[test]
fn cautions_stand_by_every_drill_shown() {
    let mut data = sample::review_data();
    // Drills of the plan, of precedents, of the evidence and to choose from: no two the same.
    let shown = |id: &str| ShownDrill::of(Catalogue::builtin(), id, "lumbar_arch");
    data.precedents.found[0].drills = vec![shown("kneeling_serve"), shown("small_football")];
    data.evidence[0].done = ShownTogether::of(vec![shown("bevel_check")]);
    data.limiting.as_mut().unwrap().offers = vec![shown("elbow_over_rail")];
    let everywhere = ["kneeling_serve", "small_football", "bevel_check"];
    for audience in [Audience::Player, Audience::Coach] {
        let page = words_of(&review(&data, audience));
        let planned = data.plan.as_ref().unwrap().drills.iter().map(ShownDrill::id);
        let offered = (audience == Audience::Coach).then_some("elbow_over_rail");
        let drills: Vec<&str> = planned.chain(everywhere).chain(offered).collect();
        assert_eq!(drills.len(), if audience == Audience::Coach { 7 } else { 6 });
        for id in drills {
            let name = Catalogue::builtin().drill(id).unwrap().name.replace('\'', "&#39;");
            assert!(page.contains(&name), "{name} is missing for {audience:?}");
            for caution in own_cautions(id) {
                assert!(page.contains(&caution), "{id}: '{caution}' is missing for {audience:?}");
            }
        }
        let note = Catalogue::builtin().fault("lumbar_arch").unwrap().health_note.as_ref();
        assert!(page.contains(note.unwrap().as_str()), "{audience:?}");
    }
}

/// What a library adds to the general cautions reaches every page, and so does an unknown age.
#[test]
fn a_librarys_own_general_cautions_reach_every_page() {
    let added = "Not on a wet court.";
    let text = format!("[cautions]\nalways = [\"{added}\"]\n");
    let catalogue = Catalogue::builtin().with_extra("own.toml", &text).unwrap();
    let cautions = Cautions::of(&catalogue, Age::Unknown);
    let mut data = sample::review_data();
    data.cautions = cautions.clone();
    let mut bare = sample::bare_review();
    bare.cautions = cautions.clone();
    let course = Course {
        player: "p01".to_owned(),
        reviews: 1,
        steps: Vec::new(),
        months: Vec::new(),
        cautions,
    };
    let pages = [
        review(&data, Audience::Player),
        review(&data, Audience::Coach),
        review(&bare, Audience::Player),
        progress_page(&course),
    ];
    for (at, page) in pages.iter().enumerate() {
        let page = words_of(page);
        assert!(page.contains(added), "page {at}");
        assert!(page.contains("No birth date is recorded"), "page {at}");
        for caution in Catalogue::builtin().general_cautions() {
            assert!(page.contains(caution), "page {at}: {caution}");
        }
    }
}

#[test]
fn hostile_texts_stay_texts() {
    let mut data = sample::review_data();
    let hostile = "</style></svg><script>alert('x')</script>&\"";
    data.player.code = hostile.to_owned();
    data.limiting.as_mut().unwrap().to_player = hostile.to_owned();
    data.channels[0].label = hostile.to_owned();
    let foreign = ShownDrill::of(Catalogue::builtin(), hostile, "shallow_leg_drive");
    data.evidence[0].done = ShownTogether::of(vec![foreign]);
    data.precedents.found[0].player = hostile.to_owned();
    data.progress.as_mut().unwrap().months.as_mut().unwrap().plans[0].label = hostile.to_owned();
    for audience in [Audience::Player, Audience::Coach] {
        let page = review(&data, audience);
        assert!(!page.contains("<script"), "{audience:?}");
        assert_eq!(page.matches("</style>").count(), 1);
        for svg in drawings(&page) {
            roxmltree::Document::parse(svg.as_str()).unwrap();
        }
    }
}
