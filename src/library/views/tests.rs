use super::*;

fn clip(recording: i64, view: View, times_s: &[f64]) -> Vec<SeenServe> {
    let serve = |(n, &time_s): (usize, &f64)| SeenServe {
        serve: Some(ServeId(100 * recording + i64::try_from(n).unwrap())),
        recording: Some(RecordingId(recording)),
        capture: Capture::OneCameraLifted,
        view: Some(view),
        setting: None,
        serve_type: None,
        hand: Side::Right,
        contact: TimedContact { time_s, error_s: 0.035 },
    };
    times_s.iter().enumerate().map(serve).collect()
}

const RHYTHM: [f64; 4] = [4.0, 12.1, 24.3, 31.0];

fn later(times_s: &[f64], by_s: f64) -> Vec<f64> {
    times_s.iter().map(|time_s| time_s + by_s).collect()
}

fn said(same: Option<(i64, i64)>) -> SaidClips {
    SaidClips {
        one: RecordingId(1),
        other: RecordingId(2),
        same: same.map(|(a, b)| (ServeId(a), ServeId(b))),
        by: Author::Coach("ash".to_owned()),
    }
}

fn count(found: &SameServes) -> usize {
    let strokes: std::collections::BTreeSet<usize> = found.strokes.iter().copied().collect();
    strokes.len()
}

#[test]
fn three_clips_of_one_basket_hang_together_and_one_of_another_does_not() {
    let mut day = clip(1, View::Side, &RHYTHM);
    day.extend(clip(2, View::Behind, &later(&RHYTHM[..3], 100.0)));
    // One of them missing.
    day.extend(clip(3, View::Front, &later(&[RHYTHM[0], RHYTHM[2], RHYTHM[3]], -2.0)));
    day.extend(clip(4, View::Diagonal, &[3.0, 13.0, 18.0]));
    let found = same_serves(&day, &[]);
    assert_eq!(found.strokes, [0, 1, 2, 3, 0, 1, 2, 0, 2, 3, 10, 11, 12], "{found:?}");
    assert_eq!(count(&found), 7);
    assert_eq!(found.views_of(2).collect::<Vec<_>>(), [2, 6, 8]);
}

#[test]
fn what_differs_beside_the_times_keeps_clips_apart() {
    let two = |change: &dyn Fn(&mut SeenServe)| {
        let mut day = clip(1, View::Side, &RHYTHM);
        let mut other = clip(2, View::Behind, &later(&RHYTHM, 7.0));
        other.iter_mut().for_each(change);
        day.extend(other);
        count(&same_serves(&day, &[]))
    };
    assert_eq!(two(&|_| {}), 4);
    assert_eq!(two(&|serve| serve.hand = Side::Left), 8);
    assert_eq!(two(&|serve| serve.setting = Some(Setting::Match)), 4);
    let swings = |setting| {
        let mut day = clip(1, View::Side, &RHYTHM);
        day.iter_mut().for_each(|serve| serve.setting = Some(Setting::PracticeSwing));
        let mut other = clip(2, View::Behind, &later(&RHYTHM, 7.0));
        other.iter_mut().for_each(|serve| serve.setting = Some(setting));
        day.extend(other);
        count(&same_serves(&day, &[]))
    };
    assert_eq!(swings(Setting::PracticeSwing), 4, "practice swings too");
    assert_eq!(swings(Setting::Target), 8);
    let mut day = clip(1, View::Side, &RHYTHM);
    day.extend(clip(2, View::Behind, &later(&RHYTHM, 7.0)));
    day.iter_mut().for_each(|serve| serve.capture = Capture::Markers);
    assert_eq!(count(&same_serves(&day, &[])), 8, "two recordings in space are two");
}

#[test]
fn one_serve_each_is_asked_about_from_two_places_only_and_what_is_said_settles_it() {
    let day = |view| {
        let mut day = clip(1, View::Side, &[3.0]);
        day.extend(clip(2, view, &[9.0]));
        day
    };
    let found = same_serves(&day(View::Behind), &[]);
    assert!(matches!(&found.clips[..], [one] if matches!(one.found, ClipsCompared::Unsure(_))));
    assert_eq!(found.strokes, [0, 1], "nothing is guessed");
    assert!(same_serves(&day(View::Side), &[]).clips.is_empty());
    let found = same_serves(&day(View::Behind), &[said(Some((100, 200)))]);
    assert_eq!(found.strokes, [0, 0]);
    let found = same_serves(&day(View::Behind), &[said(None)]);
    assert_eq!(found.strokes, [0, 1]);
    assert!(found.clips[0].said.is_some(), "it can be taken back: {found:?}");
    // A serve that is no longer there says nothing.
    let found = same_serves(&day(View::Behind), &[said(Some((100, 777)))]);
    assert_eq!(found.strokes, [0, 1]);
}

#[test]
fn what_is_said_wins_over_what_the_times_say() {
    let even: Vec<f64> = (0..5).map(|n| 8.0 * f64::from(n)).collect();
    let mut day = clip(1, View::Side, &even);
    day.extend(clip(2, View::Behind, &even));
    assert_eq!(count(&same_serves(&day, &[])), 10, "asked");
    // The second clip began a serve later.
    let found = same_serves(&day, &[said(Some((101, 200)))]);
    assert_eq!(found.strokes, [0, 1, 2, 3, 4, 1, 2, 3, 4, 9]);
    let mut day = clip(1, View::Side, &RHYTHM);
    day.extend(clip(2, View::Behind, &RHYTHM));
    assert_eq!(count(&same_serves(&day, &[said(None)])), 8);
}
