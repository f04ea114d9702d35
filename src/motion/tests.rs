//! Filter, spline and gaps: against SciPy (tests/fixtures/motion/make_scipy_golden.py) and
//! against planted truth.

use serde::Deserialize;

use super::spline::Spline;
use super::*;

#[derive(Deserialize)]
struct Golden {
    filters: Vec<Filter>,
    splines: Vec<SplineCase>,
}

#[derive(Deserialize)]
struct Filter {
    rate_hz: f64,
    cutoff_hz: f64,
    input: Vec<f64>,
    output: Vec<f64>,
}

#[derive(Deserialize)]
struct SplineCase {
    x: Vec<f64>,
    y: Vec<f64>,
    at: Vec<f64>,
    values: Vec<f64>,
}

fn golden() -> Golden {
    let text = include_str!("../../tests/fixtures/motion/scipy-1.17.1.json");
    serde_json::from_str(text).expect("the golden file")
}

#[track_caller]
fn assert_close(got: &[f64], want: &[f64], tolerance: f64, what: &str) {
    assert_eq!(got.len(), want.len(), "{what}");
    for (i, (got, want)) in got.iter().zip(want).enumerate() {
        assert!((got - want).abs() <= tolerance, "{what}, sample {i}: got {got}, want {want}");
    }
}

#[test]
fn the_filter_is_scipys() {
    let cases = golden().filters;
    assert_eq!(cases.len(), 5);
    for case in cases {
        let mut values = case.input;
        butterworth(&mut values, case.cutoff_hz, case.rate_hz).expect("a fair cutoff");
        let what = format!("{} Hz at {} Hz", case.cutoff_hz, case.rate_hz);
        assert_close(&values, &case.output, 1e-11, &what);
    }
}

#[test]
fn the_spline_is_scipys() {
    let cases = golden().splines;
    assert_eq!(cases.len(), 5);
    for case in cases {
        let spline = Spline::new(&case.x, &case.y).expect("two points or more");
        let got: Vec<f64> = case.at.iter().map(|&at| spline.at(at)).collect();
        assert_close(&got, &case.values, 1e-10, &format!("{} points", case.x.len()));
    }
}

/// Two joints on known curves, `frames` at `rate_hz`.
fn planted(frames: usize, rate_hz: f64) -> Recording {
    let times_s: Vec<f64> = (0..frames).map(|i| i as f64 / rate_hz).collect();
    let positions = times_s
        .iter()
        .flat_map(|t| [[t.sin(), t.cos(), t * t], [1.0 + t, 2.0 - t, (2.0 * t).sin()]])
        .collect();
    Recording {
        joints: vec![Joint::LeftWrist, Joint::RightWrist],
        times_s,
        positions,
        confidence: Some(vec![1.0; 2 * frames]),
        rate_hz,
        dimensions: Dimensions::Three,
        unit: Unit::Metre,
        capture: Capture::Generated,
        view: None,
        subject: None,
        format: "planted".to_owned(),
        assumptions: Vec::new(),
    }
}

fn erase(recording: &mut Recording, column: usize, frames: std::ops::RangeInclusive<usize>) {
    for frame in frames {
        recording.positions[frame * 2 + column] = [f64::NAN; 3];
    }
}

#[test]
fn short_gaps_are_filled_and_long_ones_reported() {
    let whole = planted(200, 100.0);
    let mut holed = whole.clone();
    erase(&mut holed, 0, 0..=1);
    erase(&mut holed, 0, 88..=91);
    erase(&mut holed, 1, 50..=70);
    erase(&mut holed, 1, 72..=73);
    assert_eq!(
        holed.summary(),
        "200 frames, 2 joints, 100 Hz, m, 4 gaps (frames 0-1, 50-70, 72-73 and 1 more)"
    );
    assert_eq!(gaps(&holed).len(), 4);

    let done = fill_gaps(&mut holed, 0.04);
    let places = |gaps: &[Gap]| gaps.iter().map(|g| (g.first, g.last)).collect::<Vec<_>>();
    assert_eq!(places(&done.filled), [(88, 91), (72, 73)]);
    assert_eq!(places(&done.left), [(0, 1), (50, 70)]);
    assert_eq!(gaps(&holed), done.left);
    for frame in 88..=91 {
        let (got, want) = (holed.positions[2 * frame], whole.positions[2 * frame]);
        assert_close(&got, &want, 1e-6, "filled");
    }
    let confidence = holed.confidence.expect("kept");
    assert_eq!((confidence[2 * 90], confidence[2 * 92]), (0.0, 1.0));
}

#[test]
fn one_gap_reads_as_one_gap() {
    let mut recording = planted(312, 240.0);
    erase(&mut recording, 1, 88..=91);
    assert_eq!(recording.summary(), "312 frames, 2 joints, 240 Hz, m, 1 gap (frames 88-91)");
}

#[test]
fn resampling_follows_the_curve_and_keeps_gaps() {
    let mut uneven = planted(200, 100.0);
    // Every seventh frame dropped: uneven time.
    let keep: Vec<usize> = (0..200).filter(|frame| frame % 7 != 3).collect();
    uneven.times_s = keep.iter().map(|&f| uneven.times_s[f]).collect();
    uneven.positions =
        keep.iter().flat_map(|&f| uneven.positions[2 * f..2 * f + 2].to_vec()).collect();
    uneven.confidence = None;
    assert!(!uneven.is_even());
    assert_eq!(lowpass(&mut uneven, 10.0), Err(FilterError::UnevenTime));

    let even = resample(&uneven, 240.0);
    assert!(even.is_even());
    assert_eq!(even.frames(), 476); // 1.98 s x 240 Hz, and the first
    for (frame, t) in even.times_s.iter().enumerate() {
        let want = [t.sin(), t.cos(), t * t];
        assert_close(&even.positions[2 * frame], &want, 1e-6, "resampled");
    }
    let mut holed = planted(100, 100.0);
    erase(&mut holed, 0, 40..=60);
    let half = resample(&holed, 50.0);
    let missing: Vec<usize> = (0..50).filter(|f| half.positions[2 * f][0].is_nan()).collect();
    assert_eq!(missing, (20..=30).collect::<Vec<_>>());
}

#[test]
fn filtering_leaves_gaps_and_slow_movement_alone() {
    let mut recording = planted(200, 100.0);
    erase(&mut recording, 0, 100..=110);
    let before = recording.clone();
    lowpass(&mut recording, 10.0).expect("a fair cutoff");
    assert_eq!(gaps(&recording), gaps(&before));
    for frame in (20..90).chain(130..180) {
        let (got, want) = (recording.positions[2 * frame], before.positions[2 * frame]);
        assert_close(&got, &want, 1e-3, "slow movement");
    }
}

#[test]
fn the_cutoff_stays_within_what_the_rate_carries() {
    for rate_hz in [15.0, 25.0, 50.0, 240.0, 1000.0] {
        let cutoff = choose_cutoff(&planted(100, rate_hz));
        assert!(cutoff.hz <= rate_hz / 4.0 && cutoff.hz <= 20.0, "{rate_hz}: {cutoff:?}");
        assert!(cutoff.hz >= cutoff.lowest_hz, "{rate_hz}: {cutoff:?}");
        let mut recording = planted(100, rate_hz);
        lowpass(&mut recording, cutoff.hz).expect("a chosen cutoff can be used");
    }
}
