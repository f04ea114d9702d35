//! The two frames in which program and reference disagree most, as pictures with both drawn.

use std::fmt::Write as _;
use std::process::Command;

use super::super::stills::base64;
use super::agreement::golden;
use super::*;

/// Pixels down of a picture.
const HEIGHT: f64 = 420.0;

/// Lines of a drawn body, by landmark.
const LINES: [[usize; 2]; 16] = [
    [11, 12],
    [23, 24],
    [11, 23],
    [12, 24],
    [11, 13],
    [13, 15],
    [15, 19],
    [12, 14],
    [14, 16],
    [16, 20],
    [23, 25],
    [25, 27],
    [27, 31],
    [24, 26],
    [26, 28],
    [28, 32],
];

/// Writes `tests/fixtures/video/<clip>-<frame>-both.svg`; by hand:
/// `cargo nextest run -p precedent draw_where --run-ignored only`.
#[test]
#[ignore = "draws pictures, checks nothing"]
fn draw_where_program_and_reference_disagree_most() {
    for (name, frame, person) in [("cam02", 72, Person::FromLeft(1)), ("cam03", 84, Person::Only)] {
        let path = clip(&format!("{name}.mp4")).expect("the clips are needed");
        let installed = networks(ModelChoice::Full).expect("the networks are needed");
        let golden = golden(&format!("{name}-full-mediapipe-0.10.21.csv"));
        let info = probe(&path, &Watch::default()).unwrap();
        let poses = follow(&path, &installed, person, &info.times_s);
        let ours: Vec<[f64; 2]> = poses[frame].as_ref().unwrap().picture_px.to_vec();
        let theirs: Vec<[f64; 2]> = golden[&frame].iter().map(|(place, _)| *place).collect();
        let svg = both(&path, frame, &ours, &theirs);
        assert!(svg.len() < 100_000, "{name}: {} bytes", svg.len());
        let place = home().join(format!("tests/fixtures/video/{name}-{frame}-both.svg"));
        std::fs::write(place, svg).unwrap();
    }
}

fn both(path: &Path, frame: usize, ours: &[[f64; 2]], theirs: &[[f64; 2]]) -> String {
    let all = || ours.iter().chain(theirs);
    let bound = |k: usize, pick: fn(f64, f64) -> f64| all().map(|p| p[k]).reduce(pick).unwrap();
    // Little room on the right: in cam02 somebody stands there.
    let (left, right) = (bound(0, f64::min) - 60.0, bound(0, f64::max) + 12.0);
    let (top, bottom) = (bound(1, f64::min) - 110.0, bound(1, f64::max) + 40.0);
    let (left, top) = (left.max(0.0).floor(), top.max(0.0).floor());
    let (across, down) = ((right - left).floor(), (bottom - top).floor());
    let scale = HEIGHT / down;
    let width = (across * scale / 2.0).round() * 2.0;
    let at = |p: [f64; 2]| [(p[0] - left) * scale, (p[1] - top) * scale];

    // The man in the clip did not ask to be shown here: a patch over the face in the picture itself.
    let head: Vec<[f64; 2]> = ours[..11].iter().map(|p| at(*p)).collect();
    let mean = |k: usize| head.iter().map(|p| p[k]).sum::<f64>() / head.len() as f64;
    let box_px = 46.0;
    let filter = format!(
        "select=eq(n\\,{frame}),crop={across}:{down}:{left}:{top},scale={width}:{HEIGHT},\
         drawbox={:.0}:{:.0}:{box_px}:{box_px}:gray:fill",
        (mean(0) - box_px / 2.0).max(0.0),
        (mean(1) - box_px * 0.6).max(0.0),
    );
    let jpeg = tempfile::Builder::new().suffix(".jpg").tempfile().unwrap();
    let cut = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-i"])
        .arg(path)
        .args(["-vf", &filter, "-frames:v", "1", "-q:v", "5"])
        .arg(jpeg.path())
        .status()
        .unwrap();
    assert!(cut.success());

    let lines = |points: &[[f64; 2]]| {
        LINES.iter().fold(String::new(), |mut d, [a, b]| {
            let ([x1, y1], [x2, y2]) = (at(points[*a]), at(points[*b]));
            write!(d, "M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}").unwrap();
            d
        })
    };
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {}\" font-family=\"sans-serif\" font-size=\"13\"><title>Frame {frame}: the program's joints (solid) and the reference's (dashed)</title><rect width=\"100%\" height=\"100%\" fill=\"#fbfaf6\"/><image href=\"data:image/jpeg;base64,{}\" width=\"{width}\" height=\"{HEIGHT}\"/>",
        HEIGHT + 44.0,
        base64(&std::fs::read(jpeg.path()).unwrap())
    );
    for (k, (points, colour, dash, who)) in [
        (ours, "#00c2e0", "", "solid: this program"),
        (theirs, "#ffb000", " stroke-dasharray=\"7 5\"", "dashed: mediapipe 0.10.21"),
    ]
    .into_iter()
    .enumerate()
    {
        let d = lines(points);
        for (stroke, wide) in [("#111", 5.0), (colour, 2.6)] {
            write!(
                svg,
                "<path d=\"{d}\" fill=\"none\" stroke=\"{stroke}\" stroke-width=\"{wide}\"{dash}/>"
            )
            .unwrap();
        }
        let y = HEIGHT + 16.0 + 18.0 * k as f64;
        write!(
            svg,
            "<path d=\"M6 {0}h30\" stroke=\"#111\" stroke-width=\"5\"/><path d=\"M6 {0}h30\" stroke=\"{colour}\" stroke-width=\"2.6\"{dash}/><text x=\"42\" y=\"{y}\" fill=\"#1d2126\">{who}</text>",
            y - 4.0
        )
        .unwrap();
    }
    svg.push_str("</svg>\n");
    svg
}
