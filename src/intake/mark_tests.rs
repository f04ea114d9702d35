//! Moments set by hand: what follows from them, and what cannot be.

use std::path::{Path, PathBuf};

use curve_index::{DtwParams, Strategy};
use jiff::civil::date;
use tempfile::TempDir;

use super::*;
use crate::catalogue::{Conditions, Finding, Observed, detect};
use crate::coaching::{ClipTime, DrawingRequest, MarkRefusal, MomentsRequest};
use crate::library::tests::made;
use crate::library::{ChangeKind, ItemId, Marked, ServeId, ServeMoment, Witness};
use crate::serve::{EventKind, GivenMoment, GivenServe, Reading, find_given};

fn ash() -> Author {
    Author::coach("ash").unwrap()
}

fn desk(file: &Path) -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("library")).unwrap();
    let mut player = Player::new("sanderling");
    player.consent.keep = true;
    player.consent.date = Some(date(2026, 1, 1));
    player.id = library.add_player(&player).unwrap();
    let context = Context { date: Some(date(2026, 3, 4)), ..Context::default() };
    let watch = Watch::default();
    take(&mut library, Catalogue::builtin(), &player, file, &context, &watch).unwrap();
    (folder, library)
}

/// One serve of an invented left-hander by markers at 120 Hz.
fn sample() -> (TempDir, Library) {
    desk(&PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("demo-data/new-serve.c3d"))
}

/// A real serve filmed by one camera; `None`, said on stderr, where it is absent.
fn real(name: &str) -> Option<(TempDir, Library)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings/one-camera");
    if !folder.is_dir() {
        crate::skip::skipped(format!("{} is absent", folder.display()));
        return None;
    }
    Some(desk(&folder.join(name)))
}

fn set(
    library: &mut Library,
    moments: &[(EventKind, ClipTime)],
) -> Result<Vec<ServeMoment>, MarkRefusal> {
    let request = MomentsRequest { serve: ServeId(1), set: moments.to_vec(), clear: Vec::new() };
    set_moments(library, Catalogue::builtin(), &request, &ash())
}

fn reading(library: &Library, measure: &str) -> Reading {
    let readings = library.readings(ServeId(1)).unwrap();
    readings.into_iter().find(|one| one.measure == measure).unwrap().reading
}

fn value(library: &Library, measure: &str) -> f64 {
    match reading(library, measure) {
        Reading::Value { value, .. } => value,
        Reading::NotMeasurable { why } => panic!("{measure}: {why}"),
    }
}

#[test]
fn what_follows_from_a_moment_follows_at_once_and_is_taken_back() {
    let (_folder, mut library) = sample();
    let before = library.serve(ServeId(1)).unwrap().serve;
    let event = |kind: EventKind| before.events[kind as usize];
    let contact = event(EventKind::Contact);
    let later = contact.frame + 6;
    let moments = set(&mut library, &[(EventKind::Contact, ClipTime::Frame(later))]).unwrap();

    let marked = &moments[EventKind::Contact as usize];
    assert_eq!((marked.event.frame, &marked.witness), (later, &Witness::Person(ash())));
    assert!(marked.set_at.is_some());
    let beside = &marked.beside[0];
    assert_eq!((beside.frame, &beside.witness), (contact.frame, &Witness::Joints));
    assert!((beside.time_s - contact.time_s).abs() < 1e-3);
    assert_eq!(moments[0].witness, Witness::Joints);

    let row = library.serve(ServeId(1)).unwrap();
    let joints = library.joints(row.recording).unwrap();
    let times = &joints.times_s;
    assert!((row.serve.events[4].time_s - times[later]).abs() < 1e-6);
    let moved_s = times[later] - contact.time_s;
    let took_s = contact.time_s - event(EventKind::Release).time_s;
    let now = value(&library, "release_to_contact_time");
    assert!((now - took_s - moved_s).abs() < 2e-3, "{now} after {took_s} and {moved_s} more");
    assert_ne!(row.serve.curve, before.curve);
    // The index answers with the new curve.
    library.sync().unwrap();
    let params = DtwParams::new(row.serve.curve.channels).band_frames(10).check().unwrap();
    let curves = library.curves(&row.serve.curve.channel_set).unwrap().unwrap();
    let values = &row.serve.curve.values;
    let found = curves.nearest(values, &params, 1, &[ServeId(1)], Strategy::Scan).unwrap();
    assert!(found[0].cost == 0.0, "{}", found[0].cost);

    let change = library.history(ItemId::Serve(ServeId(1))).unwrap()[0].clone();
    assert_eq!((change.kind, change.by), (ChangeKind::Marked, Some(ash())));
    // Taken back as a moment: the program's counts again, nothing is left beside it.
    let clear =
        MomentsRequest { serve: ServeId(1), set: Vec::new(), clear: vec![EventKind::Contact] };
    let moments = set_moments(&mut library, Catalogue::builtin(), &clear, &ash()).unwrap();
    let again = &moments[EventKind::Contact as usize];
    assert_eq!((again.event.frame, &again.witness), (contact.frame, &Witness::Joints));
    assert_eq!(again.beside, []);
    // Both changes taken back: what was stored is there to the last bit.
    for _ in 0..2 {
        let last = library.last_change(ItemId::Serve(ServeId(1))).unwrap().unwrap();
        library.write(|w| w.undo(last, &ash())).unwrap();
    }
    let stored = library.serve(ServeId(1)).unwrap().serve;
    assert_eq!((stored.events, stored.curve), (before.events, before.curve));
    library.sync().unwrap();
    let check = library.verify(false, &Watch::default()).unwrap();
    assert!(check.findings.is_empty(), "{:?}", check.findings);
}

#[test]
fn two_marks_stand_together_and_another_view_or_hand_keeps_them() {
    let (_folder, mut library) = sample();
    let serve = library.serve(ServeId(1)).unwrap().serve;
    let frame = |kind: EventKind| serve.events[kind as usize].frame;
    let release = frame(EventKind::Release) + 3;
    let finish = frame(EventKind::Finish) - 5;
    set(&mut library, &[(EventKind::Release, ClipTime::Frame(release))]).unwrap();
    let moments = set(&mut library, &[(EventKind::Finish, ClipTime::Frame(finish))]).unwrap();
    let frames = |moments: &[ServeMoment]| -> Vec<(usize, Witness)> {
        [EventKind::Release, EventKind::Finish]
            .map(|kind| &moments[kind as usize])
            .map(|moment| (moment.event.frame, moment.witness.clone()))
            .to_vec()
    };
    let both = [(release, Witness::Person(ash())), (finish, Witness::Person(ash()))];
    assert_eq!(frames(&moments), both);
    let recording = library.serve_head(ServeId(1)).unwrap().recording;
    let amendment = RecordingAmendment {
        view: Some(crate::motion::View::Behind),
        ..RecordingAmendment::default()
    };
    amend_recording(&mut library, Catalogue::builtin(), recording, &amendment, &ash()).unwrap();
    let row = library.serve(ServeId(1)).unwrap();
    assert_eq!(frames(&library.moments(&row).unwrap()), both);
}

#[test]
fn impossible_moments_are_one_clear_error_and_change_nothing() {
    let (_folder, mut library) = sample();
    let serve = library.serve(ServeId(1)).unwrap().serve;
    let at = |kind: EventKind| serve.events[kind as usize].time_s;
    let before = |kind, by_s: f64| ClipTime::Second(at(kind) - by_s);
    let last = library.joints(crate::library::RecordingId(1)).unwrap().frames() - 1;
    let cases: Vec<(Vec<(EventKind, ClipTime)>, String)> = vec![
        (
            vec![(EventKind::Contact, before(EventKind::Release, 0.1))],
            "s1: cannot be read with these moments: ".to_owned(),
        ),
        (
            vec![
                (EventKind::Contact, before(EventKind::Release, 0.1)),
                (EventKind::Release, before(EventKind::Release, 0.05)),
            ],
            format!(
                "release at {:.2} s: must come before contact at {:.2} s",
                at(EventKind::Release) - 0.05,
                at(EventKind::Release) - 0.1
            ),
        ),
        (
            vec![(EventKind::Contact, ClipTime::Frame(last + 1))],
            format!("frame {}: outside the recording, which goes from 0.00 to ", last + 1),
        ),
        (
            vec![(EventKind::Contact, ClipTime::Second(-3.0))],
            "-3.00 s: outside the recording".to_owned(),
        ),
        (Vec::new(), "s1: no moment to set or to take back".to_owned()),
        (
            vec![
                (EventKind::Contact, ClipTime::Frame(9)),
                (EventKind::Contact, ClipTime::Frame(8)),
            ],
            "contact: named twice".to_owned(),
        ),
    ];
    for (moments, says) in cases {
        let error = set(&mut library, &moments).unwrap_err().to_string();
        assert!(error.starts_with(&says), "{error}");
    }
    let clear =
        MomentsRequest { serve: ServeId(1), set: Vec::new(), clear: vec![EventKind::Trophy] };
    let error = set_moments(&mut library, Catalogue::builtin(), &clear, &ash()).unwrap_err();
    assert_eq!(error.to_string(), "s1: nobody set its trophy, so there is nothing to take back");
    assert_eq!(library.serve(ServeId(1)).unwrap().serve.events, serve.events);
    assert_eq!(library.marks_of_serve(ServeId(1)).unwrap(), []);
    for text in ["", "frame:x", "frame:-1", "NaN", "two"] {
        let error = text.parse::<ClipTime>().unwrap_err();
        assert!(error.starts_with("a time in seconds (2.31) or a frame (frame:104)"), "{error}");
    }
    assert_eq!("frame:104".parse(), Ok(ClipTime::Frame(104)));
    assert_eq!("2.31".parse(), Ok(ClipTime::Second(2.31)));
}

#[test]
fn what_is_drawn_needs_a_picture_and_lies_in_it() {
    let (_folder, mut library) = sample();
    let recording = crate::library::RecordingId(1);
    let request = |what: Marked, at| DrawingRequest { recording, at, what };
    let line = |x: f64| Marked::Line { points: [[x, 10.0], [30.0, 40.0]] };
    let at = ClipTime::Frame(3);
    let refused = |library: &mut Library, what, at| {
        request(what, at).record(library, &ash()).unwrap_err().to_string()
    };
    let error = refused(&mut library, line(20.0), at);
    assert!(error.starts_with("r1: was not read from a clip, so there is no picture"), "{error}");
    let words = Marked::Words { at: None, text: "early".to_owned() };
    let id = request(words.clone(), at).record(&mut library, &ash()).unwrap();
    let kept = crate::library::Clip {
        path: "a.mp4".to_owned(),
        hash: made::hash(4),
        kept: false,
        body: crate::video::Kept::of_size((100, 50)).to_bytes(),
    };
    library.write(|w| w.set_clip(recording, &kept)).unwrap();
    let error = refused(&mut library, line(101.0), at);
    assert!(error.starts_with("point 101, 10: outside the picture, which is 100 x 50"), "{error}");
    let error = refused(&mut library, Marked::Ring { points: [[1.0, 1.0]; 2] }, at);
    assert!(error.starts_with("ring: its points lie on one another"), "{error}");
    let error = refused(&mut library, words, ClipTime::Frame(100_000));
    assert!(error.starts_with("frame 100000: outside the recording"), "{error}");
    let error = refused(&mut library, Marked::Moment { event: EventKind::Contact }, at);
    assert!(error.starts_with("contact: a moment belongs to a serve"), "{error}");
    let drawn = request(line(20.0), at).record(&mut library, &ash()).unwrap();
    let shown: Vec<_> = library.marks(recording).unwrap().iter().map(|mark| mark.id).collect();
    assert_eq!(shown, [id, drawn]);
    crate::coaching::remove_drawing(&mut library, id, &ash()).unwrap();
    assert_eq!(library.marks(recording).unwrap().len(), 1);
}

/// What the program makes of one fault in the stored serve.
fn judged(library: &Library, fault: &str) -> Finding {
    let readings = library.readings(ServeId(1)).unwrap();
    let head = library.serve_head(ServeId(1)).unwrap();
    let row = library.recording(head.recording).unwrap();
    let recorded = Recorded { capture: row.capture, view: row.view, rate_hz: row.rate_hz };
    let serve = Observed { readings: &readings, recorded, serve_type: None, stroke: None };
    let found = detect(Catalogue::builtin(), &[serve], &Conditions::default());
    found.into_iter().find(|one| one.fault == fault).unwrap().finding
}

/// Events by eye: `../shared/recordings/README.md`, release 146 and contact 203 at 90 Hz.
#[test]
fn durations_of_a_real_clip_become_measurable_and_faults_are_judged_again() {
    let Some((_folder, mut library)) = real("side-slow-motion.json") else { return };
    let Reading::NotMeasurable { .. } = reading(&library, "release_to_contact_time") else {
        panic!("one camera alone claims no duration");
    };
    assert!(matches!(judged(&library, "toss_high"), Finding::NotDetectable { .. }));
    let marks =
        [(EventKind::Release, ClipTime::Frame(146)), (EventKind::Contact, ClipTime::Frame(203))];
    set(&mut library, &marks).unwrap();
    let Reading::Value { value, give_or_take, .. } = reading(&library, "release_to_contact_time")
    else {
        panic!("marked on both sides");
    };
    assert!((value - 57.0 / 90.0).abs() < 0.01, "{value}");
    // A frame on either side: 1.645 times the root of two, in frames of 90 Hz.
    assert!((give_or_take - 1.645 * 2.0_f64.sqrt() / 90.0).abs() < 0.002, "{give_or_take}");
    // Too high starts at 1.15 s.
    let Finding::Scored { score, .. } = judged(&library, "toss_high") else {
        panic!("its only measure is there now");
    };
    assert!(score < 0.01, "{score}");
    // The toss's start was not marked.
    let unmarked = reading(&library, "toss_start_to_contact_time");
    assert!(matches!(unmarked, Reading::NotMeasurable { .. }), "{unmarked:?}");
}

#[test]
fn what_is_given_of_one_serve_leaves_the_others_alone() {
    let Some(folder) = Some(PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/recordings"))
        .filter(|folder| folder.is_dir())
    else {
        crate::skip::skipped("../shared/recordings is absent");
        return;
    };
    let file = folder.join("marker-serves-50hz.c3d");
    let recording = read(&file, &ReadOptions::default()).unwrap();
    let known = FindOptions::default();
    let plain = find(&recording, &known).serves;
    assert_eq!(plain.len(), 5);
    let contact = plain[2].events[EventKind::Contact as usize];
    let moment =
        GivenMoment { kind: EventKind::Contact, time_s: contact.time_s + 0.04, error_s: 0.02 };
    let given = GivenServe { contact_s: contact.time_s, moments: vec![moment] };
    let found = find_given(&recording, &known, &[given]).serves;
    assert_eq!(found.len(), 5);
    for (at, (was, is)) in plain.iter().zip(&found).enumerate() {
        if at == 2 {
            let now = is.events[EventKind::Contact as usize];
            assert!((now.time_s - moment.time_s).abs() < 1e-9);
            assert_ne!(is.curve, was.curve);
        } else {
            assert_eq!((&is.readings, &is.curve), (&was.readings, &was.curve), "serve {at}");
        }
    }
}
