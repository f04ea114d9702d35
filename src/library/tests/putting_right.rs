//! Nothing that cannot be put right: amended, moved, removed, and taken back.

use jiff::civil::date;
use tempfile::TempDir;

use super::made;
use crate::library::*;
use crate::serve::EventKind;

fn stocked() -> (TempDir, Library) {
    let folder = TempDir::new().unwrap();
    let mut library = Library::create(folder.path().join("lib")).unwrap();
    let p07 = library.add_player(&made::player("p07")).unwrap();
    library.add_player(&made::player("p08")).unwrap();
    made::add(&mut library, p07, 1, date(2026, 3, 4), 3).unwrap();
    made::add(&mut library, p07, 2, date(2026, 4, 6), 1).unwrap();
    (folder, library)
}

fn anna() -> Author {
    Author::coach("anna").unwrap()
}

fn plan(case: CaseId) -> Plan {
    Plan {
        id: PlanId(0),
        case,
        limiting_fault: "late_toss".to_owned(),
        drills: vec![PlannedDrill {
            drill: "toss_hold".to_owned(),
            dose: "3 x 10".to_owned(),
            place: None,
        }],
        start: date(2026, 3, 5),
        review_on: None,
        coach: Some("anna".to_owned()),
        note: None,
        ended: None,
    }
}

fn follow_up(plan: PlanId, serves: &[ServeId]) -> FollowUp {
    FollowUp {
        id: FollowUpId(0),
        plan,
        date: date(2026, 4, 6),
        serves: serves.to_vec(),
        ball: BallFlight::default(),
        rating: Some(1),
        sessions_done: None,
        note: None,
    }
}

fn label(fault: &str, by: Author) -> FaultLabel {
    let state = if by.is_coach() { LabelState::Added } else { LabelState::Suspected };
    FaultLabel { fault: fault.to_owned(), state, severity: 0.5, by, note: None }
}

fn to<'a>(player: i64, day: jiff::civil::Date, labels: &'a [FaultLabel]) -> MoveTo<'a> {
    MoveTo { player: PlayerId(player), date: day, labels_left: labels, labels_joined: labels }
}

/// Everything a library shows, and what its joints and serves are.
fn shown(library: &Library) -> String {
    let mut text = String::new();
    for player in library.players().unwrap() {
        text.push_str(&format!("{player:?}\n"));
    }
    for case in library.cases(None).unwrap() {
        text.push_str(&format!("{case:?}\n"));
    }
    for recording in library.recordings(None).unwrap() {
        let joints = library.joints(recording.id).unwrap();
        let clip = library.clip(recording.id).unwrap();
        let marks = library.marks(recording.id).unwrap();
        text.push_str(&format!("{recording:?}\n{joints:?}\n{clip:?}\n{marks:?}\n"));
    }
    library
        .each_serve(|serve| {
            text.push_str(&format!("{serve:?} {:?}\n", library.moments(&serve).unwrap()));
            std::ops::ControlFlow::Continue(())
        })
        .unwrap();
    text
}

fn sound(library: &mut Library) {
    library.sync().unwrap();
    let verified = library.verify(false, &crate::work::Watch::default()).unwrap();
    assert!(verified.findings.is_empty(), "{:?}", verified.findings);
}

/// Makes a change, takes it back, and takes that back: the library shows the same each time.
fn there_and_back(library: &mut Library, item: ItemId, change: impl FnOnce(&mut Library)) {
    let before = shown(library);
    change(library);
    let after = shown(library);
    assert_ne!(before, after);
    sound(library);
    let id = library.last_change(item).unwrap().unwrap();
    library.write(|w| w.undo(id, &anna())).unwrap();
    assert_eq!(shown(library), before, "not put back: {item}");
    sound(library);
    let again = library.write(|w| w.undo(id, &anna())).unwrap_err();
    assert!(matches!(again, WriteError::AlreadyUndone { .. }), "{again}");
    let undoing = library.history(item).unwrap()[0].clone();
    assert_eq!((undoing.kind, undoing.undoes), (ChangeKind::Undone, Some(id)));
    library.write(|w| w.undo(undoing.id, &anna())).unwrap();
    assert_eq!(shown(library), after, "not done again: {item}");
    sound(library);
}

#[test]
fn every_kind_of_change_is_taken_back_and_done_again() {
    let (_folder, mut library) = stocked();
    let c1 = ItemId::Case(CaseId(1));
    let clip =
        Clip { path: "a.mp4".to_owned(), hash: made::hash(5), kept: false, body: vec![1, 2] };
    library.write(|w| w.set_clip(RecordingId(1), &clip)).unwrap();

    there_and_back(&mut library, ItemId::Player(PlayerId(1)), |l| {
        let player = l.player(PlayerId(1)).unwrap();
        let squads = vec!["boys".to_owned()];
        l.update_player(&Player { code: "p70".to_owned(), squads, born: None, ..player }).unwrap();
    });
    there_and_back(&mut library, c1, |l| l.set_label(CaseId(1), &label("a", anna())).unwrap());
    there_and_back(&mut library, c1, |l| {
        l.write(|w| {
            w.add_note(CaseId(1), "early", Some(&anna()))?;
            w.set_grip(CaseId(1), Some(Grip { index_knuckle: Some(2), heel_pad: None }))?;
            w.set_ball(CaseId(1), &BallFlight { speed_kmh: Some(99.5), ..BallFlight::default() })
        })
        .unwrap();
    });
    there_and_back(&mut library, c1, |l| {
        l.add_plan(&plan(CaseId(1))).unwrap();
    });
    let n1 = library.case(CaseId(1)).unwrap().plans[0].clone();
    there_and_back(&mut library, ItemId::Plan(n1.id), |l| {
        let mut drills = n1.drills.clone();
        drills[0].dose = "5 x 5".to_owned();
        l.write(|w| {
            w.update_plan(&Plan { drills, review_on: Some(date(2026, 5, 1)), ..n1.clone() })
        })
        .unwrap();
    });
    there_and_back(&mut library, c1, |l| {
        let new = Plan { start: date(2026, 4, 7), ..plan(CaseId(2)) };
        l.write(|w| w.replace_plan(n1.id, &new, &anna(), Some("done"))).unwrap();
    });
    there_and_back(&mut library, c1, |l| {
        l.add_follow_up(&follow_up(n1.id, &[ServeId(4)])).unwrap();
    });
    let f1 = library.follow_ups_of(n1.id).unwrap()[0].clone();
    there_and_back(&mut library, ItemId::FollowUp(f1.id), |l| {
        let amended = FollowUp { rating: Some(-1), serves: Vec::new(), ..f1.clone() };
        l.write(|w| w.update_follow_up(&amended)).unwrap();
    });
    there_and_back(&mut library, ItemId::Serve(ServeId(2)), |l| {
        l.write(|w| w.update_serve(ServeId(2), &made::serve(77))).unwrap();
    });
    there_and_back(&mut library, ItemId::Recording(RecordingId(1)), |l| {
        let facts = RecordingFacts {
            setting: Some(Setting::Match),
            serve_type: Some(ServeType::Kick),
            read_again: None,
        };
        l.write(|w| w.amend_recording(RecordingId(1), &facts, &anna())).unwrap();
    });
    for (time_s, seed) in [(2.5, 78), (2.6, 79)] {
        there_and_back(&mut library, ItemId::Serve(ServeId(2)), |l| mark(l, time_s, seed));
    }
    for what in [
        Marked::Angle { points: [[1.0, 2.0], [3.5, 4.0], [5.0, 6.25]] },
        Marked::Ring { points: [[1.0, 2.0], [3.0, 4.0]] },
        Marked::Words { at: None, text: "arm folds".to_owned() },
    ] {
        there_and_back(&mut library, ItemId::Recording(RecordingId(1)), |l| {
            draw(l, what.clone());
        });
    }
    let marks = library.marks(RecordingId(1)).unwrap();
    let drawn = marks.into_iter().find(|mark| mark.serve.is_none()).unwrap();
    there_and_back(&mut library, ItemId::Recording(RecordingId(1)), |l| {
        l.write(|w| w.remove_mark(&drawn, &anna())).unwrap();
    });
    there_and_back(&mut library, ItemId::Serve(ServeId(2)), |l| {
        l.write(|w| {
            w.clear_moment(ServeId(2), EventKind::Contact, &anna())?;
            w.set_moments_seen(ServeId(2), &[])?;
            w.update_serve(ServeId(2), &made::serve(11))
        })
        .unwrap();
    });
    mark(&mut library, 2.7, 80);
    let suspects = [label("a", Author::Program), label("b", Author::Program)];
    there_and_back(&mut library, ItemId::Recording(RecordingId(2)), |l| {
        let to = to(2, date(2026, 3, 4), &suspects);
        l.write(|w| w.move_recording(RecordingId(2), &to, &anna())).unwrap();
    });
    there_and_back(&mut library, ItemId::Serve(ServeId(2)), |l| {
        let to = to(2, date(2026, 5, 4), &suspects);
        l.write(|w| w.move_serve(ServeId(2), &to, &anna())).unwrap();
    });
    for removal in [
        Removal::Label { case: CaseId(1), fault: "a".to_owned(), by: anna() },
        Removal::Note { case: CaseId(1), number: 1 },
        Removal::Serve(ServeId(1)),
        Removal::Recording(RecordingId(1)),
    ] {
        there_and_back(&mut library, c1, |l| {
            l.write(|w| w.remove(&removal, &suspects, &anna())).unwrap();
        });
    }
    let plans = library.case(CaseId(1)).unwrap().plans;
    let f1 = library.follow_ups_of(plans[0].id).unwrap()[0].id;
    there_and_back(&mut library, c1, |l| {
        l.write(|w| w.remove(&Removal::FollowUp(f1), &[], &anna())).unwrap();
    });
    there_and_back(&mut library, c1, |l| {
        l.write(|w| w.remove(&Removal::Plan(plans[0].id), &[], &anna())).unwrap();
    });
}

/// Sets contact of s2 with what follows from it, as one change.
fn mark(library: &mut Library, time_s: f64, seed: u32) {
    let mark = NewMark {
        recording: RecordingId(1),
        serve: Some(ServeId(2)),
        what: Marked::Moment { event: EventKind::Contact },
        time_s,
        frame: 4,
    };
    let seen = SeenMoment {
        event: EventKind::Contact,
        witness: Witness::Joints,
        time_s: 1.0,
        frame: 120,
        error_s: 0.03,
        trust: 0.8,
    };
    library
        .write(|w| {
            w.set_mark(&mark, &anna())?;
            w.set_moments_seen(ServeId(2), std::slice::from_ref(&seen))?;
            w.update_serve(ServeId(2), &made::serve(seed))
        })
        .unwrap();
}

fn draw(library: &mut Library, what: Marked) -> MarkId {
    let mark = NewMark { recording: RecordingId(1), serve: None, what, time_s: 0.04, frame: 5 };
    library.write(|w| w.set_mark(&mark, &anna())).unwrap()
}

#[test]
fn a_reading_put_back_never_covers_a_later_one() {
    let (_folder, mut library) = stocked();
    library.write(|w| w.update_serve(ServeId(2), &made::serve(77))).unwrap();
    let amended = library.last_change(ItemId::Serve(ServeId(2))).unwrap().unwrap();
    mark(&mut library, 2.5, 78);
    let before = shown(&library);
    let error = library.write(|w| w.undo(amended, &anna())).unwrap_err();
    assert!(matches!(error, WriteError::ChangedSince { .. }), "{error}");
    assert_eq!(shown(&library), before);
    let marked = library.last_change(ItemId::Serve(ServeId(2))).unwrap().unwrap();
    library.write(|w| w.undo(marked, &anna())).unwrap();
    library.write(|w| w.undo(amended, &anna())).unwrap();
    assert_eq!(library.serve(ServeId(2)).unwrap().serve, made::serve(11));
    sound(&mut library);
}

#[test]
fn marks_go_with_their_serve_and_their_recording() {
    let (_folder, mut library) = stocked();
    mark(&mut library, 2.5, 78);
    // Serves of `made` reach from frame 3 to 180.
    let within = draw(&mut library, Marked::Words { at: None, text: "arm folds".to_owned() });
    let late = NewMark {
        recording: RecordingId(1),
        serve: None,
        what: Marked::Words { at: None, text: "walks off".to_owned() },
        time_s: 2.0,
        frame: 240,
    };
    let late = library.write(|w| w.set_mark(&late, &anna())).unwrap();
    assert_eq!(library.find_words("folds").unwrap().cases, Some(vec![CaseId(1)]));
    let to = to(2, date(2026, 3, 4), &[]);
    let moved = library.write(|w| w.move_serve(ServeId(2), &to, &anna())).unwrap();
    let ids = |recording| -> Vec<MarkId> {
        library.marks(recording).unwrap().iter().map(|mark| mark.id).collect()
    };
    assert_eq!(ids(RecordingId(1)), [late]);
    assert_eq!(ids(moved.recording).len(), 2);
    assert!(ids(moved.recording).contains(&within));
    let witness = |library: &Library| {
        let serve = library.serve(ServeId(2)).unwrap();
        library.moments(&serve).unwrap()[EventKind::Contact as usize].witness.clone()
    };
    assert_eq!(witness(&library), Witness::Person(anna()));
    sound(&mut library);
    library.write(|w| w.remove(&Removal::Recording(moved.recording), &[], &anna())).unwrap();
    assert_eq!(library.marks(moved.recording).unwrap(), []);
    let removed = library.last_change(ItemId::Recording(moved.recording)).unwrap().unwrap();
    library.write(|w| w.undo(removed, &anna())).unwrap();
    assert_eq!(library.marks(moved.recording).unwrap().len(), 2);
    assert_eq!(witness(&library), Witness::Person(anna()));
    sound(&mut library);
}

#[test]
fn a_mark_that_cannot_be_is_refused() {
    let (_folder, mut library) = stocked();
    let contact = Marked::Moment { event: EventKind::Contact };
    let new = |serve, what: &Marked| NewMark {
        recording: RecordingId(1),
        serve,
        what: what.clone(),
        time_s: 0.02,
        frame: 2,
    };
    let words = |text: &str| Marked::Words { at: None, text: text.to_owned() };
    let ring = |x| Marked::Ring { points: [[x, 1.0], [2.0, 2.0]] };
    for (mark, by, says) in [
        (new(Some(ServeId(1)), &contact), Author::Program, "by: 'program'; a person"),
        (new(None, &contact), anna(), "a moment is one of a serve"),
        (new(Some(ServeId(1)), &words("x")), anna(), "a moment is one of a serve"),
        (new(Some(ServeId(4)), &contact), anna(), "serve: 's4'; one of r1"),
        (new(None, &words("  ")), anna(), "words: '  '; some words"),
        (new(None, &ring(f64::NAN)), anna(), "point: 'NaN'; 0 to 32768 pixels"),
        (new(None, &ring(-1.0)), anna(), "point: '-1'"),
    ] {
        let error = library.write(|w| w.set_mark(&mark, &by)).unwrap_err().to_string();
        assert!(error.contains(says), "{error}");
    }
    let none = library.write(|w| w.clear_moment(ServeId(1), EventKind::Contact, &anna()));
    assert_eq!(none.unwrap_err().to_string(), "a contact set of s1: not in this library");
    assert_eq!(library.marks(RecordingId(1)).unwrap(), []);
    draw(&mut library, ring(1.0));
    library.connection.execute("UPDATE marks SET points = '[[1,2]]'", []).unwrap();
    let findings = library.verify(false, &crate::work::Watch::default()).unwrap().findings;
    assert!(findings.iter().any(|f| f.problem.contains("'ring' is not a mark")), "{findings:?}");
}

#[test]
fn what_something_was_is_listed_with_author_and_time() {
    let (_folder, mut library) = stocked();
    library.set_label(CaseId(1), &label("late_toss", anna())).unwrap();
    let stronger = FaultLabel { severity: 0.75, ..label("late_toss", anna()) };
    library.set_label(CaseId(1), &stronger).unwrap();
    let [last, first, added] = &library.history(ItemId::Case(CaseId(1))).unwrap()[..] else {
        panic!("three changes were made");
    };
    assert_eq!((last.kind, &last.by), (ChangeKind::Judged, &Some(anna())));
    assert!(last.at.parse::<jiff::Timestamp>().is_ok(), "{}", last.at);
    let field = |of: &str, field: Option<&str>, before: Option<&str>, after: Option<&str>| {
        let text = |text: Option<&str>| text.map(str::to_owned);
        FieldChange {
            of: of.to_owned(),
            field: text(field),
            before: text(before),
            after: text(after),
        }
    };
    let what = "label late_toss by anna";
    assert_eq!(last.fields, [field(what, Some("severity"), Some("0.5"), Some("0.75"))]);
    assert_eq!(first.fields, [field(what, None, None, Some("state added, severity 0.5"))]);
    assert_eq!(added.kind, ChangeKind::Added);
    assert_eq!(library.history(ItemId::Serve(ServeId(2))).unwrap(), std::slice::from_ref(added));

    // What is gone keeps its history under its id.
    library.write(|w| w.remove(&Removal::Recording(RecordingId(2)), &[], &anna())).unwrap();
    let gone = &library.history(ItemId::Serve(ServeId(4))).unwrap()[0];
    assert_eq!(gone.kind, ChangeKind::Removed);
    assert!(gone.fields.iter().any(|field| field.of == "case c2"), "{:?}", gone.fields);
}

#[test]
fn what_was_changed_since_is_not_put_back() {
    let (_folder, mut library) = stocked();
    library.add_plan(&plan(CaseId(1))).unwrap();
    let planned = library.last_change(ItemId::Case(CaseId(1))).unwrap().unwrap();
    library.add_follow_up(&follow_up(PlanId(1), &[])).unwrap();
    let before = shown(&library);
    let error = library.write(|w| w.undo(planned, &anna())).unwrap_err();
    assert_eq!(
        error.to_string(),
        format!(
            "{planned}: follow-up f1 has been changed since, so it is not put back; first take back \
             what came after it"
        )
    );
    assert_eq!(shown(&library), before);
    library.set_label(CaseId(1), &label("a", anna())).unwrap();
    let first = library.last_change(ItemId::Case(CaseId(1))).unwrap().unwrap();
    library.set_label(CaseId(1), &FaultLabel { severity: 1.0, ..label("a", anna()) }).unwrap();
    let error = library.write(|w| w.undo(first, &anna())).unwrap_err();
    assert!(matches!(error, WriteError::ChangedSince { .. }), "{error}");
    let none = library.write(|w| w.undo(ChangeId(999), &anna())).unwrap_err();
    assert_eq!(none.to_string(), "h999: not in this library");
}

#[test]
fn a_recording_moves_and_what_cannot_follow_is_said() {
    let (_folder, mut library) = stocked();
    let n1 = library.add_plan(&plan(CaseId(1))).unwrap();
    let f1 = library.add_follow_up(&follow_up(n1, &[ServeId(4)])).unwrap();
    let suspect = [label("a", Author::Program)];
    // The case of April holds nothing but serves and what the program suspects: it goes.
    let to = to(2, date(2026, 3, 4), &suspect);
    let moved = library.write(|w| w.move_recording(RecordingId(2), &to, &anna())).unwrap();
    assert_eq!((moved.left_case, moved.joined_known), (LeftCase::Gone, false));
    assert_eq!(moved.follow_ups, [f1], "it would show another player's serve");
    assert!(library.case(CaseId(2)).is_err());
    let joined = library.case(moved.joined).unwrap();
    assert_eq!((joined.player, joined.serves.as_slice()), (PlayerId(2), &[ServeId(4)][..]));
    assert_eq!(joined.labels, suspect);
    assert_eq!(library.follow_ups_of(n1).unwrap()[0].serves, []);
    sound(&mut library);

    // The case of March holds a plan: it stays.
    let away = MoveTo { date: date(2026, 5, 4), labels_left: &[], ..to };
    let moved = library.write(|w| w.move_recording(RecordingId(1), &away, &anna())).unwrap();
    assert_eq!(moved.left_case, LeftCase::KeptEmpty);
    assert_eq!(library.case(CaseId(1)).unwrap().labels, []);
    let same = library.write(|w| w.move_recording(RecordingId(1), &away, &anna())).unwrap_err();
    assert!(same.to_string().contains("another player or another day"), "{same}");
    let refuses = Player {
        consent: Consent { keep: false, share: false, date: Some(date(2026, 1, 1)), by: None },
        ..made::player("p09")
    };
    let p09 = library.add_player(&refuses).unwrap();
    let away = MoveTo { player: p09, ..away };
    let error = library.write(|w| w.move_recording(RecordingId(1), &away, &anna())).unwrap_err();
    assert!(matches!(error, WriteError::NoConsent { .. }), "{error}");
    sound(&mut library);
}

#[test]
fn a_serve_leaves_its_recording_and_takes_its_joints_along() {
    let (_folder, mut library) = stocked();
    let to = to(2, date(2026, 3, 4), &[]);
    let moved = library.write(|w| w.move_serve(ServeId(2), &to, &anna())).unwrap();
    assert_ne!(moved.recording, RecordingId(1));
    assert_eq!(
        (moved.left_case, moved.serves.as_slice()),
        (LeftCase::HoldsOthers, &[ServeId(2)][..])
    );
    assert_eq!(library.serves_in(RecordingId(1)).unwrap(), [ServeId(1), ServeId(3)]);
    assert_eq!(library.serve(ServeId(2)).unwrap().serve, made::serve(11));
    let joints = |id| format!("{:?}", library.joints(id).unwrap());
    assert_eq!(joints(moved.recording), joints(RecordingId(1)));
    // The file is still known: nothing is stored twice.
    assert!(!made::add(&mut library, PlayerId(1), 1, date(2026, 3, 4), 3).unwrap().new);
    sound(&mut library);
    // The last serve of a recording takes the recording along.
    let whole = library.write(|w| w.move_serve(ServeId(4), &to, &anna())).unwrap();
    assert_eq!((whole.recording, whole.joined), (RecordingId(2), moved.joined));
    sound(&mut library);
}

#[test]
fn what_depends_on_something_is_listed_before_it_is_removed() {
    let (_folder, mut library) = stocked();
    let n1 = library.add_plan(&plan(CaseId(1))).unwrap();
    let f1 = library.add_follow_up(&follow_up(n1, &[ServeId(4)])).unwrap();
    let next = Plan { start: date(2026, 4, 7), ..plan(CaseId(1)) };
    let n2 = library.write(|w| w.replace_plan(n1, &next, &anna(), None)).unwrap();

    let on = |removal: &Removal| library.dependants(removal).unwrap();
    let recording = on(&Removal::Recording(RecordingId(2)));
    assert_eq!(recording.serves, [ServeId(4)]);
    assert_eq!(recording.follow_ups_losing_serves, [f1]);
    assert_eq!((recording.cases.as_slice(), recording.packs), (&[CaseId(2)][..], 0));
    assert_eq!(on(&Removal::Serve(ServeId(4))).recordings, [RecordingId(2)]);
    assert_eq!(on(&Removal::Recording(RecordingId(1))).cases_left_empty, [CaseId(1)]);
    assert_eq!(on(&Removal::Plan(n1)).follow_ups, [f1]);
    assert_eq!(on(&Removal::Plan(n2)).replaced_plans, [n1]);
    let none = Removal::Label { case: CaseId(1), fault: "a".to_owned(), by: anna() };
    let error = library.dependants(&none).unwrap_err().to_string();
    assert_eq!(error, "label a by anna in c1: not in this library");
    for number in [0, 1, usize::MAX] {
        let none = Removal::Note { case: CaseId(1), number };
        let error = library.dependants(&none).unwrap_err().to_string();
        assert_eq!(error, format!("note {number} of c1: not in this library"));
        assert!(library.write(|w| w.remove(&none, &[], &anna())).is_err());
    }

    library.write(|w| w.remove(&Removal::Plan(n2), &[], &anna())).unwrap();
    assert_eq!(library.plan(n1).unwrap().ended.unwrap().how, Ending::Ended);
    library.write(|w| w.remove(&Removal::Serve(ServeId(1)), &[], &anna())).unwrap();
    library.write(|w| w.remove(&Removal::Serve(ServeId(4)), &[], &anna())).unwrap();
    assert!(library.recording(RecordingId(2)).is_err() && library.case(CaseId(2)).is_err());
    assert_eq!(library.serves_in(RecordingId(1)).unwrap(), [ServeId(2), ServeId(3)]);
    sound(&mut library);
}
