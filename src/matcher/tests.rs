use curve_index::{Curve, DtwParams, Strategy, naive};
use jiff::civil::date;
use tempfile::TempDir;

use super::*;
use crate::find::Filter;
use crate::library::tests::made;
use crate::library::*;
use crate::motion::{Capture, View};
use crate::serve::{CORE_SET, PHASES, Serve, channels};
use crate::work::Watch;

struct Academy {
    _folder: TempDir,
    library: Library,
}

/// Invented: six players, two days each, two serves a day; the last player's come from one camera.
fn academy() -> Academy {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    for n in 0..6u32 {
        let mut player = made::player(&format!("p{n}"));
        player.level = Some(if n % 2 == 0 { Level::Club } else { Level::National });
        let player = library.add_player(&player).unwrap();
        for day in 0..2u32 {
            let seed = n * 2 + day;
            let mut recording = made::recording(seed);
            if n == 5 {
                recording.capture = Capture::OneCameraLifted;
                recording.view = Some(View::Side);
            }
            let serves = [made::serve(seed * 10), made::serve(seed * 10 + 1)];
            library
                .add_recording(&NewRecording {
                    player,
                    file_name: "invented.csv",
                    content_hash: &made::hash(seed),
                    date: date(2026, 3, 1 + day as i8),
                    setting: None,
                    serve_type: None,
                    recording: &recording,
                    serves: &serves,
                })
                .unwrap();
        }
    }
    Academy { _folder: folder, library }
}

/// Ids and distances, by comparing with every stored curve that `keep` lets through.
fn plain(
    library: &Library,
    query: &Serve,
    weights: &[f64],
    k: usize,
    keep: impl Fn(&ServeHead) -> bool,
) -> Vec<(ServeId, f64)> {
    let params =
        DtwParams::new(made::CHANNELS).band_frames(BAND_FRAMES).weights(weights).check().unwrap();
    let query = Curve::new(&query.curve.values, made::CHANNELS).unwrap();
    let mut all: Vec<(ServeId, f64)> = library
        .serve_heads()
        .unwrap()
        .into_iter()
        .filter(keep)
        .map(|head| {
            let stored = library.curve(head.id).unwrap();
            let other = Curve::new(&stored.values, made::CHANNELS).unwrap();
            (head.id, naive::dtw(query, other, &params).sqrt())
        })
        .collect();
    all.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    all.truncate(k);
    all
}

fn found(answer: &Answer) -> Vec<(ServeId, f64)> {
    answer.precedents.iter().map(|one| (one.serve, one.distance)).collect()
}

#[test]
fn the_closest_come_back_exactly_own_recording_left_out() {
    let Academy { _folder, library } = academy();
    let own = ServeId(5);
    let head = library.serve_head(own).unwrap();
    let serve = library.serve(own).unwrap().serve;
    let even = vec![1.0; made::CHANNELS];
    for strategy in [Strategy::Scan, Strategy::Pruned] {
        let mut query = Query::new(Subject::Stored(own), 7);
        query.strategy = strategy;
        let answer = like(&library, &query, &Watch::default()).unwrap();
        let space = |h: &ServeHead| h.capture == Capture::Generated;
        let expected =
            plain(&library, &serve, &even, 7, |h| h.recording != head.recording && space(h));
        assert_eq!(found(&answer), expected);
        assert_eq!((answer.left_out, answer.searched, answer.comparable), (2, 22, 18));
        assert!(answer.precedents.iter().enumerate().all(|(n, one)| one.rank == n + 1));

        query.others = true;
        let answer = like(&library, &query, &Watch::default()).unwrap();
        let expected = plain(&library, &serve, &even, 7, |h| h.player != head.player && space(h));
        assert_eq!(found(&answer), expected);
        assert_eq!(answer.left_out, 4);

        query.filter = Filter::parse("level=national player!=p3").unwrap();
        query.focus = Focus::parse("tossing_arm=9,trunk=0").unwrap();
        let weights = query.focus.weights(CORE_SET, made::CHANNELS);
        query.k = 99;
        let answer = like(&library, &query, &Watch::default()).unwrap();
        let expected = plain(&library, &serve, &weights, 99, |h| {
            ["p1", "p5"].contains(&h.player_code.as_str()) && h.player != head.player && space(h)
        });
        assert_eq!(found(&answer)[..expected.len()], expected);
    }
}

#[test]
fn other_sources_come_last_marked_and_said() {
    let Academy { _folder, library } = academy();
    let answer =
        like(&library, &Query::new(Subject::Stored(ServeId(5)), 20), &Watch::default()).unwrap();
    let (first, last) = answer.precedents.split_at(18);
    assert!(first.iter().all(|one| one.comparable && one.incomparable_because.is_none()));
    assert_eq!(last.len(), 2);
    for one in last {
        assert!(!one.comparable);
        assert_eq!(one.incomparable_because.as_deref(), Some("one camera, not measured in space"));
    }
    assert_eq!(
        answer.notes,
        ["2 of 20 come from another kind of source or view and are listed after the comparable \
          ones"]
    );
    // Asked from the camera's side, the camera's serves come first.
    let answer =
        like(&library, &Query::new(Subject::Stored(ServeId(21)), 4), &Watch::default()).unwrap();
    assert_eq!(answer.comparable, 2);
    assert_eq!(
        answer.precedents.iter().map(|one| one.comparable).collect::<Vec<_>>(),
        [true, true, false, false]
    );
    // The same player's of another day, from the same place: the strongest comparison.
    for one in &answer.precedents[..2] {
        assert!(one.same_player && one.same_set_up, "{one:?}");
    }
    assert!(answer.precedents[2..].iter().all(|one| !one.same_player && !one.same_set_up));
    assert_eq!(
        answer.notes[0],
        "searched first: 2 of 22 serves, filmed by one camera from the side"
    );
    // Unless they are filtered out.
    let mut query = Query::new(Subject::Stored(ServeId(5)), 20);
    query.filter = Filter::parse("capture=generated").unwrap();
    assert_eq!(like(&library, &query, &Watch::default()).unwrap().notes, [""; 0]);
}

#[test]
fn a_new_serve_finds_its_twin_and_says_where_a_planted_difference_lies() {
    let Academy { _folder, library } = academy();
    let mut serve = made::serve(31);
    fn unstored(serve: &Serve) -> Subject<'_> {
        Subject::Unstored(Unstored {
            serve,
            source: Source { capture: Capture::Generated, view: None },
            player: None,
            recording: None,
            day: None,
            file: None,
        })
    }
    let answer = like(&library, &Query::new(unstored(&serve), 1), &Watch::default()).unwrap();
    let twin = &answer.precedents[0];
    assert_eq!((twin.distance, twin.spreads_apart), (0.0, 0.0));
    let why = twin.why.as_ref().unwrap();
    assert_eq!(why.sentence, "the same motion, sample by sample");
    assert!(why.differences.is_empty());

    // The front knee 2.5 spreads straighter (30 deg) throughout the racket drop, nothing else.
    let frames = phase_frames(&serve.figures.event_samples)[2].clone();
    assert_eq!(frames, 45..60);
    for frame in frames {
        serve.curve.values[frame * made::CHANNELS] -= 2.5;
    }
    // Only near alignments keep the planted difference in place.
    let answer = like(&library, &Query::new(unstored(&serve), 1), &Watch::default()).unwrap();
    let one = &answer.precedents[0];
    assert_eq!(one.serve, twin.serve);
    let why = one.why.as_ref().unwrap();
    let top = &why.differences[0];
    assert_eq!((top.channel, top.phase, top.unit), ("front_knee_flexion", "cocking", "deg"));
    assert!((top.mean - 30.0).abs() < 6.0, "{}", top.mean);
    let sum = |shares: &[Share]| shares.iter().map(|share| share.share).sum::<f64>();
    assert!((sum(&why.parts) - 1.0).abs() < 1e-9, "{}", sum(&why.parts));
    assert!((sum(&why.phases) - 1.0).abs() < 1e-9, "{}", sum(&why.phases));
    let leg = why.parts.iter().find(|share| share.name == "front_leg").unwrap();
    assert!(leg.share > 0.6, "{}", leg.share);
    assert!(why.sentence.contains("of the difference is in the front leg"), "{}", why.sentence);
    assert!(why.sentence.contains("front knee bend (racket drop: "), "{}", why.sentence);
}

#[test]
fn the_case_comes_with_the_precedent() {
    let Academy { _folder, mut library } = academy();
    let head = library.serve_head(ServeId(1)).unwrap();
    let label = |fault: &str, state, severity, by: &str| FaultLabel {
        fault: fault.to_owned(),
        state,
        severity,
        by: Author::from_text(by),
        note: None,
    };
    let ball =
        |speed, pct| BallFlight { speed_kmh: Some(speed), first_serve_pct: pct, misses: None };
    library
        .write(|w| {
            w.set_label(head.case, &label("a", LabelState::Suspected, 0.3, "program"))?;
            w.set_label(head.case, &label("b", LabelState::Suspected, 0.9, "program"))?;
            w.set_label(head.case, &label("b", LabelState::Rejected, 0.9, "anna"))?;
            w.set_label(head.case, &label("c", LabelState::Suspected, 0.2, "program"))?;
            w.set_label(head.case, &label("c", LabelState::Confirmed, 0.8, "anna"))?;
            w.set_ball(head.case, &ball(120.0, None))?;
            let plan = w.add_plan(&Plan {
                id: PlanId(0),
                case: head.case,
                limiting_fault: "c".to_owned(),
                drills: Vec::new(),
                start: date(2026, 3, 1),
                review_on: None,
                coach: None,
                note: None,
                ended: None,
            })?;
            for (day, speed, rating) in [(9, 121.0, 0), (31, 126.5, 1)] {
                w.add_follow_up(&FollowUp {
                    id: FollowUpId(0),
                    plan,
                    date: date(2026, 3, day),
                    serves: Vec::new(),
                    ball: ball(speed, Some(55.0)),
                    rating: Some(rating),
                    sessions_done: None,
                    note: None,
                })?;
            }
            Ok(())
        })
        .unwrap();
    let mut query = Query::new(Subject::Stored(ServeId(23)), 9);
    query.filter = Filter::parse("fault=c limiting=c follow-up=yes").unwrap();
    let answer = like(&library, &query, &Watch::default()).unwrap();
    assert_eq!(answer.precedents.len(), 2, "both serves of the case");
    let one = &answer.precedents[0];
    let faults: Vec<_> = one.faults.iter().map(|f| (f.fault.as_str(), f.severity)).collect();
    assert_eq!(faults, [("c", 0.8), ("a", 0.3)]);
    assert_eq!(one.plans[0].limiting_fault, "c");
    assert_eq!(
        one.outcome,
        Some(Outcome {
            after_days: 30,
            rating: Some(1),
            speed_change_kmh: Some(6.5),
            first_serve_change_pct: None
        })
    );
    assert_eq!((one.age, one.level), (Some(14), Some(Level::Club)));
    let json = serde_json::to_value(one).unwrap();
    assert_eq!(json["rank"], 1);
    assert_eq!(json["serve"], one.serve.to_string());
    assert_eq!(json["case"], head.case.to_string());
    assert_eq!(json["player"], "p0");
    assert_eq!(json["distance"].as_f64(), Some(one.distance));
    assert_eq!(json["why"]["parts"].as_array().unwrap().len(), 5);

    // A fault the coach rejected is none.
    query.filter = Filter::parse("fault=b").unwrap();
    let answer = like(&library, &query, &Watch::default()).unwrap();
    assert!(answer.precedents.is_empty());
    assert_eq!(
        answer.notes,
        ["no match: 24 serves searched, all ruled out by fault=b; change or drop it"]
    );
}

#[test]
fn nothing_found_says_why() {
    let Academy { _folder, library } = academy();
    let mut query = Query::new(Subject::Stored(ServeId(5)), 3);
    let note =
        |query: &Query<'_>| like(&library, query, &Watch::default()).unwrap().notes.join("; ");
    query.filter = Filter::parse("level=club hand=right date>=2026-03-02").unwrap();
    assert_eq!(
        note(&query),
        "no match: 24 serves searched, 24 ruled out by hand=right; without it 6 match"
    );
    query.filter = Filter::parse("player=p1 date=2026-03-01").unwrap();
    assert_eq!(
        note(&query),
        "no match: all 2 serves that match the filter are from this same day; widen the filter, or \
         drop it"
    );
    query.filter = Filter::parse("player=p1").unwrap();
    query.others = true;
    assert_eq!(
        note(&query),
        "no match: all 4 serves that match the filter are this player's own; widen the filter, or \
         drop it"
    );
    let mut flat = made::serve(1);
    flat.curve.channel_set = "flat-9".to_owned();
    query = Query::new(
        Subject::Unstored(Unstored {
            serve: &flat,
            source: Source { capture: Capture::OneCameraFlat, view: None },
            player: None,
            recording: None,
            day: None,
            file: None,
        }),
        3,
    );
    assert!(note(&query).starts_with("no match: 24 serves are stored, but none has the channels"));
    let gone = like(&library, &Query::new(Subject::Stored(ServeId(99)), 3), &Watch::default())
        .unwrap_err();
    assert_eq!(gone.to_string(), "s99: not in this library");
}

/// Whoever set no filter is told of none.
#[test]
fn alone_in_the_library_nobody_is_told_of_a_filter() {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    let player = library.add_player(&made::player("p1")).unwrap();
    let recording = NewRecording {
        player,
        file_name: "invented.csv",
        content_hash: &made::hash(1),
        date: date(2026, 3, 1),
        setting: None,
        serve_type: None,
        recording: &made::recording(1),
        serves: &[made::serve(1), made::serve(2)],
    };
    library.add_recording(&recording).unwrap();
    let of = |others| {
        let query = Query { others, ..Query::new(Subject::Stored(ServeId(1)), 3) };
        like(&library, &query, &Watch::default()).unwrap()
    };
    for others in [false, true] {
        let answer = of(others);
        let note = answer.notes.join("; ");
        assert!(note.starts_with("no match: nobody else's serve is stored yet"), "{note}");
        assert!(!note.contains("filter"), "{note}");
        let none = answer.none.unwrap();
        assert!(none.sentences().starts_with("Nobody else's serve is stored yet"));
        assert_eq!(none.for_player(), "Nobody else's serve is stored yet.");
    }
}

#[test]
fn focus_says_what_is_wrong() {
    let error = |text| Focus::parse(text).unwrap_err().to_string();
    assert_eq!(
        error("nose"),
        "focus: no body part is called 'nose'; choose from hitting_arm, tossing_arm, trunk, \
         front_leg, back_leg"
    );
    assert_eq!(error("trunk=-1"), "focus: trunk: weight '-1'; give 0 or 0.001 to 1000");
    assert_eq!(error("trunk=NaN"), "focus: trunk: weight 'NaN'; give 0 or 0.001 to 1000");
    assert_eq!(error("trunk,trunk=2"), "focus: trunk is named twice; name it once");
    let all = "hitting_arm=0,tossing_arm=0,trunk=0,front_leg=0,back_leg=0";
    assert!(error(all).starts_with("focus: every part has weight 0"));
    assert_eq!(
        Focus::parse("front leg, back-leg=2").unwrap().to_string(),
        "front_leg=4,back_leg=2"
    );
    assert!(Focus::parse("").unwrap().is_even());
}

#[test]
fn phases_cover_every_sample_whatever_the_events_say() {
    for events in [
        [0.0, 20.0, 45.0, 60.0, 70.0, 100.0],
        [0.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        [0.0, 99.9, 99.95, 100.0, 100.0, 100.0],
        [0.0, 50.0, 40.0, 30.0, 20.0, 100.0],
        [f32::NAN; 6],
    ] {
        let phases = phase_frames(&events);
        assert_eq!((phases[0].start, phases[4].end), (0, 101));
        for pair in phases.windows(2) {
            assert_eq!(pair[0].end, pair[1].start, "{events:?}");
        }
    }
    assert_eq!(channels(CORE_SET).len(), made::CHANNELS);
    assert_eq!(PHASES.len(), 5);
}

#[test]
fn one_each_gives_every_player_the_own_closest_serve() {
    let Academy { _folder, library } = academy();
    let own = ServeId(5);
    let head = library.serve_head(own).unwrap();
    let serve = library.serve(own).unwrap().serve;
    let even = vec![1.0; made::CHANNELS];
    let all = plain(&library, &serve, &even, 99, |h| h.recording != head.recording);
    let player = |id: ServeId| library.serve_head(id).unwrap().player;
    // By hand: walk the plain ranking, comparable ones first, and keep each player's first serve.
    let (near, far): (Vec<_>, Vec<_>) = all
        .into_iter()
        .partition(|(id, _)| library.serve_head(*id).unwrap().capture == Capture::Generated);
    let mut expected: Vec<(ServeId, f64)> = Vec::new();
    for one in near.into_iter().chain(far) {
        if expected.iter().all(|kept| player(kept.0) != player(one.0)) {
            expected.push(one);
        }
    }
    assert_eq!(expected.len(), 6);
    for k in [0, 1, 3, 6, 50] {
        let mut query = Query::new(Subject::Stored(own), k);
        query.one_each = true;
        assert_eq!(
            found(&like(&library, &query, &Watch::default()).unwrap()),
            expected[..k.min(6)],
            "k {k}"
        );
    }
}
